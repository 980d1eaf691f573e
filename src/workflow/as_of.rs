//! Which version of the book a question is put to: the last commit, the work tree, or what was known on a date.

use std::cell::OnceCell;

use chrono::Days;
use chrono::FixedOffset;
use chrono::NaiveDate;
use chrono::TimeZone;

use crate::answer::KnownLine;
use crate::finding::Finding;
use crate::store::Book;
use crate::store::CommitId;
use crate::store::Time;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::pending_among;

/// Which version of the book is asked.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum AsOf {
    /// The last commit.
    #[default]
    Present,
    /// The work tree, pending edits included.
    Pending,
    /// What was known at the end of that day, in the book's own zone.
    KnownOn(KnownOn),
}

/// A day, and the commit of a book that it was found to lead to: looked for once, so that an answer and what is said
/// of its day speak of the same commit, whatever is kept meanwhile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnownOn {
    day: String,
    found: OnceCell<(CommitId, Time)>,
}

impl AsOf {
    /// What was known at the end of a day, `2026-04-12`.
    pub fn known_on(day: impl Into<String>) -> Self {
        Self::KnownOn(KnownOn { day: day.into(), found: OnceCell::new() })
    }

    /// The records of that version.
    ///
    /// Known on a day is the last commit of the first-parent line whose time, as the latest on the way from the root to
    /// it, is at or before the end of the day.
    ///
    /// # Errors
    /// It is no day, the book did not exist then, or it cannot be read.
    pub fn library(&self, book: &Book) -> Result<Library, Failure> {
        let library = match self {
            Self::Present => Library::at_head(book),
            Self::Pending => Library::with_pending(book),
            Self::KnownOn(known) => Library::at(book, known.found(book)?.0),
        }?;
        Ok(library.remembering())
    }

    /// The files with pending edits that would change an answer; none where it does not speak of the present.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn pending_among(&self, book: &Book, library: &Library) -> Result<Vec<String>, Failure> {
        match self {
            Self::Present => pending_among(book, &library.touched()),
            Self::Pending | Self::KnownOn(_) => Ok(Vec::new()),
        }
    }

    /// The day that was asked for and the commit that it leads to, where a day was asked for.
    ///
    /// # Errors
    /// As [`AsOf::library`].
    pub fn known(&self, book: &Book) -> Result<Option<KnownLine>, Failure> {
        let Self::KnownOn(known) = self else { return Ok(None) };
        let (commit, time) = known.found(book)?;
        Ok(Some(KnownLine { on: known.day.clone(), commit: commit.to_string(), committed: moment_of(time) }))
    }
}

impl KnownOn {
    fn found(&self, book: &Book) -> Result<(CommitId, Time), Failure> {
        if let Some(found) = self.found.get() {
            return Ok(*found);
        }
        let found = commit_of(book, &self.day)?;
        Ok(*self.found.get_or_init(|| found))
    }
}

fn commit_of(book: &Book, day: &str) -> Result<(CommitId, Time), Failure> {
    let date =
        NaiveDate::parse_from_str(day, "%Y-%m-%d").ok().filter(|_| day.len() == 10).ok_or_else(|| {
            Failure::usage(
                Finding::error("not-a-date", "this is no day")
                    .found(format!("`{day}`"))
                    .expected("for example 2026-04-12"),
            )
        })?;
    let zone = FixedOffset::east_opt(Library::at_head(book)?.page().zone_seconds);
    let midnight = date.checked_add_days(Days::new(1)).and_then(|next| next.and_hms_opt(0, 0, 0));
    let end = zone.zip(midnight).and_then(|(zone, midnight)| zone.from_local_datetime(&midnight).single());
    // Committer times are whole seconds: the last one of the day is the one before midnight.
    let known = end.map(|end| book.known_on(end.timestamp() - 1)).transpose()?.flatten();
    match known {
        Some(snapshot) => Ok((snapshot.commit(), snapshot.time())),
        None => Err(Finding::error("not-known-yet", "the book did not exist on that day")
            .found(day.to_owned())
            .next("`git log --reverse` shows when it began")
            .into()),
    }
}

/// A commit's time as records write one.
pub(super) fn moment_of(time: Time) -> String {
    let zone = FixedOffset::east_opt(time.offset);
    let moment = chrono::DateTime::from_timestamp(time.seconds, 0).zip(zone);
    moment.map(|(moment, zone)| moment.with_timezone(&zone).to_rfc3339()).unwrap_or_default()
}
