//! One unit: how it is written, and what it is in SI.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::LazyLock;

use super::error::{QuantityError, mismatch, quoted};
use super::kind::{Dimension, QuantityKind};
use super::table;

/// Text longer than this is not compared with the table for likeness.
const LONGEST_SPELLING: usize = 32;

/// A unit of the closed table: there are no others, and they live as long as the program.
///
/// `si = (value + origin) × numerator ÷ denominator`, in this order; back, `value = si × denominator ÷ numerator −
/// origin`. The ratio is kept as two numbers so that decimal factors stay exact (25.4 over 1000, not a rounded 0.0254).
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    pub(super) symbol: &'static str,
    pub(super) ucum: &'static str,
    pub(super) numerator: f64,
    pub(super) denominator: f64,
    pub(super) origin: f64,
    pub(super) kinds: &'static [QuantityKind],
    pub(super) aliases: &'static str,
}

/// The dead centre from which a timing is counted, and to which side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrankReference {
    /// Before top dead centre.
    BeforeTop,
    /// After top dead centre.
    AfterTop,
    /// Before bottom dead centre.
    BeforeBottom,
    /// After bottom dead centre.
    AfterBottom,
}

impl Unit {
    /// The unit that the trade, or UCUM, writes so, among those of `kind`.
    ///
    /// Spaces, hyphens and dots between the parts count the same (`lb-ft`, `lb ft`, `lb·ft`); case counts only where it
    /// tells units apart.
    ///
    /// # Errors
    ///
    /// [`QuantityError::NoUnit`] for no text, [`QuantityError::WrongUnit`] where it is a unit of another kind,
    /// [`QuantityError::UnknownUnit`] otherwise, each with the units that would do.
    pub fn parse(text: &str, kind: QuantityKind) -> Result<&'static Self, QuantityError> {
        let spelling = normalised(text);
        if let Some(unit) = find(&spelling, kind) {
            return Ok(unit);
        }
        let expected = format!("a unit of {}", kind.title());
        let offered = format!("write one of: {}", kind.offered_units());
        if spelling.is_empty() {
            return Err(QuantityError::NoUnit(mismatch("no unit", expected, offered)));
        }
        let elsewhere = QuantityKind::ALL
            .into_iter()
            .find(|other| find(&spelling, *other).is_some());
        if let Some(other) = elsewhere {
            let hint = match (kind, other) {
                (QuantityKind::Timing, QuantityKind::Angle) => {
                    "say from which dead centre: deg BTDC, deg ATDC, deg BBDC or deg ABDC".to_owned()
                }
                (QuantityKind::PressureAbsolute, QuantityKind::PressureGauge) => {
                    format!("add the station pressure and write an absolute pressure; {offered}")
                }
                _ => offered,
            };
            let found = format!("{}, a unit of {}", quoted(text), other.title());
            return Err(QuantityError::WrongUnit(mismatch(found, expected, hint)));
        }
        let hint = match nearest(&spelling, kind) {
            Some(unit) => format!("did you mean {}? {offered}", unit.symbol),
            None => offered,
        };
        Err(QuantityError::UnknownUnit(mismatch(quoted(text), expected, hint)))
    }

    /// How the trade writes it; empty for a plain number.
    pub fn symbol(&self) -> &'static str {
        self.symbol
    }

    /// Its code in the Unified Code for Units of Measure.
    pub fn ucum(&self) -> &'static str {
        self.ucum
    }

    /// Other accepted spellings.
    pub fn aliases(&self) -> impl Iterator<Item = &'static str> + use<> {
        self.aliases.split('|').filter(|alias| !alias.is_empty())
    }

    /// The kinds of quantity that may be written in it.
    pub fn kinds(&self) -> &'static [QuantityKind] {
        self.kinds
    }

    /// Whether a quantity of this kind may be written in it.
    pub fn serves(&self, kind: QuantityKind) -> bool {
        self.kinds.contains(&kind)
    }

    /// Stands if a quantity of this kind may be written in it.
    ///
    /// # Errors
    ///
    /// [`QuantityError::WrongUnit`] lists the units that would do.
    pub fn require(&self, kind: QuantityKind) -> Result<(), QuantityError> {
        if self.serves(kind) {
            return Ok(());
        }
        let own = self.kinds.first().map_or("nothing", |kind| kind.title());
        Err(QuantityError::WrongUnit(mismatch(
            format!("{}, a unit of {own}", quoted(self.symbol)),
            format!("a unit of {}", kind.title()),
            format!("use one of: {}", kind.offered_units()),
        )))
    }

    /// Its exponents of the SI base units.
    pub fn dimension(&self) -> Dimension {
        self.kinds
            .first()
            .map_or_else(Dimension::default, |kind| kind.dimension())
    }

    /// How large one step of the unit is in SI; negative where the unit counts backwards (deg BTDC).
    pub fn factor(&self) -> f64 {
        self.numerator / self.denominator
    }

    /// What is added to a value before it is scaled: 459.67 for a temperature in degF.
    pub fn origin(&self) -> f64 {
        self.origin
    }

    /// A value in this unit, as SI.
    pub fn to_si(&self, value: f64) -> f64 {
        // Adding zero turns −0 into 0, which a unit that counts backwards would give.
        (value + self.origin) * self.numerator / self.denominator + 0.0
    }

    /// A value in SI, as this unit.
    pub fn from_si(&self, si: f64) -> f64 {
        si * self.denominator / self.numerator - self.origin + 0.0
    }

    /// A difference of two values in this unit, as SI and without sign.
    pub fn width_to_si(&self, width: f64) -> f64 {
        (width * self.numerator / self.denominator).abs()
    }

    /// A difference in SI, as this unit and without sign.
    pub fn width_from_si(&self, width: f64) -> f64 {
        (width * self.denominator / self.numerator).abs()
    }

    /// Whether values in this unit are SI values.
    pub fn is_si(&self) -> bool {
        self.numerator.to_bits() == self.denominator.to_bits() && self.origin.abs() < f64::MIN_POSITIVE
    }

    /// The dead centre from which it counts, for a unit of timing.
    pub fn crank_reference(&self) -> Option<CrankReference> {
        match self.symbol {
            "deg BTDC" => Some(CrankReference::BeforeTop),
            "deg ATDC" | "rad ATDC" => Some(CrankReference::AfterTop),
            "deg BBDC" => Some(CrankReference::BeforeBottom),
            "deg ABDC" => Some(CrankReference::AfterBottom),
            _ => None,
        }
    }

    /// Whether a number may stand against this unit without a space (`12°`, `80%`, `0.25"`, `11.2:1`).
    pub(super) fn joins_number(&self) -> bool {
        matches!(self.symbol, "%" | "")
    }
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        (self.symbol, self.ucum) == (other.symbol, other.ucum)
    }
}

impl Eq for Unit {}

impl fmt::Display for Unit {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.symbol)
    }
}

/// Whether the text is a unit of any kind, with at least one character that is no digit.
pub(super) fn is_spelling(text: &str) -> bool {
    let spelling = normalised(text);
    spelling.contains(|character: char| !character.is_ascii_digit() && character != '.')
        && QuantityKind::ALL
            .into_iter()
            .any(|kind| find(&spelling, kind).is_some())
}

type Spellings = BTreeMap<(QuantityKind, String), &'static Unit>;

/// Every spelling of every unit, normalised.
static EXACT: LazyLock<Spellings> = LazyLock::new(|| {
    let mut spellings = Spellings::new();
    for unit in table::all() {
        for kind in unit.kinds {
            for spelling in [unit.symbol, unit.ucum].into_iter().chain(unit.aliases()) {
                spellings.entry((*kind, normalised(spelling))).or_insert(unit);
            }
        }
    }
    spellings
});

/// The same in lower case, where that still names one unit.
static FOLDED: LazyLock<Spellings> = LazyLock::new(|| {
    let mut candidates: BTreeMap<(QuantityKind, String), Option<&'static Unit>> = BTreeMap::new();
    for ((kind, spelling), unit) in EXACT.iter() {
        candidates
            .entry((*kind, spelling.to_lowercase()))
            .and_modify(|known| *known = known.filter(|known| known == unit))
            .or_insert(Some(*unit));
    }
    candidates
        .into_iter()
        .filter_map(|(key, unit)| unit.map(|unit| (key, unit)))
        .collect()
});

fn find(spelling: &str, kind: QuantityKind) -> Option<&'static Unit> {
    let key = (kind, spelling.to_owned());
    if let Some(unit) = EXACT.get(&key) {
        return Some(unit);
    }
    let unit = FOLDED.get(&(kind, spelling.to_lowercase()))?;
    // m and M are a milli and a mega: only a spelling that begins as the table's does may differ in the rest.
    let first = spelling.chars().next()?;
    let milli_or_mega =
        matches!(first, 'm' | 'M') && unit.symbol.starts_with(['m', 'M']) && !unit.symbol.starts_with(first);
    (!milli_or_mega).then_some(unit)
}

/// The unit of this kind whose spelling differs least, if by no more than two letters and less than half the text.
fn nearest(spelling: &str, kind: QuantityKind) -> Option<&'static Unit> {
    let length = spelling.chars().count();
    if length > LONGEST_SPELLING {
        return None;
    }
    let folded = spelling.to_lowercase();
    EXACT
        .iter()
        .filter(|((other, _), _)| *other == kind)
        .map(|((_, known), unit)| (edits(&folded, &known.to_lowercase()), *unit))
        .filter(|(distance, _)| *distance <= 2 && distance * 2 < length.max(2))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, unit)| unit)
}

/// How many letters must be changed, added or left out to turn one text into the other (Levenshtein).
fn edits(left: &str, right: &str) -> usize {
    let right: Vec<char> = right.chars().collect();
    let mut row: Vec<usize> = (0..=right.len()).collect();
    for (index, from) in left.chars().enumerate() {
        let mut next = vec![index + 1];
        let mut beside = index + 1;
        for ((to, above_left), above) in right.iter().zip(&row).zip(row.iter().skip(1)) {
            let substituted = above_left + usize::from(from != *to);
            beside = substituted.min(above + 1).min(beside + 1);
            next.push(beside);
        }
        row = next;
    }
    row.last().copied().unwrap_or_default()
}

/// One form for spellings that differ only in how they are typeset.
fn normalised(text: &str) -> String {
    let mut spelling = String::with_capacity(text.len());
    let mut gap = false;
    for character in text.chars() {
        let plain = match character {
            '^' => continue,
            '²' | '₂' => '2',
            '³' => '3',
            'µ' | 'μ' => 'u',
            'º' | '˚' => '°',
            '“' | '”' | '″' => '"',
            '‘' | '’' | '′' => '\'',
            '.' | '-' | '·' | '⋅' | '∙' | '•' | '*' | '×' | '‐' | '‑' | '–' | '−' => {
                gap = true;
                continue;
            }
            other if other.is_whitespace() => {
                gap = true;
                continue;
            }
            other => other,
        };
        let joins = |neighbour: char| matches!(neighbour, '/' | '(' | ')' | '°' | '%');
        if gap && !joins(plain) && spelling.chars().next_back().is_some_and(|last| !joins(last)) {
            spelling.push('.');
        }
        gap = false;
        spelling.push(plain);
    }
    spelling
}
