//! Mend a claim, visibly: what was claimed first stays beside what is claimed now.

use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::claim::no_claim;
use crate::workflow::correct::Edit;
use crate::workflow::correct::line;
use crate::workflow::library::claim_path;

/// Mends one term of a claim; the gate refuses what a claim does not have.
///
/// # Errors
/// It is not in the book, or says so already.
pub(super) fn correct_claim(
    draft: &mut Draft<'_>,
    context: &Context,
    tag: &str,
    edit: &Edit<'_>,
) -> Result<String, Failure> {
    let claim = draft.library().claim(tag)?.ok_or_else(|| no_claim(draft.library(), tag))?;
    let was = match edit.name {
        "says" => claim.says.clone(),
        "at" => claim.terms.speeds.to_string(),
        "scope.says" => claim.terms.scope.says.clone().unwrap_or_else(|| "nothing".to_owned()),
        name => match name.strip_prefix("scope.parts.") {
            Some(role) => {
                claim.terms.scope.parts.get(role).map_or_else(|| "nothing".to_owned(), ToString::to_string)
            }
            None => {
                let told = claim.terms.told().into_iter().find(|(own, _)| *own == name);
                told.map_or_else(|| "nothing".to_owned(), |(_, value)| value)
            }
        },
    };
    if was == edit.value {
        return Err(Finding::error("nothing-changed", "this is what the record says already")
            .found(was)
            .into());
    }
    let line = line(context, edit, edit.name, Piece::text(edit.value), &was)?;
    let path = claim_path(tag);
    let mut document = draft.document(&path)?;
    document.append(&["corrected"], &line)?;
    draft.put(&path, document.text())?;
    Ok(format!("claim {tag}: {} is {} (was {was}).", edit.name, edit.value))
}
