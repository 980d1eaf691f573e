//! A small book in memory: records as text, sides made of them, figures looked up by name.
#![allow(dead_code, reason = "each test program uses its own part of it")]

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::sync::Arc;

use mulebook::check::Side;
use mulebook::derive::Asked;
use mulebook::derive::Barred;
use mulebook::derive::Derived;
use mulebook::derive::Outcome;
use mulebook::derive::figures;
use mulebook::manifest::Schemas;
use mulebook::manifest::bind;
use mulebook::manifest::yaml;
use mulebook::record::Build;
use mulebook::record::Cell;
use mulebook::record::Effective;
use mulebook::record::Instrument;
use mulebook::record::Part;
use mulebook::record::Pull;

/// A small book in memory.
pub(crate) struct Book {
    pub(crate) schemas: Schemas,
    pub(crate) parts: BTreeMap<String, Arc<Part>>,
    pub(crate) instruments: BTreeMap<String, Arc<Instrument>>,
}

impl Book {
    pub(crate) fn new() -> Self {
        let schemas = Schemas::load(&[]).expect("the shipped schemas hold");
        Self { schemas, parts: BTreeMap::new(), instruments: BTreeMap::new() }
    }

    pub(crate) fn part(&mut self, text: &str) -> &mut Self {
        let node = yaml::read("part.yaml", text.as_bytes()).expect("YAML");
        let (part, found) = bind::part("part.yaml", &node, self.schemas.kinds());
        let part = part.unwrap_or_else(|| panic!("{found:#?}"));
        self.parts.insert(part.tag.clone(), Arc::new(part));
        self
    }

    pub(crate) fn instrument(&mut self, text: &str) -> &mut Self {
        let node = yaml::read("instrument.yaml", text.as_bytes()).expect("YAML");
        let (instrument, found) = bind::instrument("instrument.yaml", &node, self.schemas.kinds());
        let instrument = instrument.unwrap_or_else(|| panic!("{found:#?}"));
        self.instruments.insert(instrument.tag.clone(), Arc::new(instrument));
        self
    }

    pub(crate) fn build(&self, text: &str) -> Build {
        let node = yaml::read("build.yaml", text.as_bytes()).expect("YAML");
        let (build, found) = bind::build("build.yaml", &node, self.schemas.kinds());
        build.unwrap_or_else(|| panic!("{found:#?}"))
    }

    pub(crate) fn side(&self, build: &Build, pull: Option<Pull>) -> Side {
        let effective = match &pull {
            Some(pull) => Effective::of_pull(pull, Some(build)),
            None => Effective::of_build(build),
        };
        Side {
            name: pull.as_ref().map_or_else(|| build.name.clone(), |pull| pull.id.clone()),
            build: Some(Arc::new(build.clone())),
            pull,
            session: None,
            cell: None,
            effective,
            parts: self.parts.clone(),
            engine: self.parts.get(&build.engine).cloned(),
            instruments: self.instruments.clone(),
            channels: BTreeSet::new(),
            channel_means: BTreeMap::new(),
            by_speed: BTreeMap::new(),
            worked_out: BTreeMap::new(),
            asked: Asked::default(),
            refit_after: None,
            wear: BTreeMap::new(),
            doubts: mulebook::check::ChannelDoubts::default(),
        }
    }

    pub(crate) fn pull(&self, text: &str) -> Pull {
        let node = yaml::read("pull.yaml", text.as_bytes()).expect("YAML");
        let (pull, found) = bind::pull("pull.yaml", &node, self.schemas.kinds());
        pull.unwrap_or_else(|| panic!("{found:#?}"))
    }

    pub(crate) fn outcomes(&self, side: &Side) -> Vec<Outcome> {
        figures(&side.ground(self.schemas.kinds()))
    }

    pub(crate) fn figure(&self, side: &Side, name: &str) -> Derived {
        let found = self.outcomes(side).into_iter().find(|outcome| match outcome {
            Ok(derived) => derived.label.name == name && derived.label.cylinder.is_none(),
            Err(barred) => barred.label.name == name,
        });
        found.expect("the figure is known").unwrap_or_else(|barred| panic!("{barred:#?}"))
    }

    /// A figure that must be barred.
    pub(crate) fn barred(&self, side: &Side, name: &str) -> Barred {
        let found = self.outcomes(side).into_iter().filter_map(Result::err);
        found
            .into_iter()
            .find(|barred| barred.label.name == name)
            .unwrap_or_else(|| panic!("{name} is not barred"))
    }

    /// A cell.
    pub(crate) fn cell(&self, text: &str) -> Arc<Cell> {
        let node = yaml::read("cell.yaml", text.as_bytes()).expect("YAML");
        let (cell, found) = bind::cell("cell.yaml", &node, self.schemas.kinds());
        Arc::new(cell.unwrap_or_else(|| panic!("{found:#?}")))
    }
}
