//! `measure` and `rework`.

use std::path::PathBuf;

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::make::entered;
use crate::finding::Finding;
use crate::workflow::Failure;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Way;
use crate::workflow::measure;
use crate::workflow::photo;
use crate::workflow::rework;

/// Enter a figure: a measurement, or another way of knowing it
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook measure h2/b chamber-volume \"43.6 43.6 43.5 43.6 ±0.2 cc\" --with burette-1\n  mulebook measure h2/a inlet-port-volume --unknown \"no stand for this head here\"\n  mulebook measure b3 ignition-timing \"31 deg BTDC\" --with lamp-1 --at \"6000 rpm\"\n  mulebook measure h2/a chamber-volume \"52.0 cc\" --with burette-1 --corrects 1 --because \"plate leaked\"\n  mulebook measure b3 valve-lash-inlet \"0.25 0.25 0.24 0.25 mm\" --as-last    with the gauge of last time, cold as then\n  mulebook measure h2/b chamber-volume \"43.6 cc\" --with burette-1 --photo burette.jpg     the photo stays beside the figure\n  mulebook measure h2/b chamber-volume --photo scan.png     a photo found later, beside the entry that stands"
)]
pub(super) struct Measure {
    /// A part in a state (h2/b), a build, or a pull
    at: String,
    /// The figure's name
    field: String,
    /// The value with its unit; several values side by side, one per cylinder
    #[arg(required_unless_present_any = ["unknown", "photo"], allow_hyphen_values = true)]
    value: Option<String>,
    /// A photo, scan or the like that shows the reading: kept in the book beside it (may be given several times). Without a
    /// value it goes beside the entry that stands already
    #[arg(long, value_name = "FILE")]
    photo: Vec<PathBuf>,
    /// The entry that a photo without a value shows, by its number; the one that stands unless said
    #[arg(long, value_name = "N", requires = "photo", conflicts_with_all = ["value", "unknown"])]
    entry: Option<usize>,
    /// The instrument
    #[arg(long, value_name = "INSTRUMENT")]
    with: Option<String>,
    /// Take instrument and circumstances from the entry before it; never the value
    #[arg(long)]
    as_last: bool,
    /// When it was taken; now unless said
    #[arg(long, value_name = "DAY|TIME")]
    taken: Option<String>,
    /// At which speed, lift or temperature it holds
    #[arg(long, value_name = "WHERE")]
    condition: Option<String>,
    /// The same as --condition, as people say it
    #[arg(long = "at", value_name = "WHERE", conflicts_with = "condition")]
    at_which: Option<String>,
    /// It is unknown, with the reason
    #[arg(long, value_name = "WHY", conflicts_with_all = ["value", "listed", "assumed", "calculated"])]
    unknown: Option<String>,
    /// It is someone else's figure, with its source
    #[arg(long, value_name = "SOURCE", conflicts_with_all = ["assumed", "calculated"])]
    listed: Option<String>,
    /// It is assumed, with the reason
    #[arg(long, value_name = "WHY", conflicts_with = "calculated")]
    assumed: Option<String>,
    /// It is worked out, with what from
    #[arg(long, value_name = "FROM")]
    calculated: Option<String>,
    /// The number of the entry that this one says was wrong
    #[arg(long, value_name = "N", requires = "because")]
    corrects: Option<usize>,
    /// Why that entry was wrong
    #[arg(long, value_name = "WHY")]
    because: Option<String>,
    /// A remark
    #[arg(long)]
    note: Option<String>,
}

impl Measure {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("measure", Some(&book))?;
        if self.value.is_none() && self.unknown.is_none() && !self.photo.is_empty() {
            self.nothing_beside_a_photo()?;
            let added = photo::add(&book, &context, &self.at, &self.field, self.entry, &self.photo)?;
            return Ok(entered(&added, surroundings));
        }
        let (way, value) = match (self.unknown, self.listed, self.assumed, self.calculated) {
            (Some(why), _, _, _) => (Way::Unknown, Some(why)),
            (_, Some(source), _, _) => (Way::Listed(source), self.value),
            (_, _, Some(why), _) => (Way::Assumed(why), self.value),
            (_, _, _, Some(from)) => (Way::Calculated(from), self.value),
            _ => (Way::Measured, self.value),
        };
        let Some(value) = value else {
            return Err(Failure::usage(Finding::error("value-missing", "the value is missing")));
        };
        // `unknown: why` behind the field says the same as its option; taken for a measurement it would hide a gap.
        let plain = match way {
            Way::Measured => FigureInput::typed(&value),
            way => FigureInput { way, ..FigureInput::measured(value) },
        };
        let plain = FigureInput {
            at: self.at_which.or(self.condition).or(plain.at),
            as_last: self.as_last,
            corrects: self.corrects,
            because: self.because,
            note: self.note.or(plain.note),
            // What is said by an option speaks before what stands behind the value.
            with: self.with.or(plain.with),
            taken: self.taken.or(plain.taken),
            ..plain
        };
        let told = plain.or(None, surroundings.person().as_deref(), None);
        let done = measure::measure_shown(&book, &context, &self.at, &self.field, &told, &self.photo)?;
        Ok(entered(&done, surroundings))
    }

    /// A photo that comes later changes nothing of the reading: what would belongs to a reading of its own.
    fn nothing_beside_a_photo(&self) -> Result<(), Failure> {
        let said = [
            ("--with", self.with.is_some()),
            ("--as-last", self.as_last),
            ("--taken", self.taken.is_some()),
            ("--condition", self.condition.is_some()),
            ("--at", self.at_which.is_some()),
            ("--listed", self.listed.is_some()),
            ("--assumed", self.assumed.is_some()),
            ("--calculated", self.calculated.is_some()),
            ("--corrects", self.corrects.is_some()),
            ("--because", self.because.is_some()),
            ("--note", self.note.is_some()),
        ];
        let said: Vec<&str> = said.into_iter().filter_map(|(word, is)| is.then_some(word)).collect();
        if said.is_empty() {
            return Ok(());
        }
        Err(Failure::usage(
            Finding::error(
                "value-missing",
                "the value is missing, and what is said beside it belongs to a reading",
            )
            .found(said.join(", "))
            .expected("a value, or `--photo` alone for the reading that stands")
            .next("say the value behind the figure's name"),
        ))
    }
}

/// Open a new state of a part by work done on it, and see what the work voided
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook rework h2 mill-deck --detail cut=\"0.40 mm\" --on 2026-04-11 --note \"gasket leaked\""
)]
pub(super) struct Rework {
    /// The part's tag
    part: String,
    /// The work, by its kind's word (mill-deck, port, valve-job …)
    op: String,
    /// What the work asks for (may be given several times)
    #[arg(long, value_name = "NAME=VALUE")]
    detail: Vec<String>,
    /// The new state's letter; the next one unless said
    #[arg(long, value_name = "LETTER")]
    state: Option<String>,
    /// The day; today unless said
    #[arg(long, value_name = "DAY")]
    on: Option<String>,
    /// A remark
    #[arg(long)]
    note: Option<String>,
}

impl Rework {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("rework", Some(&book))?;
        let request = rework::ReworkRequest {
            part: self.part,
            op: self.op,
            details: self.detail,
            letter: self.state,
            on: self.on,
            by: surroundings.person(),
            note: self.note,
        };
        Ok(entered(&rework::rework(&book, &context, &request)?, surroundings))
    }
}
