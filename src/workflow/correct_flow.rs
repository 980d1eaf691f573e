//! Mend a wrong flow sheet, visibly.

use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::record::PortSide;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::correct::Edit;
use crate::workflow::correct::figure_words;
use crate::workflow::correct::gone;
use crate::workflow::correct::line;
use crate::workflow::flow;
use crate::workflow::flow_conditions;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::library::flow_path;

/// Mends one thing of a flow sheet: a condition, or which part, port, cylinder, side, bench or day it is of.
///
/// # Errors
/// It has no such field, or the value does not hold.
pub(super) fn correct_flow(
    draft: &mut Draft<'_>,
    context: &Context,
    tag: &str,
    edit: &Edit<'_>,
) -> Result<String, Failure> {
    let library = draft.library();
    let sheet = library.flow(tag)?.ok_or_else(|| gone(tag))?;
    let nothing = || "nothing".to_owned();
    let (set, to, was) = match edit.name {
        "part" => {
            let part = flow::part(library, edit.value)?.to_string();
            (edit.name.to_owned(), Piece::text(part), sheet.part.to_string())
        }
        "side" => {
            let side = PortSide::from_word(edit.value).ok_or_else(|| not_a_side(edit.value))?;
            (edit.name.to_owned(), Piece::text(side.word()), sheet.side.to_string())
        }
        "on" => {
            let on = input::checked_moment(edit.value)?;
            (edit.name.to_owned(), Piece::text(on), sheet.on.to_string())
        }
        "port" => (edit.name.to_owned(), Piece::text(edit.value), sheet.port.unwrap_or_else(nothing)),
        "cylinder" => (edit.name.to_owned(), Piece::text(edit.value), sheet.cylinder.unwrap_or_else(nothing)),
        "bench" => (edit.name.to_owned(), Piece::text(edit.value), sheet.bench.unwrap_or_else(nothing)),
        other => {
            let own = flow_conditions::condition_name(library, other)?;
            let told = FigureInput::typed(edit.value).or(edit.with, edit.by, None);
            let to = input::figure_piece(library, context, library.kinds().flow_field(&own), &told)?;
            let was = sheet.conditions.get(&own).map_or_else(nothing, figure_words);
            (format!("conditions.{own}"), to, was)
        }
    };
    let line = line(context, edit, &set, to, &was)?;
    let path = flow_path(tag);
    let mut document = draft.document(&path)?;
    document.append(&["corrected"], &line)?;
    draft.put(&path, document.text())?;
    Ok(format!("flow sheet {tag}: {set} is {} (was {was}).", edit.value))
}

fn not_a_side(word: &str) -> Failure {
    Failure::usage(
        Finding::error("not-a-choice", "a port is on the inlet or the exhaust side")
            .found(format!("`{word}`"))
            .expected("inlet, exhaust"),
    )
}
