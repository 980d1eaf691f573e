//! How the bytes of a raw file are laid out as a table.

use serde_json::{Map, Value, json};

use super::{FieldReader, error_at};
use crate::finding::Finding;

/// Declares an enum of words with its word table.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        #[non_exhaustive]
        pub enum $name { $($(#[$variant_doc])* $variant),+ }

        impl $name {
            /// The word for it in a columns record.
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// What a word of a columns record names, if anything.
            pub fn from_word(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }
    };
}

words! {
    /// The file's format.
    FileFormat {
        /// Text with a delimiter between fields.
        Delimited = "delimited",
        /// Text with fields at fixed character columns.
        FixedWidth = "fixed-width",
        /// A workbook of sheets (`.xlsx`).
        Workbook = "workbook",
        /// Parquet.
        Parquet = "parquet",
    }
}

words! {
    /// How text is encoded. A byte order mark at the start is always skipped.
    Encoding {
        /// UTF-8, with or without a byte order mark.
        Utf8 = "utf-8",
        /// UTF-16, low byte first.
        Utf16Le = "utf-16le",
        /// UTF-16, high byte first.
        Utf16Be = "utf-16be",
        /// Windows-1252, which is Latin-1 with printable characters at 0x80 to 0x9F.
        Windows1252 = "windows-1252",
    }
}

words! {
    /// What stands between fields.
    Delimiter {
        /// A comma.
        Comma = "comma",
        /// A semicolon.
        Semicolon = "semicolon",
        /// A tab.
        Tab = "tab",
        /// A vertical bar.
        Pipe = "pipe",
        /// Any run of spaces and tabs.
        Spaces = "spaces",
    }
}

words! {
    /// The decimal mark.
    Decimal {
        /// A point.
        Point = "point",
        /// A comma.
        Comma = "comma",
    }
}

words! {
    /// The mark between groups of three digits.
    Thousands {
        /// Digits are not grouped.
        Off = "none",
        /// A comma.
        Comma = "comma",
        /// A point.
        Point = "point",
        /// A space, also a no-break or thin one.
        Space = "space",
        /// An apostrophe.
        Apostrophe = "apostrophe",
    }
}

words! {
    /// Whether fields may stand in double quotes.
    Quote {
        /// A field that begins with a double quote ends at the next single one.
        Double = "double",
        /// A double quote is text like any other.
        Off = "none",
    }
}

/// What stands above the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Skip {
    /// So many lines.
    Lines(usize),
    /// Everything above the first line that holds every header of the record.
    ToHeader,
}

/// Where one pull of a file ends and the next begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SegmentRule {
    /// The file is one pull.
    Off,
    /// Where time steps back.
    TimeRestarts,
    /// Where the header stands again.
    HeaderRepeats,
    /// Where one or more blank lines stand.
    BlankLine,
    /// Where a line of text stands between rows.
    TextLine,
    /// Where the value of the named channel changes.
    Channel(String),
}

/// How the bytes are laid out as a table.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// The format.
    pub format: FileFormat,
    /// The text encoding.
    pub encoding: Encoding,
    /// What stands between fields.
    pub delimiter: Delimiter,
    /// Character columns at which fields start, counted from 0, for fixed-width text.
    pub starts: Vec<usize>,
    /// Whether fields may be quoted.
    pub quote: Quote,
    /// The decimal mark.
    pub decimal: Decimal,
    /// The thousands mark.
    pub thousands: Thousands,
    /// What stands above the header.
    pub skip: Skip,
    /// Lines of header, unit row not counted.
    pub header_rows: usize,
    /// Whether a row of units follows the header.
    pub unit_row: bool,
    /// Words and numbers that stand for no value, beside the empty cell.
    pub missing: Vec<String>,
    /// Where one pull ends and the next begins.
    pub segments: SegmentRule,
    /// The sheet to read, in a workbook; the first when absent.
    pub sheet: Option<String>,
}

impl Default for Layout {
    fn default() -> Self {
        Self {
            format: FileFormat::Delimited,
            encoding: Encoding::Utf8,
            delimiter: Delimiter::Comma,
            starts: Vec::new(),
            quote: Quote::Double,
            decimal: Decimal::Point,
            thousands: Thousands::Off,
            skip: Skip::Lines(0),
            header_rows: 1,
            unit_row: false,
            missing: Vec::new(),
            segments: SegmentRule::Off,
            sheet: None,
        }
    }
}

impl Layout {
    pub(super) fn from_value(value: &Value, findings: &mut Vec<Finding>) -> Self {
        let usual = Self::default();
        let mut reader = FieldReader::new(value, "layout");
        let skip = match reader.take("skip") {
            None => usual.skip,
            Some(Value::String(word)) if word == "to-header" => Skip::ToHeader,
            Some(other) => match other.as_u64().and_then(|n| usize::try_from(n).ok()) {
                Some(lines) => Skip::Lines(lines),
                None => {
                    reader.wrong("skip", &other, "a number of lines, or to-header");
                    usual.skip
                }
            },
        };
        let segments = match reader.take("segments") {
            None => SegmentRule::Off,
            Some(value) => segment_rule(&value).unwrap_or_else(|| {
                reader.wrong(
                    "segments",
                    &value,
                    "none, time-restarts, header-repeats, blank-line, text-line or {channel: name}",
                );
                SegmentRule::Off
            }),
        };
        let starts = list(&mut reader, "starts", |v| v.as_u64().and_then(|n| usize::try_from(n).ok()));
        let missing = list(&mut reader, "missing", |v| match v {
            Value::String(text) => Some(text.clone()),
            Value::Number(number) => Some(number.to_string()),
            _ => None,
        });
        let unit_row = match reader.take("unit-row") {
            None => false,
            Some(Value::Bool(given)) => given,
            Some(other) => {
                reader.wrong("unit-row", &other, "true or false");
                false
            }
        };
        let layout = Self {
            format: reader.word("format", FileFormat::from_word).unwrap_or(usual.format),
            encoding: reader.word("encoding", Encoding::from_word).unwrap_or(usual.encoding),
            delimiter: reader.word("delimiter", Delimiter::from_word).unwrap_or(usual.delimiter),
            quote: reader.word("quote", Quote::from_word).unwrap_or(usual.quote),
            decimal: reader.word("decimal", Decimal::from_word).unwrap_or(usual.decimal),
            thousands: reader.word("thousands", Thousands::from_word).unwrap_or(usual.thousands),
            header_rows: reader.whole("header-rows").unwrap_or(usual.header_rows),
            sheet: reader.text("sheet"),
            starts,
            skip,
            unit_row,
            missing,
            segments,
        };
        findings.extend(reader.finish());
        layout.check(findings);
        layout
    }

    fn check(&self, findings: &mut Vec<Finding>) {
        let clash = match (self.decimal, self.thousands) {
            (Decimal::Point, Thousands::Point) => Some("point"),
            (Decimal::Comma, Thousands::Comma) => Some("comma"),
            _ => None,
        };
        if let Some(mark) = clash {
            findings.push(
                error_at(
                    "layout.thousands",
                    "marks-clash",
                    "one mark cannot be both decimal and thousands mark",
                )
                .found(mark),
            );
        }
        if self.delimiter == Delimiter::Spaces
            && self.format == FileFormat::Delimited
            && self.thousands == Thousands::Space
        {
            findings.push(error_at(
                "layout.thousands",
                "marks-clash",
                "a space cannot both part fields and group digits",
            ));
        }
        if self.format == FileFormat::FixedWidth
            && (self.starts.is_empty() || !self.starts.is_sorted_by(|a, b| a < b))
        {
            findings.push(
                error_at(
                    "layout.starts",
                    "field-missing",
                    "fixed-width text needs where each field starts, rising",
                )
                .found(format!("{:?}", self.starts))
                .expected("starts: [0, 8, 16]"),
            );
        }
        if self.header_rows == 0 && self.skip == Skip::ToHeader {
            findings.push(error_at(
                "layout.skip",
                "marks-clash",
                "a file without a header cannot be skipped up to its header",
            ));
        }
    }

    /// The layout as the value that a manifest writes; defaults are left out.
    pub fn to_value(&self) -> Value {
        let usual = Self::default();
        let mut map = Map::new();
        map.insert("format".into(), json!(self.format.word()));
        let text = matches!(self.format, FileFormat::Delimited | FileFormat::FixedWidth);
        if text {
            map.insert("encoding".into(), json!(self.encoding.word()));
            if self.format == FileFormat::Delimited {
                map.insert("delimiter".into(), json!(self.delimiter.word()));
            } else {
                map.insert("starts".into(), json!(self.starts));
            }
        }
        if text || self.decimal != usual.decimal {
            map.insert("decimal".into(), json!(self.decimal.word()));
        }
        if self.quote != usual.quote {
            map.insert("quote".into(), json!(self.quote.word()));
        }
        if self.thousands != usual.thousands {
            map.insert("thousands".into(), json!(self.thousands.word()));
        }
        match self.skip {
            Skip::Lines(0) => {}
            Skip::Lines(lines) => {
                map.insert("skip".into(), json!(lines));
            }
            Skip::ToHeader => {
                map.insert("skip".into(), json!("to-header"));
            }
        }
        map.insert("header-rows".into(), json!(self.header_rows));
        if self.unit_row {
            map.insert("unit-row".into(), json!(true));
        }
        if !self.missing.is_empty() {
            map.insert("missing".into(), json!(self.missing));
        }
        match &self.segments {
            SegmentRule::Off => {}
            SegmentRule::TimeRestarts => {
                map.insert("segments".into(), json!("time-restarts"));
            }
            SegmentRule::HeaderRepeats => {
                map.insert("segments".into(), json!("header-repeats"));
            }
            SegmentRule::BlankLine => {
                map.insert("segments".into(), json!("blank-line"));
            }
            SegmentRule::TextLine => {
                map.insert("segments".into(), json!("text-line"));
            }
            SegmentRule::Channel(name) => {
                map.insert("segments".into(), json!({ "channel": name }));
            }
        }
        if let Some(sheet) = &self.sheet {
            map.insert("sheet".into(), json!(sheet));
        }
        Value::Object(map)
    }
}

fn segment_rule(value: &Value) -> Option<SegmentRule> {
    match value {
        Value::String(word) => match word.as_str() {
            "none" => Some(SegmentRule::Off),
            "time-restarts" => Some(SegmentRule::TimeRestarts),
            "header-repeats" => Some(SegmentRule::HeaderRepeats),
            "blank-line" => Some(SegmentRule::BlankLine),
            "text-line" => Some(SegmentRule::TextLine),
            _ => None,
        },
        Value::Object(map) if map.len() == 1 => {
            map.get("channel").and_then(Value::as_str).map(|name| SegmentRule::Channel(name.to_owned()))
        }
        _ => None,
    }
}

fn list<T>(reader: &mut FieldReader, key: &str, each: impl Fn(&Value) -> Option<T>) -> Vec<T> {
    let Some(value) = reader.take(key) else {
        return Vec::new();
    };
    let items = value.as_array().map(|items| items.iter().map(&each).collect::<Option<Vec<T>>>());
    match items {
        Some(Some(items)) => items,
        _ => {
            reader.wrong(key, &value, "a list");
            Vec::new()
        }
    }
}
