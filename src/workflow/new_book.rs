//! An empty book, with templates that explain themselves.

use crate::answer::Entered;
use crate::answer::Written;
use crate::finding::Finding;
use crate::manifest::bind;
use crate::manifest::built_in_files;
use crate::manifest::emit::Piece;
use crate::manifest::yaml;
use crate::record::Kinds;
use crate::record::is_tag;
use crate::store::Book;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::book_schemas;
use std::path::Path;

/// No end-of-line conversion and no filters: bytes stay as they are, wherever the book is cloned.
const ATTRIBUTES: &str = "* -text -filter -ident\n";
const IGNORED: &str = "/raw-large/\n.mulebook-*\n";

/// Makes an empty book with templates that explain themselves.
///
/// # Errors
/// The folder is a book already or holds files in the way; the zone is none.
pub fn new_book(root: &Path, name: &str, zone: &str, context: &Context) -> Result<(Book, Entered), Failure> {
    let who = context.person.as_deref();
    let page = book_page(name, zone);
    let (_, findings) =
        bind::book("book.yaml", &yaml::read("book.yaml", page.as_bytes())?, &Kinds::default());
    if findings.iter().any(Finding::is_error) {
        return Err(Failure::faults(findings));
    }
    let mut files = scaffold();
    files.push(("book.yaml".to_owned(), page.into()));
    files.push(("people.yaml".to_owned(), people_page(who, &context.author.name).into()));
    let book = Book::create(root, &files, &context.author, context.time(), &format!("New book: {name}"))?;
    let commit = book.head()?.commit().short();
    let written = Written {
        commit,
        files: files
            .into_iter()
            .map(|(path, _)| path)
            .filter(|path| !path.starts_with(book_schemas::FOLDER))
            .collect(),
        doubts: Vec::new(),
        recovered: None,
    };
    let entered = Entered {
        did: format!("Made the book `{name}`."),
        notes: vec![
            "Files are plain YAML; any editor that reads JSON Schema checks them while you type.".to_owned(),
        ],
        written,
        next: "cd into it, then `mulebook part short-block TAG` for the engine".to_owned(),
    };
    Ok((book, entered))
}

/// The files that every book begins with, its own page aside.
pub(super) fn scaffold() -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> =
        vec![(".gitattributes".to_owned(), ATTRIBUTES.into()), (".gitignore".to_owned(), IGNORED.into())];
    for (schema, text) in built_in_files() {
        files.push((book_schemas::path_of(schema), text.into()));
    }
    files
}

fn book_page(name: &str, zone: &str) -> String {
    let quoted = crate::manifest::emit::document(&[("name".to_owned(), Piece::text(name))]);
    format!(
        "# yaml-language-server: $schema=.schema/book.json\n\
         # What holds for the whole book.\n\
         format: 1\n\
         {quoted}\
         zone: \"{zone}\"          # days begin and end by it\n\
         # The unit a bare number takes on the command line, by kind of quantity or by field:\n\
         # units: {{length: mm, chamber-volume: cc, pressure-absolute: kPa}}\n\
         # Raw files up to this size are kept in git; larger ones lie beside it, in raw-large/:\n\
         # raw-limit: 4 MB\n\
         # What this book demands beyond the shipped fields before it compares:\n\
         # documented: [\"role:ignition\", \"setting:plug-gap\"]\n"
    )
}

fn people_page(person: Option<&str>, name: &str) -> String {
    let head = "# yaml-language-server: $schema=.schema/people.json\n\
                # Who stands behind the initials in `by:`.\n";
    match person {
        Some(person) if is_tag(person) => {
            let entry = Piece::Block(vec![(
                person.to_owned(),
                Piece::Line(vec![("name".to_owned(), Piece::text(name))]),
            )]);
            format!("{head}{}", crate::manifest::emit::document(&[("people".to_owned(), entry)]))
        }
        _ => format!("{head}people: {{}}\n"),
    }
}
