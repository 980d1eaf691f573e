//! Probabilities and quantiles of the normal, Student, Fisher and chi-squared distributions.
//!
//! Sources: NIST Digital Library of Mathematical Functions, chapters 7 and 8 (the incomplete functions);
//! NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.6 (the distributions in terms of them).

use super::StatisticsError;
use super::error::{finite, fraction, freedom};
use super::special::{beta_regularised, gamma_regularised, increasing_root};

/// Degrees of freedom above which Student's t is turned into a normal value by its expansion, whose error is
/// below 1e-10 there; the continued fraction loses digits in proportion to the degrees of freedom.
const STUDENT_LIMIT: f64 = 1e5;

/// Steps after which Newton's way to a quantile is given up.
const NEWTON_STEPS: usize = 12;

/// The probability that a standard normal value lies at or below `z`: Φ(z) = erfc(−z/√2)/2.
#[must_use]
pub fn normal_probability(z: f64) -> f64 {
    libm::erfc(-z / std::f64::consts::SQRT_2) / 2.0
}

/// The density of the standard normal distribution at `z`.
#[must_use]
pub fn normal_density(z: f64) -> f64 {
    libm::exp(-z * z / 2.0) / (2.0 * std::f64::consts::PI).sqrt()
}

/// The value that a standard normal variable exceeds with probability 1 − `probability`.
///
/// # Errors
/// `probability` outside (0, 1).
pub fn normal_quantile(probability: f64) -> Result<f64, StatisticsError> {
    let p = fraction("probability", probability)?;
    if p > 0.5 {
        // 1 − p is exact here, so the tail loses nothing.
        return Ok(-lower_normal_quantile(1.0 - p));
    }
    Ok(lower_normal_quantile(p))
}

/// Start: Abramowitz & Stegun 26.2.23 (error below 4.5e-4); then Halley steps on Φ.
fn lower_normal_quantile(p: f64) -> f64 {
    let t = (-2.0 * libm::log(p)).sqrt();
    let top = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let bottom = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    let mut z = top / bottom - t;
    for _ in 0..4 {
        let step = (normal_probability(z) - p) / normal_density(z);
        z -= step / (1.0 + z * step / 2.0);
    }
    z
}

/// The probability that Student's t with `df` degrees of freedom lies at or below `t`; `df` may be infinite.
///
/// # Errors
/// `t` not finite, or `df` not above 0.
pub fn student_probability(t: f64, df: f64) -> Result<f64, StatisticsError> {
    let t = finite("t", t)?;
    let df = freedom(df)?;
    if df > STUDENT_LIMIT {
        return Ok(normal_probability(normal_equivalent(t, df)));
    }
    let square = t * t;
    let tail = beta_regularised(df / 2.0, 0.5, df / (df + square), square / (df + square))? / 2.0;
    Ok(if t > 0.0 { 1.0 - tail } else { tail })
}

/// The normal value with the same probability as Student's `t`, for large `df` (R. Fisher & E. Cornish 1960;
/// Johnson, Kotz & Balakrishnan, *Continuous Univariate Distributions* 2, 28.4, from memory).
fn normal_equivalent(t: f64, df: f64) -> f64 {
    if t.abs() > 38.0 {
        return t;
    }
    let square = t * t;
    let first = t * (square + 1.0) / 4.0;
    let second = t * (3.0 + square * (8.0 + square * 13.0)) / 96.0;
    let third = t * (-15.0 + square * (1.0 + square * (19.0 + square * 35.0))) / 384.0;
    t - (first - (second - third / df) / df) / df
}

/// The two-sided probability of a Student's t at least as far from zero as `t`.
///
/// # Errors
/// As [`student_probability`].
pub fn student_two_sided(t: f64, df: f64) -> Result<f64, StatisticsError> {
    Ok((2.0 * student_probability(-t.abs(), df)?).min(1.0))
}

/// The quantile of Student's t with `df` degrees of freedom; `df` may be infinite.
///
/// ```
/// use mulebook::statistics::distribution::student_quantile;
/// // NIST/SEMATECH e-Handbook 1.3.6.7.2, table of t: 2.306 for 97.5 % and 8 degrees of freedom.
/// let t = student_quantile(0.975, 8.0).expect("inside the range");
/// assert!((t - 2.306).abs() < 5e-4);
/// ```
///
/// # Errors
/// `probability` outside (0, 1), or `df` not above 0.
pub fn student_quantile(probability: f64, df: f64) -> Result<f64, StatisticsError> {
    let p = fraction("probability", probability)?;
    let df = freedom(df)?;
    let tail = p.min(1.0 - p);
    if tail >= 0.5 {
        return Ok(0.0);
    }
    let start = -normal_quantile(tail)?;
    if let Some(t) = student_by_newton(tail, df, start) {
        return Ok(if p < 0.5 { -t } else { t });
    }
    // The upper tail falls as t grows; work with the small tail to keep its digits.
    let t = increasing_root("Student quantile", 0.0, start.max(1.0), |t| {
        let reached = student_probability(-t, df)?;
        // In the logarithm far tails stay well scaled.
        Ok(libm::log(tail) - libm::log(reached.max(f64::MIN_POSITIVE)))
    })?;
    Ok(if p < 0.5 { -t } else { t })
}

/// The quantile of an upper tail by Newton's steps in the logarithms of tail and t, between which the tail is nearly a
/// straight line both near the middle and far out; none where they do not settle.
fn student_by_newton(tail: f64, df: f64, start: f64) -> Option<f64> {
    // The density is that of the e-Handbook, 1.3.6.6.4.
    let scale =
        libm::lgamma((df + 1.0) / 2.0) - libm::lgamma(df / 2.0) - libm::log(df * std::f64::consts::PI) / 2.0;
    let mut t = start + start * (start * start + 1.0) / (4.0 * df.max(1.0));
    for _ in 0..NEWTON_STEPS {
        let reached = student_probability(-t, df).ok()?;
        let density = libm::exp(scale - (df + 1.0) / 2.0 * libm::log1p(t * t / df));
        let step = libm::log(reached / tail) * reached / (t * density);
        t *= libm::exp(step);
        if !(t.is_finite() && t > 0.0) {
            return None;
        }
        // The error is squared by each step, so the one just taken was the last that counts.
        if step.abs() < 1e-9 {
            return Some(t);
        }
    }
    None
}

/// The probability that Fisher's F with `df1` and `df2` degrees of freedom exceeds `f`.
///
/// # Errors
/// `f` negative or not finite, or degrees of freedom not finite and above 0.
pub fn fisher_upper(f: f64, df1: f64, df2: f64) -> Result<f64, StatisticsError> {
    if !(f.is_finite() && f >= 0.0) {
        return Err(StatisticsError::OutOfDomain {
            what: "F",
            found: f,
            expected: "a finite number, 0 or more",
        });
    }
    // Beyond this the tail is nothing and the products would overflow.
    let f = f.min(1e100);
    let (df1, df2) =
        (finite("degrees of freedom", freedom(df1)?)?, finite("degrees of freedom", freedom(df2)?)?);
    let whole = df2 + df1 * f;
    beta_regularised(df2 / 2.0, df1 / 2.0, df2 / whole, df1 * f / whole)
}

/// The quantile of Fisher's F with `df1` and `df2` degrees of freedom.
///
/// # Errors
/// `probability` outside (0, 1), or degrees of freedom not finite and above 0.
pub fn fisher_quantile(probability: f64, df1: f64, df2: f64) -> Result<f64, StatisticsError> {
    let upper = 1.0 - fraction("probability", probability)?;
    increasing_root("Fisher quantile", 0.0, 4.0, |f| Ok(upper - fisher_upper(f, df1, df2)?))
}

/// The probability that chi-squared with `df` degrees of freedom lies at or below `x`.
///
/// # Errors
/// `x` negative or not finite, or `df` not finite and above 0.
pub fn chi_squared_probability(x: f64, df: f64) -> Result<f64, StatisticsError> {
    if !(x.is_finite() && x >= 0.0) {
        return Err(StatisticsError::OutOfDomain {
            what: "chi-squared",
            found: x,
            expected: "a finite number, 0 or more",
        });
    }
    gamma_regularised(finite("degrees of freedom", freedom(df)?)? / 2.0, x / 2.0)
}

/// The quantile of chi-squared with `df` degrees of freedom.
///
/// # Errors
/// `probability` outside (0, 1), or `df` not finite and above 0.
pub fn chi_squared_quantile(probability: f64, df: f64) -> Result<f64, StatisticsError> {
    let p = fraction("probability", probability)?;
    let df = finite("degrees of freedom", freedom(df)?)?;
    increasing_root("chi-squared quantile", 0.0, df + 4.0, |x| Ok(chi_squared_probability(x, df)? - p))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn close(found: f64, expected: f64, relative: f64) {
        assert!((found - expected).abs() <= relative * expected.abs(), "{found} is not {expected}");
    }

    #[test]
    fn quantiles_agree_with_printed_tables() {
        // NIST/SEMATECH e-Handbook, tables 1.3.6.7.1 to 1.3.6.7.4.
        close(normal_quantile(0.975).unwrap(), 1.959_963_984_540_054, 1e-14);
        close(student_quantile(0.975, 1.0).unwrap(), 12.706, 1e-4);
        close(student_quantile(0.95, 30.0).unwrap(), 1.697, 3e-4);
        close(fisher_quantile(0.95, 3.0, 10.0).unwrap(), 3.708, 3e-4);
        close(chi_squared_quantile(0.95, 10.0).unwrap(), 18.307, 3e-5);
        close(chi_squared_quantile(0.025, 6.0).unwrap(), 1.237, 4e-4);
    }

    #[test]
    fn closed_forms_hold() {
        // One degree of freedom: the Cauchy distribution, quantile tan(π(p − 1/2)).
        for p in [0.6, 0.9, 0.975, 0.9999] {
            let expected = libm::tan(std::f64::consts::PI * (p - 0.5));
            close(student_quantile(p, 1.0).unwrap(), expected, 1e-11);
        }
        // Two degrees of freedom: t = (2p−1)√(2/(4p(1−p))).
        for p in [0.6_f64, 0.9, 0.975] {
            close(
                student_quantile(p, 2.0).unwrap(),
                (2.0 * p - 1.0) * (2.0 / (4.0 * p * (1.0 - p))).sqrt(),
                1e-12,
            );
        }
        // Chi-squared with two degrees of freedom: 1 − exp(−x/2).
        close(chi_squared_probability(3.0, 2.0).unwrap(), 1.0 - libm::exp(-1.5), 1e-13);
    }

    #[test]
    fn student_runs_into_the_normal_limit_without_a_step() {
        for t in [-3.0, -1.0, 0.5, 2.5] {
            let below = student_probability(t, STUDENT_LIMIT * 0.999).unwrap();
            let above = student_probability(t, STUDENT_LIMIT * 1.001).unwrap();
            // The distribution itself moves by less than 1e-6 over this gap.
            close(below, above, 1e-6);
            let exact = student_probability(t, STUDENT_LIMIT).unwrap();
            close(exact, normal_probability(normal_equivalent(t, STUDENT_LIMIT)), 1e-10);
            close(student_probability(t, f64::INFINITY).unwrap(), normal_probability(t), 1e-15);
        }
    }

    #[test]
    fn arguments_outside_the_range_are_refused() {
        assert!(normal_quantile(0.0).is_err());
        assert!(student_quantile(1.0, 5.0).is_err());
        assert!(student_probability(f64::NAN, 5.0).is_err());
        assert!(student_probability(1.0, 0.0).is_err());
        assert!(fisher_upper(-1.0, 2.0, 3.0).is_err());
        assert!(chi_squared_probability(1.0, f64::INFINITY).is_err());
    }

    proptest! {
        #[test]
        fn quantile_inverts_probability(p in 1e-9..0.999_999_f64, df in 0.7..5e4_f64) {
            let back = student_probability(student_quantile(p, df).unwrap(), df).unwrap();
            prop_assert!((back - p).abs() < 1e-10 * p.max(1e-3), "{back} is not {p}");
            let back = normal_probability(normal_quantile(p).unwrap());
            prop_assert!((back - p).abs() < 1e-13, "{back} is not {p}");
        }

        #[test]
        fn fisher_with_one_is_student_squared(t in 0.01..20.0_f64, df in 1.0..500.0_f64) {
            let f = fisher_upper(t * t, 1.0, df).unwrap();
            let s = student_two_sided(t, df).unwrap();
            prop_assert!((f - s).abs() <= 1e-12 + 1e-10 * s);
        }
    }
}
