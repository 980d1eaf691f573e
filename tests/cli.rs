//! The whole program, run as people run it: every command as text and as JSON, and every error a user can meet.
//!
//! Snapshots lie in `tests/cli/snapshots`. After a change of wording: read the differences, then
//! `INSTA_UPDATE=always cargo test --test cli`.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the program is started as a process, on books on disk"
)]

#[path = "support/collect.rs"]
mod collect;
#[path = "support/finding_codes.rs"]
mod finding_codes;

#[path = "cli/audit.rs"]
mod audit;
#[path = "cli/bench.rs"]
mod bench;
#[path = "cli/build.rs"]
mod build;
#[path = "cli/claim.rs"]
mod claim;
#[path = "cli/correct.rs"]
mod correct;
#[path = "cli/coverage.rs"]
mod coverage;
#[path = "cli/demo.rs"]
mod demo;
#[path = "cli/diff.rs"]
mod diff;
#[path = "cli/dossier.rs"]
mod dossier;
#[path = "cli/doubt.rs"]
mod doubt;
#[path = "cli/find.rs"]
mod find;
#[path = "cli/flow.rs"]
mod flow;
#[path = "cli/form.rs"]
mod form;
#[path = "cli/gaps.rs"]
mod gaps;
#[path = "cli/keep.rs"]
mod keep;
#[path = "cli/look.rs"]
mod look;
#[path = "cli/measure.rs"]
mod measure;
#[path = "cli/mend.rs"]
mod mend;
#[path = "cli/new.rs"]
mod new;
#[path = "cli/page.rs"]
mod page;
#[path = "cli/part.rs"]
mod part;
#[path = "cli/photo.rs"]
mod photo;
#[path = "cli/place.rs"]
mod place;
#[path = "cli/pull.rs"]
mod pull;
#[path = "cli/rework.rs"]
mod rework;
#[path = "cli/shapes.rs"]
mod shapes;
#[path = "cli/sheet.rs"]
mod sheet;
#[path = "cli/surroundings.rs"]
mod surroundings;
#[path = "cli/sweeps.rs"]
mod sweeps;
#[path = "cli/trail.rs"]
mod trail;
#[path = "cli/weigh.rs"]
mod weigh;

/// A snapshot under exactly this name. Commit ids and process numbers are left out: any word of a shipped schema changes
/// all commits; `demo::two_runs_give_the_same_commits` holds that they are the same from run to run. Figures keep ten
/// digits: the last ones are the machine's.
macro_rules! kept {
    ($name:expr, $text:expr $(,)?) => {
        insta::with_settings!({
            filters => vec![
                (r"\b[0-9a-f]{40}\b|\b[0-9a-f]{12}\b", "[commit]"),
                (r"process \d+", "process [number]"),
            ],
            omit_expression => true,
            prepend_module_to_snapshot => false,
            snapshot_path => "snapshots",
        }, {
            insta::assert_snapshot!($name, crate::bench::steady(&$text));
        })
    };
}
pub(crate) use kept;

/// A snapshot of what a command says, as text and as JSON.
macro_rules! shown {
    ($bench:expr, $name:expr, $arguments:expr) => {
        shown!($bench, "book", $name, $arguments)
    };
    ($bench:expr, $folder:expr, $name:expr, $arguments:expr) => {{
        let module = module_path!().rsplit("::").next().unwrap_or_default();
        let name = format!("{module}-{}", $name);
        let said = $bench.show_in($folder, &name, $arguments);
        super::kept!(name, said);
    }};
}
pub(crate) use shown;
