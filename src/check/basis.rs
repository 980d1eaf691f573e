//! Two pulls on one basis: both as observed, both as their files carry it, or both brought to one standard.

use crate::check::Side;
use crate::derive;
use crate::derive::Basis;
use crate::derive::Brought;
use crate::derive::Unbrought;
use crate::record::Correcting;
use crate::record::Kinds;

/// What a comparison is to be brought to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// The basis.
    pub basis: Basis,
    /// It was asked for with this comparison, not only by the book's own page: no other will do.
    pub insisted: bool,
}

/// Both sides brought to one basis.
#[derive(Debug, Clone, PartialEq)]
pub struct OneBasis {
    /// The basis.
    pub basis: Basis,
    /// The base side.
    pub base: Brought,
    /// The test side.
    pub test: Brought,
}

impl OneBasis {
    /// What the torque of base and test is multiplied by at a speed.
    pub fn factors_at(&self, speed_rpm: u32) -> (f64, f64) {
        (self.base.factor_at(speed_rpm), self.test.factor_at(speed_rpm))
    }
}

/// Why two pulls do not come to one basis.
#[derive(Debug, Clone, PartialEq)]
pub struct NoBasis {
    /// What the base side's file carries.
    pub base: String,
    /// What the test side's file carries.
    pub test: String,
    /// What they were to be brought to, where that was said.
    pub to: Option<Basis>,
    /// What is missing on each side that cannot be brought there, by the side's name.
    pub lacks: Vec<(String, Unbrought)>,
}

/// What became of the corrections of two pulls.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Common {
    /// Both files carry the same, and nothing else was wanted, or it cannot be worked out and need not be.
    Alike(Option<NoBasis>),
    /// Both were brought to one basis.
    Brought(Box<OneBasis>),
    /// They cannot be put side by side.
    Unlike(NoBasis),
}

/// Finds the basis on which two pulls may be put side by side.
///
/// A correction that nobody wrote down is a gap already, and is not spoken of again here.
pub(super) fn common(base: &Side, test: &Side, kinds: &Kinds, wanted: Option<Wanted>) -> Common {
    let (Some(carried), Some(other)) = (&base.effective.correction, &test.effective.correction) else {
        return Common::Alike(None);
    };
    let unknown = |correction: &Correcting| matches!(correction, Correcting::Unknown(_));
    let either_unknown = unknown(carried) || unknown(other);
    if either_unknown && !wanted.is_some_and(|wanted| wanted.insisted) {
        // It is documented as unknown: the comparison runs with the open question, and no figures of the files are put
        // side by side.
        return Common::Alike(None);
    }
    let alike = !either_unknown && key(carried) == key(other);
    let none = |to: Option<Basis>, lacks: Vec<(String, Unbrought)>| NoBasis {
        base: carried.to_string(),
        test: other.to_string(),
        to,
        lacks,
    };
    let Some(wanted) = wanted else {
        return if alike { Common::Alike(None) } else { Common::Unlike(none(None, Vec::new())) };
    };
    if wanted.basis == Basis::Observed && alike && *carried == Correcting::Observed {
        return Common::Alike(None);
    }
    let bring = |side: &Side| derive::bring(&side.ground(kinds), wanted.basis);
    match (bring(base), bring(test)) {
        (Ok(base), Ok(test)) => Common::Brought(Box::new(OneBasis { basis: wanted.basis, base, test })),
        (a, b) => {
            let lacks = [(base, a.err()), (test, b.err())]
                .into_iter()
                .filter_map(|(side, lack)| Some((side.name.clone(), lack?)))
                .collect();
            let found = none(Some(wanted.basis), lacks);
            if alike && !wanted.insisted { Common::Alike(Some(found)) } else { Common::Unlike(found) }
        }
    }
}

/// Two corrections are alike when they name the same standard, however it is spelt.
fn key(correction: &Correcting) -> String {
    match correction {
        Correcting::Observed => "observed".to_owned(),
        Correcting::Standard { name, .. } => {
            Basis::named(name).map_or_else(|| name.clone(), |basis| basis.name().to_owned())
        }
        Correcting::Unknown(_) => "unknown".to_owned(),
    }
}
