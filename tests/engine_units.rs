//! The unit in which a figure was written never changes what the engine's relations answer.

use mulebook::engine::air::Air;
use mulebook::engine::compression::{Clearance, static_ratio};
use mulebook::engine::correction::TemperatureScale;
use mulebook::engine::correction::spark::SparkStandard;
use mulebook::engine::cylinder::swept_volume_m3;
use mulebook::engine::flow_bench::flow_at_pressure;
use mulebook::engine::shaft::power_w;
use mulebook::quantity::{Quantity, QuantityKind};
use proptest::prelude::*;

/// A figure in SI, written in another unit and read back.
fn by_way_of(si: f64, unit: &str, kind: QuantityKind) -> f64 {
    let written = Quantity::new(kind, si).expect("a figure").in_spelled(unit).expect("a unit of the kind");
    Quantity::spelled(written, unit, kind).expect("a unit of the kind").si()
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
}

proptest! {
    #[test]
    fn geometry(bore in 0.06..0.13_f64, stroke in 0.05..0.12_f64, chamber in 3e-5..9e-5_f64, gasket in 5e-4..2e-3_f64) {
        let ratio = |length: &str, volume: &str| {
            let read = |si| by_way_of(si, length, QuantityKind::Length);
            let clearance = Clearance {
                bore_m: read(bore),
                chamber_m3: by_way_of(chamber, volume, QuantityKind::Volume),
                gasket_bore_m: read(bore * 1.01),
                gasket_thickness_m: read(gasket),
                deck_clearance_m: read(1e-4),
                crown_m3: 0.0,
                top_land: None,
            };
            let ratio = clearance.ratio(read(stroke)).expect("a cylinder");
            let swept = swept_volume_m3(read(bore), read(stroke)).expect("a cylinder");
            let total = clearance.parts().expect("a cylinder").total_m3;
            (ratio, static_ratio(swept, total).expect("a cylinder"))
        };
        let (inches, millimetres) = (ratio("in", "cc"), ratio("mm", "l"));
        prop_assert!(same(inches.0, millimetres.0) && same(inches.0, inches.1));
    }

    #[test]
    fn air(pressure in 9e4..1.04e5_f64, kelvin in 285.0..310.0_f64, vapour in 0.0..3e3_f64) {
        let factor = |pressure_unit: &str, temperature_unit: &str| {
            let air = Air::new(
                by_way_of(pressure, pressure_unit, QuantityKind::PressureAbsolute),
                by_way_of(kelvin, temperature_unit, QuantityKind::Temperature),
                by_way_of(vapour, pressure_unit, QuantityKind::PressureAbsolute),
            )
            .expect("air");
            SparkStandard::Iso1585.factor(&air, TemperatureScale::Exact).expect("a factor").value
        };
        prop_assert!(same(factor("inHg", "degF"), factor("kPa", "degC")));
    }

    #[test]
    fn power_and_flow(torque in 10.0..900.0_f64, rpm in 1000.0..9000.0_f64, flow in 0.02..0.3_f64) {
        let power = |unit: &str| power_w(by_way_of(torque, unit, QuantityKind::Torque), rpm).expect("a running engine");
        prop_assert!(same(power("lb-ft"), power("N.m")));
        let at = |flow_unit: &str, from: f64, unit: &str| {
            let read = |value: f64| Quantity::spelled(value, unit, QuantityKind::PressureDifference).expect("a pressure").si();
            let flow = by_way_of(flow, flow_unit, QuantityKind::VolumeFlow);
            flow_at_pressure(flow, read(from), read(2.0 * from)).expect("a reading").flow_m3_per_s
        };
        prop_assert!(same(at("cfm", 10.0, "inH2O"), at("l/s", 2.5, "kPa")));
    }
}
