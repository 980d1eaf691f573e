//! Records that many answers share, kept once read.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;

use crate::record::Build;
use crate::record::Cell;
use crate::record::Instrument;
use crate::record::Part;
use crate::record::Session;
use crate::record::columns::Columns;
use crate::workflow::Failure;
use crate::workflow::Library;

/// A record by the path of its manifest.
pub(super) type Shelf<T> = RefCell<BTreeMap<String, Option<T>>>;

/// Records once read; nothing of pulls, which nothing shares.
#[derive(Debug, Default)]
pub(super) struct Memo {
    pub(super) parts: Shelf<Arc<Part>>,
    /// Where the part of a tag lies.
    pub(super) part_paths: RefCell<BTreeMap<String, Option<String>>>,
    pub(super) builds: Shelf<Arc<Build>>,
    pub(super) sessions: Shelf<Arc<Session>>,
    pub(super) cells: Shelf<Arc<Cell>>,
    pub(super) instruments: Shelf<Arc<Instrument>>,
    pub(super) columns: Shelf<Arc<Columns>>,
}

impl Library {
    /// A record as remembered, else as read, which is remembered unless it does not hold.
    pub(super) fn once<T: Clone>(
        &self,
        path: &str,
        shelf: impl Fn(&Memo) -> &Shelf<T>,
        read: impl FnOnce() -> Result<Option<T>, Failure>,
    ) -> Result<Option<T>, Failure> {
        let Some(memo) = &self.memo else { return read() };
        if let Some(known) = shelf(memo).borrow().get(path) {
            // It counts as read for this answer, too.
            self.touch(path);
            return Ok(known.clone());
        }
        let found = read()?;
        shelf(memo).borrow_mut().insert(path.to_owned(), found.clone());
        Ok(found)
    }
}
