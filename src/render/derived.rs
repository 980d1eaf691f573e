//! Derived figures as text: the number with its interval, what moved it, what it rests on, what bars it.

use crate::answer::BarredLine;
use crate::answer::BarsLine;
use crate::answer::BasisLine;
use crate::answer::DerivedLine;
use crate::answer::FigureLine;
use crate::answer::InputLine;
use crate::answer::Interval;
use crate::answer::SheetSpeed;
use crate::render::Page;
use crate::render::page::Tone;

/// Derived figures of two sides.
pub(super) fn derived(page: &mut Page, lines: &[DerivedLine]) {
    if lines.is_empty() {
        return;
    }
    page.heading("Derived from the records, with intervals of 95 %");
    for line in lines {
        let side = |figure: &Option<FigureLine>| {
            figure.as_ref().map_or_else(|| "not derived".to_owned(), |figure| figure.interval.text.clone())
        };
        let same = line.moved_by.is_empty() && line.base.is_some() && side(&line.base) == side(&line.test);
        let mut text = if same {
            format!("{}: {} on both sides", line.title, side(&line.base))
        } else {
            format!("{}: {} -> {}", line.title, side(&line.base), side(&line.test))
        };
        if let Some(difference) = line.difference.as_ref().filter(|_| !same) {
            text.push_str(&format!("; difference {}", difference.text));
        }
        page.line(2, Tone::Plain, &text);
        for moved in &line.moved_by {
            page.line(
                6,
                Tone::Plain,
                &format!("{} moves it by {}: {} -> {}", moved.item, moved.text, moved.base, moved.test),
            );
        }
        for figure in line.base.iter().chain(&line.test) {
            for beyond in &figure.beyond {
                page.line(6, Tone::Doubt, beyond);
            }
        }
        let mut not_measured: Vec<&InputLine> = Vec::new();
        for input in line.base.iter().chain(&line.test).flat_map(|figure| &figure.not_measured) {
            if !not_measured.iter().any(|known| known.item == input.item && known.how == input.how) {
                not_measured.push(input);
            }
        }
        if !not_measured.is_empty() {
            page.line(6, Tone::Plain, &format!("not measured: {}", inputs(&not_measured)));
        }
        for (word, barred) in [("base", &line.base_barred), ("test", &line.test_barred)] {
            if let Some(barred) = barred {
                page.line(6, Tone::Doubt, &format!("on the {word} side: {}", barred_words(barred)));
            }
        }
    }
    let both: Vec<&FigureLine> = lines.iter().flat_map(|line| line.base.iter().chain(&line.test)).collect();
    notes(page, &both);
}

/// What is to be said of figures and their inputs, each thing once.
fn notes(page: &mut Page, figures: &[&FigureLine]) {
    let mut said: Vec<&str> = Vec::new();
    for note in figures.iter().flat_map(|figure| &figure.notes) {
        if !said.contains(&note.as_str()) {
            said.push(note);
        }
    }
    for note in said {
        page.line(2, Tone::Faint, &format!("Note: {note}."));
    }
    let mut of_inputs = |lead: &str, end: &str, chosen: fn(&InputLine) -> bool| {
        let mut items: Vec<&str> = Vec::new();
        let inputs = figures.iter().flat_map(|figure| figure.measured.iter().chain(&figure.not_measured));
        for input in inputs.filter(|input| chosen(input)) {
            if !items.contains(&input.item.as_str()) {
                items.push(&input.item);
            }
        }
        if !items.is_empty() {
            page.line(2, Tone::Faint, &format!("Note: {lead} {}{end}.", items.join(", ")));
        }
    };
    let wider = ": only its scatter counts, so intervals are wider than shown";
    of_inputs("no instrument that states how far it may be off is named for", wider, |input| {
        input.only_scatter
    });
    of_inputs("nobody says with what was measured:", "", |input| input.no_instrument);
    of_inputs("half the last digit stands for the uncertainty of", "", |input| input.last_digit);
}

fn inputs(inputs: &[&InputLine]) -> String {
    let words: Vec<String> = inputs.iter().map(|input| format!("{} ({})", input.item, input.how)).collect();
    words.join(", ")
}

/// Why a figure is barred, in words.
pub(super) fn barred_words(barred: &BarredLine) -> String {
    let mut reasons: Vec<String> =
        barred.missing.iter().map(|missing| format!("{} ({})", missing.item, missing.why)).collect();
    reasons.extend(barred.cannot.clone());
    reasons.join("; ")
}

/// Columns of a sheet's list of figures.
const TITLE: usize = 44;
const VALUE: usize = 22;

/// Derived figures of one side, group by group; cylinders in one line. Each names the inputs that it rests on by their
/// numbers in the list behind, so that its line stays short on paper.
pub(super) fn figures(page: &mut Page, lines: &[FigureLine]) {
    let mut inputs: Vec<&InputLine> = Vec::new();
    let mut group = "";
    for line in lines.iter().filter(|line| line.cylinder.is_none()) {
        if line.group != group {
            group = line.group;
            page.line(1, Tone::Heading, group_words(group));
        }
        let mut numbers: Vec<usize> = Vec::new();
        for input in line.measured.iter().chain(&line.not_measured) {
            let same = |known: &&InputLine| known.item == input.item && known.at == input.at;
            numbers.push(inputs.iter().position(same).unwrap_or_else(|| {
                inputs.push(input);
                inputs.len() - 1
            }));
        }
        let mark = if line.not_measured.is_empty() { "" } else { " *" };
        let value = format!("{}{mark}", line.interval.text);
        let text = format!("{value:<VALUE$}  {}", ranges(&mut numbers));
        if line.title.chars().count() > TITLE {
            page.line(2, Tone::Plain, &line.title);
            page.hanging(4 + TITLE, 6 + TITLE + VALUE, Tone::Plain, &text);
        } else {
            let title = &line.title;
            page.hanging(2, 6 + TITLE + VALUE, Tone::Plain, &format!("{title:<TITLE$}  {text}"));
        }
        let each: Vec<&str> = lines
            .iter()
            .filter(|other| other.figure == line.figure && other.cylinder.is_some())
            .map(|other| other.interval.text.as_str())
            .collect();
        if each.len() > 1 && each.iter().all(|one| *one == each[0]) {
            page.line(6, Tone::Plain, &format!("each cylinder: {}", each[0]));
        } else if !each.is_empty() {
            page.items(6, Tone::Plain, &listed(std::iter::once("by cylinder:"), &each, ","));
        }
        for beyond in &line.beyond {
            page.line(6, Tone::Doubt, beyond);
        }
    }
    if !inputs.is_empty() {
        page.line(1, Tone::Heading, "What they rest on; * is not measured, and no figure is known better");
        let words: Vec<String> = (1..)
            .zip(&inputs)
            .map(|(number, input)| {
                // One name at two places is told with the place.
                let twice = inputs.iter().filter(|other| other.item == input.item).count() > 1;
                let place = if twice { format!(" of {}", input.at) } else { String::new() };
                match input.how {
                    "measured" => format!("{number} {}{place}", input.item),
                    how => format!("{number} {}{place} ({how}) *", input.item),
                }
            })
            .collect();
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        page.items(2, Tone::Plain, &listed(std::iter::empty(), &words, ";"));
    }
    notes(page, &lines.iter().collect::<Vec<_>>());
}

/// Items with a mark between them, behind what leads in.
fn listed<'t>(lead: impl Iterator<Item = &'t str>, items: &[&'t str], between: &str) -> Vec<String> {
    let last = items.len().saturating_sub(1);
    let marked =
        items.iter().enumerate().map(|(at, item)| format!("{item}{}", if at < last { between } else { "" }));
    lead.map(str::to_owned).chain(marked).collect()
}

/// Numbers from 1, neighbours joined: `1-4 7`.
fn ranges(places: &mut Vec<usize>) -> String {
    places.sort_unstable();
    places.dedup();
    let mut words: Vec<String> = Vec::new();
    let mut run: Option<(usize, usize)> = None;
    let word = |(from, to): (usize, usize)| match to - from {
        0 => format!("{}", from + 1),
        1 => format!("{} {}", from + 1, to + 1),
        _ => format!("{}-{}", from + 1, to + 1),
    };
    for &place in places.iter() {
        run = match run {
            Some((from, to)) if place == to + 1 => Some((from, place)),
            Some(done) => {
                words.push(word(done));
                Some((place, place))
            }
            None => Some((place, place)),
        };
    }
    words.extend(run.map(word));
    words.join(" ")
}

fn group_words(group: &str) -> &str {
    match group {
        "geometry" => "Geometry",
        "piston" => "Piston",
        "camshaft" => "Camshaft",
        "valves" => "Valves; areas are of all valves of a cylinder",
        "ports" => "Gas speeds, by the piston's sweep",
        "air" => "Air",
        "run" => "Over the sweep",
        "flow" => "Flow",
        other => other,
    }
}

/// Columns of the table by speed: a figure's name and its heading.
const BY_SPEED: [(&str, &str); 6] = [
    ("torque", "torque"),
    ("specific-fuel-consumption", "fuel"),
    ("volumetric-efficiency", "filling"),
    ("air-fuel-ratio", "air-fuel"),
    ("lambda", "lambda"),
    ("mean-effective-pressure", "bmep"),
];
/// Columns that fit on the paper beside the speed, and how wide each is.
const MOST_COLUMNS: usize = 4;
const COLUMN: usize = 17;

/// A column of the table by speed.
pub(super) struct SpeedColumn<'a> {
    /// The figure's name.
    pub(super) name: &'static str,
    /// Its heading.
    pub(super) title: &'static str,
    /// Its unit; empty for a ratio.
    pub(super) unit: &'a str,
}

/// The columns that the rows by speed have something for.
pub(super) fn speed_columns(rows: &[SheetSpeed]) -> Vec<SpeedColumn<'_>> {
    let unit = |name: &str| rows.iter().find_map(|row| row.figures.get(name)).map(|one| one.unit.as_str());
    BY_SPEED
        .into_iter()
        .filter_map(|(name, title)| Some(SpeedColumn { name, title, unit: unit(name)? }))
        .collect()
}

/// Derived figures of a pull near each speed.
pub(super) fn by_speed(page: &mut Page, rows: &[SheetSpeed]) {
    let mut columns = speed_columns(rows);
    columns.truncate(MOST_COLUMNS);
    if columns.is_empty() {
        return;
    }
    page.heading("Near each speed, torque as observed, with intervals of 95 %");
    let (mut heads, mut units) = (format!("{:>7}", "rpm"), format!("{:>7}", ""));
    for SpeedColumn { title, unit, .. } in &columns {
        heads.push_str(&format!("{title:>COLUMN$}"));
        units.push_str(&format!("{unit:>COLUMN$}"));
    }
    page.verbatim(0, Tone::Plain, heads.trim_end());
    page.verbatim(0, Tone::Plain, units.trim_end());
    for row in rows {
        let mut text = format!("{:>7}", row.speed_rpm);
        for column in &columns {
            text.push_str(&format!("{:>COLUMN$}", row.figures.get(column.name).map_or("-", bare)));
        }
        page.verbatim(0, Tone::Plain, &text);
    }
    if rows.iter().flat_map(|row| row.figures.values()).any(|one| one.at_least) {
        page.line(
            2,
            Tone::Faint,
            "Note: where an instrument states nothing, the interval is wider than shown.",
        );
    }
}

/// An interval without its unit.
pub(super) fn bare(interval: &Interval) -> &str {
    let text = interval.text.strip_suffix(" or more").unwrap_or(&interval.text);
    text.strip_suffix(interval.unit.as_str()).unwrap_or(text).trim_end()
}

/// Figures that cannot all be right.
pub(super) fn contradictions(page: &mut Page, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    page.heading("Cannot all be right");
    for line in lines {
        page.line(2, Tone::Doubt, line);
    }
}

/// Barred figures named behind a missing input; the rest is counted.
const MOST_BARRED: usize = 4;

/// Missing inputs and the derived figures that each bars.
pub(super) fn bars(page: &mut Page, lines: &[BarsLine], name_side: bool) {
    if lines.is_empty() {
        return;
    }
    page.heading("Missing for derived figures");
    // What is missing for the same figures and the same reason is told together.
    let mut told: Vec<(&BarsLine, Vec<&str>, Vec<&str>)> = Vec::new();
    for line in lines {
        let same =
            |known: &&BarsLine| known.side == line.side && known.why == line.why && known.bars == line.bars;
        match told.iter_mut().find(|(known, _, _)| same(known)) {
            Some((_, items, _)) => items.push(&line.item),
            None => told.push((line, vec![&line.item], vec![&line.side])),
        }
    }
    let mut of_both: Vec<(&BarsLine, Vec<&str>, Vec<&str>)> = Vec::new();
    for (line, items, sides) in told {
        let same = |known: &BarsLine, known_items: &[&str]| {
            known_items == items && known.why == line.why && known.bars == line.bars
        };
        match of_both.iter_mut().find(|(known, known_items, _)| same(known, known_items)) {
            Some((_, _, known_sides)) => known_sides.extend(sides),
            None => of_both.push((line, items, sides)),
        }
    }
    for (line, items, sides) in of_both {
        let side = if name_side { format!(" ({})", sides.join(", ")) } else { String::new() };
        page.line(2, Tone::Plain, &format!("{}{side}: {}", items.join(", "), line.why));
        let more = line.bars.len().saturating_sub(MOST_BARRED);
        let mut words = line.bars.iter().take(MOST_BARRED).cloned().collect::<Vec<_>>().join("; ");
        if more > 0 {
            words.push_str(&format!("; and {more} more"));
        }
        page.line(6, Tone::Faint, &format!("bars {words}"));
    }
}

/// How a side came to the correction, in words.
pub(super) fn basis_words(line: &BasisLine) -> String {
    format!("{}: file {}; times {} ({})", line.side, line.carries, line.factor.text, line.how)
}

/// What a side's correction rests on, in words.
pub(super) fn basis_inputs(line: &BasisLine) -> Option<String> {
    let from: Vec<String> = line
        .inputs
        .iter()
        .map(|input| {
            let item = input.item.trim_start_matches("conditions.");
            let rough = if input.last_digit { ", to half its last digit" } else { "" };
            format!("{item} {} ({}{rough})", input.text, input.how)
        })
        .collect();
    (!from.is_empty()).then(|| format!("from {}", from.join("; ")))
}

/// How both sides came to one correction.
pub(super) fn basis(page: &mut Page, lines: &[BasisLine]) {
    for line in lines {
        page.line(0, Tone::Plain, &basis_words(line));
        if let Some(inputs) = basis_inputs(line) {
            page.line(2, Tone::Faint, &inputs);
        }
        for beyond in &line.beyond {
            page.line(2, Tone::Doubt, beyond);
        }
        for note in &line.notes {
            page.line(2, Tone::Faint, note);
        }
    }
}
