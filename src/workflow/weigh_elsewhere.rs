//! The book's other pulls of this engine in this cell, for what they know of scatter and of single changes.

use std::cell::RefCell;
use std::collections::BTreeMap;

use crate::answer::BandLine;
use crate::answer::PullFigure;
use crate::answer::SpreadLine;
use crate::answer::WeighUnit;
use crate::curves::CurveFigure;
use crate::derive;
use crate::store::Book;
use crate::verdict;
use crate::verdict::BookPlace;
use crate::verdict::Difference;
use crate::verdict::Evidence;
use crate::verdict::Layout;
use crate::verdict::Repeats;
use crate::verdict::Which;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh::plain;
use crate::workflow::weigh_figures;
use crate::workflow::weigh_pulls;
use crate::workflow::weigh_pulls::Grid;
use crate::workflow::weigh_pulls::Weighable;

/// All other kept pulls of the engine in the cell.
pub(super) struct Elsewhere {
    pub(super) pulls: Vec<Weighable>,
    pub(super) unread: usize,
    /// What pulls repeat, by which of them have the figure.
    designs: RefCell<BTreeMap<Vec<bool>, Repeats>>,
}

impl Elsewhere {
    /// Reads the other pulls.
    pub(super) fn of(
        book: &Book,
        library: &Library,
        pulls: &[Weighable],
        basis: Option<derive::Basis>,
        grid: Grid,
    ) -> Result<Self, Failure> {
        let (pulls, unread) = weigh_pulls::others(book, library, pulls, basis, grid)?;
        Ok(Self::only(pulls, unread))
    }

    /// These pulls and no others.
    pub(super) fn only(pulls: Vec<Weighable>, unread: usize) -> Self {
        Self { pulls, unread, designs: RefCell::default() }
    }

    /// What all pulls of this engine in this cell say of scatter, those of the sides among them.
    pub(super) fn evidence(
        &self,
        sides: &[Weighable],
        value: impl Fn(&Weighable) -> Option<f64>,
    ) -> Result<Evidence, Failure> {
        let all: Vec<&Weighable> = sides.iter().chain(&self.pulls).collect();
        let values: Vec<Option<f64>> = all.iter().map(|pull| value(pull)).collect();
        let present: Vec<bool> = values.iter().map(Option::is_some).collect();
        let numbers: Vec<f64> = values.into_iter().flatten().collect();
        let statistics = |error: verdict::StatisticsError| plain(error.into());
        let mut designs = self.designs.borrow_mut();
        if !designs.contains_key(&present) {
            let places: Vec<BookPlace> = all
                .iter()
                .zip(&present)
                .filter(|(_, present)| **present)
                .map(|(pull, _)| place(pull))
                .collect();
            designs.insert(present.clone(), Repeats::of_book(&places).map_err(statistics)?);
        }
        match designs.get(&present) {
            Some(repeats) => repeats.evidence(&numbers).map_err(statistics),
            None => Ok(Evidence::default()),
        }
    }

    pub(super) fn weigh(
        &self,
        layout: &Layout,
        pulls: &[Weighable],
        figure: &Figure<'_>,
    ) -> Result<Difference, Failure> {
        let values = pulls.iter().map(|pull| figure.value(pull)).collect::<Result<Vec<_>, _>>()?;
        let sources = sources(pulls, figure)?;
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
        unit: WeighUnit,
    ) -> Result<Option<BandLine>, Failure> {
        if figure.speeds.len() < 2 {
            return Ok(None);
        }
        let mean = if figure.figure.is_power() { CurveFigure::MeanPower } else { CurveFigure::MeanTorque };
        let mut differences = Vec::with_capacity(figure.speeds.len());
        let mut levels = Vec::with_capacity(figure.speeds.len());
        let sides = weigh_figures::Levels::of(layout)?;
        for &speed in figure.speeds {
            let one = Figure { speeds: &[speed], figure: mean };
            differences.push((speed, self.weigh(layout, pulls, &one)?.estimate));
            levels.push(sides.at(pulls, &one)?);
        }
        let band = verdict::ahead_and_behind(&differences).map_err(|error| plain(error.into()))?;
        let mut gains = Vec::with_capacity(band.ranges.len());
        for &(from, to, _) in &band.ranges {
            let inside: Vec<u32> =
                figure.speeds.iter().copied().filter(|speed| (from..=to).contains(speed)).collect();
            let gain = self.weigh(layout, pulls, &Figure { speeds: &inside, figure: mean })?;
            gains.push((gain.estimate, gain.interval));
        }
        Ok(Some(BandLine::of(&band, &levels, &gains, unit)))
    }

    /// Every pull with its figure, those of the sides first; and each component of scatter is told which pulls it
    /// comes from.
    pub(super) fn rests(
        &self,
        layout: &Layout,
        pulls: &[Weighable],
        figure: &Figure<'_>,
        unit: WeighUnit,
        scatter: &mut [SpreadLine],
    ) -> Result<Vec<PullFigure>, Failure> {
        let mut shared = sources(pulls, figure)?;
        shared.resize(pulls.len() + self.pulls.len(), BTreeMap::new());
        let mut numbers: BTreeMap<String, usize> = BTreeMap::new();
        let mut lines = Vec::new();
        let mut places = Vec::new();
        for (at, (pull, shared)) in pulls.iter().chain(&self.pulls).zip(shared).enumerate() {
            let Ok(value) = figure.value(pull) else { continue };
            let next = numbers.len() + 1;
            let configuration = *numbers.entry(pull.configuration(&[])).or_insert(next);
            let side = match layout.placements().get(at).map(|place| place.which) {
                Some(Which::Base) => "base",
                Some(Which::Test) => "test",
                None => "book",
            };
            places.push(place(pull));
            lines.push(PullFigure {
                pull: pull.side.name.clone(),
                side,
                configuration,
                fit_up: pull.fit_up(),
                session: pull.session(),
                place: pull.at(),
                value: value * unit.from_si,
                shared: shared.into_iter().map(|(source, amount)| (source, amount * unit.from_si)).collect(),
            });
        }
        let book = Repeats::of_book(&places).map_err(|error| plain(error.into()))?;
        let book = book.informers();
        let own = layout.repeats().informers();
        for line in scatter {
            let from = if line.from_book > 0 { book } else { own };
            let at: Vec<usize> = match line.what {
                "pull to pull" => from.pull.clone(),
                "bracket to bracket" => from.stand.clone(),
                "refit to refit" => from.refit.clone(),
                _ => (0..lines.len()).collect(),
            };
            line.pulls = at
                .into_iter()
                .filter_map(|at| lines.get(at))
                .filter(|pull| match line.what {
                    "base alone" => pull.side == "base",
                    "test alone" => pull.side == "test",
                    _ => true,
                })
                .map(|pull| pull.pull.clone())
                .collect();
        }
        Ok(lines)
    }
}

/// A pull's place among all pulls of the book.
pub(super) fn place(pull: &Weighable) -> BookPlace {
    (pull.configuration(&[]), pull.fit_up(), pull.session(), pull.at())
}

fn sources(pulls: &[Weighable], figure: &Figure<'_>) -> Result<Vec<BTreeMap<String, f64>>, Failure> {
    let arm = figure.arm();
    let mut sources = Vec::with_capacity(pulls.len());
    for pull in pulls {
        sources.push(pull.sources(figure.value(pull)?, arm));
    }
    weigh_pulls::shared_only(&mut sources);
    Ok(sources)
}
