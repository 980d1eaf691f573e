//! What is kept to save time changes no answer: deleted, from an earlier commit, damaged or put there by hand.
#![expect(clippy::disallowed_methods, reason = "the tests spoil kept files on disk")]

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::sync::OnceLock;

use chrono::DateTime;
use mulebook::render;
use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::workflow::AsOf;
use mulebook::workflow::Context;
use mulebook::workflow::Library;
use mulebook::workflow::compare;
use mulebook::workflow::compare::DiffRequest;
use mulebook::workflow::demo;
use mulebook::workflow::names;

fn context() -> Context {
    Context {
        now: DateTime::parse_from_rfc3339("2026-06-01T10:00:00+02:00").expect("a time"),
        person: Some("mk".to_owned()),
        author: Author { name: "M. Kessel".to_owned(), email: "mk@example.org".to_owned() },
        process: std::process::id(),
        command: "test".to_owned(),
        progress: Box::new(|_, _, _| {}),
    }
}

/// What each of two sides of that head is asked for.
const FLOW: &str = "\
flow: h2a-in-2
part: h2/a
side: inlet
port: \"2\"
on: 2026-03-06
by: jo
conditions:
  test-pressure: {measured: 25.0 inH2O}
lifts:
  - {lift: 2.0 mm, flow: 41.2 cfm}
  - {lift: 6.0 mm, flow: 112.4 cfm}
";

/// The demo book, made once; each test works on a copy.
fn original() -> &'static Path {
    static ORIGINAL: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, path) = ORIGINAL.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("book");
        demo::demo(&path, &context()).expect("the demo is made");
        fs::create_dir_all(path.join("flow")).expect("a folder");
        fs::write(path.join("flow/h2a-in-2.yaml"), FLOW).expect("a flow sheet");
        let book = Book::discover(&path).expect("a book");
        mulebook::workflow::keep::keep(&book, &context(), Some("a flow sheet")).expect("kept");
        (folder, path)
    });
    path
}

fn copied() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("book");
    copy(original(), &path);
    (folder, path)
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a list") {
        let entry = entry.expect("an entry");
        let beside = to.join(entry.file_name());
        if entry.file_type().expect("a kind").is_dir() {
            copy(&entry.path(), &beside);
        } else {
            fs::copy(entry.path(), beside).expect("a copy");
        }
    }
}

fn cache(book: &Path) -> PathBuf {
    book.join(".git/mulebook/cache")
}

fn diff(book: &Book, base: &str, test: &str, pending: bool) -> String {
    let request = DiffRequest {
        base: base.to_owned(),
        test: test.to_owned(),
        subject: Some("header".to_owned()),
        correct_to: None,
        step_rpm: 500,
        as_of: if pending { AsOf::Pending } else { AsOf::Present },
    };
    render::json("diff", &compare::diff(book, &request).expect("an answer"))
}

/// Everything that kept files could change: names found, wear counted, what was read on the way.
fn answers(path: &Path) -> Vec<String> {
    let book = Book::discover(path).expect("a book");
    let mut answers = Vec::new();
    for (base, test) in
        [("0411a-01", "0411a-09"), ("0411a-03", "0418a-05"), ("0418a-01", "0509a-04"), ("b1", "last")]
    {
        for pending in [false, true] {
            answers.push(diff(&book, base, test, pending));
        }
    }
    let library = Library::at_head(&book).expect("a library");
    answers.push(format!("{:?}", library.pull_paths().expect("paths")));
    for name in ["last", "2", "0411a-0", "0509a-03", "0418a-10", "nothing", "0418a-03..06"] {
        answers.push(format!("{:?}", names::pulls(&library, name)));
    }
    answers.push(format!("{:?}", library.pulls_beginning("0411a-").expect("pulls")));
    answers.push(format!("{:?}", library.touched()));
    answers
}

fn answers_without(path: &Path) -> Vec<String> {
    let _ = fs::remove_dir_all(cache(path));
    answers(path)
}

fn kept(path: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> =
        fs::read_dir(cache(path)).expect("kept files").map(|entry| entry.expect("an entry").path()).collect();
    files.sort();
    files
}

#[test]
fn deleted_or_remembered_the_answers_are_the_same() {
    let (_folder, path) = copied();
    let first = answers_without(&path);
    let names: Vec<_> = kept(&path)
        .iter()
        .filter_map(|file| Some(file.file_name()?.to_string_lossy().into_owned()))
        .collect();
    assert_eq!(names, ["columns-1", "flow-1", "parts-1", "pulls-1", "sessions-1", "wear-3"]);
    assert!(first.iter().any(|answer| answer.contains("0411a-09")));
    assert_eq!(answers(&path), first);
}

#[test]
fn damaged_kept_files_are_made_again() {
    let (_folder, path) = copied();
    let first = answers_without(&path);
    for file in kept(&path) {
        let whole = fs::read(&file).expect("bytes");
        let mut flipped = whole.clone();
        let middle = flipped.len() / 2;
        flipped[middle] ^= 1;
        for spoiled in [Vec::new(), b"{}".to_vec(), whole[..whole.len() / 2].to_vec(), flipped] {
            fs::write(&file, spoiled).expect("written");
            assert_eq!(answers(&path), first);
            assert_eq!(fs::read(&file).expect("made again"), whole);
        }
    }
}

#[test]
fn kept_files_of_another_form_or_another_book_are_not_taken() {
    let (_folder, path) = copied();
    let first = answers_without(&path);
    let book = Book::discover(&path).expect("a book");
    let names = ["columns-1", "flow-1", "parts-1", "pulls-1", "sessions-1", "wear-3"];
    let whole = |name: &str| book.cache_read(name).expect("kept");
    let before = names.map(whole);
    // Keys that stand for nothing in this book, of the same length: none of what hangs on them is believed.
    let other = |bytes: &[u8]| {
        let mut bytes = bytes.to_vec();
        let mut at = 0;
        while at + 40 <= bytes.len() {
            if bytes[at..at + 40].iter().all(u8::is_ascii_hexdigit) {
                bytes[at..at + 40].fill(b'0');
                at += 39;
            }
            at += 1;
        }
        for (word, wrong) in [("0411a-0", "0411a-7"), ("long-1/a", "lost-1/a"), ("2026-04-1", "2026-09-1")] {
            while let Some(at) = bytes.windows(word.len()).position(|piece| piece == word.as_bytes()) {
                bytes[at..at + word.len()].copy_from_slice(wrong.as_bytes());
            }
        }
        bytes
    };
    for (place, name) in names.into_iter().enumerate() {
        assert_ne!(other(&before[place]), before[place], "{name}");
        let neighbour = before[(place + 1) % names.len()].clone();
        for bytes in [
            other(&before[place]),
            neighbour,
            b"[\"HEAD\", {}]".to_vec(),
            b"a 1\nb 5 c\n".to_vec(),
            Vec::new(),
        ] {
            book.cache_write(name, &bytes);
            assert_eq!(answers(&path), first, "{name}");
        }
    }
    assert_eq!(names.map(whole), before, "made again");
}

#[test]
fn kept_files_from_before_a_write_are_brought_up_to_date() {
    let (_folder, path) = copied();
    let _ = answers_without(&path);
    let old: Vec<_> = kept(&path).into_iter().map(|file| (fs::read(&file).expect("bytes"), file)).collect();
    let pull = path.join("builds/b2/pulls/0411a-05.yaml");
    let text = fs::read_to_string(&pull).expect("a manifest");
    let further = text.replace("0411a-05", "0411a-11").replace("order: 5", "order: 11");
    fs::write(path.join("builds/b2/pulls/0411a-11.yaml"), further).expect("written");
    let session = path.join("sessions/0411a.yaml");
    let text = fs::read_to_string(&session).expect("a manifest");
    fs::write(&session, text.replace("on: 2026-04-11", "on: 2026-04-12")).expect("written");
    let book = Book::discover(&path).expect("a book");
    mulebook::workflow::keep::keep(&book, &context(), Some("a pull found later")).expect("kept");
    let after = answers(&path);
    assert_eq!(answers_without(&path), after);
    for (bytes, file) in old {
        fs::write(file, bytes).expect("put back");
    }
    assert_eq!(answers(&path), after);
    assert!(after.iter().any(|answer| answer.contains("0411a-11")));
}

#[test]
fn pending_edits_are_answered_from_and_never_kept() {
    let (_folder, path) = copied();
    let first = answers_without(&path);
    let pull = path.join("builds/b1/pulls/0411a-02.yaml");
    let text = fs::read_to_string(&pull).expect("a manifest");
    let edited = text.replace("ran: 23.0 s", "ran: 999.0 s");
    assert_ne!(edited, text);
    fs::write(&pull, edited).expect("written");
    let book = Book::discover(&path).expect("a book");
    let _ = fs::remove_dir_all(cache(&path));
    let cold = diff(&book, "0411a-03", "0418a-05", true);
    let warm = diff(&book, "0411a-03", "0418a-05", true);
    assert_eq!(cold, warm);
    let edited_cold = answers_without(&path);
    assert_eq!(answers(&path), edited_cold, "what is named as pending is the same, too");
    fs::write(&pull, text).expect("written");
    assert_eq!(answers(&path), first);
}

#[test]
fn a_cache_that_cannot_be_kept_is_no_trouble() {
    let (_folder, path) = copied();
    let first = answers_without(&path);
    fs::remove_dir_all(cache(&path)).expect("removed");
    fs::write(cache(&path), b"in the way").expect("written");
    assert_eq!(answers(&path), first);
    assert_eq!(fs::read(cache(&path)).expect("still there"), b"in the way");
}

#[test]
fn edits_of_columns_are_counted_on_from_an_earlier_commit() {
    let (_folder, path) = copied();
    let _ = answers_without(&path);
    let columns = path.join("columns/tower-1.yaml");
    for turn in ["first", "second"] {
        let before = Book::discover(&path).expect("a book").head().expect("a commit").commit();
        let text = fs::read_to_string(&columns).expect("a manifest");
        fs::write(&columns, format!("{text}# {turn}\n")).expect("written");
        let book = Book::discover(&path).expect("a book");
        mulebook::workflow::keep::keep(&book, &context(), Some(turn)).expect("kept");
        let newer = book.edits_in("columns", Some(before)).expect("a walk").expect("on the line");
        assert_eq!(newer.into_iter().collect::<Vec<_>>(), [("tower-1.yaml".to_owned(), 1)]);
        let all = book.edits_in("columns", None).expect("a walk").expect("whole");
        for (name, count) in all {
            assert_eq!(count, book.log(&format!("columns/{name}")).expect("a log").len(), "{name}");
        }
        let remembered = answers(&path);
        assert_eq!(answers_without(&path), remembered);
    }
    let book = Book::discover(&path).expect("a book");
    let stranger = mulebook::store::CommitId::parse(&"1".repeat(40)).expect("a name");
    assert_eq!(book.edits_in("columns", Some(stranger)).expect("a walk"), None);
    assert!(book.edits_in("none", None).expect("a walk").expect("whole").is_empty());
}
