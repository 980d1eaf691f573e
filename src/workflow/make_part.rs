//! Write down a part, from its schema or from another part.

use crate::answer::Entered;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::manifest::node::Node;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::input;
use crate::workflow::input::FigureInput;
use crate::workflow::make_place::need_tag;
use crate::workflow::names;

/// What `part` is asked to write.
#[derive(Debug, Clone, Default)]
pub struct PartRequest {
    /// Its kind; the `from` part's when left out.
    pub kind: Option<String>,
    /// Its tag.
    pub tag: String,
    /// Another part whose listed figures are copied; measured ones never are.
    pub from: Option<String>,
    /// A longer name.
    pub name: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
    /// Batch.
    pub batch: Option<String>,
    /// How it came.
    pub how: Option<String>,
    /// Since when it is in this state.
    pub since: Option<String>,
    /// Cylinders, for an engine.
    pub cylinders: Option<u32>,
    /// Roles an engine never has.
    pub never: Vec<String>,
    /// Figures as `NAME=VALUE`.
    pub set: Vec<String>,
    /// The instrument of measured figures.
    pub with: Option<String>,
    /// When measured figures were taken; now unless said.
    pub taken: Option<String>,
    /// Who.
    pub by: Option<String>,
}

/// Writes a part.
///
/// # Errors
/// The kind is not known, the tag is taken, or a figure does not hold.
pub fn part(book: &Book, context: &Context, request: &PartRequest) -> Result<Entered, Failure> {
    let mut draft = Draft::open(book, context)?;
    need_tag(&request.tag)?;
    let source = match &request.from {
        Some(from) => draft.library().part_path(&names::part(draft.library(), from)?)?,
        None => None,
    };
    let source_root = match &source {
        Some(path) => draft.library().tree(path)?,
        None => None,
    };
    let kind = request
        .kind
        .clone()
        .or_else(|| source.as_ref().and_then(|path| path.split('/').nth(1).map(str::to_owned)))
        .ok_or_else(|| Failure::usage(Finding::error("kind-missing", "the kind of part is not said")))?;
    let kinds = draft.library().kinds().clone();
    let Some(spec) = kinds.part(&kind) else {
        return Err(Failure::usage(
            Finding::error("unknown-kind", "no schema describes this kind of part")
                .found(format!("`{kind}`"))
                .expected(kinds.parts.keys().cloned().collect::<Vec<_>>().join(", ")),
        ));
    };
    if draft.library().part_path(&request.tag)?.is_some() {
        return Err(taken(&request.tag));
    }
    let mut entries =
        vec![("part".to_owned(), Piece::word(&request.tag)), ("kind".to_owned(), Piece::word(&kind))];
    let texts = [("name", &request.name), ("serial", &request.serial), ("batch", &request.batch)];
    for (key, value) in texts {
        if let Some(value) = value {
            entries.push((key.to_owned(), Piece::text(value)));
        }
    }
    if let Some(cylinders) = request.cylinders {
        entries.push(("cylinders".to_owned(), Piece::Whole(i64::from(cylinders))));
    }
    if !request.never.is_empty() {
        let roles = request.never.iter().map(Piece::word).collect();
        entries.push((
            "never".to_owned(),
            Piece::List(vec![Piece::Line(vec![
                ("roles".to_owned(), Piece::Row(roles)),
                ("by".to_owned(), Piece::word(input::person(context, request.by.as_deref())?)),
                ("on".to_owned(), Piece::word(context.today())),
            ])]),
        ));
    }
    let since = match &request.since {
        Some(since) => input::checked_moment(since)?,
        None => context.today(),
    };
    let mut figures: Vec<(String, Piece)> = source_root.as_ref().map(copied_figures).unwrap_or_default();
    let copied = figures.len();
    for assignment in &request.set {
        let (name, value) = input::assignment(assignment)?;
        let known = spec.figures.iter().map(|field| (field.name.as_str(), field.aliases.as_slice()));
        let field = match input::known_name(&name, known) {
            Some(own) => spec.figure(own),
            None if spec.open => None,
            None => return Err(unknown_figure(&name, spec)),
        };
        let told = FigureInput::typed(&value).or(
            request.with.as_deref(),
            request.by.as_deref(),
            request.taken.as_deref(),
        );
        let own = field.map_or(name, |field| field.name.clone());
        let piece = input::figure_piece(draft.library(), context, field, &told)?;
        figures.retain(|(other, _)| *other != own);
        figures.push((own, piece));
    }
    let state = vec![
        ("state".to_owned(), Piece::word("a")),
        ("since".to_owned(), Piece::word(since)),
        ("how".to_owned(), Piece::text(request.how.as_deref().unwrap_or("as it came"))),
        ("figures".to_owned(), Piece::Block(figures)),
    ];
    entries.push(("states".to_owned(), Piece::List(vec![Piece::Block(state)])));
    let path = format!("parts/{kind}/{}.yaml", request.tag);
    let schema = if kind == "generic" { "part-generic" } else { &kind };
    draft.put_new(&path, schema, &entries)?;
    let library = draft.library();
    let part = library.part(&request.tag)?.ok_or_else(|| taken(&request.tag))?;
    let asked: Vec<String> = spec
        .figures
        .iter()
        .filter(|field| field.demand != crate::record::Demand::Welcome)
        .filter(|field| part.resolve(spec, "a", &field.name, None).standing().is_none())
        .map(|field| field.name.clone())
        .collect();
    let mut notes = Vec::new();
    if copied > 0 {
        notes.push(format!(
            "Copied {copied} listed figures from {}; measured ones are this part's own and were not copied.",
            request.from.as_deref().unwrap_or_default()
        ));
    }
    if !asked.is_empty() {
        notes.push(format!("A comparison may ask for: {}.", asked.join(", ")));
    }
    let written = draft.commit(context, &format!("Write down part {} ({kind})", request.tag))?;
    let next = match asked.first() {
        Some(field) => format!("mulebook measure {}/a {field} \"…\" --with INSTRUMENT", request.tag),
        None => format!("mulebook build NAME --set {kind}={}/a", request.tag),
    };
    Ok(Entered { did: format!("Wrote down {} as {path}.", request.tag), notes, written, next })
}

/// Figures of another part's newest state that hold for a part of the same make: the listed ones.
fn copied_figures(root: &Node) -> Vec<(String, Piece)> {
    let Some(state) = root.get("states").and_then(|states| states.items().last().cloned()) else {
        return Vec::new();
    };
    let figures = state.get("figures").map(|figures| figures.entries().to_vec()).unwrap_or_default();
    figures
        .iter()
        .filter_map(|(key, value)| {
            let entry = if value.items().is_empty() { value } else { value.items().last()? };
            let listed = entry.get("listed")?.text()?;
            let source = entry.get("source")?.text()?;
            let piece = Piece::Line(vec![
                ("listed".to_owned(), Piece::word(listed)),
                ("source".to_owned(), Piece::text(source)),
            ]);
            Some((key.text()?.to_owned(), piece))
        })
        .collect()
}

fn unknown_figure(name: &str, spec: &crate::record::PartKind) -> Failure {
    Failure::usage(
        Finding::error("unknown-field", format!("a {} has no such figure", spec.title.to_lowercase()))
            .found(format!("`{name}`"))
            .expected(spec.figures.iter().map(|field| field.name.clone()).collect::<Vec<_>>().join(", ")),
    )
}

fn taken(tag: &str) -> Failure {
    Finding::error("tag-twice", "a part has this tag already")
        .found(format!("`{tag}`"))
        .next("a tag names one thing: choose another")
        .into()
}
