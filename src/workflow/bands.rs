//! Rows and columns of a table: parts, words, or a figure in bands.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::check::Side;
use crate::finding::Finding;
use crate::quantity::parse_reading;
use crate::record::Kinds;
use crate::workflow::Failure;
use crate::workflow::sought::Said;
use crate::workflow::sought::Sought;

/// Most bands that are made where no width is asked for: more would leave most combinations empty.
const MOST_BANDS: usize = 4;
const MOST_BANDS_COUNT: f64 = MOST_BANDS as f64;

/// The levels that pulls have of one thing.
pub(super) struct Levels {
    /// The level of each pull by its id; a pull that says nothing is not among them.
    pub(super) of_pull: BTreeMap<String, String>,
    /// The levels in order.
    pub(super) order: Vec<String>,
    /// Roles and settings that make the level, so that they are not held alike beside it.
    pub(super) made_by: BTreeSet<String>,
    /// How a figure was cut into bands, in words.
    pub(super) bands: Option<String>,
}

impl Levels {
    /// Takes the levels of pulls; numbers are cut into bands of a width as asked (`10 cc`), else of a round width that
    /// gives four bands at most.
    ///
    /// # Errors
    /// A width that is none, or a width for something that is no quantity.
    pub(super) fn of(
        sought: &Sought,
        sides: &[Side],
        kinds: &Kinds,
        width: Option<&str>,
    ) -> Result<Self, Failure> {
        let (mut texts, mut numbers) = (BTreeMap::new(), BTreeMap::new());
        let mut made_by = BTreeSet::new();
        for side in sides {
            let (said, by) = sought.said(side, kinds);
            made_by.extend(by);
            match said {
                Said::Text(text) => {
                    texts.insert(side.name.clone(), text);
                }
                Said::Number(number) => {
                    numbers.insert(side.name.clone(), number);
                }
                Said::Nothing => {}
            }
        }
        let mut order: Vec<String> = texts.values().cloned().collect::<BTreeSet<_>>().into_iter().collect();
        let asked = width.map(|width| width_of(sought, width)).transpose()?;
        if numbers.is_empty() {
            if let Some(width) = width.filter(|_| !texts.is_empty()) {
                return Err(Failure::usage(
                    Finding::error("not-a-width", format!("{} is no figure and has no bands", sought.name))
                        .found(format!("`{width}`")),
                ));
            }
            return Ok(Self { of_pull: texts, order, made_by, bands: None });
        }
        let shown: BTreeMap<String, f64> =
            numbers.into_iter().map(|(pull, number)| (pull, sought.shown(number))).collect();
        let first = shown.values().copied().next().unwrap_or_default();
        if asked.is_none() && shown.values().all(|value| (value - first).abs() <= 1e-9 * first.abs()) {
            let only = sought.amount(first);
            order.push(only.clone());
            texts.extend(shown.into_keys().map(|pull| (pull, only.clone())));
            return Ok(Self { of_pull: texts, order, made_by, bands: None });
        }
        let width = asked.unwrap_or_else(|| round_width(&shown));
        let floor = |value: f64| (value / width + 1e-9).floor() * width;
        let label = |low: f64| sought.band(low, low + width);
        let mut lows: Vec<f64> = shown.values().map(|value| floor(*value)).collect();
        lows.sort_by(f64::total_cmp);
        let mut banded: Vec<String> = lows.into_iter().map(label).collect();
        banded.dedup();
        // Words beside numbers (`none`) come first.
        order.extend(banded);
        texts.extend(shown.into_iter().map(|(pull, value)| (pull, label(floor(value)))));
        let bands = Some(format!(
            "{} in bands of {}, the lower end counted in; parts within a band count as one",
            sought.name,
            sought.amount(width)
        ));
        Ok(Self { of_pull: texts, order, made_by, bands })
    }
}

/// A width in the unit that the figure is shown in.
fn width_of(sought: &Sought, text: &str) -> Result<f64, Failure> {
    let bad = |message: String| {
        Failure::usage(
            Finding::error("not-a-width", message)
                .found(format!("`{text}`"))
                .expected("the width of a band with its unit, for example 10 cc"),
        )
    };
    let number =
        text.trim_end_matches(|c: char| c.is_alphabetic() || c.is_whitespace() || "·/³²°µ".contains(c));
    let letters = text.get(number.len()..).unwrap_or_default().trim();
    let width = match (sought.quantity, number.trim().parse::<f64>()) {
        // `2 deg` is wide enough for degrees before top dead centre.
        (Some((_, unit)), Ok(width)) if unit.symbol().starts_with(letters) => width,
        (Some((kind, unit)), _) => {
            let width = parse_reading(text, kind, Some(unit)).map_err(|error| bad(error.to_string()))?;
            sought.shown(width.mean().si())
        }
        (None, Ok(width)) if letters.is_empty() => width,
        (None, _) => return Err(bad("a plain number is wanted".to_owned())),
    };
    if width > 0.0 && width.is_finite() {
        return Ok(width);
    }
    Err(bad("a band needs a width above nothing".to_owned()))
}

/// The smallest of 1, 2, 5, 10, 20 … that leaves few bands and is no less than the spread of the values asks for.
fn round_width(values: &BTreeMap<String, f64>) -> f64 {
    let (low, high) = values
        .values()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(*value), high.max(*value)));
    let least = ((high - low) / MOST_BANDS_COUNT).max(1e-9 * high.abs()).max(1e-9);
    let mut decade = libm::pow(10.0, libm::floor(libm::log10(least)));
    loop {
        for part in [1.0, 2.0, 5.0] {
            let width = part * decade;
            let lows: BTreeSet<u64> =
                values.values().map(|value| (value / width + 1e-9).floor().to_bits()).collect();
            if width >= least && lows.len() <= MOST_BANDS {
                return width;
            }
        }
        decade *= 10.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_width_is_round_and_leaves_four_bands_at_most() {
        let values = |all: &[f64]| all.iter().enumerate().map(|(n, v)| (n.to_string(), *v)).collect();
        assert!((round_width(&values(&[181.0, 184.0, 190.0, 191.0, 199.5])) - 5.0).abs() < 1e-9);
        assert!((round_width(&values(&[28.0, 31.0, 31.2])) - 1.0).abs() < 1e-9);
        assert!(round_width(&values(&[0.0])) > 0.0);
        assert!(round_width(&values(&[200.0])) > 0.0);
    }
}
