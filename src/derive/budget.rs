//! From a reading and its instrument to values with sources of uncertainty.
//!
//! What is written behind ± is the whole uncertainty of one value (JCGM 100:2008, 4.3); the part of it that the
//! instrument has in common over a session or from one calibration to the next is that instrument's own named source,
//! so that it adds or cancels between readings. Without ±, the instrument's stated uncertainties stand, and never less
//! than half the last digit.

use crate::derive::ChannelMean;
use crate::derive::Input;
use crate::quantity::QuantityKind;
use crate::quantity::Reading;
use crate::quantity::parse_uncertainty;
use crate::record::Instrument;
use crate::record::Moment;
use crate::record::Scope;
use crate::statistics::StatisticsError;
use crate::statistics::budget::Budgeted;

/// Between a reading's identity and the number of its value, in the name of what is drawn anew for that value.
const VALUE: &str = ", value ";
/// Ends the name of the rounding of a correction factor that a file carries.
pub(super) const FACTOR_IN_FILE: &str = " factor in the file";

/// Whether a source of uncertainty is one reading's own, drawn anew when it was taken, and not an instrument's over a
/// session or from one calibration to the next.
pub fn is_drawn_anew(source: &str) -> bool {
    source.ends_with(FACTOR_IN_FILE)
        || source.rsplit_once(VALUE).is_some_and(|(_, index)| index.parse::<usize>().is_ok())
}

/// How far the values of a reading may be off, as standard uncertainties in SI.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Off {
    /// Drawn anew for each value.
    own: f64,
    /// The same for every value that shares the source, by the source's name.
    shared: Vec<(String, f64)>,
    /// The value itself, where it was worked out from others.
    worked_out: Option<Budgeted>,
}

impl Off {
    /// How far a value that was worked out may be off: as its own sources say.
    pub(super) fn of(value: &Budgeted) -> Self {
        Self { worked_out: Some(value.clone()), ..Self::default() }
    }
}

/// How far a reading's values may be off, and whether half the last digit is all that says so.
pub(super) fn of_reading(
    reading: &Reading,
    instrument: Option<&Instrument>,
    session: Option<&str>,
    taken: Option<&Moment>,
) -> (Off, bool) {
    let (anew, shared, stated) = instrument
        .map_or((0.0, Vec::new(), false), |found| of_instrument(found, reading.kind(), session, taken));
    let own = reading.standard_uncertainty().si;
    if reading.uncertainty().is_some() {
        let common: f64 = shared.iter().map(|(_, u)| u * u).sum();
        return (Off { own: (own * own - common).max(0.0).sqrt(), shared, worked_out: None }, false);
    }
    (Off { own: own.max(anew), shared, worked_out: None }, !stated)
}

/// How far the mean of a channel may be off: the scatter of its mean, and what its instrument shares; and whether the
/// instrument states anything.
pub(super) fn of_channel(
    mean: &ChannelMean,
    instrument: Option<&Instrument>,
    session: Option<&str>,
    taken: Option<&Moment>,
) -> (Off, bool) {
    let (anew, mut shared, stated) =
        instrument.map_or((0.0, Vec::new(), false), |found| of_instrument(found, mean.kind, session, taken));
    if let Some(u) = mean.offset_si {
        let of = instrument.map_or_else(|| mean.file.clone(), |instrument| instrument.tag.clone());
        shared.push((format!("offset of {of}, {}", mean.kind.name()), u));
    }
    #[expect(clippy::cast_precision_loss, reason = "a file holds far fewer than 2^53 rows")]
    let rows = mean.rows.max(1) as f64;
    // Rows of one channel follow each other closely, so the mean is not taken as better than one reading's own error.
    let scatter = if mean.deviation_si.is_finite() { mean.deviation_si / rows.sqrt() } else { 0.0 };
    (Off { own: libm::hypot(scatter, anew), shared, worked_out: None }, stated)
}

/// What an instrument states for a kind: anew with each reading, the shared parts by name, and whether anything.
fn of_instrument(
    instrument: &Instrument,
    kind: QuantityKind,
    session: Option<&str>,
    taken: Option<&Moment>,
) -> (f64, Vec<(String, f64)>, bool) {
    let mut anew = 0.0_f64;
    let mut shared = Vec::new();
    let mut any = false;
    for stated in instrument.uncertainty.iter().filter(|stated| stated.of == kind.name()) {
        let Ok(limit) = parse_uncertainty(&stated.is, kind) else {
            continue;
        };
        any = true;
        let u = limit.standard().si;
        let day = taken.map(|moment| moment.day().to_string());
        match stated.scope {
            Scope::Reading => anew = libm::hypot(anew, u),
            Scope::Session => {
                let sitting = session.map(|tag| format!("session {tag}")).or(day);
                shared.push((shared_name(instrument, kind, sitting.as_deref()), u));
            }
            Scope::Calibration => {
                let since = taken
                    .and_then(|when| instrument.calibration_on(when))
                    .map(|calibration| format!("calibrated {}", calibration.on));
                // Without a calibration nobody knows how long its error stays the same: within a day, at least.
                shared.push((shared_name(instrument, kind, since.or(day).as_deref()), u));
            }
        }
    }
    (anew, shared, any)
}

fn shared_name(instrument: &Instrument, kind: QuantityKind, when: Option<&str>) -> String {
    format!("{} {}, {}", instrument.tag, kind.name(), when.unwrap_or("undated"))
}

impl Input {
    /// The value for the whole engine: the mean of what was read.
    ///
    /// Repeats of one size count with the larger of their scatter and their own uncertainty, over √n (JCGM 100:2008,
    /// 4.2.3).
    ///
    /// # Errors
    /// A value or uncertainty that is not finite.
    pub(super) fn mean(&self) -> Result<Budgeted, StatisticsError> {
        if let Some(value) = &self.off.worked_out {
            return Ok(value.clone());
        }
        let count = self.count();
        let mean = self.values.iter().sum::<f64>() / count;
        let mut value = Budgeted::exact(mean)?;
        for (name, u) in &self.off.shared {
            value = value.with(name.clone(), *u, f64::INFINITY)?;
        }
        let scatter = if self.each.is_none() { self.deviation(mean) } else { 0.0 };
        if scatter > self.off.own {
            let name = format!("{}, repeats", self.identity);
            return value.with(name, scatter / count.sqrt(), (count - 1.0).max(1.0));
        }
        for index in 1..=self.values.len() {
            value = value.with(self.source(index), self.off.own / count, f64::INFINITY)?;
        }
        Ok(value)
    }

    /// One value for each cylinder: its own where one was read for each, else the mean for all.
    ///
    /// Values read at other places (the corners of a deck) give every cylinder their mean, off by their scatter anew
    /// for each.
    ///
    /// # Errors
    /// Several values, one per cylinder by their kind, and not as many as cylinders.
    pub(super) fn each_cylinder(&self, cylinders: usize) -> Result<Vec<Budgeted>, String> {
        let plain = |error: StatisticsError| error.to_string();
        if self.each.as_deref() == Some("cylinder") && self.values.len() > 1 {
            if self.values.len() != cylinders {
                return Err(format!("{} values for {cylinders} cylinders", self.values.len()));
            }
            return (1..=cylinders).zip(&self.values).map(|(index, si)| self.one(index, *si)).collect();
        }
        let mean = self.mean().map_err(plain)?;
        let scatter = if self.each.is_some() { self.deviation(mean.value()) } else { 0.0 };
        (1..=cylinders)
            .map(|cylinder| {
                let name = format!("{}, scatter at cylinder {cylinder}", self.identity);
                mean.clone().with(name, scatter, f64::INFINITY).map_err(plain)
            })
            .collect()
    }

    fn one(&self, index: usize, si: f64) -> Result<Budgeted, String> {
        let mut value = Budgeted::from_source(si, self.source(index), self.off.own)
            .map_err(|error: StatisticsError| error.to_string())?;
        for (name, u) in &self.off.shared {
            value = value.with(name.clone(), *u, f64::INFINITY).map_err(|error| error.to_string())?;
        }
        Ok(value)
    }

    fn source(&self, index: usize) -> String {
        format!("{}{VALUE}{index}", self.identity)
    }

    fn count(&self) -> f64 {
        // No more than 64 numbers are read into one figure.
        f64::from(u32::try_from(self.values.len().max(1)).unwrap_or(u32::MAX))
    }

    fn deviation(&self, mean: f64) -> f64 {
        if self.values.len() < 2 {
            return 0.0;
        }
        let squares: f64 = self.values.iter().map(|value| (value - mean) * (value - mean)).sum();
        (squares / (self.count() - 1.0)).sqrt()
    }
}
