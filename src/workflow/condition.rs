//! A condition on what the records say: `ignition-timing > 30 deg`, `layout = "four into one"`, `height = 10..20 mm`.

use crate::finding::Finding;
use crate::quantity::Unit;
use crate::record::Kinds;
use crate::workflow::Failure;
use crate::workflow::query::range;
use crate::workflow::sought::Said;
use crate::workflow::sought::Sought;

/// Longer ones first: `<=` is no `<`.
const OPERATORS: [&str; 6] = ["<=", ">=", "!=", "<", ">", "="];
const FORMS: &str =
    "NAME OPERATOR VALUE: 'ignition-timing > 30 deg', 'height = 10..20 mm', 'layout = direct-overhead'";

/// A condition.
pub(super) struct Condition {
    /// As it was written.
    pub(super) text: String,
    /// What it asks about.
    pub(super) sought: Sought,
    operator: &'static str,
    wanted: Wanted,
}

enum Wanted {
    Text(String),
    Within(f64, f64),
}

impl Condition {
    /// Reads a condition.
    ///
    /// # Errors
    /// It has no operator, its name means nothing, or its value cannot be read.
    pub(super) fn parse(kinds: &Kinds, text: &str) -> Result<Self, Failure> {
        let bad = |message: String| {
            Failure::usage(
                Finding::error("bad-condition", message).found(format!("`{text}`")).expected(FORMS),
            )
        };
        let place = OPERATORS.iter().filter_map(|operator| Some((text.find(operator)?, *operator)));
        let Some((at, operator)) =
            place.min_by_key(|(at, operator)| (*at, std::cmp::Reverse(operator.len())))
        else {
            return Err(bad("a condition has an operator".to_owned()));
        };
        let (name, value) = (text[..at].trim(), text[at + operator.len()..].trim().trim_matches('"'));
        if value.is_empty() {
            return Err(bad("a condition has a value".to_owned()));
        }
        let sought = Sought::of(kinds, name)?;
        let wanted = match (sought.quantity, value.parse::<f64>()) {
            (Some((kind, unit)), _) => {
                let (a, b) = range(&in_unit(value, unit), kind, unit).map_err(bad)?;
                // In the unit that it is shown in: degrees before dead centre grow with advance.
                let (a, b) = (sought.shown(a), sought.shown(b));
                Wanted::Within(a.min(b), a.max(b))
            }
            (None, Ok(number)) => Wanted::Within(number - HALF, number + HALF),
            (None, Err(_)) if matches!(operator, "=" | "!=") => Wanted::Text(value.to_owned()),
            (None, Err(_)) => {
                return Err(bad(format!("{name} is told in words: only = and != can be asked")));
            }
        };
        Ok(Self { text: format!("{name} {operator} {value}"), sought, operator, wanted })
    }

    /// Whether what is said meets it; none where nothing is said.
    pub(super) fn holds(&self, said: &Said) -> Option<bool> {
        let equal = self.operator != "!=";
        match (said, &self.wanted) {
            (Said::Nothing, _) => None,
            (Said::Text(text), Wanted::Text(wanted)) => {
                // A part is named with or without its state.
                let tag = text.split_once('/').map_or(text.as_str(), |(tag, _)| tag);
                Some((text == wanted || (self.sought.is_role() && tag == wanted)) == equal)
            }
            (Said::Number(si), Wanted::Within(low, high)) => {
                let number = self.sought.shown(*si);
                Some(match self.operator {
                    "<" => number < *low,
                    "<=" => number <= *high,
                    ">" => number > *high,
                    ">=" => number >= *low,
                    _ => (*low..=*high).contains(&number) == equal,
                })
            }
            // Words where a number was asked for are those of `none`.
            (Said::Text(_), Wanted::Within(..)) | (Said::Number(_), Wanted::Text(_)) => Some(!equal),
        }
    }

    /// What is said, as people write it.
    pub(super) fn shown(&self, said: &Said) -> Option<String> {
        match said {
            Said::Nothing => None,
            Said::Text(text) => Some(text.clone()),
            Said::Number(si) => Some(self.sought.amount(self.sought.shown(*si))),
        }
    }
}

/// Degrees that do not say from which dead centre are those of the unit that the field is shown in.
fn in_unit(value: &str, unit: &Unit) -> String {
    let symbol = unit.symbol();
    match symbol.split_once(' ') {
        Some((degrees, _)) if !value.contains(symbol) && value.ends_with(degrees) => {
            value.replace(degrees, symbol)
        }
        _ => value.to_owned(),
    }
}

/// Plain ratios are told to two decimals.
const HALF: f64 = 0.005;
