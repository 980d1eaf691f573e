//! The lines of a form by the schema of its record.

use crate::answer::FormLine;
use crate::answer::FormSection;
use crate::answer::Section;
use crate::finding::Finding;
use crate::record::Demand;
use crate::record::FieldSpec;
use crate::record::Holds;
use crate::record::Kinds;
use crate::record::PartKind;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::form::Layout;
use crate::workflow::input;
use crate::workflow::names;
use crate::workflow::names::Named;

/// Rows of a table that a form has room for; more may be keyed under the numbers that follow.
const ROWS: usize = 24;
/// Lines for what is written with its own name.
const WRITE_IN: usize = 8;

/// A line of the record itself: its name, its words on paper, whether the record needs it.
type Own = (&'static str, &'static str, bool);

const PART: &[Own] = &[
    ("tag", "tag painted on it", true),
    ("name", "what people call it", false),
    ("serial", "serial or casting number", false),
    ("batch", "batch", false),
    ("how", "how it came", false),
    ("since", "since which day it is so", false),
    ("from", "listed figures as of part", false),
    ("by", "measured by, initials", false),
    ("taken", "measured on, day or time", false),
    ("with", "instrument of all not said", false),
];
const ENGINE: &[Own] =
    &[("cylinders", "how many cylinders", false), ("never", "roles it never has, by commas", false)];
const BUILD: &[Own] = &[
    ("name", "name of the build", true),
    ("engine", "engine, its tag", true),
    ("from", "same as build, except", false),
    ("as-last", "same as last pull's build except, yes", false),
    ("since", "together since, day", false),
    ("by", "by, initials", false),
    ("taken", "measured on, day or time", false),
    ("with", "instrument of all not said", false),
    ("refit", "same parts off and on again, yes", false),
    ("note", "remark", false),
];
const SESSION: &[Own] = &[
    ("tag", "tag of the session", true),
    ("cell", "cell", true),
    ("as-last", "same as last session, yes", false),
    ("on", "day", false),
    ("by", "by, initials", false),
    ("engine", "engine, its tag", false),
    ("warm-up", "warm-up", false),
    ("between-pulls", "waited for between pulls", false),
    ("with", "instrument of all not said", false),
    ("note", "remark", false),
];
const CELL: &[Own] = &[
    ("tag", "tag of the cell", true),
    ("by", "measured by, initials", false),
    ("taken", "measured on, day or time", false),
    ("with", "instrument of all not said", false),
];
const INSTRUMENT: &[Own] = &[
    ("tag", "tag of the instrument", true),
    ("what", "what it is", true),
    ("serial", "serial number", false),
    ("uncertainty", "QUANTITY: ±LIMIT/reading", false),
    ("uncertainty", "QUANTITY: ±LIMIT/session", false),
    ("uncertainty", "QUANTITY: ±LIMIT/calibration", false),
    ("calibrated", "last calibrated on, day", false),
    ("calibrated-by", "calibrated by", false),
    ("due", "calibration holds until, day", false),
];
const MEASURE: &[Own] = &[
    ("at", "part/state, build, pull, sheet", true),
    ("by", "measured by, initials", false),
    ("taken", "measured on, day or time", false),
    ("with", "instrument of all not said", false),
];
const REWORK: &[Own] = &[
    ("part", "part, its tag", true),
    ("work", "work done", true),
    ("on", "day", false),
    ("by", "by, initials", false),
    ("state", "letter of the new state", false),
    ("note", "remark", false),
];
const PULL: &[Own] = &[
    ("session", "session", false),
    ("number", "number of the pull", false),
    ("build", "build", false),
    ("as-last", "as the last pull, yes", false),
    ("at", "run at, time", false),
    ("by", "by, initials", false),
    ("file", "raw file", false),
    ("file", "photo or second file", false),
    ("file", "photo or third file", false),
    ("derived-from", "file it was exported from", false),
    ("segment", "segment of the file", false),
    ("columns", "columns record", false),
    ("read", "answer about the file", false),
    ("correction", "correction in the file", false),
    ("set-aside", "does not count, why", false),
    ("skipped", "numbers without a pull, why", false),
    ("refit", "parts off and on again, yes", false),
    ("with", "instrument of all not said", false),
    ("note", "remark", false),
];
const FLOW: &[Own] = &[
    ("part", "part/state on the bench", true),
    ("with-part", "part in front of it", false),
    ("with-part", "part behind it", false),
    ("port", "port: inlet:2 or exhaust:1", true),
    ("port", "second port, COLUMN:SIDE:N", false),
    ("name", "tag of the sheet", false),
    ("bench", "flow bench", false),
    ("as-last", "same as last sheet, yes", false),
    ("on", "day or time", false),
    ("by", "by, initials", false),
    ("file", "raw file", false),
    ("file", "photo or second file", false),
    ("derived-from", "file it was exported from", false),
    ("unit", "unit, COLUMN: UNIT", false),
    ("unit", "unit, COLUMN: UNIT", false),
    ("columns", "columns record", false),
    ("read", "answer about the file", false),
    ("with", "instrument of all not said", false),
    ("note", "remark", false),
];

/// The kinds that are not parts.
const RECORDS: [&str; 8] = ["build", "session", "cell", "instrument", "pull", "flow", "measure", "rework"];

/// The form of a kind; `about` is what is measured or worked on, which says which lines there are.
///
/// # Errors
/// No schema is called so, or what it is about is not in the book.
pub(super) fn layout(library: &Library, kind: &str, about: Option<&str>) -> Result<Layout, Failure> {
    let kinds = library.kinds();
    let version = |name: &str| kinds.versions.get(name).copied().unwrap_or(1);
    let own = |own: &[Own]| section(Section::About, "About", own.iter().map(plain).collect());
    Ok(match kind {
        "build" => {
            let sections = [own(BUILD), roles(kinds), settings(library), fits(library)];
            Layout::new(kind, "Build", version(kind), sections.into())
        }
        "session" => {
            let sections = [own(SESSION), figures(library, "Figures", &kinds.session)];
            Layout::new(kind, "Session", version(kind), sections.into())
        }
        "cell" => {
            let fields = write_in(Section::Fields, "Further fields, NAME=VALUE", "field");
            let sections = [own(CELL), figures(library, "Figures", &kinds.cell), fields];
            Layout::new(kind, "Test cell", version(kind), sections.into())
        }
        "instrument" => Layout::new(kind, "Instrument", version(kind), vec![own(INSTRUMENT)]),
        "pull" => {
            let run = fields(library, Section::Run, "How it was run", &kinds.run);
            let conditions = fields(library, Section::Conditions, "Conditions", &kinds.conditions);
            let changed =
                write_in(Section::Changed, "Changed by hand against the build, NAME=VALUE", "changed");
            let table = table("Table, if there is no file: first what stands over the columns");
            Layout::new(kind, "Pull", version(kind), vec![own(PULL), run, conditions, changed, table])
        }
        "flow" => {
            let conditions = fields(library, Section::Conditions, "Conditions", &kinds.flow);
            let table = table("Table, if there is no file: first what stands over the columns");
            Layout::new(kind, "Flow sheet", version(kind), vec![own(FLOW), conditions, table])
        }
        "measure" => measure(library, about, own(MEASURE))?,
        "rework" => rework(library, about)?,
        _ => {
            let Some(spec) = kinds.part(kind) else {
                let known = RECORDS.iter().copied().chain(kinds.parts.keys().map(String::as_str));
                return Err(Failure::usage(
                    Finding::error("unknown-kind", "there is no form of this kind")
                        .found(format!("`{kind}`"))
                        .expected(known.collect::<Vec<_>>().join(", ")),
                ));
            };
            let mut about: Vec<FormLine> = PART.iter().map(plain).collect();
            if spec.engine {
                about.extend(ENGINE.iter().map(plain));
            }
            let about = section(Section::About, "About", about);
            let sections = vec![about, figures(library, "Figures", &spec.figures), open(spec)];
            Layout::new(kind, &spec.title, spec.version, sections)
        }
    })
}

/// What a kind that takes further figures has room for.
fn open(spec: &PartKind) -> FormSection {
    if spec.open {
        write_in(Section::Fields, "Further figures, NAME=VALUE", "figure")
    } else {
        section(Section::Fields, "", Vec::new())
    }
}

/// The form for figures of a record that is in the book.
fn measure(library: &Library, about: Option<&str>, own: FormSection) -> Result<Layout, Failure> {
    let kinds = library.kinds();
    let version = |name: &str| kinds.versions.get(name).copied().unwrap_or(1);
    let about = named(library, about, "measure h2/b")?;
    let laid = |kind: &str, title: String, schema: u32, sections: Vec<FormSection>| {
        let mut all = vec![own];
        all.extend(sections);
        Ok(Layout::new(&format!("measure-{kind}"), &title, schema, all))
    };
    match &about {
        Named::Part { tag, .. } => {
            let part = library.part(tag)?.ok_or(names::no_part(library, tag)?)?;
            let Some(spec) = kinds.part(&part.kind) else {
                return Err(Finding::error("unknown-kind", "no schema describes this kind of part")
                    .found(part.kind)
                    .into());
            };
            let sections = vec![figures(library, "Figures", &spec.figures), open(spec)];
            let title = format!("Measurements of a {}", spec.title.to_lowercase());
            laid(&spec.name, title, spec.version, sections)
        }
        Named::Build(_) => {
            let sections = vec![settings(library), fits(library)];
            laid("build", "Measurements of a build".to_owned(), version("build"), sections)
        }
        Named::Pull(_) => {
            let sections = vec![fields(library, Section::Conditions, "Conditions", &kinds.conditions)];
            laid("pull", "Measurements of a pull".to_owned(), version("pull"), sections)
        }
        Named::Flow(_) => {
            let sections = vec![fields(library, Section::Conditions, "Conditions", &kinds.flow)];
            laid("flow", "Measurements of a flow sheet".to_owned(), version("flow"), sections)
        }
        Named::Cell(_) => {
            let sections = vec![figures(library, "Figures", &kinds.cell)];
            laid("cell", "Measurements of a cell".to_owned(), version("cell"), sections)
        }
        Named::Session(tag) | Named::Instrument(tag) | Named::Claim(tag) => Err(Failure::usage(
            Finding::error(
                "not-measured-here",
                "figures belong to a part's state, a build, a pull, a flow sheet or a cell",
            )
            .found(format!("`{tag}`")),
        )),
    }
}

/// The form for work on a part that is in the book.
fn rework(library: &Library, about: Option<&str>) -> Result<Layout, Failure> {
    let Named::Part { tag, .. } = named(library, about, "rework h2")? else {
        return Err(Failure::usage(
            Finding::error("not-a-part", "work is done on a part")
                .found(format!("`{}`", about.unwrap_or_default())),
        ));
    };
    let part = library.part(&tag)?.ok_or(names::no_part(library, &tag)?)?;
    let Some(spec) = library.kinds().part(&part.kind) else {
        return Err(Finding::error("unknown-kind", "no schema describes this kind of part")
            .found(part.kind)
            .into());
    };
    let mut own: Vec<FormLine> = REWORK.iter().map(plain).collect();
    if let Some(work) = own.iter_mut().find(|line| line.name == "work") {
        work.words = spec.work.iter().map(|work| work.op.clone()).collect();
    }
    let mut details: Vec<FormLine> = Vec::new();
    for (ask, holds) in spec.work.iter().flat_map(|work| &work.asks) {
        if !details.iter().any(|line| line.name == *ask) {
            details.push(field(library, &FieldSpec::plain(ask, holds.clone()), ask.clone()));
        }
    }
    let sections = vec![
        section(Section::About, "About", own),
        section(Section::Details, "What the work asks for", details),
    ];
    let title = format!("Work on a {}", spec.title.to_lowercase());
    Ok(Layout::new(&format!("rework-{}", spec.name), &title, spec.version, sections))
}

fn named(library: &Library, about: Option<&str>, like: &str) -> Result<Named, Failure> {
    let Some(about) = about else {
        return Err(Failure::usage(
            Finding::error("form-of-what", "the lines of this form depend on what it is about")
                .next(format!("name it: `mulebook form {like}`; or key it as line 1")),
        ));
    };
    names::any(library, about)
}

fn section(section: Section, title: &str, lines: Vec<FormLine>) -> FormSection {
    FormSection { section, title: title.to_owned(), lines }
}

fn plain(own: &Own) -> FormLine {
    let (name, title, asked) = *own;
    FormLine {
        number: 0,
        name: name.to_owned(),
        title: title.to_owned(),
        unit: None,
        words: Vec::new(),
        each: None,
        asked,
        instrument: false,
        value: None,
    }
}

fn field(library: &Library, spec: &FieldSpec, name: String) -> FormLine {
    let unit = match &spec.holds {
        Holds::Quantity { kind, unit } => {
            Some(input::preferred(library, &spec.name, *kind, unit).symbol().to_owned())
        }
        _ => None,
    };
    let words = match &spec.holds {
        Holds::Choice(words) => words.clone(),
        _ => Vec::new(),
    };
    FormLine {
        number: 0,
        name,
        title: spec.title.clone(),
        // A pure number has none.
        unit: unit.filter(|unit| !matches!(unit.as_str(), "" | "1")),
        words,
        each: spec.each.clone(),
        asked: spec.demand != Demand::Welcome,
        instrument: spec.instrument,
        value: None,
    }
}

fn fields(library: &Library, kind: Section, title: &str, specs: &[FieldSpec]) -> FormSection {
    section(kind, title, specs.iter().map(|spec| field(library, spec, spec.name.clone())).collect())
}

fn figures(library: &Library, title: &str, specs: &[FieldSpec]) -> FormSection {
    fields(library, Section::Figures, title, specs)
}

fn roles(kinds: &Kinds) -> FormSection {
    let line = |role: &crate::record::RoleSpec| FormLine {
        asked: role.demand != Demand::Welcome,
        title: role.title.clone(),
        name: role.name.clone(),
        ..plain(&("", "", false))
    };
    section(Section::Roles, "Parts, as TAG/STATE or none", kinds.roles.iter().map(line).collect())
}

fn settings(library: &Library) -> FormSection {
    fields(library, Section::Settings, "Settings", &library.kinds().settings)
}

fn fits(library: &Library) -> FormSection {
    let lines = library.kinds().fits.iter().flat_map(|fit| {
        fit.fields.iter().map(|spec| {
            let line = field(library, spec, format!("{}.{}", fit.pair, spec.name));
            FormLine { title: format!("{}: {}", fit.pair.replace('+', " to "), spec.title), ..line }
        })
    });
    section(Section::Fits, "Fits", lines.collect())
}

fn write_in(kind: Section, title: &str, name: &str) -> FormSection {
    let line = FormLine { name: name.to_owned(), title: name.to_owned(), ..plain(&("", "", false)) };
    section(kind, title, vec![line; WRITE_IN])
}

fn table(title: &str) -> FormSection {
    let line =
        |title: &str| FormLine { name: "row".to_owned(), title: title.to_owned(), ..plain(&("", "", false)) };
    let mut lines = vec![line("columns, with units")];
    lines.extend(vec![line("row"); ROWS]);
    section(Section::Table, title, lines)
}
