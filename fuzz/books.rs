//! Targets of what a book holds: its manifests, its schemas, the files of git below it.

use std::path::PathBuf;
use std::sync::OnceLock;

use mulebook::finding::Finding;
use mulebook::manifest::Schemas;
use mulebook::manifest::bind;
use mulebook::manifest::yaml;
use mulebook::store::{Author, Book, Time};

/// A manifest of every sort, as people write them.
pub(super) fn manifest(bytes: &[u8]) -> bool {
    static SCHEMAS: OnceLock<Option<Schemas>> = OnceLock::new();
    let Some(schemas) = SCHEMAS.get_or_init(|| Schemas::load(&[]).ok()) else { return false };
    let Ok(root) = yaml::read("fuzz.yaml", bytes) else { return false };
    let kinds = schemas.kinds();
    fn held<T>((record, findings): bind::Bound<T>) -> bool {
        let errors = findings.iter().any(Finding::is_error);
        assert!(record.is_some() || errors);
        record.is_some() && !errors
    }
    let any = [
        held(bind::part("fuzz.yaml", &root, kinds)),
        held(bind::build("fuzz.yaml", &root, kinds)),
        held(bind::pull("fuzz.yaml", &root, kinds)),
        held(bind::session("fuzz.yaml", &root, kinds)),
        held(bind::cell("fuzz.yaml", &root, kinds)),
        held(bind::instrument("fuzz.yaml", &root, kinds)),
        held(bind::people("fuzz.yaml", &root, kinds)),
        held(bind::book("fuzz.yaml", &root, kinds)),
    ];
    any.contains(&true)
}

/// A kind of part that a book brings along, as JSON.
pub(super) fn book_schema(bytes: &[u8]) -> bool {
    match Schemas::load(&[("fuzz.json".to_owned(), bytes.to_vec())]) {
        Ok(_) => true,
        Err(findings) => {
            assert!(!findings.is_empty());
            false
        }
    }
}

/// A book on disk of which one file of git's is replaced by each input.
struct Bed {
    root: PathBuf,
    commit: String,
    tree: String,
}

/// The book, made once for the process.
fn bed() -> Option<&'static Bed> {
    static BED: OnceLock<Option<Bed>> = OnceLock::new();
    let make = || {
        let root = std::env::temp_dir().join(format!("mulebook-fuzz-{}", std::process::id()));
        drop(std::fs::remove_dir_all(&root));
        let files = [("book.yaml", "format: 1\n"), ("parts/header/long-1.yaml", "part: long-1\n")];
        let files: Vec<(String, Vec<u8>)> =
            files.map(|(path, text)| (path.to_owned(), text.as_bytes().to_vec())).into();
        let author = Author { name: "fuzz".to_owned(), email: String::new() };
        let time = Time { seconds: 1_700_000_000, offset: 0 };
        let book = Book::create(&root, &files, &author, time, "Begin").ok()?;
        let head = book.head().ok()?;
        let tree = head.id_of("parts").ok()??.to_string();
        Some(Bed { commit: head.commit().to_string(), tree, root })
    };
    BED.get_or_init(make).as_ref()
}

/// One file of a foreign book's repository, the first byte says which: it is opened, read, looked over and verified.
pub(super) fn foreign_book(bytes: &[u8]) -> bool {
    let (Some((which, content)), Some(bed)) = (bytes.split_first(), bed()) else { return false };
    let git = bed.root.join(".git");
    let object = |id: &str| git.join("objects").join(&id[..2]).join(&id[2..]);
    let (place, content) = match which % 8 {
        0 => (object(&bed.commit), loose("commit", content)),
        1 => (object(&bed.tree), loose("tree", content)),
        2 => (object(&bed.commit), content.to_vec()),
        3 => (git.join("index"), content.to_vec()),
        4 => (git.join("packed-refs"), content.to_vec()),
        5 => (git.join("HEAD"), content.to_vec()),
        6 => (git.join("config"), content.to_vec()),
        _ => (git.join("refs/heads/side"), content.to_vec()),
    };
    let before = std::fs::read(&place).ok();
    // Objects are read-only on disk.
    drop(std::fs::remove_file(&place));
    if std::fs::write(&place, content).is_err() {
        return false;
    }
    let read = Book::discover(&bed.root).is_ok_and(|book| {
        let files = book.head().and_then(|head| head.files("")).is_ok();
        drop(book.pending_all());
        drop(book.log("parts/header/long-1.yaml"));
        drop(book.known_on(1_800_000_000));
        drop(book.find("HEAD~1"));
        drop(book.verify(&std::collections::BTreeMap::new(), &mut |_| {}));
        files
    });
    drop(std::fs::remove_file(&place));
    if let Some(before) = before {
        assert!(std::fs::write(&place, before).is_ok(), "the bed is whole again");
    }
    read
}

/// An object as git keeps it in a file of its own: packed by zlib, here in blocks that are only stored.
fn loose(kind: &str, content: &[u8]) -> Vec<u8> {
    let body = [format!("{kind} {}\0", content.len()).as_bytes(), content].concat();
    let mut packed = vec![0x78, 0x01];
    let mut blocks = body.chunks(0xffff).peekable();
    while let Some(block) = blocks.next() {
        packed.push(u8::from(blocks.peek().is_none()));
        let length = u16::try_from(block.len()).unwrap_or(u16::MAX);
        packed.extend(length.to_le_bytes());
        packed.extend((!length).to_le_bytes());
        packed.extend(block);
    }
    // The check of RFC 1950.
    let (mut low, mut high) = (1_u32, 0_u32);
    for byte in &body {
        low = (low + u32::from(*byte)) % 65_521;
        high = (high + low) % 65_521;
    }
    packed.extend(((high << 16) | low).to_be_bytes());
    packed
}
