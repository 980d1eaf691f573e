//! The catalog changes no answer: fresh, missing, from another commit, damaged, locked; on books that change at random.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "these tests edit books, commit with git and spoil the catalog on disk"
)]

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

use chrono::DateTime;
use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::workflow::AsOf;
use mulebook::workflow::Context;
use mulebook::workflow::catalog;
use mulebook::workflow::compare;
use mulebook::workflow::compare::DiffRequest;
use mulebook::workflow::demo;
use mulebook::workflow::find;
use mulebook::workflow::find::FindRequest;
use mulebook::workflow::find::From;
use mulebook::workflow::find::Sort;
use mulebook::workflow::sheet;
use mulebook::workflow::sheet::SheetRequest;
use mulebook::workflow::trail;

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

/// The demo book, made once; each test works on a copy.
fn copied() -> (tempfile::TempDir, PathBuf) {
    static ORIGINAL: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, original) = ORIGINAL.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("book");
        demo::demo(&path, &context()).expect("the demo is made");
        (folder, path)
    });
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("book");
    copy(original, &path);
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

fn asked(sort: Sort, with: &[&str], conditions: &[&str]) -> FindRequest {
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
    FindRequest {
        sort,
        with: words(with),
        conditions: words(conditions),
        since: None,
        until: None,
        by: None,
        session: None,
        cell: None,
        kind: None,
        as_of: AsOf::Present,
    }
}

/// Questions of every sort.
fn questions() -> Vec<FindRequest> {
    let some = |text: &str| Some(text.to_owned());
    let pulls = || asked(Sort::Pulls, &[], &[]);
    vec![
        pulls(),
        asked(Sort::Pulls, &["header=long-1"], &["ignition-timing > 30 deg"]),
        asked(Sort::Pulls, &["spacer=none", "h2"], &["header = long-1"]),
        asked(Sort::Pulls, &["h2/a"], &["compression-ratio > 11", "primary-length > 1 mm"]),
        asked(Sort::Pulls, &[], &["air-temperature > 10 degC", "humidity < 60 %"]),
        asked(Sort::Pulls, &[], &["oil-temperature = 60..100 degC", "kind = sweep", "rate > 100 rpm/s"]),
        asked(Sort::Pulls, &[], &["cylinder-head.chamber-volume < 60 cc", "dynamic-compression-ratio > 1"]),
        asked(
            Sort::Pulls,
            &[],
            &["spacer = none", "rev-limit > 8000 rpm", "installed-centreline > 100 deg ATDC"],
        ),
        FindRequest { since: some("2026-04-12"), until: some("2026-05"), ..pulls() },
        FindRequest { session: some("0411a"), by: some("mk"), ..pulls() },
        FindRequest { cell: some("tower"), ..asked(Sort::Pulls, &[], &["intake = trumpets-90"]) },
        asked(Sort::Builds, &[], &[]),
        asked(Sort::Builds, &["header=long-1"], &["ignition-timing > 30 deg", "compression-ratio > 11"]),
        FindRequest { since: some("2026-04"), ..asked(Sort::Builds, &["spacer=none"], &["height > 1 mm"]) },
        asked(Sort::Parts, &[], &[]),
        asked(Sort::Parts, &[], &["chamber-volume < 60 cc"]),
        FindRequest { kind: some("header"), ..asked(Sort::Parts, &[], &["primary-length > 1 mm"]) },
        FindRequest { by: some("mk"), ..asked(Sort::Parts, &[], &[]) },
        asked(Sort::Flow, &["h2"], &[]),
    ]
}

/// Lives to be told, with the figure where it is that of one.
const LIVES: [(&str, Option<&str>); 12] = [
    ("h2", None),
    ("h2/a", None),
    ("long-1", None),
    ("mule-1", None),
    ("b2", None),
    ("0411a-03", None),
    ("0411a", None),
    ("lamp-1", None),
    ("tower-1", None),
    ("h2", Some("chamber-volume")),
    ("b1", Some("ignition-timing")),
    ("0411a-03", Some("header")),
];

/// Sides to be compared, or asked what they lack.
const SIDES: [&[&str]; 7] = [
    &["last"],
    &["b2"],
    &["0411a-03"],
    &["0411a-01", "0411a-09"],
    &["0411a-03", "0418a-05"],
    &["b1", "b3"],
    &["0418a-0", "2"],
];

/// What is said of sides and sheets. Without the catalog all else that is kept is put aside, too.
fn sides(path: &Path, book: &Book, from: From) -> Vec<String> {
    let (kept, aside) = (path.join(".git/mulebook"), path.join(".git/aside"));
    let away = from == From::Records && kept.exists();
    if away {
        fs::rename(&kept, &aside).expect("put aside");
    }
    let words = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
    let mut found = Vec::new();
    for names in SIDES {
        found.push(format!("gaps {names:?}\n{:#?}", compare::gaps(book, &words(names), &AsOf::Present)));
        if let &[base, test] = names {
            let request = DiffRequest {
                base: base.to_owned(),
                test: test.to_owned(),
                subject: None,
                step_rpm: 500,
                correct_to: None,
                as_of: AsOf::Present,
            };
            found.push(format!("diff {names:?}\n{:#?}", compare::diff(book, &request)));
        }
        let about = names[0].to_owned();
        let request = SheetRequest { about, step_rpm: 1000, ..SheetRequest::default() };
        found.push(format!("sheet {names:?}\n{:#?}", sheet::sheet(book, &request)));
    }
    if away {
        let _ = fs::remove_dir_all(&kept);
        fs::rename(&aside, &kept).expect("put back");
    }
    found
}

fn answers(path: &Path, from: From) -> Vec<String> {
    let book = Book::discover(path).expect("a book");
    let sides = sides(path, &book, from);
    let lives = LIVES.map(|(about, figure)| {
        format!("{about} {figure:?}\n{:#?}", trail::trail_in(&book, about, figure, &AsOf::Present, from))
    });
    questions()
        .into_iter()
        .map(|question| {
            let words = format!("{question:?}");
            let found = find::find_in(&book, question, from, &|_, _, _| ());
            format!("{words}\n{found:#?}")
        })
        .chain(lives)
        .chain(sides)
        .collect()
}

#[track_caller]
fn alike(path: &Path, what: &str) {
    let records = answers(path, From::Records);
    for (catalogued, recorded) in answers(path, From::Catalog).into_iter().zip(records) {
        assert_eq!(catalogued, recorded, "{what}");
    }
}

fn catalog_file(path: &Path) -> PathBuf {
    path.join(".git/mulebook/catalog.sqlite")
}

fn commit(path: &Path) {
    for words in [&["add", "-A"][..], &["commit", "-q", "--allow-empty", "-m", "an edit"]] {
        let done = Command::new("git")
            .args(["-c", "user.name=mk", "-c", "user.email=mk@example.org"])
            .args(words)
            .current_dir(path)
            .status()
            .expect("git");
        assert!(done.success());
    }
}

/// SplitMix64 (Steele, Lea, Flood 2014).
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % end as u64).expect("small")
    }

    fn of<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[self.below(all.len())]
    }
}

/// The files of a book below a folder whose path holds a word; sorted.
fn files(path: &Path, folder: &str, word: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![path.join(folder)];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).expect("a list") {
            let entry = entry.expect("an entry").path();
            if entry.is_dir() {
                open.push(entry);
            } else if entry.to_string_lossy().contains(word) {
                found.push(entry);
            }
        }
    }
    found.sort();
    found
}

fn edit(file: &Path, turn: impl FnOnce(String) -> String) {
    let text = fs::read_to_string(file).expect("text");
    fs::write(file, turn(text)).expect("written");
}

/// Does something to a book as people or other programs may; says what.
fn change(path: &Path, chance: &mut Chance, number: usize) -> String {
    let pulls = files(path, "builds", "/pulls/");
    let pull = chance.of(&pulls).clone();
    let builds = files(path, "builds", "build.yaml");
    let build = chance.of(&builds).clone();
    match chance.below(13) {
        0 => {
            let name = pull.file_stem().expect("a name").to_string_lossy().into_owned();
            let (session, order) = name.rsplit_once('-').expect("an id");
            let (id, order) = (format!("{session}-{}", 40 + number), order.to_owned());
            let further = pull.with_file_name(format!("{id}.yaml"));
            fs::copy(&pull, &further).expect("a copy");
            edit(&further, |text| {
                text.replace(&format!("pull: {name}"), &format!("pull: {id}")).replace(
                    &format!("order: {}", order.trim_start_matches('0')),
                    &format!("order: {}", 40 + number),
                )
            });
            format!("{id} like {name}")
        }
        1 => {
            fs::remove_file(&pull).expect("removed");
            format!("without {}", pull.display())
        }
        2 => {
            edit(&pull, |text| text.replace("by: mk", "by: jo"));
            format!("{} by another", pull.display())
        }
        3 => {
            let part = chance.of(&files(path, "parts", ".yaml")).clone();
            edit(&part, |text| text.replacen("mm", "in", 1));
            format!("a unit in {}", part.display())
        }
        4 => {
            let instrument = chance.of(&files(path, "instruments", ".yaml")).clone();
            edit(&instrument, |text| text.replacen("0.1", "0.3", 1) + "# again\n");
            format!("{}", instrument.display())
        }
        5 => {
            let session = chance.of(&files(path, "sessions", ".yaml")).clone();
            edit(&session, |text| text.replacen("on: 2026-04", "on: 2026-05", 1));
            format!("a day in {}", session.display())
        }
        6 => {
            // The same pull in two folders.
            let to = build.parent().expect("a folder").join("pulls");
            fs::create_dir_all(&to).expect("a folder");
            let _ = fs::copy(&pull, to.join(pull.file_name().expect("a name")));
            format!("{} beside {}", pull.display(), to.display())
        }
        7 => {
            edit(&build, |text| text.replacen("31 deg BTDC", "29.5 deg BTDC", 1));
            format!("timing in {}", build.display())
        }
        8 => {
            let folder = path.join(format!("builds/n{number}"));
            fs::create_dir_all(&folder).expect("a folder");
            let name =
                build.parent().and_then(Path::file_name).expect("a name").to_string_lossy().into_owned();
            fs::copy(&build, folder.join("build.yaml")).expect("a copy");
            edit(&folder.join("build.yaml"), |text| {
                text.replace(&format!("build: {name}"), &format!("build: n{number}"))
            });
            format!("n{number} like {name}")
        }
        9 => {
            let part = chance.of(&files(path, "parts", ".yaml")).clone();
            let kinds = files(path, "parts", ".yaml");
            let other = chance.of(&kinds).parent().expect("a folder").join(part.file_name().expect("a name"));
            if chance.below(2) == 0 {
                let _ = fs::copy(&part, &other);
            } else {
                let _ = fs::rename(&part, &other);
            }
            format!("{} at {}", part.display(), other.display())
        }
        10 => {
            let any = chance.of(&[pull, build]).clone();
            edit(&any, |text| text.replacen("engine:", "engine: [", 1).replacen("order:", "order: x", 1));
            format!("broken {}", any.display())
        }
        11 => {
            edit(&path.join("book.yaml"), |text| text + "# again\n");
            "book.yaml".to_owned()
        }
        _ => {
            let done = Command::new("git")
                .args(["-c", "user.name=mk", "-c", "user.email=mk@example.org"])
                .args(["revert", "--no-edit", "HEAD"])
                .current_dir(path)
                .output()
                .expect("git");
            format!("reverted: {}", done.status.success())
        }
    }
}

#[test]
fn every_answer_is_the_one_without_it_while_a_book_changes() {
    // A long run takes more: `MULEBOOK_CHANGES=40 cargo test --test catalog`.
    let changes = std::env::var("MULEBOOK_CHANGES").ok().and_then(|count| count.parse().ok()).unwrap_or(2);
    for seed in 0..1 {
        let (_folder, path) = copied();
        let mut chance = Chance(seed);
        alike(&path, "the demo");
        for number in 0..changes {
            let before = fs::read(catalog_file(&path)).unwrap_or_default();
            let what = change(&path, &mut chance, number);
            commit(&path);
            alike(&path, &format!("seed {seed}, change {number}: {what}"));
            // A catalog from before, put back: as after a copy of the folder that came too early.
            if chance.below(3) == 0 && !before.is_empty() {
                fs::write(catalog_file(&path), before).expect("written");
                alike(&path, &format!("seed {seed}, put back before change {number}: {what}"));
            }
            if chance.below(4) == 0 {
                fs::remove_file(catalog_file(&path)).expect("removed");
                alike(&path, &format!("seed {seed}, made again after change {number}: {what}"));
            }
        }
    }
}

/// Pulls of one build are not alike in a figure that drifts and was read between them, nor in whether it was read before
/// or after they ran.
#[test]
fn a_reading_between_two_pulls_parts_them() {
    let (_folder, path) = copied();
    let build = path.join("builds/b1/build.yaml");
    edit(&build, |text| {
        let (before, after) = text.split_once("  valve-lash-exhaust:").expect("the demo has it");
        let (_, after) = after.split_once("  fuel-map:").expect("what follows it");
        let entry = |value: &str, taken: &str| {
            format!("    - {{measured: {value} mm, with: feeler-1, by: mk, taken: {taken}}}\n")
        };
        let entries = [
            entry("0.25", "2026-04-10"),
            entry("0.35", "2026-04-11T09:50:00+02:00"),
            entry("0.45", "2026-04-11T10:20:00+02:00"),
        ];
        format!("{before}  valve-lash-exhaust:\n{}  fuel-map:{after}", entries.concat())
    });
    commit(&path);
    let book = Book::discover(&path).expect("a book");
    let words = |from: From| {
        let question = asked(Sort::Pulls, &[], &["valve-lash-exhaust > 0.1 mm"]);
        let question = FindRequest { session: Some("0411a".to_owned()), ..question };
        let found = find::find_in(&book, question, from, &|_, _, _| ()).expect("an answer");
        let of_build = found.rows.into_iter().filter(|row| row.of.as_deref() == Some("b1"));
        of_build
            .map(|row| format!("{} {}", row.name, row.values[0].clone().unwrap_or_default()))
            .collect::<Vec<_>>()
    };
    let recorded = words(From::Records);
    assert!(recorded[0].starts_with("0411a-01 0.25 mm"), "{recorded:?}");
    assert!(recorded[1].starts_with("0411a-02 0.35 mm"), "{recorded:?}");
    assert_eq!(words(From::Catalog), recorded);
}

/// What is counted of wear while the catalog is made is, to the byte, what counting by itself keeps.
#[test]
fn wear_counted_on_the_way_is_what_is_counted_by_itself() {
    let (_folder, path) = copied();
    let _ = fs::remove_dir_all(path.join(".git/mulebook"));
    let kept = path.join(".git/mulebook/cache/wear-3");
    let book = Book::discover(&path).expect("a book");
    find::find_in(&book, asked(Sort::Pulls, &[], &[]), From::Catalog, &|_, _, _| ()).expect("an answer");
    let on_the_way = fs::read(&kept).expect("the catalog's making keeps it");
    fs::remove_file(&kept).expect("removed");
    sides(&path, &book, From::Catalog);
    assert_eq!(fs::read(&kept).expect("a diff keeps it"), on_the_way);
}

/// Long logs are not read before somebody asks for what is in them; the answer is the same then.
#[test]
fn long_logs_wait_until_they_are_asked_for() {
    let means = |path: &Path, question: FindRequest| {
        let book = Book::discover(path).expect("a book");
        find::find_in(&book, question, From::Catalog, &|_, _, _| ()).expect("an answer");
        let catalog = book.catalog().expect("a catalog");
        catalog.read("roots", "means").expect("it holds").is_some()
    };
    let warm = || asked(Sort::Pulls, &[], &["air-temperature > 10 degC"]);
    for (bytes, at_once) in [(None, true), (Some("bytes: 262145"), false)] {
        let (_folder, path) = copied();
        let pull = path.join("builds/b1/pulls/0411a-01.yaml");
        edit(&pull, |text| {
            let (before, after) = text.split_once("bytes: ").expect("a raw file with its length");
            let end = after.find(|c: char| !c.is_ascii_digit()).expect("what follows it");
            let said = bytes.map_or_else(|| format!("bytes: {}", &after[..end]), str::to_owned);
            format!("{before}{said}{}", &after[end..])
        });
        commit(&path);
        let _ = fs::remove_dir_all(path.join(".git/mulebook"));
        assert_eq!(means(&path, asked(Sort::Pulls, &[], &[])), at_once, "{bytes:?}");
        assert!(means(&path, warm()), "{bytes:?}");
        alike(&path, &format!("{bytes:?}"));
    }
}

#[test]
fn a_damaged_catalog_is_thrown_away() {
    let (_folder, path) = copied();
    let expected = answers(&path, From::Records);
    assert_eq!(answers(&path, From::Catalog), expected);
    let whole = fs::read(catalog_file(&path)).expect("bytes");
    let mut chance = Chance(7);
    for turn in 0..8 {
        let mut bytes = whole.clone();
        match turn % 4 {
            0 => bytes.truncate(chance.below(whole.len())),
            1 => (0..1 + chance.below(40))
                .for_each(|_| bytes[chance.below(whole.len())] ^= 1 << chance.below(8)),
            2 => (0..8).for_each(|_| bytes[chance.below(4096)] ^= 1 << chance.below(8)),
            _ => {
                let start = chance.below(whole.len());
                let end = (start + 8192).min(whole.len());
                bytes[start..end].fill(u8::try_from(chance.below(256)).expect("a byte"));
            }
        }
        fs::write(catalog_file(&path), bytes).expect("written");
        assert_eq!(answers(&path, From::Catalog), expected, "turn {turn}");
        assert_eq!(answers(&path, From::Catalog), expected, "turn {turn}, again");
    }
}

#[test]
fn files_of_others_in_its_place_are_no_trouble() {
    let (_folder, path) = copied();
    let expected = answers(&path, From::Records);
    let file = catalog_file(&path);
    for bytes in [&b""[..], b"not a database", &[0; 5000]] {
        fs::write(&file, bytes).expect("written");
        assert_eq!(answers(&path, From::Catalog), expected);
    }
    fs::remove_file(&file).expect("removed");
    let other = rusqlite::Connection::open(&file).expect("a database");
    other.execute_batch("CREATE TABLE rows (a, b); INSERT INTO rows VALUES (1, 2)").expect("a table");
    drop(other);
    assert_eq!(answers(&path, From::Catalog), expected);
    fs::remove_file(&file).expect("removed");
    fs::create_dir(&file).expect("a folder");
    assert_eq!(answers(&path, From::Catalog), expected);
}

#[test]
fn a_catalog_that_another_process_holds_is_not_waited_for() {
    let (_folder, path) = copied();
    let expected = answers(&path, From::Records);
    assert_eq!(answers(&path, From::Catalog), expected);
    let other = rusqlite::Connection::open(catalog_file(&path)).expect("the catalog");
    other.execute_batch("BEGIN EXCLUSIVE").expect("the lock");
    assert_eq!(answers(&path, From::Catalog), expected);
    other.execute_batch("ROLLBACK").expect("the lock back");
    assert_eq!(answers(&path, From::Catalog), expected);
}

#[test]
fn pending_edits_are_named_as_without_it() {
    let (_folder, path) = copied();
    alike(&path, "clean");
    for file in
        ["builds/b2/build.yaml", "instruments/lamp-1.yaml", "parts/header/long-1.yaml", "sessions/0411a.yaml"]
    {
        edit(&path.join(file), |text| text + "# not kept\n");
        alike(&path, file);
    }
    fs::remove_file(path.join("cells/tower.yaml")).expect("removed");
    alike(&path, "a file that is gone");
}

#[test]
fn in_a_large_book_only_the_records_found_are_looked_at() {
    let (_folder, path) = copied();
    let found = |most: usize, request: FindRequest| {
        let book = Book::discover(&path).expect("a book");
        find::find_looking(&book, request, From::Catalog, most, &|_, _, _| ()).expect("an answer")
    };
    let of_session = || FindRequest { session: Some("0411a".to_owned()), ..asked(Sort::Pulls, &[], &[]) };
    let all = files(&path, "builds", "/pulls/").len();
    let own = found(all, of_session()).rows;
    assert!(own.len() > 1 && own.len() < all);

    let here = format!("builds/{}/pulls/{}.yaml", own[0].of.as_ref().expect("a build"), own[0].name);
    let elsewhere = "builds/b7/pulls/0509a-01.yaml".to_owned();
    for file in
        [here.as_str(), &elsewhere, "parts/header/long-1.yaml", "sessions/0411a.yaml", "sessions/0509a.yaml"]
    {
        edit(&path.join(file), |text| text + "# not kept\n");
    }
    let full = found(all, of_session());
    assert!(full.pending.contains(&elsewhere), "{:?}", full.pending);
    assert_eq!(full.not_looked_at, 0);
    let short = found(all - 1, of_session());
    assert_eq!(short.rows, full.rows);
    assert_eq!(short.pending, [here.as_str(), "parts/header/long-1.yaml", "sessions/0411a.yaml"]);
    assert_eq!(short.not_looked_at, all - own.len());
    let told = mulebook::render::find(&short, mulebook::render::Look::default());
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains(&format!("not in {} further records", short.not_looked_at)), "{told}");
    // Where all were found, all were looked at.
    let every = asked(Sort::Pulls, &[], &[]);
    assert_eq!(found(all - 1, every.clone()), found(all, every));
}

#[test]
fn only_what_changed_is_read_again() {
    let (_folder, path) = copied();
    let read = |path: &Path| {
        let book = Book::discover(path).expect("a book");
        let read = catalog::bring_up(&book, &|_, _, _| ()).expect("a catalog");
        read.into_iter().map(|(shelf, read)| (shelf, read.rows)).collect::<Vec<_>>()
    };
    let none = [("pulls", 0), ("means", 0), ("ratios", 0), ("builds", 0), ("parts", 0)];
    let pulls = files(&path, "builds", "/pulls/").len();
    let first = read(&path);
    assert_eq!(first[0], ("pulls", pulls));
    assert_eq!(first[3], ("builds", files(&path, "builds", "build.yaml").len()));
    assert_eq!(first[4], ("parts", files(&path, "parts", ".yaml").len()));
    assert_eq!(read(&path), none, "nothing changed");

    let further = path.join("builds/b2/pulls/0411a-11.yaml");
    fs::copy(path.join("builds/b2/pulls/0411a-05.yaml"), &further).expect("a copy");
    edit(&further, |text| text.replace("0411a-05", "0411a-11").replace("order: 5", "order: 11"));
    commit(&path);
    assert_eq!(
        read(&path),
        [("pulls", 1), ("means", 1), ("ratios", 1), ("builds", 0), ("parts", 0)],
        "a new pull"
    );

    edit(&path.join("people.yaml"), |text| text + "# again\n");
    commit(&path);
    assert_eq!(read(&path), none, "nothing that a row rests on");

    edit(&path.join("builds/b3/build.yaml"), |text| text + "# again\n");
    commit(&path);
    let of_b3 = files(&path, "builds/b3", "/pulls/").len();
    let expected = [("pulls", of_b3), ("means", of_b3), ("ratios", of_b3), ("builds", 1), ("parts", 0)];
    assert_eq!(read(&path), expected, "a build");

    edit(&path.join("parts/header/long-1.yaml"), |text| text + "# again\n");
    commit(&path);
    let after = read(&path);
    assert_eq!(after[4], ("parts", 1), "a part");
    assert!(after[0].1 > 0 && after[0].1 < pulls + 1, "the pulls with that header: {after:?}");
    alike(&path, "in the end");
}
