//! The state of the air from a pull's conditions, and the correction factors of that air by every standard.

use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::Missing;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::engine::Beyond;
use crate::engine::EngineError;
use crate::engine::air::Air;
use crate::engine::air::CELSIUS_ZERO_K;
use crate::engine::correction::TemperatureScale;
use crate::engine::correction::spark::SparkStandard;
use crate::engine::humidity::Damp;
use crate::engine::humidity::WetBulbMethod;
use crate::engine::vapour::Saturation;
use crate::quantity::QuantityKind;
use crate::statistics::budget::Budgeted;

/// Below this, in °C, the saturation pressure is taken from the Magnus form, above it from IAPWS-IF97, which ends at
/// 0 °C.
const LOWEST_IF97_C: f64 = 0.1;

/// What was read of the damp in the air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum DampRead {
    Humidity,
    VapourPressure,
    DewPoint,
    WetBulb,
}

/// The air of a pull as its conditions give it.
#[derive(Debug, Clone)]
pub struct Weather {
    pressure: Budgeted,
    temperature: Budgeted,
    damp: Budgeted,
    read: DampRead,
    saturation: Saturation,
    /// What it was taken from.
    pub inputs: Vec<Input>,
}

/// The air that a pull's engine breathed.
///
/// The damp is taken from the relative humidity, else from vapour pressure, dew point or wet bulb (WMO).
///
/// # Errors
/// What is missing.
pub fn weather(ground: &Ground<'_>) -> Result<Weather, Vec<Missing>> {
    let mut gathering = Gathering::new(ground);
    read(&mut gathering).ok_or(gathering.missing)
}

fn read(gathering: &mut Gathering<'_, '_>) -> Option<Weather> {
    let (pressure, temperature) = (gathering.one("station-pressure"), gathering.one("air-temperature"));
    let ways = [
        ("relative-humidity", DampRead::Humidity),
        ("vapour-pressure", DampRead::VapourPressure),
        ("dew-point", DampRead::DewPoint),
        ("wet-bulb-temperature", DampRead::WetBulb),
    ];
    let ground = gathering.ground;
    let (means, read) = ways.into_iter().find(|(means, _)| ground.input(means).is_ok()).unwrap_or(ways[0]);
    let damp = gathering.one(means);
    let (pressure, temperature, damp) = (pressure?, temperature?, damp?);
    let saturation = if temperature.value() - CELSIUS_ZERO_K >= LOWEST_IF97_C {
        Saturation::IapwsIf97
    } else {
        Saturation::Magnus
    };
    Some(Weather { pressure, temperature, damp, read, saturation, inputs: gathering.inputs.clone() })
}

impl Weather {
    fn air(&self, x: &[f64]) -> Result<Air, EngineError> {
        let damp = match self.read {
            // A station at its stop reads 100 %; a step beyond it is asked for only to see what the reading moves.
            DampRead::Humidity => Damp::Relative(x[2].clamp(0.0, 1.0)),
            DampRead::VapourPressure => Damp::VapourPressure(x[2]),
            DampRead::DewPoint => Damp::DewPoint(x[2] - CELSIUS_ZERO_K),
            DampRead::WetBulb => Damp::WetBulb(x[2] - CELSIUS_ZERO_K, WetBulbMethod::Wmo),
        };
        Air::from_weather(x[0], x[1] - CELSIUS_ZERO_K, damp, self.saturation)
    }

    fn of(&self, what: impl Fn(&Air) -> Result<f64, EngineError>) -> Result<Budgeted, EngineError> {
        Budgeted::combine(&[&self.pressure, &self.temperature, &self.damp], |x| what(&self.air(x)?))
    }

    /// The factor of a standard for this air, with what lies outside the standard's limits.
    ///
    /// # Errors
    /// Readings that no air can have.
    pub fn factor(
        &self,
        standard: SparkStandard,
    ) -> Result<(Budgeted, Vec<Beyond>, &'static str), EngineError> {
        let value = self.of(|air| Ok(standard.factor(air, TemperatureScale::Exact)?.value))?;
        let middle = self.air(&[self.pressure.value(), self.temperature.value(), self.damp.value()])?;
        let factor = standard.factor(&middle, TemperatureScale::Exact)?;
        Ok((value, factor.beyond, factor.formula))
    }
}

/// The air of a pull and its correction factors.
pub(super) fn figures(ground: &Ground<'_>) -> Vec<Outcome> {
    let mut gathering = Gathering::new(ground);
    let weather = read(&mut gathering);
    let pressure = |name: &str, title: &str| Label::new(name, title, QuantityKind::PressureAbsolute, "kPa");
    let density = |name: &str, title: &str| Label::new(name, title, QuantityKind::Density, "kg/m³");
    let plain = |label: Label, what: fn(&Air) -> f64| {
        gathering.finish(label, weather.as_ref().map(|weather| weather.of(|air| Ok(what(air)))))
    };
    let mut all = vec![
        plain(pressure("vapour-pressure", "vapour pressure"), Air::vapour_pressure_pa),
        plain(pressure("dry-air-pressure", "dry air pressure"), Air::dry_pressure_pa),
        plain(density("air-density", "density of the air"), Air::density_kg_per_m3),
        plain(density("dry-air-density", "density of the dry air"), Air::dry_density_kg_per_m3),
    ];
    all.extend(SparkStandard::ALL.into_iter().map(|standard| {
        let name = format!("correction-factor-{}", standard.name().to_lowercase().replace(' ', "-"));
        let title = format!("correction factor, {}", standard.name());
        let label = Label::new(&name, &title, QuantityKind::Ratio, "");
        let factor = weather.as_ref().map(|weather| weather.factor(standard));
        let (value, beyond) = match factor {
            Some(Ok((value, beyond, _))) => (Some(Ok(value)), beyond),
            Some(Err(error)) => (Some(Err(error)), Vec::new()),
            None => (None, Vec::new()),
        };
        gathering.finish(label, value).map(|mut derived| {
            derived.beyond = beyond;
            if standard.limits().is_none() {
                derived.notes.push(format!("no limits of {} are known to this program", standard.name()));
            }
            derived
        })
    }));
    all
}
