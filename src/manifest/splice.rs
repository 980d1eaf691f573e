//! Edits that touch nothing but what they mean: comments, key order and every other byte of a manifest survive.

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::emit;
use crate::manifest::emit::Piece;
use crate::manifest::node::Content;
use crate::manifest::node::Layout;
use crate::manifest::node::Node;
use crate::manifest::yaml;

/// A manifest's text with its tree, kept in step.
#[derive(Debug, Clone)]
pub struct Document {
    file: String,
    text: String,
    root: Node,
}

impl Document {
    /// Reads a manifest for editing.
    ///
    /// # Errors
    /// The reading error, as of [`yaml::read`].
    pub fn read(file: &str, bytes: &[u8]) -> Result<Self, Finding> {
        let root = yaml::read(file, bytes)?;
        let text = String::from_utf8_lossy(bytes).into_owned();
        Ok(Self { file: file.to_owned(), text, root })
    }

    /// The text as it stands now.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The tree as it stands now.
    pub fn root(&self) -> &Node {
        &self.root
    }

    /// Puts a value under a path of keys and list positions, in place of what stands there or at the end of its
    /// mapping; missing mappings on the way are made.
    ///
    /// # Errors
    /// The path runs through something that is not a mapping, or the result would not read back as meant; the
    /// document is then as before.
    pub fn set(&mut self, path: &[&str], value: &Piece) -> Result<(), Finding> {
        let known = (0..=path.len()).rev().find(|&depth| self.root.at(&path[..depth]).is_some()).unwrap_or(0);
        if known == path.len() {
            let Some(node) = self.root.at(path) else {
                return Err(self.cannot(path));
            };
            let text = splice(&self.text, node.span.clone(), &lead(&self.text, node, &emit::inline(value)));
            return self.accept(text, path, value);
        }
        let nested = path[known + 1..]
            .iter()
            .rev()
            .fold(value.clone(), |inner, key| Piece::Block(vec![((*key).to_owned(), inner)]));
        self.insert_key(&path[..known], path[known], &nested, path, value)
    }

    /// Adds an item to the list at a path; a single mapping there becomes the list's first item, and nothing there
    /// becomes a list of one.
    ///
    /// # Errors
    /// As for [`Document::set`].
    pub fn append(&mut self, path: &[&str], value: &Piece) -> Result<(), Finding> {
        let Some(node) = self.root.at(path).filter(|node| !node.is_null()) else {
            return self.set_list(path, value);
        };
        let eol = end_of_line(&self.text);
        let text = match &node.content {
            Content::Sequence(items, _) if items.is_empty() => return self.set_list(path, value),
            Content::Sequence(items, Layout::Flow) => {
                let at = items.last().map_or(node.span.start + 1, |last| last.span.end);
                splice(&self.text, at..at, &format!(", {}", emit::inline(value)))
            }
            Content::Sequence(items, Layout::Block) => {
                let end = items.last().map_or(node.span.end, |last| last.span.end);
                self.insert_lines(end, &item_text(node.column - 1, value, eol))
            }
            Content::Mapping(..) => self.mapping_to_list(path, node, value, eol),
            Content::Scalar(..) => return Err(self.cannot(path)),
        };
        let expected = appended(&self.root, path, value);
        self.take(text, &expected, path)
    }

    fn set_list(&mut self, path: &[&str], value: &Piece) -> Result<(), Finding> {
        let list = Piece::List(vec![value.clone()]);
        match (path.split_last(), self.root.at(path)) {
            (Some((key, parent)), Some(_)) => {
                let Some(node) = self.root.at(path) else {
                    return Err(self.cannot(path));
                };
                let indent = self.root.at(parent).map_or(0, |parent| key_indent(parent, key));
                let mut lines = String::new();
                emit::item(&mut lines, indent + 2, value);
                let text = self.replace_with_lines(node, &with_eol(&lines, end_of_line(&self.text)));
                let expected = replaced(&self.root, path, &list.to_node());
                self.take(text, &expected, path)
            }
            _ => self.set(path, &list),
        }
    }

    /// Empties a value in place (`{}`, `[]` or nothing) and puts lines below its key.
    fn replace_with_lines(&self, node: &Node, lines: &str) -> String {
        let mut start = node.span.start;
        while self.text[..start].ends_with(' ') && start > 0 {
            start -= 1;
        }
        let start = if node.span.is_empty() { node.span.start } else { start };
        let text = splice(&self.text, start..node.span.end, "");
        insert_after_line(&text, start, lines)
    }

    fn insert_key(
        &mut self,
        parent: &[&str],
        key: &str,
        nested: &Piece,
        path: &[&str],
        value: &Piece,
    ) -> Result<(), Finding> {
        let Some(node) = self.root.at(parent) else {
            return Err(self.cannot(path));
        };
        let eol = end_of_line(&self.text);
        let text = match &node.content {
            Content::Mapping(entries, Layout::Block) if !entries.is_empty() => {
                let indent = entries.first().map_or(0, |(first, _)| first.column - 1);
                let mut lines = String::new();
                emit::entry(&mut lines, indent, key, nested);
                let end =
                    entries.last().map_or(node.span.end, |(key, value)| value.span.end.max(key.span.end));
                self.insert_lines(end, &with_eol(&lines, eol))
            }
            Content::Mapping(entries, _) if !entries.is_empty() => {
                let at = entries.last().map_or(node.span.start + 1, |(_, value)| value.span.end);
                splice(&self.text, at..at, &format!(", {}: {}", emit::key_text(key), emit::inline(nested)))
            }
            Content::Mapping(..) | Content::Scalar(..)
                if node.is_null() || matches!(node.content, Content::Mapping(..)) =>
            {
                self.open_mapping(parent, node, key, nested, eol)?
            }
            _ => return Err(self.cannot(path)),
        };
        self.accept(text, path, value)
    }

    /// Turns an empty value or `{}` into a mapping with one key, below its own key.
    fn open_mapping(
        &self,
        path: &[&str],
        node: &Node,
        key: &str,
        value: &Piece,
        eol: &str,
    ) -> Result<String, Finding> {
        let Some((own, above)) = path.split_last() else {
            return Err(self.cannot(path));
        };
        let Some(above) = self.root.at(above) else {
            return Err(self.cannot(path));
        };
        if let Content::Mapping(_, Layout::Flow) = above.content {
            return Ok(splice(
                &self.text,
                node.span.clone(),
                &format!("{{{}: {}}}", emit::key_text(key), emit::inline(value)),
            ));
        }
        let mut lines = String::new();
        emit::entry(&mut lines, key_indent(above, own) + 2, key, value);
        Ok(self.replace_with_lines(node, &with_eol(&lines, eol)))
    }

    fn mapping_to_list(&self, path: &[&str], node: &Node, value: &Piece, eol: &str) -> String {
        let indent = match path.split_last() {
            Some((own, above)) => self.root.at(above).map_or(0, |above| key_indent(above, own)) + 2,
            None => 0,
        };
        let body = &self.text[node.span.clone()];
        // In braces any deeper place will do; in a block the keys stay in line with the first, wherever that stood.
        let (deeper, shallower) = match node.content {
            Content::Mapping(_, Layout::Flow) => (4, 0),
            _ => ((indent + 2).saturating_sub(node.column - 1), (node.column - 1).saturating_sub(indent + 2)),
        };
        let shifted = body.split_inclusive('\n').enumerate().map(|(number, line)| {
            let blank = line.len() - line.trim_start_matches(' ').len();
            if number == 0 || line.trim().is_empty() {
                line.to_owned()
            } else {
                format!("{:deeper$}{}", "", &line[blank.min(shallower)..])
            }
        });
        let item = format!("{eol}{:indent$}- {}", "", shifted.collect::<String>());
        let mut start = node.span.start;
        while start > 0 && self.text[..start].ends_with([' ', '\n', '\r', '\t']) {
            start -= 1;
        }
        // Comments between the key and a block mapping stay: only blank space is taken.
        let text = splice(&self.text, start..node.span.end, &item);
        insert_after_line(&text, start + item.len(), &item_text(indent, value, eol))
    }

    fn insert_lines(&self, end: usize, lines: &str) -> String {
        insert_after_line(&self.text, end, lines)
    }

    fn accept(&mut self, text: String, path: &[&str], value: &Piece) -> Result<(), Finding> {
        let expected = replaced(&self.root, path, &value.to_node());
        self.take(text, &expected, path)
    }

    /// Takes the new text only if it reads back as exactly what was meant.
    fn take(&mut self, text: String, expected: &Node, path: &[&str]) -> Result<(), Finding> {
        let root = yaml::read(&self.file, text.as_bytes()).map_err(|_| self.cannot(path))?;
        if !root.same_data(expected) {
            return Err(self.cannot(path));
        }
        self.text = text;
        self.root = root;
        Ok(())
    }

    fn cannot(&self, path: &[&str]) -> Finding {
        let place = Place::file(&self.file).field(path.join("."));
        let place = match (0..=path.len()).rev().find_map(|depth| self.root.at(&path[..depth])) {
            Some(node) => place.line(node.line),
            None => place,
        };
        Finding::error(
            "cannot-edit",
            "this place cannot be edited by the program without touching more than it should",
        )
        .at(place)
        .next("make the edit by hand in the file, then `mulebook keep`")
    }
}

fn key_indent(mapping: &Node, key: &str) -> usize {
    mapping
        .entries()
        .iter()
        .find(|(name, _)| name.text() == Some(key))
        .map_or_else(|| mapping.column.saturating_sub(1), |(name, _)| name.column - 1)
}

/// A value right behind a colon needs a space before it.
fn lead(text: &str, node: &Node, value: &str) -> String {
    if node.span.is_empty() && text[..node.span.start].ends_with(':') {
        format!(" {value}")
    } else {
        value.to_owned()
    }
}

fn item_text(indent: usize, value: &Piece, eol: &str) -> String {
    let mut lines = String::new();
    emit::item(&mut lines, indent, value);
    with_eol(&lines, eol)
}

fn end_of_line(text: &str) -> &'static str {
    match text.find('\n') {
        Some(at) if text[..at].ends_with('\r') => "\r\n",
        _ => "\n",
    }
}

fn with_eol(lines: &str, eol: &str) -> String {
    if eol == "\n" { lines.to_owned() } else { lines.replace('\n', eol) }
}

fn splice(text: &str, range: std::ops::Range<usize>, with: &str) -> String {
    let mut out = String::with_capacity(text.len() + with.len());
    out.push_str(&text[..range.start]);
    out.push_str(with);
    out.push_str(&text[range.end..]);
    out
}

/// Puts whole lines below the line that `at` is on.
fn insert_after_line(text: &str, at: usize, lines: &str) -> String {
    match text[at..].find('\n') {
        Some(offset) => splice(text, at + offset + 1..at + offset + 1, lines),
        None => format!("{text}{}{}", end_of_line(text), lines.trim_end_matches(['\n', '\r'])),
    }
}

/// The tree with another value at a path.
fn replaced(root: &Node, path: &[&str], value: &Node) -> Node {
    let Some((step, rest)) = path.split_first() else {
        return value.clone();
    };
    let mut node = root.clone();
    match &mut node.content {
        Content::Mapping(entries, _) => match entries.iter_mut().find(|(key, _)| key.text() == Some(step)) {
            Some((_, inner)) => *inner = replaced(inner, rest, value),
            None => entries.push((Piece::word(*step).to_node(), nested(rest, value))),
        },
        Content::Sequence(items, _) => {
            if let Some(inner) = step.parse::<usize>().ok().and_then(|index| items.get_mut(index)) {
                *inner = replaced(inner, rest, value);
            }
        }
        Content::Scalar(..) => return nested(path, value),
    }
    node
}

fn nested(path: &[&str], value: &Node) -> Node {
    path.iter().rev().fold(value.clone(), |inner, key| Node {
        content: Content::Mapping(vec![(Piece::word(*key).to_node(), inner)], Layout::Block),
        span: 0..0,
        line: 0,
        column: 0,
    })
}

/// The tree with another item in the list at a path.
fn appended(root: &Node, path: &[&str], value: &Piece) -> Node {
    let items = match root.at(path).map(|node| &node.content) {
        Some(Content::Sequence(items, _)) => items.clone(),
        Some(_) => root.at(path).cloned().into_iter().collect(),
        None => Vec::new(),
    };
    let items = items.into_iter().chain([value.to_node()]).collect();
    let list = Node { content: Content::Sequence(items, Layout::Block), span: 0..0, line: 0, column: 0 };
    replaced(root, path, &list)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn edit(text: &str, change: impl Fn(&mut Document) -> Result<(), Finding>) -> String {
        let mut document = Document::read("x.yaml", text.as_bytes()).expect("good YAML");
        change(&mut document).expect("the edit can be made");
        document.text().to_owned()
    }

    fn figure() -> Piece {
        Piece::Line(vec![
            ("measured".to_owned(), Piece::word("52.0 cc")),
            ("by".to_owned(), Piece::word("mk")),
        ])
    }

    #[test]
    fn a_new_figure_goes_below_the_last_and_comments_stay() {
        let before =
            "figures:\n  bore: {listed: 86 mm, source: \"card\"}   # as sold\n\n# the end\nnote: x\n";
        let after = edit(before, |d| d.set(&["figures", "chamber-volume"], &figure()));
        assert_eq!(
            after,
            "figures:\n  bore: {listed: 86 mm, source: \"card\"}   # as sold\n  chamber-volume: {measured: 52.0 cc, by: mk}\n\n# the end\nnote: x\n"
        );
    }

    #[test]
    fn empty_braces_and_nothing_open_into_a_block() {
        for before in [
            "states:\n  - state: b\n    figures: {}  # none yet\n",
            "states:\n  - state: b\n    figures:  # none yet\n",
        ] {
            let after = edit(before, |d| d.set(&["states", "0", "figures", "bore"], &figure()));
            assert_eq!(
                after,
                "states:\n  - state: b\n    figures:  # none yet\n      bore: {measured: 52.0 cc, by: mk}\n"
            );
        }
    }

    #[test]
    fn a_second_entry_makes_a_list_of_the_first() {
        let after = edit("figures:\n  bore: {measured: 1 mm, by: x}  # first\n  z: 1\n", |d| {
            d.append(&["figures", "bore"], &figure())
        });
        assert_eq!(
            after,
            "figures:\n  bore:\n    - {measured: 1 mm, by: x}  # first\n    - {measured: 52.0 cc, by: mk}\n  z: 1\n"
        );
        let third = edit(&after, |d| d.append(&["figures", "bore"], &figure()));
        assert!(
            third.contains("    - {measured: 52.0 cc, by: mk}\n    - {measured: 52.0 cc, by: mk}\n  z: 1\n"),
            "{third}"
        );
    }

    #[test]
    fn a_figure_written_over_several_lines_becomes_an_item_whole() {
        let after = edit("f:\n  bore:\n    measured: 1 mm\n    by: x\n  z: 1\n", |d| {
            d.append(&["f", "bore"], &figure())
        });
        assert_eq!(
            after,
            "f:\n  bore:\n    - measured: 1 mm\n      by: x\n    - {measured: 52.0 cc, by: mk}\n  z: 1\n"
        );
        let flow = edit("f:\n  bore: {measured: 1 mm,\n         by: x}\n  z: 1\n", |d| {
            d.append(&["f", "bore"], &figure())
        });
        assert!(flow.contains("- {measured: 52.0 cc, by: mk}\n  z: 1\n"), "{flow}");
    }

    #[test]
    fn line_ends_of_the_file_are_kept() {
        let after = edit("a: 1\r\nb: 2", |d| d.set(&["c", "d"], &Piece::word("x")));
        assert_eq!(after, "a: 1\r\nb: 2\r\nc:\r\n  d: x");
    }

    #[test]
    fn a_place_that_is_no_mapping_is_refused_and_nothing_changes() {
        let mut document = Document::read("x.yaml", b"a: text\n").expect("good YAML");
        assert_eq!(document.set(&["a", "b"], &figure()).expect_err("a text").code, "cannot-edit");
        assert_eq!(document.text(), "a: text\n");
    }

    proptest! {
        /// Every line of the old text is still there, in order, after an edit that adds.
        #[test]
        fn every_other_byte_survives(
            keys in proptest::collection::vec("[a-e]{1,3}", 1..5),
            comment in "[ a-z]{0,10}",
            blank in 0usize..3,
        ) {
            let mut text = String::new();
            let mut seen = std::collections::BTreeSet::new();
            for key in &keys {
                if seen.insert(key.clone()) {
                    text.push_str(&format!("{key}: {{measured: 1 mm}} # {comment}\n{}", "\n".repeat(blank)));
                }
            }
            let mut document = Document::read("x.yaml", text.as_bytes()).expect("good YAML");
            document.set(&["new", "x"], &figure()).expect("the edit can be made");
            document.append(&["new", "list"], &figure()).expect("the edit can be made");
            let mut after = document.text().lines();
            for line in text.lines() {
                prop_assert!(after.any(|candidate| candidate == line), "{line:?} lost from\n{text}\n->\n{}", document.text());
            }
        }
    }
}
