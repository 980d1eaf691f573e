//! Write down the place and the sitting: a session, a cell, an instrument.

use crate::answer::Entered;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::record::is_tag;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::input;
use crate::workflow::input::FigureInput;

/// What `session` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct SessionRequest {
    /// Its tag.
    pub tag: String,
    /// Its cell.
    pub cell: String,
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
    put_session(&mut draft, context, request)?;
    let written = draft.commit(context, &format!("Begin session {}", request.tag))?;
    Ok(Entered {
        did: format!("Began session {} in cell {}.", request.tag, request.cell),
        notes: Vec::new(),
        written,
        next: format!("mulebook pull FILE --session {} --build NAME", request.tag),
    })
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
    let texts = [("warm-up", &request.warm_up), ("between", &request.between), ("note", &request.note)];
    for (key, value) in texts {
        if let Some(value) = value {
            entries.push((key.to_owned(), Piece::text(value)));
        }
    }
    draft.put_new(&format!("sessions/{}.yaml", request.tag), "session", &entries)
}

/// Writes a cell with its figures.
///
/// # Errors
/// The tag is taken, or a figure does not hold.
pub fn cell(
    book: &Book,
    context: &Context,
    tag: &str,
    set: &[String],
    with: Option<&str>,
) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(tag)?;
    let mut entries = vec![("cell".to_owned(), Piece::word(tag))];
    let kinds = draft.library().kinds().clone();
    for assignment in set {
        let (name, value) = input::assignment(assignment)?;
        match input::known_name(
            &name,
            kinds.cell.iter().map(|field| (field.name.as_str(), field.aliases.as_slice())),
        ) {
            Some(own) => {
                let spec = kinds.cell.iter().find(|field| field.name == own);
                let mut told = FigureInput::typed(&value);
                told.with = with.map(str::to_owned);
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
