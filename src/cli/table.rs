//! `table`.

use std::path::PathBuf;

use clap::Args;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::table;

/// Write the channels of a pull or flow sheet as CSV for other programs, with W3C CSVW metadata
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook table 0412a-07 --csvw out      writes out/0412a-07.csv and out/0412a-07.csv-metadata.json\n  mulebook table last --csvw .\n  mulebook table h2a-in1-1 --csvw out\n\nNumbers are in the columns record's units, nothing corrected; a missing value is an empty cell."
)]
pub(super) struct Table {
    /// The pull, or the flow sheet
    record: String,
    /// The folder to write both files into; files that are there are not replaced
    #[arg(long, value_name = "DIR")]
    csvw: PathBuf,
}

impl Table {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let table = table::Table::of(&book, &self.record)?;
        let answer = table.export(&book, &self.csvw)?;
        Ok(Said::done(render::table(&answer, surroundings.look()), render::json("table", &answer)))
    }
}
