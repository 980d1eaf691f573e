//! What a name means among all that the records say of a pull: a role, a figure, a setting, a condition.

use std::collections::BTreeSet;

use crate::check;
use crate::check::Group;
use crate::check::SheetItem;
use crate::check::Side;
use crate::check::Told;
use crate::derive;
use crate::derive::ChannelMean;
use crate::derive::Derived;
use crate::derive::Outcome;
use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::record::FieldSpec;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::Value;
use crate::workflow;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::chunk::Saying;
use crate::workflow::catalog::chunk::Word;
use crate::workflow::names::closest;

/// Something that can be asked of every pull.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sought {
    /// As it is named in answers.
    pub(super) name: String,
    /// Its kind and the unit that it is shown in, where it is a quantity.
    pub(super) quantity: Option<(QuantityKind, &'static Unit)>,
    what: What,
}

#[derive(Debug, Clone, PartialEq)]
enum What {
    Role,
    /// A figure of the part in one role, or wherever it stands.
    Figure {
        role: Option<String>,
        name: String,
    },
    /// A setting, fit, condition or field of the run.
    Item(Group),
    /// Worked out from the records.
    Derived,
}

/// What a pull says of it.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Said {
    /// A part, a word.
    Text(String),
    /// A quantity in SI; the mean where there is one for each cylinder.
    Number(f64),
    /// Nobody knows, or nobody wrote it down.
    Nothing,
}

impl Sought {
    /// Finds what a word means: a role, a setting, a condition, `ROLE.FIGURE`, or a figure that only one kind of part has.
    ///
    /// # Errors
    /// Nothing, or more than one thing, is meant.
    pub(super) fn of(kinds: &Kinds, word: &str) -> Result<Self, Failure> {
        if let Some(role) = kinds.roles.iter().find(|role| is(word, &role.name, &role.aliases)) {
            return Ok(Self { name: role.name.clone(), quantity: None, what: What::Role });
        }
        let fields = [
            (Group::Setting, &kinds.settings),
            (Group::Condition, &kinds.conditions),
            (Group::Run, &kinds.run),
        ];
        for (group, fields) in fields {
            if let Some(spec) = fields.iter().find(|spec| is(word, &spec.name, &spec.aliases)) {
                return Ok(Self {
                    name: spec.name.clone(),
                    quantity: quantity(spec),
                    what: What::Item(group),
                });
            }
        }
        let (role, figure) = match word.split_once('.') {
            Some((role, figure)) if kinds.role(role).is_some() => (Some(role), figure),
            _ => (None, word),
        };
        let mut found: Vec<(&str, &FieldSpec)> = Vec::new();
        for kind in kinds.parts.values() {
            let fits = |role: &str| kinds.role(role).is_some_and(|role| role.kinds.contains(&kind.name));
            if role.is_none_or(fits) {
                let own = kind.figures.iter().filter(|spec| is(figure, &spec.name, &spec.aliases));
                found.extend(own.map(|spec| (kind.name.as_str(), spec)));
            }
        }
        match found[..] {
            [] => match derived_name(word).filter(|_| role.is_none()) {
                Some(name) => Ok(Self { name: name.to_owned(), quantity: None, what: What::Derived }),
                None => Err(unknown(kinds, word)),
            },
            [(_, spec)] => Ok(Self::figure(role, spec)),
            [(_, spec), ..] if role.is_some() => Ok(Self::figure(role, spec)),
            _ => {
                let names: Vec<String> =
                    found.iter().map(|(kind, spec)| format!("{kind}.{}", spec.name)).collect();
                Err(Failure::usage(
                    Finding::error("ambiguous", "parts of several kinds have such a figure")
                        .found(format!("`{word}`"))
                        .expected(format!("the role with it: {}", names.join(", "))),
                ))
            }
        }
    }

    fn figure(role: Option<&str>, spec: &FieldSpec) -> Self {
        Self {
            name: role.map_or_else(|| spec.name.clone(), |role| format!("{role}.{}", spec.name)),
            quantity: quantity(spec),
            what: What::Figure { role: role.map(str::to_owned), name: spec.name.clone() },
        }
    }

    fn mean<'s>(&self, side: &'s Side, kinds: &Kinds) -> Option<&'s ChannelMean> {
        mean_of(&self.name, side, kinds)
    }

    /// By what the catalog knows it.
    pub(super) fn key(&self) -> String {
        match &self.what {
            What::Role => key(Group::Role, None, &self.name),
            What::Figure { role, name } => key(Group::Figure, role.as_deref(), name),
            What::Item(group) => key(*group, None, &self.name),
            What::Derived => format!("{RATIO}{}", self.name),
        }
    }

    /// Whether it follows from the records by a relation.
    pub(super) fn is_derived(&self) -> bool {
        self.what == What::Derived
    }

    /// Whether a raw file may have to be read for it.
    pub(super) fn is_condition(&self) -> bool {
        self.what == What::Item(Group::Condition)
    }

    /// Whether it is a role.
    pub(super) fn is_role(&self) -> bool {
        self.what == What::Role
    }

    /// What a side says of it as it is written there, with how it is known; a derived figure with its interval.
    ///
    /// # Errors
    /// A number that no interval can be given for.
    pub(super) fn words(&self, side: &Side, library: &Library) -> Result<Option<String>, Failure> {
        let kinds = library.kinds();
        if self.what == What::Derived {
            return derived_words(library, &named(derive::ratios(&side.ground(kinds)), &self.name));
        }
        let Some(told) = self.item(side, kinds).map(|item| item.told) else { return Ok(None) };
        Ok(told_words(&told, self.mean(side, kinds)))
    }

    /// Where a side's sheet tells of it.
    fn item(&self, side: &Side, kinds: &Kinds) -> Option<SheetItem> {
        items(side, kinds).find(|item| match &self.what {
            What::Role => item.item.group == Group::Role && item.item.name == self.name,
            What::Figure { role, name } => {
                item.item.group == Group::Figure
                    && item.item.name == *name
                    && (role.is_none() || *role == item.item.role)
            }
            What::Item(group) => item.item.group == *group && item.item.name == self.name,
            What::Derived => false,
        })
    }

    /// What a side says of it, with the roles and settings that say so.
    pub(super) fn said(&self, side: &Side, kinds: &Kinds) -> (Said, Vec<String>) {
        if self.what == What::Derived {
            let own = named(derive::ratios(&side.ground(kinds)), &self.name);
            let inputs = own.iter().flat_map(|found| &found.inputs);
            let roles = inputs.filter_map(|input| Some(input.path.split_once('.')?.0.to_owned())).collect();
            return (derived_said(&own), roles);
        }
        let Some(item) = self.item(side, kinds) else { return (Said::Nothing, Vec::new()) };
        let by = match (&self.what, &item.item.role) {
            (What::Figure { .. }, Some(role)) => role.clone(),
            _ => self.name.clone(),
        };
        let said = match &self.what {
            What::Item(Group::Condition) => by_channel(&item.told, self.mean(side, kinds)),
            _ => plainly(&item.told),
        };
        (said, vec![by])
    }

    /// A number in SI in the unit that it is shown in.
    pub(super) fn shown(&self, si: f64) -> f64 {
        self.quantity.map_or(si, |(_, unit)| unit.from_si(si))
    }

    /// An amount in the unit that it is shown in.
    pub(super) fn amount(&self, shown: f64) -> String {
        match self.quantity {
            Some((_, unit)) => format!("{} {}", round(shown), unit.symbol()),
            None => round(shown),
        }
    }

    /// A band in the unit that it is shown in.
    pub(super) fn band(&self, low: f64, high: f64) -> String {
        format!("{} to {}", round(low), self.amount(high))
    }
}

/// Everything that a side's sheet tells, in the order in which it is looked for.
fn items(side: &Side, kinds: &Kinds) -> impl Iterator<Item = SheetItem> {
    let sheet = check::sheet_of(side, kinds);
    let of_parts = sheet.roles.into_iter().flat_map(|role| std::iter::once(role.role).chain(role.figures));
    of_parts.chain(sheet.settings).chain(sheet.conditions).chain(sheet.run)
}

fn mean_of<'s>(condition: &str, side: &'s Side, kinds: &Kinds) -> Option<&'s ChannelMean> {
    let channel = kinds.condition(condition).and_then(|spec| spec.channel.as_ref())?;
    side.channel_means.get(channel)
}

/// A condition that a channel documents is the channel's mean over the sweep, where the raw file was read.
fn by_channel(told: &Told, mean: Option<&ChannelMean>) -> Said {
    if !is_of_channel(told) {
        return plainly(told);
    }
    mean.map_or(Said::Nothing, |mean| Said::Number(mean.mean_si))
}

fn is_of_channel(told: &Told) -> bool {
    told.known().is_some_and(|shown| shown.how == "channel")
}

/// What is known, as it is written, with how it is known.
fn told_words(told: &Told, mean: Option<&ChannelMean>) -> Option<String> {
    let shown = told.known()?;
    Some(match shown.how {
        "said" => shown.text.clone(),
        "unknown" => shown.words(),
        "channel" => match mean {
            Some(mean) => format!("{} (mean of {} rows)", mean.text, mean.rows),
            None => shown.text.clone(),
        },
        how => format!("{} ({how})", shown.text),
    })
}

/// How keys of derived figures begin.
const RATIO: &str = "derived:";

fn key(group: Group, role: Option<&str>, name: &str) -> String {
    match (group, role) {
        (Group::Figure, Some(role)) => format!("figure:{role}.{name}"),
        (Group::Figure, None) => format!("figure:{name}"),
        (Group::Role, _) => format!("role:{name}"),
        (Group::Setting, _) => format!("setting:{name}"),
        (Group::Condition, _) => format!("condition:{name}"),
        (Group::Run, _) => format!("run:{name}"),
        (Group::Fit | Group::Correction, _) => format!("other:{name}"),
    }
}

/// Everything that can be asked of a side's configuration but derived figures, by [`Sought::key`]; what is not there says
/// nothing.
pub(super) fn of_configuration(side: &Side, kinds: &Kinds) -> Vec<(String, Saying<String>)> {
    let (roles, settings) = check::configuration_of(side, kinds);
    let of_parts = roles.into_iter().flat_map(|role| std::iter::once(role.role).chain(role.figures));
    sayings(of_parts.chain(settings))
}

/// Everything that can be asked of a pull alone, in the same form. What a channel tells is named as such.
pub(super) fn of_running(side: &Side, kinds: &Kinds) -> Vec<(String, Saying<String>)> {
    let (conditions, run) = check::running_of(side, kinds);
    sayings(conditions.into_iter().chain(run))
}

fn sayings(items: impl Iterator<Item = SheetItem>) -> Vec<(String, Saying<String>)> {
    let mut seen = BTreeSet::new();
    let mut found = Vec::new();
    for SheetItem { item, told, .. } in items {
        let role = item.role.as_deref().filter(|_| item.group == Group::Figure);
        let names = [
            role.map(|role| key(item.group, Some(role), &item.name)),
            Some(key(item.group, None, &item.name)),
        ];
        // Where two items have a name, the first one is meant, though it may say nothing.
        for name in names.into_iter().flatten().filter(|name| seen.insert(name.clone())) {
            if told.known().is_none() {
                continue;
            }
            let saying = match item.group == Group::Condition && is_of_channel(&told) {
                true => Saying { said: Word::Channel, words: None },
                false => Saying { said: Word::of(plainly(&told)), words: told_words(&told, None) },
            };
            found.push((name, saying));
        }
    }
    found
}

/// What channels tell, of a side to which their means were added.
pub(super) fn channels(side: &Side, kinds: &Kinds) -> Vec<(String, Saying<String>)> {
    of_channels(side, kinds, |told, mean| Saying {
        said: Word::of(by_channel(told, mean)),
        words: told_words(told, mean),
    })
}

/// The same where the raw files have to be read each time.
pub(super) fn live_channels(side: &Side, kinds: &Kinds) -> Vec<(String, Saying<String>)> {
    of_channels(side, kinds, |_, _| Saying { said: Word::Live, words: None })
}

fn of_channels(
    side: &Side,
    kinds: &Kinds,
    saying: impl Fn(&Told, Option<&ChannelMean>) -> Saying<String>,
) -> Vec<(String, Saying<String>)> {
    let conditions = check::conditions_of(side, kinds).into_iter();
    conditions
        .filter(|item| is_of_channel(&item.told))
        .map(|SheetItem { item, told, .. }| {
            let mean = mean_of(&item.name, side, kinds);
            (key(item.group, None, &item.name), saying(&told, mean))
        })
        .collect()
}

/// The derived figures that can be asked of a side.
pub(super) fn ratios(side: &Side, library: &Library) -> Vec<(String, Saying<String>)> {
    let all = derive::ratios(&side.ground(library.kinds()));
    let found = DERIVED.map(|name| {
        let own = named(all.iter().cloned(), name);
        let said = Word::of(derived_said(&own));
        let saying = match derived_words(library, &own) {
            Ok(words) => Saying { said, words },
            Err(_) => Saying { said: Word::Live, words: None },
        };
        (format!("{RATIO}{name}"), saying)
    });
    found.into_iter().filter(|(_, saying)| saying.said != Word::Nothing || saying.words.is_some()).collect()
}

/// Derived figures that are plain ratios have no unit to be asked for in; others stand as fields already.
fn derived_name(word: &str) -> Option<&'static str> {
    let word = if word == "dynamic-compression-ratio" { "compression-ratio-at-inlet-closing" } else { word };
    DERIVED.into_iter().find(|name| *name == word)
}

/// Figures worked out from the records by which pulls can be told apart.
const DERIVED: [&str; 2] = ["compression-ratio", "compression-ratio-at-inlet-closing"];

/// The figures of a name: of the engine, else of each cylinder.
fn named(all: impl IntoIterator<Item = Outcome>, name: &str) -> Vec<Derived> {
    let own = all.into_iter().filter_map(Result::ok).filter(|found| found.label.name == name);
    let (engine, cylinders): (Vec<_>, Vec<_>) = own.partition(|found| found.label.cylinder.is_none());
    if engine.is_empty() { cylinders } else { engine }
}

fn derived_said(own: &[Derived]) -> Said {
    let values: Vec<f64> = own.iter().map(|found| found.value.value()).collect();
    mean(&values).map_or(Said::Nothing, Said::Number)
}

fn derived_words(library: &Library, own: &[Derived]) -> Result<Option<String>, Failure> {
    let lines = own.iter().map(|found| workflow::derived::line(library, found));
    let words = lines
        .map(|line| line.map(|line| format!("{} (no better than {})", line.interval.text, line.worst_input)));
    let words: Vec<String> = words.collect::<Result<_, _>>()?;
    Ok((!words.is_empty()).then(|| words.join(", ")))
}

fn plainly(told: &Told) -> Said {
    let Told::Known(shown) = told else { return Said::Nothing };
    match &shown.value {
        _ if shown.is_unknown() => Said::Nothing,
        Some(Value::Quantity(reading)) => Said::Number(reading.mean().si()),
        Some(Value::Text(text)) => Said::Text(text.clone()),
        None => Said::Text(shown.text.clone()),
    }
}

fn quantity(spec: &FieldSpec) -> Option<(QuantityKind, &'static Unit)> {
    match &spec.holds {
        Holds::Quantity { kind, unit } => Some((*kind, *unit)),
        Holds::Text | Holds::Choice(_) => None,
    }
}

/// Whether a word is a name or one of its other spellings, spaces written as hyphens.
fn is(word: &str, name: &str, aliases: &[String]) -> bool {
    word == name || aliases.iter().any(|alias| alias.replace(' ', "-") == word)
}

fn mean(values: &[f64]) -> Option<f64> {
    let count = u32::try_from(values.len()).ok().filter(|count| *count > 0)?;
    Some(values.iter().sum::<f64>() / f64::from(count))
}

/// Three decimals at most, without needless zeros.
fn round(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn unknown(kinds: &Kinds, word: &str) -> Failure {
    let roles = kinds.roles.iter().map(|role| role.name.clone());
    let fields = kinds.settings.iter().chain(&kinds.conditions).chain(&kinds.run);
    let figures = kinds.parts.values().flat_map(|kind| &kind.figures);
    let mut known: Vec<String> = roles.chain(fields.chain(figures).map(|spec| spec.name.clone())).collect();
    known.extend(DERIVED.map(str::to_owned));
    let finding = Finding::error("unknown-name", "no role, figure, setting or condition is called so")
        .found(format!("`{word}`"));
    Failure::usage(match closest(word, &known) {
        Some(near) => finding.next(format!("did you mean `{near}`?")),
        None => finding.expected("a role (header), a figure (inlet-port-volume), a setting or a condition"),
    })
}
