//! `table`.

use std::fs::File;
use std::fs::OpenOptions;
use std::io::BufWriter;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use clap::Args;

use crate::answer::TableAnswer;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::finding::Finding;
use crate::finding::Place;
use crate::render;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::table;

/// Write a pull's channels as CSV for other programs, with W3C CSVW metadata
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook table 0412a-07 --csvw out      writes out/0412a-07.csv and out/0412a-07.csv-metadata.json\n  mulebook table last --csvw .\n\nNumbers are in the columns record's units, nothing corrected; a missing value is an empty cell."
)]
pub(super) struct Table {
    /// The pull
    pull: String,
    /// The folder to write both files into; files that are there are not replaced
    #[arg(long, value_name = "DIR")]
    csvw: PathBuf,
}

impl Table {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let table = table::Table::of(&book, &self.pull)?;
        std::fs::create_dir_all(&self.csvw).map_err(|error| refused(&self.csvw, &error))?;
        let (csv, metadata) = (self.csvw.join(table.csv_name()), self.csvw.join(table.metadata_name()));
        let mut rows = create(&csv)?;
        let answer = written(&book, &table, &mut rows, &metadata).inspect_err(|_| {
            // Half a table would pass for a whole one; that it cannot be taken away changes nothing of the failure.
            drop(std::fs::remove_file(&csv));
        })?;
        Ok(Said::done(render::table(&answer, surroundings.look()), render::json("table", &answer)))
    }
}

fn written(
    book: &Book,
    table: &table::Table,
    rows: &mut File,
    metadata: &Path,
) -> Result<TableAnswer, Failure> {
    let mut about = create(metadata)?;
    let answer = about
        .write_all(table.metadata().as_bytes())
        .map_err(|error| refused(metadata, &error))
        .and_then(|()| table.write(book, &mut BufWriter::new(rows)));
    if answer.is_err() {
        drop(std::fs::remove_file(metadata));
    }
    answer
}

fn create(path: &Path) -> Result<File, Failure> {
    OpenOptions::new().write(true).create_new(true).open(path).map_err(|error| refused(path, &error))
}

fn refused(path: &Path, error: &std::io::Error) -> Failure {
    Finding::error("table-not-written", format!("the table could not be written: {error}"))
        .at(Place::file(path.display().to_string()))
        .next("name a folder that takes it, and in which no such file is yet")
        .into()
}
