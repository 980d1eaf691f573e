//! Write down the place and the sitting: a session, a cell, an instrument.

use crate::answer::Entered;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::record::is_tag;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::names;

/// What `session` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct SessionRequest {
    /// Its tag.
    pub tag: String,
    /// Its cell; the last session's with `as_last`.
    pub cell: String,
    /// Copy cell, engine, warm-up and waiting of the last session.
    pub as_last: bool,
    /// The day; today unless said.
    pub on: Option<String>,
    /// Who.
    pub by: Option<String>,
    /// The engine.
    pub engine: Option<String>,
    /// The warm-up recipe.
    pub warm_up: Option<String>,
    /// What is waited for between pulls.
    pub between: Option<String>,
    /// Figures of the sitting as `NAME=VALUE`: the zero before and after.
    pub set: Vec<String>,
    /// The instrument of measured figures.
    pub with: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

/// Writes a session.
///
/// # Errors
/// The cell is not in the book, or the tag is taken.
pub fn session(book: &Book, context: &Context, request: &SessionRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.tag)?;
    let mut request = request.clone();
    let notes = if request.as_last { as_last(draft.library(), &mut request)? } else { Vec::new() };
    put_session(&mut draft, context, &request)?;
    let written = draft.commit(context, &format!("Begin session {}", request.tag))?;
    Ok(Entered {
        did: format!("Began session {} in cell {}.", request.tag, request.cell),
        notes,
        written,
        next: format!("mulebook pull FILE --session {} --build NAME", request.tag),
    })
}

/// Takes what is not said from the newest session; says what was taken.
fn as_last(library: &Library, request: &mut SessionRequest) -> Result<Vec<String>, Failure> {
    let last = match names::newest_session(library)? {
        Some(tag) => library.session(&tag)?,
        None => None,
    };
    let Some(last) = last else {
        return Err(Failure::usage(
            Finding::error("no-last-session", "the book has no session to copy from")
                .next("name the cell: `--cell TAG`"),
        ));
    };
    let mut taken = vec![format!("as {}", last.tag)];
    if request.cell.is_empty() {
        taken.push(format!("cell {}", last.cell));
        request.cell.clone_from(&last.cell);
    }
    let mut take = |name: &str, own: &mut Option<String>, theirs: Option<&String>| {
        if let (None, Some(theirs)) = (&*own, theirs) {
            taken.push(format!("{name} {theirs}"));
            *own = Some(theirs.clone());
        }
    };
    take("engine", &mut request.engine, last.engine.as_ref());
    take("warm-up", &mut request.warm_up, last.fields.get("warm-up"));
    take("between pulls", &mut request.between, last.fields.get("between-pulls"));
    Ok(vec![format!("Same as last: {}; weather and zeros are never copied.", taken.join("; "))])
}

/// Puts a session's manifest into a write under way.
///
/// # Errors
/// The tag is taken.
pub(super) fn put_session(
    draft: &mut Draft<'_>,
    context: &Context,
    request: &SessionRequest,
) -> Result<(), Failure> {
    let on = match &request.on {
        Some(on) => input::checked_moment(on)?,
        None => context.today(),
    };
    let mut entries = vec![
        ("session".to_owned(), Piece::word(&request.tag)),
        ("cell".to_owned(), Piece::word(&request.cell)),
        ("on".to_owned(), Piece::word(on)),
        ("by".to_owned(), Piece::word(input::person(context, request.by.as_deref())?)),
    ];
    if let Some(engine) = &request.engine {
        entries.push(("engine".to_owned(), Piece::word(engine)));
    }
    for (key, value) in [("warm-up", &request.warm_up), ("between-pulls", &request.between)] {
        if let Some(value) = value {
            entries.push((key.to_owned(), Piece::text(value)));
        }
    }
    let library = draft.library();
    let fields = &library.kinds().session;
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        let known = fields.iter().map(|field| (field.name.as_str(), field.aliases.as_slice()));
        let own = input::known_name(&name, known);
        let Some(field) = fields.iter().find(|field| Some(field.name.as_str()) == own) else {
            let known: Vec<&str> = fields.iter().map(|field| field.name.as_str()).collect();
            return Err(Failure::usage(
                Finding::error("unknown-field", "a session has no such figure")
                    .found(format!("`{name}`"))
                    .expected(known.join(", ")),
            ));
        };
        let told = FigureInput::typed(&value).or(request.with.as_deref(), request.by.as_deref(), None);
        entries.push((field.name.clone(), input::figure_piece(library, context, Some(field), &told)?));
    }
    if let Some(note) = &request.note {
        entries.push(("note".to_owned(), Piece::text(note)));
    }
    draft.put_new(&format!("sessions/{}.yaml", request.tag), "session", &entries)
}

/// What `cell` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct CellRequest {
    /// Its tag.
    pub tag: String,
    /// Figures and fields as `NAME=VALUE`.
    pub set: Vec<String>,
    /// The instrument of measured figures.
    pub with: Option<String>,
    /// Who measured them.
    pub by: Option<String>,
    /// When; now unless said.
    pub taken: Option<String>,
}

/// Writes a cell with its figures.
///
/// # Errors
/// The tag is taken, or a figure does not hold.
pub fn cell(book: &Book, context: &Context, request: &CellRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    let tag = &request.tag;
    need_tag(tag)?;
    let mut entries = vec![("cell".to_owned(), Piece::word(tag))];
    let kinds = draft.library().kinds().clone();
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        match input::known_name(
            &name,
            kinds.cell.iter().map(|field| (field.name.as_str(), field.aliases.as_slice())),
        ) {
            Some(own) => {
                let spec = kinds.cell.iter().find(|field| field.name == own);
                let told = FigureInput::typed(&value).or(
                    request.with.as_deref(),
                    request.by.as_deref(),
                    request.taken.as_deref(),
                );
                entries.push((own.to_owned(), input::figure_piece(draft.library(), context, spec, &told)?));
            }
            None => entries.push((name, Piece::text(value))),
        }
    }
    let path = format!("cells/{tag}.yaml");
    draft.put_new(&path, "cell", &entries)?;
    let written = draft.commit(context, &format!("Write down cell {tag}"))?;
    Ok(Entered {
        did: format!("Wrote down cell {tag} as {path}."),
        notes: Vec::new(),
        written,
        next: format!("mulebook session TAG --cell {tag}"),
    })
}

/// What `instrument` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct InstrumentRequest {
    /// Its tag.
    pub tag: String,
    /// What it is.
    pub what: String,
    /// Serial number.
    pub serial: Option<String>,
    /// Stated uncertainties as `QUANTITY=±LIMIT`, with the scope behind a slash: `volume=±0.2 cc/reading`.
    pub uncertainty: Vec<String>,
    /// The day of its last calibration.
    pub calibrated: Option<String>,
    /// Who calibrated it.
    pub calibrated_by: Option<String>,
    /// Until when that holds.
    pub due: Option<String>,
}

/// Writes an instrument.
///
/// # Errors
/// The tag is taken, or an uncertainty does not hold.
pub fn instrument(book: &Book, context: &Context, request: &InstrumentRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.tag)?;
    let mut entries = vec![
        ("instrument".to_owned(), Piece::word(&request.tag)),
        ("what".to_owned(), Piece::text(&request.what)),
    ];
    if let Some(serial) = &request.serial {
        entries.push(("serial".to_owned(), Piece::text(serial)));
    }
    let mut stated = Vec::new();
    for assignment in &request.uncertainty {
        let (of, is) = input::assignment(assignment)?;
        let (is, scope) = match is.rsplit_once('/') {
            Some((is, scope)) if matches!(scope, "reading" | "session" | "calibration") => {
                (is.to_owned(), scope.to_owned())
            }
            _ => (is, "reading".to_owned()),
        };
        let Some(kind) = crate::quantity::QuantityKind::parse(&of) else {
            return Err(Failure::usage(
                Finding::error("unknown-quantity", "no kind of quantity is called so")
                    .found(format!("`{of}`"))
                    .expected(
                        crate::quantity::QuantityKind::ALL
                            .map(crate::quantity::QuantityKind::name)
                            .join(", "),
                    ),
            ));
        };
        crate::quantity::parse_uncertainty(&is, kind).map_err(|error| {
            Finding::error(error.code(), "an uncertainty was expected")
                .found(error.found())
                .expected(error.expected())
                .next(error.hint())
        })?;
        stated.push(Piece::Line(vec![
            ("of".to_owned(), Piece::word(of)),
            ("is".to_owned(), Piece::text(is)),
            ("scope".to_owned(), Piece::word(scope)),
        ]));
    }
    if !stated.is_empty() {
        entries.push(("uncertainty".to_owned(), Piece::List(stated)));
    }
    if let Some(on) = &request.calibrated {
        let mut calibration = vec![
            ("on".to_owned(), Piece::word(input::checked_moment(on)?)),
            ("by".to_owned(), Piece::text(request.calibrated_by.as_deref().unwrap_or("not said"))),
        ];
        if let Some(due) = &request.due {
            calibration.push(("due".to_owned(), Piece::word(input::checked_moment(due)?)));
        }
        entries.push(("calibrations".to_owned(), Piece::List(vec![Piece::Line(calibration)])));
    }
    let path = format!("instruments/{}.yaml", request.tag);
    draft.put_new(&path, "instrument", &entries)?;
    let written = draft.commit(context, &format!("Write down instrument {}", request.tag))?;
    Ok(Entered {
        did: format!("Wrote down instrument {} as {path}.", request.tag),
        notes: Vec::new(),
        written,
        next: format!("mulebook measure PART/STATE FIGURE \"…\" --with {}", request.tag),
    })
}

pub(super) fn need_tag(tag: &str) -> Result<(), Failure> {
    if is_tag(tag) {
        return Ok(());
    }
    Err(Failure::usage(
        Finding::error("not-a-tag", "this cannot name a record")
            .found(format!("`{tag}`"))
            .expected("letters, digits, `.`, `_` and `-`, 64 at most, starting with a letter or digit"),
    ))
}
