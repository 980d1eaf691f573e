//! The files behind a sheet, each with what looking at its bytes gave: raw files of pulls, photos beside figures.

use crate::answer::HashCheck;
use crate::answer::SheetFile;
use crate::answer::SheetLine;
use crate::check::SheetItem;
use crate::record::RawFile;
use crate::store::Book;
use crate::store::RawCheck;
use crate::workflow::Failure;

/// A raw file, looked at for this answer.
///
/// # Errors
/// The store's.
pub(super) fn looked_at(book: &Book, raw: &RawFile) -> Result<SheetFile, Failure> {
    let check = match book.raw().check(&raw.sha256)? {
        RawCheck::Good { bytes } if bytes == raw.bytes => HashCheck::Holds,
        RawCheck::Good { .. } | RawCheck::Damaged { .. } => HashCheck::Damaged,
        RawCheck::Missing => HashCheck::NotHere,
    };
    Ok(SheetFile {
        file: raw.file.clone(),
        sha256: raw.sha256.clone(),
        bytes: raw.bytes,
        segment: raw.segment,
        columns: raw.columns.clone(),
        check,
    })
}

/// Items as lines, each with the files that show it.
///
/// # Errors
/// The store's.
pub(super) fn lines(book: &Book, items: &[SheetItem]) -> Result<Vec<SheetLine>, Failure> {
    let line = |item: &SheetItem| {
        let files = item.told.known().map(|shown| shown.files.as_slice()).unwrap_or_default();
        let files = files.iter().map(|file| looked_at(book, file)).collect::<Result<_, _>>()?;
        Ok(SheetLine { files, ..SheetLine::from(item) })
    };
    items.iter().map(line).collect()
}
