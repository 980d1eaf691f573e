//! What a cut from a head's deck does, offered as ready commands and never entered by itself.

use crate::derive;
use crate::quantity::QuantityKind;
use crate::quantity::parse_reading;
use crate::record::Course;
use crate::record::Holds;
use crate::record::Part;
use crate::record::PartKind;
use crate::record::Value;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gather;
use crate::workflow::history;

/// The work that takes a flat cut off a deck, and what it asks for.
const MILL_DECK: &str = "mill-deck";
const CUT: &str = "cut";
/// The fit that such a cut moves.
const PAIR: &str = "cylinder-head+intake";
const OFFSET: &str = "port-offset";

/// A cut from the deck of a part, before its new state is written.
pub(super) struct Cut<'a> {
    /// The part, its newest state the one that was cut.
    pub(super) part: &'a Part,
    /// Its kind.
    pub(super) kind: &'a PartKind,
    /// The letter of the state that the work opens.
    pub(super) letter: &'a str,
    /// The work.
    pub(super) op: &'a str,
    /// What was given with it, as `NAME=VALUE`.
    pub(super) details: &'a [String],
}

/// Ready commands for the figures that a flat cut lets one work out, a line each; none where they cannot be.
///
/// # Errors
/// A build that uses the part does not hold.
pub(super) fn offers(library: &Library, cut: &Cut<'_>) -> Result<Vec<String>, Failure> {
    let given = cut.details.iter().find_map(|detail| {
        let (name, value) = detail.split_once('=')?;
        (cut.op == MILL_DECK && name.trim() == CUT).then(|| value.trim())
    });
    let unit = cut.kind.work(MILL_DECK).and_then(|spec| {
        spec.asks.iter().find(|(ask, _)| ask == CUT).and_then(|(_, holds)| match holds {
            Holds::Quantity { unit, .. } => Some(*unit),
            _ => None,
        })
    });
    let Some(depth) = given.and_then(|value| parse_reading(value, QuantityKind::Length, unit).ok()) else {
        return Ok(Vec::new());
    };
    // The angle between the banks stands in the block of a build that uses the head.
    let users = history::builds_with(library, |named| named.tag == cut.part.tag)?;
    let mut side = None;
    for name in users.iter().rev() {
        if let Some(build) = library.build(name)? {
            side = Some(gather::build_side(library, &build)?);
            break;
        }
    }
    let kinds = library.kinds();
    let Some(side) = side.or_else(|| gather::alone(library, cut.part).ok()) else { return Ok(Vec::new()) };
    let ground = side.ground(kinds);
    let (tag, letter) = (&cut.part.tag, cut.letter);
    let name = |means: &str| {
        let spec = cut.kind.figures.iter().find(|spec| spec.means.as_deref() == Some(means));
        spec.map_or_else(|| means.to_owned(), |spec| spec.name.clone())
    };
    let mut offers = Vec::new();
    if let Some(chamber) = derive::milled_chamber(&ground, cut.part, cut.kind, &depth) {
        offers.push(format!(
            "Worked out, not measured; to enter it until it is measured:\nmulebook measure {tag}/{letter} {} \"{}\" --calculated \"{}\"",
            name("chamber-volume"),
            chamber.figure,
            chamber.from
        ));
    }
    let before = side.effective.fits.get(&(PAIR.to_owned(), OFFSET.to_owned()));
    let before =
        before.and_then(|held| held.figure.standing(Course::Fixed, None)).and_then(|standing| match standing
            .entry
            .known
            .value()?
        {
            Value::Quantity(reading) => Some(reading),
            Value::Text(_) => None,
        });
    if let Some(intake) = derive::milled_intake(&ground, cut.part, cut.kind, &depth, before) {
        let face = intake.face_cut.map_or_else(String::new, |face| {
            format!("; {face} off the intake face lets the manifold fit again")
        });
        let lowered = format!("The ports come down by {} along the intake face{face}.", intake.shift);
        offers.push(match intake.offset {
            Some(offset) => format!(
                "{lowered} Worked out for the next build:\nmulebook measure BUILD {PAIR}.{OFFSET} \"{offset}\" --calculated \"{}\"",
                intake.from
            ),
            None => lowered,
        });
    }
    let before = cut.part.newest().map(|state| state.letter.as_str()).unwrap_or_default();
    let needs = ["the chamber volume after the cut", "what the cut does to the intake face"];
    for (what, lacking) in needs.into_iter().zip(derive::milling_lacks(&ground, cut.part, cut.kind)) {
        if !lacking.is_empty() {
            offers.push(format!(
                "To work out {what}, this is missing in {tag}/{before}: {}.",
                lacking.join(", ")
            ));
        }
    }
    Ok(offers)
}
