//! Units that contradict the values.

use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::QuantityKind;
use crate::raw::checks::thin::Thin;
use crate::raw::statistics::median;
use crate::record::channel::ChannelQuantity;
use crate::record::columns::Column;

/// Plausible medians of a channel, in SI. Common practice, no source; wide on purpose, so that a wrong unit stands out
/// and an unusual engine does not.
fn plausible(quantity: ChannelQuantity, kind: QuantityKind) -> Option<(f64, f64)> {
    let range = match (quantity, kind) {
        // 200 to 25000 rpm.
        (ChannelQuantity::Speed, _) => (20.0, 2620.0),
        (ChannelQuantity::Torque, _) => (0.2, 30_000.0),
        (ChannelQuantity::Power, _) => (50.0, 5e6),
        (ChannelQuantity::Lambda, _) => (0.4, 10.0),
        (ChannelQuantity::AirFuelRatio, _) => (3.0, 150.0),
        // 120 to 1500 g/kWh.
        (ChannelQuantity::SpecificFuelConsumption, _) => (3.3e-8, 4.2e-7),
        (ChannelQuantity::Barometer, _) => (60e3, 109e3),
        (ChannelQuantity::VapourPressure, _) => (10.0, 8e3),
        (ChannelQuantity::OilPressure, _) => (0.0, 1.5e6),
        (ChannelQuantity::ManifoldPressure, QuantityKind::PressureAbsolute) => (5e3, 6e5),
        (ChannelQuantity::AirTemperature, _) => (233.0, 350.0),
        (ChannelQuantity::WaterTemperature, _) => (255.0, 420.0),
        (ChannelQuantity::OilTemperature, _) => (255.0, 450.0),
        (ChannelQuantity::FuelTemperature, _) => (233.0, 390.0),
        (ChannelQuantity::ExhaustTemperature, _) => (255.0, 1500.0),
        (ChannelQuantity::Humidity, QuantityKind::Fraction) => (0.0, 1.0),
        (ChannelQuantity::Humidity, _) => (0.0, 0.06),
        (ChannelQuantity::CorrectionFactor, _) => (0.7, 1.4),
        _ => return None,
    };
    Some(range)
}

/// Doubts a channel whose median lies outside what its quantity can be in its unit.
pub(super) fn units_against_values(thin: &Thin, columns: &[Column], doubts: &mut Vec<Finding>) {
    for (channel, column) in columns.iter().enumerate() {
        if let Some(doubt) = unit_doubt(column.quantity, column.unit.as_deref(), thin.column(channel)) {
            doubts.push(doubt.at(Place::default().field(column.name.as_str())));
        }
    }
}

/// The doubt about one channel's unit, if any.
fn unit_doubt(quantity: ChannelQuantity, unit: Option<&str>, values: &[f64]) -> Option<Finding> {
    let spelling = unit?;
    let (unit, kind) = quantity.unit(spelling)?;
    let (least, greatest) = plausible(quantity, kind)?;
    // Zeros are the blank of many loggers; they say nothing about a unit.
    let loaded: Vec<f64> = values.iter().copied().filter(|v| v.abs() > 0.0).collect();
    let middle = median(loaded)?;
    let magnitude = |value: f64| {
        if matches!(quantity, ChannelQuantity::Torque | ChannelQuantity::Power) { value.abs() } else { value }
    };
    let within = |si: f64| (least..=greatest).contains(&magnitude(si));
    if within(unit.to_si(middle)) {
        return None;
    }
    let others: Vec<&str> = kind
        .units()
        .iter()
        .filter(|other| within(other.to_si(middle)))
        .map(|other| other.symbol())
        .take(3)
        .collect();
    let next = if others.is_empty() {
        "see whether the column holds what its header says".to_owned()
    } else {
        format!("the values would suit {}; say the right unit in the columns record", others.join(", "))
    };
    let message = format!("the values do not suit the unit {spelling} for {}", kind.title());
    Some(
        Finding::doubt("unit-contradicts-values", message)
            .found(format!("a median of {middle} {spelling}"))
            .next(next),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_far_off_is_doubted_and_a_better_one_named() {
        let doubt =
            unit_doubt(ChannelQuantity::WaterTemperature, Some("degC"), &[178.0, 180.0, 182.0]).unwrap();
        assert!(doubt.next.unwrap().contains("degF"));
        assert!(
            unit_doubt(ChannelQuantity::WaterTemperature, Some("degF"), &[178.0, 180.0, 182.0]).is_none()
        );
        assert!(unit_doubt(ChannelQuantity::Barometer, Some("kPa"), &[29.1, 29.2]).is_some());
        assert!(unit_doubt(ChannelQuantity::Barometer, Some("inHg"), &[29.1, 29.2]).is_none());
        assert!(unit_doubt(ChannelQuantity::Torque, Some("N.m"), &[-40.0]).is_none());
        assert!(unit_doubt(ChannelQuantity::Other, Some("V"), &[1e9]).is_none());
    }
}
