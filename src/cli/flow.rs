//! `flow`.

use std::path::PathBuf;

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::typed;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::enter;
use crate::workflow::flow;

/// Take in a flow-bench sheet: lift and flow of one port, or of several ports of one part
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook flow sheet.csv --part h2/b --port inlet:2 --bench bench-1 --set test-pressure=\"28 inH2O\" \\\n      --set bore-fixture=\"86 mm\" --set entry=\"radius plate\" --set leakage=\"0.8 cfm\" --set calibration-plate=0.997\n  mulebook flow head.csv --part h2 --port \"In 1=inlet:1\" --port \"Ex 1=exhaust:1\"     several ports, by column\n  mulebook flow - sheet.jpg --part h2 --port inlet:1 < typed.txt     typed, with a photograph of the paper\n\nThe first line typed heads the columns: lift mm, flow cfm. `mulebook diff SHEET_A SHEET_B` sets two side by side."
)]
pub(super) struct Flow {
    /// The raw file, as it came, and photos beside it; `-` for a table typed or pasted on standard input
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The file that the table was exported from, a logger's own; it is kept beside the table
    #[arg(long, value_name = "FILE")]
    derived_from: Option<PathBuf>,
    /// The part on the bench, with its state; its newest unless said
    #[arg(long, value_name = "PART/STATE")]
    part: String,
    /// Another part in front of it or behind it (may be given several times)
    #[arg(long, value_name = "PART/STATE")]
    with_part: Vec<String>,
    /// Which port: inlet:2, inlet:1/3 for port 1 of cylinder 3, or WHERE=inlet:2 by column or segment
    #[arg(long, value_name = "[WHERE=]SIDE:N[/CYL]")]
    port: Vec<String>,
    /// The sheet's tag; made from part and port unless said
    #[arg(long, value_name = "TAG")]
    name: Option<String>,
    /// The flow bench, an instrument
    #[arg(long, value_name = "INSTRUMENT")]
    bench: Option<String>,
    /// Copy bench, neighbours and fixtures of the last sheet; never what was measured
    #[arg(long)]
    as_last: bool,
    /// The day, or the time; today unless said
    #[arg(long, value_name = "DAY")]
    on: Option<String>,
    /// A condition (may be given several times)
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<String>,
    /// Conditions from a YAML file of NAME: VALUE lines
    #[arg(long, value_name = "FILE")]
    conditions: Option<PathBuf>,
    /// The instrument of the conditions, or NAME=INSTRUMENT for one of them
    #[arg(long, value_name = "INSTRUMENT")]
    with: Vec<String>,
    /// A unit that the file does not say (may be given several times)
    #[arg(long, value_name = "COLUMN=UNIT")]
    unit: Vec<String>,
    /// Follow this columns record to the letter
    #[arg(long, value_name = "NAME")]
    columns: Option<String>,
    /// Keep guessed columns under this name
    #[arg(long, value_name = "NAME")]
    name_columns: Option<String>,
    /// The answer to a question about the file (may be given several times)
    #[arg(long, value_name = "WORD")]
    read: Vec<String>,
    /// A remark
    #[arg(long)]
    note: Option<String>,
}

impl Flow {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let context = surroundings.context("flow", Some(&book))?;
        let mut set = self.set;
        if let Some(file) = &self.conditions {
            set.extend(enter::conditions_from(file)?);
        }
        let request = flow::FlowRequest {
            files: typed::offered(&self.files, self.derived_from.as_deref())?,
            derived_from: self.derived_from,
            part: self.part,
            with_part: self.with_part,
            ports: self.port,
            name: self.name,
            bench: self.bench,
            as_last: self.as_last,
            on: self.on,
            by: surroundings.person(),
            set,
            with: self.with,
            units: self.unit,
            columns: self.columns,
            name_columns: self.name_columns,
            read: self.read,
            note: self.note,
        };
        let answer = flow::flow(&book, &context, &request)?;
        if answer.taken_in.written.as_ref().is_some_and(|written| written.recovered.is_some()) {
            surroundings.told_recovery();
        }
        Ok(Said::done(render::flow_entered(&answer, surroundings.look()), render::json("flow", &answer)))
    }
}
