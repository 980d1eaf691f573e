//! `new`, `part`, `build`, `session`, `cell`, `instrument`.

use std::path::PathBuf;

use clap::Args;

use crate::answer::Entered;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::make_build;
use crate::workflow::make_part;
use crate::workflow::make_place;
use crate::workflow::new_book;

/// An entry as text and JSON.
pub(super) fn entered(answer: &Entered, surroundings: &Surroundings) -> Said {
    if answer.written.recovered.is_some() {
        surroundings.told_recovery();
    }
    Said::done(render::entered(answer, surroundings.look()), render::json("entered", answer))
}

/// Make an empty book, with templates that explain themselves
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  mulebook new hill-climb --name \"Hill-climb four\" --by mk")]
pub(super) struct New {
    /// The folder; made when missing
    dir: PathBuf,
    /// The book's name; the folder's unless said
    #[arg(long)]
    name: Option<String>,
    /// The book's zone as distance from UTC; this machine's unless said
    #[arg(long, value_name = "+HH:MM", allow_hyphen_values = true)]
    zone: Option<String>,
}

impl New {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let context = surroundings.context("new", None)?;
        let zone = self.zone.unwrap_or_else(|| context.now.format("%:z").to_string());
        let name = self.name.or_else(|| self.dir.file_name().map(|name| name.to_string_lossy().into_owned()));
        let (_, answer) =
            new_book::new_book(&self.dir, name.as_deref().unwrap_or("engine book"), &zone, &context)?;
        Ok(entered(&answer, surroundings))
    }
}

/// Write down a part: its tag, its kind, and what is known of it
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook part cylinder-head h2 --serial 0417 --how \"bought new\" \\\n      --set inlet-valve=\"listed: 33.0 mm; seller's sheet\"\n\nA value is measured by you, now, unless it begins with `listed: VALUE; SOURCE`, `assumed: VALUE; WHY` or `unknown: WHY`.\nBehind a bar stands what belongs to one figure alone: --set bore=\"86.00 mm | with bore-gauge-1 | taken 2026-03-01\"."
)]
pub(super) struct Part {
    /// The kind (cylinder-head, header, intake …); may be left out with --from
    kind: String,
    /// The short tag painted on it
    tag: Option<String>,
    /// Copy the listed figures of another part of its kind
    #[arg(long, value_name = "TAG")]
    from: Option<String>,
    /// What people call it
    #[arg(long)]
    name: Option<String>,
    /// Serial or casting number
    #[arg(long)]
    serial: Option<String>,
    /// Batch, for gaskets, oil, fuel and plugs
    #[arg(long)]
    batch: Option<String>,
    /// How it came: bought new, came with the car
    #[arg(long)]
    how: Option<String>,
    /// Since when it is so; today unless said
    #[arg(long, value_name = "DAY")]
    since: Option<String>,
    /// Cylinders, for a short block
    #[arg(long)]
    cylinders: Option<u32>,
    /// A role this engine never has (may be given several times)
    #[arg(long, value_name = "ROLE")]
    never: Vec<String>,
    /// A figure (may be given several times)
    #[arg(long, value_name = "FIGURE=VALUE")]
    set: Vec<String>,
    /// The instrument that measured figures were taken with
    #[arg(long, value_name = "INSTRUMENT")]
    with: Option<String>,
    /// When they were taken; now unless said
    #[arg(long, value_name = "DAY|TIME")]
    taken: Option<String>,
}

impl Part {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("part", Some(&book))?;
        // `part --from h1 h2` names the tag alone.
        let (kind, tag) = match self.tag {
            Some(tag) => (Some(self.kind), tag),
            None => (None, self.kind),
        };
        let request = make_part::PartRequest {
            kind,
            tag,
            from: self.from,
            name: self.name,
            serial: self.serial,
            batch: self.batch,
            how: self.how,
            since: self.since,
            cylinders: self.cylinders,
            never: self.never,
            set: self.set,
            with: self.with,
            taken: self.taken,
            by: surroundings.person(),
        };
        Ok(entered(&make_part::part(&book, &context, &request)?, surroundings))
    }
}

/// Write down a build: part and state for each role, settings and fits
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook build b4 --from b3 --set header=step-1 --set spacer=none \\\n      --set ignition-timing=\"31 deg BTDC\" --with lamp-1\n\nWith --from, or --as-last for the build of the last pull, only what differs is said. What the change can have disturbed is not copied; it is listed."
)]
pub(super) struct Build {
    /// Its name
    name: String,
    /// The engine's tag; the other build's with --from
    #[arg(long, value_name = "TAG")]
    engine: Option<String>,
    /// The build it differs from
    #[arg(long, value_name = "BUILD")]
    from: Option<String>,
    /// It differs from the build of the last pull
    #[arg(long, conflicts_with = "from")]
    as_last: bool,
    /// Since when it is together; today unless said
    #[arg(long, value_name = "DAY")]
    since: Option<String>,
    /// A role, setting or fit (may be given several times)
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<String>,
    /// The instrument that settings were measured with
    #[arg(long, value_name = "INSTRUMENT")]
    with: Option<String>,
    /// When they were measured; now unless said
    #[arg(long, value_name = "DAY|TIME")]
    taken: Option<String>,
    /// The same parts, off and on again, with nothing else changed
    #[arg(long)]
    refit: bool,
    /// A remark
    #[arg(long)]
    note: Option<String>,
}

impl Build {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("build", Some(&book))?;
        let request = make_build::BuildRequest {
            name: self.name,
            engine: self.engine,
            from: self.from,
            as_last: self.as_last,
            since: self.since,
            set: self.set,
            with: self.with,
            taken: self.taken,
            refit: self.refit,
            by: surroundings.person(),
            note: self.note,
        };
        Ok(entered(&make_build::build(&book, &context, &request)?, surroundings))
    }
}

/// Begin a session: one sitting in a cell
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook session 0412a --cell tower --engine mule-1 --warm-up \"8 min at 2500 rpm, oil 85 °C\"\n  mulebook session 0413a --as-last"
)]
pub(super) struct Session {
    /// Its short tag; pulls are numbered TAG-01, TAG-02 …
    tag: String,
    /// The cell
    #[arg(long, required_unless_present = "as_last")]
    cell: Option<String>,
    /// Copy cell, engine, warm-up and waiting of the last session; never weather or zeros
    #[arg(long)]
    as_last: bool,
    /// The day; today unless said
    #[arg(long, value_name = "DAY")]
    on: Option<String>,
    /// The engine's tag
    #[arg(long, value_name = "TAG")]
    engine: Option<String>,
    /// The warm-up recipe
    #[arg(long)]
    warm_up: Option<String>,
    /// What is waited for between pulls
    #[arg(long)]
    between: Option<String>,
    /// A figure of the sitting: zero-before, zero-after (may be given several times)
    #[arg(long, value_name = "FIGURE=VALUE")]
    set: Vec<String>,
    /// The instrument that figures were measured with
    #[arg(long, value_name = "INSTRUMENT")]
    with: Option<String>,
    /// A remark
    #[arg(long)]
    note: Option<String>,
}

impl Session {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("session", Some(&book))?;
        let request = make_place::SessionRequest {
            tag: self.tag,
            cell: self.cell.unwrap_or_default(),
            as_last: self.as_last,
            on: self.on,
            by: surroundings.person(),
            engine: self.engine,
            warm_up: self.warm_up,
            between: self.between,
            set: self.set,
            with: self.with,
            note: self.note,
        };
        Ok(entered(&make_place::session(&book, &context, &request)?, surroundings))
    }
}

/// Write down a test cell
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook cell tower --set altitude=\"listed: 320 m; survey map\" --set absorber=\"eddy-current brake\""
)]
pub(super) struct Cell {
    /// Its short tag
    tag: String,
    /// A figure or field of the cell (may be given several times)
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<String>,
    /// The instrument that figures were measured with
    #[arg(long, value_name = "INSTRUMENT")]
    with: Option<String>,
    /// When they were measured; now unless said
    #[arg(long, value_name = "DAY|TIME")]
    taken: Option<String>,
}

impl Cell {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("cell", Some(&book))?;
        Ok(entered(
            &make_place::cell(
                &book,
                &context,
                &make_place::CellRequest {
                    tag: self.tag,
                    set: self.set,
                    with: self.with,
                    by: surroundings.person(),
                    taken: self.taken,
                },
            )?,
            surroundings,
        ))
    }
}

/// Write down an instrument, its uncertainty and its last calibration
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook instrument burette-1 \"50 cc burette\" --uncertainty \"volume=±0.1 cc/reading\" \\\n      --calibrated 2026-01-15 --calibrated-by \"county metrology\""
)]
pub(super) struct Instrument {
    /// Its short tag
    tag: String,
    /// What it is
    what: String,
    /// Serial number
    #[arg(long)]
    serial: Option<String>,
    /// A stated uncertainty, with what it covers behind a slash: reading, session or calibration
    #[arg(long, value_name = "QUANTITY=±LIMIT/SCOPE")]
    uncertainty: Vec<String>,
    /// The day of its last calibration
    #[arg(long, value_name = "DAY")]
    calibrated: Option<String>,
    /// Who calibrated it
    #[arg(long, value_name = "WHO")]
    calibrated_by: Option<String>,
    /// Until when the calibration holds
    #[arg(long, value_name = "DAY")]
    due: Option<String>,
}

impl Instrument {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("instrument", Some(&book))?;
        let request = make_place::InstrumentRequest {
            tag: self.tag,
            what: self.what,
            serial: self.serial,
            uncertainty: self.uncertainty,
            calibrated: self.calibrated,
            calibrated_by: self.calibrated_by,
            due: self.due,
        };
        Ok(entered(&make_place::instrument(&book, &context, &request)?, surroundings))
    }
}
