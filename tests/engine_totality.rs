//! Whatever numbers come in, a relation gives a finite number or an error: never NaN, never infinity, never a
//! panic.

use mulebook::engine::air::Air;
use mulebook::engine::cam::{Events, Lobe, overlap_deg};
use mulebook::engine::cam_card::{CardFigure, contradicting_durations, read_card};
use mulebook::engine::compression::{Clearance, TopLand, clearance_for_ratio_m3, engine_ratio, static_ratio};
use mulebook::engine::correction::diesel::{Charging, DieselEdition, Fuelling};
use mulebook::engine::correction::rating::{RatingKind, RatingPlace, indicated_ratio, power_adjustment};
use mulebook::engine::correction::spark::{DinPressure, J1349Form, SparkStandard};
use mulebook::engine::correction::{TemperatureScale, convert, correct_with_friction};
use mulebook::engine::discharge::{Drop, FlowConvention, ReferenceArea, discharge_coefficient};
use mulebook::engine::humidity::{Damp, WetBulbMethod, vapour_pressure_pa};
use mulebook::engine::lift_range::{LiftReading, mean};
use mulebook::engine::oil::{ChenFlynn, ViscosityLine, viscous_friction_ratio};
use mulebook::engine::piston::CrankMechanism;
use mulebook::engine::port::InletValve;
use mulebook::engine::shaft::WorkingCycle;
use mulebook::engine::valve::Seat;
use mulebook::engine::vapour::Saturation;
use mulebook::engine::{
    EngineError, altitude, consumption, cylinder, flow_bench, inertia, inlet_closing, milling, mixture, port,
    sensitivity, shaft, valve, valve_lift,
};
use mulebook::statistics::StatisticsError;
use mulebook::statistics::band::{Cover, factor};
use mulebook::statistics::components::Components;
use mulebook::statistics::distribution::{
    chi_squared_probability, fisher_upper, normal_quantile, student_probability, student_quantile,
};
use mulebook::statistics::least_squares::Fit;
use mulebook::statistics::sample::Summary;
use mulebook::statistics::two_sample::{pooled, welch};
use proptest::prelude::*;

/// Any number at all, and often one of ordinary size so that the arithmetic behind the checks is reached.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        -2.0..2.0_f64,
        0.0..1000.0_f64,
        1e4..2e5_f64,
        Just(0.0),
        Just(f64::MIN_POSITIVE),
        Just(f64::MAX),
        Just(f64::NAN),
    ]
}

#[track_caller]
fn engine(found: Result<f64, EngineError>) {
    if let Ok(value) = found {
        assert!(value.is_finite(), "{value}");
    }
}

#[track_caller]
fn statistic(found: Result<f64, StatisticsError>) {
    if let Ok(value) = found {
        assert!(value.is_finite(), "{value}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn geometry(a in number(), b in number(), c in number(), d in number(), e in number(), f in number()) {
        engine(cylinder::swept_volume_m3(a, b));
        engine(cylinder::displacement_m3(&[a, b], c));
        engine(cylinder::rod_ratio(a, b));
        engine(static_ratio(a, b));
        engine(clearance_for_ratio_m3(a, b));
        let clearance = Clearance {
            bore_m: a,
            chamber_m3: b,
            gasket_bore_m: a * 1.01,
            gasket_thickness_m: c,
            deck_clearance_m: d,
            crown_m3: e,
            top_land: Some(TopLand { diameter_m: a * 0.99, height_m: f }),
        };
        engine(clearance.ratio(d));
        engine(clearance.quench_m());
        engine(clearance.parts().map(|parts| parts.total_m3));
        engine(engine_ratio(&[clearance, clearance], b).map(|ratio| ratio.overall));
        engine(milling::flat_cut_volume_m3(a, b));
        engine(milling::cut_for_volume_m(a, b));
        engine(milling::angled_cut_volume_m3(a, b, c, d));
        engine(milling::angled_cut_depth_m(a, b));
        engine(milling::intake_shift(a, b, c).map(|shift| shift.face_cut_m + shift.manifold_drop_m));
        if let Ok(crank) = CrankMechanism::new(a, b) {
            engine(crank.position_m(c));
            engine(crank.angle_deg(c));
            engine(crank.speed_m_per_s(c, d));
            engine(crank.acceleration_m_per_s2(c, d));
            engine(crank.greatest_speed(c).map(|greatest| greatest.speed_m_per_s));
            engine(crank.uncovered_volume_m3(c, d));
            engine(inlet_closing::ratio_at_inlet_closing(&crank, c, d, e));
        }
        engine(mulebook::engine::piston::mean_speed_m_per_s(a, b));
    }

    #[test]
    fn camshaft_and_flow(a in number(), b in number(), c in number(), d in number(), e in number()) {
        let lobe = Lobe { at_lift_m: c, duration_deg: a, centreline_deg: b };
        engine(lobe.inlet_events().map(|events| events.opens_before_deg + events.closes_after_deg));
        engine(Lobe::from_exhaust_events(Events { at_lift_m: c, opens_before_deg: a, closes_after_deg: b }).map(|lobe| lobe.centreline_deg));
        engine(overlap_deg(&lobe, &lobe));
        prop_assert!(contradicting_durations(&[(a, b), (c, d)]).map_or(0, |pairs| pairs.len()) < 2);
        let card = [(CardFigure::Overlap, a), (CardFigure::InletDuration, b), (CardFigure::InletOpening, c),
            (CardFigure::InletCentreline, d)];
        if let Ok(reading) = read_card(&card, e) {
            prop_assert!(reading.follows.iter().all(|(_, value)| value.is_finite()));
        }
        for at in [valve_lift::LashAt::Valve, valve_lift::LashAt::Lobe] {
            engine(valve_lift::net_lift_m(a, b, c, at));
            engine(valve_lift::lobe_lift_m(a, b, c, at));
            engine(valve_lift::rocker_ratio(a, b, c, at));
        }
        engine(valve::curtain_area_m2(a, b));
        engine(valve::throat_area_m2(a, b));
        let seat = Seat { valve_diameter_m: a, seat_width_m: b, angle_deg: c, port_diameter_m: a, stem_diameter_m: d };
        engine(seat.smallest_area_m2(e).map(|(area, _)| area));
        engine(flow_bench::flow_at_pressure(a, b, c).map(|flow| flow.flow_m3_per_s));
        engine(flow_bench::flow_of_standard_air_m3_per_s(flow_bench::BenchKind::VolumeFlow, a, b, c));
        engine(flow_bench::flow_at_head_m3_per_s(a, b, c));
        engine(flow_bench::flow_without_leakage_m3_per_s(a, b, c, d));
        let drop = Drop { upstream_pa: a, upstream_k: b, drop_pa: c, gas_constant_j_per_kg_k: d, heat_ratio: e };
        engine(drop.critical_ratio());
        for convention in [FlowConvention::Compressible, FlowConvention::Incompressible] {
            engine(drop.ideal_flux_kg_per_s_m2(convention));
            engine(discharge_coefficient(d, &Drop::of_dry_air(a, b, c), ReferenceArea::Throat, e, convention).map(|found| found.value));
        }
        engine(drop.ideal_speed_m_per_s());
        let sheet = [(a, b), (c, d)].map(|(lift_m, value)| LiftReading { lift_m, value });
        engine(mean(&sheet, a, c));
        engine(port::bench_velocity_m_per_s(a, b));
        engine(port::running_velocity_m_per_s(a, b, c));
        let valve = InletValve { bore_m: a, valve_diameter_m: b, mean_flow_coefficient: c };
        engine(valve.mach_index(d, e));
        engine(valve.speed_at_index_rpm(c, d, e));
    }

    #[test]
    fn air_and_correction(a in number(), b in number(), c in number(), d in number(), e in number()) {
        let formulas = [Saturation::IapwsIf97, Saturation::HylandWexler, Saturation::Magnus, Saturation::Buck1981, Saturation::Buck1996];
        for saturation in formulas {
            engine(saturation.pressure_pa(a));
            engine(saturation.dew_point_c(a));
            for damp in [
                Damp::Relative(c), Damp::DewPoint(c), Damp::VapourPressure(c), Damp::WetBulb(c, WetBulbMethod::Wmo),
                Damp::WetBulb(c, WetBulbMethod::Ams), Damp::WetBulb(c, WetBulbMethod::AdiabaticSaturation),
            ] {
                engine(vapour_pressure_pa(damp, a, b, saturation));
            }
        }
        engine(altitude::standard_pressure_pa(a));
        engine(altitude::standard_altitude_m(a));
        for reduction in [altitude::Reduction::AltimeterSetting, altitude::Reduction::StandardRatio] {
            engine(altitude::station_pressure_pa(a, b, reduction));
            engine(altitude::sea_level_pressure_pa(a, b, reduction));
        }
        engine(convert(a, b, c));
        engine(correct_with_friction(a, b, c));
        if let Ok(air) = Air::new(a, b, c) {
            prop_assert!(air.density_kg_per_m3().is_finite() && air.humidity_ratio().is_finite());
            for standard in [
                SparkStandard::SaeJ1349(J1349Form::Printed), SparkStandard::Sae60Fahrenheit, SparkStandard::Iso1585,
                SparkStandard::Din70020(DinPressure::Dry),
            ] {
                engine(standard.factor(&air, TemperatureScale::WholeDegrees).map(|factor| factor.value));
            }
            engine(DieselEdition::UnR85.factor(&air, Charging::Turbocharged, d, TemperatureScale::Exact).map(|factor| factor.value));
            let kind = RatingKind { humidity: d, pressure: e, temperature: d, coolant: e };
            let place = RatingPlace { air, coolant_k: e };
            let reference = RatingPlace { air: Air::new(1e5, 298.15, 0.0).expect("air"), coolant_k: 298.0 };
            engine(indicated_ratio(kind, &place, &reference, TemperatureScale::Exact));
        }
        engine(power_adjustment(a, b));
        let fuelling = Fuelling { fuel_g_per_s: a, displacement_l: b, speed_rpm: c, cycle: WorkingCycle::TwoStroke, boost_ratio: d };
        engine(fuelling.corrected_mg_per_l());
    }

    #[test]
    fn cycle(a in number(), b in number(), c in number(), d in number(), e in number()) {
        engine(shaft::power_w(a, b));
        engine(shaft::torque_nm(a, b));
        engine(shaft::mean_effective_pressure_pa(a, b, WorkingCycle::FourStroke));
        engine(shaft::torque_from_pressure_nm(a, b, WorkingCycle::FourStroke));
        engine(shaft::arm_torque_nm(a, b, c));
        engine(consumption::specific_consumption_kg_per_j(a, b));
        engine(consumption::power_from_consumption_w(a, b));
        engine(consumption::volumetric_efficiency(a, b, c, d, WorkingCycle::FourStroke));
        engine(consumption::air_flow_kg_per_s(a, b, c, d, WorkingCycle::FourStroke));
        engine(consumption::thermal_efficiency(a, b, c));
        engine(mixture::FuelFormula { carbon: a, hydrogen: b, oxygen: c, nitrogen: d }.stoichiometric_ratio());
        engine(mixture::blend_ratio(&[(a, b), (c, d)]));
        engine(mixture::mass_share(a, b, c));
        engine(mixture::lambda(a, b));
        engine(inertia::steady_torque_nm(a, b, c));
        engine(inertia::inertia_power_w(a, b, c));
        engine(sensitivity::compression_gain(a, b, c));
        engine(sensitivity::torque_off_best_timing(a, b));
        engine(sensitivity::torque_of_mixture(a));
        engine(sensitivity::air_of_temperature(a, b));
        if let Ok(line) = ViscosityLine::through((a, b), (c, d)) {
            engine(line.viscosity_mm2_per_s(e));
        }
        engine(viscous_friction_ratio(a, b, c));
        engine(ChenFlynn { constant_bar: a, peak_pressure: b, speed: c, speed_squared: d }.pressure_bar(e, a));
    }

    #[test]
    fn statistics(a in number(), b in number(), c in number(), d in number(), e in number()) {
        statistic(student_quantile(a, b));
        statistic(student_probability(a, b));
        statistic(normal_quantile(a));
        statistic(fisher_upper(a, b, c));
        statistic(chi_squared_probability(a, b));
        statistic(factor(Cover::Sidak, 7, a, b));
        if let (Ok(base), Ok(test)) = (Summary::of(&[a, b, c]), Summary::of(&[d, e])) {
            statistic(welch(&base, &test).and_then(|found| found.two_sided_probability()));
            statistic(pooled(&base, &test).and_then(|found| found.interval(0.95)).map(|interval| interval.upper));
        }
        statistic(Components::of(&[&[a, b], &[c, d, e]]).and_then(|found| found.group_test()).map(|(f, p)| f + p));
        let design = [vec![1.0, a], vec![1.0, b], vec![1.0, c], vec![1.0, d]];
        if let Ok(fit) = Fit::of(&design, &[e, a, b, c]) {
            prop_assert!(fit.residual_squares.is_finite());
            statistic(fit.coefficient(1).map(|found| found.value));
        }
    }
}
