//! What the columns of a raw file mean: the columns record.
//!
//! The reader follows it to the letter; nothing in it is guessed again while reading.

use serde_json::{Map, Value, json};

use crate::finding::Finding;
use crate::finding::Place;
use crate::record::channel::ChannelQuantity;

mod layout;

pub use layout::{Decimal, Delimiter, Encoding, FileFormat, Layout, Quote, SegmentRule, Skip, Thousands};

/// A columns record.
#[derive(Debug, Clone, PartialEq)]
pub struct Columns {
    /// The record's tag.
    pub name: String,
    /// How the bytes are laid out as a table.
    pub layout: Layout,
    /// What each column that is read means; columns of the file that are not listed are left out.
    pub channels: Vec<Column>,
    /// Anything else worth knowing.
    pub note: Option<String>,
}

/// What one column means.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// The column's header as it stands in the file (unit and all), where the file has one.
    pub header: Option<String>,
    /// The column's place, counted from 1. With a header it tells repeated headers apart.
    pub position: Option<usize>,
    /// The channel's name in the book.
    pub name: String,
    /// What it measures.
    pub quantity: ChannelQuantity,
    /// The unit, in UCUM or a trade spelling; absent where nobody knows it.
    pub unit: Option<String>,
    /// Whether the file's sign is the other way round from the book's.
    pub reversed: bool,
    /// The number that the file's numbers are multiplied by to be in `unit`.
    pub scale: f64,
    /// How time is written, for a time channel.
    pub time: Option<TimeForm>,
    /// Observed, or the correction that the equipment applied, as the file says it.
    pub basis: Option<String>,
    /// The fuel that an air-fuel ratio or lambda speaks of, as the file or the tester calls it.
    pub fuel: Option<String>,
    /// The instrument that measured it.
    pub instrument: Option<String>,
}

impl Column {
    /// A column found by its header, with nothing special about it.
    pub fn by_header(header: impl Into<String>, quantity: ChannelQuantity, unit: Option<&str>) -> Self {
        let header = header.into();
        Self {
            name: header.clone(),
            header: Some(header),
            position: None,
            quantity,
            unit: unit.map(str::to_owned),
            reversed: false,
            scale: 1.0,
            time: None,
            basis: None,
            fuel: None,
            instrument: None,
        }
    }

    /// A column found by its place, counted from 1.
    pub fn by_position(
        position: usize,
        name: impl Into<String>,
        quantity: ChannelQuantity,
        unit: Option<&str>,
    ) -> Self {
        Self {
            header: None,
            position: Some(position),
            name: name.into(),
            ..Self::by_header("", quantity, unit)
        }
    }
}

/// How a time column is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeForm {
    /// A plain number in the column's unit, read as it stands.
    Number,
    /// Counted since an epoch, in seconds (0), their tenths (1), and so on to nanoseconds (9); with decimals or without.
    Epoch(u8),
    /// Decimal days since an epoch, as spreadsheets count.
    Days,
    /// Hours, minutes and seconds (`1:02:03.5`), or minutes and seconds (`02:03.5`).
    Clock,
    /// Hours and minutes (`14:05`).
    ClockHoursMinutes,
    /// Date, or date and time, year first (`2026-03-02 14:05:06.5`).
    DateYearFirst,
    /// Date, or date and time, day first (`2.3.2026 14:05`).
    DateDayFirst,
    /// Date, or date and time, month first (`3/2/2026 14:05`).
    DateMonthFirst,
}

const TIME_WORDS: [(TimeForm, &str); 17] = [
    (TimeForm::Number, "number"),
    (TimeForm::Epoch(0), "epoch-s"),
    (TimeForm::Epoch(1), "epoch-100ms"),
    (TimeForm::Epoch(2), "epoch-10ms"),
    (TimeForm::Epoch(3), "epoch-ms"),
    (TimeForm::Epoch(4), "epoch-100us"),
    (TimeForm::Epoch(5), "epoch-10us"),
    (TimeForm::Epoch(6), "epoch-us"),
    (TimeForm::Epoch(7), "epoch-100ns"),
    (TimeForm::Epoch(8), "epoch-10ns"),
    (TimeForm::Epoch(9), "epoch-ns"),
    (TimeForm::Days, "days"),
    (TimeForm::Clock, "clock"),
    (TimeForm::ClockHoursMinutes, "clock-hours-minutes"),
    (TimeForm::DateYearFirst, "date-year-first"),
    (TimeForm::DateDayFirst, "date-day-first"),
    (TimeForm::DateMonthFirst, "date-month-first"),
];

impl TimeForm {
    /// The word for it in a columns record.
    pub fn word(self) -> &'static str {
        TIME_WORDS.iter().find(|(form, _)| *form == self).map_or("number", |(_, word)| word)
    }

    /// The form that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        TIME_WORDS.iter().find(|(_, known)| *known == word).map(|(form, _)| *form)
    }

    /// Whether the channel then counts seconds from the file's first time, instead of the file's own numbers.
    pub fn counts_from_first(self) -> bool {
        self != Self::Number
    }
}

impl Columns {
    /// Reads a columns record from a parsed manifest, or says everything that is wrong with it.
    ///
    /// # Errors
    /// Every key that is unknown, missing or holds something that the form does not allow.
    pub fn from_value(value: &Value) -> Result<Self, Vec<Finding>> {
        let mut reader = FieldReader::new(value, "");
        let name = reader.required_text("columns");
        let layout_value = reader.take("layout").unwrap_or_else(|| json!({}));
        let note = reader.text("note");
        let list = reader.take("channels");
        let mut findings = reader.finish();
        let layout = Layout::from_value(&layout_value, &mut findings);
        let mut channels = Vec::new();
        match list {
            Some(Value::Array(items)) if !items.is_empty() => {
                for (index, item) in items.iter().enumerate() {
                    channels.push(column_from_value(item, index, &mut findings));
                }
            }
            _ => findings.push(
                Finding::error("field-missing", "a columns record lists at least one channel")
                    .expected("channels: [{header: …, quantity: …, unit: …}]"),
            ),
        }
        if findings.iter().any(Finding::is_error) {
            Err(findings)
        } else {
            Ok(Self { name, layout, channels, note })
        }
    }

    /// The record as the value that a manifest writes; defaults are left out.
    pub fn to_value(&self) -> Value {
        let mut map = Map::new();
        map.insert("columns".into(), json!(self.name));
        map.insert("layout".into(), self.layout.to_value());
        map.insert("channels".into(), Value::Array(self.channels.iter().map(column_to_value).collect()));
        if let Some(note) = &self.note {
            map.insert("note".into(), json!(note));
        }
        Value::Object(map)
    }
}

fn column_from_value(value: &Value, index: usize, findings: &mut Vec<Finding>) -> Column {
    let path = format!("channels.{index}");
    let mut reader = FieldReader::new(value, &path);
    let header = reader.text("header");
    let position = reader.whole("position");
    let reader_quantity = reader.fields.contains_key("quantity");
    let quantity = reader.word("quantity", ChannelQuantity::from_word).unwrap_or(ChannelQuantity::Other);
    let name = reader
        .text("name")
        .or_else(|| header.clone())
        .unwrap_or_else(|| format!("column {}", position.unwrap_or(index + 1)));
    let sign = reader.word("sign", |word| match word {
        "as-written" => Some(false),
        "reversed" => Some(true),
        _ => None,
    });
    let scale = reader.number("scale").unwrap_or(1.0);
    let column = Column {
        unit: reader.text("unit"),
        reversed: sign.unwrap_or(false),
        time: reader.word("time", TimeForm::from_word),
        basis: reader.text("basis"),
        fuel: reader.text("fuel"),
        instrument: reader.text("instrument"),
        header,
        position,
        name,
        quantity,
        scale,
    };
    findings.extend(reader.finish());
    let of_mixture = matches!(column.quantity, ChannelQuantity::AirFuelRatio | ChannelQuantity::Lambda);
    if let Some(fuel) = column.fuel.as_ref().filter(|_| !of_mixture) {
        let message = "a fuel is said of an air-fuel ratio or lambda only";
        findings.push(
            error_at(&path, "fuel-of-another", message).found(format!("{fuel} for {}", column.quantity)),
        );
    }
    if column.header.is_none() && column.position.is_none() {
        findings.push(error_at(&path, "field-missing", "a channel is found by its header or its position"));
    }
    if !reader_quantity {
        findings.push(error_at(&path, "field-missing", "a channel says its quantity, if only other"));
    }
    if let Some(unit) = &column.unit
        && !quantity.kinds().is_empty()
        && quantity.unit(unit).is_none()
    {
        findings.push(
            error_at(
                &format!("{path}.unit"),
                "unit-of-wrong-kind",
                &format!("this is no unit of {quantity}"),
            )
            .found(unit.as_str())
            .next("see whether quantity or unit is wrong; other takes any unit"),
        );
    }
    if column.position == Some(0) {
        findings.push(error_at(&path, "out-of-range", "positions are counted from 1").found("0"));
    }
    if !(column.scale.is_finite() && column.scale != 0.0) {
        findings.push(
            error_at(&path, "out-of-range", "a scale is a number other than zero").found(scale.to_string()),
        );
    }
    column
}

fn column_to_value(column: &Column) -> Value {
    let mut map = Map::new();
    if let Some(header) = &column.header {
        map.insert("header".into(), json!(header));
    }
    if let Some(position) = column.position {
        map.insert("position".into(), json!(position));
    }
    if column.header.as_ref() != Some(&column.name) {
        map.insert("name".into(), json!(column.name));
    }
    map.insert("quantity".into(), json!(column.quantity.word()));
    let texts = [
        ("unit", &column.unit),
        ("basis", &column.basis),
        ("fuel", &column.fuel),
        ("instrument", &column.instrument),
    ];
    for (key, text) in texts {
        if let Some(text) = text {
            map.insert(key.into(), json!(text));
        }
    }
    if column.reversed {
        map.insert("sign".into(), json!("reversed"));
    }
    if column.scale.to_bits() != 1.0_f64.to_bits() {
        map.insert("scale".into(), json!(column.scale));
    }
    if let Some(time) = column.time {
        map.insert("time".into(), json!(time.word()));
    }
    Value::Object(map)
}

fn error_at(path: &str, code: &'static str, message: &str) -> Finding {
    Finding::error(code, message).at(Place::default().field(path))
}

/// Takes the fields of a mapping one by one and reports what is left or of the wrong form.
struct FieldReader {
    fields: Map<String, Value>,
    path: String,
    findings: Vec<Finding>,
}

impl FieldReader {
    fn new(value: &Value, path: &str) -> Self {
        let mut findings = Vec::new();
        let fields = match value {
            Value::Object(map) => map.clone(),
            other => {
                findings.push(error_at(path, "wrong-form", "a mapping stands here").found(other.to_string()));
                Map::new()
            }
        };
        Self { fields, path: path.to_owned(), findings }
    }

    fn place(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    fn take(&mut self, key: &str) -> Option<Value> {
        self.fields.remove(key).filter(|value| !value.is_null())
    }

    fn wrong(&mut self, key: &str, found: &Value, expected: &str) {
        let place = self.place(key);
        self.findings.push(
            error_at(&place, "wrong-form", "this field has another form")
                .found(found.to_string())
                .expected(expected),
        );
    }

    fn text(&mut self, key: &str) -> Option<String> {
        match self.take(key)? {
            Value::String(text) => Some(text),
            // A header or tag that looks like a number was left unquoted.
            Value::Number(number) => Some(number.to_string()),
            other => {
                self.wrong(key, &other, "text");
                None
            }
        }
    }

    fn required_text(&mut self, key: &str) -> String {
        self.text(key).unwrap_or_else(|| {
            let place = self.place(key);
            self.findings.push(error_at(&place, "field-missing", "this field must be given"));
            String::new()
        })
    }

    fn whole(&mut self, key: &str) -> Option<usize> {
        let value = self.take(key)?;
        let whole = value.as_u64().and_then(|n| usize::try_from(n).ok());
        if whole.is_none() {
            self.wrong(key, &value, "a whole number");
        }
        whole
    }

    fn number(&mut self, key: &str) -> Option<f64> {
        let value = self.take(key)?;
        let number = value.as_f64();
        if number.is_none() {
            self.wrong(key, &value, "a number");
        }
        number
    }

    fn word<T>(&mut self, key: &str, known: impl Fn(&str) -> Option<T>) -> Option<T> {
        let value = self.take(key)?;
        let word = value.as_str().and_then(known);
        if word.is_none() {
            self.wrong(key, &value, "one of the words that the schema lists");
        }
        word
    }

    fn finish(mut self) -> Vec<Finding> {
        let unknown: Vec<String> = self.fields.keys().cloned().collect();
        for key in unknown {
            let place = self.place(&key);
            self.findings
                .push(error_at(&place, "unknown-field", "a columns record has no such field").found(key));
        }
        self.findings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(value: &Value) -> Vec<&'static str> {
        Columns::from_value(value).err().unwrap_or_default().iter().map(|f| f.code).collect()
    }

    #[test]
    fn everything_wrong_is_said_at_once() {
        let value = json!({
            "columns": "cell-1",
            "layout": {"format": "delimited", "delimiter": "dash", "decimal": "comma", "thousands": "comma"},
            "channels": [
                {"header": "RPM", "quantity": "speed", "unit": "Nm"},
                {"quantity": "torque", "scale": 0},
                {"header": "T", "colour": "red"},
            ],
        });
        assert_eq!(
            codes(&value),
            [
                "wrong-form",
                "marks-clash",
                "unit-of-wrong-kind",
                "field-missing",
                "out-of-range",
                "unknown-field",
                "field-missing"
            ]
        );
    }

    #[test]
    fn a_record_is_written_and_read_again() {
        let mut column = Column::by_header("Torque (lb-ft)", ChannelQuantity::Torque, Some("lb-ft"));
        "torque".clone_into(&mut column.name);
        column.reversed = true;
        column.scale = 1.5;
        column.basis = Some("STP".to_owned());
        let mut time = Column::by_position(1, "clock", ChannelQuantity::Time, Some("s"));
        time.time = Some(TimeForm::Clock);
        let layout = Layout {
            format: FileFormat::FixedWidth,
            starts: vec![0, 8],
            segments: SegmentRule::Channel("run".to_owned()),
            skip: Skip::ToHeader,
            missing: vec!["-999".to_owned()],
            ..Layout::default()
        };
        let columns = Columns { name: "old".to_owned(), layout, channels: vec![time, column], note: None };
        assert_eq!(Columns::from_value(&columns.to_value()), Ok(columns));
    }
}
