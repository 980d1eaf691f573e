//! The state of the air from a pull's conditions, and the correction factors of that air by every standard.

use crate::derive::Barred;
use crate::derive::Derived;
use crate::derive::Ground;
use crate::derive::Input;
use crate::derive::Missing;
use crate::derive::diesel;
use crate::derive::figure::Gathering;
use crate::derive::figure::Label;
use crate::derive::figure::Outcome;
use crate::derive::figure::combined;
use crate::engine::Beyond;
use crate::engine::EngineError;
use crate::engine::air::Air;
use crate::engine::air::CELSIUS_ZERO_K;
use crate::engine::altitude::Reduction;
use crate::engine::altitude::station_pressure_pa;
use crate::engine::correction::TemperatureScale;
use crate::engine::correction::rating::RatingKind;
use crate::engine::correction::rating::RatingPlace;
use crate::engine::correction::rating::indicated_ratio;
use crate::engine::correction::rating::power_adjustment;
use crate::engine::correction::spark::SparkStandard;
use crate::engine::humidity::Damp;
use crate::engine::humidity::WetBulbMethod;
use crate::engine::port::speed_of_sound_m_per_s;
use crate::engine::vapour::Saturation;
use crate::quantity::QuantityKind;
use crate::statistics::budget::Budgeted;

/// Below this, in °C, the saturation pressure is taken from the Magnus form, above it from IAPWS-IF97, which ends at
/// 0 °C.
const LOWEST_IF97_C: f64 = 0.1;

/// Reference of ISO 3046-1: pressure in Pa, temperature in °C, relative humidity (from memory).
const ISO_3046_REFERENCE: (f64, f64, f64) = (100_000.0, 25.0, 0.3);
/// Mechanical efficiency where none is known, by ISO 3046-1 (from memory).
const ISO_3046_EFFICIENCY: f64 = 0.8;

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
    /// What is to be said of it.
    pub notes: Vec<String>,
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
    let (pressure, temperature) = (station_pressure(gathering), gathering.one("air-temperature"));
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
    if read != DampRead::VapourPressure {
        let formula = match saturation {
            Saturation::IapwsIf97 => "IAPWS-IF97",
            _ => "the Magnus form",
        };
        gathering.notes.push(format!("vapour pressure over water by {formula}; 0 °C is 273.15 K"));
    }
    if read == DampRead::WetBulb {
        gathering.notes.push("damp from the wet bulb by WMO-No. 8".to_owned());
    }
    Some(Weather {
        pressure,
        temperature,
        damp,
        read,
        saturation,
        inputs: gathering.inputs.clone(),
        notes: gathering.notes.clone(),
    })
}

/// The station pressure as read; else from one reduced to sea level and the documented altitude of the cell.
pub(super) fn station_pressure(gathering: &mut Gathering<'_, '_>) -> Option<Budgeted> {
    let ground = gathering.ground;
    if ground.input("station-pressure").is_ok() || ground.input("sea-level-pressure").is_err() {
        return gathering.one("station-pressure");
    }
    let values = gathering.all(&["sea-level-pressure", "altitude"])?;
    gathering.notes.push(
        "station pressure worked out from the one reduced to sea level, as an altimeter setting, and the altitude of the cell"
            .to_owned(),
    );
    let reduced =
        |reduction: Reduction| combined(&values, move |x| station_pressure_pa(x[0], x[1], reduction));
    let found = reduced(Reduction::AltimeterSetting).and_then(|value| {
        // Nobody says how the reading was reduced: the two ways known are as far apart as it may be off.
        let apart = (reduced(Reduction::StandardRatio)?.value() - value.value()).abs();
        let name = format!("{} way of reduction to sea level", ground.name);
        Ok(value.with(name, apart / 3.0_f64.sqrt(), f64::INFINITY)?)
    });
    found.map_or_else(|error| gathering.cannot(error), Some)
}

impl Weather {
    pub(super) fn air(&self, x: &[f64]) -> Result<Air, EngineError> {
        let damp = match self.read {
            // A station at its stop reads 100 %; a step beyond it is asked for only to see what the reading moves.
            DampRead::Humidity => Damp::Relative(x[2].clamp(0.0, 1.0)),
            DampRead::VapourPressure => Damp::VapourPressure(x[2]),
            DampRead::DewPoint => Damp::DewPoint(x[2] - CELSIUS_ZERO_K),
            DampRead::WetBulb => Damp::WetBulb(x[2] - CELSIUS_ZERO_K, WetBulbMethod::Wmo),
        };
        Air::from_weather(x[0], x[1] - CELSIUS_ZERO_K, damp, self.saturation)
    }

    /// Its three readings: pressure, temperature, and what was read of the damp.
    pub(super) fn readings(&self) -> [&Budgeted; 3] {
        [&self.pressure, &self.temperature, &self.damp]
    }

    fn of(&self, what: impl Fn(&Air) -> Result<f64, EngineError>) -> Result<Budgeted, EngineError> {
        Budgeted::combine(&self.readings(), |x| what(&self.air(x)?))
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
    let mut all = states(&gathering, weather.as_ref());
    all.extend(SparkStandard::ALL.into_iter().map(|standard| correction_factor(ground, standard)));
    all.push(rating(&gathering, weather.as_ref()));
    all
}

/// Pressures and densities of the air, and its station pressure where that was worked out.
fn states(gathering: &Gathering<'_, '_>, weather: Option<&Weather>) -> Vec<Outcome> {
    let pressure = |name: &str, title: &str| Label::new(name, title, QuantityKind::PressureAbsolute, "kPa");
    let density = |name: &str, title: &str| Label::new(name, title, QuantityKind::Density, "kg/m³");
    let plain = |label: Label, what: fn(&Air) -> f64| {
        gathering.finish(label, weather.map(|weather| weather.of(|air| Ok(what(air)))))
    };
    let mut all = Vec::new();
    if gathering.inputs.iter().any(|input| input.means == "sea-level-pressure") {
        all.push(plain(
            pressure("station-pressure", "station pressure, worked out"),
            Air::station_pressure_pa,
        ));
    }
    all.extend([
        plain(pressure("vapour-pressure", "vapour pressure"), Air::vapour_pressure_pa),
        plain(pressure("dry-air-pressure", "dry air pressure"), Air::dry_pressure_pa),
        plain(density("air-density", "density of the air"), Air::density_kg_per_m3),
        plain(density("dry-air-density", "density of the dry air"), Air::dry_density_kg_per_m3),
    ]);
    all
}

/// The factor of a standard for this pull's air, and for its fuel where the engine ignites by compression.
fn correction_factor(ground: &Ground<'_>, standard: SparkStandard) -> Outcome {
    let name = format!("correction-factor-{}", standard.name().to_lowercase().replace(' ', "-"));
    let title = format!("correction factor, {}", standard.name());
    let label = Label::new(&name, &title, QuantityKind::Ratio, "");
    match diesel::factor(ground, standard) {
        Ok(factor) => {
            let mut gathering = Gathering::new(ground);
            factor.inputs.iter().for_each(|input| gathering.rests_on(input));
            gathering.notes = factor.notes;
            gathering
                .finish(label, Some(Ok(factor.value)))
                .map(|derived| Derived { beyond: factor.beyond, ..derived })
        }
        Err(lack) => Err(Barred { label, missing: lack.missing, cannot: lack.why }),
    }
}

/// What ISO 3046-1 makes of a rating at this site against its reference of 100 kPa, 25 °C and 30 % humidity.
fn rating(gathering: &Gathering<'_, '_>, weather: Option<&Weather>) -> Outcome {
    let label =
        Label::new("rating-iso-3046-1", "share of the rating left here, ISO 3046-1", QuantityKind::Ratio, "");
    let mut gathering = gathering.clone();
    let ground = gathering.ground;
    if ground.has("turbocharger") || ground.has("blower") {
        return Err(Barred {
            label,
            missing: Vec::new(),
            cannot: Some("its exponents for charged engines are not known here".to_owned()),
        });
    }
    let kind = match diesel::ignites_by_compression(ground) {
        true => RatingKind::DIESEL_NATURAL,
        false => RatingKind::SPARK_NATURAL,
    };
    gathering.notes.push(format!(
        "ISO 3046-1 declares a rating at a site; mechanical efficiency {ISO_3046_EFFICIENCY} taken, its value where none is known"
    ));
    let value = weather.map(|weather| {
        let air = |pascal: f64, celsius: f64, humidity: f64| {
            Air::from_weather(pascal, celsius, Damp::Relative(humidity), Saturation::IapwsIf97)
        };
        let (pascal, celsius, humidity) = ISO_3046_REFERENCE;
        let place = |air: Air| RatingPlace { air, coolant_k: CELSIUS_ZERO_K + celsius };
        let reference = place(air(pascal, celsius, humidity)?);
        weather.of(|air| {
            let k = indicated_ratio(kind, &place(*air), &reference, TemperatureScale::Exact)?;
            power_adjustment(k, ISO_3046_EFFICIENCY)
        })
    });
    gathering.finish(label, value)
}

/// The speed of sound in this pull's inlet air, by whatever gathers it.
pub(super) fn speed_of_sound(gathering: &mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>> {
    let temperature = gathering.one("air-temperature")?;
    Some(Budgeted::combine(&[&temperature], |x| speed_of_sound_m_per_s(x[0])))
}

/// Density of the air in a flow bench's room, by whatever gathers it; where nobody read its damp, halfway between dry
/// and saturated and off by as much.
pub(super) fn density_of_room(gathering: &mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>> {
    if gathering.ground.input("relative-humidity").is_ok() {
        return density(gathering);
    }
    let values = gathering.all(&["station-pressure", "air-temperature"])?;
    gathering
        .notes
        .push("nobody read the room's humidity: it may be anything from dry to saturated".to_owned());
    let name = format!("{} humidity of the room", gathering.ground.name);
    let air = |x: &[f64]| {
        let damp = Damp::Relative(x[2].clamp(0.0, 1.0));
        Ok(Air::from_weather(x[0], x[1] - CELSIUS_ZERO_K, damp, Saturation::Magnus)?.density_kg_per_m3())
    };
    let half = 0.5;
    let damp = Budgeted::from_source(half, name, half / 3.0_f64.sqrt()).map_err(EngineError::from);
    Some(damp.and_then(|damp| {
        let [pressure, temperature] = values.as_slice() else {
            return Err(EngineError::OutOfDomain {
                what: "readings of the room",
                found: 0.0,
                unit: "",
                expected: "two",
            });
        };
        Budgeted::combine(&[pressure, temperature, &damp], air)
    }))
}

/// Density of the damp air, by whatever gathers it.
pub(super) fn density(gathering: &mut Gathering<'_, '_>) -> Option<Result<Budgeted, EngineError>> {
    read(gathering).map(|weather| weather.of(|air| Ok(air.density_kg_per_m3())))
}
