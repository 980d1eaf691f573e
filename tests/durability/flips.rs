//! Bits flipped anywhere in a book: the audit finds it, or no answer changes.

use std::fs;
use std::path::{Path, PathBuf};

use mulebook::store::Book;
use mulebook::workflow::AsOf;
use mulebook::workflow::compare;
use mulebook::workflow::trail;

use crate::shop::{copy, done, git, pull_arguments, raw, shop};

/// A book with a pack and loose objects, raw files in git and beside it, a tag, packed and loose references.
fn book() -> (tempfile::TempDir, PathBuf) {
    let (folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    git(&root, &["tag", "-a", "-m", "first", "first"]);
    git(&root, &["gc", "--quiet", "--prune=now"]);
    let page = fs::read_to_string(root.join("book.yaml")).unwrap();
    fs::write(root.join("book.yaml"), page.replace("raw-limit: 10 MB", "raw-limit: 10 kB")).unwrap();
    done(&root, &["keep"]);
    done(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv")));
    done(&root, &["gaps", "0411a-01"]);
    (folder, root)
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            files(&path, found);
        } else if fs::metadata(&path).unwrap().len() > 0 {
            found.push(path);
        }
    }
}

/// What the book answers to several questions: of the last commit, of raw files, of history.
fn answers(root: &Path) -> Result<String, String> {
    let book = Book::discover(root).map_err(|error| error.to_string())?;
    let gaps = compare::gaps(&book, &["0411a-01".to_owned(), "0411a-02".to_owned()], &AsOf::Present)
        .map_err(|failure| format!("{failure:?}"))?;
    let life = trail::trail(&book, "h2", None, &AsOf::Present).map_err(|failure| format!("{failure:?}"))?;
    let mut text = String::new();
    for mut answer in [serde_json::to_value(&gaps).unwrap(), serde_json::to_value(&life).unwrap()] {
        // A file of the work tree with other bytes is named as an edit, and changes nothing else.
        answer.as_object_mut().unwrap().remove("pending");
        text.push_str(&answer.to_string());
    }
    Ok(text)
}

/// Whether the audit of git's and the raw files' bytes finds something, or the book says itself that it is damaged.
fn is_found(root: &Path) -> bool {
    let Ok(book) = Book::discover(root) else { return true };
    if book.unsettled().is_some() || book.head().is_err() {
        return true;
    }
    let named = std::collections::BTreeMap::new();
    match book.verify(&named, &mut |_| {}) {
        Ok(found) => found.findings.iter().any(mulebook::finding::Finding::is_error),
        Err(_) => true,
    }
}

/// Numbers that are the same from run to run.
struct Random(u64);

impl Random {
    fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % most as u64).unwrap()
    }
}

/// What became of changes.
#[derive(Debug, Default, Clone, Copy)]
struct Count {
    /// The audit finds it, or the book does not open.
    found: usize,
    /// A file of the work tree is another than its commit has: it is told as an edit, and no answer comes from it.
    told: usize,
    /// No answer changed.
    harmless: usize,
}

impl Count {
    fn all(self) -> usize {
        self.found + self.told + self.harmless
    }

    /// Looks at a book of which one file was changed; panics where the change is neither found nor without effect.
    fn look(&mut self, root: &Path, path: &Path, expected: &str, place: &str) {
        if is_found(root) {
            self.found += 1;
            return;
        }
        let inside = path.strip_prefix(root).unwrap();
        if inside.starts_with("raw-large") && !path.exists() {
            // It may be kept elsewhere, and the answer says that it is not here.
            assert!(answers(root).is_ok_and(|answer| answer != expected), "{place}");
            self.told += 1;
            return;
        }
        match answers(root) {
            Ok(answer) if answer == expected => {}
            Ok(answer) => panic!("{place}: not found, and the answer is another:\n{answer}\n{expected}"),
            Err(why) => panic!("{place}: not found by the audit, and no answer: {why}"),
        }
        if inside.starts_with(".git") {
            self.harmless += 1;
            return;
        }
        let pending = Book::discover(root).unwrap().pending_all().unwrap();
        assert!(pending.iter().any(|edit| Path::new(&edit.path) == inside), "{place}: not told as an edit");
        self.told += 1;
    }
}

/// Files of a book, and of these such as an answer rests on.
fn all_and_evidence(root: &Path) -> [Vec<PathBuf>; 2] {
    let mut all = Vec::new();
    files(root, &mut all);
    let rests =
        ["raw", "raw-large", ".git/objects", ".git/refs", ".git/HEAD", ".git/index", ".git/packed-refs"];
    let evidence = all
        .iter()
        .filter(|path| rests.iter().any(|rest| path.starts_with(root.join(rest))))
        .cloned()
        .collect();
    [all, evidence]
}

/// Flips one bit at a time, of any file and of one that answers rest on in turn.
fn flip(root: &Path, seed: u64, flips: usize) -> Count {
    use std::os::unix::fs::PermissionsExt;
    let expected = answers(root).unwrap();
    let choice = all_and_evidence(root);
    let mut random = Random(seed);
    let mut count = Count::default();
    for number in 0..flips {
        let choice = &choice[number % 2];
        let path = &choice[random.below(choice.len())];
        let bytes = fs::read(path).unwrap();
        let (at, bit) = (random.below(bytes.len()), random.below(8));
        let mut flipped = bytes.clone();
        flipped[at] ^= 1 << bit;
        let mode = fs::metadata(path).unwrap().permissions();
        fs::set_permissions(path, fs::Permissions::from_mode(0o644)).unwrap();
        fs::write(path, &flipped).unwrap();
        let place = format!("{} byte {at} bit {bit}", path.strip_prefix(root).unwrap().display());
        count.look(root, path, &expected, &place);
        fs::write(path, &bytes).unwrap();
        fs::set_permissions(path, mode).unwrap();
    }
    assert_eq!(answers(root).unwrap(), expected);
    count
}

#[test]
fn flipped_bits_are_found_or_change_no_answer() {
    let (_folder, root) = book();
    let count = flip(&root, 0x5eed, 150);
    eprintln!("150 flips: {count:?}");
    assert!(count.found >= 50 && count.all() == 150, "{count:?}");
}

#[test]
#[ignore = "takes many minutes"]
fn ten_thousand_flipped_bits_are_found_or_change_no_answer() {
    let (_folder, root) = book();
    let each = 5_000;
    let counts: Vec<Count> = std::thread::scope(|scope| {
        let runs: Vec<_> = (0..2_u64)
            .map(|number| {
                let other = root.with_extension(number.to_string());
                copy(&root, &other);
                scope.spawn(move || flip(&other, 0xf11b + number, each))
            })
            .collect();
        runs.into_iter().map(|run| run.join().unwrap()).collect()
    });
    let found: usize = counts.iter().map(|count| count.found).sum();
    let all: usize = counts.iter().map(|count| count.all()).sum();
    eprintln!("{all} flips: {counts:?}");
    assert!(all == 10_000 && found >= 3_000, "{counts:?}");
}

/// Files cut short, emptied, taken away, or with another's bytes.
#[test]
fn cut_missing_and_swapped_files_are_found_or_change_no_answer() {
    use std::os::unix::fs::PermissionsExt;
    let (_folder, root) = book();
    let expected = answers(&root).unwrap();
    let choice = all_and_evidence(&root);
    let mut random = Random(0xcafe);
    let mut count = Count::default();
    for number in 0..80 {
        let all = &choice[number / 4 % 2];
        let path = &all[random.below(all.len())];
        let bytes = fs::read(path).unwrap();
        let mode = fs::metadata(path).unwrap().permissions();
        fs::set_permissions(path, fs::Permissions::from_mode(0o644)).unwrap();
        let how = ["cut", "emptied", "gone", "swapped"][number % 4];
        match how {
            "cut" => fs::write(path, &bytes[..random.below(bytes.len())]).unwrap(),
            "emptied" => fs::write(path, []).unwrap(),
            "gone" => fs::remove_file(path).unwrap(),
            _ => fs::write(path, fs::read(&all[random.below(all.len())]).unwrap()).unwrap(),
        }
        // Another's bytes may be its own.
        if how == "swapped" && fs::read(path).unwrap() == bytes {
            count.harmless += 1;
        } else {
            count.look(&root, path, &expected, &format!("{} {how}", path.display()));
        }
        fs::write(path, &bytes).unwrap();
        fs::set_permissions(path, mode).unwrap();
    }
    eprintln!("80 files cut, emptied, gone or swapped: {count:?}");
    assert!(count.found >= 20 && count.all() == 80, "{count:?}");
}
