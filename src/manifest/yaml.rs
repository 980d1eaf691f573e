//! YAML text to a tree: version 1.2, one document, and only what a manifest needs.

use std::ops::Range;

use serde_yaml::granit_parser::Event;
use serde_yaml::granit_parser::Parser;
use serde_yaml::granit_parser::ScalarStyle;
use serde_yaml::granit_parser::Span;
use serde_yaml::granit_parser::StructureStyle;

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::node::Content;
use crate::manifest::node::Layout;
use crate::manifest::node::Node;
use crate::manifest::node::Style;

/// Bytes that a manifest may have.
pub const LONGEST_MANIFEST: usize = 1 << 20;
/// Levels that a manifest may nest.
const DEEPEST: usize = 24;
/// Nodes that a manifest may hold.
const MOST_NODES: usize = 200_000;

/// Reads one YAML document.
///
/// # Errors
/// One finding with line and column: not UTF-8, too long, not YAML, a tab in the indentation, a key that stands twice,
/// an anchor, alias, merge key, tag or directive, a second document, nesting or size past the limits.
pub fn read(file: &str, bytes: &[u8]) -> Result<Node, Finding> {
    let text = as_text(file, bytes)?;
    let mut reader = Reader { file, text, parser: Parser::new_from_str(text), nodes: 0 };
    reader.document()
}

fn as_text<'a>(file: &str, bytes: &'a [u8]) -> Result<&'a str, Finding> {
    if bytes.len() > LONGEST_MANIFEST {
        return Err(Finding::error("manifest-too-long", "this manifest is too long to be one")
            .at(Place::file(file))
            .found(format!("{} bytes", bytes.len()))
            .expected(format!("at most {LONGEST_MANIFEST} bytes"))
            .next("keep long tables as raw files (`mulebook pull`) and name them here"));
    }
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let before = &bytes[..error.valid_up_to()];
        let line = before.iter().filter(|&&byte| byte == b'\n').count() + 1;
        Finding::error("not-utf-8", "this text is not UTF-8")
            .at(Place::file(file).line(line))
            .next("save the file as UTF-8 in the editor")
    })?;
    if let Some(rest) = text.strip_prefix('\u{feff}') {
        return Err(Finding::error("byte-order-mark", "the file starts with a byte order mark")
            .at(Place::file(file).line(1).column(1))
            .found(format!("a byte order mark before `{}`", rest.chars().take(12).collect::<String>()))
            .next("save the file as UTF-8 without a byte order mark"));
    }
    if let Some(at) = text.find(|c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
        let line = text[..at].matches('\n').count() + 1;
        return Err(Finding::error("control-character", "a control character stands in the text")
            .at(Place::file(file).line(line))
            .found(format!("{:?}", text[at..].chars().next().unwrap_or_default()))
            .next("delete it"));
    }
    Ok(text)
}

struct Reader<'a> {
    file: &'a str,
    text: &'a str,
    parser: Parser<'a, serde_yaml::granit_parser::StrInput<'a>>,
    nodes: usize,
}

impl<'a> Reader<'a> {
    fn document(&mut self) -> Result<Node, Finding> {
        let mut root = None;
        loop {
            let (event, span) = self.next()?;
            match event {
                Event::StreamStart | Event::Comment(..) | Event::DocumentEnd => {}
                Event::DocumentStart(_, version) => {
                    if root.is_some() {
                        return Err(self.refuse(span, "second-document", "a second document starts here").next(
                            "keep one record a file: delete the `---` and what follows, or move it to its own file",
                        ));
                    }
                    if version.is_some() {
                        return Err(self
                            .refuse(span, "directive", "a manifest takes no YAML directive")
                            .next("delete the line that starts with `%`"));
                    }
                }
                Event::StreamEnd => break,
                event => root = Some(self.node(event, span, 0)?),
            }
        }
        root.ok_or_else(|| {
            Finding::error("empty-manifest", "the file is empty")
                .at(Place::file(self.file).line(1))
                .next("write the record, or delete the file")
        })
    }

    fn next(&mut self) -> Result<(Event<'a>, Span), Finding> {
        match self.parser.next_event() {
            Some(Ok(event)) => Ok(event),
            Some(Err(error)) => {
                let at = error.marker();
                let place = Place::file(self.file).line(at.line()).column(at.col() + 1);
                let hint = hint_for(self.text, at.line());
                Err(Finding::error("not-yaml", format!("not readable as YAML: {}", plain(&error.info())))
                    .at(place)
                    .next(hint))
            }
            None => Ok((Event::StreamEnd, Span::empty(serde_yaml::granit_parser::Marker::new(0, 1, 0)))),
        }
    }

    fn next_content(&mut self) -> Result<(Event<'a>, Span), Finding> {
        loop {
            match self.next()? {
                (Event::Comment(..), _) => {}
                other => return Ok(other),
            }
        }
    }

    fn node(&mut self, event: Event<'a>, span: Span, depth: usize) -> Result<Node, Finding> {
        self.nodes += 1;
        if self.nodes > MOST_NODES || depth > DEEPEST {
            return Err(self
                .refuse(span, "too-large", "this nests too deep or holds too much for a manifest")
                .expected(format!("at most {DEEPEST} levels and {MOST_NODES} values")));
        }
        if event.anchor_id().is_some() || event.is_alias() {
            return Err(self
                .refuse(
                    span,
                    "anchor-or-alias",
                    "anchors and aliases (`&name`, `*name`) are not taken in a manifest",
                )
                .next(
                    "write the value out where it is used, or quote it if the `&` or `*` is meant as text",
                ));
        }
        if event.tag().is_some() {
            return Err(self
                .refuse(span, "tag", "tags (`!name`) are not taken in a manifest")
                .next("delete the tag, or quote the value if the `!` is meant as text"));
        }
        let start = span.start;
        let begin = start.byte_offset().unwrap_or(0);
        let (content, range) = match event {
            Event::Scalar(text, written, ..) => {
                let style = if written == ScalarStyle::Plain { Style::Plain } else { Style::Text };
                let mut range = self.trimmed(span.byte_range().unwrap_or(begin..begin));
                if matches!(written, ScalarStyle::Literal | ScalarStyle::Folded) {
                    // The parser's span starts behind the header; an edit must take the header along.
                    range.start = self.text[..range.start].rfind(['|', '>']).unwrap_or(range.start);
                }
                let text =
                    if style == Style::Plain && range.is_empty() { String::new() } else { text.into_owned() };
                (Content::Scalar(text, style), range)
            }
            Event::SequenceStart(style, ..) => self.sequence(style, begin, depth)?,
            Event::MappingStart(style, ..) => self.mapping(style, begin, depth)?,
            _ => return Err(self.refuse(span, "not-yaml", "a value was expected here")),
        };
        Ok(Node { content, span: range, line: start.line(), column: start.col() + 1 })
    }

    fn sequence(
        &mut self,
        style: StructureStyle,
        begin: usize,
        depth: usize,
    ) -> Result<(Content, Range<usize>), Finding> {
        let mut items: Vec<Node> = Vec::new();
        loop {
            let (event, span) = self.next_content()?;
            if matches!(event, Event::SequenceEnd) {
                let last = items.last().map(|item| item.span.end);
                return Ok((Content::Sequence(items, layout(style)), ends(style, begin, span, last)));
            }
            items.push(self.node(event, span, depth + 1)?);
        }
    }

    fn mapping(
        &mut self,
        style: StructureStyle,
        begin: usize,
        depth: usize,
    ) -> Result<(Content, Range<usize>), Finding> {
        let mut entries: Vec<(Node, Node)> = Vec::new();
        loop {
            let (event, span) = self.next_content()?;
            if matches!(event, Event::MappingEnd) {
                let last = entries.last().map(|(_, value)| value.span.end);
                return Ok((Content::Mapping(entries, layout(style)), ends(style, begin, span, last)));
            }
            let key = self.node(event, span, depth + 1)?;
            self.accept_key(&key, span, &entries)?;
            let (event, value_span) = self.next_content()?;
            let mut value = self.node(event, value_span, depth + 1)?;
            if value.span.is_empty() {
                // An absent value is marked where the next thing stands; it belongs right behind its key's colon.
                let behind = self.text[key.span.end..]
                    .find(':')
                    .map_or(key.span.end, |colon| key.span.end + colon + 1);
                value.span = behind..behind;
                value.line = key.line;
            }
            entries.push((key, value));
        }
    }

    fn accept_key(&self, key: &Node, span: Span, before: &[(Node, Node)]) -> Result<(), Finding> {
        let Some(name) = key.text() else {
            return Err(self
                .refuse(span, "key-not-text", "a key must be a single word")
                .next("if braces were meant as text, quote the whole value"));
        };
        if name == "<<" {
            return Err(self
                .refuse(span, "merge-key", "merge keys (`<<`) are not taken in a manifest")
                .next("write the keys out"));
        }
        if let Some((first, _)) = before.iter().find(|(earlier, _)| earlier.text() == Some(name)) {
            return Err(self
                .refuse(span, "key-twice", format!("`{name}` stands twice"))
                .found(format!("a first `{name}` on line {}", first.line))
                .next("keep one of them; several readings of one figure go into a list under one key"));
        }
        Ok(())
    }

    /// A range without the line ends and indentation that a block scalar drags along.
    fn trimmed(&self, range: Range<usize>) -> Range<usize> {
        let text = self.text.get(range.clone()).unwrap_or_default();
        range.start..range.start + text.trim_end().len()
    }

    fn refuse(&self, span: Span, code: &'static str, message: impl Into<String>) -> Finding {
        Finding::error(code, message)
            .at(Place::file(self.file).line(span.start.line()).column(span.start.col() + 1))
    }
}

fn layout(style: StructureStyle) -> Layout {
    match style {
        StructureStyle::Flow => Layout::Flow,
        StructureStyle::Block => Layout::Block,
    }
}

fn ends(style: StructureStyle, begin: usize, span: Span, last: Option<usize>) -> Range<usize> {
    match style {
        StructureStyle::Flow => begin..span.end.byte_offset().unwrap_or(begin),
        StructureStyle::Block => begin..last.unwrap_or(begin),
    }
}

/// The parser's words without its own position, which the finding carries already.
fn plain(message: &str) -> String {
    message.split(" at char ").next().unwrap_or(message).to_lowercase()
}

/// The likeliest cause of a reading error, from the line it was met on.
fn hint_for(text: &str, line: usize) -> String {
    let near = text.lines().nth(line.saturating_sub(1)).unwrap_or_default();
    let indentation: String = near.chars().take_while(|c| c.is_whitespace()).collect();
    if indentation.contains('\t') {
        "indent with spaces: the line starts with a tab".to_owned()
    } else if near.matches('"').count() % 2 == 1 {
        "a quotation mark is open on this line: close it".to_owned()
    } else if near.matches('{').count() != near.matches('}').count() {
        "a brace is open on this line: close it".to_owned()
    } else if near.matches(": ").count() > 1 {
        "a colon ends the text here: quote the value that has a colon in it".to_owned()
    } else {
        "compare the indentation with the lines above; quote a value that has a colon, comma, brace or # in it".to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn code(text: &str) -> &'static str {
        read("x.yaml", text.as_bytes()).err().map_or("read", |finding| finding.code)
    }

    #[test]
    fn refuses_what_a_manifest_does_not_take() {
        assert_eq!(code("a: 1\na: 2\n"), "key-twice");
        assert_eq!(code("a: &x 1\nb: *x\n"), "anchor-or-alias");
        assert_eq!(code("a: {<<: 1}\n"), "merge-key");
        assert_eq!(code("a: !!binary aGk=\n"), "tag");
        assert_eq!(code("a:\n\t- b\n"), "not-yaml");
        assert_eq!(code("%YAML 1.2\n---\na: 1\n"), "directive");
        assert_eq!(code("a: 1\n---\nb: 2\n"), "second-document");
        assert_eq!(code("\u{feff}a: 1\n"), "byte-order-mark");
        assert_eq!(code(""), "empty-manifest");
        assert_eq!(code("? [a]\n: 1\n"), "key-not-text");
        assert_eq!(code("a: \u{1b}[31m\n"), "control-character");
        assert_eq!(code(&format!("{}1{}", "[".repeat(40), "]".repeat(40))), "too-large");
    }

    #[test]
    fn an_error_names_line_and_column_and_the_next_step() {
        let finding = read("parts/h2.yaml", b"part: h2\nkind:\n\t- x\n").expect_err("a tab");
        assert_eq!(finding.place.as_ref().and_then(|place| place.line), Some(3));
        assert_eq!(finding.next.as_deref(), Some("indent with spaces: the line starts with a tab"));
    }

    #[test]
    fn spans_hold_the_bytes_of_each_value() {
        let text = "# é\npart: h2  # tag\nnote: |\n  one\n  two\nfigures:\n  bore: {measured: 86.0 mm}\nempty:\nlast: 1\n";
        let root = read("x.yaml", text.as_bytes()).expect("good YAML");
        let slice = |path: &[&str]| &text[root.at(path).expect("there").span.clone()];
        assert_eq!(slice(&["part"]), "h2");
        assert_eq!(slice(&["figures"]), "bore: {measured: 86.0 mm}");
        assert_eq!(slice(&["figures", "bore", "measured"]), "86.0 mm");
        assert_eq!(slice(&["note"]), "|\n  one\n  two");
        assert!(root.at(&["empty"]).expect("there").is_null());
        assert_eq!(slice(&["last"]), "1");
    }

    #[test]
    fn numbers_keep_their_digits() {
        let root = read("x.yaml", b"a: 1.250\nb: \"0417\"\n").expect("good YAML");
        assert_eq!(root.get("a").and_then(Node::text), Some("1.250"));
        assert_eq!(root.get("b").and_then(Node::text), Some("0417"));
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,200}") {
            let _ = read("x.yaml", text.as_bytes());
        }

        #[test]
        fn no_structure_makes_it_panic(text in "[a-c:{}\\[\\],#&*!|>\"' \n\t-]{0,120}") {
            let _ = read("x.yaml", text.as_bytes());
        }
    }
}
