//! Areas of a poppet valve and its seat.
//!
//! Source: J. Heywood, *Internal Combustion Engine Fundamentals* (1988), 6.3.2, eqs. 6.7 to 6.9 (from memory;
//! continuity between the stages is tested).

use std::f64::consts::PI;

use super::EngineError;
use super::cylinder::circle_area_m2;
use super::error::{not_negative, positive, within};

/// Curtain area π·D_v·L, in square metres.
///
/// ```
/// use mulebook::engine::valve::curtain_area_m2;
/// // A 2.0 in valve at .200 in: 1.2566 in² (ls1tech.com thread 1927612).
/// let area = curtain_area_m2(2.0 * 0.0254, 0.2 * 0.0254).expect("a valve");
/// assert!((area / 0.0254_f64.powi(2) - 1.2566).abs() < 5e-5);
/// ```
///
/// # Errors
/// A diameter that is not above zero, or a negative lift.
pub fn curtain_area_m2(valve_diameter_m: f64, lift_m: f64) -> Result<f64, EngineError> {
    Ok(PI * positive("valve diameter", valve_diameter_m, "m")? * not_negative("valve lift", lift_m, "m")?)
}

/// Throat area less the stem, π/4·(D_t² − D_s²), in square metres.
///
/// # Errors
/// A throat that is not above zero, or a stem as wide as the throat.
pub fn throat_area_m2(throat_diameter_m: f64, stem_diameter_m: f64) -> Result<f64, EngineError> {
    let throat = circle_area_m2(positive("throat diameter", throat_diameter_m, "m")?)?;
    let stem = within(
        "stem diameter",
        stem_diameter_m,
        "m",
        |stem| (0.0..throat_diameter_m).contains(&stem),
        "0 or more and below the throat",
    )?;
    Ok(throat - PI / 4.0 * stem * stem)
}

/// Lift at which curtain and valve area are equal, D_v/4, in metres.
///
/// # Errors
/// A diameter that is not above zero.
pub fn lift_of_equal_areas_m(valve_diameter_m: f64) -> Result<f64, EngineError> {
    Ok(positive("valve diameter", valve_diameter_m, "m")? / 4.0)
}

/// A conical seat and the port behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// Outer diameter of the seat, taken as the valve's head, m.
    pub valve_diameter_m: f64,
    /// Width of the seat in the plane of the head: outer less inner radius, m.
    pub seat_width_m: f64,
    /// Angle of the seat from the plane of the head, degrees (45, 30).
    pub angle_deg: f64,
    /// Diameter of the port below the seat, m.
    pub port_diameter_m: f64,
    /// Diameter of the stem, m.
    pub stem_diameter_m: f64,
}

/// What bounds the smallest flow area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Stage {
    /// Low lift: a cone square to the seat.
    SeatCone,
    /// Middle lift: a cone between the seat's inner and the valve's outer edge.
    EdgeCone,
    /// High lift: the port less the stem.
    Port,
}

impl Seat {
    /// Smallest geometric flow area at a lift, in square metres, and what bounds it.
    ///
    /// With seat angle β, width w, D_m = D_v − w: up to L = w/(sin β cos β) it is π·L·cos β·(D_v − 2w +
    /// L/2·sin 2β); above, π·D_m·√((L − w·tan β)² + w²), until that reaches the port area π/4·(D_p² − D_s²).
    ///
    /// # Errors
    /// Sizes that are not above zero, a seat wider than the valve allows, an angle outside 0 to 90 degrees,
    /// or a negative lift.
    pub fn smallest_area_m2(&self, lift_m: f64) -> Result<(f64, Stage), EngineError> {
        let valve = positive("valve diameter", self.valve_diameter_m, "m")?;
        let width = within(
            "seat width",
            self.seat_width_m,
            "m",
            |w| w > 0.0 && w < valve / 2.0,
            "above 0 and below half the valve",
        )?;
        let angle = within("seat angle", self.angle_deg, "deg", |a| a > 0.0 && a < 90.0, "between 0 and 90")?
            * PI
            / 180.0;
        let lift = not_negative("valve lift", lift_m, "m")?;
        let port = throat_area_m2(self.port_diameter_m, self.stem_diameter_m)?;
        let (sine, cosine) = libm::sincos(angle);
        let (area, stage) = if lift <= width / (sine * cosine) {
            (PI * lift * cosine * (valve - 2.0 * width + lift * sine * cosine), Stage::SeatCone)
        } else {
            (PI * (valve - width) * libm::hypot(lift - width * sine / cosine, width), Stage::EdgeCone)
        };
        Ok(if area >= port { (port, Stage::Port) } else { (area, stage) })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const INCH: f64 = 0.0254;

    #[test]
    fn areas_of_a_large_inlet_valve() {
        // Reference table of docs/engine.md: D_v 2.08 in, throat 0.9 D_v, stem .3125 in, lift .600 in.
        let square = INCH * INCH;
        assert!((curtain_area_m2(2.08 * INCH, 0.6 * INCH).unwrap() / square - 3.920_708).abs() < 1e-6);
        assert!((circle_area_m2(2.08 * INCH).unwrap() / square - 3.397_947).abs() < 1e-6);
        assert!(
            (throat_area_m2(0.9 * 2.08 * INCH, 0.3125 * INCH).unwrap() / square - 2.675_638).abs() < 1e-6
        );
        assert!(throat_area_m2(0.03, 0.03).is_err());
    }

    fn seat(angle_deg: f64, seat_width_m: f64) -> Seat {
        Seat {
            valve_diameter_m: 0.050,
            seat_width_m,
            angle_deg,
            port_diameter_m: 0.045,
            stem_diameter_m: 0.008,
        }
    }

    #[test]
    fn stages_follow_the_lift() {
        let seat = seat(45.0, 0.0015);
        assert_eq!(seat.smallest_area_m2(0.001).unwrap().1, Stage::SeatCone);
        assert_eq!(seat.smallest_area_m2(0.006).unwrap().1, Stage::EdgeCone);
        assert_eq!(seat.smallest_area_m2(0.016).unwrap().1, Stage::Port);
        assert!(Seat { angle_deg: 90.0, ..seat }.smallest_area_m2(0.001).is_err());
        assert!(Seat { seat_width_m: 0.03, ..seat }.smallest_area_m2(0.001).is_err());
    }

    proptest! {
        #[test]
        fn area_grows_with_lift_without_a_step(lift in 0.0..0.015_f64, angle in 20.0..60.0_f64, width in 5e-4..3e-3_f64) {
            let seat = seat(angle, width);
            let (here, more) = (seat.smallest_area_m2(lift).unwrap().0, seat.smallest_area_m2(lift + 1e-6).unwrap().0);
            prop_assert!(more >= here);
            prop_assert!(more - here < 1e-6 * PI * 0.05 * 1.01);
            prop_assert!(here <= curtain_area_m2(0.05, lift).unwrap() + 1e-12);
        }
    }
}
