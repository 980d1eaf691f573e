//! Lift at the valve from lift at the lobe, through rocker and lash.
//!
//! Common practice, no source: stiff parts and a constant rocker ratio; a measured lift at the valve replaces
//! it.

use super::EngineError;
use super::error::{not_negative, positive};

/// Where the lash is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum LashAt {
    /// Between rocker and valve.
    Valve,
    /// Between lobe and follower, on the cam's side of the rocker.
    Lobe,
}

/// Net lift at the valve, m: lobe·ratio − lash at the valve, or (lobe − lash)·ratio at the lobe; never below
/// zero.
///
/// ```
/// use mulebook::engine::valve_lift::{LashAt, net_lift_m};
/// // Common practice: .400 in at the lobe, 1.5 rocker, .022 in lash at the valve: .578 in.
/// let lift = net_lift_m(0.400 * 0.0254, 1.5, 0.022 * 0.0254, LashAt::Valve).expect("a valve train");
/// assert!((lift / 0.0254 - 0.578).abs() < 1e-12);
/// ```
///
/// # Errors
/// A negative lift or lash, or a ratio that is not above zero.
pub fn net_lift_m(lobe_lift_m: f64, rocker_ratio: f64, lash_m: f64, at: LashAt) -> Result<f64, EngineError> {
    let lobe = not_negative("lobe lift", lobe_lift_m, "m")?;
    let ratio = positive("rocker ratio", rocker_ratio, "")?;
    let lash = not_negative("lash", lash_m, "m")?;
    Ok(match at {
        LashAt::Valve => (lobe * ratio - lash).max(0.0),
        LashAt::Lobe => ((lobe - lash) * ratio).max(0.0),
    })
}

/// Lift at the lobe, m, from net lift at the valve; the inverse of [`net_lift_m`] for an open valve.
///
/// # Errors
/// A net lift or ratio that is not above zero, or a negative lash.
pub fn lobe_lift_m(net_lift_m: f64, rocker_ratio: f64, lash_m: f64, at: LashAt) -> Result<f64, EngineError> {
    let net = positive("net lift", net_lift_m, "m")?;
    let ratio = positive("rocker ratio", rocker_ratio, "")?;
    let lash = not_negative("lash", lash_m, "m")?;
    Ok(match at {
        LashAt::Valve => (net + lash) / ratio,
        LashAt::Lobe => net / ratio + lash,
    })
}

/// Rocker ratio as found: (net lift + lash at the valve)/lobe lift, or net lift/(lobe lift − lash at the
/// lobe).
///
/// # Errors
/// Lifts that are not above zero, a negative lash, or lash at the lobe that swallows the lift.
pub fn rocker_ratio(net_lift_m: f64, lobe_lift_m: f64, lash_m: f64, at: LashAt) -> Result<f64, EngineError> {
    let net = positive("net lift", net_lift_m, "m")?;
    let lobe = positive("lobe lift", lobe_lift_m, "m")?;
    let lash = not_negative("lash", lash_m, "m")?;
    match at {
        LashAt::Valve => Ok((net + lash) / lobe),
        LashAt::Lobe => Ok(net / positive("lobe lift less lash", lobe - lash, "m")?),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn lash_larger_than_the_lift_keeps_the_valve_shut() {
        assert!(net_lift_m(0.001, 1.5, 0.002, LashAt::Valve).unwrap().abs() < 1e-15);
        assert!(rocker_ratio(0.01, 0.001, 0.002, LashAt::Lobe).is_err());
        assert!(net_lift_m(0.01, 0.0, 0.0, LashAt::Lobe).is_err());
    }

    proptest! {
        #[test]
        fn lifts_invert(lobe in 2e-3..12e-3_f64, ratio in 1.0..2.0_f64, lash in 0.0..1e-3_f64) {
            for at in [LashAt::Valve, LashAt::Lobe] {
                let net = net_lift_m(lobe, ratio, lash, at).unwrap();
                prop_assert!((lobe_lift_m(net, ratio, lash, at).unwrap() - lobe).abs() < 1e-12);
                prop_assert!((rocker_ratio(net, lobe, lash, at).unwrap() - ratio).abs() < 1e-9);
                prop_assert!(net_lift_m(lobe, ratio, lash + 1e-5, at).unwrap() < net);
                prop_assert!(net_lift_m(lobe, ratio + 0.01, lash, at).unwrap() > net);
            }
        }
    }
}
