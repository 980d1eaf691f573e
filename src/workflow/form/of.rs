//! A form filled in with what a record says, in the record's order: keyed back it gives the same manifest.

use std::io::Read;

use crate::answer::FormLine;
use crate::answer::FormSection;
use crate::answer::Section;
use crate::finding::Finding;
use crate::manifest::node::Node;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::form::Layout;
use crate::workflow::form::keyed;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Way;
use crate::workflow::library::build_path;
use crate::workflow::library::flow_path;
use crate::workflow::names;
use crate::workflow::names::Named;

/// The longest table written by hand that a form shows, in bytes.
const LONGEST_TABLE: u64 = 64 << 10;

/// What a record says, line by line.
#[derive(Default)]
struct Said {
    lines: Vec<(Section, String, String)>,
    notes: Vec<String>,
}

impl Said {
    fn own(&mut self, name: &str, value: Option<&str>) {
        self.put(Section::About, name, value.map(str::to_owned));
    }

    fn put(&mut self, section: Section, name: &str, value: Option<String>) {
        match value {
            Some(value) if value.contains('\n') || value.trim() != value || value.is_empty() => {
                self.notes.push(format!("`{name}` does not go on one line; see the record."));
            }
            Some(value) => self.lines.push((section, name.to_owned(), value)),
            None => {}
        }
    }

    /// Scalars of a record under the names that the form has for them.
    fn scalars(&mut self, root: &Node, names: &[(&str, &str)]) {
        for (key, node) in root.entries() {
            let key = key.text().unwrap_or_default();
            if let Some((_, name)) = names.iter().find(|(own, _)| *own == key) {
                self.own(name, node.text());
            }
        }
    }

    fn figure(&mut self, section: Section, name: &str, node: &Node) {
        let entry = node.items().last().unwrap_or(node);
        if node.items().len() > 1 {
            self.notes.push(format!(
                "`{name}` has {} entries in the record; the newest is here.",
                node.items().len()
            ));
        }
        match typed(entry) {
            Some(text) => self.put(section, name, Some(text)),
            None => self.notes.push(format!("`{name}` cannot be written on one line; see the record.")),
        }
    }

    fn figures(&mut self, section: Section, node: Option<&Node>, prefix: &str) {
        for (key, node) in node.map(Node::entries).unwrap_or_default() {
            self.figure(section, &format!("{prefix}{}", key.text().unwrap_or_default()), node);
        }
    }
}

/// The sections of a form as a record fills them: only lines with something on them.
///
/// # Errors
/// There is no such record of this kind, or it does not hold.
pub(super) fn filled(
    book: &Book,
    library: &Library,
    layout: &Layout,
    record: &str,
    notes: &mut Vec<String>,
) -> Result<Vec<FormSection>, Failure> {
    let mut said = Said::default();
    match layout.kind.as_str() {
        "build" => build(&tree(library, &build_path(record), record)?, &mut said),
        "session" => session(library, &tree(library, &format!("sessions/{record}.yaml"), record)?, &mut said),
        "cell" => cell(library, &tree(library, &format!("cells/{record}.yaml"), record)?, &mut said),
        "instrument" => instrument(&tree(library, &format!("instruments/{record}.yaml"), record)?, &mut said),
        "pull" => pull(book, library, record, &mut said)?,
        "flow" => flow(book, &tree(library, &flow_path(record), record)?, &mut said)?,
        kind if kind.starts_with("measure-") => measured(library, record, &mut said)?,
        kind if kind.starts_with("rework-") => worked(library, record, &mut said)?,
        kind => {
            let path = library.part_path(record)?.ok_or(names::no_part(library, record)?)?;
            if !path.starts_with(&format!("parts/{kind}/")) {
                return Err(Failure::usage(
                    Finding::error("form-of-other-kind", "this part is of another kind")
                        .found(path)
                        .next(format!("`mulebook form KIND --of {record}` with the kind in its path")),
                ));
            }
            part(&tree(library, &path, record)?, &mut said);
        }
    }
    notes.append(&mut said.notes);
    Ok(laid(layout, said.lines, notes))
}

/// What was said, on the lines of the form.
fn laid(layout: &Layout, said: Vec<(Section, String, String)>, notes: &mut Vec<String>) -> Vec<FormSection> {
    let mut sections: Vec<FormSection> =
        layout.sections.iter().map(|section| FormSection { lines: Vec::new(), ..section.clone() }).collect();
    let mut free: Vec<(Section, &FormLine)> = layout.lines().collect();
    let mut beyond = layout.last();
    // A kind that takes further figures has lines where each says its name.
    let open = free.iter().any(|(own, line)| *own == Section::Fields && line.name == "figure");
    let named = |name: &str| layout.lines().any(|(own, line)| own == Section::Figures && line.name == name);
    for (section, name, value) in said {
        let (section, name, value) = if open && section == Section::Figures && !named(&name) {
            (Section::Fields, "figure".to_owned(), format!("{name}={value}"))
        } else {
            (section, name, value)
        };
        let place = free.iter().position(|(own, line)| *own == section && line.name == name);
        let line = match place {
            Some(place) => free.remove(place).1.clone(),
            None if section == Section::Table => {
                beyond += 1;
                let row = layout.lines().last().map(|(_, line)| line.clone());
                match row {
                    Some(row) => FormLine { number: beyond, ..row },
                    None => continue,
                }
            }
            None => {
                notes.push(format!("The form has no line for `{name}`: {value}."));
                continue;
            }
        };
        if let Some(to) = sections.iter_mut().find(|own| own.section == section) {
            to.lines.push(FormLine { value: Some(value), ..line });
        }
    }
    sections.retain(|section| !section.lines.is_empty());
    sections
}

fn tree(library: &Library, path: &str, record: &str) -> Result<Node, Failure> {
    library.tree(path)?.ok_or_else(|| {
        Finding::error("not-found", "there is no record of this kind and name")
            .found(format!("`{record}`"))
            .into()
    })
}

fn part(root: &Node, said: &mut Said) {
    said.scalars(
        root,
        &[
            ("part", "tag"),
            ("name", "name"),
            ("serial", "serial"),
            ("batch", "batch"),
            ("cylinders", "cylinders"),
        ],
    );
    let never = root.get("never").and_then(|never| never.items().first()).and_then(|line| line.get("roles"));
    if let Some(roles) = never {
        let roles: Vec<&str> = roles.items().iter().filter_map(Node::text).collect();
        said.own("never", Some(&roles.join(", ")));
    }
    let states = root.get("states").map(Node::items).unwrap_or_default();
    if let Some(state) = states.first() {
        said.scalars(state, &[("since", "since"), ("how", "how")]);
        said.figures(Section::Figures, state.get("figures"), "");
    }
    if states.len() > 1 {
        said.notes.push(format!(
            "The part has {} states; this is how it came. Work on it has a form of its own: `rework`.",
            states.len()
        ));
    }
    rest(root, &["part", "kind", "name", "serial", "batch", "cylinders", "never", "states"], said);
}

/// What a record says that no form asks for.
fn rest(root: &Node, known: &[&str], said: &mut Said) {
    let keys = root.entries().iter().filter_map(|(key, _)| key.text());
    let more: Vec<&str> = keys.filter(|key| !known.contains(key)).collect();
    if !more.is_empty() {
        said.notes.push(format!("Not on the form: {}.", more.join(", ")));
    }
}

/// An answer for a role: `none`, a part in a state, or `unknown: why`.
fn answer(node: &Node) -> Option<String> {
    match node.text() {
        Some(text) => Some(text.to_owned()),
        None => node.get("unknown").and_then(Node::text).map(|why| format!("unknown: {why}")),
    }
}

fn build(root: &Node, said: &mut Said) {
    let own = ["engine", "from", "since", "by", "note"].map(|name| (name, name));
    said.scalars(root, &[("build", "name")]);
    said.scalars(root, &own);
    if root.get("refit").and_then(Node::text) == Some("true") {
        said.own("refit", Some("yes"));
    }
    for (role, node) in root.get("parts").map(Node::entries).unwrap_or_default() {
        said.put(Section::Roles, role.text().unwrap_or_default(), answer(node));
    }
    said.figures(Section::Settings, root.get("settings"), "");
    for (pair, node) in root.get("fits").map(Node::entries).unwrap_or_default() {
        said.figures(Section::Fits, Some(node), &format!("{}.", pair.text().unwrap_or_default()));
    }
    rest(
        root,
        &["build", "engine", "from", "since", "by", "note", "refit", "parts", "settings", "fits"],
        said,
    );
}

fn session(library: &Library, root: &Node, said: &mut Said) {
    let own = ["cell", "on", "by", "engine", "warm-up", "between-pulls", "note"];
    said.scalars(root, &[("session", "tag")]);
    said.scalars(root, &own.map(|name| (name, name)));
    let mut known = vec!["session"];
    known.extend(own);
    for field in &library.kinds().session {
        if let Some(node) = root.get(&field.name) {
            said.figure(Section::Figures, &field.name, node);
            known.push(&field.name);
        }
    }
    rest(root, &known, said);
}

fn cell(library: &Library, root: &Node, said: &mut Said) {
    let mut unread = Vec::new();
    for (key, node) in root.entries() {
        let key = key.text().unwrap_or_default();
        if key == "cell" {
            said.own("tag", node.text());
        } else if library.kinds().cell.iter().any(|field| field.name == key) {
            said.figure(Section::Figures, key, node);
        } else if let Some(text) = node.text() {
            said.put(Section::Fields, "field", Some(format!("{key}={text}")));
        } else {
            unread.push(key);
        }
    }
    if !unread.is_empty() {
        said.notes.push(format!("Not on the form: {}.", unread.join(", ")));
    }
}

fn instrument(root: &Node, said: &mut Said) {
    said.scalars(root, &[("instrument", "tag"), ("what", "what"), ("serial", "serial")]);
    for stated in root.get("uncertainty").map(Node::items).unwrap_or_default() {
        let text = |key| stated.get(key).and_then(Node::text).unwrap_or_default();
        said.own("uncertainty", Some(&format!("{}: {}/{}", text("of"), text("is"), text("scope"))));
    }
    let calibrations = root.get("calibrations").map(Node::items).unwrap_or_default();
    if let Some(newest) = calibrations.last() {
        said.scalars(newest, &[("on", "calibrated"), ("by", "calibrated-by"), ("due", "due")]);
    }
    if calibrations.len() > 1 {
        said.notes.push(format!("The record has {} calibrations; the newest is here.", calibrations.len()));
    }
    rest(root, &["instrument", "what", "serial", "uncertainty", "calibrations"], said);
}

fn pull(book: &Book, library: &Library, name: &str, said: &mut Said) -> Result<(), Failure> {
    let id = names::pull(library, name)?;
    let path = library.pull_path(&id)?.unwrap_or_default();
    let root = tree(library, &path, &id)?;
    let own = ["session", "build", "at", "by", "note"];
    said.scalars(&root, &own.map(|name| (name, name)));
    said.scalars(&root, &[("order", "number")]);
    let outcome = root.get("outcome").and_then(|outcome| outcome.get("set-aside"));
    said.own("set-aside", outcome.and_then(Node::text));
    if let Some(correction) = root.get("correction") {
        let part = |key| correction.get(key).and_then(Node::text);
        let words = match (correction.text(), part("standard"), part("factor"), part("unknown")) {
            (Some(text), ..) => Some(text.to_owned()),
            (_, Some(name), Some(factor), _) => Some(format!("{name} {factor}")),
            (_, Some(name), None, _) => Some(name.to_owned()),
            (_, _, _, Some(why)) => Some(format!("unknown: {why}")),
            _ => None,
        };
        said.put(Section::About, "correction", words);
    }
    if refitted(library, &id)? {
        said.own("refit", Some("yes"));
    }
    for (name, node) in root.get("run").map(Node::entries).unwrap_or_default() {
        said.put(Section::Run, name.text().unwrap_or_default(), answer(node));
    }
    said.figures(Section::Conditions, root.get("conditions"), "");
    for (name, node) in root.get("changed").map(Node::entries).unwrap_or_default() {
        let name = name.text().unwrap_or_default();
        let is_role = library.kinds().role(name).is_some();
        let value = if is_role { answer(node) } else { typed(node.items().last().unwrap_or(node)) };
        said.put(Section::Changed, "changed", value.map(|value| format!("{name}={value}")));
    }
    raw(book, &root, said)
}

/// Whether the parts were off and on again before a pull, with the same build before it.
fn refitted(library: &Library, id: &str) -> Result<bool, Failure> {
    let Some(pull) = library.pull(id)? else { return Ok(false) };
    let before = names::in_session(library.pull_paths()?, &pull.session);
    let Some((_, before)) = before.range(..pull.order).next_back() else { return Ok(false) };
    let Some(before) = library.pull(before)? else { return Ok(false) };
    Ok(before.build == pull.build && before.fit_up != pull.fit_up)
}

/// The raw files of a record, and the table of one that was written by hand.
fn raw(book: &Book, root: &Node, said: &mut Said) -> Result<(), Failure> {
    let raws = root.get("raw").map(Node::items).unwrap_or_default();
    let typed = root.get("typed").and_then(Node::text) == Some("true");
    let origin = raws.first().and_then(|table| table.get("derived-from")).and_then(Node::text);
    for (place, line) in raws.iter().enumerate() {
        let name = line.get("file").and_then(Node::text);
        if place == 0 && typed {
            let sha256 = line.get("sha256").and_then(Node::text).unwrap_or_default();
            match table(book, sha256)? {
                Some(rows) => {
                    for row in rows {
                        said.put(Section::Table, "row", Some(row));
                    }
                }
                None => said.notes.push("The table is not here, or too long for a form.".to_owned()),
            }
        } else if name.is_some() && name == origin {
            said.own("derived-from", name);
        } else {
            said.own("file", name);
        }
    }
    said.own("segment", raws.first().and_then(|table| table.get("segment")).and_then(Node::text));
    Ok(())
}

/// The rows of a table that was typed, where joined again they are the same bytes.
fn table(book: &Book, sha256: &str) -> Result<Option<Vec<String>>, Failure> {
    let Some(reader) = book.raw().open(sha256)? else { return Ok(None) };
    let mut bytes = Vec::new();
    reader.take(LONGEST_TABLE + 1).read_to_end(&mut bytes).map_err(|error| {
        Failure::fault(Finding::error("raw-file", format!("the table could not be read: {error}")))
    })?;
    let Ok(text) = String::from_utf8(bytes) else { return Ok(None) };
    let rows: Vec<String> = text.lines().map(str::to_owned).collect();
    let whole = text.len() as u64 <= LONGEST_TABLE && rows.join("\n") + "\n" == text;
    Ok(whole.then_some(rows))
}

fn flow(book: &Book, root: &Node, said: &mut Said) -> Result<(), Failure> {
    said.scalars(
        root,
        &[("flow", "name"), ("part", "part"), ("bench", "bench"), ("by", "by"), ("note", "note")],
    );
    for part in root.get("with-part").map(Node::items).unwrap_or_default() {
        said.own("with-part", part.text());
    }
    let text = |key| root.get(key).and_then(Node::text);
    let mut port = text("side").unwrap_or_default().to_owned();
    if let Some(number) = text("port") {
        port.push_str(&format!(":{number}"));
        if let Some(cylinder) = text("cylinder") {
            port.push_str(&format!("/{cylinder}"));
        }
    }
    let segment = root.get("raw").and_then(|raw| raw.items().first()?.get("segment")?.text());
    if let Some(place) = text("channel").or(segment) {
        port = format!("{place}:{port}");
    }
    said.own("port", Some(&port));
    said.own("on", text("at").or(text("on")));
    said.figures(Section::Conditions, root.get("conditions"), "");
    raw(book, root, said)?;
    // The port says where in the file it stands.
    said.lines.retain(|(_, name, _)| name != "segment");
    Ok(())
}

fn measured(library: &Library, name: &str, said: &mut Said) -> Result<(), Failure> {
    said.own("at", Some(name));
    match names::any(library, name)? {
        Named::Part { tag, letter } => {
            let path = library.part_path(&tag)?.ok_or(names::no_part(library, &tag)?)?;
            let root = tree(library, &path, &tag)?;
            let states = root.get("states").map(Node::items).unwrap_or_default();
            let own = |state: &&Node| state.get("state").and_then(Node::text) == letter.as_deref();
            let state = if letter.is_some() { states.iter().find(own) } else { states.last() };
            said.figures(Section::Figures, state.and_then(|state| state.get("figures")), "");
        }
        Named::Build(build) => {
            let root = tree(library, &build_path(&build), &build)?;
            said.figures(Section::Settings, root.get("settings"), "");
            for (pair, node) in root.get("fits").map(Node::entries).unwrap_or_default() {
                said.figures(Section::Fits, Some(node), &format!("{}.", pair.text().unwrap_or_default()));
            }
        }
        Named::Pull(id) => {
            let root = tree(library, &library.pull_path(&id)?.unwrap_or_default(), &id)?;
            said.figures(Section::Conditions, root.get("conditions"), "");
        }
        Named::Flow(tag) => {
            said.figures(Section::Conditions, tree(library, &flow_path(&tag), &tag)?.get("conditions"), "");
        }
        Named::Cell(tag) => {
            let root = tree(library, &format!("cells/{tag}.yaml"), &tag)?;
            for field in &library.kinds().cell {
                if let Some(node) = root.get(&field.name) {
                    said.figure(Section::Figures, &field.name, node);
                }
            }
        }
        // The layout has refused these.
        Named::Session(_) | Named::Instrument(_) | Named::Claim(_) => {}
    }
    Ok(())
}

fn worked(library: &Library, name: &str, said: &mut Said) -> Result<(), Failure> {
    let Named::Part { tag, letter } = names::any(library, name)? else { return Ok(()) };
    let path = library.part_path(&tag)?.ok_or(names::no_part(library, &tag)?)?;
    let root = tree(library, &path, &tag)?;
    let states = root.get("states").map(Node::items).unwrap_or_default();
    let own = |state: &&Node| state.get("state").and_then(Node::text) == letter.as_deref();
    let state = if letter.is_some() { states.iter().find(own) } else { states.last() };
    let work = state.and_then(|state| state.get("work")).map(Node::items).unwrap_or_default();
    let (Some(state), [first, more @ ..]) = (state, work) else {
        return Err(Failure::usage(
            Finding::error("no-work", "no work opened this state").found(format!("`{name}`")),
        ));
    };
    said.own("part", Some(&tag));
    said.scalars(state, &[("state", "state"), ("since", "on")]);
    for (key, node) in first.entries() {
        match key.text().unwrap_or_default() {
            "op" => said.own("work", node.text()),
            own @ ("by" | "note") => said.own(own, node.text()),
            // The state says since when.
            "on" => {}
            ask => said.put(Section::Details, ask, node.text().map(str::to_owned)),
        }
    }
    if !more.is_empty() {
        said.notes.push(format!("{} more pieces of work opened this state; see the record.", more.len()));
    }
    Ok(())
}

/// A figure's entry as it is typed, where that reads back as the same entry.
fn typed(entry: &Node) -> Option<String> {
    let text = |key: &str| entry.get(key).and_then(Node::text);
    let (way, beside) = if let Some(why) = text("unknown") {
        (format!("unknown: {why}"), None)
    } else if let Some(value) = text("measured") {
        (value.to_owned(), None)
    } else if let Some(value) = text("listed") {
        (format!("listed: {value}"), Some(("source", text("source")?)))
    } else if let Some(value) = text("assumed") {
        (format!("assumed: {value}"), Some(("because", text("because")?)))
    } else {
        (format!("calculated: {}", text("calculated")?), Some(("from", text("from")?)))
    };
    let mut said = way;
    let rest = ["with", "by", "taken", "at", "note"].iter().filter_map(|key| Some((*key, text(key)?)));
    for (word, value) in beside.into_iter().chain(rest) {
        said.push_str(&format!(" | {word} {value}"));
    }
    let told = FigureInput::typed(&keyed::figure(&said));
    let same = |own: &Option<String>, key: &str| own.as_deref() == text(key);
    let way = match &told.way {
        Way::Unknown => text("unknown") == Some(&told.value),
        Way::Measured => text("measured") == Some(&told.value),
        Way::Listed(source) => text("listed") == Some(&told.value) && text("source") == Some(source),
        Way::Assumed(why) => text("assumed") == Some(&told.value) && text("because") == Some(why),
        Way::Calculated(from) => text("calculated") == Some(&told.value) && text("from") == Some(from),
    };
    let beside = same(&told.with, "with")
        && same(&told.by, "by")
        && same(&told.taken, "taken")
        && same(&told.at, "at")
        && same(&told.note, "note");
    (way && beside).then_some(said)
}
