//! Put a damaged book right, as far as that can be done without guessing.

use std::collections::BTreeMap;
use std::path::Path;

use crate::answer::LitterLine;
use crate::answer::MendAnswer;
use crate::answer::MendedLine;
use crate::store::Book;
use crate::store::BookCopy;
use crate::store::Error;
use crate::store::Mending;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::audit;
use crate::workflow::draft::recovered_words;
use crate::workflow::figure_files;

/// Mends the book that a folder lies in, from itself and from another copy where one is given, and audits it.
///
/// # Errors
/// The book cannot be opened even so, is being written, or the disk fails; what cannot be mended is part of the answer.
pub fn mend(
    folder: &Path,
    from: Option<&Path>,
    clean: bool,
    context: &Context,
) -> Result<MendAnswer, Failure> {
    let copy = from.map(BookCopy::open).transpose()?;
    let mut left = Vec::new();
    let mut disk_failed = false;
    let mut mending = Mending::open(folder, &context.holder())?;
    mending.references()?;
    mending.objects(copy.as_ref(), &mut |read| (context.progress)("reading objects", read, None))?;
    mending.references()?;
    if mending.book().head().is_ok() {
        match mending.work_tree() {
            Ok(true) => {}
            Ok(false) => left.push(
                "the work tree and the index: git is at work in the book, or left its lock on the index, or a merge \
                 or the like is not finished"
                    .to_owned(),
            ),
            Err(error) => {
                disk_failed = matches!(error, Error::Io { .. } | Error::GitDisk { .. });
                left.push(format!("the work tree and the index: {error}"));
            }
        }
        let named = raw_files_named(mending.book());
        mending.large_raw(&named, copy.as_ref(), &mut |bytes| {
            (context.progress)("fetching bytes", bytes, None)
        })?;
    }
    mending.cache();
    let mut litter = Vec::new();
    for thing in mending.litter(context.time().seconds)? {
        let cleaned = clean && thing.stays.is_none();
        if cleaned {
            mending.clean(&thing)?;
        }
        litter.push(LitterLine {
            path: thing.path,
            what: thing.what.to_owned(),
            bytes: thing.bytes,
            cleaned,
            stays: thing.stays.map(str::to_owned),
        });
    }
    let mended = mending
        .mended()
        .iter()
        .map(|mended| MendedLine {
            path: mended.path.clone(),
            what: mended.what.to_owned(),
            from: mended.from.clone(),
            aside: mended.aside.clone(),
        })
        .collect();
    let recovered = mending.recovered().map(recovered_words);
    let found = audit::audit(mending.book(), context)?;
    let may_go = litter.iter().any(|litter| litter.stays.is_none() && !litter.cleaned);
    let next = match (found.damage.is_empty(), copy.is_some(), may_go) {
        (false, false, _) => {
            "mulebook mend --from COPY   fetches the rest from a clone or a backup of the book"
        }
        (false, true, _) => "try another copy with `mulebook mend --from COPY`; what no copy has is lost",
        (true, _, true) => "mulebook mend --clean   removes what lies about",
        (true, ..) => "everything that the book names is here and holds",
    };
    Ok(MendAnswer {
        mended,
        recovered,
        litter,
        damage: found.damage,
        touched: found.touched,
        left,
        disk_failed,
        commit: found.commit,
        next: next.to_owned(),
    })
}

/// The raw files that the last commit's records name, by SHA-256, and where; of what can be read.
fn raw_files_named(book: &Book) -> BTreeMap<String, String> {
    let mut named = BTreeMap::new();
    let Ok(library) = Library::at_head(book) else { return named };
    for path in figure_files::records(&library).unwrap_or_default() {
        let found = figure_files::named_in(&library, &path).unwrap_or_default();
        named.extend(found.into_iter().map(|(sha256, place)| (sha256, place.file)));
    }
    named
}
