//! The main job held against programs, libraries and published figures that are not ours; each file names its sources.
//!
//! One test program, so that what waits for another program leaves a core to the next. The other programs are set up under
//! `target/outside` from the pinned versions beside these files; what is missing is said.

#[path = "support/case.rs"]
mod case;
mod dossier_fixture;
#[path = "support/gallery.rs"]
mod gallery;
#[path = "support/outside.rs"]
mod outside;
#[path = "support/shop.rs"]
mod shop;

#[path = "outside/combinations.rs"]
mod combinations;
#[path = "outside/engine.rs"]
mod engine;
#[path = "outside/evidence.rs"]
mod evidence;
#[path = "outside/git.rs"]
mod git;
#[path = "outside/pages.rs"]
mod pages;
#[path = "outside/raw.rs"]
mod raw;
#[path = "outside/records.rs"]
mod records;
#[path = "outside/relations.rs"]
mod relations;
#[path = "outside/weigh.rs"]
mod weigh;
