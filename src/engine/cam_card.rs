//! A cam card: what follows from the figures on it, and which of them contradict each other.

use super::EngineError;
use super::error::{finite, not_negative, within};
use crate::statistics::least_squares::Fit;

/// A figure that a cam card may state, all at one lift.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum CardFigure {
    /// Duration of the inlet lobe.
    InletDuration,
    /// Duration of the exhaust lobe.
    ExhaustDuration,
    /// Inlet centreline after top dead centre.
    InletCentreline,
    /// Exhaust centreline before top dead centre.
    ExhaustCentreline,
    /// Lobe separation.
    Separation,
    /// Overlap.
    Overlap,
    /// Advance.
    Advance,
    /// Inlet opening before top dead centre.
    InletOpening,
    /// Inlet closing after bottom dead centre.
    InletClosing,
    /// Exhaust opening before bottom dead centre.
    ExhaustOpening,
    /// Exhaust closing after top dead centre.
    ExhaustClosing,
}

impl CardFigure {
    /// All figures of a card.
    pub const ALL: [Self; 11] = [
        Self::InletDuration,
        Self::ExhaustDuration,
        Self::InletCentreline,
        Self::ExhaustCentreline,
        Self::Separation,
        Self::Overlap,
        Self::Advance,
        Self::InletOpening,
        Self::InletClosing,
        Self::ExhaustOpening,
        Self::ExhaustClosing,
    ];

    /// The figure as a sum over (inlet duration, exhaust duration, inlet centreline, exhaust centreline), and
    /// a constant.
    fn relation(self) -> ([f64; 4], f64) {
        match self {
            Self::InletDuration => ([1.0, 0.0, 0.0, 0.0], 0.0),
            Self::ExhaustDuration => ([0.0, 1.0, 0.0, 0.0], 0.0),
            Self::InletCentreline => ([0.0, 0.0, 1.0, 0.0], 0.0),
            Self::ExhaustCentreline => ([0.0, 0.0, 0.0, 1.0], 0.0),
            Self::Separation => ([0.0, 0.0, 0.5, 0.5], 0.0),
            Self::Overlap => ([0.5, 0.5, -1.0, -1.0], 0.0),
            Self::Advance => ([0.0, 0.0, -0.5, 0.5], 0.0),
            Self::InletOpening => ([0.5, 0.0, -1.0, 0.0], 0.0),
            Self::InletClosing => ([0.5, 0.0, 1.0, 0.0], -180.0),
            Self::ExhaustOpening => ([0.0, 0.5, 0.0, 1.0], -180.0),
            Self::ExhaustClosing => ([0.0, 0.5, 0.0, -1.0], 0.0),
        }
    }
}

/// A figure that does not fit the others on its card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CardContradiction {
    /// The figure.
    pub figure: CardFigure,
    /// What the card states, degrees.
    pub stated_deg: f64,
    /// What the other figures say it is, degrees; none when they do not settle it.
    pub follows_deg: Option<f64>,
}

/// What a cam card says, and whether it holds together.
#[derive(Debug, Clone, PartialEq)]
pub struct CardReading {
    /// Figures that the card does not state but that follow from it, degrees.
    pub follows: Vec<(CardFigure, f64)>,
    /// Figures in contradiction; one when a single figure, taken away, leaves the rest in agreement, else all
    /// that could be at fault.
    pub contradictions: Vec<CardContradiction>,
}

/// Reads a cam card, all of whose figures are at one stated lift: works out what follows and names what
/// contradicts.
///
/// `rounding_deg` is how far figures may differ by rounding (half a degree a figure is common; a card rounded
/// to whole degrees needs about 1).
///
/// # Errors
/// A figure stated twice, or one that is not finite.
pub fn read_card(stated: &[(CardFigure, f64)], rounding_deg: f64) -> Result<CardReading, EngineError> {
    let rounding = within("rounding", rounding_deg, "deg", |r| r >= 0.0, "0 or more")?;
    for (index, &(figure, value)) in stated.iter().enumerate() {
        finite("figure of the card", value, "deg")?;
        if stated[..index].iter().any(|&(other, _)| other == figure) {
            return Err(EngineError::Contradiction {
                what: "cam card",
                detail: format!("{figure:?} is stated twice"),
            });
        }
    }
    if stated.is_empty() {
        return Ok(CardReading { follows: Vec::new(), contradictions: Vec::new() });
    }
    let whole = fit(stated)?;
    let agrees = |fit: &Fit| fit.residuals.iter().all(|left| left.abs() <= rounding.max(1e-9));
    if agrees(&whole) {
        let mut follows = Vec::new();
        for figure in CardFigure::ALL {
            if !stated.iter().any(|&(known, _)| known == figure)
                && let Some(value) = value_of(&whole, figure)?
            {
                follows.push((figure, value));
            }
        }
        return Ok(CardReading { follows, contradictions: Vec::new() });
    }
    let mut alone = Vec::new();
    let mut suspects = Vec::new();
    for (index, &(figure, stated_deg)) in stated.iter().enumerate() {
        let mut rest = stated.to_vec();
        rest.remove(index);
        let without = fit(&rest)?;
        let follows_deg = value_of(&without, figure)?;
        let contradiction = CardContradiction { figure, stated_deg, follows_deg };
        if agrees(&without) {
            alone.push(contradiction);
        }
        if follows_deg.is_some() {
            suspects.push(contradiction);
        }
    }
    Ok(CardReading { follows: Vec::new(), contradictions: if alone.is_empty() { suspects } else { alone } })
}

fn fit(stated: &[(CardFigure, f64)]) -> Result<Fit, EngineError> {
    let design: Vec<Vec<f64>> = stated.iter().map(|(figure, _)| figure.relation().0.to_vec()).collect();
    let observed: Vec<f64> = stated.iter().map(|(figure, value)| value - figure.relation().1).collect();
    Ok(Fit::of(&design, &observed)?)
}

fn value_of(fit: &Fit, figure: CardFigure) -> Result<Option<f64>, EngineError> {
    let (parts, constant) = figure.relation();
    if !fit.is_estimable(&parts)? {
        return Ok(None);
    }
    let sum: f64 = parts.iter().zip(&fit.coefficients).map(|(part, known)| part * known.unwrap_or(0.0)).sum();
    Ok(Some(sum + constant))
}

/// Durations of one lobe at several lifts that contradict each other: a duration must fall as the lift rises.
///
/// Each figure is a lift, m, and a duration, degrees. What comes back are the pairs, by their places in the
/// list, in which the higher lift has the longer or the same duration, or one lift has two durations.
///
/// # Errors
/// A negative lift, or a duration outside 0 to 720 degrees.
pub fn contradicting_durations(stated: &[(f64, f64)]) -> Result<Vec<(usize, usize)>, EngineError> {
    for &(lift, duration) in stated {
        not_negative("lift of the duration", lift, "m")?;
        within("duration", duration, "deg", |d| d > 0.0 && d < 720.0, "above 0 and below 720")?;
    }
    let mut pairs = Vec::new();
    for (index, first) in stated.iter().enumerate() {
        for (later, second) in stated.iter().enumerate().skip(index + 1) {
            let (low, high) = if first.0 <= second.0 { (first, second) } else { (second, first) };
            if high.1 >= low.1 {
                pairs.push((index, later));
            }
        }
    }
    Ok(pairs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use CardFigure::*;

    #[test]
    fn a_card_that_holds_together_is_completed() {
        let card =
            [(InletDuration, 236.0), (ExhaustDuration, 242.0), (Separation, 110.0), (InletCentreline, 106.0)];
        let reading = read_card(&card, 0.5).unwrap();
        assert!(reading.contradictions.is_empty());
        let follows = |figure| reading.follows.iter().find(|(known, _)| *known == figure).unwrap().1;
        assert!((follows(Overlap) - 19.0).abs() < 1e-9);
        assert!((follows(ExhaustOpening) - 55.0).abs() < 1e-9);
        assert!((follows(Advance) - 4.0).abs() < 1e-9);
        // Too little on the card: only what it settles follows.
        let reading = read_card(&[(InletDuration, 236.0), (InletCentreline, 106.0)], 0.5).unwrap();
        assert_eq!(reading.follows.len(), 2);
    }

    #[test]
    fn a_card_that_contradicts_itself_names_the_figure() {
        // Events of the grind above with one misprint: inlet closing 54 for 44.
        let card = [
            (InletDuration, 236.0),
            (ExhaustDuration, 242.0),
            (InletCentreline, 106.0),
            (Separation, 110.0),
            (InletOpening, 12.0),
            (InletClosing, 54.0),
            (ExhaustOpening, 55.0),
            (ExhaustClosing, 7.0),
        ];
        let reading = read_card(&card, 0.5).unwrap();
        assert_eq!(reading.contradictions.len(), 1);
        let found = reading.contradictions[0];
        assert_eq!(found.figure, InletClosing);
        assert!((found.follows_deg.unwrap() - 44.0).abs() < 1e-9);
        // Three figures, one relation: each could be the wrong one.
        let reading =
            read_card(&[(InletCentreline, 106.0), (ExhaustCentreline, 114.0), (Separation, 112.0)], 0.5)
                .unwrap();
        assert_eq!(reading.contradictions.len(), 3);
        assert!(read_card(&[(Overlap, 1.0), (Overlap, 2.0)], 0.5).is_err());
    }

    #[test]
    fn duration_falls_with_lift() {
        // Advertised 280 at .006 in and 236 at .050 in belong together; 246 at .200 in does not (reference
        // table of docs/engine.md).
        assert!(contradicting_durations(&[(0.15e-3, 280.0), (1.27e-3, 236.0)]).unwrap().is_empty());
        let pairs = contradicting_durations(&[(1.27e-3, 236.0), (0.15e-3, 280.0), (5.08e-3, 246.0)]).unwrap();
        assert_eq!(pairs, vec![(0, 2)]);
        assert!(contradicting_durations(&[(-1.0, 236.0)]).is_err());
    }
}
