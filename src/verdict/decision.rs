//! What may be said of a difference: the decision rule and the reservations that hold it back.

use std::fmt;

use crate::statistics::Interval;
use crate::statistics::StatisticsError;
use crate::statistics::two_sample::Estimate;
use crate::verdict::Basis;
use crate::verdict::Difference;
use crate::verdict::Layout;

/// A verdict whose limit lies nearer than this share to an end of the interval is named as a close call: recomputed
/// on another platform it may fall the other way.
const CLOSE_CALL: f64 = 1e-9;

/// What is said of a least gain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The lower end of the interval reaches it, and nothing holds that back.
    Shown,
    /// The lower end reaches it, with reservations.
    Provisional,
    /// The interval holds it.
    NotShown,
    /// The upper end lies below it.
    Contradicted,
}

impl Verdict {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Shown => "shown",
            Self::Provisional => "provisional",
            Self::NotShown => "not shown",
            Self::Contradicted => "contradicted",
        }
    }
}

/// What holds a gain back from being shown, the weightiest first.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reservation {
    /// A pull rests on something that proved doubtful.
    Doubted {
        /// What.
        what: String,
    },
    /// No session holds both sides.
    AcrossSessions,
    /// The interval knows no refit: it speaks of these assemblies.
    NoRefit,
    /// The base was not run again after the test.
    NoClosingBaseline,
    /// Something nobody knows could cancel the gain.
    Unknown {
        /// What.
        what: String,
    },
    /// Something else changed whose effect is not estimated.
    NotEstimated {
        /// What.
        what: String,
    },
    /// The pulls of a side differ among themselves.
    MixedSide {
        /// `base` or `test`.
        side: &'static str,
        /// In what.
        what: String,
    },
    /// The window was named after the curves were there to see.
    WindowAfterwards,
}

impl fmt::Display for Reservation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Doubted { what } => write!(f, "{what}"),
            Self::AcrossSessions => f.write_str(
                "no session holds both sides: what another day does is in the difference and not in its interval",
            ),
            Self::NoRefit => f.write_str(
                "nobody refitted: the interval knows only pull-to-pull scatter, so the result speaks of these \
                 assemblies and not of the part",
            ),
            Self::NoClosingBaseline => {
                f.write_str("the base was not run again after the test, so drift rests on a straight line run on")
            }
            Self::Unknown { what } => write!(f, "nobody knows {what}: a plausible value could cancel the gain"),
            Self::NotEstimated { what } => write!(f, "{what} changed too, and its effect is not estimated"),
            Self::MixedSide { side, what } => write!(f, "the {side} pulls differ among themselves in {what}"),
            Self::WindowAfterwards => {
                f.write_str("the window was named when the curves could be seen, not before the pulls")
            }
        }
    }
}

/// What the order of the pulls and the lack of refits hold against a difference.
pub fn layout_reservations(layout: &Layout, difference: &Difference) -> Vec<Reservation> {
    let mut found = Vec::new();
    if layout.is_across_sessions() {
        found.push(Reservation::AcrossSessions);
    } else if !layout.is_bracketed() {
        found.push(Reservation::NoClosingBaseline);
    }
    if difference.basis == Basis::TheseAssemblies {
        found.push(Reservation::NoRefit);
    }
    found
}

/// A verdict with what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Ruling {
    /// The verdict.
    pub verdict: Verdict,
    /// The least gain asked for.
    pub least: f64,
    /// What holds it back or should be read with it, the weightiest first.
    pub reservations: Vec<Reservation>,
    /// An end of the interval lies so near the limit that another platform might say otherwise.
    pub close_call: bool,
}

/// Rules on a least gain by the two-sided interval.
pub fn rule(interval: &Interval, least: f64, mut reservations: Vec<Reservation>) -> Ruling {
    reservations.sort();
    reservations.dedup();
    let verdict = if interval.lower >= least {
        if reservations.is_empty() { Verdict::Shown } else { Verdict::Provisional }
    } else if interval.upper < least {
        Verdict::Contradicted
    } else {
        Verdict::NotShown
    };
    let scale = interval.lower.abs().max(interval.upper.abs()).max(least.abs());
    let near = |end: f64| (end - least).abs() <= CLOSE_CALL * scale;
    Ruling { verdict, least, reservations, close_call: near(interval.lower) || near(interval.upper) }
}

/// Whether no difference larger than `margin` is left, by two one-sided tests at 5 %: the 90 % interval lies within
/// ±margin. Returns the larger probability as well.
///
/// # Errors
/// A margin that is not above zero.
pub fn equivalent(estimate: &Estimate, margin: f64) -> Result<(bool, f64), StatisticsError> {
    let probability = estimate.equivalence_probability(margin)?;
    Ok((probability < 0.05, probability))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(lower: f64, upper: f64) -> Interval {
        Interval { lower, upper, level: 0.95 }
    }

    #[test]
    fn the_rule_reads_the_ends_of_the_interval() {
        let ruling = |lower, upper| rule(&interval(lower, upper), 4.0, Vec::new()).verdict;
        assert_eq!(ruling(4.0, 9.0), Verdict::Shown);
        assert_eq!(ruling(3.9, 9.0), Verdict::NotShown);
        assert_eq!(ruling(-1.0, 4.0), Verdict::NotShown);
        assert_eq!(ruling(-1.0, 3.9), Verdict::Contradicted);
        assert!(rule(&interval(4.0, 9.0), 4.0, Vec::new()).close_call);
        assert!(!rule(&interval(4.1, 9.0), 4.0, Vec::new()).close_call);
    }

    #[test]
    fn reservations_hold_back_only_what_would_be_shown() {
        let both = vec![Reservation::WindowAfterwards, Reservation::NoRefit, Reservation::NoRefit];
        let shown = rule(&interval(5.0, 9.0), 4.0, both.clone());
        assert_eq!(shown.verdict, Verdict::Provisional);
        assert_eq!(shown.reservations, [Reservation::NoRefit, Reservation::WindowAfterwards]);
        assert_eq!(rule(&interval(1.0, 2.0), 4.0, both).verdict, Verdict::Contradicted);
    }

    #[test]
    fn equivalence_agrees_with_the_reference_table() {
        // Project reference table (scipy 1.17.1): Welch difference 2.52, SE 0.50039984, 4.66439572 degrees of
        // freedom; p 0.00257424 for a margin of 5, 0.82521821 for 2.
        let estimate =
            Estimate { value: 2.52, standard_error: 0.500_399_84, degrees_of_freedom: 4.664_395_72 };
        let (within, probability) = equivalent(&estimate, 5.0).unwrap();
        assert!(within && (probability - 0.002_574_24).abs() < 1e-7);
        let (within, probability) = equivalent(&estimate, 2.0).unwrap();
        assert!(!within && (probability - 0.825_218_21).abs() < 1e-7);
        assert!(equivalent(&estimate, 0.0).is_err());
    }
}
