//! Mend a wrong record, visibly: what stood there stays.

use std::path::PathBuf;

use crate::answer::Entered;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::record::Effective;
use crate::record::RawFile;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::correct_claim::correct_claim;
use crate::workflow::correct_flow::correct_flow;
use crate::workflow::figure_files;
use crate::workflow::flow_conditions;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::input::Target;
use crate::workflow::library::UNASSIGNED;
use crate::workflow::library::build_path;
use crate::workflow::names;
use crate::workflow::names::Named;
use crate::workflow::run_gaps;

/// What `correct` is asked.
#[derive(Debug, Clone, Default)]
pub struct CorrectRequest {
    /// A pull, a run of pulls, a build, a flow sheet, a claim, a part or a session.
    pub target: String,
    /// What is right, each as `NAME=VALUE`.
    pub set: Vec<String>,
    /// The instrument, for a measured value.
    pub with: Option<String>,
    /// Who says so; the context's person unless said.
    pub by: Option<String>,
    /// Why the record was wrong.
    pub because: String,
    /// Photos that show what is right, for one figure of one record.
    pub photos: Vec<PathBuf>,
}

/// Mends wrong records visibly: for a pull, a run of pulls, a build, a flow sheet, a claim or a part.
///
/// # Errors
/// Nothing is called so, a name is not known there, a value does not hold, no reason is given, or a photo cannot be
/// taken in.
pub fn correct(book: &Book, context: &Context, request: &CorrectRequest) -> Result<Entered, Failure> {
    let CorrectRequest { target, set, because, .. } = request;
    if because.trim().is_empty() {
        return Err(Failure::usage(
            Finding::error("reason-missing", "why the record was wrong is part of the correction")
                .next("add `--because \"…\"`"),
        ));
    }
    let mut draft = Draft::open(book, context)?;
    let targets: Vec<Named> = if target.contains("..") || target.contains(',') {
        names::pulls(draft.library(), target)?.into_iter().map(Named::Pull).collect()
    } else {
        vec![names::any(draft.library(), target)?]
    };
    let mut notes = Vec::new();
    let mut files = Vec::new();
    if !request.photos.is_empty() {
        one_figure(&draft, &targets, set)?;
        let (taken, left_out) = figure_files::take(&mut draft, context, &request.photos, &[])?;
        notes.extend(left_out);
        notes.push(format!("Kept beside it: {}", figure_files::words(&taken)));
        files = taken;
    }
    for named in &targets {
        for assignment in set {
            let (name, value) = input::assignment(assignment)?;
            let edit = Edit {
                name: &name,
                value: &value,
                with: request.with.as_deref(),
                by: request.by.as_deref(),
                because,
                files: &files,
            };
            notes.push(correct_one(&mut draft, context, named, &edit)?);
        }
    }
    let written = draft.commit(context, &format!("Correct {target}: {}", set.join(", ")))?;
    Ok(Entered {
        did: format!("Corrected {target}; what stood there stays visible."),
        notes,
        written,
        next: match targets.as_slice() {
            [Named::Claim(tag)] => format!("mulebook claim {tag}"),
            _ => format!("mulebook gaps {}", target.split("..").next().unwrap_or(target)),
        },
    })
}

/// One thing that is corrected.
pub(super) struct Edit<'e> {
    pub(super) name: &'e str,
    pub(super) value: &'e str,
    pub(super) with: Option<&'e str>,
    pub(super) by: Option<&'e str>,
    pub(super) because: &'e str,
    /// What shows it.
    pub(super) files: &'e [RawFile],
}

/// A photo shows one reading: a figure of one pull, build or flow sheet.
fn one_figure(draft: &Draft<'_>, targets: &[Named], set: &[String]) -> Result<(), Failure> {
    let refused = |found: String| {
        Failure::usage(
            Finding::error(
                "photo-of-no-figure",
                "a photo is kept beside one figure of one pull, build or flow sheet",
            )
            .found(found)
            .next("correct that figure by itself, with its photo"),
        )
    };
    let ([target], [assignment]) = (targets, set) else {
        return Err(refused(format!("records: {}, things to set: {}", targets.len(), set.len())));
    };
    let (name, _) = input::assignment(assignment)?;
    let kinds = draft.library().kinds();
    let is_figure = match target {
        Named::Pull(_) | Named::Build(_) => {
            input::target(kinds, &name).is_ok_and(|to| !matches!(to, Target::Role(_) | Target::Run(_)))
        }
        Named::Flow(_) => flow_conditions::condition_name(draft.library(), &name).is_ok(),
        _ => false,
    };
    if is_figure { Ok(()) } else { Err(refused(format!("`{name}`"))) }
}

fn correct_one(
    draft: &mut Draft<'_>,
    context: &Context,
    named: &Named,
    edit: &Edit<'_>,
) -> Result<String, Failure> {
    let library = draft.library();
    let (path, who, effective) = match named {
        Named::Pull(id) => {
            let pull = library.pull(id)?.ok_or_else(|| gone(id))?;
            let build = match pull.effective_build() {
                Some(build) => library.build(build)?,
                None => None,
            };
            let path = library.pull_paths()?.get(id).cloned().unwrap_or_default();
            (path, format!("pull {id}"), Some(Effective::of_pull(&pull, build.as_ref())))
        }
        Named::Build(name) => {
            let build = library.build(name)?.ok_or_else(|| gone(name))?;
            (build_path(name), format!("build {name}"), Some(Effective::of_build(&build)))
        }
        Named::Part { tag, .. } => {
            let path = library.part_path(tag)?.ok_or_else(|| gone(tag))?;
            return correct_part(draft, context, tag, &path, edit);
        }
        Named::Flow(tag) => return correct_flow(draft, context, tag, edit),
        Named::Claim(tag) => return correct_claim(draft, context, tag, edit),
        Named::Session(tag) => return run_gaps::correct(draft, tag, (edit.name, edit.value), edit.because),
        _ => {
            return Err(Failure::usage(
                Finding::error(
                    "not-corrected-here",
                    "pulls, builds, flow sheets, claims and parts are corrected",
                )
                .next("edit the file by hand and `mulebook keep` it"),
            ));
        }
    };
    let (set, to, was) = correction(library, context, named, effective.as_ref(), edit)?;
    let line = line(context, edit, &set, to, &was)?;
    let mut document = draft.document(&path)?;
    document.append(&["corrected"], &line)?;
    match (named, set.as_str()) {
        (Named::Pull(id), "build") => {
            let moved = format!("builds/{}/pulls/{id}.yaml", edit.value);
            draft.relocate(&path, &moved, document.text())?;
        }
        _ => draft.put(&path, document.text())?,
    }
    Ok(format!("{who}: {set} is {} (was {was}).", edit.value))
}

fn correction(
    library: &Library,
    context: &Context,
    named: &Named,
    effective: Option<&Effective>,
    edit: &Edit<'_>,
) -> Result<(String, Piece, String), Failure> {
    let kinds = library.kinds();
    let nothing = || "nothing".to_owned();
    let is_pull = matches!(named, Named::Pull(_));
    if is_pull && matches!(edit.name, "build" | "correction" | "outcome") {
        let was = match edit.name {
            "build" => match named {
                Named::Pull(id) => {
                    library.pull(id)?.and_then(|pull| pull.effective_build().map(str::to_owned))
                }
                _ => None,
            }
            .unwrap_or_else(nothing),
            "correction" => {
                effective.and_then(|e| e.correction.as_ref()).map_or_else(nothing, ToString::to_string)
            }
            _ => effective.map_or_else(nothing, |e| e.outcome.to_string()),
        };
        if edit.name == "build" && (library.build(edit.value)?.is_none() || edit.value == UNASSIGNED) {
            return Err(Finding::error("not-found", "there is no build of this name")
                .found(format!("`{}`", edit.value))
                .into());
        }
        return Ok((edit.name.to_owned(), Piece::text(edit.value), was));
    }
    let told = FigureInput::typed(edit.value).or(edit.with, edit.by, None);
    match input::target(kinds, edit.name)? {
        Target::Role(role) => {
            let was = effective
                .and_then(|e| e.roles.get(&role))
                .map_or_else(nothing, |held| held.answer.to_string());
            Ok((role, input::answer_piece(library, edit.value)?, was))
        }
        Target::Setting(name) => {
            let was = effective
                .and_then(|e| e.settings.get(&name))
                .map_or_else(nothing, |held| figure_words(&held.figure));
            let piece = input::figure_piece(library, context, kinds.setting(&name), &told)?;
            Ok((name, piece, was))
        }
        Target::Fit(pair, fit) => {
            let key = (pair.clone(), fit.clone());
            let was = effective
                .and_then(|e| e.fits.get(&key))
                .map_or_else(nothing, |held| figure_words(&held.figure));
            let spec = kinds.fit(&pair).and_then(|spec| spec.fields.iter().find(|field| field.name == fit));
            Ok((format!("{pair}.{fit}"), input::figure_piece(library, context, spec, &told)?, was))
        }
        Target::Condition(name) if is_pull => {
            let was = effective
                .and_then(|e| e.conditions.get(&name))
                .map_or_else(nothing, |held| figure_words(&held.figure));
            let piece = input::figure_piece(library, context, kinds.condition(&name), &told)?;
            Ok((format!("conditions.{name}"), piece, was))
        }
        Target::Run(name) if is_pull => {
            let was = effective.and_then(|e| e.run.get(&name)).cloned().unwrap_or_else(nothing);
            Ok((format!("run.{name}"), input::run_piece(library, &name, edit.value)?, was))
        }
        Target::Condition(_) | Target::Run(_) => Err(Failure::usage(
            Finding::error("not-of-a-build", "this belongs to a pull, not to a build")
                .found(format!("`{}`", edit.name)),
        )),
    }
}

/// The line under `corrected` that says what is right, what stood there, why, who and when.
pub(super) fn line(
    context: &Context,
    edit: &Edit<'_>,
    set: &str,
    mut to: Piece,
    was: &str,
) -> Result<Piece, Failure> {
    if let (Piece::Line(entries), false) = (&mut to, edit.files.is_empty()) {
        entries.push(("files".to_owned(), Piece::Row(figure_files::pieces(edit.files))));
    }
    Ok(Piece::Line(vec![
        ("set".to_owned(), Piece::word(set)),
        ("to".to_owned(), to),
        ("was".to_owned(), Piece::text(was)),
        ("because".to_owned(), Piece::text(edit.because)),
        ("by".to_owned(), Piece::word(input::person(context, edit.by)?)),
        ("on".to_owned(), Piece::word(context.today())),
    ]))
}

pub(super) fn figure_words(figure: &crate::record::Figure) -> String {
    figure.entries.last().map_or_else(
        || "nothing".to_owned(),
        |entry| entry.known.value().map_or_else(|| "unknown".to_owned(), |value| value.text().to_owned()),
    )
}

/// A part's own fields: batch, serial, name, note, where. Figures are corrected by `measure --corrects`.
fn correct_part(
    draft: &mut Draft<'_>,
    context: &Context,
    tag: &str,
    path: &str,
    edit: &Edit<'_>,
) -> Result<String, Failure> {
    let piece = match edit.name {
        "batch" | "serial" | "name" | "note" => Piece::text(edit.value),
        "where" => Piece::word(edit.value),
        other => {
            return Err(Failure::usage(
                Finding::error("not-corrected-here", "of a part, batch, serial, name, where and note are corrected so")
                    .found(format!("`{other}`"))
                    .next(format!("a figure is corrected with `mulebook measure {tag}/STATE {other} \"…\" --corrects N --because \"…\"`")),
            ));
        }
    };
    let mut document = draft.document(path)?;
    let was = document.root().get(edit.name).and_then(|node| node.text()).unwrap_or("nothing").to_owned();
    if was == edit.value {
        return Err(Finding::error("nothing-changed", "this is what the record says already")
            .found(was)
            .into());
    }
    document.set(&[edit.name], &piece)?;
    // What stood there and why it was wrong stay in the record itself, not in git alone.
    let line = line(context, edit, edit.name, Piece::text(edit.value), &was)?;
    document.append(&["corrected"], &line)?;
    draft.put(path, document.text())?;
    Ok(format!("part {tag}: {} is {} (was {was}; {}).", edit.name, edit.value, edit.because))
}

pub(super) fn gone(name: &str) -> Failure {
    Finding::error("not-found", "this record is not in the book").found(format!("`{name}`")).into()
}
