//! What proved wrong: an entry, the readings of an instrument in a time, or a session; and what is done about it.

use std::collections::BTreeMap;

use crate::quantity::QuantityKind;
use crate::quantity::Reading;
use crate::quantity::parse_reading;
use crate::record::Entry;
use crate::record::Figure;
use crate::record::Known;
use crate::record::Moment;
use crate::record::Value;

/// Coverage factor of the uncertainty that is written behind a shifted figure (JCGM 100:2008, 6.3.3).
const COVERAGE: f64 = 2.0;

/// Why something is no longer in doubt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cleared {
    /// What settled it.
    pub because: String,
    /// Who says so.
    pub by: Option<String>,
    /// When.
    pub on: Option<Moment>,
}

/// A mark that something proved doubtful.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Doubted {
    /// What speaks against it.
    pub because: String,
    /// Who marked it.
    pub by: Option<String>,
    /// When it was marked.
    pub on: Option<Moment>,
    /// The first day or time in doubt; from the start where none is said.
    pub from: Option<Moment>,
    /// The last; until now where none is said.
    pub until: Option<Moment>,
    /// What is added to what was read, with its uncertainty, as written; none where nobody knows it.
    pub offset: Option<String>,
    /// Set once it is settled.
    pub cleared: Option<Cleared>,
    /// It lies on an instrument and reaches its readings from there.
    pub of_instrument: bool,
}

impl Doubted {
    /// Whether it still holds.
    pub fn stands(&self) -> bool {
        self.cleared.is_none()
    }

    /// Whether it speaks of a moment; of one that nobody knows it does.
    pub fn covers(&self, when: Option<&Moment>) -> bool {
        let Some(when) = when else { return true };
        self.from.as_ref().is_none_or(|from| !from.is_after(when))
            && self.until.as_ref().is_none_or(|until| !when.is_after(until))
    }

    /// The offset as a difference of values of a kind; none where nothing is added, or it is of another kind.
    pub fn offset_of(&self, kind: QuantityKind) -> Option<Reading> {
        parse_reading(self.offset.as_deref()?, kind.difference(), None).ok()
    }

    /// Whether it speaks of readings of a kind: with an offset, of its own kind alone.
    pub fn is_of(&self, kind: Option<QuantityKind>) -> bool {
        self.offset.is_none() || kind.is_some_and(|kind| self.offset_of(kind).is_some())
    }

    /// Its reason, who marked it and when, in words.
    pub fn words(&self) -> String {
        let by = self.by.iter().map(ToString::to_string);
        let marked: Vec<String> = by.chain(self.on.iter().map(ToString::to_string)).collect();
        let marked = if marked.is_empty() { String::new() } else { format!(" ({})", marked.join(", ")) };
        let offset = self.offset.as_ref().map(|offset| format!("; offset {offset} applied"));
        format!("{}{marked}{}", self.because, offset.unwrap_or_default())
    }
}

/// The doubts that reach figures from elsewhere: by instrument.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct InstrumentDoubts(pub BTreeMap<String, Vec<Doubted>>);

impl InstrumentDoubts {
    /// The doubt that lies on a reading with an instrument.
    pub fn on(&self, with: &str, when: Option<&Moment>, kind: Option<QuantityKind>) -> Option<&Doubted> {
        let doubts = self.0.get(with)?;
        doubts.iter().rfind(|doubt| doubt.stands() && doubt.covers(when) && doubt.is_of(kind))
    }

    /// Marks what was measured with an instrument in doubt, and applies the offsets that are known, those of single
    /// entries included: such a figure is worked out from what was read, and says so.
    ///
    /// `when` stands in for entries that say no time themselves.
    pub fn apply(&self, figure: &mut Figure, when: Option<&Moment>) {
        for entry in &mut figure.entries {
            let Known::Measured(value) = &entry.known else { continue };
            let kind = match value {
                Value::Quantity(reading) => Some(reading.kind()),
                Value::Text(_) => None,
            };
            let own = entry.doubted.clone().filter(Doubted::stands);
            let moment = entry.moment().or_else(|| when.cloned());
            let by_instrument = || self.on(entry.with.as_deref()?, moment.as_ref(), kind).cloned();
            let Some(doubt) = own.or_else(by_instrument) else { continue };
            match shifted(entry, &doubt) {
                Some(known) => {
                    entry.known = known;
                    entry.doubted = None;
                    entry.shifted = Some(doubt);
                }
                None => entry.doubted = Some(doubt),
            }
        }
    }
}

/// What an entry says once the offset of a doubt is added to it.
fn shifted(entry: &Entry, doubt: &Doubted) -> Option<Known> {
    let Known::Measured(Value::Quantity(reading)) = &entry.known else { return None };
    let offset = doubt.offset_of(reading.kind())?;
    let unit = reading.unit();
    let step = unit.width_to_si(1.0);
    let (added, wide) = (offset.mean().si() / step, offset.standard_uncertainty().si / step);
    let own = reading.standard_uncertainty().si / step;
    let whole = COVERAGE * libm::sqrt(own * own + wide * wide);
    let written = offset
        .numbers()
        .iter()
        .chain(reading.numbers())
        .map(|number| number.text().split_once('.').map_or(0, |(_, decimals)| decimals.len()));
    // One digit more than was written, so that adding does not coarsen what was read.
    let decimals = written.max().unwrap_or_default() + 1;
    let values: Vec<String> =
        reading.values_in(unit).ok()?.iter().map(|value| format!("{:.decimals$}", value + added)).collect();
    let text = format!("{} ±{whole:.decimals$} {unit} k=2", values.join(" "));
    let value = Value::Quantity(parse_reading(&text, reading.kind(), Some(unit)).ok()?);
    let with = entry.with.as_ref().map(|with| format!(" with {with}")).unwrap_or_default();
    let from = format!("{} as measured{with}, {} added: {}", reading.text(), offset.text(), doubt.because);
    Some(Known::Calculated { value, from })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(text: &str, with: &str, taken: &str) -> Entry {
        let reading = parse_reading(text, QuantityKind::Volume, None).expect("a volume");
        let mut entry = Entry::new(Known::Measured(Value::Quantity(reading)));
        entry.with = Some(with.to_owned());
        entry.taken = Some(Moment::parse(taken).expect("a day"));
        entry
    }

    fn doubts(offset: Option<&str>) -> InstrumentDoubts {
        let doubt = Doubted {
            because: "the plate leaked".to_owned(),
            from: Some(Moment::parse("2026-03-01").expect("a day")),
            until: Some(Moment::parse("2026-03-31").expect("a day")),
            offset: offset.map(str::to_owned),
            ..Doubted::default()
        };
        InstrumentDoubts(BTreeMap::from([("burette-1".to_owned(), vec![doubt])]))
    }

    fn after(doubts: &InstrumentDoubts, entry: Entry) -> Entry {
        let mut figure = Figure::of(entry);
        doubts.apply(&mut figure, None);
        figure.entries.remove(0)
    }

    #[test]
    fn readings_in_the_time_are_doubted_and_others_are_not() {
        let doubts = doubts(None);
        assert!(after(&doubts, measured("44.8 ±0.2 cc", "burette-1", "2026-03-03")).is_doubted());
        assert!(after(&doubts, measured("44.8 ±0.2 cc", "burette-1", "2026-03-31")).is_doubted());
        assert!(!after(&doubts, measured("44.8 ±0.2 cc", "burette-1", "2026-04-01")).is_doubted());
        assert!(!after(&doubts, measured("44.8 ±0.2 cc", "burette-2", "2026-03-03")).is_doubted());
    }

    /// 44.8 less 0.4 is 44.4; ±0.2 and ±0.1 are limits (u = a/√3), so the whole is 2·√((0.04 + 0.01)/3) = 0.258.
    #[test]
    fn a_known_offset_is_added_with_its_uncertainty_and_said() {
        let entry =
            after(&doubts(Some("-0.4 ±0.1 cc")), measured("44.8 44.9 ±0.2 cc", "burette-1", "2026-03-03"));
        let Known::Calculated { value, from } = &entry.known else { panic!("{entry:?}") };
        assert_eq!(value.text(), "44.40 44.50 ±0.26 cc k=2");
        assert_eq!(
            from,
            "44.8 44.9 ±0.2 cc as measured with burette-1, -0.4 ±0.1 cc added: the plate leaked"
        );
        assert!(!entry.is_doubted() && entry.shifted.is_some());
    }

    #[test]
    fn an_offset_of_another_kind_leaves_a_reading_alone() {
        let entry = after(&doubts(Some("+0.1 kPa")), measured("44.8 ±0.2 cc", "burette-1", "2026-03-03"));
        assert!(!entry.is_doubted() && entry.shifted.is_none());
    }
}
