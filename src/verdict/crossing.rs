//! Where one curve crosses another.

use crate::statistics::Interval;
use crate::verdict::Band;
use crate::verdict::BandPoint;

/// A speed at which the difference of two curves passes zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// Where, rpm.
    pub speed_rpm: f64,
    /// Lower end of its interval; none where zero stays possible down to the first speed.
    pub lower_rpm: Option<f64>,
    /// Upper end; none where zero stays possible up to the last speed.
    pub upper_rpm: Option<f64>,
    /// The test side comes to lie above the base there.
    pub upward: bool,
}

impl Crossing {
    /// Whether both sides of it are told: that the curves cross at all is else not shown.
    pub fn is_told(&self) -> bool {
        self.lower_rpm.is_some() && self.upper_rpm.is_some()
    }
}

/// The crossings of a band's curves.
///
/// The interval of a crossing holds every speed at which the difference may be zero: those whose 95 % interval holds
/// zero (E. C. Fieller 1954 inverts a test alike). Where the difference is told apart from zero with opposite signs on
/// both sides, the curves do cross there. Wiggles of the difference inside such a stretch are one crossing.
pub fn crossings(band: &Band) -> Vec<Crossing> {
    let points = &band.points;
    let mut found = Vec::new();
    let mut left: Option<usize> = None;
    let mut from = 0;
    for (at, point) in points.iter().enumerate() {
        if sign(interval(point)) == 0 {
            continue;
        }
        if from < at || left.is_some() {
            found.extend(between(points, left, Some(at)));
        }
        left = Some(at);
        from = at + 1;
    }
    if from < points.len() {
        found.extend(between(points, left, None));
    }
    found
}

fn interval(point: &BandPoint) -> &Interval {
    point.together.as_ref().unwrap_or(&point.alone)
}

fn sign(interval: &Interval) -> i8 {
    if interval.lower > 0.0 {
        1
    } else if interval.upper < 0.0 {
        -1
    } else {
        0
    }
}

/// The crossing in a stretch that is told from zero at neither of its speeds but the outermost.
fn between(points: &[BandPoint], left: Option<usize>, right: Option<usize>) -> Option<Crossing> {
    let told = |at: Option<usize>| at.and_then(|at| points.get(at)).map(|point| sign(interval(point)));
    let (before, after) = (told(left), told(right));
    if before == after {
        return None;
    }
    let last = points.len().checked_sub(1)?;
    let stretch = points.get(left.unwrap_or(0)..=right.unwrap_or(last))?;
    let speed_rpm = root(stretch)?;
    let upward = after.or_else(|| before.map(|sign| -sign))? > 0;
    // On the way in, the end that held the difference off zero passes it; on the way out, the other.
    let edge = |pair: [&BandPoint; 2], lower: bool| {
        let height = |point: &BandPoint| if lower { interval(point).lower } else { interval(point).upper };
        zero(pair.map(|point| (f64::from(point.speed_rpm), height(point))))
    };
    let lower_rpm = match (left, stretch) {
        (Some(_), [first, second, ..]) => Some(edge([first, second], !upward)?),
        _ => None,
    };
    let upper_rpm = match (right, stretch) {
        (Some(_), [.., second, first]) => Some(edge([second, first], upward)?),
        _ => None,
    };
    Some(Crossing { speed_rpm, lower_rpm, upper_rpm, upward })
}

/// Where the difference passes zero in a stretch: between two points, or on the straight line through all where it does
/// so more than once. None where it never does.
fn root(stretch: &[BandPoint]) -> Option<f64> {
    let height = |point: &BandPoint| (f64::from(point.speed_rpm), point.estimate.value);
    let changes: Vec<[(f64, f64); 2]> = stretch
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] if (height(a).1 < 0.0) != (height(b).1 < 0.0) => Some([height(a), height(b)]),
            _ => None,
        })
        .collect();
    match changes[..] {
        [] => None,
        [only] => zero(only),
        // An even number leaves the difference on the side that it came from.
        _ if changes.len().is_multiple_of(2) => None,
        _ => {
            let count = f64::from(u32::try_from(stretch.len()).ok()?);
            let mean = |of: fn((f64, f64)) -> f64| stretch.iter().map(|p| of(height(p))).sum::<f64>() / count;
            let (x, y) = (mean(|point| point.0), mean(|point| point.1));
            let sums = stretch.iter().map(height).fold((0.0, 0.0), |sums, point| {
                let apart = point.0 - x;
                (sums.0 + apart * (point.1 - y), sums.1 + apart * apart)
            });
            let (first, last) = (changes.first()?[0].0, changes.last()?[1].0);
            let found = x - y * sums.1 / sums.0;
            found.is_finite().then(|| found.clamp(first, last))
        }
    }
}

/// Where a straight line between two points passes zero.
fn zero([a, b]: [(f64, f64); 2]) -> Option<f64> {
    let share = a.1 / (a.1 - b.1);
    ((0.0..=1.0).contains(&share)).then_some(a.0 + share * (b.0 - a.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::two_sample::Estimate;
    use crate::verdict::ahead_and_behind;
    use proptest::prelude::*;

    fn band(difference: impl Fn(f64) -> f64, error: f64, freedom: f64) -> Band {
        let points: Vec<(u32, Estimate)> = (30..=80)
            .map(|n| {
                let estimate = Estimate {
                    value: difference(f64::from(n) / 10.0),
                    standard_error: error,
                    degrees_of_freedom: freedom,
                };
                (n * 100, estimate)
            })
            .collect();
        ahead_and_behind(&points).expect("a band")
    }

    proptest! {
        // A band's factor is a double integral.
        #![proptest_config(ProptestConfig::with_cases(48))]

        #[test]
        fn a_crossing_is_found_where_the_curves_cross(
            at in 3.8f64..7.2, slope in prop::sample::select(vec![-4.0, -2.0, 2.0, 4.0]), bend in -0.4f64..0.4,
            error in 0.05f64..0.5, freedom in prop::sample::select(vec![3.0, 12.0])
        ) {
            // Two analytic curves that are apart by a parabola with one root in the window.
            let apart = |x: f64| slope * (x - at) + bend * (x - at) * (x - at);
            let found = crossings(&band(apart, error, freedom));
            let told: Vec<&Crossing> = found.iter().filter(|crossing| crossing.is_told()).collect();
            for crossing in &told {
                let (lower, upper) = (crossing.lower_rpm.unwrap(), crossing.upper_rpm.unwrap());
                prop_assert!(lower <= crossing.speed_rpm && crossing.speed_rpm <= upper);
                prop_assert!((crossing.speed_rpm - 1000.0 * at).abs() < 5.0);
                prop_assert_eq!(crossing.upward, slope > 0.0);
                // A line that is off by the error times the factor passes zero so much to either side.
                prop_assert!(upper - lower > 2.0 * 1000.0 * error * 2.0 / (slope.abs() + 1.5));
            }
            prop_assert!(told.len() <= 1);
        }

        #[test]
        fn curves_that_never_come_near_do_not_cross(offset in 4.0f64..9.0, way in prop::sample::select(vec![-1.0, 1.0])) {
            prop_assert!(crossings(&band(|x| way * (offset + libm::sin(3.0 * x)), 0.5, 12.0)).is_empty());
        }
    }

    #[test]
    fn the_interval_is_where_zero_is_possible() {
        // A line of slope 1 per 1000 rpm with a standard error of 0.1 and 3 degrees of freedom: t is 3.182446, so that
        // the crossing at 5000 rpm is known to 318.2446 rpm either way.
        let found = crossings(&band(|x| x - 5.0, 0.1, 3.0));
        assert_eq!(found.len(), 1);
        assert!((found[0].speed_rpm - 5000.0).abs() < 1e-6);
        assert!((found[0].lower_rpm.unwrap() - 4681.7554).abs() < 1e-3, "{found:?}");
        assert!((found[0].upper_rpm.unwrap() - 5318.2446).abs() < 1e-3);
    }

    #[test]
    fn a_crossing_near_the_end_is_not_told_and_wiggles_are_one() {
        let found = crossings(&band(|x| x - 3.2, 0.1, 3.0));
        assert_eq!((found.len(), found[0].lower_rpm, found[0].is_told()), (1, None, false));
        let wiggle = crossings(&band(|x| x - 5.0 + 0.3 * libm::sin(40.0 * x), 0.2, 3.0));
        assert_eq!(wiggle.len(), 1);
        assert!((wiggle[0].speed_rpm - 5000.0).abs() < 300.0 && wiggle[0].is_told());
        assert!(crossings(&band(|_| 0.0, 1.0, 3.0)).is_empty());
    }
}
