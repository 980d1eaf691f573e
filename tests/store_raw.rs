//! Raw files taken in, found again, and missed; and the whole book read over.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "these tests look at the disk and ask git"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[allow(dead_code, reason = "each test program uses its own part of it")]
mod store_fixture;

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Read, Seek, SeekFrom};
use std::os::unix::fs::PermissionsExt;

use mulebook::finding::Place;
use mulebook::store::Book;
use mulebook::store::Error;
use mulebook::store::RawCheck;
use mulebook::store::RawFile;
use mulebook::store::RawPlace;
use store_fixture::{assert_clean, at, author, book, git, holder, put, state};

/// FIPS 180-4 example: SHA-256 of the three bytes `abc`.
const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
/// SHA-256 of no bytes at all, from the NIST CAVP short-message vectors (Len = 0).
const EMPTY: &str = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
/// SHA-256 of one million `a`, from the examples NIST published beside FIPS 180-2.
const MILLION: &str = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0";

fn take(book: &Book, bytes: &[u8], in_git: u64) -> RawFile {
    let mut writing = book.write(holder("enter")).unwrap();
    let taken = writing.take_raw(&mut &bytes[..], in_git, &mut |_| {}).unwrap();
    let number = book.log("builds").unwrap().len();
    writing.put(&format!("builds/b1/pulls/p-{number}.yaml"), taken.sha256.as_bytes()).unwrap();
    writing.commit("Enter", &author(), at(1)).unwrap();
    taken
}

fn read(book: &Book, sha256: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    book.raw().open(sha256).unwrap().unwrap().read_to_end(&mut bytes).unwrap();
    bytes
}

#[test]
fn a_small_raw_file_is_in_git_and_a_large_one_beside_it() {
    let (folder, book) = book();
    let root = book.root();
    let small = take(&book, b"abc", 3);
    assert_eq!(small, RawFile { sha256: ABC.into(), bytes: 3, place: RawPlace::InGit, already: false });
    let million = vec![b'a'; 1_000_000];
    let large = take(&book, &million, 3);
    assert_eq!(
        large,
        RawFile { sha256: MILLION.into(), bytes: 1_000_000, place: RawPlace::Large, already: false }
    );
    let empty = take(&book, b"", 3);
    assert_eq!((empty.sha256.as_str(), empty.place), (EMPTY, RawPlace::InGit));
    assert_clean(root);
    assert_eq!(git(root, &["show", &format!("HEAD:raw/ba/{ABC}")]), "abc");
    assert!(git(root, &["ls-files", "raw-large"]).is_empty());
    for path in [format!("raw/ba/{ABC}"), format!("raw-large/cd/{MILLION}")] {
        assert_eq!(
            fs::metadata(root.join(&path)).unwrap().permissions().mode() & 0o222,
            0,
            "{path} may be written"
        );
    }
    assert_eq!(read(&book, ABC), b"abc");
    assert_eq!(read(&book, MILLION), million);
    let mut reader = book.raw().open(MILLION).unwrap().unwrap();
    assert_eq!(reader.length(), 1_000_000);
    assert_eq!(reader.seek(SeekFrom::End(-1)).unwrap(), 999_999);
    assert_eq!(book.raw().check(ABC).unwrap(), RawCheck::Good { bytes: 3 });
    assert_eq!(book.raw().check(MILLION).unwrap(), RawCheck::Good { bytes: 1_000_000 });
    assert!(matches!(book.raw().open("../../etc/passwd"), Err(Error::UnsafePath { .. })));

    let objects = git(root, &["count-objects"]);
    for (bytes, place) in [(&b"abc"[..], RawPlace::InGit), (&million[..], RawPlace::Large)] {
        let mut writing = book.write(holder("enter")).unwrap();
        // The limit changed since: it stays where it is.
        let again = writing.take_raw(&mut &bytes[..], 2_000_000 - bytes.len() as u64, &mut |_| {}).unwrap();
        assert!(again.already && again.place == place);
        assert!(matches!(writing.commit("Again", &author(), at(9)), Err(Error::NothingChanged)));
    }
    assert_eq!(git(root, &["count-objects"]), objects);

    // A copy has the small one even with its work-tree file gone, and not the large one.
    let copy = folder.path().join("copy");
    git(folder.path(), &["clone", "-q", &root.to_string_lossy(), &copy.to_string_lossy()]);
    fs::remove_file(copy.join(format!("raw/ba/{ABC}"))).unwrap();
    let copy = Book::discover(&copy).unwrap();
    assert_eq!(read(&copy, ABC), b"abc");
    assert!(copy.raw().open(MILLION).unwrap().is_none());
    assert_eq!(copy.raw().check(MILLION).unwrap(), RawCheck::Missing);
}

#[test]
fn the_same_file_taken_twice_in_one_write_is_kept_once() {
    let (_folder, book) = book();
    let mut writing = book.write(holder("enter")).unwrap();
    let mut told = Vec::new();
    let one = writing.take_raw(&mut &b"abc"[..], 10, &mut |bytes| told.push(bytes)).unwrap();
    assert_eq!(told, [3]);
    let two = writing.take_raw(&mut &b"abc"[..], 10, &mut |_| {}).unwrap();
    let large = writing.take_raw(&mut &b"abcd"[..], 1, &mut |_| {}).unwrap();
    let large_again = writing.take_raw(&mut &b"abcd"[..], 1, &mut |_| {}).unwrap();
    assert_eq!([one.already, two.already, large.already, large_again.already], [false, true, false, true]);
    writing.put("builds/b1/pulls/p-1.yaml", b"x").unwrap();
    writing.commit("Enter", &author(), at(1)).unwrap();
    assert_clean(book.root());
    assert_eq!(read(&book, &large.sha256), b"abcd");
}

/// Gives some bytes, then fails.
struct Failing(usize);

impl Read for Failing {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.0 == 0 {
            return Err(io::Error::other("the stick was pulled out"));
        }
        self.0 -= 1;
        Ok(buffer.len())
    }
}

#[test]
fn a_source_that_fails_leaves_nothing() {
    let (_folder, book) = book();
    let before = state(book.root());
    let mut writing = book.write(holder("enter")).unwrap();
    let failed = writing.take_raw(&mut Failing(7), 1, &mut |_| {});
    assert!(matches!(failed, Err(Error::Io { operation: "read", .. })));
    assert_eq!(fs::read_dir(book.root().join(".git/mulebook/incoming")).unwrap().count(), 0);
    drop(writing);
    assert_eq!(state(book.root()), before);
}

#[test]
fn a_large_file_of_another_length_under_its_name_is_damage() {
    let (_folder, book) = book();
    let folder = book.root().join("raw-large/ba");
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join(ABC), "ab").unwrap();
    let mut writing = book.write(holder("enter")).unwrap();
    assert!(matches!(writing.take_raw(&mut &b"abc"[..], 1, &mut |_| {}), Err(Error::Damaged { .. })));
    drop(writing);
    let found = matches!(book.raw().check(ABC).unwrap(), RawCheck::Damaged { .. });
    assert!(found);
}

#[test]
fn a_whole_book_verifies_and_each_damage_is_named() {
    let (_folder, book) = book();
    let root = book.root().to_owned();
    take(&book, b"abc", 3);
    let large = take(&book, b"abcd", 3).sha256;
    put(&book, 2, &[("parts/cylinder-head/h2.yaml", "part: h2\nname: x\n")]);
    git(&root, &["tag", "-a", "-m", "v", "v1"]);
    let named = BTreeMap::from([(large.clone(), Place::file("builds/b1/pulls/p-1.yaml"))]);
    let codes = |named: &BTreeMap<String, Place>| -> Vec<&'static str> {
        let book = Book::discover(&root).unwrap();
        let found = book.verify(named, &mut |_| {}).unwrap();
        let mut codes: Vec<_> = found.findings.iter().map(|finding| finding.code).collect();
        codes.dedup();
        codes
    };
    let whole = book.verify(&named, &mut |_| {}).unwrap();
    assert_eq!(whole.findings, []);
    assert_eq!((whole.commits, whole.raw_files, whole.raw_bytes), (4, 2, 7));
    let reachable = git(&root, &["rev-list", "--all", "--objects"]).lines().count();
    assert_eq!(whole.objects, reachable);

    // Every loose object in turn: bytes flipped, cut short, gone.
    let ids: Vec<String> =
        git(&root, &["rev-list", "HEAD", "--objects"]).lines().map(|line| line[..40].to_owned()).collect();
    for id in &ids {
        let place = root.join(".git/objects").join(&id[..2]).join(&id[2..]);
        let bytes = fs::read(&place).unwrap();
        fs::set_permissions(&place, fs::Permissions::from_mode(0o644)).unwrap();
        for (position, kind) in [(bytes.len() / 2, "flipped"), (bytes.len() / 2, "cut"), (0, "gone")] {
            let mut broken = bytes.clone();
            match kind {
                "flipped" => broken[position] ^= 0x10,
                _ => broken.truncate(position),
            }
            fs::write(&place, &broken).unwrap();
            if kind == "gone" {
                fs::remove_file(&place).unwrap();
            }
            let book = Book::discover(&root).unwrap();
            match book.verify(&named, &mut |_| {}) {
                Ok(found) => {
                    assert!(!found.findings.is_empty(), "{id} {kind} went unnoticed");
                    assert!(
                        found.findings.iter().any(|finding| finding.message.contains(id.as_str())),
                        "{kind}: {:?}",
                        found.findings
                    );
                }
                Err(error) => panic!("{id} {kind}: {error}"),
            }
        }
        fs::write(&place, &bytes).unwrap();
    }
    assert_eq!(codes(&named), Vec::<&str>::new());

    let place = root.join("raw-large").join(&large[..2]).join(&large);
    fs::set_permissions(&place, fs::Permissions::from_mode(0o644)).unwrap();
    fs::write(&place, "abce").unwrap();
    assert_eq!(codes(&named), ["raw-damaged"]);
    fs::remove_file(&place).unwrap();
    assert_eq!(codes(&named), ["raw-not-here"]);
    fs::write(place.with_file_name("stray.txt"), "x").unwrap();
    assert_eq!(codes(&BTreeMap::new()), ["raw-stray"]);
    fs::remove_file(place.with_file_name("stray.txt")).unwrap();
    let small = root.join(format!("raw/ba/{ABC}"));
    fs::set_permissions(&small, fs::Permissions::from_mode(0o644)).unwrap();
    fs::write(&small, "abd").unwrap();
    assert_eq!(codes(&BTreeMap::new()), ["raw-damaged"]);
    fs::write(&small, "abc").unwrap();
    fs::write(root.join(".git/refs/heads/broken"), "0123\n").unwrap();
    assert_eq!(codes(&BTreeMap::new()), ["reference-broken"]);
    fs::write(root.join(".git/refs/heads/broken"), format!("{}\n", "1".repeat(40))).unwrap();
    assert_eq!(codes(&BTreeMap::new()), ["object-missing"]);
}

#[test]
fn an_empty_object_left_by_a_power_cut_is_written_again() {
    let (_folder, book) = book();
    let root = book.root();
    let path = "parts/cylinder-head/h8.yaml";
    let (_other, twin) = store_fixture::book();
    let commit = put(&twin, 1, &[(path, "part: h8\n")]).to_string();
    // The names of the new objects are there, their bytes never reached the disk.
    for line in git(twin.root(), &["rev-list", "--objects", "HEAD", "^HEAD~1"]).lines() {
        let place = root.join(".git/objects").join(&line[..2]).join(&line[2..40]);
        fs::create_dir_all(place.parent().unwrap()).unwrap();
        fs::write(place, "").unwrap();
    }
    assert_eq!(put(book_again(root).as_ref(), 1, &[(path, "part: h8\n")]).to_string(), commit);
    assert_clean(root);
    fn book_again(root: &std::path::Path) -> Box<Book> {
        Box::new(Book::discover(root).unwrap())
    }
}
