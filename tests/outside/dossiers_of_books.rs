//! Dossiers of whole books: the demo's, and books that the program made at random. A random book has some of a day's pulls, with
//! numbers left out, entered with other things between: receipts, hand edits, joined branches, signed commits, corrections, a
//! claim of its own. One is made in a test run; `MULEBOOK_BOOKS=20` makes more of them.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value as Json;

use super::{bash, disagreeing, git, have, private_key, recipe, said};
use crate::dossier_fixture::{self, codes, line, opened, opened_by, unzipped};
use crate::outside;
use crate::shop;
use mulebook::evidence::{Role, Signers};
use mulebook::manifest::node::Node;
use mulebook::manifest::yaml;

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

    fn in_ten(&mut self, count: usize) -> bool {
        self.below(10) < count
    }
}

/// A book, the claim to gather, and what to say besides.
struct Case {
    _folder: tempfile::TempDir,
    book: PathBuf,
    name: String,
    claim: String,
    more: Vec<String>,
    /// How many of its commits were signed with key 1.
    signed: usize,
}

fn demo() -> Case {
    let folder = tempfile::tempdir().expect("a folder");
    let book = folder.path().join("book");
    let made = shop::program(&book, &["demo", book.to_str().expect("a path")]).output().expect("it runs");
    assert!(made.status.success(), "{}", said(&made));
    Case {
        _folder: folder,
        book,
        name: "demo".to_owned(),
        claim: "stepped-header".to_owned(),
        more: vec!["--whole-history".to_owned()],
        signed: 0,
    }
}

/// What a person would say of a pull of the demo's list on the command line.
fn spoken(item: &Node) -> Vec<String> {
    let text = |key: &str| item.get(key).and_then(Node::text).unwrap_or_default().to_owned();
    let mut words = vec!["pull".to_owned(), shop::raw(&text("file")), "--yes".to_owned()];
    for key in ["session", "build", "order", "at", "correction"] {
        words.extend([format!("--{key}"), text(key)]);
    }
    for (key, option, prefix) in [
        ("conditions", "--set", ""),
        ("run", "--set", "run."),
        ("changed", "--changed", ""),
        ("with", "--with", ""),
    ] {
        for (name, value) in item.get(key).map(Node::entries).unwrap_or_default() {
            let (name, value) = (name.text().expect("a name"), value.text().expect("a value"));
            words.extend([option.to_owned(), format!("{prefix}{name}={value}")]);
        }
    }
    words
}

/// Does something to the book as people or other programs may; says whether it made a commit that key 1 was to sign.
fn between(book: &Path, key: &Path, chance: &mut Chance, number: usize) -> usize {
    let hand_edit = |name: &str| {
        let path = book.join(name);
        let text = fs::read_to_string(&path).expect("a record");
        fs::write(&path, format!("{text}# looked at again, {number}\n")).expect("written");
    };
    match chance.below(6) {
        0 => drop(shop::done(book, &["dossier", "--receipt"])),
        1 => {
            let name: &&str = chance.of(&["people.yaml", "parts/header/long-1.yaml", "cells/tower.yaml"]);
            hand_edit(name);
            shop::done(book, &["keep", "-m", "Looked at <again>\u{1b}[2J: \"quoted\", naïve"]);
        }
        2 => {
            hand_edit("instruments/rule-1.yaml");
            let key = key.to_str().expect("a path");
            shop::done(book, &["keep", "-m", "Signed", "--key", key]);
            return 1;
        }
        3 => {
            // Other people's work, joined by ordinary git.
            let branch = format!("elsewhere-{number}");
            shop::git(book, &["checkout", "-q", "-b", &branch]);
            let folder = book.join(format!("notes/day {number}"));
            fs::create_dir_all(&folder).expect("a folder");
            fs::write(folder.join("ünnamed = note.txt"), vec![b'n'; chance.below(9000)]).expect("written");
            shop::git(book, &["add", "-A"]);
            shop::git(book, &["commit", "-q", "-m", "Notes from elsewhere"]);
            shop::git(book, &["checkout", "-q", "main"]);
            hand_edit("instruments/lamp-1.yaml");
            shop::git(book, &["commit", "-q", "-a", "-m", "Meanwhile here"]);
            shop::git(book, &["merge", "-q", "--no-ff", "--no-edit", &branch]);
        }
        4 => {
            let value = format!("44.6 44.9 44.8 44.{} ±0.2 cc", number % 10);
            shop::done(book, &["measure", "h1/a", "chamber-volume", &value, "--with", "burette-1"]);
        }
        _ => {
            let pulls: Vec<PathBuf> = fs::read_dir(book.join("builds/b1/pulls"))
                .map(|pulls| pulls.map(|pull| pull.expect("an entry").path()).collect())
                .unwrap_or_default();
            if let Some(pull) = pulls.iter().min() {
                let id = pull.file_stem().and_then(|stem| stem.to_str()).expect("an id");
                let words =
                    ["correct", id, "--set", "correction=observed", "--because", "read off the card again"];
                shop::done(book, &words);
            }
        }
    }
    0
}

/// A book made at random, from pulls of the demo's first day.
fn random(number: usize, keys: &Path) -> Case {
    let mut chance = Chance(number as u64 + 7_000);
    let (folder, book) = shop::shop();
    let list = fs::read(shop::source("demo-data/pulls.yaml")).expect("the list");
    let list = yaml::read("pulls.yaml", &list).expect("a list");
    let text = |item: &Node, key: &str| item.get(key).and_then(Node::text).unwrap_or_default().to_owned();
    let first_day: Vec<&Node> = list.items().iter().filter(|item| text(item, "session") == "0411a").collect();
    // At least three of each side, or nothing can be said of scatter; any of the others.
    let needed: BTreeSet<&str> = ["1", "2", "3", "4", "5", "6"].into();
    let key = keys.join("key-1");
    let mut signed = 0;
    for item in &first_day {
        let order = text(item, "order");
        if !needed.contains(order.as_str()) && chance.in_ten(4) {
            continue;
        }
        if chance.in_ten(3) {
            signed += between(&book, &key, &mut chance, order.parse().expect("a number"));
        }
        let words = spoken(item);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        shop::done(&book, &words);
    }
    let claim = if chance.in_ten(3) {
        "stepped-header".to_owned()
    } else {
        let window = *chance.of(&["3500..7500", "5000..7500", "6000..7000"]);
        let least = format!("{} N·m", chance.below(9));
        let claim = format!("c-{number}");
        let words = [
            "claim",
            &claim,
            "--says",
            "It gains: \"<b>more</b>\", ±",
            "--subject",
            "header",
            "--base",
            "0411a-01..03",
            "--test",
            "0411a-04..06",
            "--window",
            window,
            "--least",
            &least,
            "--engine",
            "mule-1",
        ];
        shop::done(&book, &words);
        claim
    };
    signed += between(&book, &key, &mut chance, 99);
    let mut more = Vec::new();
    if chance.in_ten(3) {
        let kept =
            *chance.of(&["parts/camshaft/cams-5.yaml", "tarnbeck-0411-02.csv", "parts/oil/fill-12.yaml"]);
        more.extend(["--withhold".to_owned(), kept.to_owned()]);
    } else if chance.in_ten(5) {
        more.push("--whole-history".to_owned());
    }
    Case { _folder: folder, book, name: format!("random-{number}"), claim, more, signed }
}

/// Puts the commits and trees that a dossier carries into an empty repository, by git itself, and its records with them; git
/// finds nothing wrong but what is not carried.
fn judged_by_git(data: &Path, case: &Case) {
    let fresh = tempfile::tempdir().expect("a folder");
    let repository = fresh.path();
    git(repository, &["init", "-q"]);
    let history = data.join("history");
    let tip = fs::read_to_string(history.join("tip")).expect("the tip");
    let mut carried = BTreeSet::new();
    for entry in fs::read_dir(&history).expect("a list") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().and_then(|name| name.to_str()).expect("a name").to_owned();
        let Some((id, kind)) = name.split_once('.') else { continue };
        let printed = git(repository, &["hash-object", "-t", kind, "-w", path.to_str().expect("a path")]);
        assert_eq!(String::from_utf8_lossy(&printed).trim(), id, "{}", case.name);
        carried.insert(id.to_owned());
    }
    assert!(carried.len() > 20, "{}: {}", case.name, carried.len());
    git(repository, &["update-ref", "refs/heads/main", tip.trim()]);
    let list: Json =
        serde_json::from_slice(&fs::read(data.join("dossier.json")).expect("the list")).expect("JSON");
    let mut held = 0;
    for record in list["records"].as_array().expect("records") {
        let Some(file) = record["file"].as_str() else { continue };
        let file = data.join(file);
        let blob = git(repository, &["hash-object", "-w", file.to_str().expect("a path")]);
        let at_tip =
            git(repository, &["rev-parse", &format!("main:{}", record["path"].as_str().expect("a path"))]);
        assert_eq!(String::from_utf8_lossy(&blob), String::from_utf8_lossy(&at_tip), "{record}");
        held += 1;
    }
    assert!(held > 30, "{}: {held}", case.name);
    let checked = bash(repository, "git fsck --strict --no-dangling");
    let said = said(&checked);
    for found in said.lines() {
        let words: Vec<&str> = found.split_whitespace().collect();
        let not_carried = match words.as_slice() {
            ["missing", "blob" | "tree" | "commit", id] => !carried.contains(*id),
            ["error", "in", "blob", id, "gitattributesMissing:", ..] => {
                !carried.contains(id.trim_end_matches(':'))
            }
            ["broken", "link", "from", ..] | ["to", ..] => true,
            // Second parents of joined branches.
            ["error:" | "warning:", ..] => {
                found.contains("invalid sha1 pointer") || found.contains("Could not read")
            }
            ["notice:", ..] => true,
            _ => false,
        };
        assert!(not_carried, "{}: git fsck: {found}\n{said}", case.name);
    }
    // Commits signed by the program, by git's own reckoning.
    let keys = fresh.path().join("keys");
    fs::write(&keys, line(1, "namespaces=\"git\"")).expect("written");
    let allowed = format!("gpg.ssh.allowedSignersFile={}", keys.display());
    let log = bash(
        repository,
        &format!("git -c gpg.format=ssh -c '{allowed}' log --first-parent --format=%G? main 2>/dev/null"),
    );
    let good = String::from_utf8_lossy(&log.stdout).lines().filter(|line| *line == "G").count();
    assert_eq!(good, case.signed, "{}", case.name);
    if data.join("book.bundle").exists() {
        let bundle = data.join("book.bundle");
        let bundle = bundle.to_str().expect("a path");
        let clone = fresh.path().join("clone");
        git(fresh.path(), &["clone", "-q", bundle, clone.to_str().expect("a path")]);
        git(&clone, &["fsck", "--strict"]);
        let head = git(&clone, &["rev-parse", "HEAD"]);
        assert_eq!(String::from_utf8_lossy(&head).trim(), tip.trim());
    }
}

/// What the program says of a dossier, with nothing but a list of signers beside it.
fn verified(file: &Path, signers: &Path) -> (i32, Json) {
    let folder = tempfile::tempdir().expect("a folder");
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_mulebook"))
        .arg("verify")
        .arg(file)
        .arg("--signers")
        .arg(signers)
        .arg("--json")
        .current_dir(folder.path())
        .env("MULEBOOK_NOW", shop::NOW)
        .output()
        .expect("the program runs");
    let answer =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", said(&output)));
    (output.status.code().expect("it ends by itself"), answer)
}

#[test]
fn dossiers_of_the_demo_and_of_random_books_hold_by_every_other_program() {
    if !["ssh-keygen", "sha256sum", "git", "unzip"].into_iter().all(have) {
        return;
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside/books");
    if folder.exists() {
        fs::remove_dir_all(&folder).expect("the last run's files");
    }
    fs::create_dir_all(&folder).expect("target/ can be written");
    let keys = tempfile::tempdir().expect("a folder");
    for number in 1..=2 {
        private_key(&keys.path().join(format!("key-{number}")), number);
    }
    let both = keys.path().join("signers");
    fs::write(&both, line(1, "") + &line(2, "namespaces=\"witness@mulebook.example\"")).expect("written");
    let count = std::env::var("MULEBOOK_BOOKS").ok().and_then(|text| text.parse().ok()).unwrap_or(1);
    let cases: Vec<Case> =
        std::iter::once(demo()).chain((0..count).map(|number| random(number, keys.path()))).collect();
    let mut shown = 0;
    for case in &cases {
        let sealed = folder.join(format!("{}.zip", case.name));
        let out = sealed.to_str().expect("a path");
        let key = |number: u8| keys.path().join(format!("key-{number}")).display().to_string();
        let mut words = vec!["dossier", &case.claim, "--out", out, "--sign"];
        let first = key(1);
        words.push(&first);
        words.extend(case.more.iter().map(String::as_str));
        shop::done(&case.book, &words);

        // Unpacked by unzip and judged by the four lines of the sponsors' page.
        let outer = tempfile::tempdir().expect("a folder");
        let unpacked = bash(outer.path(), &format!("unzip -tqq '{out}' && unzip -q '{out}'"));
        assert!(unpacked.status.success(), "{}: {}", case.name, said(&unpacked));
        fs::write(outer.path().join("shop-signers"), line(1, "")).expect("written");
        let bag = outer.path().join(&case.claim);
        assert_eq!(disagreeing(&bag), [0_usize; 0], "{}: {:?}", case.name, recipe(&bag));
        judged_by_git(&bag.join("data"), case);

        // By the program, with no book at hand.
        let (code, answer) = verified(&sealed, &both);
        let kept_back = case.more.iter().any(|word| word == "--withhold");
        assert!(matches!(code, 0 | 5), "{}: {answer}", case.name);
        assert_eq!(answer["recomputed"]["moved_count"], 0, "{}: {answer}", case.name);
        assert!(kept_back || answer["recomputed"]["done"] == true, "{}: {answer}", case.name);
        assert_eq!(code == 0, answer["outcome"] == "holds", "{}", case.name);
        assert_eq!(!answer["kept_back"].as_array().expect("a list").is_empty(), kept_back, "{}", case.name);
        shown += usize::from(code == 0);
        let signed = answer["signed_commits"].as_array().expect("a list");
        let told: usize = signed.iter().map(|line| line["commits"].as_array().map_or(0, Vec::len)).sum();
        assert_eq!(told, case.signed, "{}: {signed:?}", case.name);

        // Countersigned by the program, judged by ssh-keygen.
        let witnessed = folder.join(format!("{}-witnessed.zip", case.name));
        let second = key(2);
        let words = [
            "dossier",
            "--countersign",
            out,
            "--sign",
            &second,
            "--out",
            witnessed.to_str().expect("a path"),
        ];
        let nowhere = tempfile::tempdir().expect("a folder");
        shop::done(nowhere.path(), &words);
        let outer = tempfile::tempdir().expect("a folder");
        let unpacked = bash(outer.path(), &format!("unzip -q '{}'", witnessed.display()));
        assert!(unpacked.status.success(), "{}", said(&unpacked));
        fs::write(outer.path().join("shop-signers"), line(1, "")).expect("written");
        fs::write(outer.path().join("witnesses"), line(2, "")).expect("written");
        let bag = outer.path().join(&case.claim);
        assert_eq!(disagreeing(&bag), [0_usize; 0], "{}: {:?}", case.name, recipe(&bag));
        let agreed = bash(
            &bag,
            "ssh-keygen -Y verify -f ../witnesses -I shop@test.example -n witness@mulebook.example \
             -s tagmanifest-sha256.txt.witness-1.sig < tagmanifest-sha256.txt",
        );
        assert!(agreed.status.success(), "{}: {}", case.name, said(&agreed));
        let bytes = fs::read(&witnessed).expect("the dossier");
        let list =
            Signers::parse("signers", &fs::read_to_string(&both).expect("a list"), None).expect("a list");
        let whole = opened_by(&bytes, &list).expect("whole");
        assert!(whole.findings.is_empty(), "{:?}", codes(&whole.findings));
        let roles: Vec<Role> = whole.signatures.iter().map(|seal| seal.role).collect();
        assert_eq!(roles, [Role::Shop, Role::Witness]);
        // Nothing but the countersignature was added.
        let (mut with, without) = (unzipped(&bytes), unzipped(&fs::read(&sealed).expect("the dossier")));
        let added = with.remove(&format!("{}/tagmanifest-sha256.txt.witness-1.sig", case.claim));
        assert!(added.is_some() && with == without, "{}", case.name);
    }
    assert!(shown > 0, "no claim is shown");
    judged_by_python(&folder, cases.len());
}

/// bagit, roc-validator and Python's zipfile, on every dossier, countersigned or not; and ours on what those have packed again.
fn judged_by_python(folder: &Path, cases: usize) {
    let Some(lines) = outside::lines_of("dossiers.py", &[folder.as_os_str()]) else { return };
    assert_eq!(lines.len(), 2 * cases);
    for line in lines {
        let name = line["dossier"].as_str().expect("a name");
        assert_eq!(line["unpacks"], true, "{line}");
        assert!(line["bag"].is_null(), "bagit: {line}");
        assert_eq!(line["crate"], serde_json::json!([]), "roc-validator: {line}");
        assert!(line["entities"].as_u64().is_some_and(|count| count > 100), "{line}");
        let first = opened(&fs::read(folder.join(name)).expect("ours")).expect("ours opens");
        let ways = line["ways"].as_array().expect("ways");
        assert!(ways.len() >= 5);
        for way in ways {
            let file = format!("{}.{}.zip", name.trim_end_matches(".zip"), way.as_str().expect("a way"));
            let path = folder.join("again").join(&file);
            let repacked = opened(&fs::read(&path).expect("packed again"))
                .unwrap_or_else(|found| panic!("{file}: {found:#?}"));
            assert_eq!((&repacked.seal, &repacked.payload), (&first.seal, &first.payload), "{file}");
            assert!(repacked.sealed_by().is_some(), "{file}");
        }
        if name == "demo.zip" {
            let signers = folder.join("signers");
            fs::write(&signers, dossier_fixture::line(1, "")).expect("written");
            for way in ["zip64", "pipe"] {
                let (code, answer) = verified(&folder.join(format!("again/demo.{way}.zip")), &signers);
                assert_eq!(
                    (code, &answer["recomputed"]["moved_count"]),
                    (0, &Json::from(0)),
                    "{way}: {answer}"
                );
            }
        }
    }
}
