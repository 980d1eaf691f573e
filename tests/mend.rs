//! Damage of every kind, and `mend` after it: what another copy has comes back, what this one still holds comes back
//! without, and nothing is thrown away.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stderr,
    reason = "these tests damage files, ask git and say how often"
)]
#![expect(clippy::unwrap_used, reason = "a test that fails shall stop")]

#[path = "support/shop.rs"]
mod shop;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use mulebook::answer::MendAnswer;
use mulebook::store::Author;
use mulebook::workflow::Context;
use mulebook::workflow::mend;
use shop::{assert_whole, copy, done, git, program, pull_arguments, raw, said, shop, state};

/// A book with pulls, one raw file in git and one beside it, and a clone that has all of it.
fn book_and_copy() -> (tempfile::TempDir, PathBuf, PathBuf) {
    let (folder, root) = shop();
    done(&root, &pull_arguments(&raw("tarnbeck-0411-01.csv")));
    let page = fs::read_to_string(root.join("book.yaml")).unwrap();
    assert!(page.contains("raw-limit: 10 MB"));
    fs::write(root.join("book.yaml"), page.replace("raw-limit: 10 MB", "raw-limit: 10 kB")).unwrap();
    done(&root, &["keep"]);
    done(&root, &pull_arguments(&raw("tarnbeck-0411-02.csv")));
    let other = folder.path().join("backup");
    copy(&root, &other);
    (folder, root, other)
}

fn context() -> Context {
    Context {
        now: chrono::DateTime::parse_from_rfc3339("2100-01-01T00:00:00+00:00").unwrap(),
        person: None,
        author: Author { name: "Mara Kessel".to_owned(), email: String::new() },
        process: std::process::id(),
        command: "mend".to_owned(),
        progress: Box::new(|_, _, _| {}),
    }
}

/// Mends in this process.
fn mended(root: &Path, from: Option<&Path>) -> MendAnswer {
    mend::mend(root, from, false, &context()).unwrap_or_else(|failure| panic!("{failure:?}"))
}

/// Makes a file writable and puts other bytes in it.
fn damage(path: &Path, change: impl FnOnce(&mut Vec<u8>)) {
    use std::os::unix::fs::PermissionsExt;
    let mut bytes = fs::read(path).unwrap();
    change(&mut bytes);
    fs::set_permissions(path, fs::Permissions::from_mode(0o644)).unwrap();
    fs::write(path, bytes).unwrap();
}

fn flip(path: &Path) {
    damage(path, |bytes| {
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0x10;
    });
}

/// The files that git keeps its objects in.
fn object_files(root: &Path) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = fs::read_dir(root.join(".git/objects"))
        .unwrap()
        .flat_map(|folder| fs::read_dir(folder.unwrap().path()).unwrap())
        .map(|file| file.unwrap().path())
        .collect();
    found.sort();
    found
}

/// What there was before stands again, and git agrees.
fn assert_as_before(root: &Path, before: &shop::State, place: &str) {
    assert_eq!(&state(root), before, "{place}");
    assert_whole(root);
}

#[test]
fn objects_come_back_from_a_copy() {
    let restored = objects_in_turn(13);
    assert!(restored >= 8, "{restored}");
}

/// The same for every object there is.
#[test]
#[ignore = "takes minutes"]
fn every_object_comes_back_from_a_copy() {
    let restored = objects_in_turn(1);
    assert!(restored >= 100, "{restored}");
}

/// One object in so many is flipped, cut, taken away or swapped for another; how many came back.
fn objects_in_turn(step: usize) -> usize {
    let (_folder, root, other) = book_and_copy();
    let before = state(&root);
    let files = object_files(&root);
    assert!(files.len() > 120, "{}", files.len());
    let mut restored = 0;
    for (number, file) in files.iter().enumerate().step_by(step) {
        let how = ["flipped", "cut", "gone", "swapped"][number % 4];
        match how {
            "flipped" => flip(file),
            "cut" => damage(file, |bytes| bytes.truncate(bytes.len() / 2)),
            "gone" => fs::remove_file(file).unwrap(),
            _ => {
                let bytes = fs::read(&files[(number + 1) % files.len()]).unwrap();
                damage(file, |now| *now = bytes);
            }
        }
        let answer = mended(&root, Some(&other));
        let place = format!("{} {how}", file.display());
        assert!(answer.damage.is_empty(), "{place}: {answer:#?}");
        let objects = answer.mended.iter().filter(|mended| mended.what == "git object");
        // A flip in the slack of a compressed object may change nothing.
        restored += objects.count();
        for mended in &answer.mended {
            assert_eq!(mended.aside.is_some(), how != "gone", "{place}: {mended:?}");
        }
        assert_as_before(&root, &before, &place);
    }
    eprintln!("{restored} objects came back");
    restored
}

#[test]
fn what_the_work_tree_still_holds_comes_back_without_a_copy() {
    let (_folder, root, _other) = book_and_copy();
    let before = state(&root);
    let mut blobs = 0;
    for line in git(&root, &["ls-tree", "-r", "HEAD"]).lines().step_by(9) {
        let id = line.split_whitespace().nth(2).unwrap();
        let file = root.join(".git/objects").join(&id[..2]).join(&id[2..]);
        if file.exists() {
            fs::remove_file(&file).unwrap();
            let answer = mended(&root, None);
            assert!(answer.damage.is_empty(), "{line}: {answer:#?}");
            assert_eq!(answer.mended.len(), 1, "{answer:#?}");
            assert_eq!(answer.mended[0].from, "the work tree");
            blobs += 1;
        }
    }
    assert!(blobs >= 5, "{blobs}");
    assert_as_before(&root, &before, "blobs from the work tree");
    // A folder's object is nowhere else: it is said, with what rests on it.
    let tree = git(&root, &["rev-parse", "HEAD:builds/b1"]).trim().to_owned();
    fs::remove_file(root.join(".git/objects").join(&tree[..2]).join(&tree[2..])).unwrap();
    let answer = mended(&root, None);
    assert!(answer.damage.iter().any(|found| found.code == "object-missing"), "{answer:#?}");
    assert!(answer.damage.iter().all(|found| found.code != "evidence-damaged"), "{answer:#?}");
    assert!(answer.touched.iter().any(|line| line.builds == ["b1"]), "{:#?}", answer.touched);
    assert!(answer.next.contains("--from"), "{}", answer.next);
}

#[test]
fn packs_give_up_what_is_whole_and_the_copy_gives_the_rest() {
    let (_folder, root, other) = book_and_copy();
    let before = state(&root);
    git(&root, &["gc", "--quiet", "--prune=now"]);
    let pack = || {
        fs::read_dir(root.join(".git/objects/pack"))
            .unwrap()
            .map(|file| file.unwrap().path())
            .find(|path| path.extension().is_some_and(|ending| ending == "pack"))
    };
    for round in 0..8 {
        git(&root, &["repack", "-a", "-d", "--quiet"]);
        let pack = pack().unwrap();
        let index = pack.with_extension("idx");
        let length = usize::try_from(fs::metadata(&pack).unwrap().len()).unwrap();
        let how = match round {
            0..=3 => {
                damage(&pack, |bytes| bytes[13 + (length - 40) * round / 3] ^= 0x20);
                "flipped"
            }
            4 => {
                damage(&pack, |bytes| bytes.truncate(length / 2));
                "cut"
            }
            5 => {
                flip(&index);
                "index flipped"
            }
            6 => {
                damage(&index, |bytes| bytes.truncate(100));
                "index cut"
            }
            _ => {
                damage(&pack, |bytes| bytes[..4].fill(0));
                "head"
            }
        };
        let lost = mended_without(&root, &other, how);
        assert_as_before(&root, &before, &format!("pack {how} {round}"));
        eprintln!("pack {how}: {lost} objects from the copy");
        if how.starts_with("index") {
            assert_eq!(lost, 0, "a pack whose index is damaged has all its objects itself");
        }
    }
}

/// Mends first from the book itself, then from the copy; how many objects the copy had to give.
fn mended_without(root: &Path, other: &Path, how: &str) -> usize {
    let alone = mended(root, None);
    assert!(alone.mended.iter().any(|mended| mended.what == "pack"), "{how}: {alone:#?}");
    let answer = mended(root, Some(other));
    assert!(answer.damage.is_empty(), "{how}: {answer:#?}");
    answer.mended.iter().filter(|mended| mended.what == "git object").count()
}

#[test]
fn raw_files_come_back_by_their_hash() {
    let (_folder, root, other) = book_and_copy();
    let before = state(&root);
    let kept = before.files.keys().find(|path| path.starts_with("raw/")).unwrap().clone();
    let large = before.files.keys().find(|path| path.starts_with("raw-large/")).unwrap().clone();
    flip(&root.join(&kept));
    let audit = program(&root, &["audit"]).output().unwrap();
    assert_eq!(audit.status.code(), Some(4));
    let words = said(&audit).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("touches pull 0411a-01; build b1"), "{words}");
    assert!(words.contains("`mulebook mend` puts it right"), "{words}");
    // A pull's curve is not read from bytes that are not those that were kept.
    let folder = root.with_extension("csvw");
    let table = program(&root, &["table", "0411a-01", "--csvw", folder.to_str().unwrap()]).output().unwrap();
    assert_eq!(table.status.code(), Some(4), "{}", said(&table));
    fs::remove_dir_all(&folder).unwrap();
    // Nor is the damage kept as an edit.
    let keep = program(&root, &["keep"]).output().unwrap();
    assert!(said(&keep).contains("neither edited nor removed"), "{}", said(&keep));
    let answer = mended(&root, None);
    assert_eq!(answer.mended[0].from, "the last commit", "{answer:#?}");
    assert_as_before(&root, &before, "raw file in git");

    flip(&root.join(&large));
    let answer = mended(&root, None);
    assert_eq!(answer.damage[0].code, "raw-damaged", "{answer:#?}");
    let answer = mended(&root, Some(&other));
    assert!(answer.damage.is_empty() && answer.mended.len() == 1, "{answer:#?}");
    assert_as_before(&root, &before, "large raw file");
    fs::remove_file(root.join(&large)).unwrap();
    // A copy that is damaged itself has nothing to give.
    flip(&other.join(&large));
    let answer = mended(&root, Some(&other));
    assert!(answer.mended.is_empty() && !root.join(&large).exists(), "{answer:#?}");
    flip(&other.join(&large));
    mended(&root, Some(&other));
    assert_as_before(&root, &before, "large raw file gone");
}

#[test]
fn a_bare_clone_is_a_copy_too_and_another_book_gives_nothing_wrong() {
    let (folder, root, _other) = book_and_copy();
    let before = state(&root);
    let bare = folder.path().join("bare.git");
    git(&root, &["clone", "--quiet", "--bare", "--no-local", ".", bare.to_str().unwrap()]);
    let head = git(&root, &["rev-parse", "HEAD"]).trim().to_owned();
    let file = root.join(".git/objects").join(&head[..2]).join(&head[2..]);
    fs::remove_file(&file).unwrap();
    let (_elsewhere, strange) = shop();
    let answer = mended(&root, Some(&strange));
    assert!(!answer.damage.is_empty());
    let answer = mended(&root, Some(&bare));
    assert!(answer.damage.is_empty(), "{answer:#?}");
    assert_as_before(&root, &before, "from a bare clone");
    let failure = mend::mend(&root, Some(folder.path()), false, &context()).unwrap_err();
    assert_eq!(failure.findings[0].code, "no-book");
}

/// A damage with its name.
type Named<'a> = (&'a str, Box<dyn Fn() + 'a>);

#[test]
fn the_index_the_work_tree_and_the_frame_are_made_again() {
    let (_folder, root, _other) = book_and_copy();
    let before = state(&root);
    let git_folder = root.join(".git");
    let damages: Vec<Named> = vec![
        ("index flipped", Box::new(|| flip(&git_folder.join("index")))),
        ("index cut", Box::new(|| damage(&git_folder.join("index"), |bytes| bytes.truncate(60)))),
        ("index empty", Box::new(|| damage(&git_folder.join("index"), Vec::clear))),
        ("HEAD gone", Box::new(|| fs::remove_file(git_folder.join("HEAD")).unwrap())),
        ("HEAD garbage", Box::new(|| fs::write(git_folder.join("HEAD"), "\0\0\0\0").unwrap())),
        (
            "HEAD elsewhere",
            Box::new(|| fs::write(git_folder.join("HEAD"), "ref: refs/heads/maim\n").unwrap()),
        ),
        ("settings", Box::new(|| fs::write(git_folder.join("config"), "[core\nbare").unwrap())),
        ("branch gone", Box::new(|| fs::remove_file(git_folder.join("refs/heads/main")).unwrap())),
        ("branch empty", Box::new(|| fs::write(git_folder.join("refs/heads/main"), "").unwrap())),
        (
            "branch to nowhere",
            Box::new(|| {
                damage(&git_folder.join("refs/heads/main"), |id| {
                    id[7] = if id[7] == b'0' { b'1' } else { b'0' }
                })
            }),
        ),
        ("page gone", Box::new(|| fs::remove_file(root.join("book.yaml")).unwrap())),
        ("folder gone", Box::new(|| fs::remove_dir_all(root.join("builds")).unwrap())),
        (
            "packed references",
            Box::new(|| {
                git(&root, &["pack-refs", "--all"]);
                damage(&git_folder.join("packed-refs"), |bytes| bytes.extend(b"garbage\n"));
            }),
        ),
        ("cache", Box::new(|| fs::write(git_folder.join("mulebook/cache/of-old-1"), "x").unwrap())),
    ];
    for (name, break_it) in damages {
        break_it();
        let answer = mended(&root, None);
        assert!(answer.damage.is_empty(), "{name}: {answer:#?}");
        assert!(!answer.mended.is_empty(), "{name}: {answer:#?}");
        assert_as_before(&root, &before, name);
        let audit = program(&root, &["audit"]).output().unwrap();
        assert!(audit.status.success(), "{name}: {}", said(&audit));
    }
}

#[test]
fn edits_and_staged_changes_are_left() {
    let (_folder, root, _other) = book_and_copy();
    fs::write(root.join("parts/cylinder-head/h1.yaml"), "half an edit").unwrap();
    git(&root, &["rm", "--quiet", "--cached", "instruments/rule-1.yaml"]);
    fs::remove_file(root.join("instruments/rule-1.yaml")).unwrap();
    fs::remove_file(root.join("cells/tower.yaml")).unwrap();
    let answer = mended(&root, None);
    let back: BTreeSet<&str> = answer.mended.iter().map(|mended| mended.path.as_str()).collect();
    assert_eq!(back, BTreeSet::from(["cells/tower.yaml"]), "{answer:#?}");
    assert_eq!(fs::read_to_string(root.join("parts/cylinder-head/h1.yaml")).unwrap(), "half an edit");
    assert!(!root.join("instruments/rule-1.yaml").exists());
}

#[test]
fn litter_is_listed_then_cleaned_and_locks_of_git_go_only_when_old() {
    let (_folder, root, _other) = book_and_copy();
    let before = state(&root);
    let litter = [
        "builds/b1/.mulebook-77-3.part",
        ".git/mulebook/incoming/0",
        ".git/mulebook/journal.new",
        ".git/objects/ab/tmp_obj_x1",
        ".git/index.lock",
        ".git/refs/heads/main.lock",
    ];
    for path in litter {
        fs::create_dir_all(root.join(path).parent().unwrap()).unwrap();
        fs::write(root.join(path), "half").unwrap();
    }
    let empty = root.join(".git/objects/ab").join("cd".repeat(19));
    fs::write(&empty, "").unwrap();
    fs::write(root.join("notes.part"), "a person's own").unwrap();
    // Under this lock the store itself writes nothing: it says so, and what to wait for.
    let held = program(&root, &["measure", "h1/a", "inlet-port-volume", "170 cc", "--with", "burette-1"]);
    assert!(said(&{ held }.output().unwrap()).contains("index.lock"));
    let young =
        mend::mend(&root, None, true, &Context { now: chrono::Local::now().fixed_offset(), ..context() });
    let young = young.unwrap();
    let stay: Vec<&str> =
        young.litter.iter().filter(|litter| !litter.cleaned).map(|litter| litter.path.as_str()).collect();
    assert_eq!(stay, [".git/index.lock", ".git/objects/ab/tmp_obj_x1", ".git/refs/heads/main.lock"]);
    assert!(young.left.iter().any(|left| left.contains("lock on the index")), "{young:#?}");
    let listed = mended(&root, None);
    assert!(listed.litter.iter().all(|litter| !litter.cleaned && litter.stays.is_none()), "{listed:#?}");
    let cleaned = mend::mend(&root, None, true, &context()).unwrap();
    assert!(cleaned.litter.iter().all(|litter| litter.cleaned), "{cleaned:#?}");
    assert!(!empty.exists(), "an object of which no byte arrived goes at once");
    assert!(litter.iter().all(|path| !root.join(path).exists()));
    assert_eq!(fs::read_to_string(root.join("notes.part")).unwrap(), "a person's own");
    fs::remove_file(root.join("notes.part")).unwrap();
    assert_as_before(&root, &before, "after the cleaning");
}

#[test]
fn a_damaged_journal_is_put_aside_and_the_way_is_free() {
    let (_folder, root, _other) = book_and_copy();
    let before = state(&root);
    fs::write(root.join(".git/mulebook/journal"), "half a journ").unwrap();
    let refused = program(&root, &["cell", "yard"]).output().unwrap();
    assert!(!refused.status.success());
    let answer = mended(&root, None);
    assert_eq!(answer.mended[0].what, "journal");
    let aside = answer.mended[0].aside.as_ref().unwrap();
    assert_eq!(fs::read_to_string(root.join(aside)).unwrap(), "half a journ");
    assert_as_before(&root, &before, "the journal");
}
