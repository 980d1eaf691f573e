//! A YAML document as a tree that remembers where everything stood and how it was written.

use std::ops::Range;

use serde_json::Map;
use serde_json::Number;
use serde_json::Value as Json;

/// How a scalar was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Without quotes: YAML gives words such as `true` and `12` a type.
    Plain,
    /// Quoted, or as a block: always text.
    Text,
}

/// How a collection was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// One item a line.
    Block,
    /// In braces or brackets.
    Flow,
}

/// What a node is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Content {
    /// A single value, as its text.
    Scalar(String, Style),
    /// A list.
    Sequence(Vec<Node>, Layout),
    /// Keys with values, in the order written; no key stands twice.
    Mapping(Vec<(Node, Node)>, Layout),
}

/// A node with the bytes it spans.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Node {
    /// What it is.
    pub content: Content,
    /// Its bytes in the text; a block collection ends with its last item.
    pub span: Range<usize>,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl Node {
    /// The text of a scalar.
    pub fn text(&self) -> Option<&str> {
        match &self.content {
            Content::Scalar(text, _) => Some(text),
            _ => None,
        }
    }

    /// Whether it is an empty value or a plain `null` or `~`.
    pub fn is_null(&self) -> bool {
        matches!(&self.content, Content::Scalar(text, Style::Plain) if matches!(text.as_str(), "" | "~" | "null" | "Null" | "NULL"))
    }

    /// The entries of a mapping, none for anything else.
    pub fn entries(&self) -> &[(Node, Node)] {
        match &self.content {
            Content::Mapping(entries, _) => entries,
            _ => &[],
        }
    }

    /// The items of a list, none for anything else.
    pub fn items(&self) -> &[Node] {
        match &self.content {
            Content::Sequence(items, _) => items,
            _ => &[],
        }
    }

    /// The value under a key.
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entries().iter().find(|(name, _)| name.text() == Some(key)).map(|(_, value)| value)
    }

    /// The node at a path of keys and list positions (from 0).
    pub fn at(&self, path: &[&str]) -> Option<&Node> {
        path.iter().try_fold(self, |node, step| match &node.content {
            Content::Mapping(..) => node.get(step),
            Content::Sequence(items, _) => step.parse::<usize>().ok().and_then(|index| items.get(index)),
            Content::Scalar(..) => None,
        })
    }

    /// The same data as JSON, plain scalars typed by the core schema of YAML 1.2 (section 10.3.2).
    pub fn to_json(&self) -> Json {
        match &self.content {
            Content::Scalar(text, Style::Text) => Json::String(text.clone()),
            Content::Scalar(text, Style::Plain) => plain_to_json(text),
            Content::Sequence(items, _) => Json::Array(items.iter().map(Node::to_json).collect()),
            Content::Mapping(entries, _) => Json::Object(
                entries
                    .iter()
                    .map(|(key, value)| (key.text().unwrap_or_default().to_owned(), value.to_json()))
                    .collect::<Map<_, _>>(),
            ),
        }
    }

    /// Whether two trees hold the same data, however they were written.
    pub fn same_data(&self, other: &Node) -> bool {
        match (&self.content, &other.content) {
            (Content::Scalar(a, sa), Content::Scalar(b, sb)) => {
                a == b && (sa == sb || plain_to_json(a).is_string())
            }
            (Content::Sequence(a, _), Content::Sequence(b, _)) => {
                a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.same_data(b))
            }
            (Content::Mapping(a, _), Content::Mapping(b, _)) => {
                a.len() == b.len()
                    && a.iter().zip(b).all(|((ka, va), (kb, vb))| ka.text() == kb.text() && va.same_data(vb))
            }
            _ => false,
        }
    }
}

/// A plain scalar by the core schema. Numbers that JSON cannot hold stay text.
fn plain_to_json(text: &str) -> Json {
    match text {
        "" | "~" | "null" | "Null" | "NULL" => return Json::Null,
        "true" | "True" | "TRUE" => return Json::Bool(true),
        "false" | "False" | "FALSE" => return Json::Bool(false),
        _ => {}
    }
    let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
    if !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return text
            .trim_start_matches('+')
            .parse::<i64>()
            .map_or_else(|_| Json::String(text.to_owned()), |whole| Json::Number(whole.into()));
    }
    if is_core_float(digits)
        && let Some(number) = text
            .trim_start_matches('+')
            .parse::<f64>()
            .ok()
            .filter(|x| x.is_finite())
            .and_then(Number::from_f64)
    {
        return Json::Number(number);
    }
    Json::String(text.to_owned())
}

/// `( \. [0-9]+ | [0-9]+ ( \. [0-9]* )? ) ( [eE] [-+]? [0-9]+ )?`, after the sign.
fn is_core_float(text: &str) -> bool {
    let (mantissa, exponent) = match text.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, Some(exponent.strip_prefix(['-', '+']).unwrap_or(exponent))),
        None => (text, None),
    };
    let all_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let mantissa_holds =
        all_digits(whole) && all_digits(fraction) && !(whole.is_empty() && fraction.is_empty());
    mantissa_holds && exponent.is_none_or(|digits| !digits.is_empty() && all_digits(digits))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_scalars_take_the_types_of_the_core_schema() {
        // YAML 1.2.2, section 10.3.2, and what it no longer types against YAML 1.1.
        assert_eq!(plain_to_json("12"), Json::from(12));
        assert_eq!(plain_to_json("-.5"), Json::from(-0.5));
        assert_eq!(plain_to_json("1e3"), Json::from(1000.0));
        for text in
            ["no", "on", "yes", "1_000", "0b1", "1:30", "48,1", "1e400", ".", "e5", "68.0 cc", "2026-03-03"]
        {
            assert_eq!(plain_to_json(text), Json::from(text), "{text}");
        }
    }
}
