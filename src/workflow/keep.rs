//! Keep hand edits: everything pending is checked together and committed as one, or nothing is.

use std::collections::BTreeMap;

use crate::answer::Entered;
use crate::finding::Finding;
use crate::finding::Place;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::book_schemas;

/// Checks the pending edits together with all they touch and commits them.
///
/// # Errors
/// Everything that does not hold, with file and line; nothing is kept then.
pub fn keep(book: &Book, context: &Context, message: Option<&str>) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let pending = draft.pending_all()?;
    if pending.is_empty() {
        return Err(Finding::error(
            "nothing-changed",
            "there is nothing to keep: the work tree is as the last commit has it",
        )
        .into());
    }
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    for edit in &pending {
        if edit.path.starts_with(book_schemas::FOLDER) {
            return Err(Finding::error(
                "schema-copy",
                "this file is the program's, for the editor: edits of it change nothing",
            )
            .at(Place::file(&edit.path))
            .next("`git checkout -- .schema` takes them back; a book's own kinds of part go in schema/")
            .into());
        }
        let bytes = book.work_file(&edit.path)?;
        let word = match edit.edit {
            crate::store::Edit::Added => "new",
            crate::store::Edit::Modified => "edited",
            crate::store::Edit::Removed => "removed",
            crate::store::Edit::Replaced => {
                return Err(Finding::error(
                    "not-a-plain-file",
                    format!("{} is no plain file any more", edit.path),
                )
                .next("put a plain file there, or take the change back")
                .into());
            }
        };
        *counts.entry(word).or_default() += 1;
        draft.put_pending(&edit.path, bytes)?;
    }
    draft.reload_schemas()?;
    let words: Vec<String> = counts.iter().map(|(word, count)| format!("{count} {word}")).collect();
    let paths: Vec<&str> = pending.iter().map(|edit| edit.path.as_str()).collect();
    let subject = message.map_or_else(
        || match paths.as_slice() {
            [one] => format!("Keep {one}"),
            several => format!("Keep {} edits", several.len()),
        },
        str::to_owned,
    );
    let written = draft.commit(context, &subject)?;
    Ok(Entered {
        did: format!(
            "Kept {}: {}.",
            if pending.len() == 1 { "one edit".to_owned() } else { format!("{} edits", pending.len()) },
            words.join(", ")
        ),
        notes: Vec::new(),
        written,
        next: "mulebook gaps   shows what is not documented yet".to_owned(),
    })
}
