//! Brings what proved doubtful to a side that was gathered: marks and offsets on its figures, doubts on its channels.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::check;
use crate::check::Side;
use crate::record::Doubted;
use crate::record::InstrumentDoubts;
use crate::record::Kinds;
use crate::record::Moment;
use crate::record::channel::ChannelQuantity;
use crate::workflow::Failure;
use crate::workflow::Library;

/// Applies the doubts that a side's instruments and session carry.
///
/// # Errors
/// A columns record does not hold.
pub(super) fn apply(library: &Library, side: &mut Side) -> Result<(), Failure> {
    let doubts = of_instruments(side);
    let moment = side.moment().cloned();
    let own_marks =
        |figure: &crate::record::Figure| figure.entries.iter().any(|entry| entry.doubted.is_some());
    let quiet = doubts.0.is_empty();
    for part in side.parts.values_mut().chain(side.engine.as_mut()) {
        let mut figures = part.states.iter().flat_map(|state| state.figures.values());
        if quiet && !figures.any(own_marks) {
            continue;
        }
        let states = &mut Arc::make_mut(part).states;
        for figure in states.iter_mut().flat_map(|state| state.figures.values_mut()) {
            if !quiet || own_marks(figure) {
                doubts.apply(figure, None);
            }
        }
    }
    let effective = &mut side.effective;
    let held = effective.settings.values_mut().chain(effective.fits.values_mut());
    for held in held.chain(effective.conditions.values_mut()) {
        if !quiet || own_marks(&held.figure) {
            doubts.apply(&mut held.figure, moment.as_ref());
        }
    }
    let cell = side.cell.iter_mut().filter(|cell| !quiet || cell.figures.values().any(own_marks));
    for figure in cell.flat_map(|cell| Arc::make_mut(cell).figures.values_mut()) {
        doubts.apply(figure, None);
    }
    channels(library, side, &doubts, moment.as_ref())
}

fn of_instruments(side: &Side) -> InstrumentDoubts {
    let doubted = side.instruments.iter().filter(|(_, instrument)| !instrument.doubted.is_empty());
    let marked = |doubts: &[Doubted]| {
        doubts.iter().map(|doubt| Doubted { of_instrument: true, ..doubt.clone() }).collect::<Vec<_>>()
    };
    InstrumentDoubts(doubted.map(|(tag, instrument)| (tag.clone(), marked(&instrument.doubted))).collect())
}

/// The doubts on the channels of the pull's files, by the instrument that read each and by the session.
fn channels(
    library: &Library,
    side: &mut Side,
    doubts: &InstrumentDoubts,
    moment: Option<&Moment>,
) -> Result<(), Failure> {
    let Some(pull) = &side.pull else { return Ok(()) };
    let session: Vec<&Doubted> = side
        .session
        .iter()
        .flat_map(|session| &session.doubted)
        .filter(|doubt| doubt.stands() && doubt.covers(moment))
        .collect();
    if doubts.0.is_empty() && session.is_empty() {
        return Ok(());
    }
    let mut by_word: BTreeMap<String, (String, Doubted)> = BTreeMap::new();
    for name in pull.raw.iter().filter_map(|raw| raw.columns.as_deref()) {
        let Some(columns) = library.columns(name)? else { continue };
        for column in &columns.channels {
            let word = column.quantity.word();
            let kind = kind_of(column.quantity, column.unit.as_deref());
            let fitted = side.cell.as_ref().and_then(|cell| {
                let spec = library.kinds().conditions.iter();
                let condition = spec.into_iter().find(|spec| spec.channel.as_deref() == Some(word));
                condition
                    .and_then(|spec| cell.instruments.get(&spec.name))
                    .or_else(|| cell.instruments.get(word))
            });
            let with = column.instrument.as_ref().or(fitted);
            let by_instrument =
                with.and_then(|with| Some((with.clone(), doubts.on(with, moment, kind)?.clone())));
            // Of a session as a whole only a known offset says which channel it is about.
            let by_session = session
                .iter()
                .find(|doubt| doubt.offset.is_some() && doubt.is_of(kind))
                .map(|doubt| (pull.session.clone(), (*doubt).clone()));
            if let Some(found) = by_instrument.or(by_session) {
                by_word.insert(word.to_owned(), found);
            }
        }
    }
    side.doubts.session = session.into_iter().cloned().collect();
    side.doubts.by_word = by_word;
    Ok(())
}

/// What proved doubtful on several sides, a line for each thing with the sides it lies on.
pub(super) fn lines<'s>(sides: impl Iterator<Item = &'s Side>, kinds: &Kinds) -> Vec<String> {
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    for side in sides {
        for doubt in check::doubts_of(side, kinds) {
            match found.iter_mut().find(|(says, _)| *says == doubt.says) {
                Some((_, names)) => names.push(side.name.clone()),
                None => found.push((doubt.says, vec![side.name.clone()])),
            }
        }
    }
    found.into_iter().map(|(says, names)| format!("{}: {says}", names.join(", "))).collect()
}

fn kind_of(quantity: ChannelQuantity, unit: Option<&str>) -> Option<crate::quantity::QuantityKind> {
    quantity.unit(unit?).map(|(_, kind)| kind)
}

/// What is added to a channel, in SI, with its standard uncertainty; none where nothing is.
pub(super) fn offset(side: &Side, word: &str, kind: crate::quantity::QuantityKind) -> Option<(f64, f64)> {
    let (_, doubt) = side.doubts.by_word.get(word)?;
    let offset = doubt.offset_of(kind)?;
    Some((offset.mean().si(), offset.standard_uncertainty().si))
}
