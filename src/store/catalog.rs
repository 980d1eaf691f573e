//! The catalog: what was worked out from a commit, kept in an embedded database so that it need not be worked out again.
//!
//! It is derived, never evidence: it may be deleted at any time, and whatever is not exactly what was put in (damage, a
//! file of another program, a lock that another process holds) reads as nothing, and the caller goes to git instead. Each
//! row carries a check of its shelf, its key and its body, since SQLite by itself does not tell a flipped bit in a row from
//! the truth. A row that is missing cannot be told from one that was never put in: callers keep a list, checked as well.

use std::fs;
use std::path::PathBuf;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension, TransactionBehavior, params};
use sha2::{Digest, Sha256};

use super::path::{Standing, standing};
use super::{Book, ContentId, Snapshot, sync};

/// `MULE`, by which SQLite files say whose they are.
const APPLICATION: i32 = 0x4d55_4c45;
/// Goes up when the tables change.
const FORM: i32 = 2;
/// How long a reader waits for a writer of another process before it goes to git.
const PATIENCE: Duration = Duration::from_millis(200);
/// Length of a row's check, in bytes.
const CHECK: usize = 16;

/// The check of a row: equal for equal shelf, key and body.
pub type RowCheck = [u8; CHECK];

/// An opened catalog.
#[derive(Debug)]
pub struct Catalog {
    database: Connection,
    path: PathBuf,
}

/// Why a catalog does not say what it was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CatalogTrouble {
    /// Another process holds it, or it cannot be reached.
    Busy,
    /// It is not as it was written.
    Damaged,
}

/// A change of one row; no body takes it away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowChange {
    /// The shelf, which holds rows of one sort.
    pub shelf: String,
    /// The row's name on its shelf.
    pub key: String,
    /// What it holds.
    pub body: Option<Vec<u8>>,
}

impl Book {
    /// The catalog of the book; `None` where none can be had: a folder that may not be written, a lock.
    pub fn catalog(&self) -> Option<Catalog> {
        Catalog::at(self.state_path())
    }
}

impl Snapshot {
    /// The catalog of the whole book, as [`Book::catalog`].
    pub fn catalog(&self) -> Option<Catalog> {
        Catalog::at(self.git_folder().join("mulebook"))
    }

    /// Every file that another commit holds otherwise, or only one of the two has; sorted. `None` when the other commit
    /// is not here.
    pub fn files_unlike(&self, other: super::CommitId) -> Option<Vec<String>> {
        let before = Snapshot::open(self.repo(), other).ok()?;
        let mut changed = Vec::new();
        let mut open = vec![(String::new(), Some(before.tree()), Some(self.tree()))];
        while let Some((inside, old, new)) = open.pop() {
            let entries = |tree: Option<gix::ObjectId>| match tree {
                Some(tree) => super::snapshot::read_folder(self.repo(), tree).ok(),
                None => Some(Vec::new()),
            };
            let (old, new) = (entries(old)?, entries(new)?);
            let (mut old, mut new) = (old.into_iter().peekable(), new.into_iter().peekable());
            loop {
                let (a, b) = match (old.peek(), new.peek()) {
                    (None, None) => break,
                    (Some(a), Some(b)) if a.name == b.name => (old.next(), new.next()),
                    (Some(a), Some(b)) if a.name < b.name => (old.next(), None),
                    (Some(_), None) => (old.next(), None),
                    _ => (None, new.next()),
                };
                if let (Some(a), Some(b)) = (&a, &b)
                    && a.id == b.id
                    && a.kind == b.kind
                {
                    continue;
                }
                let name = a.as_ref().or(b.as_ref()).map(|entry| entry.name.clone()).unwrap_or_default();
                let path = if inside.is_empty() { name } else { format!("{inside}/{name}") };
                let is_folder = |entry: &super::Entry| entry.kind == super::EntryKind::Folder;
                let folder = |entry: &Option<super::Entry>| {
                    entry.as_ref().filter(|entry| is_folder(entry)).map(|entry| entry.id.0)
                };
                let (below, above) = (folder(&a), folder(&b));
                if [&a, &b].into_iter().flatten().any(|entry| !is_folder(entry)) {
                    changed.push(path.clone());
                }
                if below.is_some() || above.is_some() {
                    open.push((path, below, above));
                }
            }
        }
        changed.sort();
        Some(changed)
    }
}

impl ContentId {
    /// Its bytes.
    pub fn to_bytes(self) -> Vec<u8> {
        self.0.as_bytes().to_vec()
    }

    /// The name with these bytes; `None` when they are of another length.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        gix::ObjectId::try_from(bytes).ok().map(Self)
    }
}

impl Catalog {
    fn at(state: PathBuf) -> Option<Self> {
        let path = state.join("catalog.sqlite");
        match standing(&path).ok()? {
            Standing::File(_) => {}
            Standing::Nothing => match standing(&state).ok()? {
                Standing::Folder => {}
                Standing::Nothing => drop(sync::make_folder(&state).ok()?),
                Standing::File(_) | Standing::Other(_) => return None,
            },
            Standing::Folder | Standing::Other(_) => return None,
        }
        match Self::open(&path) {
            Ok(database) => Some(Self { database, path }),
            // Whatever it is, it is no catalog of this form.
            Err(error) if trouble(&error) == CatalogTrouble::Damaged => Self::anew(path),
            Err(_) => None,
        }
    }

    /// An empty catalog in the place of this one.
    #[must_use]
    pub fn renewed(self) -> Option<Self> {
        let Self { database, path } = self;
        drop(database);
        Self::anew(path)
    }

    fn anew(path: PathBuf) -> Option<Self> {
        fs::remove_file(&path).ok()?;
        let mut journal = path.clone().into_os_string();
        journal.push("-journal");
        let _ = fs::remove_file(journal);
        let database = Self::open(&path).ok()?;
        Some(Self { database, path })
    }

    fn open(path: &std::path::Path) -> rusqlite::Result<Connection> {
        let writing = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
        let own = OpenFlags::SQLITE_OPEN_NO_MUTEX | OpenFlags::SQLITE_OPEN_NOFOLLOW;
        let database = Connection::open_with_flags(path, writing | own)
            .or_else(|_| Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY | own))?;
        database.busy_timeout(PATIENCE)?;
        // What a power cut leaves torn is found by the checks and made again, so nothing waits for the disk.
        database.execute_batch(
            "PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON; PRAGMA synchronous = OFF; PRAGMA temp_store = MEMORY;",
        )?;
        let number =
            |name: &str| database.query_row(&format!("PRAGMA {name}"), [], |row| row.get::<_, i32>(0));
        if (number("application_id")?, number("user_version")?) != (APPLICATION, FORM) {
            if number("schema_version")? != 0 {
                return Err(rusqlite::Error::InvalidQuery);
            }
            database.execute_batch(&format!(
                "PRAGMA page_size = 8192; BEGIN IMMEDIATE; \
                 CREATE TABLE IF NOT EXISTS rows (shelf TEXT NOT NULL, key TEXT NOT NULL, seal BLOB NOT NULL, \
                 body BLOB NOT NULL, PRIMARY KEY (shelf, key)) WITHOUT ROWID; \
                 PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {FORM}; COMMIT;"
            ))?;
        }
        Ok(database)
    }

    /// What a row holds; `None` when it is not there.
    ///
    /// # Errors
    /// It is not as it was put in, or cannot be read now.
    pub fn read(&self, shelf: &str, key: &str) -> Result<Option<Vec<u8>>, CatalogTrouble> {
        let select = "SELECT seal, body FROM rows WHERE shelf = ?1 AND key = ?2";
        let mut statement = self.database.prepare(select).map_err(|error| trouble(&error))?;
        let found = statement
            .query_row(params![shelf, key], |row| Ok((row.get::<_, Vec<u8>>(0)?, row.get::<_, Vec<u8>>(1)?)))
            .optional()
            .map_err(|error| trouble(&error))?;
        match found {
            Some((seal, body)) if seal == row_check(shelf, key, &body) => Ok(Some(body)),
            Some(_) => Err(CatalogTrouble::Damaged),
            None => Ok(None),
        }
    }

    /// Hands on each row of a shelf with its check, in the order of keys, until told to stop.
    ///
    /// # Errors
    /// As [`Catalog::read`].
    pub fn each(
        &self,
        shelf: &str,
        row: &mut dyn FnMut(&str, RowCheck, &[u8]) -> bool,
    ) -> Result<(), CatalogTrouble> {
        let select = "SELECT key, seal, body FROM rows WHERE shelf = ?1 ORDER BY key";
        let mut statement = self.database.prepare(select).map_err(|error| trouble(&error))?;
        let mut rows = statement.query([shelf]).map_err(|error| trouble(&error))?;
        while let Some(found) = rows.next().map_err(|error| trouble(&error))? {
            let blob = |at: usize| found.get_ref(at).ok().and_then(|value| value.as_blob().ok());
            let key = found.get_ref(0).ok().and_then(|value| value.as_str().ok());
            let Some(((key, seal), body)) = key.zip(blob(1)).zip(blob(2)) else {
                return Err(CatalogTrouble::Damaged);
            };
            let check = row_check(shelf, key, body);
            if seal != check {
                return Err(CatalogTrouble::Damaged);
            }
            if !row(key, check, body) {
                break;
            }
        }
        Ok(())
    }

    /// Changes rows, all or none; whether that worked is of no consequence.
    pub fn change(&mut self, changes: &[RowChange]) -> bool {
        self.attempt(changes).is_ok()
    }

    fn attempt(&mut self, changes: &[RowChange]) -> rusqlite::Result<()> {
        let transaction = self.database.transaction_with_behavior(TransactionBehavior::Immediate)?;
        {
            let mut put = transaction
                .prepare("INSERT OR REPLACE INTO rows (shelf, key, seal, body) VALUES (?1, ?2, ?3, ?4)")?;
            let mut take = transaction.prepare("DELETE FROM rows WHERE shelf = ?1 AND key = ?2")?;
            for RowChange { shelf, key, body } in changes {
                match body {
                    Some(body) => {
                        put.execute(params![shelf, key, row_check(shelf, key, body).as_slice(), body])?
                    }
                    None => take.execute(params![shelf, key])?,
                };
            }
        }
        transaction.commit()
    }
}

/// The check of a row that holds this.
pub fn row_check(shelf: &str, key: &str, body: &[u8]) -> RowCheck {
    let mut hash = Sha256::new();
    for name in [shelf, key] {
        hash.update((name.len() as u64).to_le_bytes());
        hash.update(name.as_bytes());
    }
    hash.update(body);
    let mut check = [0; CHECK];
    check.copy_from_slice(&hash.finalize()[..CHECK]);
    check
}

/// Whether the file itself is at fault, or it is locked or may not be written.
fn trouble(error: &rusqlite::Error) -> CatalogTrouble {
    use rusqlite::ErrorCode;
    match error {
        rusqlite::Error::SqliteFailure(failure, _) => match failure.code {
            ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::Unknown => {
                CatalogTrouble::Damaged
            }
            _ => CatalogTrouble::Busy,
        },
        // Rows, columns or types that are not there: another's tables.
        _ => CatalogTrouble::Damaged,
    }
}
