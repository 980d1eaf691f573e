//! The channels of a pull or flow sheet as a table for other programs: CSV, with CSVW metadata that says what the columns mean.
//!
//! Source: W3C, Model for Tabular Data and Metadata on the Web, and Metadata Vocabulary for Tabular Data (both
//! 17 December 2015): the metadata of `x.csv` is found at `x.csv-metadata.json`.

use std::io::BufWriter;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use serde_json::Value;
use serde_json::json;

use crate::answer::TableAnswer;
use crate::answer::csv_cell;
use crate::answer::plain_text;
use crate::finding::Finding;
use crate::finding::Place;
use crate::raw;
use crate::record::RawFile;
use crate::record::columns::Column;
use crate::record::columns::Columns;
use crate::store::Book;
use crate::store::Outward;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::look;
use crate::workflow::names;

/// A pull or flow sheet whose table can be written.
pub struct Table {
    kind: &'static str,
    record: String,
    raw: RawFile,
    columns: Columns,
}

impl Table {
    /// Finds the table of a flow sheet or a pull.
    ///
    /// # Errors
    /// No flow sheet or pull is called so, or it has no file with a columns record.
    pub fn of(book: &Book, name: &str) -> Result<Self, Failure> {
        let library = Library::at_head(book)?;
        let (kind, record, files) = match library.flow(name)? {
            Some(sheet) => ("flow sheet", sheet.tag, sheet.raw),
            None => {
                let id = names::pull(&library, name)?;
                let pull = library.pull(&id)?;
                ("pull", id, pull.map(|pull| pull.raw).unwrap_or_default())
            }
        };
        for raw in files {
            let Some(name) = raw.columns.clone() else { continue };
            let columns = library.columns(&name)?.ok_or_else(|| look::no_columns(&library, &name))?;
            return Ok(Self { kind, record, raw, columns: Arc::unwrap_or_clone(columns) });
        }
        Err(Finding::error("no-table", format!("this {kind} has no raw file with a columns record"))
            .found(format!("`{record}`"))
            .into())
    }

    /// The name of the CSV file.
    pub fn csv_name(&self) -> String {
        format!("{}.csv", self.record)
    }

    /// The name of the metadata file, by which every CSVW reader finds it.
    pub fn metadata_name(&self) -> String {
        format!("{}-metadata.json", self.csv_name())
    }

    /// The metadata: dialect, and each column's name, title, datatype and unit.
    pub fn metadata(&self) -> String {
        let columns: Vec<Value> = self
            .columns
            .channels
            .iter()
            .enumerate()
            .map(|(at, column)| {
                let mut value = json!({
                    "name": self.column_name(at),
                    "titles": title(column),
                    "datatype": "double",
                    "null": "",
                    "dc:subject": column.quantity.word(),
                });
                if let Some(unit) = unit(column) {
                    value["schema:unitText"] = json!(unit);
                }
                if let Some(about) = column.basis.as_ref().or(column.fuel.as_ref()) {
                    value["dc:description"] = json!(about);
                }
                value
            })
            .collect();
        let metadata = json!({
            "@context": "http://www.w3.org/ns/csvw",
            "url": self.csv_name(),
            "dc:title": format!("{} {}", self.kind, self.record),
            "dc:source": format!("{} (SHA-256 {})", self.raw.file, self.raw.sha256),
            "dialect": {
                "encoding": "utf-8",
                "delimiter": ",",
                "quoteChar": "\"",
                "doubleQuote": true,
                "header": true,
                "headerRowCount": 1,
                "lineTerminators": ["\r\n", "\n"],
            },
            "tableSchema": {"columns": columns},
        });
        format!("{metadata:#}\n")
    }

    /// Writes both files into a folder; neither replaces one that is there.
    ///
    /// # Errors
    /// The raw file is not here or does not fit its columns record, or a file cannot be written; nothing half-written
    /// is left then.
    pub fn export(&self, book: &Book, folder: &Path) -> Result<TableAnswer, Failure> {
        let rows = Outward::create(folder, &self.csv_name())?;
        let mut about = Outward::create(folder, &self.metadata_name())?;
        about.write_all(self.metadata().as_bytes()).map_err(|error| self.not_written(&error))?;
        let mut rows = BufWriter::new(rows);
        let answer = self.write(book, &mut rows)?;
        let rows = rows.into_inner().map_err(|error| self.not_written(error.error()))?;
        Outward::keep([rows, about])?;
        Ok(answer)
    }

    fn not_written(&self, error: &std::io::Error) -> Failure {
        Finding::error("table-not-written", format!("the table could not be written: {error}"))
            .at(Place::file(self.csv_name()))
            .into()
    }

    /// Writes the rows in the columns record's units, a missing value as an empty cell (RFC 4180).
    fn write(&self, book: &Book, out: &mut dyn Write) -> Result<TableAnswer, Failure> {
        let Some(mut reader) = book.raw().open(&self.raw.sha256)? else {
            return Err(Finding::error("raw-not-here", "this raw file is not in this copy of the book")
                .at(Place::file(self.raw.file.clone()))
                .found(format!("SHA-256 {}", self.raw.sha256))
                .into());
        };
        let header: Vec<String> = self.columns.channels.iter().map(|column| csv_cell(&column.name)).collect();
        let mut trouble = out.write_all(format!("{}\r\n", header.join(",")).as_bytes()).err();
        let mut rows = 0;
        let mut text = String::new();
        raw::read(&mut reader, &self.columns, &mut |batch| {
            if trouble.is_some() || self.raw.segment.is_some_and(|segment| segment != batch.segment) {
                return;
            }
            text.clear();
            for row in 0..batch.rows() {
                for (at, column) in batch.columns.iter().enumerate() {
                    if at > 0 {
                        text.push(',');
                    }
                    // The shortest form that reads back to the same bits.
                    if let Some(value) = column.get(row).filter(|value| !value.is_nan()) {
                        text.push_str(&value.to_string());
                    }
                }
                text.push_str("\r\n");
            }
            rows += batch.rows() as u64;
            trouble = out.write_all(text.as_bytes()).err();
        })?;
        let trouble = trouble.or_else(|| out.flush().err());
        if let Some(error) = trouble {
            return Err(self.not_written(&error));
        }
        Ok(TableAnswer {
            kind: self.kind,
            record: self.record.clone(),
            csv: self.csv_name(),
            metadata: self.metadata_name(),
            rows,
            columns: self
                .columns
                .channels
                .iter()
                .map(|column| match unit(column) {
                    Some(unit) => format!("{} [{unit}]", column.name),
                    None => column.name.clone(),
                })
                .collect(),
        })
    }

    /// A name that needs no escaping in a URI template, told apart by its place where two would be alike.
    fn column_name(&self, at: usize) -> String {
        let plain = |at: usize| -> String {
            let name = self.columns.channels.get(at).map_or("", |column| column.name.as_str());
            let words: Vec<String> = name
                .split(|c: char| !c.is_ascii_alphanumeric())
                .filter(|word| !word.is_empty())
                .map(str::to_ascii_lowercase)
                .collect();
            if words.is_empty() { format!("column_{}", at + 1) } else { words.join("_") }
        };
        let own = plain(at);
        let alike = (0..self.columns.channels.len()).any(|other| other != at && plain(other) == own);
        if alike { format!("{own}_column_{}", at + 1) } else { own }
    }
}

/// The unit of what is written: time that counts from the file's first is in seconds.
fn unit(column: &Column) -> Option<&str> {
    match column.time {
        Some(form) if form.counts_from_first() => Some("s"),
        _ => column.unit.as_deref(),
    }
}

/// A column's title, which no spreadsheet takes for a formula.
fn title(column: &Column) -> String {
    plain_text(&column.name).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::channel::ChannelQuantity;
    use crate::record::columns::Layout;

    fn table(names: &[&str]) -> Table {
        let channels =
            names.iter().map(|name| Column::by_header(*name, ChannelQuantity::Other, Some("kPa"))).collect();
        Table {
            kind: "pull",
            record: "0412a-07".to_owned(),
            raw: RawFile {
                file: "run.csv".to_owned(),
                sha256: "0".repeat(64),
                bytes: 1,
                columns: Some("cell-1".to_owned()),
                segment: None,
                derived_from: None,
            },
            columns: Columns { name: "cell-1".to_owned(), layout: Layout::default(), channels, note: None },
        }
    }

    #[test]
    fn names_are_plain_and_differ() {
        let table = table(&["Oil P", "oil-p", "Öl", "°", "=1+1"]);
        let names: Vec<String> = (0..5).map(|at| table.column_name(at)).collect();
        assert_eq!(names, ["oil_p_column_1", "oil_p_column_2", "l", "column_4", "1_1"]);
    }

    #[test]
    fn a_title_that_looks_like_a_formula_is_prefixed() {
        let table = table(&["=HYPERLINK(1,2)", "a \"b\""]);
        assert_eq!(title(&table.columns.channels[0]), "'=HYPERLINK(1,2)");
        assert!(table.metadata().contains("'=HYPERLINK(1,2)"));
    }
}
