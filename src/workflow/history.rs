//! What stands in the book's history is not altered: builds that have pulls, pulls, flow sheets, claims, and figures that
//! builds rest on.

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::node::Content;
use crate::manifest::node::Node;
use crate::manifest::yaml;
use crate::record::Answer;
use crate::record::PartState;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gate::Sort;

/// Finds what an edit altered that it may only add to.
///
/// # Errors
/// The store's.
pub(super) fn unaltered(
    library: &Library,
    path: &str,
    sort: &Sort,
    root: &Node,
    findings: &mut Vec<Finding>,
) -> Result<(), Failure> {
    let Some(before) = library.snapshot().read(path)? else {
        return Ok(());
    };
    let Ok(before) = yaml::read(path, &before) else {
        return Ok(());
    };
    if before.same_data(root) {
        return Ok(());
    }
    match sort {
        Sort::Build(name) => {
            let pulls = library.pulls_of(name)?;
            if let (Some((node, field)), Some(pull)) =
                (altered(&before, root, &["settings", "fits"]), pulls.first())
            {
                findings.push(
                    Finding::error("history-altered", format!("build {name} has pulls, so it is history"))
                        .at(Place::file(path).line(node).field(field.clone()))
                        .found("an edit of what those pulls rest on")
                        .next(format!(
                            "an engine that changed is another build: `mulebook build NAME --from {name} --set {field}=…`; \
                             a record that was wrong is corrected: `mulebook correct {pull} --set {field}=… --because \"…\"`"
                        )),
                );
            }
        }
        Sort::Pull(_) => {
            if let Some((node, field)) = altered(&before, root, &["conditions", "changed"]) {
                let id = root.get("pull").and_then(Node::text).unwrap_or_default();
                findings.push(
                    Finding::error("history-altered", "a pull that was kept is history")
                        .at(Place::file(path).line(node).field(field.clone()))
                        .found("an edit of what was recorded")
                        .next(format!(
                            "correct it visibly: `mulebook correct {id} --set {field}=… --because \"…\"`"
                        )),
                );
            }
        }
        Sort::Flow => {
            if let Some((node, field)) = altered(&before, root, &["conditions"]) {
                let tag = root.get("flow").and_then(Node::text).unwrap_or_default();
                findings.push(
                    Finding::error("history-altered", "a flow sheet that was kept is history")
                        .at(Place::file(path).line(node).field(field.clone()))
                        .found("an edit of what was recorded")
                        .next(format!(
                            "correct it visibly: `mulebook correct {tag} --set {field}=… --because \"…\"`"
                        )),
                );
            }
        }
        Sort::Claim => {
            if let Some((node, field)) = altered(&before, root, &[]) {
                let tag = root.get("claim").and_then(Node::text).unwrap_or_default();
                findings.push(
                    Finding::error("history-altered", "a claim that was kept is never edited")
                        .at(Place::file(path).line(node).field(field.clone()))
                        .found("an edit of what was claimed")
                        .next(format!(
                            "change it visibly: `mulebook correct {tag} --set {field}=… --because \"…\"`, or take it back: \
                             `mulebook claim {tag} --withdraw --because \"…\"`"
                        )),
                );
            }
        }
        Sort::Part(_) => {
            for letter in altered_states(&before, root) {
                let tag = root.get("part").and_then(Node::text).unwrap_or_default();
                let users = builds_with(library, |part| part.tag == tag && part.letter == letter.0)?;
                let mut with_pulls = None;
                for build in users {
                    if !library.pulls_of(&build)?.is_empty() {
                        with_pulls = Some(build);
                        break;
                    }
                }
                if let Some(build) = with_pulls {
                    findings.push(
                        Finding::error("history-altered", "pulls rest on this figure, so it is history")
                            .at(Place::file(path).line(letter.2).field(letter.1.clone()))
                            .found(format!("an edit of what build {build} rests on"))
                            .next(format!(
                                "add a second entry that says `corrects: 1` and why: \
                                 `mulebook measure {tag}/{} {} \"…\" --corrects 1 --because \"…\"`",
                                letter.0,
                                letter.1.trim_start_matches("figures.")
                            )),
                    );
                }
            }
        }
        _ => {}
    }
    Ok(())
}

/// The builds whose parts, corrections included, name a part for which `wanted` holds.
///
/// # Errors
/// The store's.
pub(super) fn builds_with(
    library: &Library,
    wanted: impl Fn(&PartState) -> bool,
) -> Result<Vec<String>, Failure> {
    let mut found = Vec::new();
    for name in library.build_names()? {
        let Ok(Some(build)) = library.build(&name) else {
            continue;
        };
        let effective = crate::record::Effective::of_build(&build);
        let named = build.parts.values().chain(effective.roles.values().map(|held| &held.answer));
        let uses = named.filter_map(|answer| match answer {
            Answer::Part(part) => Some(part),
            _ => None,
        });
        if uses.into_iter().any(&wanted) {
            found.push(name);
        }
    }
    Ok(found)
}

/// The first place where `after` lacks or alters something of `before`. Lists may grow at their end; mappings named in
/// `growing` may gain figures; a missing `build` may be filled; notes may be added.
fn altered(before: &Node, after: &Node, growing: &[&str]) -> Option<(usize, String)> {
    for (key, value) in before.entries() {
        let name = key.text().unwrap_or_default();
        match after.get(name) {
            None => return Some((after.line, name.to_owned())),
            Some(now) if growing.contains(&name) => {
                if let Some(found) = deep_altered(value, now, name) {
                    return Some(found);
                }
            }
            Some(now) => {
                if !grown(value, now) {
                    return Some(innermost(value, now, name));
                }
            }
        }
    }
    let allowed =
        ["corrected", "withdrawn", "note", "build", "settings", "fits", "conditions", "doubts", "raw"];
    let added = after.entries().iter().find(|(key, _)| {
        let name = key.text().unwrap_or_default();
        before.get(name).is_none() && !allowed.contains(&name)
    });
    added.map(|(key, _)| (key.line, key.text().unwrap_or_default().to_owned()))
}

/// The first key at which two mappings differ, or the one given.
fn innermost(before: &Node, after: &Node, name: &str) -> (usize, String) {
    let differs =
        before.entries().iter().chain(after.entries()).filter_map(|(key, _)| key.text()).find(|key| {
            match (before.get(key), after.get(key)) {
                (Some(a), Some(b)) => !a.same_data(b),
                _ => true,
            }
        });
    match differs {
        Some(key) => (after.get(key).unwrap_or(after).line, key.to_owned()),
        None => (after.line, name.to_owned()),
    }
}

/// Within figures: each figure that was there is there, and has at most gained entries.
fn deep_altered(before: &Node, after: &Node, path: &str) -> Option<(usize, String)> {
    for (key, value) in before.entries() {
        let name = key.text().unwrap_or_default();
        let Some(now) = after.get(name) else {
            return Some((after.line, format!("{path}.{name}")));
        };
        let figure = is_figure(value);
        if figure && !grown(value, now) {
            return Some((now.line, name.to_owned()));
        }
        if !figure && let Some(found) = deep_altered(value, now, name) {
            return Some(found);
        }
    }
    None
}

fn is_figure(node: &Node) -> bool {
    match &node.content {
        Content::Mapping(..) => ["measured", "listed", "assumed", "unknown", "calculated"]
            .iter()
            .any(|way| node.get(way).is_some()),
        _ => true,
    }
}

/// Whether `after` is `before`, or a list that begins with it.
fn grown(before: &Node, after: &Node) -> bool {
    if before.same_data(after) {
        return true;
    }
    match (&before.content, &after.content) {
        (Content::Sequence(a, _), Content::Sequence(b, _)) => {
            a.len() <= b.len() && a.iter().zip(b).all(|(a, b)| unless_doubted(a, b))
        }
        (Content::Mapping(..), Content::Sequence(b, _)) => {
            b.first().is_some_and(|first| unless_doubted(before, first))
        }
        (Content::Mapping(..), Content::Mapping(..)) => unless_doubted(before, after),
        _ => false,
    }
}

/// Whether an entry is the same but for a mark of doubt, and for files that show it: those may be added, none is taken
/// away.
fn unless_doubted(before: &Node, after: &Node) -> bool {
    if before.same_data(after) {
        return true;
    }
    // A mark of doubt may gain what settled it.
    let settled = |key: &str, was: &Node, now: &Node| {
        let same = was.entries().iter().all(|(key, value)| {
            key.text().and_then(|key| now.get(key)).is_some_and(|now| now.same_data(value))
        });
        let more =
            now.entries().iter().filter_map(|(key, _)| key.text()).filter(|key| was.get(key).is_none());
        key == "doubted" && same && more.into_iter().all(|key| key == "cleared")
    };
    let more_files = |key: &str, was: &Node, now: &Node| {
        key == "files"
            && was.items().len() <= now.items().len()
            && was.items().iter().zip(now.items()).all(|(was, now)| was.same_data(now))
    };
    let kept = before.entries().iter().all(|(key, value)| {
        let key = key.text().unwrap_or_default();
        after.get(key).is_some_and(|now| {
            now.same_data(value) || settled(key, value, now) || more_files(key, value, now)
        })
    });
    let added: Vec<_> = after
        .entries()
        .iter()
        .filter_map(|(key, _)| key.text())
        .filter(|key| before.get(key).is_none())
        .collect();
    !before.entries().is_empty() && kept && added.iter().all(|key| matches!(*key, "doubted" | "files"))
}

/// The states of a part whose figures were altered or went away: letter, field, line.
fn altered_states(before: &Node, after: &Node) -> Vec<(String, String, usize)> {
    let mut found = Vec::new();
    let states = |root: &Node| root.get("states").map(|states| states.items().to_vec()).unwrap_or_default();
    let now = states(after);
    for state in states(before) {
        let letter = state.get("state").and_then(Node::text).unwrap_or_default().to_owned();
        let Some(same) = now.iter().find(|other| other.get("state").and_then(Node::text) == Some(&letter))
        else {
            found.push((letter, "states".to_owned(), after.line));
            continue;
        };
        let Some(figures) = state.get("figures") else {
            continue;
        };
        let nothing = Node {
            content: Content::Mapping(Vec::new(), crate::manifest::node::Layout::Flow),
            ..same.clone()
        };
        if let Some((line, field)) = deep_altered(figures, same.get("figures").unwrap_or(&nothing), "figures")
        {
            found.push((letter, field, line));
        }
    }
    found
}
