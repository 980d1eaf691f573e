//! What to bolt on to repeat what a sheet tells of, and the instruments that its figures rest on.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::answer::InstrumentUse;
use crate::answer::RepeatLine;
use crate::answer::RepeatStatus;
use crate::answer::SheetInstrument;
use crate::answer::SheetLine;
use crate::check::Sheet;
use crate::check::SheetItem;
use crate::check::SheetRole;
use crate::check::Side;
use crate::record::Answer;
use crate::record::Calibration;
use crate::record::Instrument;
use crate::record::Moment;
use crate::record::Part;
use crate::record::PartState;
use crate::record::Whereabouts;
use crate::workflow::Library;

/// Every role in order of assembly, with what becomes of it when the build is put together again.
pub(super) fn repeat(library: &Library, side: &Side, sheet: &Sheet) -> Vec<RepeatLine> {
    sheet.roles.iter().filter(|role| !role.told_above).map(|role| line(library, side, role)).collect()
}

fn line(library: &Library, side: &Side, role: &SheetRole) -> RepeatLine {
    let name = &role.role.item.name;
    let mut line = RepeatLine {
        role: name.clone(),
        title: role.role.item.title.clone(),
        part: role.part.as_ref().map(ToString::to_string),
        status: RepeatStatus::Undocumented,
        says: "nobody wrote down what was there".to_owned(),
        by_instance: false,
        must_match: Vec::new(),
    };
    let record = role.part.as_ref().and_then(|part| Some((part, side.parts.get(&part.tag)?)));
    if let Some((part, record)) = record {
        let kind = library.kinds().part(&record.kind);
        line.by_instance = kind.is_some_and(|kind| kind.by_instance);
        (line.status, line.says) = standing(library, part, record);
        if line.status != RepeatStatus::Here {
            line.must_match = role.figures.iter().filter(|item| matters(item)).map(SheetLine::from).collect();
        }
        return line;
    }
    match side.effective.roles.get(name).map(|held| &held.answer) {
        Some(Answer::Nothing) => {
            line.status = RepeatStatus::LeaveOff;
            line.says = "none: leave it off".to_owned();
        }
        Some(Answer::Unknown(because)) => {
            line.status = RepeatStatus::Unknown;
            line.says = format!("nobody knows what was there: {because}");
        }
        Some(Answer::Part(part)) => line.says = format!("{part}, which has no record"),
        None if role.role.told.known().is_some() => {
            line.status = RepeatStatus::LeaveOff;
            line.says = "none: this engine never has it".to_owned();
        }
        None => {}
    }
    line
}

/// What a substitute must match: what a comparison asks for, and what was measured here.
fn matters(item: &SheetItem) -> bool {
    item.asked || item.told.known().is_some_and(|shown| shown.is_measured())
}

fn standing(library: &Library, part: &PartState, record: &Part) -> (RepeatStatus, String) {
    let on = |word: &str, day: &Option<Moment>| {
        day.as_ref().map_or_else(|| word.to_owned(), |day| format!("{word} {day}"))
    };
    let gone = match &record.whereabouts {
        Whereabouts::Here => None,
        Whereabouts::Sold(day) => Some(on("sold", day)),
        Whereabouts::Lent(day) => Some(on("lent out", day)),
        Whereabouts::Scrapped(day) => Some(on("scrapped", day)),
        Whereabouts::Consumed => Some("used up".to_owned()),
    };
    let kind = library.kinds().part(&record.kind);
    let since = record.states.iter().skip_while(|state| state.letter != part.letter).skip(1);
    let work: Vec<String> = since
        .flat_map(|state| state.work.iter().map(move |work| (state, work)))
        .map(|(state, work)| {
            let spec = kind.and_then(|kind| kind.work(&work.op));
            let mut words =
                format!("{}: {}", state.letter, spec.map_or(work.op.as_str(), |spec| &spec.title));
            words.extend(work.details.iter().map(|(name, value)| format!(", {name} {value}")));
            words.extend(work.on.as_ref().or(state.since.as_ref()).map(|day| format!(", {day}")));
            words
        })
        .collect();
    match (gone, record.is_newest(&part.letter)) {
        (Some(gone), true) => (RepeatStatus::Gone, gone),
        (Some(gone), false) => (RepeatStatus::Gone, format!("{gone}; worked on since: {}", work.join("; "))),
        (None, true) => (RepeatStatus::Here, "here, as it was".to_owned()),
        (None, false) => (RepeatStatus::Reworked, format!("worked on since: {}", work.join("; "))),
    }
}

/// One reading with an instrument: what, and the day where it is known.
struct Read {
    item: String,
    on: Option<Moment>,
}

/// The instruments behind a sheet's figures, by tag, each with the calibration that held on the days it was used.
pub(super) fn instruments(side: &Side, sheet: &Sheet) -> Vec<SheetInstrument> {
    let mut read: BTreeMap<String, Vec<Read>> = BTreeMap::new();
    let figures = sheet.roles.iter().flat_map(|role| &role.figures);
    for item in figures.chain(&sheet.settings).chain(&sheet.fits).chain(&sheet.conditions) {
        let Some(shown) = item.told.known() else { continue };
        let Some(with) = &shown.with else { continue };
        let on = shown.taken.as_deref().and_then(|taken| Moment::parse(taken).ok());
        let on = on.or_else(|| side.moment().cloned());
        read.entry(with.clone()).or_default().push(Read { item: item.item.path(), on });
    }
    for mean in side.channel_means.iter() {
        if let Some(with) = &mean.1.instrument {
            let item = format!("channel {}", mean.0);
            read.entry(with.clone()).or_default().push(Read { item, on: side.moment().cloned() });
        }
    }
    read.into_iter()
        .map(|(tag, uses)| {
            let record = side.instruments.get(&tag);
            SheetInstrument {
                what: record.map(|record| record.what.clone()),
                serial: record.and_then(|record| record.serial.clone()),
                uncertainty: record
                    .iter()
                    .flat_map(|record| &record.uncertainty)
                    .map(|stated| format!("{} {} for each {}", stated.of, stated.is, stated.scope.word()))
                    .collect(),
                uses: by_calibration(record.map(Arc::as_ref), uses),
                instrument: tag,
            }
        })
        .collect()
}

/// The uses of an instrument, those under one calibration together, in order of time.
fn by_calibration(record: Option<&Instrument>, mut read: Vec<Read>) -> Vec<InstrumentUse> {
    read.sort_by(|a, b| a.on.as_ref().map(Moment::day).cmp(&b.on.as_ref().map(Moment::day)));
    let mut uses: Vec<(Option<&Calibration>, InstrumentUse)> = Vec::new();
    for read in read {
        let held = record.zip(read.on.as_ref()).and_then(|(record, on)| record.calibration_on(on));
        let day = read.on.as_ref().map(|on| on.day().to_string());
        let past = held
            .and_then(|held| held.due.as_ref())
            .zip(read.on.as_ref())
            .is_some_and(|(due, on)| on.day() > due.day());
        match uses.iter_mut().find(|(known, _)| *known == held) {
            Some((_, used)) => {
                used.to = day.or(used.to.take());
                used.past_due |= past;
                if !used.items.contains(&read.item) {
                    used.items.push(read.item);
                }
            }
            None => uses.push((
                held,
                InstrumentUse {
                    from: day.clone(),
                    to: day,
                    calibration: held.map(calibration_words),
                    past_due: past,
                    items: vec![read.item],
                },
            )),
        }
    }
    uses.into_iter().map(|(_, used)| used).collect()
}

fn calibration_words(calibration: &Calibration) -> String {
    let mut words = format!("calibrated {} by {}", calibration.on, calibration.by);
    words.extend(calibration.certificate.iter().map(|number| format!(", certificate {number}")));
    words.extend(calibration.due.iter().map(|due| format!(", due {due}")));
    words
}
