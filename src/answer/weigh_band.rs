//! The difference of a weighing over speed.

use serde::Serialize;

use crate::answer::CrossingLine;
use crate::answer::WeighUnit;
use crate::answer::WithInterval;
use crate::verdict;
use crate::verdict::Band;
use crate::verdict::Estimate;
use crate::verdict::Interval;

/// One point of the band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandRow {
    /// Speed.
    pub rpm: u32,
    /// The difference with its interval alone.
    #[serde(flatten)]
    pub alone: WithInterval,
    /// The ends of the band that holds at all speeds at once.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub together: Option<(f64, f64)>,
    /// The base's level there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub base: Option<f64>,
    /// The test side's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test: Option<f64>,
}

/// A range of speeds with its standing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RangeLine {
    /// From, rpm.
    pub from: u32,
    /// To, rpm.
    pub to: u32,
    /// `ahead`, `behind`, `undecided`.
    pub standing: &'static str,
    /// The gain over the range: the mean difference of its grid points.
    pub gain: WithInterval,
}

/// The difference over speed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandLine {
    /// Whether it holds at all speeds at once.
    pub simultaneous: bool,
    /// Fewest degrees of freedom at any speed.
    pub degrees_of_freedom: f64,
    /// The points.
    pub rows: Vec<BandRow>,
    /// Ranges; empty where every speed stands alone.
    pub ranges: Vec<RangeLine>,
    /// Where the curves cross.
    pub crossings: Vec<CrossingLine>,
}

impl BandLine {
    /// The band in a unit, with the levels of base and test at each of its speeds and the gain over each of its ranges,
    /// all in SI.
    pub fn of(
        band: &Band,
        levels: &[(Option<f64>, Option<f64>)],
        gains: &[(Estimate, Interval)],
        unit: WeighUnit,
    ) -> Self {
        let scaled = |value: f64| value * unit.from_si;
        Self {
            simultaneous: band.factor.is_some(),
            degrees_of_freedom: band.degrees_of_freedom,
            rows: band
                .points
                .iter()
                .zip(levels)
                .map(|(point, (base, test))| BandRow {
                    rpm: point.speed_rpm,
                    alone: WithInterval {
                        value: scaled(point.estimate.value),
                        lower: scaled(point.alone.lower),
                        upper: scaled(point.alone.upper),
                    },
                    together: point.together.map(|band| (scaled(band.lower), scaled(band.upper))),
                    base: base.map(scaled),
                    test: test.map(scaled),
                })
                .collect(),
            ranges: band
                .ranges
                .iter()
                .zip(gains)
                .map(|(&(from, to, standing), gain)| RangeLine {
                    from,
                    to,
                    standing: standing.word(),
                    gain: WithInterval::of(gain, unit.from_si),
                })
                .collect(),
            crossings: verdict::crossings(band)
                .iter()
                .map(|crossing| CrossingLine::of(crossing, band.factor.is_some()))
                .collect(),
        }
    }
}
