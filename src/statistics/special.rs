//! Incomplete beta and gamma functions, and the search for a root, that the distributions rest on.
//!
//! Prefactors use the saddle-point form of C. Loader, "Fast and accurate computation of binomial
//! probabilities" (2000), which does not lose digits by cancellation when the degrees of freedom are large.

use super::StatisticsError;

/// ln √(2π).
const LN_ROOT_TWO_PI: f64 = 0.918_938_533_204_672_8;
/// Steps allowed to a continued fraction; it needs about √max(a, b).
const FRACTION_STEPS: usize = 200_000;
/// Steps allowed to a root search.
const ROOT_STEPS: usize = 400;

/// ln n! less Stirling's formula for it.
fn stirling_error(n: f64) -> f64 {
    if n < 15.0 {
        return libm::lgamma(n + 1.0) - (n + 0.5) * libm::log(n) + n - LN_ROOT_TWO_PI;
    }
    let square = n * n;
    let series =
        1.0 / 1260.0 - (1.0 / 1680.0 - (1.0 / 1188.0 - 691.0 / 360_360.0 / square) / square) / square;
    (1.0 / 12.0 - (1.0 / 360.0 - series / square) / square) / n
}

/// x ln(x/m) + m − x, without cancellation where x is near m.
fn deviance(x: f64, mean: f64) -> f64 {
    let gap = x - mean;
    if gap.abs() < 0.1 * (x + mean) {
        let ratio = gap / (x + mean);
        let mut sum = gap * ratio;
        let mut term = 2.0 * x * ratio;
        for step in 1..1000 {
            term *= ratio * ratio;
            let next = sum + term / f64::from(2 * step + 1);
            if (next - sum).abs() <= f64::EPSILON * 0.25 * sum.abs() {
                return next;
            }
            sum = next;
        }
        return sum;
    }
    x * libm::log(x / mean) + mean - x
}

/// x^a (1−x)^b / B(a, b), given x and its complement.
fn beta_prefactor(a: f64, b: f64, x: f64, complement: f64) -> f64 {
    let n = a + b;
    let exponent = stirling_error(n)
        - stirling_error(a)
        - stirling_error(b)
        - deviance(a, n * x)
        - deviance(b, n * complement);
    let density = libm::exp(exponent) * (n / (2.0 * std::f64::consts::PI * a * b)).sqrt();
    density * a * b / n
}

/// The regularised incomplete beta function I_x(a, b); `complement` is 1−x given separately so that no digits
/// are lost.
pub(super) fn beta_regularised(a: f64, b: f64, x: f64, complement: f64) -> Result<f64, StatisticsError> {
    if x <= 0.0 {
        return Ok(0.0);
    }
    if complement <= 0.0 {
        return Ok(1.0);
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return Ok(1.0 - beta_regularised_lower(b, a, complement, x)?);
    }
    beta_regularised_lower(a, b, x, complement)
}

/// Continued fraction of I_x(a, b) (DLMF 8.17.22) by the method of Lentz.
fn beta_regularised_lower(a: f64, b: f64, x: f64, complement: f64) -> Result<f64, StatisticsError> {
    let tiny = 1e-300;
    let guard = |value: f64| if value.abs() < tiny { tiny } else { value };
    let mut c = 1.0;
    // 1 − (a+b)x/(a+1), written with the complement so that it does not cancel.
    let mut d = 1.0 / guard((1.0 - b + (a + b) * complement) / (a + 1.0));
    let mut fraction = d;
    let mut m = 0.0;
    for _ in 0..FRACTION_STEPS {
        m += 1.0;
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        fraction *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        let change = d * c;
        fraction *= change;
        if (change - 1.0).abs() < 4.0 * f64::EPSILON {
            return Ok((beta_prefactor(a, b, x, complement) * fraction / a).clamp(0.0, 1.0));
        }
    }
    Err(StatisticsError::NotConverged { what: "incomplete beta function", steps: FRACTION_STEPS })
}

/// The regularised lower incomplete gamma function P(a, x) (DLMF 8.11.4 below a + 1, 8.9.2 above).
pub(super) fn gamma_regularised(a: f64, x: f64) -> Result<f64, StatisticsError> {
    if x <= 0.0 {
        return Ok(0.0);
    }
    // x^a e^-x / Γ(a+1) in the saddle-point form.
    let density = libm::exp(-stirling_error(a) - deviance(a, x)) / (2.0 * std::f64::consts::PI * a).sqrt();
    if x < a + 1.0 {
        let mut term = 1.0;
        let mut sum = 1.0;
        let mut n = a;
        for _ in 0..FRACTION_STEPS {
            n += 1.0;
            term *= x / n;
            sum += term;
            if term < sum * f64::EPSILON {
                return Ok((density * sum).clamp(0.0, 1.0));
            }
        }
    } else {
        let tiny = 1e-300;
        let mut b = x + 1.0 - a;
        let mut c = 1.0 / tiny;
        let mut d = 1.0 / b;
        let mut fraction = d;
        let mut i = 0.0;
        for _ in 0..FRACTION_STEPS {
            i += 1.0;
            let numerator = -i * (i - a);
            b += 2.0;
            d = numerator * d + b;
            d = 1.0 / if d.abs() < tiny { tiny } else { d };
            c = b + numerator / c;
            c = if c.abs() < tiny { tiny } else { c };
            let change = d * c;
            fraction *= change;
            if (change - 1.0).abs() < 4.0 * f64::EPSILON {
                return Ok((1.0 - density * a * fraction).clamp(0.0, 1.0));
            }
        }
    }
    Err(StatisticsError::NotConverged { what: "incomplete gamma function", steps: FRACTION_STEPS })
}

/// Density of the ratio s of an estimated spread to the true one, with `df` degrees of freedom: s = √(χ²/df).
fn spread_ratio_density(s: f64, df: f64) -> f64 {
    if s <= 0.0 {
        // At one degree of freedom the density is that of |z|; above one it starts at zero.
        return if df <= 1.0 { (2.0 / std::f64::consts::PI).sqrt() } else { 0.0 };
    }
    let half = df / 2.0;
    let x = half * s * s;
    let poisson =
        libm::exp(-stirling_error(half) - deviance(half, x)) / (2.0 * std::f64::consts::PI * half).sqrt();
    2.0 * half * poisson / s
}

/// The mean of `function(s)` over the ratio s of an estimated spread to the true one, by Simpson's rule;
/// exact at s = 1 when `df` is infinite.
pub(super) fn mean_over_spread(df: f64, function: impl Fn(f64) -> f64) -> f64 {
    const STEPS: u32 = 2000;
    if df.is_infinite() {
        return function(1.0);
    }
    // Beyond 9.5/√df the density is below 1e-19 of its peak.
    let reach = 9.5 / df.sqrt();
    let lower = (1.0 - reach).max(0.0);
    let step = (1.0 + reach - lower) / f64::from(STEPS);
    let mut sum = 0.0;
    for index in 0..=STEPS {
        let s = lower + step * f64::from(index);
        let weight = match index {
            0 | STEPS => 1.0,
            odd if odd % 2 == 1 => 4.0,
            _ => 2.0,
        };
        sum += weight * spread_ratio_density(s, df) * function(s);
    }
    sum * step / 3.0
}

/// The root of an increasing function between `lower` and `upper`, widening the bracket upward while needed.
pub(super) fn increasing_root(
    what: &'static str,
    mut lower: f64,
    mut upper: f64,
    function: impl Fn(f64) -> Result<f64, StatisticsError>,
) -> Result<f64, StatisticsError> {
    let failed = StatisticsError::NotConverged { what, steps: ROOT_STEPS };
    let mut high = function(upper)?;
    let mut low = function(lower)?;
    for _ in 0..ROOT_STEPS {
        if high >= 0.0 {
            break;
        }
        (lower, low) = (upper, high);
        upper *= 2.0;
        high = function(upper)?;
    }
    if high < 0.0 || low > 0.0 || !upper.is_finite() {
        return Err(failed);
    }
    // Regula falsi with the Illinois weight, and a halving whenever it stalls.
    let mut width = upper - lower;
    for step in 0..ROOT_STEPS {
        let middle = lower + (upper - lower) / 2.0;
        let mut guess = upper - high * (upper - lower) / (high - low);
        if step % 3 == 2 || !(guess > lower && guess < upper) {
            guess = middle;
        }
        let value = function(guess)?;
        if value < 0.0 {
            (lower, low) = (guess, value);
            high /= 2.0;
        } else if value > 0.0 {
            (upper, high) = (guess, value);
            low /= 2.0;
        } else {
            return Ok(guess);
        }
        let now = upper - lower;
        if now <= 2.0 * f64::EPSILON * (lower.abs() + upper.abs()) || (now >= width && middle <= lower) {
            return Ok(lower + now / 2.0);
        }
        width = now;
    }
    Err(failed)
}
