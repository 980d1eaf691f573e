//! What people type, made into pieces of a manifest: figures with how they are known, answers for roles.

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::emit::Piece;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::record::FieldSpec;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::Moment;
use crate::record::PartState;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::names;

/// How an entered figure is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Way {
    /// Measured here.
    Measured,
    /// Someone else's figure, with its source.
    Listed(String),
    /// Assumed, with the reason.
    Assumed(String),
    /// Worked out, with what from.
    Calculated(String),
    /// Unknown: the value is the reason.
    Unknown,
}

/// A figure as entered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FigureInput {
    /// The value as typed, or the reason where it is unknown.
    pub value: String,
    /// How it is known.
    pub way: Way,
    /// The instrument.
    pub with: Option<String>,
    /// Who took it; the context's person unless said.
    pub by: Option<String>,
    /// When it was taken; now unless said.
    pub taken: Option<String>,
    /// At which speed, lift or temperature.
    pub at: Option<String>,
    /// The entry that it corrects.
    pub corrects: Option<usize>,
    /// Why it corrects it.
    pub because: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// Take instrument and circumstances from the entry before it; never the value.
    pub as_last: bool,
}

impl FigureInput {
    /// A measured value with nothing beside it.
    pub fn measured(value: impl Into<String>) -> Self {
        Self {
            value: value.into(),
            way: Way::Measured,
            with: None,
            by: None,
            taken: None,
            at: None,
            corrects: None,
            because: None,
            note: None,
            as_last: false,
        }
    }

    /// A value as typed: `unknown: why`, `assumed: VALUE; why`, `listed: VALUE; source`, `calculated: VALUE; from`, else
    /// measured. Behind it may stand what belongs to this figure alone, each behind a bar and with its word:
    /// `31 deg BTDC | with lamp-1 | at 6000 rpm`.
    pub fn typed(text: &str) -> Self {
        let (text, beside) = beside(text);
        let reasoned = beside.iter().any(|(word, _)| REASONS.contains(word));
        let after =
            |word: &str| text.strip_prefix(word).and_then(|rest| rest.strip_prefix(':')).map(str::trim);
        let halves = |text: &str| match text.split_once(';') {
            Some((value, why)) if !reasoned => (value.trim().to_owned(), why.trim().to_owned()),
            _ => (text.to_owned(), String::new()),
        };
        let mut told = if let Some(why) = after("unknown") {
            Self { way: Way::Unknown, ..Self::measured(why) }
        } else if let Some((value, why)) = after("assumed").map(halves) {
            Self { way: Way::Assumed(why), ..Self::measured(value) }
        } else if let Some((value, source)) = after("listed").map(halves) {
            Self { way: Way::Listed(source), ..Self::measured(value) }
        } else if let Some((value, from)) = after("calculated").map(halves) {
            Self { way: Way::Calculated(from), ..Self::measured(value) }
        } else {
            Self::measured(text)
        };
        for (word, said) in beside {
            let said = said.to_owned();
            match word {
                "with" => told.with = Some(said),
                "by" => told.by = Some(said),
                "taken" => told.taken = Some(said),
                "at" => told.at = Some(said),
                "note" => told.note = Some(said),
                "source" => told.way = Way::Listed(said),
                "from" => told.way = Way::Calculated(said),
                _ => told.way = Way::Assumed(said),
            }
        }
        told
    }

    /// The same with what is said for all figures of a command, where this one does not say it itself.
    #[must_use]
    pub fn or(mut self, with: Option<&str>, by: Option<&str>, taken: Option<&str>) -> Self {
        let or = |own: Option<String>, all: Option<&str>| own.or_else(|| all.map(str::to_owned));
        self.with = or(self.with, with);
        self.by = or(self.by, by);
        self.taken = or(self.taken, taken);
        self
    }
}

/// The words that say how a figure is known, for a value that does not begin with its own.
const REASONS: [&str; 3] = ["source", "because", "from"];
/// What may stand behind a bar.
const BESIDE: [&str; 8] = ["with", "by", "taken", "at", "note", "source", "because", "from"];

/// A value and what stands behind it, each part behind a bar and with one of the known words; another bar is text.
fn beside(text: &str) -> (&str, Vec<(&'static str, &str)>) {
    let mut found = Vec::new();
    let (value, mut rest) = text.split_at(value_end(text));
    while let Some((word, said)) = rest.strip_prefix('|').and_then(known_word) {
        let end = value_end(said);
        found.push((word, said[..end].trim()));
        rest = &said[end..];
    }
    (if found.is_empty() { text } else { value.trim_end() }, found)
}

/// Where the first bar stands that a known word follows, or the text ends.
pub(super) fn value_end(text: &str) -> usize {
    let mut bars = text.match_indices('|');
    bars.find(|(place, _)| known_word(&text[place + 1..]).is_some()).map_or(text.len(), |(place, _)| place)
}

/// The word that a text begins with, where it is a known one with something behind it, and what that is.
fn known_word(text: &str) -> Option<(&'static str, &str)> {
    BESIDE.iter().find_map(|word| {
        let said = text.trim_start().strip_prefix(*word)?.strip_prefix(char::is_whitespace)?;
        let told = said.split('|').next().is_some_and(|told| !told.trim().is_empty());
        told.then_some((*word, said))
    })
}

/// A value as a piece, with the unit that a bare number takes written out.
///
/// # Errors
/// The value does not hold for its field.
pub fn value_piece(library: &Library, spec: Option<&FieldSpec>, text: &str) -> Result<Piece, Failure> {
    let field = spec.map_or("", |spec| spec.name.as_str());
    match spec.map(|spec| &spec.holds) {
        Some(Holds::Quantity { kind, unit }) => {
            let bare = preferred(library, field, *kind, unit);
            let reading = parse_reading(text, *kind, Some(bare)).map_err(|error| {
                Finding::error(error.code(), format!("`{field}` takes a {}", kind.title()))
                    .at(Place::file("the command line").field(field))
                    .found(error.found())
                    .expected(error.expected())
                    .next(error.hint())
            })?;
            Ok(Piece::Word(reading.written_out()))
        }
        Some(Holds::Choice(choices)) => {
            if !choices.iter().any(|choice| choice == text) && text != "none" {
                return Err(Finding::error("not-a-choice", format!("`{field}` takes one of a few words"))
                    .found(format!("`{text}`"))
                    .expected(choices.join(", "))
                    .into());
            }
            Ok(Piece::word(text))
        }
        Some(Holds::Text) | None => {
            if text.trim().is_empty() {
                return Err(Finding::error("empty-value", format!("`{field}` is empty")).into());
            }
            Ok(Piece::text(text))
        }
    }
}

/// The unit of a bare number: the book's choice for the field, then for its kind, then the schema's.
pub(super) fn preferred(
    library: &Library,
    field: &str,
    kind: crate::quantity::QuantityKind,
    unit: &'static Unit,
) -> &'static Unit {
    let units = &library.page().units;
    [field, kind.name()]
        .iter()
        .filter_map(|key| units.get(*key))
        .find_map(|text| Unit::parse(text, kind).ok())
        .unwrap_or(unit)
}

/// A figure's entry as a piece of a manifest.
///
/// # Errors
/// The value does not hold; a reason or source is missing; nobody is named.
pub fn figure_piece(
    library: &Library,
    context: &Context,
    spec: Option<&FieldSpec>,
    input: &FigureInput,
) -> Result<Piece, Failure> {
    let word = |text: &str| Piece::word(text);
    let mut entries: Vec<(String, Piece)> = Vec::new();
    let mut put = |key: &str, piece: Piece| entries.push((key.to_owned(), piece));
    let reason = |text: &String, what: &str| {
        if text.trim().is_empty() {
            Err(Failure::usage(
                Finding::error("reason-missing", format!("{what} is missing"))
                    .next("say it behind a semicolon (\"listed: 33.0 mm; seller's sheet\") or by its option"),
            ))
        } else {
            Ok(Piece::text(text.trim()))
        }
    };
    match &input.way {
        Way::Unknown => {
            put("unknown", reason(&input.value, "the reason why it is unknown")?);
        }
        Way::Measured => {
            put("measured", value_piece(library, spec, &input.value)?);
            if let Some(with) = &input.with {
                put("with", word(with));
            }
            put("by", word(&person(context, input.by.as_deref())?));
            let taken = input.taken.clone().unwrap_or_else(|| context.moment());
            put("taken", word(&checked_moment(&taken)?));
        }
        Way::Listed(source) => {
            put("listed", value_piece(library, spec, &input.value)?);
            put("source", reason(source, "the source")?);
        }
        Way::Assumed(because) => {
            put("assumed", value_piece(library, spec, &input.value)?);
            put("because", reason(because, "the reason")?);
        }
        Way::Calculated(from) => {
            put("calculated", value_piece(library, spec, &input.value)?);
            put("from", reason(from, "what it was worked out from")?);
        }
    }
    if let Some(at) = &input.at {
        put("at", word(at));
    }
    if let Some(corrects) = input.corrects {
        put("corrects", Piece::Whole(i64::try_from(corrects).unwrap_or(i64::MAX)));
        let because = input.because.clone().unwrap_or_default();
        if !matches!(input.way, Way::Assumed(_)) {
            put("because", reason(&because, "why the earlier entry was wrong")?);
        }
    }
    if let Some(note) = &input.note {
        put("note", Piece::text(note));
    }
    Ok(Piece::Line(entries))
}

/// Who enters: as said, else the context's person.
///
/// # Errors
/// Nobody is known.
pub fn person(context: &Context, by: Option<&str>) -> Result<String, Failure> {
    by.map(str::to_owned).or_else(|| context.person.clone()).ok_or_else(|| {
        Failure::usage(
            Finding::error("person-missing", "nobody is named as the one who enters this")
                .next("say `--by INITIALS`, or set MULEBOOK_PERSON once in the shell"),
        )
    })
}

/// A day or time as typed, checked.
///
/// # Errors
/// It is neither.
pub fn checked_moment(text: &str) -> Result<String, Failure> {
    match Moment::parse(text) {
        Ok(moment) => Ok(moment.to_string()),
        Err(expected) => Err(Failure::usage(
            Finding::error("not-a-date", "this is not a day or time")
                .found(format!("`{text}`"))
                .expected(expected),
        )),
    }
}

/// An answer for a role as a piece: `none`, `h2/b`, `h2` for its newest state, or `unknown: why`.
///
/// # Errors
/// The part or state is not in the book.
pub fn answer_piece(library: &Library, text: &str) -> Result<Piece, Failure> {
    if let Some(why) = text.strip_prefix("unknown:").map(str::trim).filter(|why| !why.is_empty()) {
        return Ok(Piece::Line(vec![("unknown".to_owned(), Piece::text(why))]));
    }
    if text == "none" {
        return Ok(Piece::word("none"));
    }
    let (tag, letter) = match PartState::parse(text) {
        Some(part) => (part.tag, Some(part.letter)),
        None => (text.to_owned(), None),
    };
    let tag = names::part(library, &tag)?;
    let record = library.part(&tag)?.ok_or(names::no_part(library, &tag)?)?;
    let letter = match letter {
        Some(letter) if record.state(&letter).is_none() => {
            let known: Vec<&str> = record.states.iter().map(|state| state.letter.as_str()).collect();
            return Err(Finding::error("not-found", format!("{tag} has no state `{letter}`"))
                .expected(known.join(", "))
                .into());
        }
        Some(letter) => letter,
        None => record.newest().map(|state| state.letter.clone()).unwrap_or_default(),
    };
    Ok(Piece::word(format!("{tag}/{letter}")))
}

/// A name as typed, by its own spelling or one the trade uses for it.
pub fn known_name<'k>(
    name: &str,
    mut known: impl Iterator<Item = (&'k str, &'k [String])>,
) -> Option<&'k str> {
    let plain = |text: &str| text.to_lowercase().replace([' ', '_'], "-");
    let wanted = plain(name);
    known
        .find(|(own, aliases)| *own == wanted || aliases.iter().any(|alias| plain(alias) == wanted))
        .map(|(own, _)| own)
}

/// A field of a run as a piece: `none`, `unknown: why`, or its value.
///
/// # Errors
/// The value does not hold.
pub fn run_piece(library: &Library, name: &str, value: &str) -> Result<Piece, Failure> {
    if let Some(why) = value.strip_prefix("unknown:").map(str::trim).filter(|why| !why.is_empty()) {
        return Ok(Piece::Line(vec![("unknown".to_owned(), Piece::text(why))]));
    }
    if value == "none" {
        return Ok(Piece::word("none"));
    }
    value_piece(library, library.kinds().run_field(name), value)
}

/// What a name behind `--set` means in a build or a pull.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    /// A role.
    Role(String),
    /// A setting.
    Setting(String),
    /// A fit of a pair.
    Fit(String, String),
    /// A condition.
    Condition(String),
    /// A field of the run.
    Run(String),
}

/// Finds what a name behind `--set` means.
///
/// # Errors
/// Nothing is called so; the nearest names are given.
pub fn target(kinds: &Kinds, name: &str) -> Result<Target, Failure> {
    let aliased = |fields: &'_ [FieldSpec], name: &str| {
        known_name(name, fields.iter().map(|field| (field.name.as_str(), field.aliases.as_slice())))
            .map(str::to_owned)
    };
    if let Some(name) = name.strip_prefix("conditions.") {
        return aliased(&kinds.conditions, name)
            .map(Target::Condition)
            .ok_or_else(|| unknown_target(kinds, name));
    }
    if let Some(name) = name.strip_prefix("run.") {
        return aliased(&kinds.run, name).map(Target::Run).ok_or_else(|| unknown_target(kinds, name));
    }
    if let Some((pair, fit)) = name.split_once('.').filter(|(pair, _)| pair.contains('+')) {
        let spec = kinds.fit(pair).ok_or_else(|| unknown_target(kinds, name))?;
        let fit = aliased(&spec.fields, fit).ok_or_else(|| unknown_target(kinds, name))?;
        return Ok(Target::Fit(spec.pair.clone(), fit));
    }
    let role = known_name(name, kinds.roles.iter().map(|role| (role.name.as_str(), role.aliases.as_slice())));
    if let Some(role) = role {
        return Ok(Target::Role(role.to_owned()));
    }
    aliased(&kinds.settings, name)
        .map(Target::Setting)
        .or_else(|| aliased(&kinds.conditions, name).map(Target::Condition))
        .ok_or_else(|| unknown_target(kinds, name))
}

fn unknown_target(kinds: &Kinds, name: &str) -> Failure {
    let known: Vec<&str> = kinds
        .roles
        .iter()
        .map(|role| role.name.as_str())
        .chain(kinds.settings.iter().map(|field| field.name.as_str()))
        .chain(kinds.conditions.iter().map(|field| field.name.as_str()))
        .collect();
    let near = known
        .iter()
        .map(|candidate| (similar::TextDiff::from_chars(name, *candidate).ratio(), *candidate))
        .filter(|(ratio, _)| *ratio > 0.6)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let finding = Finding::error("unknown-field", "no role, setting or condition is called so")
        .found(format!("`{name}`"));
    Failure::usage(match near {
        Some((_, near)) => finding.next(format!("did you mean `{near}`?")),
        None => finding.expected(format!("one of {}", known.join(", "))),
    })
}

/// `NAME=VALUE`, split.
///
/// # Errors
/// There is no `=`.
pub fn assignment(text: &str) -> Result<(String, String), Failure> {
    match text.split_once('=') {
        Some((name, value)) if !name.trim().is_empty() => {
            Ok((name.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err(Failure::usage(
            Finding::error("not-an-assignment", "a name and a value were expected")
                .found(format!("`{text}`"))
                .expected("NAME=VALUE, as spacer=none or ignition-timing=\"31 deg BTDC\""),
        )),
    }
}
