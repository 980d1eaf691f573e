//! How far a figure may be off.

use super::error::{QuantityError, mismatch, quoted};
use super::kind::QuantityKind;
use super::scan::{Limit, take_limit_apart};
use super::unit::Unit;

/// What was written behind `±`, in steps of the figure's unit: ±1 degF is a difference, 5/9 K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Uncertainty {
    /// The value lies within the half-width, anywhere in it alike: u = a/√3 (JCGM 100:2008, 4.3.7).
    Limit {
        /// Half-width of the interval.
        half_width: f64,
    },
    /// An expanded uncertainty U = k·u (JCGM 100:2008, 6.2.1).
    Expanded {
        /// Half-width of the interval.
        half_width: f64,
        /// Coverage factor.
        k: f64,
    },
}

impl Uncertainty {
    /// Half-width of the interval, in steps of the figure's unit.
    pub fn half_width(&self) -> f64 {
        match self {
            Self::Limit { half_width } | Self::Expanded { half_width, .. } => *half_width,
        }
    }

    /// The standard uncertainty, in steps of the figure's unit.
    pub fn standard(&self) -> f64 {
        match self {
            Self::Limit { half_width } => half_width / 3.0_f64.sqrt(),
            Self::Expanded { half_width, k } => half_width / k,
        }
    }

    /// What the standard uncertainty rests on.
    pub fn basis(&self) -> UncertaintyBasis {
        match self {
            Self::Limit { .. } => UncertaintyBasis::Limit,
            Self::Expanded { .. } => UncertaintyBasis::Expanded,
        }
    }

    /// The same interval with its half-width scaled.
    pub(super) fn scaled(self, factor: f64) -> Self {
        match self {
            Self::Limit { half_width } => Self::Limit { half_width: half_width * factor },
            Self::Expanded { half_width, k } => Self::Expanded { half_width: half_width * factor, k },
        }
    }

    pub(super) fn from_limit(limit: &Limit) -> Self {
        let half_width = limit.number.value();
        match limit.coverage {
            Some(k) => Self::Expanded { half_width, k },
            None => Self::Limit { half_width },
        }
    }
}

/// What a standard uncertainty rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UncertaintyBasis {
    /// A stated limit, taken as rectangular.
    Limit,
    /// A stated expanded uncertainty and its coverage factor.
    Expanded,
    /// Nothing was stated: half the last digit, taken as rectangular. To be said wherever it is used.
    LastDigit,
}

/// A standard uncertainty in SI, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandardUncertainty {
    /// The standard uncertainty of one value, in SI.
    pub si: f64,
    /// What it rests on.
    pub basis: UncertaintyBasis,
}

impl StandardUncertainty {
    /// Whether nothing was stated and half the last digit stands in.
    pub fn is_fallback(&self) -> bool {
        self.basis == UncertaintyBasis::LastDigit
    }
}

/// An uncertainty that stands alone, as an instrument's record states it: `±0.2 cc`.
#[derive(Debug, Clone, PartialEq)]
pub struct StatedUncertainty {
    text: String,
    kind: QuantityKind,
    unit: &'static Unit,
    uncertainty: Uncertainty,
}

impl StatedUncertainty {
    /// The text as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The kind of figure it speaks of.
    pub fn kind(&self) -> QuantityKind {
        self.kind
    }

    /// The unit of the half-width.
    pub fn unit(&self) -> &'static Unit {
        self.unit
    }

    /// What was stated, in steps of the unit.
    pub fn uncertainty(&self) -> Uncertainty {
        self.uncertainty
    }

    /// The standard uncertainty in SI.
    pub fn standard(&self) -> StandardUncertainty {
        StandardUncertainty {
            si: self.unit.width_to_si(self.uncertainty.standard()),
            basis: self.uncertainty.basis(),
        }
    }
}

/// Reads an uncertainty that stands alone: `±0.2 cc`, `+/-0.1 kPa k=2`, `±0.5 degF` of a temperature.
///
/// # Errors
///
/// [`QuantityError::Uncertainty`] if it does not begin with `±` or has no number above zero behind it, and the errors of
/// [`Unit::parse`].
pub fn parse_uncertainty(text: &str, kind: QuantityKind) -> Result<StatedUncertainty, QuantityError> {
    let limit = take_limit_apart(text)?;
    let unit = width_unit(&limit.unit, kind)?;
    let stated = StatedUncertainty {
        text: text.trim().to_owned(),
        kind,
        unit,
        uncertainty: Uncertainty::from_limit(&limit),
    };
    if stated.standard().si.is_finite() {
        return Ok(stated);
    }
    Err(QuantityError::Uncertainty(mismatch(
        quoted(text),
        "a finite uncertainty",
        "look for a slip in the exponent",
    )))
}

/// The unit in which a half-width is written: one of the kind's differences, or else of the kind itself.
pub(super) fn width_unit(text: &str, kind: QuantityKind) -> Result<&'static Unit, QuantityError> {
    Unit::parse(text, kind.difference()).or_else(|refusal| {
        // An absolute spelling behind ± (±0.1 psia) means its steps.
        Unit::parse(text, kind).map_err(|_| refusal)
    })
}
