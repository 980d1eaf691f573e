//! A condition on what the records say: `ignition-timing > 30 deg`, `layout = "four into one"`, `height = 10..20 mm`.

use crate::finding::Finding;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::record::Kinds;
use crate::workflow::Failure;
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
        let plain = plain_range(value);
        let wanted = match (sought.quantity, plain) {
            (Some((kind, unit)), _) => {
                let (a, b) = range(&in_unit(value, unit), kind, unit).map_err(bad)?;
                // In the unit that it is shown in: degrees before dead centre grow with advance.
                let (a, b) = (sought.shown(a), sought.shown(b));
                Wanted::Within(a.min(b), a.max(b))
            }
            (None, Some((low, high))) => Wanted::Within(low, high),
            (None, None) if matches!(operator, "=" | "!=") => Wanted::Text(value.to_owned()),
            (None, None) => {
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

/// A plain number, or `11..12`.
fn plain_range(value: &str) -> Option<(f64, f64)> {
    match value.split_once("..") {
        Some((low, high)) => low.trim().parse().ok().zip(high.trim().parse().ok()),
        None => value.parse::<f64>().ok().map(|number| (number - HALF, number + HALF)),
    }
}

/// Plain ratios are told to two decimals.
const HALF: f64 = 0.005;

/// Half the last digit in standard uncertainties, √3 and a little for rounding: a value means what rounds to it.
const ROUNDS_TO_IT: f64 = 1.733;

/// Limits in SI of `31 deg` (what rounds to it) or `30..32 deg`.
fn range(value: &str, kind: QuantityKind, unit: &'static Unit) -> Result<(f64, f64), String> {
    let read =
        |text: &str, bare| parse_reading(text.trim(), kind, Some(bare)).map_err(|error| error.to_string());
    let Some((low, high)) = value.split_once("..") else {
        let one = read(value, unit)?;
        let half = ROUNDS_TO_IT * one.standard_uncertainty().si;
        return Ok((one.mean().si() - half, one.mean().si() + half));
    };
    let high = read(high, unit)?;
    let low = read(low, high.unit())?;
    // Degrees before top dead centre count downwards.
    let (a, b) = (low.mean().si(), high.mean().si());
    Ok((a.min(b), a.max(b)))
}
