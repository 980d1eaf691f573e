//! What is wrong with a figure: what was found, what was expected, and what to write instead.

use std::fmt;

use thiserror::Error;

/// How much of a refused text is shown.
const SHOWN_CHARACTERS: usize = 60;

/// Both sides of a refusal, and the way out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mismatch {
    /// What was written.
    pub found: String,
    /// What would have been accepted.
    pub expected: String,
    /// What to do next.
    pub hint: String,
}

impl fmt::Display for Mismatch {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "found {}, expected {}; {}", self.found, self.expected, self.hint)
    }
}

/// Why a figure, a unit or an operation on quantities is refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// There is no text.
    #[error("no figure: {0}")]
    Empty(Mismatch),
    /// The text does not begin with a number, or a number is malformed.
    #[error("not a number: {0}")]
    NotANumber(Mismatch),
    /// Not a number, infinite, or too large or too small to be a figure.
    #[error("not a usable number: {0}")]
    OutOfRange(Mismatch),
    /// A comma beside digits: a decimal comma, thousands, or a list.
    #[error("a comma in a figure: {0}")]
    Comma(Mismatch),
    /// Two ends of a range instead of a figure.
    #[error("a range is not a figure: {0}")]
    Range(Mismatch),
    /// The text can be read in two ways.
    #[error("ambiguous figure: {0}")]
    Ambiguous(Mismatch),
    /// A number stands without its unit.
    #[error("no unit: {0}")]
    NoUnit(Mismatch),
    /// The unit is not in the table.
    #[error("unknown unit: {0}")]
    UnknownUnit(Mismatch),
    /// The unit belongs to another kind of quantity.
    #[error("wrong kind of unit: {0}")]
    WrongUnit(Mismatch),
    /// Words stand behind the unit.
    #[error("words after the figure: {0}")]
    TrailingWords(Mismatch),
    /// Below absolute zero or below a perfect vacuum.
    #[error("below zero: {0}")]
    BelowZero(Mismatch),
    /// More values in one figure than anyone measures.
    #[error("too many values: {0}")]
    TooManyValues(Mismatch),
    /// More digits than any instrument has.
    #[error("too many digits: {0}")]
    TooManyDigits(Mismatch),
    /// A character that cannot be seen.
    #[error("hidden character: {0}")]
    HiddenCharacter(Mismatch),
    /// A digit other than 0 to 9.
    #[error("unusual digit: {0}")]
    UnusualDigit(Mismatch),
    /// What follows `±` is not an uncertainty.
    #[error("uncertainty: {0}")]
    Uncertainty(Mismatch),
    /// Two quantities that do not go together.
    #[error("kinds do not mix: {0}")]
    KindMismatch(Mismatch),
}

impl QuantityError {
    /// Both sides of the refusal, and the way out.
    pub fn mismatch(&self) -> &Mismatch {
        match self {
            Self::Empty(mismatch)
            | Self::NotANumber(mismatch)
            | Self::OutOfRange(mismatch)
            | Self::Comma(mismatch)
            | Self::Range(mismatch)
            | Self::Ambiguous(mismatch)
            | Self::NoUnit(mismatch)
            | Self::UnknownUnit(mismatch)
            | Self::WrongUnit(mismatch)
            | Self::TrailingWords(mismatch)
            | Self::BelowZero(mismatch)
            | Self::TooManyValues(mismatch)
            | Self::TooManyDigits(mismatch)
            | Self::HiddenCharacter(mismatch)
            | Self::UnusualDigit(mismatch)
            | Self::Uncertainty(mismatch)
            | Self::KindMismatch(mismatch) => mismatch,
        }
    }

    /// What was written.
    pub fn found(&self) -> &str {
        &self.mismatch().found
    }

    /// What would have been accepted.
    pub fn expected(&self) -> &str {
        &self.mismatch().expected
    }

    /// What to do next.
    pub fn hint(&self) -> &str {
        &self.mismatch().hint
    }

    /// A stable word for this kind of refusal, for findings (`no-unit`).
    pub fn code(&self) -> &'static str {
        match self {
            Self::Empty(_) => "no-figure",
            Self::NotANumber(_) => "not-a-number",
            Self::OutOfRange(_) => "number-out-of-range",
            Self::Comma(_) => "comma-in-figure",
            Self::Range(_) => "range-as-figure",
            Self::Ambiguous(_) => "ambiguous-figure",
            Self::NoUnit(_) => "no-unit",
            Self::UnknownUnit(_) => "unknown-unit",
            Self::WrongUnit(_) => "wrong-unit",
            Self::TrailingWords(_) => "trailing-words",
            Self::BelowZero(_) => "below-zero",
            Self::TooManyValues(_) => "too-many-values",
            Self::TooManyDigits(_) => "too-many-digits",
            Self::HiddenCharacter(_) => "hidden-character",
            Self::UnusualDigit(_) => "unusual-digit",
            Self::Uncertainty(_) => "bad-uncertainty",
            Self::KindMismatch(_) => "kind-mismatch",
        }
    }
}

/// Both sides and the way out, from anything that reads as text.
pub(super) fn mismatch(
    found: impl Into<String>,
    expected: impl Into<String>,
    hint: impl Into<String>,
) -> Mismatch {
    Mismatch { found: found.into(), expected: expected.into(), hint: hint.into() }
}

/// The text as it may be shown in a message: quoted, shortened, with nothing that moves a terminal's cursor.
pub(super) fn quoted(text: &str) -> String {
    let mut shown = String::from("`");
    for (index, character) in text.chars().enumerate() {
        if index == SHOWN_CHARACTERS {
            shown.push('…');
            break;
        }
        if is_hidden(character) {
            shown.extend(character.escape_unicode());
        } else {
            shown.push(character);
        }
    }
    shown.push('`');
    shown
}

/// Whether a character is invisible, or changes the order in which others are shown.
pub(super) fn is_hidden(character: char) -> bool {
    character.is_control()
        || matches!(character,
            '\u{00ad}' | '\u{034f}' | '\u{061c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
            | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{ffa0}'
            | '\u{fff0}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
}
