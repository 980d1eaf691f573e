//! A difference weighed: the verdict in words, then every number with its interval.

use serde::Serialize;

use crate::answer::BandLine;
use crate::answer::BudgetLine;
use crate::answer::ChosenLine;
use crate::answer::PlanLine;
use crate::answer::Planned;
use crate::answer::PullFigure;
use crate::answer::Refused;
use crate::answer::ShareLine;
use crate::answer::SideFigure;
use crate::answer::SweepLine;
use crate::answer::TuningLine;
use crate::answer::UnknownLine;
use crate::verdict;
use crate::verdict::Basis;
use crate::verdict::Difference;
use crate::verdict::Estimate;
use crate::verdict::Interval;
use crate::verdict::Layout;
use crate::verdict::Reservation;
use crate::verdict::Scatter;
use crate::verdict::SpreadEstimate;
use crate::verdict::Verdict;
use crate::verdict::Which;

/// The answer of `weigh`.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "outcome", rename_all = "lowercase")]
pub enum WeighAnswer {
    /// The two sides were weighed.
    Weighed(Box<Weighed>),
    /// No sides were named: a plan for the noise that an engine has shown in a cell.
    Planned(Box<Planned>),
    /// They may not be compared.
    Refused(Refused),
}

/// A unit with its factor from SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeighUnit {
    /// Its symbol.
    pub symbol: &'static str,
    /// What a value in SI is multiplied by.
    pub from_si: f64,
}

/// A number with the ends of its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WithInterval {
    /// The number.
    pub value: f64,
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

impl WithInterval {
    /// An estimate and its interval, both multiplied by a factor.
    pub fn of((estimate, interval): &(Estimate, Interval), factor: f64) -> Self {
        Self {
            value: estimate.value * factor,
            lower: interval.lower * factor,
            upper: interval.upper * factor,
        }
    }
}

/// The verdict on a least gain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RulingLine {
    /// The least gain; 0 where none was named.
    pub least: f64,
    /// `shown`, `provisional`, `not shown` or `contradicted`.
    pub verdict: &'static str,
    /// What holds it back or is to be read with it, the weightiest first.
    pub reasons: Vec<String>,
    /// The limit lies within 1e-9 of an end of the interval.
    pub close_call: bool,
}

/// A component of scatter.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpreadLine {
    /// What scatters.
    pub what: &'static str,
    /// Its standard deviation.
    pub standard_deviation: f64,
    /// Degrees of freedom, all together.
    pub degrees_of_freedom: f64,
    /// Those from the book's other pulls.
    pub from_book: usize,
    /// The pulls that say something of it.
    pub pulls: Vec<String>,
}

impl SpreadLine {
    /// The components of a scatter.
    pub fn all(scatter: &Scatter, unit: WeighUnit) -> Vec<Self> {
        let known = [
            ("pull to pull", scatter.pull),
            ("bracket to bracket", scatter.stand),
            ("refit to refit", scatter.refit),
        ];
        let line = |(what, spread): (&'static str, Option<SpreadEstimate>)| {
            spread.map(|spread| Self {
                what,
                standard_deviation: spread.standard_deviation * unit.from_si,
                degrees_of_freedom: spread.degrees_of_freedom,
                from_book: spread.from_book,
                pulls: Vec::new(),
            })
        };
        known.into_iter().filter_map(line).collect()
    }
}

/// A pull of the sessions involved that is not weighed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Excluded {
    /// The pull.
    pub pull: String,
    /// Why.
    pub why: String,
    /// It is of a configuration that is weighed: leaving it out is a choice.
    pub same_configuration: bool,
}

/// Equivalence by two one-sided tests.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EquivalenceLine {
    /// The margin.
    pub margin: f64,
    /// Whether no difference beyond it is left.
    pub shown: bool,
    /// The larger of the two probabilities.
    pub probability: f64,
}

/// Two sides weighed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Weighed {
    /// The pulls of the base.
    pub base: Vec<String>,
    /// Those of the test side.
    pub test: Vec<String>,
    /// The figure in words.
    pub figure: String,
    /// Its unit.
    pub unit: String,
    /// What torque and power were brought to.
    pub correction: String,
    /// Test less base.
    pub difference: WithInterval,
    /// The same as a share of the base's mean.
    pub percent: WithInterval,
    /// Standard error and degrees of freedom.
    pub standard_error: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// The verdict.
    pub ruling: RulingLine,
    /// What the interval speaks of.
    pub speaks_of: String,
    /// What its noise was made from, in one word: `refits`, `refits-unequal`, `same-fit-up`, `same-fit-up-one-bracket`
    /// or `these-assemblies`; docs/weighing.md says how each is worked out.
    pub noise: &'static str,
    /// Fit-ups and pulls: base, then test.
    pub fit_ups: (usize, usize),
    /// Pulls of base and test.
    pub pulls: (usize, usize),
    /// Components of scatter.
    pub scatter: Vec<SpreadLine>,
    /// How unlike the two sides scatter, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub misfit: Option<String>,
    /// Drift for each pull, by session, as seen within fit-ups.
    pub drift: Vec<(String, Option<WithInterval>)>,
    /// How far the first pull of a session stands above the line of the rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first_pull: Option<WithInterval>,
    /// Standard uncertainty of what did not cancel between instruments.
    pub systematic: f64,
    /// Difference of the peaks' speeds in rpm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub peak_speed: Option<(f64, f64, f64)>,
    /// The difference over speed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band: Option<BandLine>,
    /// Figures of both sides over the window.
    pub figures: Vec<SideFigure>,
    /// The sweeps found in the logs, and what was cut.
    pub sweeps: Vec<SweepLine>,
    /// Grid points inside the window that are empty in some pull and so left out of all, rpm.
    pub left_out_speeds: Vec<u32>,
    /// Width that every curve was smoothed over, rpm, where that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smoothed: Option<u32>,
    /// What was done about the torque that speeding up takes, in words.
    pub inertia: String,
    /// What the pulls rest on that proved doubtful, a line each.
    pub doubts: Vec<String>,
    /// What of an instrument is not in the interval since nobody states it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unstated: Option<String>,
    /// The role under test, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub subject: Option<String>,
    /// Every pull with its figure, those of the book that say something of scatter among them.
    pub rests: Vec<PullFigure>,
    /// What is claimed of the settings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tuning: Option<TuningLine>,
    /// What else differs.
    pub budget: Vec<BudgetLine>,
    /// Parts of the gain that are consequences of the part under test.
    pub of_gain: Vec<ShareLine>,
    /// What nobody knows.
    pub unknowns: Vec<UnknownLine>,
    /// The one measurement or set of pulls that would settle most.
    pub settles_most: String,
    /// Pulls that were chosen among repeats.
    pub chosen: Vec<ChosenLine>,
    /// A claim that there is no difference.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub equivalence: Option<EquivalenceLine>,
    /// A plan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plan: Option<PlanLine>,
    /// Pulls of the sessions that are not weighed.
    pub excluded: Vec<Excluded>,
    /// Other pulls of the engine and cell whose records or files could not be read.
    pub unread: usize,
    /// How many items that could differ are only assumed or unknown, at worst of all pairs.
    pub weak: usize,
    /// How many could differ.
    pub asked: usize,
    /// Files with pending edits.
    pub pending: Vec<String>,
    /// The commit answered from.
    pub commit: String,
    #[serde(skip)]
    factor: f64,
}

impl Weighed {
    /// A difference in words and in the figure's unit.
    pub fn new(difference: &Difference, layout: &Layout, unit: WeighUnit, figure: String) -> Self {
        let scaled = |value: f64| value * unit.from_si;
        let (percent, lower, upper) = difference.percent();
        let mut scatter: Vec<SpreadLine> =
            difference.scatter.iter().flat_map(|found| SpreadLine::all(found, unit)).collect();
        // Only what is in this interval.
        let aside = match difference.basis {
            Basis::SameFitUp | Basis::SameFitUpOneBracket => "refit to refit",
            _ if scatter.iter().any(|line| line.what == "refit to refit") => "bracket to bracket",
            _ => "",
        };
        scatter.retain(|line| line.what != aside);
        if let Some((base, test)) = difference.own_spreads {
            for (what, spread) in [("base alone", base), ("test alone", test)] {
                scatter.push(SpreadLine {
                    what,
                    standard_deviation: scaled(spread),
                    degrees_of_freedom: difference.estimate.degrees_of_freedom,
                    from_book: 0,
                    pulls: Vec::new(),
                });
            }
        }
        let speaks_of = match difference.basis {
            Basis::Refits => "fit-ups are the unit: refitting is in the interval",
            Basis::RefitsUnequal => "fit-ups are the unit, each side with its own spread (Welch)",
            Basis::SameFitUp => {
                "both sides were run in one fit-up, so refitting is in neither; how far brackets stray from a straight \
                 drift is in the interval"
            }
            Basis::SameFitUpOneBracket => {
                "both sides were run in one fit-up, so refitting is in neither; drift is taken as straight, as nothing \
                 in the book tells how far brackets stray from it"
            }
            Basis::TheseAssemblies => {
                "these assemblies only: nobody refitted, and refitting is not in the interval"
            }
        };
        Self {
            base: Vec::new(),
            test: Vec::new(),
            figure,
            unit: unit.symbol.to_owned(),
            correction: String::new(),
            difference: WithInterval {
                value: scaled(difference.estimate.value),
                lower: scaled(difference.interval.lower),
                upper: scaled(difference.interval.upper),
            },
            percent: WithInterval { value: percent, lower, upper },
            standard_error: scaled(difference.estimate.standard_error),
            degrees_of_freedom: difference.estimate.degrees_of_freedom,
            ruling: RulingLine { least: 0.0, verdict: "", reasons: Vec::new(), close_call: false },
            speaks_of: speaks_of.to_owned(),
            noise: difference.basis.word(),
            fit_ups: (layout.fit_ups(Which::Base), layout.fit_ups(Which::Test)),
            pulls: (layout.pulls(Which::Base), layout.pulls(Which::Test)),
            scatter,
            misfit: difference.misfit.map(|misfit| {
                format!(
                    "one spread was taken for both sides; alone they scatter {:.2} and {:.2} {} (p {:.2} if both were \
                     equal)",
                    scaled(misfit.spreads.0),
                    scaled(misfit.spreads.1),
                    unit.symbol,
                    misfit.probability
                )
            }),
            drift: difference
                .drifts
                .iter()
                .map(|(session, drift)| {
                    let drift = drift.and_then(|drift| {
                        let interval = drift.interval(verdict::LEVEL).ok()?;
                        Some(WithInterval {
                            value: scaled(drift.value),
                            lower: scaled(interval.lower),
                            upper: scaled(interval.upper),
                        })
                    });
                    (session.clone(), drift)
                })
                .collect(),
            first_pull: difference.first_pull.and_then(|first| {
                let interval = first.interval(verdict::LEVEL).ok()?;
                Some(WithInterval {
                    value: scaled(first.value),
                    lower: scaled(interval.lower),
                    upper: scaled(interval.upper),
                })
            }),
            systematic: scaled(difference.systematic),
            peak_speed: None,
            band: None,
            figures: Vec::new(),
            sweeps: Vec::new(),
            left_out_speeds: Vec::new(),
            smoothed: None,
            inertia: String::new(),
            doubts: Vec::new(),
            unstated: None,
            subject: None,
            rests: Vec::new(),
            tuning: None,
            budget: Vec::new(),
            of_gain: Vec::new(),
            unknowns: Vec::new(),
            settles_most: String::new(),
            chosen: Vec::new(),
            equivalence: None,
            plan: None,
            excluded: Vec::new(),
            unread: 0,
            weak: 0,
            asked: 0,
            pending: Vec::new(),
            commit: String::new(),
            factor: unit.from_si,
        }
    }

    /// Rules on a least gain in SI; any gain at all where none was named.
    pub fn rule(&mut self, difference: &Difference, least: Option<f64>, reservations: Vec<Reservation>) {
        let ruling = verdict::rule(&difference.interval, least.unwrap_or(0.0), reservations);
        self.ruling = RulingLine {
            least: ruling.least * self.factor,
            verdict: ruling.verdict.word(),
            reasons: match ruling.verdict {
                Verdict::Shown => Vec::new(),
                _ => ruling.reservations.iter().map(ToString::to_string).collect(),
            },
            close_call: ruling.close_call,
        };
    }

    /// Adds what else differs, amounts in SI; what is a consequence of the part under test is told as a share of the
    /// gain.
    pub fn budget(&mut self, lines: Vec<BudgetLine>) {
        for mut line in lines {
            line.amount = line.amount.map(|(value, half)| (value * self.factor, half * self.factor));
            if let (true, Some((value, half))) = (line.of_subject, line.amount) {
                let told = self.difference.lower > 0.0 || self.difference.upper < 0.0;
                self.of_gain.push(ShareLine {
                    what: line.what.clone(),
                    of_gain: told.then(|| 100.0 * value / self.difference.value),
                    amount: WithInterval { value, lower: value - half, upper: value + half },
                });
            }
            self.budget.push(line);
        }
    }

    /// Tells how a choice among repeats moves the sides, in SI.
    pub fn choices(&mut self, lines: Vec<ChosenLine>) {
        let factor = self.factor;
        self.chosen = lines
            .into_iter()
            .map(|line| ChosenLine { bias: line.bias.map(|bias| bias * factor), ..line })
            .collect();
    }

    /// Adds a claim that no difference larger than a margin in SI is left.
    pub fn equivalence(&mut self, margin: f64, shown: bool, probability: f64) {
        self.equivalence = Some(EquivalenceLine { margin: margin * self.factor, shown, probability });
    }
}
