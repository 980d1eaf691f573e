//! One unit: how it is written, and what it is in SI.

use std::collections::{BTreeMap, BTreeSet};
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
        let elsewhere = QuantityKind::ALL.into_iter().find(|other| find(&spelling, *other).is_some());
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
        self.kinds.first().map_or_else(Dimension::default, |kind| kind.dimension())
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

    /// Whether it is shown against the number, with no space between.
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
    let spelling = normalised(text).to_lowercase();
    spelling.contains(|character: char| !character.is_ascii_digit() && character != '.')
        && WRITTEN.contains(&spelling)
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
    candidates.into_iter().filter_map(|(key, unit)| unit.map(|unit| (key, unit))).collect()
});

/// Every spelling of any kind, in lower case.
static WRITTEN: LazyLock<BTreeSet<String>> =
    LazyLock::new(|| EXACT.keys().map(|(_, spelling)| spelling.to_lowercase()).collect());

fn find(spelling: &str, kind: QuantityKind) -> Option<&'static Unit> {
    let key = (kind, spelling.to_owned());
    if let Some(unit) = EXACT.get(&key) {
        return Some(unit);
    }
    let unit = FOLDED.get(&(kind, spelling.to_lowercase()))?;
    // m and M are a milli and a mega: mPa is never read as MPa, nor a short Mm as mm; MBAR can only be mbar.
    let milli_for_mega = spelling.starts_with('m') && unit.symbol.starts_with('M');
    let mega_for_milli = spelling.starts_with('M') && unit.symbol.starts_with('m') && spelling.len() <= 3;
    (!milli_for_mega && !mega_for_milli).then_some(unit)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn symbol(text: &str, kind: QuantityKind) -> String {
        match Unit::parse(text, kind) {
            Ok(unit) => unit.symbol().to_owned(),
            Err(error) => error.code().to_owned(),
        }
    }

    #[test]
    fn torque_is_read_however_its_parts_are_joined() {
        for text in [
            "lb-ft",
            "ft-lb",
            "lbf·ft",
            "lbf.ft",
            "lb ft",
            "ft lb",
            "LB-FT",
            "ft·lbf",
            "ftlb",
            "lb‑ft",
            "[lbf_av].[ft_i]",
        ] {
            assert_eq!(symbol(text, QuantityKind::Torque), "lb-ft", "{text}");
        }
        for text in ["Nm", "N·m", "N.m", "N m", "NM", "nm", "N⋅m"] {
            assert_eq!(symbol(text, QuantityKind::Torque), "N·m", "{text}");
        }
    }

    #[test]
    fn one_spelling_may_be_a_unit_of_several_kinds() {
        assert_eq!(symbol("lb", QuantityKind::Mass), "lb");
        assert_eq!(symbol("lb", QuantityKind::Force), "lbf");
        assert_eq!(symbol("ft-lb", QuantityKind::Energy), "ft-lbf");
        assert_eq!(symbol("degF", QuantityKind::Temperature), "degF");
        let absolute = Unit::parse("degF", QuantityKind::Temperature).unwrap();
        let step = Unit::parse("degF", QuantityKind::TemperatureDifference).unwrap();
        assert_ne!(absolute, step);
        assert!((step.to_si(9.0) - 5.0).abs() < 1e-15);
    }

    #[test]
    fn gauge_and_absolute_spellings_keep_to_their_kind() {
        assert_eq!(symbol("psig", QuantityKind::PressureGauge), "psig");
        assert_eq!(symbol("psig", QuantityKind::PressureAbsolute), "wrong-unit");
        assert_eq!(symbol("psia", QuantityKind::PressureGauge), "wrong-unit");
        assert_eq!(symbol("psia", QuantityKind::PressureDifference), "wrong-unit");
        assert_eq!(symbol("psi", QuantityKind::PressureDifference), "psi");
    }

    #[test]
    fn columns_of_stated_temperature_are_units_of_their_own() {
        assert_eq!(symbol("inHg", QuantityKind::PressureAbsolute), "inHg");
        assert_eq!(symbol("in Hg", QuantityKind::PressureAbsolute), "inHg");
        assert_eq!(symbol("inHg 60F", QuantityKind::PressureAbsolute), "inHg 60F");
        assert_eq!(symbol("inHg (60 °F)", QuantityKind::PressureAbsolute), "inHg 60F");
        assert_eq!(symbol("inH2O (60F)", QuantityKind::PressureDifference), "inH2O 60F");
        assert_eq!(symbol("inH₂O", QuantityKind::PressureDifference), "inH2O");
    }

    #[test]
    fn milli_is_never_taken_for_mega() {
        assert_eq!(symbol("MPa", QuantityKind::PressureAbsolute), "MPa");
        assert_eq!(symbol("mPa", QuantityKind::PressureAbsolute), "unknown-unit");
        assert_eq!(symbol("mJ", QuantityKind::Energy), "unknown-unit");
        assert_eq!(symbol("Mm", QuantityKind::Length), "unknown-unit");
        assert_eq!(symbol("MM", QuantityKind::Length), "mm");
        assert_eq!(symbol("MBAR", QuantityKind::PressureAbsolute), "mbar");
        assert_eq!(symbol("RPM", QuantityKind::RotationalSpeed), "rpm");
        assert_eq!(symbol("KPA", QuantityKind::PressureAbsolute), "kPa");
    }

    #[test]
    fn an_unknown_unit_is_answered_with_the_nearest_and_the_list() {
        let error = Unit::parse("kPs", QuantityKind::PressureAbsolute).unwrap_err();
        assert_eq!(error.code(), "unknown-unit");
        assert!(error.hint().starts_with("did you mean kPa?"), "{error}");
        assert!(error.hint().contains("inHg"), "{error}");
        let error = Unit::parse("parsec", QuantityKind::Length).unwrap_err();
        assert!(error.hint().starts_with("write one of: mm, in"), "{error}");
    }

    #[test]
    fn a_unit_of_another_kind_is_named_as_such() {
        let error = Unit::parse("mm", QuantityKind::Torque).unwrap_err();
        assert_eq!(error.code(), "wrong-unit");
        assert_eq!(error.found(), "`mm`, a unit of length");
        assert_eq!(error.expected(), "a unit of torque");
        assert!(error.hint().contains("lb-ft"), "{error}");
    }

    #[test]
    fn edits_are_counted_as_levenshtein_did() {
        // The usual example of the 1965 distance: kitten and sitting lie three apart.
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("", "abc"), 3);
        assert_eq!(edits("psi", "psi"), 0);
    }
}
