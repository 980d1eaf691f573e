//! A page of text: headings, wrapped lines, tables, fit to a width and readable without colour.

use anstyle::AnsiColor;
use anstyle::Style;
use unicode_width::UnicodeWidthChar;
use unicode_width::UnicodeWidthStr;

/// How a page is to look.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// Whether colour may be used.
    pub colour: bool,
    /// Columns of the terminal or paper.
    pub width: usize,
    /// With what small plots are drawn beside the tables, where they are.
    pub plots: Option<Letters>,
}

/// The characters that plots are drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Letters {
    /// Nothing but ASCII.
    Ascii,
    /// Marks and lines of Unicode.
    Unicode,
}

impl Default for Look {
    fn default() -> Self {
        Self { colour: false, width: 80, plots: None }
    }
}

/// What a stretch of text is, which colour may underline but never carries alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Ordinary.
    Plain,
    /// A heading.
    Heading,
    /// Something wrong.
    Bad,
    /// Something doubtful.
    Doubt,
    /// Of less weight.
    Faint,
}

/// Text being laid out.
#[derive(Debug)]
pub struct Page {
    look: Look,
    out: String,
}

impl Page {
    /// An empty page.
    pub fn new(look: Look) -> Self {
        Self { look: Look { width: look.width.clamp(40, 200), ..look }, out: String::new() }
    }

    /// How it is to look, its width within bounds.
    pub(super) fn look(&self) -> Look {
        self.look
    }

    /// The text.
    pub fn finish(self) -> String {
        self.out
    }

    /// An empty line, unless the page begins or has one already.
    pub fn gap(&mut self) {
        if !self.out.is_empty() && !self.out.ends_with("\n\n") {
            self.out.push('\n');
        }
    }

    /// A heading of its own.
    pub fn heading(&mut self, text: &str) {
        self.gap();
        self.line(0, Tone::Heading, text);
    }

    /// A line, wrapped to the width; lines after the first are indented further.
    pub fn line(&mut self, indent: usize, tone: Tone, text: &str) {
        self.hanging(indent, indent + 2, tone, text);
    }

    /// A line whose later lines begin at another indentation.
    pub fn hanging(&mut self, indent: usize, later: usize, tone: Tone, text: &str) {
        let text = clean(text);
        let mut lead = indent;
        for paragraph in text.split('\n') {
            for line in wrap(paragraph, self.look.width, lead, later) {
                self.put(lead, tone, &line);
                lead = later;
            }
            lead = later;
        }
    }

    /// Items one after the other, wrapped to the width; none is broken that fits on a line.
    pub fn items(&mut self, indent: usize, tone: Tone, items: &[String]) {
        let whole: Vec<String> = items.iter().map(|item| clean(item).replace(' ', "\u{a0}")).collect();
        let mut lead = indent;
        for line in wrap(&whole.join(" "), self.look.width, indent, indent + 2) {
            self.put(lead, tone, &line.replace('\u{a0}', " "));
            lead = indent + 2;
        }
    }

    /// A name and a value, the values of several such lines under each other.
    pub fn pair(&mut self, indent: usize, name: &str, width: usize, value: &str) {
        let name = clean(name);
        let pad = width.saturating_sub(name.width());
        let text = format!("{name}{:pad$}  {}", "", clean(value));
        self.hanging(indent, indent + width + 2, Tone::Plain, &text);
    }

    /// A line as it stands, not wrapped: commands, tables, plots.
    pub fn verbatim(&mut self, indent: usize, tone: Tone, text: &str) {
        let text = clean(text);
        self.put(indent, tone, &text);
    }

    /// Text that this room has laid out already, indented.
    pub(super) fn laid_out(&mut self, indent: usize, text: &str) {
        for line in text.lines() {
            if !line.is_empty() {
                self.out.push_str(&" ".repeat(indent));
            }
            self.out.push_str(line);
            self.out.push('\n');
        }
    }

    fn put(&mut self, indent: usize, tone: Tone, line: &str) {
        let style = match tone {
            Tone::Plain => Style::new(),
            Tone::Heading => Style::new().bold(),
            Tone::Bad => Style::new().fg_color(Some(AnsiColor::Red.into())).bold(),
            Tone::Doubt => Style::new().fg_color(Some(AnsiColor::Yellow.into())),
            Tone::Faint => Style::new().dimmed(),
        };
        self.out.push_str(&" ".repeat(indent));
        if self.look.colour && tone != Tone::Plain {
            self.out.push_str(&format!("{style}{line}{style:#}"));
        } else {
            self.out.push_str(line);
        }
        while self.out.ends_with(' ') {
            self.out.pop();
        }
        self.out.push('\n');
    }
}

/// Text without anything that steers a terminal: control characters and marks that turn the writing direction are
/// shown by their number.
pub fn clean(text: &str) -> String {
    if !text.contains(steers) {
        return text.to_owned();
    }
    text.chars()
        .map(|c| match c {
            '\t' => " ".to_owned(),
            c if steers(c) => format!("\\u{{{:x}}}", u32::from(c)),
            c => c.to_string(),
        })
        .collect()
}

/// JSON text with the same characters, which can stand in its strings alone, written by their number.
pub(super) fn clean_json(json: &str) -> String {
    if !json.contains(steers) {
        return json.to_owned();
    }
    json.chars().map(|c| if steers(c) { format!("\\u{:04x}", u32::from(c)) } else { c.to_string() }).collect()
}

/// Whether a character steers a terminal instead of showing there.
fn steers(c: char) -> bool {
    (c.is_control() && c != '\n')
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
        || c == '\u{61c}'
}

fn wrap(text: &str, width: usize, first: usize, later: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut room = width.saturating_sub(first).max(20);
    for word in text.split(' ') {
        let needed = word.width() + usize::from(!line.is_empty());
        if !line.trim().is_empty() && line.width() + needed > room {
            lines.push(std::mem::take(&mut line));
            room = width.saturating_sub(later).max(20);
        }
        if !line.is_empty() || (lines.is_empty() && word.is_empty()) {
            line.push(' ');
        }
        line.push_str(word);
        while line.width() > room {
            let (head, rest) = split_at_width(&line, room);
            lines.push(head);
            line = rest;
            room = width.saturating_sub(later).max(20);
        }
    }
    lines.push(line);
    lines
}

fn split_at_width(text: &str, room: usize) -> (String, String) {
    let mut used = 0;
    let at = text
        .char_indices()
        .find(|(_, c)| {
            used += c.width().unwrap_or(0);
            used > room
        })
        .map_or(text.len(), |(at, _)| at.max(1));
    let at = (at..=text.len()).find(|&at| text.is_char_boundary(at)).unwrap_or(text.len());
    (text[..at].to_owned(), text[at..].to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn control_sequences_from_records_never_reach_the_terminal() {
        let mut page = Page::new(Look { colour: true, width: 80, plots: None });
        page.line(0, Tone::Plain, "spacer \u{1b}[31mred\u{7} \u{202e}abc");
        let text = page.finish();
        assert_eq!(text, "spacer \\u{1b}[31mred\\u{7} \\u{202e}abc\n");
    }

    proptest! {
        #[test]
        fn lines_fit_the_width_and_no_word_is_lost(text in "[a-zé ]{0,300}", width in 40usize..120) {
            let mut page = Page::new(Look { colour: false, width, plots: None });
            page.line(2, Tone::Plain, &text);
            let out = page.finish();
            prop_assert!(out.lines().all(|line| line.width() <= width), "{out}");
            let letters = |text: &str| text.chars().filter(|c| !c.is_whitespace()).collect::<String>();
            prop_assert_eq!(letters(&out), letters(&text));
        }

        #[test]
        fn nothing_makes_it_panic(text in "\\PC{0,120}\u{1b}?.*", indent in 0usize..70) {
            let mut page = Page::new(Look { colour: true, width: 60, plots: None });
            page.line(indent, Tone::Bad, &text);
            page.pair(2, &text, 10, &text);
        }
    }
}
