//! Mark what proved wrong: a figure's entry, an instrument's readings in a time, a session; or settle such a mark.

use crate::answer::DoubtAnswer;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::quantity::QuantityKind;
use crate::quantity::parse_reading;
use crate::record::Course;
use crate::record::Doubted;
use crate::record::Figure;
use crate::record::Holds;
use crate::record::Moment;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::doubt_rests;
use crate::workflow::doubt_rests::Subject;
use crate::workflow::measure;
use crate::workflow::names;
use crate::workflow::names::Named;

/// What is doubted, and why.
#[derive(Debug, Clone, Default)]
pub struct DoubtRequest {
    /// An instrument or session; or what has the figure: a part's state, a build, a pull or a cell.
    pub about: String,
    /// The figure.
    pub figure: Option<String>,
    /// The number of the figure's entry; the one that stands unless said.
    pub entry: Option<usize>,
    /// The first day or time in doubt.
    pub from: Option<String>,
    /// The last.
    pub until: Option<String>,
    /// What is to be added to what was read, with its uncertainty.
    pub offset: Option<String>,
    /// What speaks against it, or what settled it.
    pub because: String,
    /// Settle what was doubted.
    pub clear: bool,
    /// Who says so.
    pub by: Option<String>,
}

/// Marks what proved wrong, or settles a mark, and lists everything that rests on it.
///
/// # Errors
/// Nothing is called so, there is nothing to doubt or to settle, or a day or offset does not read.
pub fn doubt(book: &Book, context: &Context, request: &DoubtRequest) -> Result<DoubtAnswer, Failure> {
    if request.because.trim().is_empty() {
        return Err(Failure::usage(
            Finding::error("reason-missing", "what speaks against it is part of the mark")
                .next("add `--because \"…\"`"),
        ));
    }
    let Some(by) = request.by.clone().or_else(|| context.person.clone()) else {
        return Err(Failure::usage(
            Finding::error("person-missing", "a mark of doubt says who made it")
                .next("add `--by INITIALS`, or set MULEBOOK_PERSON once"),
        ));
    };
    check_days(request)?;
    let mut draft = Draft::open(book, context)?;
    let named = names::any(draft.library(), &request.about)?;
    let before = draft.library().commit();
    let (subject, place) = match (&named, &request.figure) {
        (Named::Instrument(tag), None) => {
            (Subject::Instrument(tag.clone()), Place::list(format!("instruments/{tag}.yaml")))
        }
        (Named::Session(tag), None) => {
            (Subject::Session(tag.clone()), Place::list(format!("sessions/{tag}.yaml")))
        }
        (Named::Instrument(_) | Named::Session(_), Some(_)) => {
            return Err(Failure::usage(
                Finding::error("not-doubted-here", "an instrument or a session is doubted as a whole")
                    .found(request.about.clone())
                    .next("`--from` and `--until` name a time; a figure is doubted where it belongs: `mulebook doubt h2/a chamber-volume`"),
            ));
        }
        (_, None) => {
            return Err(Failure::usage(
                Finding::error("not-doubted-here", "say which figure of it is in doubt")
                    .found(request.about.clone())
                    .expected("an instrument, a session, or a figure: `mulebook doubt h2/a chamber-volume`"),
            ));
        }
        (_, Some(figure)) => of_figure(draft.library(), &named, figure, request)?,
    };
    if let Some(offset) = &request.offset {
        check_offset(offset, place.kind)?;
    }
    let mark = mark(context, request, &by);
    let mut document = draft.document(&place.path)?;
    let steps: Vec<&str> = place.steps.iter().map(String::as_str).collect();
    let mut settled = 0;
    if request.clear {
        let settle = Piece::Line(vec![
            ("because".to_owned(), Piece::Text(request.because.clone())),
            ("by".to_owned(), Piece::Word(by.clone())),
            ("on".to_owned(), Piece::Word(context.today())),
        ]);
        let open: Vec<Vec<String>> = place.open(document.root());
        for path in open {
            let mut path: Vec<&str> = path.iter().map(String::as_str).collect();
            path.push("cleared");
            document.set(&path, &settle)?;
            settled += 1;
        }
        if settled == 0 {
            return Err(Finding::error("nothing-doubted", "nothing of it is in doubt")
                .found(subject.words())
                .next("`mulebook trail` shows what was doubted and settled before")
                .into());
        }
    } else if place.listed {
        document.append(&steps, &mark)?;
    } else {
        document.set(&steps, &mark)?;
    }
    draft.put(&place.path, document.text())?;
    let word = if request.clear { "Clear" } else { "Doubt" };
    // What rests on a mark that is settled is what rested on it before.
    let rests = if request.clear {
        doubt_rests::resting(book, &Library::at(book, before)?, &subject)?
    } else {
        doubt_rests::resting(book, draft.library(), &subject)?
    };
    let message = format!("{word} {}: {}", subject.words(), request.because);
    let written = draft.commit(context, &message)?;
    let mut notes = Vec::new();
    match (&request.offset, request.clear) {
        (_, true) => notes.push("The mark stays visible with what settled it; the figures stand again.".to_owned()),
        (Some(offset), false) => notes.push(format!(
            "{offset} is added to what was read, with its uncertainty; such a figure is called calculated. The bytes stay as they came."
        )),
        (None, false) => notes.push(
            "What was read does not stand until it is measured again or the doubt is cleared; curves stay and say so.".to_owned(),
        ),
    }
    let did = match request.clear {
        true => format!("Cleared {}: {}.", subject.words(), request.because),
        false => format!("Doubted {}: {}.", subject.words(), request.because),
    };
    let next = match (&subject, request.clear) {
        (_, true) => format!("mulebook trail {}", subject.trail()),
        (Subject::Figure { at, field }, false) => {
            format!("mulebook measure {at} {field} \"…\" --with INSTRUMENT   measures it again")
        }
        (_, false) => {
            format!("mulebook doubt {} --clear --because \"…\"   once it is settled", request.about)
        }
    };
    Ok(DoubtAnswer {
        about: subject.words(),
        of: subject.sort(),
        cleared: request.clear,
        did,
        notes,
        builds: rests.builds,
        pulls: rests.pulls,
        flow: rests.flow,
        comparisons: rests.comparisons,
        claims: rests.claims,
        written,
        next,
    })
}

fn check_days(request: &DoubtRequest) -> Result<(), Failure> {
    let mut moments = Vec::new();
    for text in [&request.from, &request.until].into_iter().flatten() {
        let moment = Moment::parse(text).map_err(|expected| {
            Failure::usage(
                Finding::error("not-a-date", "this is no day").found(format!("`{text}`")).expected(expected),
            )
        })?;
        moments.push(moment);
    }
    match moments.as_slice() {
        [from, until] if from.is_after(until) => Err(Failure::usage(
            Finding::error("bad-range", "the last day in doubt lies before the first")
                .found(format!("{from} to {until}")),
        )),
        _ => Ok(()),
    }
}

/// An offset reads as a difference of the figure's kind; of an instrument or session, of any kind that can be measured.
fn check_offset(offset: &str, kind: Option<Option<QuantityKind>>) -> Result<(), Failure> {
    let unread = |why: String| {
        Failure::usage(
            Finding::error("not-a-quantity", "this is no offset").found(format!("`{offset}`")).expected(
                format!("what is to be added, with its unit and uncertainty: -0.4 ±0.1 cc ({why})"),
            ),
        )
    };
    match kind {
        Some(None) => Err(unread("this figure is no quantity".to_owned())),
        Some(Some(kind)) => parse_reading(offset, kind.difference(), None)
            .map(drop)
            .map_err(|error| unread(error.to_string())),
        None => {
            let reads = QuantityKind::ALL.iter().any(|kind| parse_reading(offset, *kind, None).is_ok());
            if reads { Ok(()) } else { Err(unread("no kind of quantity is written so".to_owned())) }
        }
    }
}

fn mark(context: &Context, request: &DoubtRequest, by: &str) -> Piece {
    let mut entries = vec![
        ("because".to_owned(), Piece::Text(request.because.clone())),
        ("by".to_owned(), Piece::Word(by.to_owned())),
        ("on".to_owned(), Piece::Word(context.today())),
    ];
    for (name, text) in [("from", &request.from), ("until", &request.until)] {
        entries.extend(text.iter().map(|text| (name.to_owned(), Piece::Word(text.clone()))));
    }
    entries.extend(request.offset.iter().map(|text| ("offset".to_owned(), Piece::Text(text.clone()))));
    Piece::Line(entries)
}

/// Where a mark is written.
struct Place {
    path: String,
    steps: Vec<String>,
    /// The marks stand in a list of their own.
    listed: bool,
    /// The kind of the figure that is doubted, where it is a figure; none in it where it is no quantity.
    kind: Option<Option<QuantityKind>>,
}

impl Place {
    fn list(path: String) -> Self {
        Self { path, steps: vec!["doubted".to_owned()], listed: true, kind: None }
    }

    /// The paths of the marks there that nobody has settled.
    fn open(&self, root: &crate::manifest::node::Node) -> Vec<Vec<String>> {
        let steps: Vec<&str> = self.steps.iter().map(String::as_str).collect();
        let Some(node) = root.at(&steps).filter(|node| !node.is_null()) else { return Vec::new() };
        if !self.listed {
            return if node.get("cleared").is_none() { vec![self.steps.clone()] } else { Vec::new() };
        }
        let open = node.items().iter().enumerate().filter(|(_, item)| item.get("cleared").is_none());
        open.map(|(index, _)| {
            let mut path = self.steps.clone();
            path.push(index.to_string());
            path
        })
        .collect()
    }
}

/// The entry of a figure that is doubted: the one that is named, else the one that stands; of a mark to be settled, the
/// newest that is in doubt.
fn of_figure(
    library: &Library,
    named: &Named,
    field: &str,
    request: &DoubtRequest,
) -> Result<(Subject, Place), Failure> {
    if request.from.is_some() || request.until.is_some() {
        return Err(Failure::usage(
            Finding::error("not-doubted-here", "an entry of a figure is doubted whole").next(
                "`--from` and `--until` go with an instrument or a session; `--entry N` names an older entry",
            ),
        ));
    }
    let (path, mut steps, place) = measure::place_of(library, named, field)?;
    let name = steps.last().cloned().unwrap_or_default();
    let figure = figure_at(library, named, &place, &steps)?;
    if figure.is_empty() {
        return Err(Finding::error(
            "nothing-doubted",
            "nothing is entered for this figure, so there is nothing to doubt",
        )
        .found(format!("{} {name}", place.of()))
        .into());
    }
    let course = place.course();
    let number = match (request.entry, request.clear) {
        (Some(number), _) if number >= 1 && number <= figure.entries.len() => number,
        (Some(number), _) => {
            return Err(Failure::usage(
                Finding::error("no-such-entry", "the figure has no entry of this number")
                    .found(number.to_string())
                    .expected(format!("1 to {}", figure.entries.len())),
            ));
        }
        (None, true) => figure.entries.iter().rposition(|entry| entry.is_doubted()).map_or(0, |at| at + 1),
        (None, false) => figure.standing(course, None).map_or(0, |standing| standing.number),
    };
    let Some(entry) = number.checked_sub(1).and_then(|at| figure.entries.get(at)) else {
        let what = if request.clear { "nothing of it is in doubt" } else { "none of its entries stands" };
        return Err(Finding::error("nothing-doubted", what).found(format!("{} {name}", place.of())).into());
    };
    if !request.clear && entry.is_doubted() {
        return Err(Finding::error("doubted-already", "this entry is in doubt already")
            .found(entry.doubted.as_ref().map(Doubted::words).unwrap_or_default())
            .next("`--clear` settles it")
            .into());
    }
    if figure.entries.len() > 1 || place.is_list(library, &path, &steps)? {
        steps.push((number - 1).to_string());
    }
    steps.push("doubted".to_owned());
    let kind = place.spec().map(|spec| match &spec.holds {
        Holds::Quantity { kind, .. } => Some(*kind),
        _ => None,
    });
    let at = match named {
        Named::Part { tag, .. } => place.of_part(tag),
        Named::Build(name) | Named::Pull(name) | Named::Cell(name) | Named::Flow(name) => name.clone(),
        Named::Session(tag) | Named::Instrument(tag) | Named::Claim(tag) => tag.clone(),
    };
    Ok((
        Subject::Figure { at, field: place.name().to_owned() },
        Place { path, steps, listed: false, kind: Some(kind.flatten()) },
    ))
}

/// The figure as its manifest has it.
fn figure_at(
    library: &Library,
    named: &Named,
    place: &measure::Where,
    steps: &[String],
) -> Result<Figure, Failure> {
    let found = match named {
        Named::Part { tag, .. } => library.part(tag)?.and_then(|part| {
            let state = steps.get(1).and_then(|at| at.parse::<usize>().ok())?;
            part.states.get(state)?.figures.get(place.name()).cloned()
        }),
        Named::Cell(tag) => library.cell(tag)?.and_then(|cell| cell.figures.get(place.name()).cloned()),
        Named::Flow(tag) => library.flow(tag)?.and_then(|flow| flow.conditions.get(place.name()).cloned()),
        Named::Build(_) | Named::Pull(_) | Named::Session(_) | Named::Instrument(_) | Named::Claim(_) => {
            let in_pull = steps.first().is_some_and(|first| first == "conditions");
            match (named, in_pull) {
                (Named::Pull(id), true) => {
                    library.pull(id)?.and_then(|pull| pull.conditions.get(place.name()).cloned())
                }
                _ => {
                    let name = place.of().trim_start_matches("build ").to_owned();
                    library.build(&name)?.and_then(|build| match steps {
                        [_, pair, fit] => build.fits.get(pair)?.get(fit).cloned(),
                        _ => build.settings.get(place.name()).cloned(),
                    })
                }
            }
        }
    };
    Ok(found.unwrap_or_default())
}

impl measure::Where {
    fn course(&self) -> Course {
        self.spec().map_or(Course::Fixed, |spec| spec.course)
    }

    /// Whether the figure's entries stand in a list.
    fn is_list(&self, library: &Library, path: &str, steps: &[String]) -> Result<bool, Failure> {
        let root = library.tree(path)?;
        let steps: Vec<&str> = steps.iter().map(String::as_str).collect();
        Ok(root.as_ref().and_then(|root| root.at(&steps)).is_some_and(|node| !node.items().is_empty()))
    }

    /// A part with the state that the figure stands in.
    fn of_part(&self, tag: &str) -> String {
        if self.of().contains('/') { self.of().to_owned() } else { tag.to_owned() }
    }
}
