//! Valve events from duration and installed centreline, the other way round, and a cam card that contradicts
//! itself.
//!
//! Angles are crankshaft degrees; a duration belongs to a stated lift, and figures at different lifts are
//! never mixed. The relations hold for lobes whose opening and closing sides take equally long from the
//! centreline. Source: magazine practice (cam degreeing), no standard.

use super::EngineError;
use super::error::{finite, within};
use crate::statistics::least_squares::Fit;

/// The two events of one valve, each positive on its usual side of the dead centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Events {
    /// Inlet: opening before top dead centre. Exhaust: opening before bottom dead centre. Degrees; negative
    /// means after.
    pub opens_before_deg: f64,
    /// Inlet: closing after bottom dead centre. Exhaust: closing after top dead centre. Degrees; negative
    /// means before.
    pub closes_after_deg: f64,
}

/// One lobe as ground and installed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lobe {
    /// Duration at the stated lift, crankshaft degrees.
    pub duration_deg: f64,
    /// Inlet: centreline after top dead centre. Exhaust: centreline before top dead centre. Degrees.
    pub centreline_deg: f64,
}

impl Lobe {
    fn checked(&self) -> Result<(f64, f64), EngineError> {
        let duration = within(
            "duration",
            self.duration_deg,
            "deg",
            |d| d > 0.0 && d < 720.0,
            "above 0 and below 720",
        )?;
        let centreline = within(
            "centreline",
            self.centreline_deg,
            "deg",
            |c| c > 0.0 && c < 180.0,
            "between 0 and 180",
        )?;
        Ok((duration, centreline))
    }

    /// Inlet events: opening = D/2 − centreline before top, closing = D/2 + centreline − 180 after bottom
    /// dead centre.
    ///
    /// # Errors
    /// A duration outside 0 to 720 or a centreline outside 0 to 180 degrees.
    pub fn inlet_events(&self) -> Result<Events, EngineError> {
        let (duration, centreline) = self.checked()?;
        Ok(Events {
            opens_before_deg: duration / 2.0 - centreline,
            closes_after_deg: duration / 2.0 + centreline - 180.0,
        })
    }

    /// Exhaust events: opening = D/2 + centreline − 180 before bottom, closing = D/2 − centreline after top
    /// dead centre.
    ///
    /// # Errors
    /// As [`Lobe::inlet_events`].
    pub fn exhaust_events(&self) -> Result<Events, EngineError> {
        let (duration, centreline) = self.checked()?;
        Ok(Events {
            opens_before_deg: duration / 2.0 + centreline - 180.0,
            closes_after_deg: duration / 2.0 - centreline,
        })
    }

    /// The inlet lobe with these events: D = opening + closing + 180, centreline = D/2 − opening.
    ///
    /// # Errors
    /// Events that give a duration outside 0 to 720 or a centreline outside 0 to 180 degrees.
    pub fn from_inlet_events(events: Events) -> Result<Self, EngineError> {
        let duration_deg = events.opens_before_deg + events.closes_after_deg + 180.0;
        let lobe = Self {
            duration_deg,
            centreline_deg: duration_deg / 2.0 - events.opens_before_deg,
        };
        lobe.checked().map(|_| lobe)
    }

    /// The exhaust lobe with these events: D = opening + closing + 180, centreline = D/2 − closing.
    ///
    /// # Errors
    /// As [`Lobe::from_inlet_events`].
    pub fn from_exhaust_events(events: Events) -> Result<Self, EngineError> {
        let duration_deg = events.opens_before_deg + events.closes_after_deg + 180.0;
        let lobe = Self {
            duration_deg,
            centreline_deg: duration_deg / 2.0 - events.closes_after_deg,
        };
        lobe.checked().map(|_| lobe)
    }
}

/// Lobe separation (camshaft degrees): half the sum of both centrelines.
#[must_use]
pub fn lobe_separation_deg(inlet: &Lobe, exhaust: &Lobe) -> f64 {
    (inlet.centreline_deg + exhaust.centreline_deg) / 2.0
}

/// Overlap (crankshaft degrees): inlet opening before top + exhaust closing after top dead centre.
#[must_use]
pub fn overlap_deg(inlet: &Lobe, exhaust: &Lobe) -> f64 {
    (inlet.duration_deg + exhaust.duration_deg) / 2.0 - inlet.centreline_deg - exhaust.centreline_deg
}

/// How far the camshaft is installed ahead of its separation, crankshaft degrees: separation − inlet
/// centreline; negative is retarded.
#[must_use]
pub fn advance_deg(inlet: &Lobe, exhaust: &Lobe) -> f64 {
    lobe_separation_deg(inlet, exhaust) - inlet.centreline_deg
}

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
        return Ok(CardReading {
            follows: Vec::new(),
            contradictions: Vec::new(),
        });
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
        return Ok(CardReading {
            follows,
            contradictions: Vec::new(),
        });
    }
    let mut alone = Vec::new();
    let mut suspects = Vec::new();
    for (index, &(figure, stated_deg)) in stated.iter().enumerate() {
        let mut rest = stated.to_vec();
        rest.remove(index);
        let without = fit(&rest)?;
        let follows_deg = value_of(&without, figure)?;
        let contradiction = CardContradiction {
            figure,
            stated_deg,
            follows_deg,
        };
        if agrees(&without) {
            alone.push(contradiction);
        }
        if follows_deg.is_some() {
            suspects.push(contradiction);
        }
    }
    Ok(CardReading {
        follows: Vec::new(),
        contradictions: if alone.is_empty() { suspects } else { alone },
    })
}

fn fit(stated: &[(CardFigure, f64)]) -> Result<Fit, EngineError> {
    let design: Vec<Vec<f64>> = stated
        .iter()
        .map(|(figure, _)| figure.relation().0.to_vec())
        .collect();
    let observed: Vec<f64> = stated
        .iter()
        .map(|(figure, value)| value - figure.relation().1)
        .collect();
    Ok(Fit::of(&design, &observed)?)
}

fn value_of(fit: &Fit, figure: CardFigure) -> Result<Option<f64>, EngineError> {
    let (parts, constant) = figure.relation();
    if !fit.is_estimable(&parts)? {
        return Ok(None);
    }
    let sum: f64 = parts
        .iter()
        .zip(&fit.coefficients)
        .map(|(part, known)| part * known.unwrap_or(0.0))
        .sum();
    Ok(Some(sum + constant))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn events_of_a_common_grind() {
        // Project reference table section 3: at .050 in 236/242 on 110, installed at 106: 12 BTDC, 44 ABDC,
        // 55 BBDC, 7 ATDC, overlap 19.
        let (inlet, exhaust) = (
            Lobe {
                duration_deg: 236.0,
                centreline_deg: 106.0,
            },
            Lobe {
                duration_deg: 242.0,
                centreline_deg: 114.0,
            },
        );
        let (i, e) = (inlet.inlet_events().unwrap(), exhaust.exhaust_events().unwrap());
        for (found, expected) in [
            (i.opens_before_deg, 12.0),
            (i.closes_after_deg, 44.0),
            (e.opens_before_deg, 55.0),
            (e.closes_after_deg, 7.0),
            (overlap_deg(&inlet, &exhaust), 19.0),
            (lobe_separation_deg(&inlet, &exhaust), 110.0),
            (advance_deg(&inlet, &exhaust), 4.0),
        ] {
            assert!((found - expected).abs() < 1e-12, "{found} is not {expected}");
        }
    }

    #[test]
    fn lobes_from_published_events() {
        // cal7.calculator.city, cam timing: 10/40/50/10 gives 230/240, centrelines 105 and 110, separation
        // 107.5, overlap 20.
        let inlet = Lobe::from_inlet_events(Events {
            opens_before_deg: 10.0,
            closes_after_deg: 40.0,
        })
        .unwrap();
        let exhaust = Lobe::from_exhaust_events(Events {
            opens_before_deg: 50.0,
            closes_after_deg: 10.0,
        })
        .unwrap();
        assert!((inlet.duration_deg - 230.0).abs() < 1e-12 && (inlet.centreline_deg - 105.0).abs() < 1e-12);
        assert!(
            (exhaust.duration_deg - 240.0).abs() < 1e-12 && (exhaust.centreline_deg - 110.0).abs() < 1e-12
        );
        assert!((lobe_separation_deg(&inlet, &exhaust) - 107.5).abs() < 1e-12);
        assert!((overlap_deg(&inlet, &exhaust) - 20.0).abs() < 1e-12);
        assert!(
            Lobe {
                duration_deg: 236.0,
                centreline_deg: 0.0
            }
            .inlet_events()
            .is_err()
        );
        assert!(
            Lobe::from_inlet_events(Events {
                opens_before_deg: -100.0,
                closes_after_deg: -90.0
            })
            .is_err()
        );
    }

    use CardFigure::*;

    #[test]
    fn a_card_that_holds_together_is_completed() {
        let card = [
            (InletDuration, 236.0),
            (ExhaustDuration, 242.0),
            (Separation, 110.0),
            (InletCentreline, 106.0),
        ];
        let reading = read_card(&card, 0.5).unwrap();
        assert!(reading.contradictions.is_empty());
        let follows = |figure| {
            reading
                .follows
                .iter()
                .find(|(known, _)| *known == figure)
                .unwrap()
                .1
        };
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
        let reading = read_card(
            &[
                (InletCentreline, 106.0),
                (ExhaustCentreline, 114.0),
                (Separation, 112.0),
            ],
            0.5,
        )
        .unwrap();
        assert_eq!(reading.contradictions.len(), 3);
        assert!(read_card(&[(Overlap, 1.0), (Overlap, 2.0)], 0.5).is_err());
    }

    proptest! {
        #[test]
        fn events_and_lobes_invert(duration in 180.0..340.0_f64, centreline in 90.0..125.0_f64) {
            let lobe = Lobe { duration_deg: duration, centreline_deg: centreline };
            let back = Lobe::from_inlet_events(lobe.inlet_events().unwrap()).unwrap();
            prop_assert!((back.duration_deg - duration).abs() < 1e-9 && (back.centreline_deg - centreline).abs() < 1e-9);
            let back = Lobe::from_exhaust_events(lobe.exhaust_events().unwrap()).unwrap();
            prop_assert!((back.duration_deg - duration).abs() < 1e-9 && (back.centreline_deg - centreline).abs() < 1e-9);
        }

        #[test]
        fn overlap_is_the_sum_of_its_events(
            di in 200.0..320.0_f64, de in 200.0..320.0_f64, ci in 95.0..120.0_f64, ce in 95.0..120.0_f64
        ) {
            let (inlet, exhaust) = (Lobe { duration_deg: di, centreline_deg: ci }, Lobe { duration_deg: de, centreline_deg: ce });
            let sum = inlet.inlet_events().unwrap().opens_before_deg + exhaust.exhaust_events().unwrap().closes_after_deg;
            prop_assert!((sum - overlap_deg(&inlet, &exhaust)).abs() < 1e-9);
            let short = (di + de) / 2.0 - 2.0 * lobe_separation_deg(&inlet, &exhaust);
            prop_assert!((short - sum).abs() < 1e-9);
        }
    }
}
