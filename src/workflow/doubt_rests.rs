//! Everything that rests on what proved doubtful: builds, pulls, flow sheets, the comparisons that the book sets up, and
//! claims.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::DoubtComparison;
use crate::answer::DoubtRests;
use crate::check;
use crate::check::Side;
use crate::manifest::node::Node;
use crate::record::Session;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gather;
use crate::workflow::names::Named;
use crate::workflow::weigh_pulls;

/// What is doubted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Subject {
    /// An instrument.
    Instrument(String),
    /// A session.
    Session(String),
    /// A figure.
    Figure {
        /// Where it belongs.
        at: String,
        /// Its name there.
        field: String,
    },
}

impl Subject {
    /// As `doubt` is told it, and as what rests on it names it.
    pub(super) fn words(&self) -> String {
        match self {
            Self::Instrument(tag) | Self::Session(tag) => tag.clone(),
            Self::Figure { at, field } => format!("{at} {field}"),
        }
    }

    pub(super) fn sort(&self) -> &'static str {
        match self {
            Self::Instrument(_) => "instrument",
            Self::Session(_) => "session",
            Self::Figure { .. } => "figure",
        }
    }

    /// As `trail` is asked for it.
    pub(super) fn trail(&self) -> String {
        match self {
            Self::Instrument(tag) | Self::Session(tag) => tag.clone(),
            Self::Figure { at, field } => {
                format!("{} {field}", at.split('/').next().unwrap_or(at))
            }
        }
    }

    /// Whether a doubt on a side is this one. A figure's doubt lies on later states too, to which it carries over.
    fn is(&self, of: &str) -> bool {
        match self {
            Self::Figure { at, field } => of.rsplit_once(' ').is_some_and(|(on, name)| {
                let tag = |text: &str| text.split('/').next().unwrap_or(text).to_owned();
                name == field && tag(on) == tag(at)
            }),
            _ => of == self.words(),
        }
    }
}

/// What rests on it.
#[derive(Debug, Default)]
pub(super) struct Resting {
    pub(super) builds: Vec<DoubtRests>,
    pub(super) pulls: Vec<DoubtRests>,
    pub(super) flow: Vec<DoubtRests>,
    pub(super) comparisons: Vec<DoubtComparison>,
    pub(super) claims: Vec<DoubtRests>,
}

/// Looks at every record of the book.
///
/// # Errors
/// A record does not hold.
pub(super) fn resting(book: &Book, library: &Library, subject: &Subject) -> Result<Resting, Failure> {
    let kinds = library.kinds();
    let says = |side: &Side| -> Vec<String> {
        let found = check::doubts_of(side, kinds).into_iter().filter(|doubt| subject.is(&doubt.of));
        found.map(|doubt| doubt.says).collect()
    };
    let mut resting = Resting::default();
    let mut builds: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for name in library.build_names()? {
        let side = gather::side(library, &Named::Build(name.clone()))?;
        let found = says(&side);
        if !found.is_empty() {
            resting.builds.push(DoubtRests { name: name.clone(), says: found.clone() });
        }
        builds.insert(name, found);
    }
    let mut pulls: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for id in library.pull_paths()?.keys() {
        let side = gather::side(library, &Named::Pull(id.clone()))?;
        let found = says(&side);
        if !found.is_empty() {
            resting.pulls.push(DoubtRests { name: id.clone(), says: found.clone() });
            pulls.insert(id.clone(), found);
        }
    }
    resting.flow = flow_sheets(library, subject)?;
    resting.comparisons = comparisons(library, &builds, &pulls)?;
    resting.claims = claims(book, library, &pulls)?;
    Ok(resting)
}

fn flow_sheets(library: &Library, subject: &Subject) -> Result<Vec<DoubtRests>, Failure> {
    let mut found = Vec::new();
    for sheet in library.flow_sheets()? {
        let says: Vec<String> = match subject {
            Subject::Instrument(tag) => {
                let Some(record) = library.instrument(tag)? else { continue };
                let on = record.doubted.iter().filter(|doubt| doubt.stands());
                let by = |doubt: &&crate::record::Doubted| {
                    sheet.bench.as_ref() == Some(tag) && doubt.covers(Some(sheet.moment()))
                };
                let bench = on
                    .clone()
                    .filter(by)
                    .map(|doubt| format!("flowed on {tag}, in doubt: {}", doubt.words()));
                let conditions = sheet.conditions.iter().filter(|(_, figure)| {
                    figure.entries.iter().any(|entry| {
                        let when = entry.moment().or_else(|| Some(sheet.moment().clone()));
                        entry.with.as_ref() == Some(tag)
                            && on.clone().any(|doubt| doubt.covers(when.as_ref()))
                    })
                });
                bench.chain(conditions.map(|(name, _)| format!("{name} was read with {tag}"))).collect()
            }
            Subject::Figure { at, field } if *at == sheet.tag => vec![format!("its {field} is in doubt")],
            Subject::Figure { at, field } if *at == sheet.part.to_string() => {
                vec![format!("{field} of {at}, which it flowed")]
            }
            _ => Vec::new(),
        };
        if !says.is_empty() {
            found.push(DoubtRests { name: sheet.tag.clone(), says });
        }
    }
    Ok(found)
}

/// The comparisons that the book sets up: a build against the one it was written from, a session's first baseline against
/// its last.
fn comparisons(
    library: &Library,
    builds: &BTreeMap<String, Vec<String>>,
    pulls: &BTreeMap<String, Vec<String>>,
) -> Result<Vec<DoubtComparison>, Failure> {
    let mut found = Vec::new();
    let rests = |name: &str| -> BTreeSet<String> {
        let own = builds.get(name).into_iter().flatten();
        let of_pulls = pulls.iter().filter(|(id, _)| is_of(library, id, name)).flat_map(|(_, says)| says);
        own.chain(of_pulls).cloned().collect()
    };
    for name in builds.keys() {
        let Some(from) = library.build(name)?.and_then(|build| build.from) else { continue };
        let (base, test) = (rests(&from), rests(name));
        if base.is_empty() && test.is_empty() {
            continue;
        }
        found.push(DoubtComparison {
            common: base == test,
            set_up: format!("{name} was written from {from}"),
            base: from,
            test: name.clone(),
        });
    }
    for tag in library.tags("sessions")? {
        let Some(session) = library.session(&tag)? else { continue };
        let (first, last) = (baseline(&session, "first-baseline"), baseline(&session, "last-baseline"));
        let hit = |ids: &[String]| -> BTreeSet<String> {
            ids.iter().filter_map(|id| pulls.get(id)).flatten().cloned().collect()
        };
        let (base, test) = (hit(&first), hit(&last));
        if first.is_empty() || last.is_empty() || (base.is_empty() && test.is_empty()) {
            continue;
        }
        found.push(DoubtComparison {
            common: base == test,
            set_up: format!("the baselines of session {tag}"),
            base: first.join(", "),
            test: last.join(", "),
        });
    }
    Ok(found)
}

fn is_of(library: &Library, id: &str, build: &str) -> bool {
    let path = library.pull_path(id).ok().flatten();
    path.is_some_and(|path| path.split('/').nth(1) == Some(build))
}

fn baseline(session: &Session, name: &str) -> Vec<String> {
    let said = session.fields.get(name).map(String::as_str).unwrap_or_default();
    said.split([',', ' ']).map(str::trim).filter(|id| !id.is_empty()).map(str::to_owned).collect()
}

fn claims(
    book: &Book,
    library: &Library,
    pulls: &BTreeMap<String, Vec<String>>,
) -> Result<Vec<DoubtRests>, Failure> {
    let mut found = Vec::new();
    for tag in library.tags("claims")? {
        let Some(root) = library.tree(&format!("claims/{tag}.yaml"))? else { continue };
        let sides = ["base", "test"].into_iter().filter_map(|side| root.get(side));
        let asked: Vec<String> =
            sides.flat_map(Node::items).filter_map(Node::text).map(str::to_owned).collect();
        // A claim may be written before its pulls: what it names then means nothing yet.
        let named = weigh_pulls::named(book, library, &asked).unwrap_or_default();
        let hit: Vec<String> = named.into_iter().filter(|id| pulls.contains_key(id)).collect();
        if !hit.is_empty() {
            found.push(DoubtRests { name: tag, says: vec![format!("it weighs {}", hit.join(", "))] });
        }
    }
    Ok(found)
}
