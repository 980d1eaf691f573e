//! A plan of pulls and refits for the noise that an engine has shown in a cell, without sides to weigh.

use std::collections::BTreeMap;

use crate::answer::PlanLine;
use crate::answer::Planned;
use crate::answer::SpreadLine;
use crate::check::Side;
use crate::curves::Curve;
use crate::finding::Finding;
use crate::record::Outcome;
use crate::store::Book;
use crate::verdict::Evidence;
use crate::verdict::Repeats;
use crate::verdict::Scatter;
use crate::verdict::VerdictError;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::derived;
use crate::workflow::gather;
use crate::workflow::inertia;
use crate::workflow::names::Named;
use crate::workflow::read_logs;
use crate::workflow::weigh::Figure;
use crate::workflow::weigh::Scale;
use crate::workflow::weigh::WeighRequest;
use crate::workflow::weigh::plain;
use crate::workflow::weigh_elsewhere;
use crate::workflow::weigh_pulls;

/// Plans pulls for a gain.
///
/// # Errors
/// No gain is named, the book has pulls of several engines or cells and none was chosen, or nothing says how any scatters.
pub(super) fn plan(book: &Book, library: &Library, request: &WeighRequest) -> Result<Planned, Failure> {
    let scale = Scale::of(library, request)?;
    let detect = scale.detect.ok_or_else(|| plain(VerdictError::EmptySide { side: "base" }))?;
    let mut places: BTreeMap<(String, String), Vec<Side>> = BTreeMap::new();
    let mut unread = 0;
    for id in library.pull_paths()?.keys() {
        let Ok(side) = gather::side(library, &Named::Pull(id.clone())) else {
            unread += 1;
            continue;
        };
        let engine = side.build.as_ref().map(|build| build.engine.clone());
        let Some(place) = engine.zip(side.cell.as_ref().map(|cell| cell.tag.clone())) else { continue };
        let asked = |asked: &Option<String>, tag: &String| asked.as_ref().is_none_or(|asked| asked == tag);
        let wanted = asked(&request.engine, &place.0) && asked(&request.cell, &place.1);
        if side.effective.outcome == Outcome::Kept && wanted {
            places.entry(place).or_default().push(side);
        }
    }
    if places.len() > 1 {
        let known: Vec<String> = places.keys().map(|(engine, cell)| format!("{engine} in {cell}")).collect();
        return Err(Failure::usage(
            Finding::error(
                "several-engines",
                "scatter is that of one engine in one cell; the book has several",
            )
            .found(known.join(", "))
            .next("choose with --engine and --cell, or name pulls with --base and --test"),
        ));
    }
    let Some(((engine, cell), sides)) = places.into_iter().next() else {
        return Err(Failure::usage(
            Finding::error("no-pulls", "the book has no kept pull of this engine in this cell")
                .next("pull one configuration twice, refit it and pull it again"),
        ));
    };
    let basis = derived::wanted(library, request.correct_to.as_deref())?.map(|wanted| wanted.basis);
    let mut pulls = Vec::new();
    for (side, curve) in read_logs::with_curves(book, library, sides.into_iter().map(Ok), request.step_rpm)? {
        match weigh_pulls::weighable_of(library, side, curve, basis, request.grid())? {
            Ok(pull) => pulls.push(pull),
            Err(_) => unread += 1,
        }
    }
    inertia::credit(&mut pulls, &mut [])?;
    let curves: Vec<&Curve> = pulls.iter().map(|pull| &pull.curve).collect();
    let shared = weigh_pulls::shared_speeds(&curves);
    let inside = |speed: &u32| match (request.at, request.window) {
        (Some(at), _) => *speed == at,
        (None, Some((low, high))) => (low..=high).contains(speed),
        (None, None) => true,
    };
    let speeds: Vec<u32> = shared.into_iter().filter(inside).collect();
    let figure = Figure { speeds: &speeds, figure: request.figure };
    let valued: Vec<(usize, f64)> =
        pulls.iter().enumerate().filter_map(|(at, pull)| Some((at, figure.value(pull).ok()?))).collect();
    let values: Vec<f64> = valued.iter().map(|(_, value)| *value).collect();
    let located: Vec<_> = valued.iter().map(|(at, _)| weigh_elsewhere::place(&pulls[*at])).collect();
    let statistics = |error: crate::verdict::StatisticsError| plain(error.into());
    let repeats = Repeats::of_book(&located).map_err(statistics)?;
    let evidence = repeats.evidence(&values).map_err(statistics)?;
    let found = Scatter::of(&Evidence::default(), &evidence)
        .ok_or_else(|| plain(VerdictError::NoNoise { pulls: values.len() }))?;
    let informers = repeats.informers();
    let unit = scale.unit();
    let scatter = SpreadLine::all(&found, unit)
        .into_iter()
        .map(|line| {
            let at = match line.what {
                "pull to pull" => &informers.pull,
                "bracket to bracket" => &informers.stand,
                _ => &informers.refit,
            };
            let name = |at: &usize| valued.get(*at).map(|(at, _)| pulls[*at].side.name.clone());
            SpreadLine { pulls: at.iter().filter_map(name).collect(), ..line }
        })
        .collect();
    let deviation = |spread: Option<crate::verdict::SpreadEstimate>| spread.map(|s| s.standard_deviation);
    let pull = deviation(found.pull.or(found.stand));
    Ok(Planned {
        engine,
        cell,
        figure: figure.words(request),
        unit: unit.symbol.to_owned(),
        correction: basis.map_or("as its files carry it", |basis| basis.name()).to_owned(),
        mean: values.iter().sum::<f64>() / values.len().max(1) as f64 * unit.from_si,
        scatter,
        plan: PlanLine::for_scatter(detect, pull, deviation(found.refit), unit).map_err(statistics)?,
        unread,
        commit: library.commit().short(),
    })
}
