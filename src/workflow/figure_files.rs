//! The photos, scans and the like that show figures: which record names which, and how they are taken in.

use std::collections::BTreeMap;
use std::path::Path;
use std::path::PathBuf;

use crate::finding::Finding;
use crate::finding::Place;
use crate::manifest::bind;
use crate::manifest::emit::Piece;
use crate::manifest::node::Node;
use crate::record::NamedFigure;
use crate::record::RawFile;
use crate::store;
use crate::store::Source;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::gate::Sort;
use crate::workflow::gate::sort_of;
use crate::workflow::take_in::file_name;

/// A file beside a figure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FigureFile {
    /// The figure that it shows, in words: `h2/b chamber-volume`.
    pub(super) figure: String,
    /// Line of the entry in its record, from 1.
    pub(super) line: usize,
    pub(super) file: RawFile,
}

/// The files that the figures of a record name.
///
/// # Errors
/// The record does not hold, or the store's.
pub(super) fn of_record(library: &Library, path: &str) -> Result<Vec<FigureFile>, Failure> {
    let stem = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).unwrap_or_default();
    let all = |figures: Vec<NamedFigure<'_>>| -> Vec<FigureFile> {
        let mut files = Vec::new();
        for (name, figure) in figures {
            for entry in &figure.entries {
                files.extend(entry.files.iter().map(|file| FigureFile {
                    figure: name.clone(),
                    line: entry.line.max(1),
                    file: file.clone(),
                }));
            }
        }
        files
    };
    let files = match sort_of(path) {
        Sort::Part(_) => library.part(stem)?.map(|record| all(record.all_figures())),
        Sort::Build(name) => library.build(&name)?.map(|record| all(record.all_figures())),
        Sort::Pull(_) => library.pull_at(path)?.map(|record| all(record.all_figures())),
        Sort::Flow => library.flow(stem)?.map(|record| all(record.all_figures())),
        Sort::Cell => library.cell(stem)?.map(|record| all(record.all_figures())),
        Sort::Session => library.session(stem)?.map(|record| all(record.all_figures())),
        _ => None,
    };
    Ok(files.unwrap_or_default())
}

/// The raw files that a record names, beside its figures too, by SHA-256, with the place where.
///
/// # Errors
/// The record does not hold, or the store's.
pub(super) fn named_in(library: &Library, path: &str) -> Result<BTreeMap<String, Place>, Failure> {
    let shown = of_record(library, path)?.into_iter();
    let mut named: BTreeMap<String, Place> = shown
        .map(|shown| (shown.file.sha256, Place::file(path).line(shown.line).field(shown.figure)))
        .collect();
    let stem = path.rsplit('/').next().and_then(|file| file.strip_suffix(".yaml")).unwrap_or_default();
    let raw = match sort_of(path) {
        Sort::Pull(_) => library.pull_at(path)?.map(|pull| pull.raw),
        Sort::Flow => library.flow(stem)?.map(|sheet| sheet.raw),
        _ => None,
    };
    named.extend(raw.into_iter().flatten().map(|raw| (raw.sha256, Place::file(path))));
    Ok(named)
}

/// The records, of those that are laid over each other, whose figures may name files.
///
/// # Errors
/// The store's.
pub(super) fn records(library: &Library) -> Result<Vec<String>, Failure> {
    let mut paths: Vec<String> = Vec::new();
    for kind in library.names("parts")? {
        let tags = library.tags(&format!("parts/{kind}"))?;
        paths.extend(tags.iter().map(|tag| format!("parts/{kind}/{tag}.yaml")));
    }
    paths.extend(library.build_names()?.iter().map(|name| crate::workflow::library::build_path(name)));
    paths.extend(library.pull_paths()?.values().cloned());
    for folder in ["flow", "cells", "sessions"] {
        paths.extend(library.tags(folder)?.iter().map(|tag| format!("{folder}/{tag}.yaml")));
    }
    Ok(paths)
}

/// Takes photos in, each once; says what was left out because it is the same again. `there` are those beside the figure
/// already.
///
/// # Errors
/// A file cannot be read, is empty, or has a name that no record takes; the store's.
pub(super) fn take(
    draft: &mut Draft<'_>,
    context: &Context,
    photos: &[PathBuf],
    there: &[RawFile],
) -> Result<(Vec<RawFile>, Vec<String>), Failure> {
    let mut files: Vec<RawFile> = Vec::new();
    let mut notes = Vec::new();
    for path in photos {
        let name = file_name(path);
        if let Some(found) = bind::file_name_refused(&name) {
            return Err(Failure::usage(
                Finding::error("file-name", "this name cannot stand in a record")
                    .found(found)
                    .expected(bind::FILE_NAME)
                    .next("give the file another name and take it in again"),
            ));
        }
        let mut source = Source::open(path).map_err(|error| not_read(path, error))?;
        let length = source.length();
        if length == 0 {
            return Err(Finding::error("file-empty", "the file is empty and shows nothing")
                .at(Place::file(&name))
                .found("0 bytes")
                .expected("a photo, a scan or the like")
                .next("copy it from the camera again")
                .into());
        }
        let kept =
            draft.take_raw(&mut source, &mut |done| (context.progress)("keeping", done, Some(length)))?;
        if let Some(same) = there.iter().chain(&files).find(|file| file.sha256 == kept.sha256) {
            notes.push(match same.file == name {
                true => format!("{name} is there once already: the same bytes."),
                false => format!("{name} has the same bytes as {}, which is there: left out.", same.file),
            });
            continue;
        }
        if kept.already {
            notes.push(format!("{name}: the book has these bytes already, and keeps them once."));
        }
        files.push(RawFile {
            file: name,
            sha256: kept.sha256,
            bytes: kept.bytes,
            columns: None,
            segment: None,
            derived_from: None,
        });
    }
    Ok((files, notes))
}

fn not_read(path: &Path, error: store::Error) -> Failure {
    let found = match &error {
        store::Error::NotPlain { found, .. } => (*found).to_owned(),
        store::Error::Io { source, .. } => source.to_string(),
        other => other.to_string(),
    };
    Finding::error("file-not-read", "this file cannot be taken in")
        .at(Place::file(path.display().to_string()))
        .found(found)
        .expected("a file that can be read: a photo, a scan or the like")
        .next("look at its name and rights and enter it again; nothing was entered")
        .into()
}

/// Files as they stand beside a figure in its record.
pub(super) fn pieces(files: &[RawFile]) -> Vec<Piece> {
    let of = |file: &RawFile| {
        Piece::Line(vec![
            ("file".to_owned(), Piece::text(&file.file)),
            ("sha256".to_owned(), Piece::text(&file.sha256)),
            ("bytes".to_owned(), Piece::Whole(i64::try_from(file.bytes).unwrap_or(i64::MAX))),
        ])
    };
    files.iter().map(of).collect()
}

/// The same from the record of a reading that is written down again.
pub(super) fn pieces_of(node: &Node) -> Vec<Piece> {
    let of = |item: &Node| {
        let piece = |key: &Node, value: &Node| -> Option<(String, Piece)> {
            let (key, text) = (key.text()?.to_owned(), value.text()?);
            let whole = text.parse().ok().filter(|_| key == "bytes");
            Some((key, whole.map_or_else(|| Piece::text(text), Piece::Whole)))
        };
        Piece::Line(item.entries().iter().filter_map(|(key, value)| piece(key, value)).collect())
    };
    node.items().iter().map(of).collect()
}

/// Files in words, with their length: what a command says it kept.
pub(super) fn words(files: &[RawFile]) -> String {
    let of = |file: &RawFile| format!("{} ({} bytes)", file.file, file.bytes);
    files.iter().map(of).collect::<Vec<_>>().join(", ")
}
