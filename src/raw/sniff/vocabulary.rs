//! The words of column headers: which quantity they name, in the trade's abbreviations and four more languages.

use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::record::channel::ChannelQuantity;

/// The lower-case words of a header: parted at marks, at capitals and between letters and digits.
pub(super) fn words(header: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut before = ' ';
    for c in header.chars() {
        let boundary = !c.is_alphanumeric()
            || (c.is_uppercase() && before.is_lowercase())
            || (c.is_ascii_digit() != before.is_ascii_digit());
        if boundary || words.is_empty() {
            words.push(String::new());
        }
        if c.is_alphanumeric()
            && let Some(word) = words.last_mut()
        {
            word.extend(c.to_lowercase());
        }
        before = c;
    }
    words.retain(|w| !w.is_empty());
    words
}

/// What a unit says about its column when the header names only the place (`Oil` in psi).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Hint {
    temperature: bool,
    pressure: bool,
    flow: bool,
}

const TEMPERATURE: [&str; 8] =
    ["temp", "temps", "temperature", "temperatur", "température", "tmp", "temperatura", "tmpr"];
const PRESSURE: [&str; 9] =
    ["pressure", "press", "pres", "prs", "druck", "pression", "pressione", "presión", "psi"];
const FLOW: [&str; 10] =
    ["flow", "rate", "consumption", "verbrauch", "débit", "portata", "caudal", "durchfluss", "mass", "cfm"];
const OIL: [&str; 4] = ["oil", "öl", "huile", "olio"];
const WATER: [&str; 9] = ["water", "wtr", "coolant", "cool", "clt", "ect", "jacket", "wasser", "kühlwasser"];
const AIR: [&str; 13] = [
    "air",
    "inlet",
    "intake",
    "ambient",
    "cell",
    "carb",
    "iat",
    "act",
    "mat",
    "luft",
    "ansaugluft",
    "room",
    "dry",
];
const FUEL: [&str; 5] = ["fuel", "kraftstoff", "carburant", "carburante", "benzin"];
const EXHAUST: [&str; 6] = ["exhaust", "exh", "abgas", "échappement", "scarico", "ex"];

/// The quantity that a header names, with the unit that stands by it, if any.
pub(super) fn quantity(header: &str, unit: Option<&str>) -> ChannelQuantity {
    let words = words(header);
    let joined = words.join(" ");
    let has = |list: &[&str]| words.iter().any(|w| list.contains(&w.as_str()));
    let says = |list: &[&str]| list.iter().any(|phrase| joined.contains(phrase));
    let hint = unit.map(hint_of).unwrap_or_default();
    let temperature = has(&TEMPERATURE) || hint.temperature || joined.contains("temp");
    let pressure = has(&PRESSURE) || hint.pressure;
    let flow = has(&FLOW) || hint.flow;
    use ChannelQuantity as Q;
    if has(&["lift", "ventilhub", "levée", "alzata"]) {
        Q::Lift
    } else if says(&["test pressure", "depression"]) {
        Q::TestPressure
    } else if has(&["lambda", "lam", "λ"]) {
        Q::Lambda
    } else if has(&["afr"]) || says(&["a f ratio", "air fuel", "air to fuel"]) {
        Q::AirFuelRatio
    } else if has(&["bsfc", "sfc", "bsf"]) || says(&["specific fuel", "spec fuel"]) {
        Q::SpecificFuelConsumption
    } else if has(&["cf"])
        || (has(&["factor", "fact", "faktor"]) && says(&["corr", "sae", "din", "stp", "korrektur"]))
    {
        Q::CorrectionFactor
    } else if has(&["humidity", "humid", "hum", "rh", "feuchte", "luftfeuchte", "humidité", "umidità"]) {
        Q::Humidity
    } else if has(&["vapor", "vapour"]) {
        Q::VapourPressure
    } else if has(&["baro", "barometer", "barometric", "barom", "luftdruck", "barometro"])
        || (pressure && has(&["ambient", "atm", "atmospheric", "station", "cell"]))
    {
        Q::Barometer
    } else if has(&["blowby"]) || says(&["blow by"]) {
        Q::BlowBy
    } else if has(&["egt", "egts"]) || (has(&EXHAUST) && temperature) {
        Q::ExhaustTemperature
    } else if has(&["oilp"]) || (has(&OIL) && pressure) {
        Q::OilPressure
    } else if has(&["oilt", "öltemp", "öltemperatur"]) || (has(&OIL) && temperature) {
        Q::OilTemperature
    } else if says(&["öldruck"]) {
        Q::OilPressure
    } else if has(&["ect", "clt"]) || (has(&WATER) && temperature) || says(&["kühlwassertemp", "wassertemp"])
    {
        Q::WaterTemperature
    } else if has(&FUEL) && pressure {
        Q::FuelPressure
    } else if has(&FUEL) && temperature {
        Q::FuelTemperature
    } else if has(&["kraftstoffverbrauch"]) || (has(&FUEL) && flow) {
        Q::FuelFlow
    } else if has(&["maf", "airflow"]) || (has(&["air", "luft"]) && flow) {
        Q::AirFlow
    } else if has(&["iat"]) || (has(&AIR) && temperature) || says(&["lufttemp"]) {
        Q::AirTemperature
    } else if (has(&EXHAUST) || has(&["back"])) && pressure {
        Q::ExhaustPressure
    } else if has(&["map", "manifold", "boost", "vacuum", "vac", "ladedruck", "saugrohr"]) && !temperature {
        Q::ManifoldPressure
    } else if is_time(&words, &joined) {
        Q::Time
    } else if has(&["mph", "kmh", "kph", "vss"])
        || (has(&["speed"]) && has(&["road", "wheel", "roller", "vehicle", "ground", "car"]))
    {
        Q::RoadSpeed
    } else if has(&[
        "torque",
        "tq",
        "trq",
        "trque",
        "drehmoment",
        "moment",
        "couple",
        "coppia",
        "nm",
        "lbft",
        "ftlb",
        "par",
    ]) || says(&["lb ft", "ft lb"])
    {
        Q::Torque
    } else if has(&[
        "power",
        "pwr",
        "hp",
        "bhp",
        "whp",
        "kw",
        "ps",
        "cv",
        "leistung",
        "puissance",
        "potenza",
        "potencia",
        "horsepower",
    ]) {
        Q::Power
    } else if has(&["rpm", "speed", "revs", "rev", "drehzahl", "régime", "regime", "giri", "n", "rpms"])
        || says(&["1 min", "u min"])
    {
        Q::Speed
    } else if has(&["throttle", "tps", "drosselklappe"]) {
        Q::Throttle
    } else if has(&["timing", "ign", "ignition", "spark", "advance", "zündung", "zündwinkel"]) {
        Q::IgnitionTiming
    } else if has(&["run", "pull", "lauf", "segment", "pass"]) {
        Q::Run
    } else {
        by_unit(unit)
    }
}

fn is_time(words: &[String], joined: &str) -> bool {
    let times = [
        "time",
        "timestamp",
        "ts",
        "elapsed",
        "zeit",
        "uhrzeit",
        "datum",
        "date",
        "datetime",
        "clock",
        "epoch",
        "tempo",
        "heure",
        "sec",
        "secs",
        "seconds",
        "sek",
        "millis",
    ];
    words.first().is_some_and(|w| times.contains(&w.as_str()))
        || words.last().is_some_and(|w| ["time", "timestamp", "zeit"].contains(&w.as_str()))
        || matches!(joined, "t" | "t s" | "time s" | "t ms")
}

/// The quantity that a unit alone settles.
fn by_unit(unit: Option<&str>) -> ChannelQuantity {
    let candidates = [ChannelQuantity::Speed, ChannelQuantity::Torque, ChannelQuantity::Power];
    let Some(unit) = unit else {
        return ChannelQuantity::Other;
    };
    candidates.into_iter().find(|q| q.unit(&tidy(unit)).is_some()).unwrap_or(ChannelQuantity::Other)
}

fn hint_of(unit: &str) -> Hint {
    let unit = tidy(unit);
    let is = |kind| Unit::parse(&unit, kind).is_ok();
    Hint {
        temperature: is(QuantityKind::Temperature),
        pressure: is(QuantityKind::PressureGauge) || is(QuantityKind::PressureAbsolute),
        flow: is(QuantityKind::MassFlow) || is(QuantityKind::VolumeFlow),
    }
}

/// Spellings of units that loggers use and people do not.
const LOGGER_SPELLINGS: [(&str, &str); 22] = [
    ("u/min", "rpm"),
    ("1/min", "rpm"),
    ("min-1", "rpm"),
    ("min^-1", "rpm"),
    ("/min", "rpm"),
    ("tr/min", "rpm"),
    ("giri/min", "rpm"),
    ("upm", "rpm"),
    ("lbft", "lb-ft"),
    ("ftlb", "lb-ft"),
    ("ftlbs", "lb-ft"),
    ("lbsft", "lb-ft"),
    ("mkg", "kgf·m"),
    ("sec", "s"),
    ("secs", "s"),
    ("seconds", "s"),
    ("sek", "s"),
    ("msec", "ms"),
    ("millis", "ms"),
    ("pct", "%"),
    ("percent", "%"),
    ("ch", "PS"),
];

/// A unit's spelling as the quantity room knows it.
pub(super) fn tidy(unit: &str) -> String {
    let bare = unit.trim().trim_matches(['(', ')', '[', ']', '{', '}']).trim();
    let bare = bare.trim_start_matches("in ").trim();
    let lower = bare.to_lowercase().replace(' ', "");
    LOGGER_SPELLINGS
        .iter()
        .find(|(known, _)| *known == lower)
        .map_or_else(|| bare.to_owned(), |(_, unit)| (*unit).to_owned())
}

/// Whether a text is a unit of any kind.
pub(in crate::raw) fn is_unit(text: &str) -> bool {
    let unit = tidy(text);
    unit.chars().any(|c| !c.is_ascii_digit())
        && QuantityKind::ALL.into_iter().any(|kind| Unit::parse(&unit, kind).is_ok())
}

/// The fuel that a header names, in the trade's word.
pub(super) fn fuel(header: &str) -> Option<String> {
    let words = words(header);
    let found = words.iter().find_map(|word| match word.as_str() {
        "petrol" | "gasoline" | "benzin" | "essence" | "benzina" => Some("petrol"),
        "diesel" => Some("diesel"),
        "methanol" => Some("methanol"),
        "ethanol" => Some("ethanol"),
        "lpg" => Some("LPG"),
        "cng" => Some("CNG"),
        _ => None,
    });
    // `E85` falls into a letter and a number.
    let e85 = words.windows(2).any(|pair| pair[0] == "e" && pair[1] == "85");
    found.or(e85.then_some("E85")).map(str::to_owned)
}

/// Whether a header says observed or corrected, and in which word.
pub(super) fn basis(header: &str) -> Option<String> {
    let words = words(header);
    let found = words.iter().find_map(|word| match word.as_str() {
        "obs" | "observed" | "uncorrected" | "uncorr" | "raw" | "measured" => Some("observed"),
        "stp" => Some("STP"),
        "sae" => Some("SAE"),
        "din" => Some("DIN"),
        "eec" | "ece" => Some("EEC"),
        "iso" => Some("ISO"),
        "jis" => Some("JIS"),
        "corr" | "corrected" | "cor" | "std" => Some("corrected"),
        _ => None,
    })?;
    Some(found.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_name_quantities() {
        use ChannelQuantity as Q;
        for (header, unit, expected) in [
            ("RPM", None, Q::Speed),
            ("EngineSpeed", None, Q::Speed),
            ("Drehzahl", None, Q::Speed),
            ("ObsTrq", None, Q::Torque),
            ("TQ", None, Q::Torque),
            ("dyno_torque", None, Q::Torque),
            ("STP Pwr", None, Q::Power),
            ("Fuel", Some("lb/h"), Q::FuelFlow),
            ("Fuel Flow", None, Q::FuelFlow),
            ("FuelP", Some("psi"), Q::FuelPressure),
            ("Oil", Some("psi"), Q::OilPressure),
            ("Oil", Some("degF"), Q::OilTemperature),
            ("OilPress", None, Q::OilPressure),
            ("Water Temp", None, Q::WaterTemperature),
            ("Carb Air Temp", None, Q::AirTemperature),
            ("EGT 3", None, Q::ExhaustTemperature),
            ("Exh1", Some("°C"), Q::ExhaustTemperature),
            ("Baro", Some("inHg"), Q::Barometer),
            ("Man Vac", None, Q::ManifoldPressure),
            ("MAP", None, Q::ManifoldPressure),
            ("BSFC", None, Q::SpecificFuelConsumption),
            ("A/F ratio", None, Q::AirFuelRatio),
            ("Lambda 1", None, Q::Lambda),
            ("Blow-by", None, Q::BlowBy),
            ("ts", None, Q::Time),
            ("Elapsed time", None, Q::Time),
            ("SAE factor", None, Q::CorrectionFactor),
            ("Run", None, Q::Run),
            ("Wheel speed", None, Q::RoadSpeed),
            ("Crankcase noise", None, Q::Other),
            ("Channel 7", Some("Nm"), Q::Torque),
        ] {
            assert_eq!(quantity(header, unit), expected, "{header}");
        }
    }

    #[test]
    fn units_and_basis() {
        for unit in [
            "rpm", "RPM", "1/min", "Nm", "N.m", "lb-ft", "lb.ft", "ft-lb", "kW", "HP", "hp", "PS", "psi",
            "°C", "degF", "lb/h", "lb/hr", "kg/h", "%", "s", "sec", "ms", "inHg", "\"Hg", "mbar", "kPa",
            "hPa", "bar", "cfm", "CFM", "g/kWh", "lb/hp-h",
        ] {
            assert!(is_unit(unit), "{unit}");
        }
        assert!(!is_unit("obs"));
        assert!(!is_unit("Torque"));
        assert_eq!(basis("Obs Torque").as_deref(), Some("observed"));
        assert_eq!(basis("STPPwr (hp)"), None);
        assert_eq!(basis("STP Pwr").as_deref(), Some("STP"));
    }
}
