//! The end of a build sheet: its instruments, what to bolt on to repeat it, and what has been learned since.

use crate::answer::InstrumentUse;
use crate::answer::Learned;
use crate::answer::LearnedWords;
use crate::answer::RepeatLine;
use crate::answer::RepeatStatus;
use crate::answer::SheetAnswer;
use crate::answer::SheetInstrument;
use crate::answer::SheetLine;
use crate::render::Page;
use crate::render::diff::at_words;
use crate::render::diff::side_text;
use crate::render::page::Tone;

/// The instruments behind the figures, with the calibration that held on the day.
pub(super) fn instruments(page: &mut Page, instruments: &[SheetInstrument]) {
    if instruments.is_empty() {
        return;
    }
    page.heading("Instruments, with the calibration that held on the day");
    for instrument in instruments {
        page.line(2, Tone::Plain, &instrument_words(instrument));
        for used in &instrument.uses {
            let tone = if used.past_due || used.calibration.is_none() { Tone::Doubt } else { Tone::Plain };
            page.line(6, tone, &use_words(used));
        }
    }
}

pub(super) fn instrument_words(instrument: &SheetInstrument) -> String {
    let what = instrument.what.as_deref().unwrap_or("nobody wrote down what it is");
    let mut words = format!("{}: {what}", instrument.instrument);
    words.extend(instrument.serial.iter().map(|serial| format!(", serial {serial}")));
    words.extend(instrument.uncertainty.iter().map(|stated| format!("; {stated}")));
    words
}

pub(super) fn use_words(used: &InstrumentUse) -> String {
    let days = match (&used.from, &used.to) {
        (Some(from), Some(to)) if from != to => format!("{from} to {to}: "),
        (Some(day), _) | (None, Some(day)) => format!("{day}: "),
        (None, None) => String::new(),
    };
    let calibration = used.calibration.as_deref().unwrap_or("no calibration on record before");
    let past = if used.past_due { "; PAST DUE by then" } else { "" };
    format!("{days}{calibration}{past}; for {}", used.items.join(", "))
}

/// What to bolt on, in the order of assembly, and what a substitute must match.
pub(super) fn repeat(page: &mut Page, answer: &SheetAnswer) {
    if answer.repeat.is_empty() {
        return;
    }
    page.heading("To repeat it, in order of assembly");
    for line in &answer.repeat {
        let tone = match line.status {
            RepeatStatus::Here | RepeatStatus::LeaveOff => Tone::Plain,
            RepeatStatus::Reworked | RepeatStatus::Gone => Tone::Doubt,
            RepeatStatus::Unknown | RepeatStatus::Undocumented => Tone::Bad,
        };
        page.line(2, tone, &format!("[ ] {}", repeat_words(line)));
        if !line.must_match.is_empty() {
            page.line(6, Tone::Plain, "a substitute must match:");
        }
        for figure in &line.must_match {
            page.line(8, Tone::Plain, &match_words(figure));
        }
    }
    let set: Vec<String> = answer.settings.iter().chain(&answer.fits).filter_map(set_words).collect();
    if !set.is_empty() {
        page.line(2, Tone::Plain, &format!("then set: {}", set.join("; ")));
    }
}

pub(super) fn repeat_words(line: &RepeatLine) -> String {
    let part = line.part.as_ref().map(|part| format!("{part}, ")).unwrap_or_default();
    let only = if line.by_instance && line.status == RepeatStatus::Here {
        " (the same only as this very one, or of its batch)"
    } else {
        ""
    };
    format!("{}: {part}{}{only}", line.title, line.says)
}

pub(super) fn match_words(figure: &SheetLine) -> String {
    match (&figure.said, &figure.gap) {
        (Some(said), _) => format!("{}: {}", figure.title, side_text(said)),
        (None, Some(gap)) => format!("{}: NOT DOCUMENTED, {gap}: nothing to match it by", figure.title),
        (None, None) => format!("{}: NOT DOCUMENTED: nothing to match it by", figure.title),
    }
}

fn set_words(line: &SheetLine) -> Option<String> {
    let said = line.said.as_ref().filter(|said| said.how != "unknown")?;
    let pair = line.item.split_once('.').filter(|(pair, _)| pair.contains('+'));
    let pair = pair.map(|(pair, _)| format!("{pair}, ")).unwrap_or_default();
    let at = said.at.as_ref().map(|at| at_words(at)).unwrap_or_default();
    Some(format!("{pair}{} {}{at}", line.title, said.text))
}

/// What has been learned since.
pub(super) fn learned(page: &mut Page, learned: &Learned) {
    page.heading(&format!("Learned since, up to commit {}", learned.now));
    if learned.items.is_empty() && learned.record.is_empty() && learned.derived.is_empty() {
        page.line(2, Tone::Plain, "nothing: the sheet reads the same now");
        return;
    }
    for line in &learned.items {
        page.line(2, Tone::Plain, &format!("{} ({})", line.title, line.item));
        page.line(6, Tone::Plain, &format!("then  {}", told(line.then.as_ref())));
        page.line(6, Tone::Plain, &format!("now   {}", told(line.now.as_ref())));
    }
    for line in learned.record.iter().chain(&learned.derived) {
        words(page, line);
    }
}

fn told(line: Option<&SheetLine>) -> String {
    match line.map(|line| (&line.said, &line.gap)) {
        Some((Some(said), _)) => {
            let files = line.map(|line| line.files.as_slice()).unwrap_or_default();
            let names: Vec<&str> = files.iter().map(|file| file.file.as_str()).collect();
            let shown =
                if names.is_empty() { String::new() } else { format!("; shown by {}", names.join(", ")) };
            format!("{}{shown}", side_text(said))
        }
        Some((None, Some(gap))) => format!("not documented: {gap}"),
        Some((None, None)) => "not documented".to_owned(),
        None => "not on the sheet".to_owned(),
    }
}

fn words(page: &mut Page, line: &LearnedWords) {
    let text = |text: &Option<String>| text.clone().unwrap_or_else(|| "not on the sheet".to_owned());
    page.line(2, Tone::Plain, &line.title);
    page.line(6, Tone::Plain, &format!("then  {}", text(&line.then)));
    page.line(6, Tone::Plain, &format!("now   {}", text(&line.now)));
}
