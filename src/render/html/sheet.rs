//! A build sheet on a page, fit to print.

use maud::Markup;
use maud::html;

use super::{document, list, plain, pull, side, wide};
use crate::answer::PageMark;
use crate::answer::SheetAnswer;
use crate::answer::SheetFile;
use crate::answer::SheetLine;
use crate::answer::SheetPull;
use crate::answer::SheetRoleLine;
use crate::render::alarm;
use crate::render::curve;
use crate::render::derived::bare;
use crate::render::derived::speed_columns;
use crate::render::sheet::check_words;
use crate::render::sheet_repeat::instrument_words;
use crate::render::sheet_repeat::match_words;
use crate::render::sheet_repeat::repeat_words;
use crate::render::sheet_repeat::use_words;

/// The sheet of a build or a pull as a page; of a pull with its curve, or why it has none.
pub fn sheet_page(sheet: &SheetAnswer, mark: &PageMark) -> String {
    let mut about: Vec<String> = Vec::new();
    if sheet.of == "pull" {
        about.extend(sheet.build.iter().map(|build| format!("build {build}")));
    }
    about.extend(sheet.engine.iter().map(|engine| format!("engine {engine}")));
    about.extend(sheet.on.clone());
    about.extend(sheet.by.iter().map(|by| format!("by {by}")));
    let kicker = html! { (plain(&about.join(", "))) ", at commit " span class="hash" { (sheet.commit) } };
    let peaks = sheet.curve.as_ref().and_then(curve::peak_words);
    let body = html! {
        @if let Some(words) = &peaks { p class="answer" { (plain(words)) } }
        @for pull in sheet.pulls.iter().filter(|_| sheet.of == "pull") {
            p { "It is " strong { (plain(&pull.outcome)) } "." }
        }
        @for note in &sheet.notes { p { (plain(note)) } }
        @if sheet.gaps > 0 {
            p class="unknown" { "Not documented, of what a comparison asks for: " (sheet.gaps) "." }
        } @else {
            p { "Everything that a comparison asks for is documented." }
        }
        @if !sheet.doubts.is_empty() {
            h2 { "In doubt, until measured again or cleared" }
            (list(&sheet.doubts))
        }
        (before_bolting_on(sheet))
        @if let Some(curve) = &sheet.curve { (pull::curve(curve)) }
        @if let Some(why) = &sheet.no_curve { p { "No curve: " (plain(why)) "." } }
        h2 { "Parts, in order of assembly" }
        (table("Part", "Part", html! { @for role in &sheet.roles { (self::role(role)) } }))
        (section("Settings", &sheet.settings))
        (section("Fits", &sheet.fits))
        (section("How it was run", &sheet.run))
        (section("Conditions", &sheet.conditions))
        (derived(sheet))
        (pulls(sheet))
        (instruments(sheet))
        (repeat(sheet))
        @if let Some(words) = alarm::untold_words(&sheet.alarms) {
            p class="note" { (alarm::HEADING) ", " (plain(&words)) "." }
        }
        p class="note" { "Raw files are named by the SHA-256 of their bytes." }
    };
    document(mark, &format!("Sheet of the {} {}", sheet.of, sheet.name), &kicker, &body)
}

fn table(label: &str, name: &str, rows: Markup) -> Markup {
    html! {
        (wide(label, &html! {
            table {
                thead { tr { th scope="col" { (name) } th scope="col" { "What is known of it" } } }
                tbody { (rows) }
            }
        }))
    }
}

fn section(title: &str, lines: &[SheetLine]) -> Markup {
    html! {
        @if !lines.is_empty() {
            h2 { (title) }
            (table(title, "What", html! { @for line in lines { (item(line, false)) } }))
        }
    }
}

fn item(line: &SheetLine, figure: bool) -> Markup {
    // A fit is told by its pair, which its title does not name.
    let pair = line.item.split_once('.').filter(|(pair, _)| pair.contains('+')).map(|(pair, _)| pair);
    html! {
        tr class=[figure.then_some("figure")] {
            th scope="row" { @if let Some(pair) = pair { (plain(pair)) ", " } (plain(&line.title)) }
            td {
                @match &line.gap {
                    Some(gap) => { strong { "not documented" } ", " (plain(gap)) }
                    None => (side(line.said.as_ref())),
                }
                (shown_by(line))
            }
        }
    }
}

fn role(role: &SheetRoleLine) -> Markup {
    html! {
        @if role.within {
            tr {
                th scope="row" { (plain(&role.role.title)) }
                td class="known" { "in " (plain(role.role.said.as_ref().map_or("", |said| &said.text))) }
            }
        } @else {
            (item(&role.role, false))
        }
        @if let Some(part) = &role.part {
            @let words: Vec<String> = part.name.iter().cloned()
                .chain(part.serial.iter().map(|serial| format!("serial {serial}")))
                .chain(part.batch.iter().map(|batch| format!("batch {batch}")))
                .chain(part.how.clone())
                .chain(part.since.iter().map(|since| format!("state {} since {since}", part.state)))
                .chain(part.work.iter().map(|work| format!("work, {work}")))
                .chain(part.gone.clone())
                .collect();
            @if !words.is_empty() {
                tr class="figure" { th scope="row" { "the part itself" } td class="known" { (plain(&words.join("; "))) } }
            }
        }
        @for figure in &role.figures { (item(figure, true)) }
    }
}

fn derived(sheet: &SheetAnswer) -> Markup {
    let whole = sheet.derived.iter().filter(|line| line.cylinder.is_none());
    html! {
        @if !sheet.derived.is_empty() {
            h2 { "Derived from these, with intervals of 95 %" }
            (table("Figure", "Figure", html! {
                @for line in whole {
                    tr {
                        th scope="row" { (plain(&line.title)) }
                        td {
                            (plain(&line.interval.text)) " "
                            span class="known" {
                                @if line.not_measured.is_empty() { "(from measured figures)" } @else {
                                    "(no better than " (line.worst_input) ": "
                                    @for (index, input) in line.not_measured.iter().enumerate() {
                                        @if index > 0 { ", " }
                                        (plain(&input.item))
                                    }
                                    ")"
                                }
                            }
                            @for beyond in &line.beyond { br; strong { (plain(beyond)) } }
                        }
                    }
                }
            }))
        }
        (by_speed(sheet))
        @if !sheet.contradictions.is_empty() {
            h2 { "Cannot all be right" }
            (list(&sheet.contradictions))
        }
        @if !sheet.bars.is_empty() {
            h2 { "Missing for derived figures" }
            (list(&sheet.bars.iter().map(|bar| format!("{}: {}; bars {}", bar.item, bar.why, bar.bars.join("; "))).collect::<Vec<_>>()))
        }
    }
}

/// What follows from a pull's channels near each speed.
fn by_speed(sheet: &SheetAnswer) -> Markup {
    let columns = speed_columns(&sheet.by_speed);
    html! {
        @if !columns.is_empty() {
            h2 { "Near each speed, torque as observed, with intervals of 95 %" }
            (wide("Near each speed", &html! {
                table {
                    thead {
                        tr {
                            th scope="col" { "rpm" }
                            @for column in &columns {
                                th scope="col" { (plain(column.title)) @if !column.unit.is_empty() { ", " (plain(column.unit)) } }
                            }
                        }
                    }
                    tbody {
                        @for row in &sheet.by_speed {
                            tr {
                                th scope="row" { (row.speed_rpm) }
                                @for column in &columns {
                                    td { (row.figures.get(column.name).map_or("-", bare)) }
                                }
                            }
                        }
                    }
                }
            }))
        }
    }
}

/// Rules between neighbouring parts that do not hold.
fn before_bolting_on(sheet: &SheetAnswer) -> Markup {
    let raised: Vec<String> =
        sheet.alarms.iter().filter(|found| alarm::is_raised(found)).map(alarm::words).collect();
    html! {
        @if !raised.is_empty() {
            h2 { (alarm::HEADING) }
            ul class="unknown" { @for words in &raised { li { (plain(words)) } } }
        }
    }
}

/// The instruments behind the figures.
fn instruments(sheet: &SheetAnswer) -> Markup {
    html! {
        @if !sheet.instruments.is_empty() {
            h2 { "Instruments, with the calibration that held on the day" }
            (table("Instruments", "Instrument", html! {
                @for instrument in &sheet.instruments {
                    tr {
                        th scope="row" { (plain(&instrument.instrument)) }
                        td {
                            (plain(&instrument_words(instrument)))
                            @for used in &instrument.uses { br; (plain(&use_words(used))) }
                        }
                    }
                }
            }))
        }
    }
}

/// What to bolt on to repeat it.
fn repeat(sheet: &SheetAnswer) -> Markup {
    html! {
        @if !sheet.repeat.is_empty() {
            h2 { "To repeat it, in order of assembly" }
            (table("To repeat it", "Part", html! {
                @for line in &sheet.repeat {
                    tr {
                        th scope="row" { (plain(&line.title)) }
                        td {
                            (plain(&repeat_words(line)))
                            @for figure in &line.must_match { br; "must match " (plain(&match_words(figure))) }
                        }
                    }
                }
            }))
        }
    }
}

/// The files that show an item.
pub(super) fn shown_by(line: &SheetLine) -> Markup {
    html! { @for shown in &line.files { br; span class="known" { "shown by " (file(shown)) } } }
}

/// A file by name and digest, with what looking at its bytes gave.
fn file(file: &SheetFile) -> Markup {
    html! {
        (plain(&file.file))
        @if let Some(segment) = file.segment { ", segment " (segment) }
        ", " (file.bytes) " bytes, SHA-256 "
        span class="hash" { (file.sha256) }
        " " (check_words(file.check).1)
    }
}

fn pulls(sheet: &SheetAnswer) -> Markup {
    let words = |pull: &SheetPull| {
        let mut words: Vec<String> = pull.at.clone().into_iter().collect();
        words.extend(pull.fit_up.map(|count| format!("together for time {count}")));
        words.extend(pull.correction.clone());
        words.push(pull.outcome.clone());
        words.join(", ")
    };
    html! {
        @if !sheet.pulls.is_empty() {
            h2 { @if sheet.of == "pull" { "Raw files" } @else { "Pulls and raw files" } }
            (table("Pull", "Pull", html! {
                @for pull in &sheet.pulls {
                    tr {
                        th scope="row" { (plain(&pull.pull)) }
                        td {
                            (plain(&words(pull)))
                            @for raw in &pull.raw {
                                br;
                                (file(raw))
                            }
                        }
                    }
                }
            }))
        }
    }
}
