//! Answers to bytes: text for a terminal and JSON.
//!
//! In: an answer of `answer` and a [`Look`]. Out: text. It computes nothing and decides nothing; text from records is
//! cleaned of control sequences here, since a record may come from anybody.

mod alarm;
mod baseline;
mod cautions;
mod claim;
mod combos;
mod curve;
mod demo;
mod derived;
mod diff;
mod dossier;
mod doubt;
mod entry;
mod find;
mod finding;
mod flow;
mod form;
mod gaps;
mod html;
mod look;
mod mend;
mod page;
mod plot_text;
mod sheet;
mod sheet_repeat;
mod table;
mod trail;
mod weigh;
mod weigh_rests;

pub use baseline::baseline;
pub use claim::claim;
pub use claim::claim_weighed;
pub use combos::combos;
pub use demo::demo;
pub use diff::diff;
pub use dossier::claim_document;
pub use dossier::countersigned;
pub use dossier::disclosure;
pub use dossier::dossier;
pub use dossier::receipt;
pub use dossier::verify;
pub use doubt::doubt;
pub use entry::entered;
pub use entry::pull_entered;
pub use find::find;
pub use find::find_csv;
pub use finding::failure;
pub use flow::flow_diff;
pub use flow::flow_entered;
pub use flow::flow_sheet;
pub use form::form;
pub use form::form_keyed;
pub use gaps::gaps;
pub use html::booklet_page;
pub use html::claim_page;
pub use html::claim_standing_page;
pub use html::combos_page;
pub use html::diff_leaf_page;
pub use html::diff_page;
pub use html::flow_diff_page;
pub use html::flow_sheet_page;
pub use html::form_page;
pub use html::refusal_page;
pub use html::sheet_leaf_page;
pub use html::sheet_page;
pub use html::trail_page;
pub use html::weigh_page;
pub use look::look;
pub use mend::audit;
pub use mend::mend;
pub use page::Letters;
pub use page::Look;
pub use page::Page;
pub use page::clean;
pub use sheet::sheet;
pub use table::page_written;
pub use table::table;
pub use trail::trail;
pub use weigh::weigh;

use serde::Serialize;

use crate::answer::Envelope;
use crate::answer::KnownLine;
use crate::render::page::Tone;

/// An answer as JSON with the name and version of its shape.
pub fn json<T: Serialize>(answer: &str, body: &T) -> String {
    json_as_known(answer, None, body)
}

/// An answer as text, the day it speaks of before it, where it was asked as known on one.
pub fn as_known(known: Option<&KnownLine>, text: &str, look: Look) -> String {
    let Some(known) = known else { return text.to_owned() };
    let mut page = Page::new(look);
    let words = format!("As known on {}: commit {} of {}", known.on, known.commit, known.committed);
    page.line(0, Tone::Doubt, &words);
    page.finish() + text
}

/// The same as JSON.
pub fn json_as_known<T: Serialize>(answer: &str, known: Option<&KnownLine>, body: &T) -> String {
    let envelope = Envelope { answer, version: 1, known, body };
    match serde_json::to_string_pretty(&envelope) {
        Ok(text) => page::clean_json(&text) + "\n",
        // Plain structs of strings and numbers always serialise; a map with keys that are no strings would not.
        Err(error) => format!("{{\"answer\":\"error\",\"version\":1,\"message\":{:?}}}\n", error.to_string()),
    }
}
