//! A side as the ground that derived figures stand on.

use crate::check::Side;
use crate::check::Told;
use crate::check::Why;
use crate::derive::Ground;
use crate::record::Kinds;

impl Side {
    /// What derived figures of this side stand on; settings that work or a refit voided do not stand.
    pub fn ground<'a>(&'a self, kinds: &'a Kinds) -> Ground<'a> {
        let voided_settings = kinds
            .settings
            .iter()
            .filter(|spec| spec.means.is_some())
            .filter_map(|spec| {
                let words = match self.setting(spec, kinds) {
                    Told::Gap(Why::Voided { work, state, .. }) => {
                        format!("{work} ({state}) can have changed it")
                    }
                    Told::Gap(Why::Doubted { because, .. }) => {
                        format!("what was entered is in doubt: {because}")
                    }
                    Told::Gap(Why::Refit { .. }) => "the parts were apart since it was taken".to_owned(),
                    _ => return None,
                };
                Some((spec.name.clone(), words))
            })
            .collect();
        Ground {
            name: &self.name,
            build: self.build.as_ref().map(|build| build.name.as_str()),
            is_pull: self.pull.is_some(),
            cell: self.cell.as_deref(),
            session: self.session.as_ref().map(|session| session.tag.as_str()),
            kinds,
            effective: &self.effective,
            parts: &self.parts,
            engine: self.engine.as_deref(),
            instruments: &self.instruments,
            moment: self.moment(),
            channels: &self.channel_means,
            by_speed: &self.by_speed,
            voided_settings,
            substitutes: self.worked_out.clone(),
            asked: self.asked.clone(),
        }
    }
}
