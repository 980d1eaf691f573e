//! State a gain so that it can be checked, or take a claim back; neither is ever done silently.

use crate::answer::Entered;
use crate::curves::CurveFigure;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::record::GRID_STEP_RPM;
use crate::record::Metric;
pub use crate::record::Tuning;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::input;
use crate::workflow::library::claim_path;
use crate::workflow::make_place::need_tag;

/// What `claim` is asked to write.
#[derive(Debug, Clone)]
pub struct ClaimRequest {
    /// Its tag.
    pub tag: String,
    /// The claim in one sentence.
    pub says: String,
    /// Whom it is made to.
    pub made_to: Option<String>,
    /// What is under test.
    pub subject: Option<String>,
    /// With what, in words.
    pub scope: Option<String>,
    /// On this engine.
    pub engine: Option<String>,
    /// In this cell.
    pub cell: Option<String>,
    /// With these parts, `ROLE=PART/STATE` each.
    pub with: Vec<String>,
    /// At which settings.
    pub tuning: Option<Tuning>,
    /// What it is measured from.
    pub base: Vec<String>,
    /// The test side.
    pub test: Vec<String>,
    /// The figure.
    pub figure: CurveFigure,
    /// From which speed to which, rpm.
    pub window: Option<(u32, u32)>,
    /// One speed, rpm.
    pub at: Option<u32>,
    /// The least gain.
    pub least: Option<String>,
    /// For a claim that there is no difference.
    pub within: Option<String>,
    /// The correction.
    pub correct_to: Option<String>,
    /// Distance of the grid, rpm.
    pub step_rpm: u32,
    /// Width of smoothing, rpm.
    pub smooth_rpm: Option<u32>,
    /// Who.
    pub by: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

/// Writes a claim.
///
/// # Errors
/// The tag is taken, or the claim does not hold.
pub fn claim(book: &Book, context: &Context, request: &ClaimRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.tag)?;
    let path = claim_path(&request.tag);
    draft.put_new(&path, "claim", &entries(context, request)?)?;
    let written = draft.commit(context, &format!("Claim {}: {}", request.tag, request.says))?;
    Ok(Entered {
        did: format!("Claimed {} as {path}.", request.tag),
        notes: vec![format!(
            "It stands as it was kept: what changes is corrected or withdrawn, visibly. That it was kept before its \
             pulls, the book's own order shows; to others only an outside receipt proves it."
        )],
        written,
        next: format!("mulebook claim {}   the claim, and its verdict once its pulls are there", request.tag),
    })
}

fn entries(context: &Context, request: &ClaimRequest) -> Result<Vec<(String, Piece)>, Failure> {
    let rpm = |speed: u32| Piece::word(format!("{speed} rpm"));
    let names = |side: &[String]| Piece::Row(side.iter().map(Piece::text).collect());
    let mut entries = vec![
        ("claim".to_owned(), Piece::word(&request.tag)),
        ("says".to_owned(), Piece::text(&request.says)),
        ("on".to_owned(), Piece::word(context.today())),
        ("by".to_owned(), Piece::word(input::person(context, request.by.as_deref())?)),
    ];
    let mut put = |key: &str, piece: Option<Piece>| {
        entries.extend(piece.map(|piece| (key.to_owned(), piece)));
    };
    put("for", request.made_to.as_ref().map(Piece::text));
    put("subject", request.subject.as_ref().map(Piece::word));
    put("scope", scope(request)?);
    put("tuning", request.tuning.map(|tuning| Piece::word(tuning.word())));
    put("base", Some(names(&request.base)));
    put("test", Some(names(&request.test)));
    let metric = match request.figure {
        CurveFigure::MeanTorque => Metric::MeanTorque,
        CurveFigure::MeanPower => Metric::MeanPower,
        CurveFigure::PeakTorque => Metric::PeakTorque,
        CurveFigure::PeakPower => Metric::PeakPower,
    };
    put("metric", Some(Piece::word(metric.word())));
    let window = request
        .window
        .map(|(from, to)| Piece::Line(vec![("from".to_owned(), rpm(from)), ("to".to_owned(), rpm(to))]));
    put("window", window);
    put("at", request.at.map(rpm));
    put("at-least", request.least.as_ref().map(Piece::word));
    put("within", request.within.as_ref().map(Piece::word));
    put("correction", request.correct_to.as_ref().map(Piece::word));
    put("step", (request.step_rpm != GRID_STEP_RPM).then(|| rpm(request.step_rpm)));
    put("smooth", request.smooth_rpm.map(rpm));
    put("note", request.note.as_ref().map(Piece::text));
    Ok(entries)
}

fn scope(request: &ClaimRequest) -> Result<Option<Piece>, Failure> {
    let mut scope = Vec::new();
    scope.extend(request.scope.as_ref().map(|says| ("says".to_owned(), Piece::text(says))));
    scope.extend(request.engine.as_ref().map(|engine| ("engine".to_owned(), Piece::word(engine))));
    scope.extend(request.cell.as_ref().map(|cell| ("cell".to_owned(), Piece::word(cell))));
    let mut parts = Vec::new();
    for assignment in &request.with {
        let (role, part) = input::assignment(assignment)?;
        parts.push((role, Piece::word(part)));
    }
    if !parts.is_empty() {
        scope.push(("parts".to_owned(), Piece::Line(parts)));
    }
    Ok((!scope.is_empty()).then_some(Piece::Block(scope)))
}

/// Takes a claim back: it stays visible and no longer stands.
///
/// # Errors
/// It is not in the book, is withdrawn already, or no reason is given.
pub fn withdraw(
    book: &Book,
    context: &Context,
    tag: &str,
    by: Option<&str>,
    because: &str,
) -> Result<Entered, Failure> {
    if because.trim().is_empty() {
        return Err(Failure::usage(
            Finding::error("reason-missing", "why a claim is taken back is part of taking it back")
                .next("add `--because \"…\"`"),
        ));
    }
    let mut draft = Draft::open(book, context)?;
    let claim = draft.library().claim(tag)?.ok_or_else(|| no_claim(draft.library(), tag))?;
    if let Some(withdrawn) = claim.withdrawn {
        return Err(Finding::error("nothing-changed", "this claim is withdrawn already")
            .found(format!("on {}: {}", withdrawn.on, withdrawn.because))
            .into());
    }
    let path = claim_path(tag);
    let mut document = draft.document(&path)?;
    let line = Piece::Line(vec![
        ("because".to_owned(), Piece::text(because)),
        ("by".to_owned(), Piece::word(input::person(context, by)?)),
        ("on".to_owned(), Piece::word(context.today())),
    ]);
    document.set(&["withdrawn"], &line)?;
    draft.put(&path, document.text())?;
    let written = draft.commit(context, &format!("Withdraw claim {tag}: {because}"))?;
    Ok(Entered {
        did: format!("Withdrew claim {tag}; it stays visible."),
        notes: Vec::new(),
        written,
        next: format!("mulebook trail {tag}   its life"),
    })
}

/// The failure of a claim that is not there.
pub(super) fn no_claim(library: &crate::workflow::Library, tag: &str) -> Failure {
    let known = library.tags("claims").unwrap_or_default();
    let finding = Finding::error("not-found", "no claim is called so").found(format!("`{tag}`"));
    if known.is_empty() {
        return finding.next("state one: `mulebook claim --help` shows how").into();
    }
    finding.expected(known.join(", ")).into()
}
