//! Names of what git keeps, and who and when of a commit.

use std::fmt;

use gix::ObjectId;

use super::Error;

/// The name of a commit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CommitId(pub(super) ObjectId);

/// The name git gives to the content of a file or folder; equal names mean equal bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ContentId(pub(super) ObjectId);

impl CommitId {
    /// Reads a full name of 40 hexadecimal digits; anything else is `None`.
    pub fn parse(text: &str) -> Option<Self> {
        ObjectId::from_hex(text.as_bytes()).ok().map(Self)
    }

    /// The first twelve digits, enough to name a commit of one book.
    pub fn short(&self) -> String {
        self.0.to_hex_with_len(12).to_string()
    }
}

impl ContentId {
    /// The name these bytes have as a file in git.
    pub fn of(bytes: &[u8]) -> Result<Self, Error> {
        gix::objs::compute_hash(gix::hash::Kind::Sha1, gix::objs::Kind::Blob, bytes)
            .map(Self)
            .map_err(Error::git("hash a file's bytes"))
    }

    pub(super) fn parse(text: &str) -> Option<Self> {
        ObjectId::from_hex(text.as_bytes()).ok().map(Self)
    }
}

impl fmt::Display for CommitId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Display for ContentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A day, in seconds.
const DAY: u32 = 86_400;

/// Who made a change, as a commit records it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Author {
    /// Name, without `<`, `>` or line breaks.
    pub name: String,
    /// Address, without `<`, `>` or line breaks; may be empty.
    pub email: String,
}

/// A moment as a commit records it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Time {
    /// Seconds since 1970-01-01T00:00:00Z.
    pub seconds: i64,
    /// Seconds east of Greenwich of the zone it was written in.
    pub offset: i32,
}

impl Author {
    /// The git signature of this person at a moment, refused when git could not read it back.
    pub(super) fn signature(&self, time: Time) -> Result<gix::actor::Signature, Error> {
        let unfit = |text: &str| text.contains(['<', '>']) || text.chars().any(char::is_control);
        if self.name.trim().is_empty() || unfit(&self.name) || unfit(&self.email) {
            return Err(Error::Author { found: format!("{} <{}>", self.name, self.email) });
        }
        if time.seconds < 0 || time.offset.unsigned_abs() >= DAY {
            return Err(Error::Unsupported {
                what: "time of the commit",
                found: format!("{} seconds after 1970, {} east of Greenwich", time.seconds, time.offset),
                expected: "a time git can record: not before 1970, in a zone less than a day from Greenwich",
            });
        }
        Ok(gix::actor::Signature {
            name: self.name.trim().into(),
            email: self.email.trim().into(),
            time: gix::date::Time { seconds: time.seconds, offset: time.offset },
        })
    }
}
