//! Models of what a documented difference does: textbook relations with their limits, and what standards disagree on.

use std::collections::BTreeMap;

use crate::answer::BudgetLine;
use crate::check::Checked;
use crate::check::GapSide;
use crate::check::Group;
use crate::check::OpenQuestion;
use crate::check::Side;
use crate::derive;
use crate::derive::Basis;
use crate::derive::Derived;
use crate::engine::correction::spark::SparkStandard;
use crate::engine::sensitivity::compression_gain;
use crate::engine::sensitivity::torque_of_mixture;
use crate::quantity::QuantityKind;
use crate::record::Course;
use crate::record::FieldSpec;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::Value;
use crate::statistics::budget::Budgeted;
use crate::verdict::LEVEL;
use crate::workflow::Failure;
use crate::workflow::weigh_budget::Asked;
use crate::workflow::weigh_own::halved;
use crate::workflow::weigh_pulls::Weighable;

/// Ratio of specific heats of the air-standard cycle for burnt and unburnt charge together (J. Heywood 1988, 5.6, from
/// memory).
const HEAT_RATIO: f64 = 1.3;
/// Settings, by their meaning, whose work is the mixture.
pub(super) const SETS_THE_MIXTURE: [&str; 4] = ["main-jet", "fuel-map", "fuel-pressure", "lambda"];
/// Lambda that its pulls of one side differ by less than this is one lambda: what meters resolve (common practice, no
/// source).
const ONE_LAMBDA: f64 = 0.005;
/// Temperatures nearer than this are alike: what thermocouples of a cell agree to (common practice, no source).
const ALIKE_K: f64 = 1.0;

/// Per cent of torque below which a part of a change is not worth a word.
const WORTH_A_WORD: f64 = 0.005;

/// What the change of compression does, with the parts that it comes from.
pub(super) struct Compression {
    was: f64,
    now: f64,
    percent: (f64, f64),
    /// The part of it, in per cent, that each input brings, with the input's path and its values.
    by: Vec<(String, String, f64)>,
    /// The input that its uncertainty hangs on most.
    worst: Option<String>,
}

impl Compression {
    /// Between the two sides of a checked pair; none where it is alike or cannot be told.
    pub(super) fn of(checked: &Checked<'_>, kinds: &Kinds) -> Option<Self> {
        let ground = checked.base().ground(kinds);
        let (was, now) =
            (ratio(&derive::figures(&ground))?, ratio(&derive::figures(&checked.test().ground(kinds)))?);
        if (was.value.value() - now.value.value()).abs() <= 1e-9 {
            return None;
        }
        let effect = |a: f64, b: f64| compression_gain(a, b, HEAT_RATIO).map(|gain| 100.0 * (gain - 1.0));
        let whole = Budgeted::combine(&[&was.value, &now.value], |ratio| effect(ratio[0], ratio[1])).ok()?;
        let interval = whole.interval(LEVEL).ok()?;
        let by = derive::moved_by(&ground, &was, &now)
            .into_iter()
            .filter_map(|(before, after, by)| {
                let ratio = was.value.value();
                let words = format!("{} {} to {}", after.title, before.text, after.text);
                Some((after.path.clone(), words, effect(ratio, ratio + by).ok()?))
            })
            .collect();
        let worst = whole
            .contributions()
            .iter()
            .max_by(|a, b| a.1.amount.abs().total_cmp(&b.1.amount.abs()))
            .map(|(source, _)| source.clone());
        Some(Self {
            was: was.value.value(),
            now: now.value.value(),
            percent: ((interval.lower + interval.upper) / 2.0, interval.half_width()),
            by,
            worst,
        })
    }

    /// What a role's figures bring of it, with the interval of the whole.
    pub(super) fn by_role(&self, role: &str) -> (f64, f64) {
        let prefix = format!("{role}.");
        let own = self.by.iter().filter(|(path, ..)| path.starts_with(&prefix));
        (own.map(|(_, _, percent)| percent).sum(), self.percent.1)
    }

    /// The input that its uncertainty hangs on most.
    pub(super) fn worst(&self) -> Option<String> {
        self.worst.clone()
    }

    /// What it does; in two parts where the part under test brings some of it and something else the rest.
    pub(super) fn lines(&self, subject: Option<&str>) -> Vec<BudgetLine> {
        let is_own = |path: &str| {
            subject.is_some_and(|role| {
                path == role || path.strip_prefix(role).is_some_and(|rest| rest.starts_with('.'))
            })
        };
        let worth: Vec<&(String, String, f64)> =
            self.by.iter().filter(|(.., percent)| percent.abs() >= WORTH_A_WORD).collect();
        let (own, others): (Vec<_>, Vec<_>) = worth.into_iter().partition(|(path, ..)| is_own(path));
        let line = |what: &str, percent: (f64, f64), parts: &[&(String, String, f64)]| {
            let mut source =
                "air-standard cycle, ratio of specific heats 1.3: an upper bound, as heat loss and friction \
                              take part of it"
                    .to_owned();
            for (_, words, percent) in parts {
                source.push_str(&format!("; {words}: {percent:+.2} %"));
            }
            let what = format!("compression ratio {:.2} to {:.2}{what}", self.was, self.now);
            BudgetLine::estimated(what, "model", percent, source)
        };
        if own.is_empty() || others.is_empty() {
            let parts = if own.is_empty() { &others } else { &own };
            let mut whole = line("", self.percent, parts);
            whole.of_subject = !own.is_empty();
            return vec![whole];
        }
        // Each part has the interval of the whole, which is no narrower than its own.
        let sum = |parts: &[&(String, String, f64)]| parts.iter().map(|(.., percent)| percent).sum::<f64>();
        let mut mine = line(", what the part under test brings", (sum(&own), self.percent.1), &own);
        mine.of_subject = true;
        vec![mine, line(", what else brings", (sum(&others), self.percent.1), &others)]
    }
}

fn ratio(figures: &[derive::Outcome]) -> Option<Derived> {
    named(figures, "compression-ratio")
}

fn named(figures: &[derive::Outcome], name: &str) -> Option<Derived> {
    figures
        .iter()
        .filter_map(|outcome| outcome.as_ref().ok())
        .find(|derived| derived.label.cylinder.is_none() && derived.label.name == name)
        .cloned()
}

/// Torque in proportion to swept volume.
pub(super) fn displacement(checked: &Checked<'_>, kinds: &Kinds) -> Option<BudgetLine> {
    let of = |side: &Side| named(&derive::figures(&side.ground(kinds)), "displacement");
    let (was, now) = (of(checked.base())?, of(checked.test())?);
    if (was.value.value() - now.value.value()).abs() <= 1e-12 {
        return None;
    }
    let gain = Budgeted::combine(&[&was.value, &now.value], |volume| {
        Ok::<f64, crate::statistics::StatisticsError>(100.0 * (volume[1] / volume[0] - 1.0))
    });
    let interval = gain.and_then(|gain| gain.interval(LEVEL)).ok()?;
    let percent = ((interval.lower + interval.upper) / 2.0, interval.half_width());
    let source = "torque in proportion to swept volume".to_owned();
    Some(BudgetLine::estimated("displacement".to_owned(), "model", percent, source))
}

/// Least and greatest effect, in per cent of torque, of a figure that enters compression and that one side does not
/// know, over its plausible range; none for anything else.
pub(super) fn compression_of_unknown(
    checked: &Checked<'_>,
    open: &OpenQuestion,
    kinds: &Kinds,
) -> Option<(f64, f64)> {
    if open.item.group != Group::Figure {
        return None;
    }
    let (known, unknown, forward) = match open.side {
        GapSide::Test => (checked.base(), checked.test(), true),
        GapSide::Base => (checked.test(), checked.base(), false),
        _ => return None,
    };
    let role = kinds.role(open.item.role.as_deref()?)?;
    let spec = role
        .kinds
        .iter()
        .filter_map(|kind| kinds.part(kind))
        .flat_map(|kind| &kind.figures)
        .find(|spec| spec.name == open.item.name)?;
    let means = spec.means.as_deref()?;
    let (low, high) = spec.range?;
    let from = ratio(&derive::figures(&known.ground(kinds)))?.value.value();
    let mut effects = Vec::new();
    for supposed in [low, high] {
        let mut ground = unknown.ground(kinds);
        ground.suppose(means, spec, supposed);
        let to = ratio(&derive::figures(&ground))?.value.value();
        let (a, b) = if forward { (from, to) } else { (to, from) };
        effects.push(100.0 * (compression_gain(a, b, HEAT_RATIO).ok()? - 1.0));
    }
    let least = effects.iter().copied().fold(f64::INFINITY, f64::min);
    let most = effects.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (least < most).then_some((least, most))
}

/// What the weather leaves after correction: how far the standards would bring the two sides apart.
///
/// The correction in use takes the weather to be done with; the others, made for the same work, would answer otherwise by
/// so much. As observed, the whole of what SAE J1349 would take out is left.
pub(super) fn conditions(asked: &Asked<'_>) -> Option<BudgetLine> {
    let kinds = asked.library.kinds();
    let factor = |standard: SparkStandard| -> Option<f64> {
        let mean = |pulls: &[Weighable]| -> Option<f64> {
            let mut sum = 0.0;
            for pull in pulls {
                // By the weather alone, whatever correction the file carries.
                let ground = pull.side.ground(kinds);
                let carried = derive::bring(&ground, Basis::Observed).ok()?.factor.value();
                sum += derive::bring(&ground, Basis::Standard(standard)).ok()?.factor.value() / carried;
            }
            Some(sum / pulls.len() as f64)
        };
        Some(mean(asked.pulls.get(asked.count..)?)? / mean(asked.pulls.get(..asked.count)?)?)
    };
    let ratios: Vec<(SparkStandard, f64)> =
        SparkStandard::ALL.into_iter().filter_map(|standard| Some((standard, factor(standard)?))).collect();
    let used = match asked.basis {
        Some(Basis::Standard(standard)) => Some(standard),
        _ => None,
    };
    let own =
        used.and_then(|used| ratios.iter().find(|(standard, _)| *standard == used)).map(|(_, ratio)| *ratio);
    let reference = own.or_else(|| ratios.first().map(|(_, ratio)| *ratio))?;
    let apart = ratios.iter().map(|(_, ratio)| 100.0 * (ratio / reference - 1.0).abs()).fold(0.0, f64::max);
    let (value, source) = match used {
        Some(_) => (0.0, "after correction; so far would the other standards bring the two sides apart"),
        None => (
            100.0 * (1.0 / reference - 1.0),
            "figures as observed: so much would SAE J1349 take out; ± what the standards disagree on",
        ),
    };
    Some(BudgetLine::estimated("air of the two sides".to_owned(), "model", (value, apart), source.to_owned()))
}

/// A condition or channel of a pull, in SI: as typed, else the mean over the sweep of what its log carries.
fn logged(pull: &Weighable, name: &str, channel: Option<&str>) -> Option<f64> {
    let typed = pull.side.effective.conditions.get(name).and_then(|held| {
        match held.figure.standing(Course::Drifting, pull.side.moment())?.entry.known.value()? {
            Value::Quantity(reading) => Some(reading.mean().si()),
            _ => None,
        }
    });
    typed.or_else(|| Some(pull.side.channel_means.get(channel?)?.mean_si))
}

/// The means of both sides and the widest range within one; none where a pull lacks it.
fn two_sides(asked: &Asked<'_>, of: impl Fn(&Weighable) -> Option<f64>) -> Option<(f64, f64, f64)> {
    let side = |pulls: &[Weighable]| -> Option<(f64, f64)> {
        let values: Vec<f64> = pulls.iter().map(&of).collect::<Option<_>>()?;
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Some((values.iter().sum::<f64>() / values.len().max(1) as f64, high - low))
    };
    let (base, a) = side(asked.pulls.get(..asked.count)?)?;
    let (test, b) = side(asked.pulls.get(asked.count..)?)?;
    Some((base, test, a.max(b)))
}

/// Temperatures that no correction takes out and that differ by more than the pulls of one side do.
pub(super) fn temperatures(asked: &Asked<'_>) -> Result<Vec<BudgetLine>, Failure> {
    let is_temperature = |spec: &&FieldSpec| {
        matches!(spec.holds, Holds::Quantity { kind: QuantityKind::Temperature, .. }) && spec.means.is_none()
    };
    let mut lines = Vec::new();
    let mut seen: BTreeMap<&str, ()> = BTreeMap::new();
    for spec in asked.library.kinds().conditions.iter().filter(is_temperature) {
        let channel = spec.channel.as_deref();
        // One channel documents start and end alike.
        if channel.is_some_and(|channel| seen.contains_key(channel)) {
            continue;
        }
        let of = |pull: &Weighable| logged(pull, &spec.name, channel);
        let Some((base, test, within)) = two_sides(asked, of) else { continue };
        if let Some(channel) = channel {
            seen.insert(channel, ());
        }
        let by = test - base;
        if by.abs() <= within.max(ALIKE_K) {
            continue;
        }
        let title = spec.title.to_lowercase();
        let what = format!("{title}: {by:+.1} K");
        lines.push(match asked.own.by_slope(of, by)? {
            Some((percent, pulls)) => {
                let source =
                    format!("the slope within configurations over {} other pulls of this book", pulls.len());
                BudgetLine { pulls: None, ..BudgetLine::estimated(what, "own pulls", percent, source) }
            }
            None => BudgetLine::not_estimated(
                what,
                format!("pulls of one configuration at {title}s as far apart would settle it"),
            ),
        });
    }
    Ok(lines)
}

/// Whether a line only says that the sides are alike.
pub(super) fn is_alike(line: &BudgetLine) -> bool {
    line.percent.is_some_and(|(value, half)| value.abs() + half <= 0.0)
}

/// Mixture as the logs carry it, where the sides differ by more than the pulls of one do.
pub(super) fn mixture(asked: &Asked<'_>) -> Result<Option<BudgetLine>, Failure> {
    let of = |pull: &Weighable| logged(pull, "lambda", Some("lambda"));
    let Some((base, test, within)) = two_sides(asked, of) else { return Ok(None) };
    let what = format!("mixture: lambda {base:.3} to {test:.3}");
    if (test - base).abs() <= within.max(ONE_LAMBDA) {
        // Alike as logged: what sets it is told by it.
        let source = "alike within what the pulls of one side vary by".to_owned();
        return Ok(Some(BudgetLine::estimated(what, "model", (0.0, 0.0), source)));
    }
    if let Some((found, pulls)) = asked.own.logged_loop(of, &SETS_THE_MIXTURE)?
        && let Some(percent) = found.effect(base, test).ok().as_ref().and_then(halved)
    {
        let source = format!("how torque goes with lambda over {} other pulls of this book", pulls.len());
        return Ok(Some(BudgetLine::estimated(what, "own pulls", percent, source)));
    }
    let (Ok(was), Ok(now)) = (torque_of_mixture(1.0 / base), torque_of_mixture(1.0 / test)) else {
        let settled_by = "a loop of lambda with nothing else changed would settle it".to_owned();
        return Ok(Some(BudgetLine::not_estimated(what, settled_by)));
    };
    let percent = 100.0 * (now / was - 1.0);
    let source = "R. Stone's curve of torque over mixture (secondary text); another engine's, so taken as right within \
                  its own size; a loop of lambda would settle it"
        .to_owned();
    Ok(Some(BudgetLine::estimated(what, "model", (percent, percent.abs()), source)))
}
