//! Flow sheets as derived figures: their records gathered, their readings by lift, in the book's units.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::BarredLine;
use crate::answer::BarsLine;
use crate::answer::FigureLine;
use crate::answer::FlowBrought;
use crate::answer::FlowCompared;
use crate::answer::FlowLift;
use crate::answer::FlowMeaning;
use crate::answer::FlowSheetAnswer;
use crate::answer::Interval;
use crate::check::FlowSide;
use crate::check::Side;
use crate::check::flow_gaps;
use crate::check::flow_sheet_of;
use crate::derive;
use crate::derive::Asked;
use crate::derive::ChannelMean;
use crate::derive::Derived;
use crate::derive::FlowBench;
use crate::derive::Ground;
use crate::derive::Means;
use crate::derive::Outcome;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::record::Answer;
use crate::record::Course;
use crate::record::Effective;
use crate::record::FlowSheet;
use crate::record::Held;
use crate::record::Instrument;
use crate::record::Kinds;
use crate::record::Moment;
use crate::record::Origin;
use crate::record::Part;
use crate::record::PortSide;
use crate::record::RoleHeld;
use crate::record::Value;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare;
use crate::workflow::derived;
use crate::workflow::flow_points;
use crate::workflow::flow_points::FlowReading;
use crate::workflow::sheet_files;

/// Lifts closer than this are one lift, in m: no dial shows less.
pub(super) const SAME_LIFT_M: f64 = 1e-6;

/// What is asked of a flow sheet beyond what it says by itself.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct FlowAsked {
    /// The test pressure that flows are brought to, in Pa; the sheet's own unless said.
    pub(super) to_pa: Option<f64>,
    /// The lifts, in m, that means are taken over; all of them unless said.
    pub(super) range: Option<(f64, f64)>,
}

/// A flow sheet with every record that its figures rest on.
#[derive(Debug)]
pub(super) struct Bench {
    sheet: FlowSheet,
    kinds: Kinds,
    effective: Effective,
    parts: BTreeMap<String, Part>,
    instruments: BTreeMap<String, Instrument>,
    at: Moment,
    none: Means,
    no_speeds: BTreeMap<u32, Means>,
    lifts: Vec<(f64, Means)>,
}

impl Bench {
    /// Gathers a sheet, or says in words why it has no readings.
    ///
    /// # Errors
    /// The store's, or a record that does not hold.
    pub(super) fn of(
        book: &Book,
        library: &Library,
        sheet: &FlowSheet,
    ) -> Result<Result<Self, String>, Failure> {
        let readings = match flow_points::of_sheet(book, library, sheet)? {
            Ok(readings) => readings,
            Err(why) => return Ok(Err(why)),
        };
        // A bench's conditions are its own, not a pull's.
        let mut kinds = library.kinds().clone();
        kinds.conditions.clone_from(&kinds.flow);
        let mut effective = Effective::empty();
        for (name, figure) in &sheet.conditions {
            let held = Held { figure: figure.clone(), origin: Origin::Pull };
            effective.conditions.insert(name.clone(), held);
        }
        let (mut parts, mut instruments) = (BTreeMap::new(), BTreeMap::new());
        for named in std::iter::once(&sheet.part).chain(&sheet.with_part) {
            let Some(part) = library.part(&named.tag)? else { continue };
            let role = kinds.roles.iter().find(|role| role.kinds.contains(&part.kind));
            if let Some(role) = role {
                let held = RoleHeld { answer: Answer::Part(named.clone()), origin: Origin::Pull };
                effective.roles.entry(role.name.clone()).or_insert(held);
            }
            parts.insert(named.tag.clone(), part);
        }
        let of_parts = parts.values().flat_map(|part| &part.states).flat_map(|state| state.figures.values());
        let entries = sheet.conditions.values().chain(of_parts).flat_map(|figure| &figure.entries);
        let named: Vec<&String> =
            entries.filter_map(|entry| entry.with.as_ref()).chain(&sheet.bench).collect();
        for tag in named {
            if let Some(instrument) = library.instrument(tag)? {
                instruments.insert(tag.clone(), instrument);
            }
        }
        let lifts = by_lift(sheet, &readings);
        Ok(Ok(Self {
            sheet: sheet.clone(),
            kinds,
            effective,
            parts,
            instruments,
            at: sheet.moment().clone(),
            none: Means::new(),
            no_speeds: BTreeMap::new(),
            lifts,
        }))
    }

    /// The readings on the ground of the records, flows brought to a test pressure.
    pub(super) fn bench(&self, to_pa: f64) -> FlowBench<'_> {
        let ground = Ground {
            name: &self.sheet.tag,
            build: None,
            is_pull: true,
            session: None,
            cell: None,
            kinds: &self.kinds,
            effective: &self.effective,
            parts: &self.parts,
            engine: None,
            instruments: &self.instruments,
            moment: Some(&self.at),
            channels: &self.none,
            by_speed: &self.no_speeds,
            voided_settings: BTreeMap::new(),
            substitutes: BTreeMap::new(),
            asked: Asked::default(),
        };
        FlowBench { ground, side: self.sheet.side, lifts: &self.lifts, to_pa }
    }

    /// The sheet's test pressure in Pa: as stated, else as read at its first lift.
    pub(super) fn pressure_pa(&self) -> Option<f64> {
        let stated = self
            .sheet
            .conditions
            .get("test-pressure")
            .and_then(|figure| figure.standing(Course::Fixed, Some(&self.at)))
            .and_then(|standing| match standing.entry.known.value()? {
                Value::Quantity(reading) => Some(reading.mean().si()),
                Value::Text(_) => None,
            });
        stated.or_else(|| Some(self.lifts.first()?.1.get("test-pressure")?.mean_si))
    }
}

/// The readings of a sheet by lift, lifts rising: means where a lift was read more than once.
fn by_lift(sheet: &FlowSheet, readings: &[FlowReading]) -> Vec<(f64, Means)> {
    let mut groups: BTreeMap<i64, Vec<&FlowReading>> = BTreeMap::new();
    for reading in readings {
        groups.entry(step(reading.lift_m)).or_default().push(reading);
    }
    let file =
        sheet.raw.iter().find(|raw| raw.columns.is_some()).map_or("the sheet", |raw| raw.file.as_str());
    groups
        .into_values()
        .map(|group| {
            let mut means = Means::new();
            let lift_m = group.first().map_or(0.0, |reading| reading.lift_m);
            let mut put = |word: &str, kind: QuantityKind, unit: &str, values: Vec<f64>| {
                if let Some(mut mean) = mean(sheet, file, kind, unit, &values) {
                    mean.place = format!("{:.3} mm", lift_m * 1e3);
                    means.insert(word.to_owned(), mean);
                }
            };
            put("lift", QuantityKind::Length, "mm", group.iter().map(|reading| reading.lift_m).collect());
            put(
                "flow",
                QuantityKind::VolumeFlow,
                "cfm",
                group.iter().map(|reading| reading.flow_m3_per_s).collect(),
            );
            let pressures: Option<Vec<f64>> = group.iter().map(|reading| reading.pressure_pa).collect();
            put("test-pressure", QuantityKind::PressureDifference, "inH2O", pressures.unwrap_or_default());
            (lift_m, means)
        })
        .collect()
}

/// A lift in steps of [`SAME_LIFT_M`].
#[expect(clippy::cast_possible_truncation, reason = "a lift beyond the range saturates, and is one lift")]
pub(super) fn step(lift_m: f64) -> i64 {
    (lift_m / SAME_LIFT_M).round() as i64
}

fn mean(
    sheet: &FlowSheet,
    file: &str,
    kind: QuantityKind,
    unit: &str,
    values: &[f64],
) -> Option<ChannelMean> {
    let unit = Unit::parse(unit, kind).ok()?;
    let count = f64::from(u32::try_from(values.len()).ok().filter(|count| *count > 0)?);
    let mean_si = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean_si) * (value - mean_si)).sum();
    let deviation_si = if count > 1.0 { (squares / (count - 1.0)).sqrt() } else { 0.0 };
    Some(ChannelMean {
        kind,
        mean_si,
        deviation_si,
        rows: values.len() as u64,
        file: file.to_owned(),
        text: format!("{:.2} {unit}", unit.from_si(mean_si)),
        place: String::new(),
        instrument: sheet.bench.clone(),
        offset_si: None,
    })
}

/// What a sheet means at each lift and over all of them, in the book's units.
///
/// # Errors
/// A number that no interval can be given for.
pub(super) fn meaning(
    library: &Library,
    bench: &FlowBench<'_>,
    range: Option<(f64, f64)>,
) -> Result<FlowMeaning, Failure> {
    let mut barred: Vec<BarredLine> = Vec::new();
    let mut lines = |outcomes: Vec<Outcome>| -> Result<Vec<FigureLine>, Failure> {
        let mut lines = Vec::new();
        for outcome in outcomes {
            match outcome {
                Ok(derived) => lines.push(derived::line(library, &derived)?),
                Err(why) => {
                    let why = BarredLine::from(&why);
                    if !barred.iter().any(|known| known.figure == why.figure) {
                        barred.push(why);
                    }
                }
            }
        }
        Ok(lines)
    };
    let mut lifts = Vec::new();
    for (lift_m, outcomes) in bench.at_lifts() {
        // No dial shows less than a micrometre.
        let lift_mm = (lift_m * 1e6).round() / 1e3;
        lifts.push(FlowLift { lift_mm, figures: lines(outcomes)? });
    }
    let whole = bench.lifts.first().zip(bench.lifts.last()).map(|(first, last)| (first.0, last.0));
    let means = match range.or(whole) {
        Some((from, to)) if range.is_some() || to > from => lines(bench.over(from, to))?,
        _ => Vec::new(),
    };
    Ok(FlowMeaning { lifts, means, bars: BarsLine::gather(bench.ground.name, &barred) })
}

/// Adds the mean flow coefficient of the inlet to a side, from the newest flow sheet of its head in this state.
///
/// # Errors
/// The store's, or a record that does not hold.
pub(super) fn add_coefficient(book: &Book, library: &Library, side: &mut Side) -> Result<(), Failure> {
    let head = side.effective.roles.values().find_map(|held| match &held.answer {
        Answer::Part(part)
            if side.parts.get(&part.tag).is_some_and(|record| record.kind == "cylinder-head") =>
        {
            Some(part.clone())
        }
        _ => None,
    });
    let Some(head) = head else { return Ok(()) };
    for sheet in library.flow_sheets_of(&head, PortSide::Inlet)? {
        let Ok(bench) = Bench::of(book, library, &sheet)? else { continue };
        let Some(pressure) = bench.pressure_pa() else { continue };
        if let Some(input) = bench.bench(pressure).coefficient() {
            side.worked_out.insert(input.means.clone(), input);
            return Ok(());
        }
    }
    Ok(())
}

/// Exhaust over inlet flow of a sheet and every sheet of the other side of the same part in the same state.
///
/// # Errors
/// The store's, or a record that does not hold.
pub(super) fn ratios(book: &Book, library: &Library, own: &Bench) -> Result<Vec<FigureLine>, Failure> {
    let mut lines = Vec::new();
    let Some(pressure) = own.pressure_pa() else { return Ok(lines) };
    let other = match own.sheet.side {
        PortSide::Inlet => PortSide::Exhaust,
        PortSide::Exhaust => PortSide::Inlet,
    };
    let mut sheets = library.flow_sheets_of(&own.sheet.part, other)?;
    sheets.sort_by(|a, b| a.tag.cmp(&b.tag));
    for sheet in sheets {
        let Ok(other) = Bench::of(book, library, &sheet)? else { continue };
        let (a, b) = (own.bench(pressure), other.bench(pressure));
        let (exhaust, inlet) = match own.sheet.side {
            PortSide::Exhaust => (&a, &b),
            PortSide::Inlet => (&b, &a),
        };
        if let Some(Ok(derived)) = derive::exhaust_to_inlet(exhaust, inlet) {
            let mut line = derived::line(library, &derived)?;
            line.title = format!("{}, {} over {}", line.title, exhaust.ground.name, inlet.ground.name);
            lines.push(line);
        }
    }
    Ok(lines)
}

/// A flow sheet laid out with what its readings mean.
///
/// # Errors
/// The store's, or a record that does not hold.
pub(super) fn laid_out(
    book: &Book,
    library: &Library,
    sheet: &FlowSheet,
    asked: &FlowAsked,
) -> Result<FlowSheetAnswer, Failure> {
    let side = FlowSide { part: library.part(&sheet.part.tag)?, sheet: sheet.clone() };
    let conditions = flow_sheet_of(&side, library.kinds());
    let mut answer = FlowSheetAnswer {
        flow: sheet.tag.clone(),
        part: sheet.part.to_string(),
        side: sheet.side.word(),
        port: sheet.port.clone(),
        with_part: sheet.with_part.iter().map(ToString::to_string).collect(),
        bench: sheet.bench.clone(),
        on: sheet.moment().to_string(),
        by: sheet.by.clone(),
        conditions: sheet_files::lines(book, &conditions)?,
        brought_to: None,
        meaning: None,
        no_readings: None,
        ratios: Vec::new(),
        doubts: sheet.doubts.iter().map(|doubt| doubt.says.clone()).collect(),
        pending: Vec::new(),
        commit: library.commit().short(),
        next: match flow_gaps(&side, library.kinds()).first().and_then(|gap| gap.close.first()) {
            Some(close) => close.to_string(),
            None => format!("mulebook diff BASE {}", sheet.tag),
        },
    };
    match Bench::of(book, library, sheet)? {
        Err(why) => answer.no_readings = Some(why),
        Ok(bench) => match asked.to_pa.or_else(|| bench.pressure_pa()) {
            None => answer.no_readings = Some("nobody says its test pressure".to_owned()),
            Some(pressure) => {
                answer.brought_to = Some(pressure_words(library, pressure));
                answer.meaning = Some(meaning(library, &bench.bench(pressure), asked.range)?);
                answer.ratios = ratios(book, library, &bench)?;
            }
        },
    }
    Ok(answer)
}

/// A test pressure in the book's unit.
pub(super) fn pressure_words(library: &Library, pascal: f64) -> String {
    let (unit, from_si) = compare::unit(library, QuantityKind::PressureDifference, "inH2O");
    format!("{:.2} {unit}", pascal * from_si)
}

/// Both sheets of a comparison brought to the base's test pressure.
///
/// # Errors
/// The store's, or a record that does not hold.
pub(super) fn both(
    book: &Book,
    library: &Library,
    sheets: [&FlowSheet; 2],
    answer: &mut FlowCompared,
) -> Result<(), Failure> {
    let [base, test] = sheets;
    let (Ok(base), Ok(test)) = (Bench::of(book, library, base)?, Bench::of(book, library, test)?) else {
        return Ok(());
    };
    let Some(pressure) = base.pressure_pa() else { return Ok(()) };
    answer.brought_to = Some(pressure_words(library, pressure));
    let (base, test) = (base.bench(pressure), test.bench(pressure));
    let by_step = |bench: &FlowBench<'_>| -> BTreeMap<i64, Option<Derived>> {
        bench.at_pressure_shown().into_iter().map(|(lift, outcome)| (step(lift), outcome.ok())).collect()
    };
    let (mut was, mut now) = (by_step(&base), by_step(&test));
    let steps: BTreeSet<i64> = was.keys().chain(now.keys()).copied().collect();
    for at in steps {
        let (a, b) = (was.remove(&at).flatten(), now.remove(&at).flatten());
        let interval = |derived: &Option<Derived>| -> Result<Option<Interval>, Failure> {
            derived.as_ref().map(|derived| Ok(derived::line(library, derived)?.interval)).transpose()
        };
        #[expect(clippy::cast_precision_loss, reason = "micrometres of valve lift are far below 2^53")]
        let lift_mm = (at as f64 * SAME_LIFT_M * 1e6).round() / 1e3;
        answer.brought.push(FlowBrought {
            lift_mm,
            base: interval(&a)?,
            test: interval(&b)?,
            difference: match a.as_ref().zip(b.as_ref()) {
                Some((a, b)) => Some(derived::difference(library, a, b)?),
                None => None,
            },
        });
    }
    if let Some((from, to)) = derive::common_range(&base, &test) {
        answer.derived = derived::lines_of_both(library, &base.over(from, to), &test.over(from, to))?;
    }
    for bench in [&base, &test] {
        answer.bars.extend(meaning(library, bench, None)?.bars);
    }
    Ok(())
}
