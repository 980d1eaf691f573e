//! A rule between two neighbouring parts, looked at before they are bolted together.

use serde::Serialize;

use crate::check::Alarm;
use crate::check::AlarmStatus;

/// A figure that a rule looks at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AlarmFigure {
    /// As commands name it.
    pub item: String,
    /// What it says.
    pub text: String,
}

/// One rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AlarmLine {
    /// The pull or build.
    pub side: String,
    /// The rule's name.
    pub name: String,
    /// The pair of roles.
    pub pair: String,
    /// `trips`, `close` (within what the figures may be off), `untold`, `settled` or `holds`.
    pub status: &'static str,
    /// What is wrong where it does not hold.
    pub says: String,
    /// The figures.
    pub figures: Vec<AlarmFigure>,
    /// What follows from them, with its width.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub result: Option<String>,
    /// The limit in words.
    pub limit: String,
    /// Where the limit is from.
    pub source: String,
}

impl AlarmLine {
    /// A rule as looked at for a side.
    pub fn of(side: &str, alarm: &Alarm) -> Self {
        Self {
            side: side.to_owned(),
            name: alarm.name.clone(),
            pair: alarm.pair.clone(),
            status: match alarm.status {
                AlarmStatus::Trips => "trips",
                AlarmStatus::Close => "close",
                AlarmStatus::Untold => "untold",
                AlarmStatus::Settled => "settled",
                AlarmStatus::Holds => "holds",
            },
            says: alarm.says.clone(),
            figures: alarm
                .figures
                .iter()
                .map(|(item, text)| AlarmFigure { item: item.clone(), text: text.clone() })
                .collect(),
            result: alarm.result.clone(),
            limit: alarm.limit.clone(),
            source: alarm.source.clone(),
        }
    }

    /// The figures with what follows from them, in words.
    pub fn figures_words(&self) -> String {
        let figures: Vec<String> =
            self.figures.iter().map(|figure| format!("{} {}", figure.item, figure.text)).collect();
        let result = self.result.as_ref().filter(|_| self.figures.len() > 1);
        let result = result.map(|result| format!(", which leaves {result}")).unwrap_or_default();
        format!("{}{result}", figures.join(", "))
    }
}
