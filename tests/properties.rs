//! The rules of the records, held on records made at random: how a figure resolves, what work voids, what a comparison
//! refuses, what was known on a date, and that an edit leaves the rest of a manifest alone.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "git is the judge of what history alone gives"
)]

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Arc;
use std::sync::OnceLock;

use mulebook::answer::SheetAnswer;
use mulebook::check::Gap;
use mulebook::check::GapSide;
use mulebook::check::Group;
use mulebook::check::Side;
use mulebook::check::documented;
use mulebook::check::gaps_of;
use mulebook::manifest::Schemas;
use mulebook::manifest::emit::Piece;
use mulebook::manifest::splice::Document;
use mulebook::manifest::yaml;
use mulebook::quantity::parse_reading;
use mulebook::record::Answer;
use mulebook::record::Build;
use mulebook::record::Correcting;
use mulebook::record::Course;
use mulebook::record::Demand;
use mulebook::record::Doubted;
use mulebook::record::Effective;
use mulebook::record::Entry;
use mulebook::record::FieldSpec;
use mulebook::record::Figure;
use mulebook::record::Holds;
use mulebook::record::Kinds;
use mulebook::record::Known;
use mulebook::record::Moment;
use mulebook::record::Outcome;
use mulebook::record::Part;
use mulebook::record::PartState;
use mulebook::record::Pull;
use mulebook::record::Resolved;
use mulebook::record::State;
use mulebook::record::Value;
use mulebook::record::Whereabouts;
use mulebook::record::Work;
use mulebook::render;
use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::store::LockHolder;
use mulebook::store::Time;
use mulebook::workflow::Context;
use mulebook::workflow::Library;
use mulebook::workflow::demo;
use mulebook::workflow::input::FigureInput;
use mulebook::workflow::measure;
use mulebook::workflow::sheet;
use mulebook::workflow::sheet::Laid;
use mulebook::workflow::sheet::SheetRequest;
use proptest::prelude::*;

fn kinds() -> Kinds {
    Schemas::load(&[]).expect("the shipped schemas hold").kinds().as_ref().clone()
}

/// A day of 2026, by its number from 0.
fn day(number: u32) -> Moment {
    let (month, day) = (number / 28 % 12 + 1, number % 28 + 1);
    Moment::parse(&format!("2026-{month:02}-{day:02}")).expect("a day that exists")
}

fn measured(text: &str, on: u32) -> Entry {
    let mut entry = Entry::new(Known::Measured(Value::Text(text.to_owned())));
    entry.with = Some("gauge-1".to_owned());
    entry.by = Some("mk".to_owned());
    entry.taken = Some(day(on));
    entry
}

fn state(letter: &str, since: u32, ops: &[&str]) -> State {
    State {
        letter: letter.to_owned(),
        since: Some(day(since)),
        how: None,
        work: ops
            .iter()
            .map(|op| Work { op: (*op).to_owned(), details: BTreeMap::new(), by: None, on: None, note: None })
            .collect(),
        figures: BTreeMap::new(),
        line: 1,
    }
}

fn part(tag: &str, kind: &str, states: Vec<State>) -> Part {
    Part {
        tag: tag.to_owned(),
        kind: kind.to_owned(),
        name: None,
        serial: None,
        batch: None,
        whereabouts: Whereabouts::Here,
        never: Vec::new(),
        cylinders: None,
        states,
        corrected: Vec::new(),
        note: None,
    }
}

fn number_of(figure: &Figure, course: Course, when: u32) -> Option<usize> {
    figure.standing(course, Some(&day(when))).map(|standing| standing.number)
}

/// Entries by day, some doubted, some corrected by a later one.
fn figures() -> impl Strategy<Value = Figure> {
    prop::collection::vec(
        (0_u32..300, prop::bool::weighted(0.2), prop::option::weighted(0.3, 0_usize..8)),
        1..8,
    )
    .prop_map(|entries| Figure {
        entries: entries
            .into_iter()
            .enumerate()
            .map(|(index, (on, doubted, corrects))| {
                let mut entry = measured(&format!("{index}"), on);
                entry.doubted =
                    doubted.then(|| Doubted { because: "plate leaked".to_owned(), ..Doubted::default() });
                entry.corrects = corrects.filter(|corrects| *corrects >= 1 && *corrects <= index);
                entry
            })
            .collect(),
    })
}

proptest! {
    /// A fixed figure, taken whenever, documents all pulls of its state alike, and says which it was taken after.
    #[test]
    fn a_fixed_figure_stands_for_every_pull_of_its_state(figure in figures(), a in 0_u32..300, b in 0_u32..300) {
        prop_assert_eq!(number_of(&figure, Course::Fixed, a), number_of(&figure, Course::Fixed, b));
        if let Some(standing) = figure.standing(Course::Fixed, Some(&day(a))) {
            let taken = standing.entry.taken.clone().expect("every entry here is dated");
            prop_assert_eq!(standing.afterwards, taken.is_after(&day(a)));
        }
    }

    /// A drifting figure: no entry taken after the pull stands while one before it could, and of those before, the
    /// nearest. A later entry changes nothing for a pull that has one before it.
    #[test]
    fn a_drifting_figure_taken_later_never_replaces_an_earlier_one(figure in figures(), pull in 0_u32..300, more in 1_u32..30) {
        let when = day(pull);
        let before = figure.standing(Course::Drifting, Some(&when));
        let eligible: Vec<&Entry> = figure.entries.iter().enumerate().filter(|(index, entry)| {
            entry.doubted.is_none() && !figure.entries.iter().any(|other| other.corrects == Some(index + 1) && other.doubted.is_none())
        }).map(|(_, entry)| entry).collect();
        let earlier: Vec<Moment> = eligible.iter().filter_map(|entry| entry.taken.clone()).filter(|taken| !taken.is_after(&when)).collect();
        match &before {
            None => prop_assert!(eligible.is_empty()),
            Some(standing) if earlier.is_empty() => prop_assert!(standing.afterwards),
            Some(standing) => {
                prop_assert!(!standing.afterwards);
                let taken = standing.entry.taken.clone().expect("dated");
                prop_assert!(!earlier.iter().any(|other| other.is_after(&taken)), "a nearer one was passed over");
                let mut grown = figure.clone();
                grown.entries.push(measured("later", pull + more));
                prop_assert_eq!(grown.standing(Course::Drifting, Some(&when)).map(|s| s.number), Some(standing.number));
            }
        }
    }

    /// What was corrected or doubted never stands, at no time and for no course.
    #[test]
    fn a_corrected_or_doubted_entry_never_stands(figure in figures(), when in 0_u32..300) {
        for course in [Course::Fixed, Course::Drifting] {
            for at in [None, Some(day(when))] {
                if let Some(standing) = figure.standing(course, at.as_ref()) {
                    prop_assert!(standing.entry.doubted.is_none());
                    let corrected = figure.entries.iter().any(|other| other.corrects == Some(standing.number) && other.doubted.is_none());
                    prop_assert!(!corrected);
                }
            }
        }
    }
}

/// A part of a random kind with states opened by random work of that kind, figures entered in random states.
#[derive(Debug, Clone)]
struct Worked {
    kind: String,
    ops: Vec<Vec<prop::sample::Index>>,
    entered: Vec<(prop::sample::Index, prop::sample::Index)>,
}

fn worked() -> impl Strategy<Value = Worked> {
    let with_work: Vec<String> = kinds()
        .parts
        .values()
        .filter(|kind| !kind.work.is_empty() && !kind.figures.is_empty())
        .map(|kind| kind.name.clone())
        .collect();
    assert!(with_work.len() > 5);
    (
        prop::sample::select(with_work),
        prop::collection::vec(prop::collection::vec(any::<prop::sample::Index>(), 1..3), 1..4),
        prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>()), 0..40),
    )
        .prop_map(|(kind, ops, entered)| Worked { kind, ops, entered })
}

impl Worked {
    fn part(&self, kinds: &Kinds) -> Part {
        let kind = kinds.part(&self.kind).expect("a shipped kind");
        let mut states = vec![state("a", 0, &[])];
        for (number, ops) in (1_u8..).zip(&self.ops) {
            let ops: Vec<&str> = ops.iter().map(|op| op.get(&kind.work).op.as_str()).collect();
            states.push(state(&char::from(b'a' + number).to_string(), u32::from(number) * 10, &ops));
        }
        for (at, field) in &self.entered {
            let at = at.index(states.len());
            let on = u32::try_from(at).expect("few states") * 10 + 1;
            let figures = &mut states[at].figures;
            let field = field.get(&kind.figures).name.clone();
            figures.entry(field).or_default().entries.push(measured(&format!("in state {at}"), on));
        }
        part("p1", &self.kind, states)
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// Work voids exactly what the schema says it can change; what it cannot change carries over; a figure entered in
    /// a state speaks for that state and no earlier one.
    #[test]
    fn work_voids_what_its_schema_says_and_nothing_else(worked in worked()) {
        let kinds = kinds();
        let kind = kinds.part(&worked.kind).expect("a shipped kind");
        let part = worked.part(&kinds);
        for (at, now) in part.states.iter().enumerate() {
            for spec in &kind.figures {
                // The newest state up to this one in which the figure was entered, and the work that came after.
                let from = part.states[..=at].iter().rposition(|state| state.figures.contains_key(&spec.name));
                let found = part.resolve(kind, &now.letter, &spec.name, Some(&day(300)));
                let Some(from) = from else {
                    prop_assert_eq!(found, Resolved::Absent);
                    continue;
                };
                let since = part.states[from + 1..=at].iter().flat_map(|state| &state.work);
                let voids = since.filter(|work| spec.voided_by.contains(&work.op)).count() > 0;
                match found {
                    Resolved::Absent => prop_assert!(false, "{} vanished", spec.name),
                    Resolved::Voided { .. } => prop_assert!(voids, "{} voided by nothing", spec.name),
                    Resolved::Stands { standing, state, carried_over } => {
                        prop_assert!(!voids, "{} stands though work voids it", spec.name);
                        prop_assert_eq!(state, part.states[from].letter.as_str());
                        prop_assert_eq!(carried_over, from < at);
                        let text = format!("in state {from}");
                        prop_assert_eq!(standing.entry.known.value().map(Value::text), Some(text.as_str()));
                    }
                }
            }
        }
    }
}

/// How the demanded things of a side are known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Told {
    Measured,
    Listed,
    Unknown,
    Silent,
}

/// One side, drawn: for each thing that a comparison may ask, how it is told; and which parts fill the roles.
#[derive(Debug, Clone)]
struct Drawn {
    /// Which of three parts of its kind fills a role; none leaves it silent, or says `none`.
    roles: Vec<(u8, Told)>,
    told: Vec<Told>,
    at: u32,
}

fn told() -> impl Strategy<Value = Told> {
    prop_oneof![6 => Just(Told::Measured), 1 => Just(Told::Listed), 1 => Just(Told::Unknown), 1 => Just(Told::Silent)]
}

fn drawn() -> impl Strategy<Value = Drawn> {
    let role = (0_u8..4, told());
    (prop::collection::vec(role, 40), prop::collection::vec(told(), 400), 100_u32..200)
        .prop_map(|(roles, told, at)| Drawn { roles, told, at })
}

/// A value that reads as its field wants it.
fn value(spec: &FieldSpec) -> Value {
    match &spec.holds {
        Holds::Quantity { kind, unit } => {
            let middle = spec.range.map_or(1.0, |(low, high)| f64::midpoint(low, high));
            let text = format!("{:.4} {}", unit.from_si(middle), unit.symbol());
            match parse_reading(&text, *kind, None) {
                Ok(reading) => Value::Quantity(reading),
                Err(_) => Value::Text(text),
            }
        }
        Holds::Choice(choices) => Value::Text(choices[0].clone()),
        Holds::Text => Value::Text("as it is".to_owned()),
    }
}

fn entry(spec: &FieldSpec, told: Told, on: u32) -> Option<Entry> {
    let known = match told {
        Told::Silent => return None,
        Told::Measured => Known::Measured(value(spec)),
        Told::Listed => Known::Listed { value: value(spec), source: "maker's card".to_owned() },
        Told::Unknown => Known::Unknown { because: "nobody wrote it down".to_owned() },
    };
    let mut entry = Entry::new(known);
    if told == Told::Measured {
        entry.with = Some("gauge-1".to_owned());
        entry.by = Some("mk".to_owned());
        entry.taken = Some(day(on));
    }
    Some(entry)
}

/// The parts of the shop: three of every kind, each with its own telling of its figures, the same for both sides.
fn shop(kinds: &Kinds, tellings: &[Told]) -> BTreeMap<String, Arc<Part>> {
    let mut parts = BTreeMap::new();
    let mut telling = tellings.iter().copied().cycle();
    for kind in kinds.parts.values() {
        for number in 0..3 {
            let mut first = state("a", 0, &[]);
            for spec in &kind.figures {
                let how = telling.next().expect("it goes round");
                if let Some(entry) = entry(spec, how, 1) {
                    first.figures.insert(spec.name.clone(), Figure::of(entry));
                }
            }
            let tag = format!("{}-{number}", kind.name);
            let mut part = part(&tag, &kind.name, vec![first]);
            part.batch = Some("B1".to_owned());
            parts.insert(tag, Arc::new(part));
        }
    }
    parts
}

fn side(name: &str, drawn: &Drawn, kinds: &Kinds, shop: &BTreeMap<String, Arc<Part>>, fit_up: u32) -> Side {
    let mut telling = drawn.told.iter().copied().cycle();
    let mut next = || telling.next().expect("it goes round");
    let mut parts = BTreeMap::new();
    for (role, (number, told)) in kinds.roles.iter().zip(&drawn.roles) {
        let kind = role
            .kinds
            .iter()
            .filter(|kind| kinds.part(kind).is_some())
            .nth(usize::from(*number) % role.kinds.len());
        let answer = match (told, kind, number) {
            (Told::Silent, _, _) => continue,
            (Told::Unknown, _, _) => Answer::Unknown("nobody kept it".to_owned()),
            (_, Some(kind), 0..3) => {
                Answer::Part(PartState { tag: format!("{kind}-{number}"), letter: "a".to_owned() })
            }
            _ => Answer::Nothing,
        };
        parts.insert(role.name.clone(), answer);
    }
    let mut settings = BTreeMap::new();
    for spec in &kinds.settings {
        if let Some(entry) = entry(spec, next(), 90) {
            settings.insert(spec.name.clone(), Figure::of(entry));
        }
    }
    let mut fits: BTreeMap<String, BTreeMap<String, Figure>> = BTreeMap::new();
    for fit in &kinds.fits {
        for spec in &fit.fields {
            if let Some(entry) = entry(spec, next(), 90) {
                fits.entry(fit.pair.clone()).or_default().insert(spec.name.clone(), Figure::of(entry));
            }
        }
    }
    let mut conditions = BTreeMap::new();
    for spec in &kinds.conditions {
        if let Some(entry) = entry(spec, next(), drawn.at) {
            conditions.insert(spec.name.clone(), Figure::of(entry));
        }
    }
    let mut run = BTreeMap::new();
    for spec in &kinds.run {
        if next() != Told::Silent {
            run.insert(spec.name.clone(), value(spec).text().to_owned());
        }
    }
    let correction = (next() != Told::Silent).then_some(Correcting::Observed);
    let build = Build {
        name: format!("build of {name}"),
        engine: "mule-1".to_owned(),
        since: day(80),
        by: None,
        from: None,
        parts,
        settings,
        fits,
        refit: false,
        corrected: Vec::new(),
        note: None,
    };
    let pull = Pull {
        id: name.to_owned(),
        build: Some(build.name.clone()),
        session: "s".to_owned(),
        order: 1,
        fit_up: Some(fit_up),
        refit_after: None,
        at: Some(day(drawn.at)),
        by: None,
        outcome: Outcome::Kept,
        changed: BTreeMap::new(),
        conditions,
        run,
        correction,
        raw: Vec::new(),
        ran: None,
        typed: false,
        doubts: Vec::new(),
        corrected: Vec::new(),
        note: None,
    };
    gathered(name, build, pull, shop)
}

/// The side of a pull on a build, from its records.
fn gathered(name: &str, build: Build, pull: Pull, shop: &BTreeMap<String, Arc<Part>>) -> Side {
    Side {
        name: name.to_owned(),
        effective: Effective::of_pull(&pull, Some(&build)),
        build: Some(Arc::new(build)),
        pull: Some(pull),
        session: None,
        cell: None,
        parts: shop.clone(),
        engine: None,
        instruments: BTreeMap::new(),
        channel_means: BTreeMap::new(),
        by_speed: BTreeMap::new(),
        worked_out: BTreeMap::new(),
        asked: mulebook::derive::Asked::default(),
        channels: BTreeSet::new(),
        refit_after: None,
        wear: BTreeMap::new(),
        doubts: mulebook::check::ChannelDoubts::default(),
    }
}

/// A side with another record of its pull or build.
fn again(side: &Side, change: impl FnOnce(&mut Build, &mut Pull)) -> Side {
    let mut build = side.build.as_deref().cloned().expect("these sides have a build");
    let mut pull = side.pull.clone().expect("these sides have a pull");
    change(&mut build, &mut pull);
    gathered(&side.name, build, pull, &side.parts)
}

fn gaps(base: &Side, test: &Side, kinds: &Kinds) -> Vec<Gap> {
    documented(base, test, kinds, None).err().map(|refusal| refusal.gaps).unwrap_or_default()
}

fn turned(side: GapSide) -> GapSide {
    match side {
        GapSide::Base => GapSide::Test,
        GapSide::Test => GapSide::Base,
        GapSide::Both => GapSide::Both,
    }
}

/// Documents a gap as unknown on a side, where it belongs: in the part, the build or the pull.
fn answer_unknown(side: &Side, gap: &Gap, kinds: &Kinds) -> Side {
    let because = "nobody wrote it down".to_owned();
    let unknown = || Figure::of(Entry::new(Known::Unknown { because: because.clone() }));
    let name = gap.item.name.clone();
    match gap.item.group {
        Group::Role => again(side, |build, _| {
            build.parts.insert(name, Answer::Unknown(because.clone()));
        }),
        Group::Setting => again(side, |build, _| {
            build.settings.insert(name, unknown());
        }),
        Group::Fit => again(side, |build, _| {
            let (pair, fit) = name.split_once('.').expect("a fit is pair.name");
            build.fits.entry(pair.to_owned()).or_default().insert(fit.to_owned(), unknown());
        }),
        Group::Condition => again(side, |_, pull| {
            pull.conditions.insert(name, unknown());
        }),
        Group::Run => again(side, |_, pull| {
            pull.run.insert(name, format!("unknown: {because}"));
        }),
        Group::Correction => {
            again(side, |_, pull| pull.correction = Some(Correcting::Unknown(because.clone())))
        }
        Group::Figure => {
            let role = gap.item.role.clone().expect("a figure belongs to a role");
            let mut side = side.clone();
            let tag = side
                .effective
                .roles
                .iter()
                .find_map(|(own, held)| match &held.answer {
                    Answer::Part(part) => {
                        let kind = side.parts.get(&part.tag).and_then(|record| kinds.part(&record.kind))?;
                        (*own == role || kind.answers.contains(&role)).then(|| part.tag.clone())
                    }
                    _ => None,
                })
                .expect("a part fills the role");
            let part = Arc::make_mut(side.parts.get_mut(&tag).expect("the shop has it"));
            part.states[0].figures.insert(name, unknown());
            side
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Whichever side is called the base, the same things are missing, on the other side of the page.
    #[test]
    fn gaps_are_the_same_both_ways_round(a in drawn(), b in drawn(), tellings in prop::collection::vec(told(), 300)) {
        let kinds = kinds();
        let shop = shop(&kinds, &tellings);
        let (base, test) = (side("a", &a, &kinds, &shop, 1), side("b", &b, &kinds, &shop, 1));
        let mut one: Vec<_> = gaps(&base, &test, &kinds).into_iter().map(|gap| (gap.item, gap.side)).collect();
        let mut other: Vec<_> = gaps(&test, &base, &kinds).into_iter().map(|gap| (gap.item, turned(gap.side))).collect();
        one.sort();
        other.sort();
        prop_assert_eq!(one, other);
    }

    /// No pair passes while something that every comparison asks for, and that could differ, is silent on a side.
    #[test]
    fn nothing_undocumented_that_could_differ_passes(a in drawn(), b in drawn(), tellings in prop::collection::vec(told(), 300)) {
        let kinds = kinds();
        let shop = shop(&kinds, &tellings);
        let (base, test) = (side("a", &a, &kinds, &shop, 1), side("b", &b, &kinds, &shop, 1));
        let found = gaps(&base, &test, &kinds);
        let is_gap = |group: Group, name: &str| found.iter().any(|gap| gap.item.group == group && gap.item.name == name);
        let builds = [base.build.as_ref().expect("a build"), test.build.as_ref().expect("a build")];
        let pulls = [base.pull.as_ref().expect("a pull"), test.pull.as_ref().expect("a pull")];
        for spec in kinds.settings.iter().filter(|spec| spec.demand == Demand::Always) {
            if builds.iter().any(|build| !build.settings.contains_key(&spec.name)) {
                prop_assert!(is_gap(Group::Setting, &spec.name), "{} is silent and passes", spec.name);
            }
        }
        for spec in kinds.conditions.iter().filter(|spec| spec.demand == Demand::Always && spec.answered_by.is_empty()) {
            if pulls.iter().any(|pull| !pull.conditions.contains_key(&spec.name)) {
                prop_assert!(is_gap(Group::Condition, &spec.name), "{} is silent and passes", spec.name);
            }
        }
        for spec in kinds.run.iter().filter(|spec| spec.demand == Demand::Always) {
            if pulls.iter().any(|pull| !pull.run.contains_key(&spec.name)) {
                prop_assert!(is_gap(Group::Run, &spec.name), "{} is silent and passes", spec.name);
            }
        }
        if pulls.iter().any(|pull| pull.correction.is_none()) {
            prop_assert!(is_gap(Group::Correction, "correction"));
        }
        let within = |build: &Build, role: &str| build.parts.values().any(|answer| match answer {
            Answer::Part(part) => shop.get(&part.tag).and_then(|part| kinds.part(&part.kind)).is_some_and(|kind| kind.answers.iter().any(|own| own == role)),
            _ => false,
        });
        for role in kinds.roles.iter().filter(|role| role.demand == Demand::Always) {
            if builds.iter().any(|build| !build.parts.contains_key(&role.name) && !within(build, &role.name)) {
                prop_assert!(is_gap(Group::Role, &role.name), "{} is silent and passes", role.name);
            }
        }
        // Figures of different parts in one role.
        for role in &kinds.roles {
            let parts: Vec<&PartState> = builds.iter().filter_map(|build| match build.parts.get(&role.name) {
                Some(Answer::Part(part)) => Some(part),
                _ => None,
            }).collect();
            if parts.len() == 2 && parts[0] != parts[1] {
                for part in parts {
                    let record = &shop[&part.tag];
                    let kind = kinds.part(&record.kind).expect("a shipped kind");
                    for spec in kind.figures.iter().filter(|spec| spec.demand == Demand::Always) {
                        if !record.states[0].figures.contains_key(&spec.name) {
                            let gap = found.iter().any(|gap| gap.item.group == Group::Figure && gap.item.name == spec.name);
                            prop_assert!(gap, "{}.{} is silent and passes", role.name, spec.name);
                        }
                    }
                }
            }
        }
    }

    /// Two pulls of one build and one fit-up with the same parts: nothing that stands in the build refuses, whatever
    /// is missing there; what is missing is listed as common. What belongs to a pull still does.
    #[test]
    fn the_same_parts_in_the_same_state_refuse_nothing(a in drawn(), tellings in prop::collection::vec(told(), 300)) {
        let kinds = kinds();
        let shop = shop(&kinds, &tellings);
        let base = side("a", &a, &kinds, &shop, 1);
        let mut full = base.pull.clone().expect("a pull");
        for spec in &kinds.conditions {
            full.conditions.insert(spec.name.clone(), Figure::of(entry(spec, Told::Measured, a.at).expect("told")));
        }
        for spec in &kinds.run {
            full.run.insert(spec.name.clone(), value(spec).text().to_owned());
        }
        full.correction = Some(Correcting::Observed);
        let one = again(&base, |_, pull| *pull = full.clone());
        let other = again(&one, |_, pull| pull.id = "b".to_owned());
        // A role nobody says anything about may have had something in it on one of the two (rule 3): silence is no
        // answer even within one build. Drifting figures are never common.
        for gap in gaps(&one, &other, &kinds) {
            let drifts = |spec: Option<&FieldSpec>| spec.is_some_and(|spec| spec.course == Course::Drifting);
            let name = gap.item.name.as_str();
            let may = match gap.item.group {
                Group::Role => !one.effective.roles.contains_key(name),
                Group::Setting => drifts(kinds.setting(name)),
                Group::Figure => kinds.parts.values().any(|kind| drifts(kind.figure(name))),
                Group::Fit => name.split_once('.').is_some_and(|(pair, fit)| {
                    kinds.fit(pair).is_some_and(|spec| drifts(spec.fields.iter().find(|field| field.name == fit)))
                }),
                _ => false,
            };
            prop_assert!(may, "{} refuses though it cannot differ", gap.item.path());
        }
    }

    /// Answering each gap with "unknown" and a reason closes it, opens no other, and in the end the comparison runs.
    #[test]
    fn unknown_with_a_reason_closes_a_gap(a in drawn(), b in drawn(), tellings in prop::collection::vec(told(), 300)) {
        let kinds = kinds();
        let shop = shop(&kinds, &tellings);
        let (mut base, mut test) = (side("a", &a, &kinds, &shop, 1), side("b", &b, &kinds, &shop, 1));
        for _ in 0..400 {
            let found = gaps(&base, &test, &kinds);
            let Some(gap) = found.first() else { break };
            if matches!(gap.side, GapSide::Base | GapSide::Both) {
                base = answer_unknown(&base, gap, &kinds);
            }
            if matches!(gap.side, GapSide::Test | GapSide::Both) {
                test = answer_unknown(&test, gap, &kinds);
            }
            // The shop is one: what is said of a part is said for both sides.
            let parts: BTreeMap<String, Arc<Part>> = base.parts.iter().map(|(tag, part)| {
                let other = &test.parts[tag];
                let fuller = if part.states[0].figures.len() >= other.states[0].figures.len() { part } else { other };
                (tag.clone(), fuller.clone())
            }).collect();
            base.parts.clone_from(&parts);
            test.parts = parts;
            let left = gaps(&base, &test, &kinds);
            prop_assert!(!left.iter().any(|other| other.item == gap.item), "{} is still a gap ({:?})", gap.item.path(), gap.side);
        }
        let outcome = documented(&base, &test, &kinds, None);
        prop_assert!(outcome.is_ok(), "still refused: {:?}", outcome.err().map(|refusal| refusal.gaps.iter().map(|gap| gap.item.path()).collect::<Vec<_>>()));
    }

    /// What one side alone lacks of what is always asked is exactly what it lacks against itself in another shop.
    #[test]
    fn a_side_with_no_gap_of_its_own_bars_nothing(a in drawn(), tellings in prop::collection::vec(told(), 300)) {
        let kinds = kinds();
        let shop = shop(&kinds, &tellings);
        let base = side("a", &a, &kinds, &shop, 1);
        for gap in gaps_of(&base, &kinds) {
            prop_assert_eq!(gap.side, GapSide::Base);
            prop_assert_eq!(gap.close.len(), 1);
        }
    }
}

/// Text of a manifest with comments, odd spacing and figures in each form, and the paths of its figures.
fn manifests() -> impl Strategy<Value = (String, Vec<Vec<String>>)> {
    let comment = "[a-z#:'\" ]{0,12}";
    let figure = prop_oneof![
        Just("{measured: 86.0 mm, by: mk, taken: 2026-03-03}".to_owned()),
        Just("{listed: \"33.0 mm\",   source: \"seller's: sheet, # 2\"}".to_owned()),
        Just("{unknown: 'nobody knows: {really}'}".to_owned()),
        Just("\n          measured: 48.1 48.0 cc\n          by: mk\n          taken: 2026-03-03".to_owned()),
        Just("\n        - {measured: 1.0 mm, by: mk, taken: 2026-03-03}\n        - {listed: 1.1 mm, source: \"x\"}".to_owned()),
        Just("\n        - measured: 1.0 mm   # first\n          by: mk\n          taken: 2026-03-03".to_owned()),
        Just("".to_owned()),
    ];
    let line = (
        prop::sample::select(vec!["bore", "stroke", "height", "chamber-volume", "deck-height"]),
        figure,
        prop::option::of(comment),
    );
    let state = prop::collection::vec(line, 0..5);
    (prop::collection::vec(state, 1..4), any::<bool>(), prop::option::of("[a-z ]{0,20}")).prop_map(
        |(states, windows, head)| {
            let mut text = String::new();
            if let Some(head) = head {
                text.push_str(&format!("# {head}\n"));
            }
            text.push_str(
                "part: h2     # é, the red one\nkind: cylinder-head\nserial: \"0417\"\n\nstates:\n",
            );
            let mut paths = Vec::new();
            for (number, lines) in states.iter().enumerate() {
                text.push_str(&format!("  - state: s{number}\n    since: 2026-03-02   # spring\n"));
                text.push_str(if lines.is_empty() { "    figures: {}\n" } else { "    figures:\n" });
                let mut seen = BTreeSet::new();
                for (name, figure, comment) in lines.iter().filter(|(name, _, _)| seen.insert(*name)) {
                    let comment = comment
                        .as_ref()
                        .filter(|_| !figure.contains('\n'))
                        .map(|comment| format!("   # {comment}"))
                        .unwrap_or_default();
                    text.push_str(&format!("      {name}: {figure}{comment}\n"));
                    paths.push(vec![
                        "states".to_owned(),
                        number.to_string(),
                        "figures".to_owned(),
                        (*name).to_owned(),
                    ]);
                }
            }
            text.push_str("\n# the end\nnote: \"x\"\n");
            (if windows { text.replace('\n', "\r\n") } else { text }, paths)
        },
    )
}

fn is_subsequence(short: &[&str], long: &[&str]) -> bool {
    let mut rest = long.iter();
    short.iter().all(|line| rest.any(|other| other == line))
}

proptest! {
    /// Entering figures one after another: every comment survives, the text reads back as exactly what was meant, and
    /// nothing but the edited figure changed.
    #[test]
    fn edits_of_manifests_survive((text, paths) in manifests(), edits in prop::collection::vec((any::<prop::sample::Index>(), 0_u8..3, "[a-z ':#,{}\\[\\]-]{1,16}"), 1..6)) {
        let mut document = Document::read("h2.yaml", text.as_bytes()).map_err(|found| TestCaseError::fail(format!("{found}\n{text}")))?;
        for (which, what, words) in edits {
            let mut path = vec!["states".to_owned(), "0".to_owned(), "figures".to_owned(), "seat-angles".to_owned()];
            if !paths.is_empty() && what != 2 {
                path.clone_from(which.get(&paths));
            }
            let path: Vec<&str> = path.iter().map(String::as_str).collect();
            let piece = Piece::Line(vec![("unknown".to_owned(), Piece::text(&words))]);
            let before = document.clone();
            let had = before.root().at(&path).map(|node| if node.is_null() { 0 } else { node.items().len().max(1) }).unwrap_or(0);
            if what == 0 { document.set(&path, &piece) } else { document.append(&path, &piece) }
                .map_err(|found| TestCaseError::fail(format!("{found}\n{}", before.text())))?;
            let after = yaml::read("h2.yaml", document.text().as_bytes()).map_err(|found| TestCaseError::fail(found.to_string()))?;
            prop_assert!(after.same_data(document.root()));
            let node = after.at(&path).expect("just put");
            let last = node.items().last().unwrap_or(node);
            prop_assert_eq!(last.get("unknown").and_then(|node| node.text()), Some(words.as_str()));
            if what != 0 {
                prop_assert_eq!(node.items().len().max(1), had + 1);
            }
            // Everything else is as it was.
            for other in paths.iter().filter(|other| other.iter().map(String::as_str).ne(path.iter().copied())) {
                let other: Vec<&str> = other.iter().map(String::as_str).collect();
                let same = match (before.root().at(&other), after.at(&other)) {
                    (Some(a), Some(b)) => a.same_data(b),
                    (None, None) => true,
                    _ => false,
                };
                prop_assert!(same, "{:?} changed", other);
            }
            if what != 0 && had == 0 {
                let (short, long): (Vec<&str>, Vec<&str>) = (before.text().lines().collect(), document.text().lines().collect());
                let kept = is_subsequence(&short, &long);
                let opened = before.text().contains("figures: {}") || paths.iter().any(|other| other.iter().map(String::as_str).eq(path.iter().copied()));
                prop_assert!(kept || opened, "a line was lost:\n{}\n--\n{}", before.text(), document.text());
            }
            prop_assert_eq!(document.text().matches("# the end").count(), 1);
            prop_assert!(document.text().contains("# é, the red one"));
            prop_assert_eq!(before.text().contains("\r\n"), document.text().contains("\r\n"));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// What was known on a date that lies behind the newest commit never changes while history is only extended, even
    /// by commits whose clock ran back.
    #[test]
    fn what_was_known_on_a_date_never_changes(times in prop::collection::vec(0_i64..1000, 2..7), asked in prop::collection::vec(-10_i64..1010, 8)) {
        let author = Author { name: "Mara Kessel".to_owned(), email: String::new() };
        let time = |seconds: i64| Time { seconds: 1_700_000_000 + seconds, offset: 0 };
        let folder = tempfile::tempdir().expect("a folder for the test");
        let files = [("book.yaml".to_owned(), b"format: 1\n".to_vec())];
        let book = Book::create(&folder.path().join("book"), &files, &author, time(times[0]), "Begin").expect("a book");
        let mut commits = vec![(times[0], book.head().expect("a commit").commit())];
        let mut answered: BTreeMap<i64, Option<String>> = BTreeMap::new();
        for (number, seconds) in times.iter().enumerate().skip(1) {
            let newest = commits.iter().map(|(seconds, _)| *seconds).max().expect("one at least");
            for end in asked.iter().filter(|end| **end < newest) {
                let known = book.known_on(1_700_000_000 + end).expect("readable").map(|snapshot| snapshot.commit().to_string());
                let before = answered.entry(*end).or_insert_with(|| known.clone());
                prop_assert_eq!(&*before, &known, "known on {} changed", end);
            }
            let who = LockHolder { process: 1, since: "now".to_owned(), command: "test".to_owned() };
            let mut writing = book.write(who).expect("nobody else writes");
            writing.put("note.yaml", format!("number: {number}\n").as_bytes()).expect("a path of a book");
            let commit = writing.commit("Note", &author, time(*seconds)).expect("a commit");
            commits.push((*seconds, commit));
        }
        // By the rule itself: the last commit whose running latest time is not past the date.
        for end in asked {
            let mut latest = i64::MIN;
            let mut expected = None;
            for (seconds, commit) in &commits {
                latest = latest.max(*seconds);
                if latest <= end {
                    expected = Some(commit.to_string());
                }
            }
            let known = book.known_on(1_700_000_000 + end).expect("readable").map(|snapshot| snapshot.commit().to_string());
            prop_assert_eq!(&known, &expected);
            if let Some(before) = answered.get(&end) {
                prop_assert_eq!(before, &known, "known on {} changed", end);
            }
        }
    }
}

/// The demo's book, made once; each test works on a copy.
fn demo_book() -> (tempfile::TempDir, PathBuf) {
    static MADE: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, made) = MADE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder for the test");
        let path = folder.path().join("book");
        demo::demo(&path, &context("2026-06-01T10:00:00+02:00")).expect("the demo is made");
        (folder, path)
    });
    let folder = tempfile::tempdir().expect("a folder for the test");
    let path = folder.path().join("book");
    cloned(made, &path);
    (folder, path)
}

fn context(now: &str) -> Context {
    Context {
        now: chrono::DateTime::parse_from_rfc3339(now).expect("a time"),
        person: Some("mk".to_owned()),
        author: Author { name: "Mara Kessel".to_owned(), email: String::new() },
        process: std::process::id(),
        command: "test".to_owned(),
        progress: Box::new(|_, _, _| {}),
    }
}

/// A clone with nothing of the original but its history.
fn cloned(from: &Path, to: &Path) {
    git(from, &["clone", "-q", "--no-local", &from.display().to_string(), &to.display().to_string()]);
    git(to, &["remote", "remove", "origin"]);
}

fn git(folder: &Path, arguments: &[&str]) {
    let output = Command::new("git")
        .arg("-C")
        .arg(folder)
        .args(arguments)
        .env("GIT_CONFIG_GLOBAL", "/dev/null")
        .env("GIT_CONFIG_SYSTEM", "/dev/null")
        .output()
        .expect("git is installed");
    assert!(output.status.success(), "git {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

fn sheet_of(book: &Book, about: &str) -> SheetAnswer {
    let request = SheetRequest { about: about.to_owned(), step_rpm: 500, ..SheetRequest::default() };
    match sheet::sheet(book, &request).unwrap_or_else(|failure| panic!("{about}: {:#?}", failure.findings)) {
        Laid::Side(answer) => *answer,
        Laid::Flow(_) => panic!("{about} is a flow sheet"),
    }
}

/// A fixed figure measured long after the last pull: the sheets of exactly those pulls say it, marked as measured
/// afterwards, that ran with the part in that state, or in a later one that no work between made it say nothing of.
#[test]
fn a_fixed_figure_taken_afterwards_documents_exactly_the_pulls_in_its_state() {
    let (_folder, path) = demo_book();
    let book = Book::discover(&path).expect("a book");
    let library = Library::at_head(&book).expect("it holds");
    let kind = library.kinds().part("cylinder-head").expect("a kind").clone();
    let head = library.part("h2").expect("readable").expect("the demo has it");
    let work = head.state("b").expect("milled").work.first().expect("by something").op.clone();
    let untold = |field: &&FieldSpec| {
        let quantity = matches!(field.holds, Holds::Quantity { .. });
        let told = head.states.iter().any(|state| state.figures.contains_key(&field.name));
        quantity && !told && field.each.is_none() && field.course == Course::Fixed
    };
    let fields: Vec<&FieldSpec> = kind.figures.iter().filter(untold).collect();
    let voided = fields.iter().find(|field| field.voided_by.contains(&work));
    let spared = fields.iter().find(|field| !field.voided_by.contains(&work));
    let mut looked_at = 0;
    for (field, letter) in [(voided, "a"), (spared, "a"), (voided, "b"), (spared, "b")] {
        let Some(field) = field else { continue };
        let (_folder, path) = demo_book();
        let book = Book::discover(&path).expect("a book");
        let told = FigureInput::measured("7.77");
        let context = context("2026-06-02T10:00:00+02:00");
        measure::measure(&book, &context, &format!("h2/{letter}"), &field.name, &told).expect("entered");
        let library = Library::at_head(&book).expect("it holds");
        for id in library.pull_paths().expect("readable").keys() {
            let pull = library.pull(id).expect("readable").expect("there");
            let build = pull.effective_build().and_then(|build| library.build(build).expect("readable"));
            let effective = Effective::of_pull(&pull, build.as_ref());
            let state = effective.roles.get("cylinder-head").and_then(|held| match &held.answer {
                Answer::Part(part) if part.tag == "h2" => Some(part.letter.clone()),
                _ => None,
            });
            let own = state.as_deref() == Some(letter);
            let carried = letter == "a" && state.as_deref() == Some("b") && !field.voided_by.contains(&work);
            let sheet = sheet_of(&book, id);
            let said = sheet.roles.iter().flat_map(|role| &role.figures).find_map(|line| {
                line.said
                    .as_ref()
                    .filter(|said| said.text.starts_with("7.77") && line.item.ends_with(&field.name))
            });
            assert_eq!(said.is_some(), own || carried, "{id}, {} of h2/{letter}, head {state:?}", field.name);
            if let Some(said) = said {
                assert!(said.afterwards, "{id}: {said:?}");
                assert_eq!(said.carried_over, carried, "{id}: {said:?}");
            }
            looked_at += usize::from(own || carried);
        }
    }
    assert!(looked_at > 0, "no pull ran with this head");
}

/// Every sheet as it was printed at some commit is the sheet that a fresh clone gives at that commit, with no catalog and
/// whatever came after.
#[test]
fn every_sheet_comes_again_from_git_history_alone() {
    let (_folder, path) = demo_book();
    let book = Book::discover(&path).expect("a book");
    let library = Library::at_head(&book).expect("it holds");
    let mut about: Vec<String> = library.pull_paths().expect("readable").keys().cloned().collect();
    about.extend(library.build_names().expect("readable"));
    let edits = [
        ("h2/b", "inlet-throat", "28.0 mm"),
        ("b4", "rev-limit", "8100 rpm"),
        ("h1/a", "height", "135.1 mm"),
    ];
    let mut printed: Vec<(String, String, String)> = Vec::new();
    for (number, (at, field, value)) in edits.into_iter().enumerate() {
        let commit = book.head().expect("a commit").commit().to_string();
        // Each commit shows other sheets, so that all are looked at once.
        for name in about.iter().skip(number).step_by(edits.len()) {
            printed.push((commit.clone(), name.clone(), render::json("sheet", &sheet_of(&book, name))));
        }
        let context = context(&format!("2026-06-0{}T10:00:00+02:00", number + 2));
        measure::measure(&book, &context, at, field, &FigureInput::measured(value)).expect("entered");
    }
    let folder = tempfile::tempdir().expect("a folder for the test");
    let bare = folder.path().join("history.git");
    git(&path, &["clone", "-q", "--bare", "--no-local", ".", &bare.display().to_string()]);
    let fresh = folder.path().join("fresh");
    cloned(&bare, &fresh);
    for (commit, name, then) in printed {
        git(&fresh, &["reset", "-q", "--hard", &commit]);
        let book = Book::discover(&fresh).expect("a book");
        assert_eq!(render::json("sheet", &sheet_of(&book, &name)), then, "{name} at {commit}");
    }
}
