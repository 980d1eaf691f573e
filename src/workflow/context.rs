//! What a use case takes from the outermost room: time, person, process. Nothing here is looked up inside.

use chrono::DateTime;
use chrono::FixedOffset;

use crate::store::Author;
use crate::store::LockHolder;
use crate::store::Time;

/// Told how far long work has come: what, how much is done, how much there is where known.
pub type Progress = Box<dyn Fn(&str, u64, Option<u64>)>;

/// The surroundings of one command.
pub struct Context {
    /// Now, in the writer's own zone.
    pub now: DateTime<FixedOffset>,
    /// Who enters things, as people.yaml calls them, where known.
    pub person: Option<String>,
    /// Who the commit names.
    pub author: Author,
    /// This process.
    pub process: u32,
    /// The command, for messages and the journal.
    pub command: String,
    /// Told how far long work has come.
    pub progress: Progress,
}

impl Context {
    /// The moment as a commit records it.
    pub fn time(&self) -> Time {
        Time { seconds: self.now.timestamp(), offset: self.now.offset().local_minus_utc() }
    }

    /// This process as holder of the book's lock.
    pub fn holder(&self) -> LockHolder {
        LockHolder {
            process: self.process,
            since: self.now.format("%Y-%m-%d %H:%M:%S").to_string(),
            command: self.command.clone(),
        }
    }

    /// Today, as records write it.
    pub fn today(&self) -> String {
        self.now.format("%Y-%m-%d").to_string()
    }

    /// Now, as records write it.
    pub fn moment(&self) -> String {
        self.now.to_rfc3339_opts(chrono::SecondsFormat::Secs, false)
    }
}
