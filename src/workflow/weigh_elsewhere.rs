//! The pulls of the book that lend a weighing what they know of scatter.

use std::collections::BTreeMap;

use crate::answer::BandLine;
use crate::curves::CurveFigure;
use crate::derive;
use crate::store::Book;
use crate::verdict;
use crate::verdict::Difference;
use crate::verdict::Evidence;
use crate::verdict::Layout;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh::Scale;
use crate::workflow::weigh::WeighRequest;
use crate::workflow::weigh::plain;
use crate::workflow::weigh_figures;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Weighable;

/// The book's other pulls of this engine in this cell, for what they know of scatter.
pub(super) struct Elsewhere {
    pub(super) pulls: Vec<Weighable>,
    pub(super) unread: usize,
}

impl Elsewhere {
    /// Reads the other pulls only where the sides' own layout says too little.
    pub(super) fn of(
        book: &Book,
        library: &Library,
        pulls: &[Weighable],
        layout: &Layout,
        basis: Option<derive::Basis>,
        request: &WeighRequest,
    ) -> Result<Self, Failure> {
        if !layout.needs_the_book().map_err(|error| plain(error.into()))? {
            return Ok(Self { pulls: Vec::new(), unread: 0 });
        }
        let (pulls, unread) = weigh_pulls::others(book, library, pulls, basis, request.grid())?;
        Ok(Self { pulls, unread })
    }

    /// What all pulls of this engine in this cell say of scatter, those of the sides among them.
    pub(super) fn evidence(
        &self,
        sides: &[Weighable],
        value: impl Fn(&Weighable) -> Option<f64>,
    ) -> Result<Evidence, Failure> {
        if self.pulls.is_empty() {
            return Ok(Evidence::default());
        }
        let rows: Vec<(String, String, String, f64, f64)> = sides
            .iter()
            .chain(&self.pulls)
            .filter_map(|pull| {
                let value = value(pull)?;
                Some((pull.configuration(&[]), pull.fit_up(), pull.session(), pull.at(), value))
            })
            .collect();
        Evidence::of_book(&rows).map_err(|error| plain(error.into()))
    }

    pub(super) fn weigh(
        &self,
        layout: &Layout,
        pulls: &[Weighable],
        figure: &Figure<'_>,
    ) -> Result<Difference, Failure> {
        let values = pulls.iter().map(|pull| figure.value(pull)).collect::<Result<Vec<_>, _>>()?;
        let arm = figure.arm();
        let mut sources: Vec<BTreeMap<String, f64>> =
            pulls.iter().zip(&values).map(|(pull, value)| pull.sources(*value, arm)).collect();
        weigh_pulls::shared_only(&mut sources);
        let book = self.evidence(pulls, |pull| figure.value(pull).ok())?;
        verdict::weigh(layout, &values, &sources, &book).map_err(plain)
    }

    /// The difference of the peaks' speeds, in rpm, where the figure is a peak.
    pub(super) fn peak_speed(
        &self,
        layout: &Layout,
        pulls: &[Weighable],
        figure: &Figure<'_>,
    ) -> Result<Option<(f64, f64, f64)>, Failure> {
        if !figure.figure.is_peak() {
            return Ok(None);
        }
        let speed =
            |pull: &Weighable| pull.curve.peak(figure.speeds, figure.figure.is_power()).map(|peak| peak.1);
        let values: Vec<f64> = pulls.iter().filter_map(speed).collect();
        let none = vec![BTreeMap::new(); values.len()];
        let book = self.evidence(pulls, speed)?;
        let found = verdict::weigh(layout, &values, &none, &book).map_err(plain)?;
        Ok(Some((found.estimate.value, found.interval.lower, found.interval.upper)))
    }

    pub(super) fn band(
        &self,
        layout: &Layout,
        pulls: &[Weighable],
        figure: &Figure<'_>,
        scale: &Scale,
    ) -> Result<Option<BandLine>, Failure> {
        if figure.speeds.len() < 2 {
            return Ok(None);
        }
        let mean = if figure.figure.is_power() { CurveFigure::MeanPower } else { CurveFigure::MeanTorque };
        let mut differences = Vec::with_capacity(figure.speeds.len());
        let mut levels = Vec::with_capacity(figure.speeds.len());
        for &speed in figure.speeds {
            let one = Figure { speeds: &[speed], figure: mean };
            differences.push((speed, self.weigh(layout, pulls, &one)?.estimate));
            levels.push(weigh_figures::levels(layout, pulls, &one)?);
        }
        let band = verdict::ahead_and_behind(&differences).map_err(|error| plain(error.into()))?;
        let mut gains = Vec::with_capacity(band.ranges.len());
        for &(from, to, _) in &band.ranges {
            let inside: Vec<u32> =
                figure.speeds.iter().copied().filter(|speed| (from..=to).contains(speed)).collect();
            let gain = self.weigh(layout, pulls, &Figure { speeds: &inside, figure: mean })?;
            gains.push((gain.estimate, gain.interval));
        }
        Ok(Some(BandLine::of(&band, &levels, &gains, scale.unit())))
    }
}
