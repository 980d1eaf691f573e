//! Valve events from duration at a stated lift and installed centreline, and the other way round.
//!
//! Angles are crankshaft degrees; a duration belongs to a stated lift, and figures at different lifts are
//! never mixed. The relations hold for lobes whose opening and closing sides take equally long from the
//! centreline. Source: magazine practice (cam degreeing), no standard.

use super::EngineError;
use super::error::{not_negative, within};

/// Lifts that differ by less are one stated lift (a ten-thousandth of an inch).
const SAME_LIFT_M: f64 = 2.54e-6;

/// The two events of one valve, each positive on its usual side of the dead centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Events {
    /// Lift, m, at which the valve counts as open.
    pub at_lift_m: f64,
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
    /// Lift, m, at which the duration is stated.
    pub at_lift_m: f64,
    /// Duration at that lift, crankshaft degrees.
    pub duration_deg: f64,
    /// Inlet: centreline after top dead centre. Exhaust: centreline before top dead centre. Degrees.
    pub centreline_deg: f64,
}

impl Lobe {
    fn checked(&self) -> Result<(f64, f64), EngineError> {
        let duration =
            within("duration", self.duration_deg, "deg", |d| d > 0.0 && d < 720.0, "above 0 and below 720")?;
        let centreline =
            within("centreline", self.centreline_deg, "deg", |c| c > 0.0 && c < 180.0, "between 0 and 180")?;
        not_negative("lift of the duration", self.at_lift_m, "m")?;
        Ok((duration, centreline))
    }

    /// Inlet events: opening = D/2 − centreline before top, closing = D/2 + centreline − 180 after bottom
    /// dead centre.
    ///
    /// # Errors
    /// A duration outside 0 to 720 or a centreline outside 0 to 180 degrees, or a negative lift.
    pub fn inlet_events(&self) -> Result<Events, EngineError> {
        let (duration, centreline) = self.checked()?;
        Ok(Events {
            at_lift_m: self.at_lift_m,
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
            at_lift_m: self.at_lift_m,
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
            at_lift_m: events.at_lift_m,
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
            at_lift_m: events.at_lift_m,
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
///
/// # Errors
/// Durations stated at different lifts, or as [`Lobe::inlet_events`].
pub fn overlap_deg(inlet: &Lobe, exhaust: &Lobe) -> Result<f64, EngineError> {
    if (inlet.at_lift_m - exhaust.at_lift_m).abs() > SAME_LIFT_M {
        return Err(EngineError::Contradiction {
            what: "durations of one overlap",
            detail: format!("stated at lifts of {} and {} m", inlet.at_lift_m, exhaust.at_lift_m),
        });
    }
    Ok(inlet.inlet_events()?.opens_before_deg + exhaust.exhaust_events()?.closes_after_deg)
}

/// How far the camshaft is installed ahead of its separation, crankshaft degrees: separation − inlet
/// centreline; negative is retarded.
#[must_use]
pub fn advance_deg(inlet: &Lobe, exhaust: &Lobe) -> f64 {
    lobe_separation_deg(inlet, exhaust) - inlet.centreline_deg
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn events_of_a_common_grind() {
        // Reference table of docs/engine.md: at .050 in 236/242 on 110, installed at 106: 12 BTDC, 44 ABDC,
        // 55 BBDC, 7 ATDC, overlap 19.
        let (inlet, exhaust) = (
            Lobe { at_lift_m: 0.00127, duration_deg: 236.0, centreline_deg: 106.0 },
            Lobe { at_lift_m: 0.00127, duration_deg: 242.0, centreline_deg: 114.0 },
        );
        let (i, e) = (inlet.inlet_events().unwrap(), exhaust.exhaust_events().unwrap());
        for (found, expected) in [
            (i.opens_before_deg, 12.0),
            (i.closes_after_deg, 44.0),
            (e.opens_before_deg, 55.0),
            (e.closes_after_deg, 7.0),
            (overlap_deg(&inlet, &exhaust).unwrap(), 19.0),
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
            at_lift_m: 0.00127,
            opens_before_deg: 10.0,
            closes_after_deg: 40.0,
        })
        .unwrap();
        let exhaust = Lobe::from_exhaust_events(Events {
            at_lift_m: 0.00127,
            opens_before_deg: 50.0,
            closes_after_deg: 10.0,
        })
        .unwrap();
        assert!((inlet.duration_deg - 230.0).abs() < 1e-12 && (inlet.centreline_deg - 105.0).abs() < 1e-12);
        assert!(
            (exhaust.duration_deg - 240.0).abs() < 1e-12 && (exhaust.centreline_deg - 110.0).abs() < 1e-12
        );
        assert!((lobe_separation_deg(&inlet, &exhaust) - 107.5).abs() < 1e-12);
        assert!((overlap_deg(&inlet, &exhaust).unwrap() - 20.0).abs() < 1e-12);
        assert!(
            Lobe { at_lift_m: 0.00127, duration_deg: 236.0, centreline_deg: 0.0 }.inlet_events().is_err()
        );
        assert!(
            Lobe::from_inlet_events(Events {
                at_lift_m: 0.00127,
                opens_before_deg: -100.0,
                closes_after_deg: -90.0
            })
            .is_err()
        );
    }

    proptest! {
        #[test]
        fn events_and_lobes_invert(duration in 180.0..340.0_f64, centreline in 90.0..125.0_f64) {
            let lobe = Lobe { at_lift_m: 0.00127, duration_deg: duration, centreline_deg: centreline };
            let back = Lobe::from_inlet_events(lobe.inlet_events().unwrap()).unwrap();
            prop_assert!((back.duration_deg - duration).abs() < 1e-9 && (back.centreline_deg - centreline).abs() < 1e-9);
            let back = Lobe::from_exhaust_events(lobe.exhaust_events().unwrap()).unwrap();
            prop_assert!((back.duration_deg - duration).abs() < 1e-9 && (back.centreline_deg - centreline).abs() < 1e-9);
        }

        #[test]
        fn overlap_is_the_sum_of_its_events(
            di in 200.0..320.0_f64, de in 200.0..320.0_f64, ci in 95.0..120.0_f64, ce in 95.0..120.0_f64
        ) {
            let (inlet, exhaust) = (Lobe { at_lift_m: 0.00127, duration_deg: di, centreline_deg: ci }, Lobe { at_lift_m: 0.00127, duration_deg: de, centreline_deg: ce });
            let sum = inlet.inlet_events().unwrap().opens_before_deg + exhaust.exhaust_events().unwrap().closes_after_deg;
            prop_assert!((sum - overlap_deg(&inlet, &exhaust).unwrap()).abs() < 1e-9);
            let short = (di + de) / 2.0 - 2.0 * lobe_separation_deg(&inlet, &exhaust);
            prop_assert!((short - sum).abs() < 1e-9);
        }
    }
}
