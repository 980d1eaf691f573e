//! What a claim must hold before it is kept: terms that a weighing can be asked, and names that mean something.

use crate::derive::Basis;
use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::node::Node;
use crate::quantity::QuantityKind;
use crate::quantity::parse_reading;
use crate::record::Claim;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::query;
use crate::workflow::sought::Sought;
use crate::workflow::weigh_pulls;

/// What does not hold of a claim beyond its form, and what is worth knowing.
///
/// # Errors
/// The store's.
pub(super) fn findings(
    book: &Book,
    library: &Library,
    path: &str,
    root: &Node,
    claim: &Claim,
) -> Result<Vec<Finding>, Failure> {
    let terms = &claim.terms;
    let place = |field: &str| {
        let line = root.get(field.split('.').next().unwrap_or(field)).map_or(1, |node| node.line);
        Place::file(path).line(line).field(field)
    };
    let mut found = Vec::new();
    if let Some(subject) = terms.subject.as_deref().filter(|subject| !subject.contains('+'))
        && let Err(failure) = Sought::of(library.kinds(), subject)
    {
        found.extend(failure.findings.into_iter().map(|finding| finding.at(place("subject"))));
    }
    let kind = if terms.metric.is_power() { QuantityKind::Power } else { QuantityKind::Torque };
    for (field, amount) in [("at-least", &terms.at_least), ("within", &terms.within)] {
        let Some(text) = amount else { continue };
        if let Err(error) = parse_reading(text, kind, None) {
            found.push(
                Finding::error("not-an-amount", error.to_string())
                    .at(place(field))
                    .found(format!("`{text}`"))
                    .expected(format!("a {} with its unit", kind.name()))
                    .next("the metric says whether it is a torque or a power"),
            );
        }
    }
    if terms.at_least.is_some() && terms.within.is_some() {
        found.push(
            Finding::error("gain-and-no-difference", "a claim is of a gain or of no difference, not of both")
                .at(place("within"))
                .next("leave `at-least` or `within` out, or make two claims"),
        );
    }
    if let Some(name) = &terms.correction
        && Basis::named(name).is_none()
    {
        found.push(
            Finding::error("unknown-correction", "no correction of this name can be worked out")
                .at(place("correction"))
                .found(format!("`{name}`"))
                .expected(Basis::names()),
        );
    }
    let named = [
        (
            "scope.engine",
            terms.scope.engine.as_deref(),
            library.part_path(terms.scope.engine.as_deref().unwrap_or_default())?,
        ),
        (
            "scope.cell",
            terms.scope.cell.as_deref(),
            match terms.scope.cell.as_deref() {
                Some(cell) => {
                    let at = format!("cells/{cell}.yaml");
                    library.read(&at)?.map(|_| at)
                }
                None => None,
            },
        ),
    ];
    for (field, name, at) in named {
        if let (Some(name), None) = (name, at) {
            found.push(
                Finding::error("reference-missing", "the claim's scope names what is not in the book")
                    .at(place(field))
                    .found(format!("`{name}`"))
                    .next("write it down first, or mend the name"),
            );
        }
    }
    for (field, side) in [("base", &terms.base), ("test", &terms.test)] {
        for name in side {
            found.extend(side_name(book, library, name, place(field))?);
        }
    }
    Ok(found)
}

/// What is wrong with the name of a side. That nothing answers to it yet is no fault: a claim may precede its pulls.
fn side_name(book: &Book, library: &Library, name: &str, place: Place) -> Result<Vec<Finding>, Failure> {
    if query::is_query(name) {
        return Ok(match query::check(library, name) {
            Ok(()) => Vec::new(),
            Err(failure) => failure.findings.into_iter().map(|finding| finding.at(place.clone())).collect(),
        });
    }
    match weigh_pulls::named(book, library, &[name.to_owned()]) {
        Ok(_) => Ok(Vec::new()),
        Err(failure) if failure.findings.iter().all(|finding| finding.code == "not-found") => Ok(vec![
            Finding::note("not-yet-in-the-book", "nothing in the book is called so yet")
                .at(place)
                .found(format!("`{name}`"))
                .next("a claim may be kept before its pulls; it is weighed once they are there"),
        ]),
        Err(failure) => Ok(failure.findings.into_iter().map(|finding| finding.at(place.clone())).collect()),
    }
}
