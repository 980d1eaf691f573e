//! The rules that schemas declare between neighbouring parts, looked at for one side before it is bolted together.

use crate::check::Side;
use crate::check::Told;
use crate::derive;
use crate::quantity::Quantity;
use crate::quantity::QuantityKind;
use crate::quantity::Reading;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::record::AlarmSpec;
use crate::record::FitSpec;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::Value;

/// What looking at a rule gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AlarmStatus {
    /// It does not hold.
    Trips,
    /// It holds by less than the figures may be off.
    Close,
    /// It cannot be told: a figure is not documented.
    Untold,
    /// It does not hold by the figures, and the two were tried on each other since.
    Settled,
    /// It holds.
    Holds,
}

/// One rule, looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Alarm {
    /// The rule's name.
    pub name: String,
    /// The pair of roles.
    pub pair: String,
    /// What looking at it gave.
    pub status: AlarmStatus,
    /// What is wrong where it does not hold.
    pub says: String,
    /// The figures, as commands name them, with what they say.
    pub figures: Vec<(String, String)>,
    /// What follows from them, where they are numbers.
    pub result: Option<String>,
    /// The limit in words.
    pub limit: String,
    /// Where the limit is from.
    pub source: String,
}

/// Every rule between two roles that parts fill on a side.
pub fn alarms_of(side: &Side, kinds: &Kinds) -> Vec<Alarm> {
    let mut derived = None;
    let fitted = kinds.fits.iter().filter(|fit| {
        let (a, b) = fit.roles();
        side.part_in(a, kinds).is_some() && side.part_in(b, kinds).is_some()
    });
    fitted
        .flat_map(|fit| fit.alarms.iter().map(move |spec| (fit, spec)))
        .map(|(fit, spec)| Looked { side, kinds, derived: &mut derived }.at(fit, spec))
        .collect()
}

/// What an operand is.
enum Operand {
    /// A number with its uncertainty, in SI; several values by their least and greatest.
    Number { least: f64, greatest: f64, u: f64, kind: QuantityKind, unit: &'static Unit, text: String },
    /// A word.
    Word(String),
    /// Known to be unknown, or not documented.
    Missing(String),
}

type Derived = Option<Vec<derive::Outcome>>;

struct Looked<'a, 'd> {
    side: &'a Side,
    kinds: &'a Kinds,
    derived: &'d mut Derived,
}

impl Looked<'_, '_> {
    fn at(mut self, fit: &FitSpec, spec: &AlarmSpec) -> Alarm {
        let mut alarm = Alarm {
            name: spec.name.clone(),
            pair: fit.pair.clone(),
            status: AlarmStatus::Untold,
            says: spec.says.clone(),
            figures: Vec::new(),
            result: None,
            limit: limit_words(spec),
            source: spec.source.clone(),
        };
        let settled = spec.settled_by.iter().any(|path| self.stands(path));
        let operands: Vec<(String, Operand)> = std::iter::once(&spec.of)
            .chain(&spec.less)
            .map(|path| (path.clone(), self.operand(path)))
            .collect();
        alarm.figures = operands.iter().map(|(path, operand)| (path.clone(), operand.words())).collect();
        alarm.status = match operands.as_slice() {
            [(_, Operand::Word(word))] if !spec.not.is_empty() => {
                if spec.not.contains(word) {
                    AlarmStatus::Trips
                } else {
                    AlarmStatus::Holds
                }
            }
            [(_, first), rest @ ..] => self.compare(spec, first, rest, &mut alarm.result),
            [] => AlarmStatus::Untold,
        };
        if settled && matches!(alarm.status, AlarmStatus::Trips | AlarmStatus::Close) {
            alarm.status = AlarmStatus::Settled;
        }
        alarm
    }

    fn compare(
        &self,
        spec: &AlarmSpec,
        first: &Operand,
        rest: &[(String, Operand)],
        result: &mut Option<String>,
    ) -> AlarmStatus {
        let Operand::Number { least, greatest, u, kind, unit, .. } = first else {
            return AlarmStatus::Untold;
        };
        let (mut low, mut high, mut variance) = (*least, *greatest, u * u);
        for (_, operand) in rest {
            let Operand::Number { least, greatest, u, kind: other, .. } = operand else {
                return AlarmStatus::Untold;
            };
            if other != kind {
                return AlarmStatus::Untold;
            }
            (low, high, variance) = (low - greatest, high - least, variance + u * u);
        }
        if spec.size {
            let (a, b) = (low.abs(), high.abs());
            (low, high) = (if low <= 0.0 && high >= 0.0 { 0.0 } else { a.min(b) }, a.max(b));
        }
        let wide = COVERAGE * variance.sqrt();
        let limit = |text: &Option<String>| {
            text.as_ref()
                .and_then(|text| parse_reading(text, *kind, None).ok())
                .map(|reading| reading.mean().si())
        };
        let shown = |si: f64| {
            Quantity::new(*kind, si)
                .and_then(|value| value.show_in(unit, 2))
                .unwrap_or_else(|_| String::new())
        };
        let mut status = AlarmStatus::Holds;
        let mut tell = |value: f64, beyond: f64| {
            *result = Some(format!("{} ±{}", shown(value), shown(wide)));
            if beyond > 0.0 {
                status = AlarmStatus::Trips;
            } else if beyond + wide > 0.0 && status != AlarmStatus::Trips {
                status = AlarmStatus::Close;
            }
        };
        if let Some(limit) = limit(&spec.at_least) {
            tell(low, limit - low);
        }
        if let Some(limit) = limit(&spec.at_most) {
            tell(high, high - limit);
        }
        status
    }

    fn stands(&self, path: &str) -> bool {
        matches!(self.told(path), Some(Told::Known(shown)) if !shown.is_unknown())
    }

    fn told(&self, path: &str) -> Option<Told> {
        let Some((first, name)) = path.split_once('.') else {
            let spec = self.kinds.setting(path)?;
            return Some(self.side.setting(spec, self.kinds));
        };
        if first.contains('+') {
            let fit = self.kinds.fit(first)?;
            let spec = fit.fields.iter().find(|field| field.name == name)?;
            return Some(self.side.fit(&fit.pair, spec, self.kinds));
        }
        let part = self.side.part_in(first, self.kinds)?;
        let kind = self.kinds.part(&self.side.parts.get(&part.tag)?.kind)?;
        Some(self.side.figure(part, kind.figure(name)?, self.kinds))
    }

    fn operand(&mut self, path: &str) -> Operand {
        if let Some(work) = path.strip_prefix("worked:") {
            return self.worked(work);
        }
        if let Some(name) = path.strip_prefix("derived:") {
            let (side, kinds) = (self.side, self.kinds);
            let all = self.derived.get_or_insert_with(|| derive::figures(&side.ground(kinds)));
            let found = all.iter().flatten().find(|derived| derived.label.name == name);
            return found.map_or_else(|| Operand::Missing("cannot be derived".to_owned()), Operand::derived);
        }
        match self.told(path) {
            Some(Told::Known(shown)) if shown.is_unknown() => Operand::Missing(shown.words()),
            Some(Told::Known(shown)) => match &shown.value {
                Some(Value::Quantity(reading)) => Operand::reading(reading),
                _ => Operand::Word(shown.text),
            },
            Some(Told::Gap(_)) | None => Operand::Missing("not documented".to_owned()),
        }
    }

    /// All that a kind of work has taken off a part, up to its state on this side.
    fn worked(&self, path: &str) -> Operand {
        let mut steps = path.splitn(3, '.');
        let (role, op, detail) = (
            steps.next().unwrap_or_default(),
            steps.next().unwrap_or_default(),
            steps.next().unwrap_or_default(),
        );
        let part = self.side.part_in(role, self.kinds);
        let Some((part, record)) = part.and_then(|part| Some((part, self.side.parts.get(&part.tag)?))) else {
            return Operand::Missing("no part is there".to_owned());
        };
        let asks = self.kinds.part(&record.kind).and_then(|kind| kind.work(op)).and_then(|work| {
            work.asks.iter().find(|(name, _)| name == detail).and_then(|(_, holds)| match holds {
                Holds::Quantity { kind, unit } => Some((*kind, *unit)),
                _ => None,
            })
        });
        let Some((kind, unit)) = asks else { return Operand::Missing("no such work is known".to_owned()) };
        let upto = record.states.iter().position(|state| state.letter == part.letter).map_or(0, |at| at + 1);
        let (mut sum, mut variance, mut words) = (0.0, 0.0, Vec::new());
        for state in record.states.iter().take(upto) {
            for work in state.work.iter().filter(|work| work.op == op) {
                let Some(text) = work.details.get(detail) else {
                    return Operand::Missing(format!("{}: nobody says how much", state.letter));
                };
                let Ok(reading) = parse_reading(text, kind, Some(unit)) else {
                    return Operand::Missing(format!("{}: {text} cannot be read", state.letter));
                };
                sum += reading.mean().si();
                let u = reading.standard_uncertainty().si;
                variance += u * u;
                words.push(format!("{}: {}", state.letter, reading.text()));
            }
        }
        let text = if words.is_empty() { "none".to_owned() } else { format!("{part}, {}", words.join("; ")) };
        Operand::Number { least: sum, greatest: sum, u: variance.sqrt(), kind, unit, text }
    }
}

/// Coverage factor of the width that a rule is held within (JCGM 100:2008, 6.3.3).
const COVERAGE: f64 = 2.0;

impl Operand {
    fn reading(reading: &Reading) -> Self {
        let spread = reading.spread();
        Self::Number {
            least: spread.smallest.si(),
            greatest: spread.largest.si(),
            u: reading.standard_uncertainty().si,
            kind: reading.kind(),
            unit: reading.unit(),
            text: reading.text().to_owned(),
        }
    }

    fn derived(derived: &derive::Derived) -> Self {
        let (value, kind) = (derived.value.value(), derived.label.kind);
        let Ok(unit) = Unit::parse(derived.label.unit, kind) else {
            return Self::Missing("its unit cannot be read".to_owned());
        };
        let u = derived.value.standard_uncertainty();
        let shown = Quantity::new(kind, value).and_then(|value| value.show_in(unit, 2));
        Self::Number { least: value, greatest: value, u, kind, unit, text: shown.unwrap_or_default() }
    }

    fn words(&self) -> String {
        match self {
            Self::Number { text, .. } | Self::Word(text) | Self::Missing(text) => text.clone(),
        }
    }
}

fn limit_words(spec: &AlarmSpec) -> String {
    let mut words = Vec::new();
    words.extend(spec.at_least.iter().map(|limit| format!("at least {limit}")));
    words.extend(spec.at_most.iter().map(|limit| format!("at most {limit}")));
    if !spec.not.is_empty() {
        words.push(format!("not {}", spec.not.join(" or ")));
    }
    words.join(", ")
}
