//! The difference over speed, and where one side stands ahead.

use crate::statistics::Interval;
use crate::statistics::StatisticsError;
use crate::statistics::band::Cover;
use crate::statistics::band::factor;
use crate::statistics::two_sample::Estimate;
use crate::verdict::LEVEL;

/// Degrees of freedom from which a band over all speeds at once is given.
const FEWEST_FOR_BAND: f64 = 8.0;

/// How the test side stands to the base in a range of speeds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// The whole band lies above zero.
    Ahead,
    /// The whole band lies below zero.
    Behind,
    /// Zero lies in the band.
    Undecided,
}

impl Standing {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Ahead => "ahead",
            Self::Behind => "behind",
            Self::Undecided => "undecided",
        }
    }
}

/// The difference at one speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPoint {
    /// Speed in rpm.
    pub speed_rpm: u32,
    /// The difference.
    pub estimate: Estimate,
    /// Its 95 % interval taken alone.
    pub alone: Interval,
    /// Its part of the band that holds at all speeds at once.
    pub together: Option<Interval>,
}

/// The difference over speed.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// The points, by speed.
    pub points: Vec<BandPoint>,
    /// The factor of the simultaneous band; none where there are too few degrees of freedom for one.
    pub factor: Option<f64>,
    /// Fewest degrees of freedom of any point.
    pub degrees_of_freedom: f64,
    /// Ranges of speed with their standing; empty without a simultaneous band.
    pub ranges: Vec<(u32, u32, Standing)>,
}

/// Makes the band over the differences at each speed.
///
/// With eight degrees of freedom or more the band holds for all speeds at once (studentized maximum modulus, which for
/// differences that go together, as neighbouring speeds do, is on the safe side: Z. Šidák 1967). With fewer, every
/// speed stands alone and nothing is called ahead or behind.
///
/// # Errors
/// No points, or degrees of freedom that are no number.
pub fn ahead_and_behind(differences: &[(u32, Estimate)]) -> Result<Band, StatisticsError> {
    if differences.is_empty() {
        return Err(StatisticsError::TooFew { what: "speeds", found: 0, expected: 1 });
    }
    let freedom =
        differences.iter().map(|(_, estimate)| estimate.degrees_of_freedom).fold(f64::INFINITY, f64::min);
    let multiple = if freedom >= FEWEST_FOR_BAND {
        Some(factor(Cover::MaximumModulus, differences.len(), freedom.min(1e6), LEVEL)?)
    } else {
        None
    };
    let mut points = Vec::with_capacity(differences.len());
    let mut ranges: Vec<(u32, u32, Standing)> = Vec::new();
    for &(speed_rpm, estimate) in differences {
        let together = multiple.map(|multiple| {
            let half = multiple * estimate.standard_error;
            Interval { lower: estimate.value - half, upper: estimate.value + half, level: LEVEL }
        });
        if let Some(band) = &together {
            let standing = if band.lower > 0.0 {
                Standing::Ahead
            } else if band.upper < 0.0 {
                Standing::Behind
            } else {
                Standing::Undecided
            };
            match ranges.last_mut() {
                Some((_, to, known)) if *known == standing => *to = speed_rpm,
                _ => ranges.push((speed_rpm, speed_rpm, standing)),
            }
        }
        points.push(BandPoint { speed_rpm, estimate, alone: estimate.interval(LEVEL)?, together });
    }
    Ok(Band { points, factor: multiple, degrees_of_freedom: freedom, ranges })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, degrees_of_freedom: f64) -> Estimate {
        Estimate { value, standard_error: 1.0, degrees_of_freedom }
    }

    #[test]
    fn ranges_come_from_the_band_and_not_from_the_single_speeds() {
        // Studentized maximum modulus of ten points and eight degrees of freedom: 3.660100 (project reference table).
        let values = [-5.0, -4.0, -3.0, 0.0, 1.0, 3.0, 3.5, 3.7, 4.0, 5.0];
        let points: Vec<_> =
            values.iter().enumerate().map(|(n, &v)| (3000 + 100 * n as u32, estimate(v, 8.0))).collect();
        let band = ahead_and_behind(&points).unwrap();
        assert!((band.factor.unwrap() - 3.660_100).abs() < 1e-5);
        assert_eq!(
            band.ranges,
            [
                (3000, 3100, Standing::Behind),
                (3200, 3600, Standing::Undecided),
                (3700, 3900, Standing::Ahead)
            ]
        );
    }

    #[test]
    fn with_few_degrees_of_freedom_each_speed_stands_alone() {
        let band = ahead_and_behind(&[(3000, estimate(50.0, 20.0)), (3100, estimate(50.0, 7.9))]).unwrap();
        assert_eq!(band.factor, None);
        assert!(band.ranges.is_empty());
        assert!(band.points[0].alone.lower > 40.0);
        assert!(ahead_and_behind(&[]).is_err());
    }
}
