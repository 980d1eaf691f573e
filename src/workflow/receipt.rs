//! A receipt for the sponsor on test day: one line that ties the book as it stands now to a day that the sponsor vouches for.

use crate::answer::ReceiptAnswer;
use crate::evidence::ObjectId;
use crate::evidence::Receipt;
use crate::evidence::chain_findings;
use crate::finding::Finding;
use crate::finding::Place;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;

/// Where the book keeps the receipts it gave, a line each.
pub(super) const RECEIPTS: &str = "receipts.txt";

/// Makes the next receipt, of the book's last commit, and keeps it.
///
/// # Errors
/// The receipts kept before do not hold together, or the store's.
pub fn receipt(book: &Book, context: &Context) -> Result<ReceiptAnswer, Failure> {
    let mut draft = Draft::open(book, context)?;
    let kept = draft.library().read(RECEIPTS)?.unwrap_or_default();
    let kept = String::from_utf8(kept).map_err(|_| {
        Finding::error("not-text", "this file is not text in UTF-8").at(Place::file(RECEIPTS))
    })?;
    let before = if kept.trim().is_empty() {
        Vec::new()
    } else {
        Receipt::find(RECEIPTS, &kept).map_err(Failure::faults)?
    };
    let broken: Vec<Finding> = chain_findings(&before).into_iter().filter(Finding::is_error).collect();
    if !broken.is_empty() {
        return Err(Failure::faults(broken));
    }
    let tip = draft.library().commit();
    let objects = book.lineage(tip, &[])?;
    let bytes = objects.get(&format!("{tip}.commit"));
    let named = ObjectId::parse(&tip.to_string()).zip(bytes);
    let Some((commit, bytes)) = named else {
        return Err(Finding::error("receipt-unreadable", "the book's last commit cannot be read")
            .found(tip.to_string())
            .next("`mulebook audit` tells what is damaged")
            .into());
    };
    let next = Receipt::after(before.last(), commit, bytes);
    let line = next.to_string();
    let mut text = kept;
    if !text.is_empty() && !text.ends_with('\n') {
        text.push('\n');
    }
    text.push_str(&line);
    text.push('\n');
    draft.put(RECEIPTS, &text)?;
    let written = draft.commit(context, &format!("Receipt {}", next.number))?;
    Ok(ReceiptAnswer {
        number: next.number,
        receipt: line,
        of: tip.short(),
        file: RECEIPTS.to_owned(),
        written,
        next: "hand or mail the line to the sponsor today; their keeping it is the proof".to_owned(),
    })
}
