//! A build sheet as text, fit to print.

use crate::answer::HashCheck;
use crate::answer::SheetAnswer;
use crate::answer::SheetFile;
use crate::answer::SheetLine;
use crate::answer::SheetPart;
use crate::answer::SheetPull;
use crate::answer::SheetRoleLine;
use crate::render::Look;
use crate::render::Page;
use crate::render::alarm::alarms;
use crate::render::cautions::CAUTIONS;
use crate::render::cautions::TITLE;
use crate::render::curve::curve;
use crate::render::derived::bars;
use crate::render::derived::by_speed;
use crate::render::derived::contradictions;
use crate::render::derived::figures;
use crate::render::diff::side_text;
use crate::render::gaps::doubts;
use crate::render::gaps::pending;
use crate::render::page::Tone;
use crate::render::sheet_repeat;

/// Hexadecimal digits of a hash shown on paper; the JSON answer has all of them.
const HASH_DIGITS: usize = 16;

/// The sheet of a build or a pull.
pub fn sheet(answer: &SheetAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    head(&mut page, answer);
    doubts(&mut page, &answer.doubts);
    page.heading("Parts, in order of assembly");
    for role in &answer.roles {
        role_lines(&mut page, role);
    }
    section(&mut page, "Settings", &answer.settings);
    section(&mut page, "Fits", &answer.fits);
    section(&mut page, "How it was run", &answer.run);
    section(&mut page, "Conditions", &answer.conditions);
    curve(&mut page, answer);
    if !answer.derived.is_empty() {
        page.heading("Derived from these, with intervals of 95 %");
        figures(&mut page, &answer.derived);
    }
    by_speed(&mut page, &answer.by_speed);
    contradictions(&mut page, &answer.contradictions);
    bars(&mut page, &answer.bars, false);
    if !answer.pulls.is_empty() {
        page.heading(if answer.of == "pull" { "Raw files" } else { "Pulls and raw files" });
        for pull in &answer.pulls {
            pull_lines(&mut page, pull);
        }
    }
    sheet_repeat::instruments(&mut page, &answer.instruments);
    sheet_repeat::repeat(&mut page, answer);
    alarms(&mut page, &answer.alarms, false);
    if let Some(learned) = &answer.learned {
        sheet_repeat::learned(&mut page, learned);
    }
    cautions(&mut page);
    pending(&mut page, &answer.pending);
    page.gap();
    page.verbatim(0, Tone::Faint, &format!("Next: {}", answer.next));
    page.finish()
}

fn cautions(page: &mut Page) {
    page.heading(TITLE);
    for caution in CAUTIONS {
        page.line(2, Tone::Plain, caution);
    }
}

fn head(page: &mut Page, answer: &SheetAnswer) {
    let mut words = format!("Sheet of the {} {}", answer.of, answer.name);
    if answer.of == "pull" {
        words.extend(answer.build.iter().map(|build| format!(", build {build}")));
    }
    words.extend(answer.engine.iter().map(|engine| format!(", engine {engine}")));
    words.extend(answer.on.iter().map(|on| format!(", {on}")));
    words.extend(answer.by.iter().map(|by| format!(", by {by}")));
    page.line(0, Tone::Heading, &words);
    page.line(0, Tone::Faint, &format!("at commit {}", answer.commit));
    for note in &answer.notes {
        page.line(0, Tone::Plain, note);
    }
    if answer.gaps > 0 {
        let words = if answer.gaps == 1 {
            "item that a comparison asks for is"
        } else {
            "items that a comparison asks for are"
        };
        page.line(0, Tone::Bad, &format!("{} {words} not documented", answer.gaps));
    }
}

fn role_lines(page: &mut Page, role: &SheetRoleLine) {
    if role.within {
        let part = role.role.said.as_ref().map(|said| said.text.as_str()).unwrap_or_default();
        page.line(2, Tone::Plain, &format!("{}: in {part}", role.role.title));
    } else {
        item(page, 2, &role.role);
    }
    if let Some(part) = &role.part {
        part_lines(page, part);
    }
    for figure in &role.figures {
        item(page, 6, figure);
    }
}

fn part_lines(page: &mut Page, part: &SheetPart) {
    let mut words: Vec<String> = part.name.iter().cloned().collect();
    words.extend(part.serial.iter().map(|serial| format!("serial {serial}")));
    words.extend(part.batch.iter().map(|batch| format!("batch {batch}")));
    words.extend(part.how.clone());
    words.extend(part.since.iter().map(|since| format!("state {} since {since}", part.state)));
    words.extend(part.gone.clone());
    if !words.is_empty() {
        page.line(6, Tone::Faint, &words.join("; "));
    }
    for work in &part.work {
        page.line(6, Tone::Plain, &format!("work, {work}"));
    }
}

fn section(page: &mut Page, title: &str, lines: &[SheetLine]) {
    if lines.is_empty() {
        return;
    }
    page.heading(title);
    for line in lines {
        // A fit is told by its pair, which its title does not name.
        match line.item.split_once('.').filter(|(pair, _)| pair.contains('+')) {
            Some((pair, _)) => {
                let titled = SheetLine { title: format!("{pair}, {}", line.title), ..line.clone() };
                item(page, 2, &titled);
            }
            None => item(page, 2, line),
        }
    }
}

/// What looking at the bytes gave.
pub(super) fn check_words(check: HashCheck) -> (Tone, &'static str) {
    match check {
        HashCheck::Holds => (Tone::Faint, "holds"),
        HashCheck::Damaged => (Tone::Bad, "DOES NOT HOLD"),
        HashCheck::NotHere => (Tone::Doubt, "not in this copy of the book"),
    }
}

pub(super) fn item(page: &mut Page, indent: usize, line: &SheetLine) {
    match (&line.said, &line.gap) {
        (Some(said), _) => {
            let tone = if said.how == "unknown" { Tone::Doubt } else { Tone::Plain };
            let spread = line.spread.as_ref().map(|spread| format!("; {spread}")).unwrap_or_default();
            page.line(indent, tone, &format!("{}: {}{spread}", line.title, side_text(said)));
        }
        (None, Some(gap)) => {
            page.line(indent, Tone::Bad, &format!("{}: NOT DOCUMENTED, {gap}", line.title));
        }
        (None, None) => page.line(indent, Tone::Bad, &format!("{}: NOT DOCUMENTED", line.title)),
    }
    for file in &line.files {
        let (tone, words) = file_words(file);
        page.line(indent + 4, tone, &format!("shown by {words}"));
    }
}

/// A file with what looking at its bytes gave.
fn file_words(file: &SheetFile) -> (Tone, String) {
    let hash = file.sha256.get(..HASH_DIGITS).unwrap_or(&file.sha256);
    let segment = file.segment.map(|segment| format!(", segment {segment}")).unwrap_or_default();
    let columns = file.columns.as_ref().map(|columns| format!(", columns {columns}")).unwrap_or_default();
    let (tone, check) = check_words(file.check);
    (tone, format!("{}{segment}, {} bytes, SHA-256 {hash}… {check}{columns}", file.file, file.bytes))
}

fn pull_lines(page: &mut Page, pull: &SheetPull) {
    let mut words = pull.pull.clone();
    words.extend(pull.at.iter().map(|at| format!(", {at}")));
    words.extend(pull.fit_up.map(|count| format!(", together for time {count}")));
    words.extend(pull.correction.iter().map(|correction| format!(", {correction}")));
    words.push_str(&format!(", {}", pull.outcome));
    page.line(2, Tone::Plain, &words);
    for raw in &pull.raw {
        let (tone, words) = file_words(raw);
        page.line(6, tone, &words);
    }
}
