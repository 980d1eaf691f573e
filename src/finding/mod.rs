//! What is wrong, or worth knowing, about a record or a file, as data.
//!
//! In: nothing. Out: [`Finding`]s that other rooms collect and go on. This room prints nothing and stops nothing.

use std::fmt;

use serde::Serialize;

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; changes nothing.
    Note,
    /// Implausible: kept as it stands and marked.
    Doubt,
    /// Not acceptable: the record or file cannot be used as it is.
    Error,
}

/// Where a finding lies: a file and, where known, the line, column and field in it.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Place {
    /// Path inside the book, or the name of the raw file.
    pub file: String,
    /// Line, counted from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<usize>,
    /// Column in characters, counted from 1; in a table, see `field` for the table's column.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<usize>,
    /// The field's path in the record (`states.2.figures.chamber-volume`), or the table column's name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
}

impl Place {
    /// A place that is a whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Self { file: file.into(), ..Self::default() }
    }

    /// The same place narrowed to a line.
    #[must_use]
    pub fn line(mut self, line: usize) -> Self {
        self.line = Some(line);
        self
    }

    /// The same place narrowed to a column.
    #[must_use]
    pub fn column(mut self, column: usize) -> Self {
        self.column = Some(column);
        self
    }

    /// The same place narrowed to a field.
    #[must_use]
    pub fn field(mut self, field: impl Into<String>) -> Self {
        self.field = Some(field.into());
        self
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        if let Some(field) = &self.field {
            write!(f, " ({field})")?;
        }
        Ok(())
    }
}

/// One thing found in a record or file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// A short stable name of the kind of finding, in kebab case (`unit-of-wrong-kind`).
    pub code: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// Where it lies, as far as known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// One sentence in plain words, lower case, no full stop.
    pub message: String,
    /// What stood there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found: Option<String>,
    /// What would have been right.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected: Option<String>,
    /// What to do next.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

impl Finding {
    /// A finding that forbids using the record or file as it is.
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Error, code, message)
    }

    /// A finding that is kept beside what was read.
    pub fn doubt(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Doubt, code, message)
    }

    /// A finding that is only worth knowing.
    pub fn note(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Note, code, message)
    }

    fn new(severity: Severity, code: &'static str, message: impl Into<String>) -> Self {
        Self { code, severity, place: None, message: message.into(), found: None, expected: None, next: None }
    }

    /// Adds where it lies.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }

    /// Adds what stood there.
    #[must_use]
    pub fn found(mut self, found: impl Into<String>) -> Self {
        self.found = Some(found.into());
        self
    }

    /// Adds what would have been right.
    #[must_use]
    pub fn expected(mut self, expected: impl Into<String>) -> Self {
        self.expected = Some(expected.into());
        self
    }

    /// Adds the next step.
    #[must_use]
    pub fn next(mut self, next: impl Into<String>) -> Self {
        self.next = Some(next.into());
        self
    }

    /// Whether it forbids using the record or file.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(place) = &self.place {
            write!(f, "{place}: ")?;
        }
        f.write_str(&self.message)?;
        if let Some(found) = &self.found {
            write!(f, "; found {found}")?;
        }
        if let Some(expected) = &self.expected {
            write!(f, "; expected {expected}")?;
        }
        if let Some(next) = &self.next {
            write!(f, "; {next}")?;
        }
        Ok(())
    }
}
