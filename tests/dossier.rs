//! A claim's dossier from the book that made it to a machine that has no book: whole, signed, worked out again; and what
//! becomes of one that somebody bent. Numbers in brackets are those of the list of hostile cases in the evidence notes.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "the program is started as a process, on files on disk"
)]

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

use mulebook::evidence::Contents;
use mulebook::evidence::Description;
use serde_json::Value as Json;
use ssh_key::LineEnding;

#[path = "dossier_fixture/mod.rs"]
mod dossier_fixture;

use dossier_fixture as fixture;

const CLAIM: &str = "stepped-header";
const NOW: &str = "2026-06-01T14:00:00+02:00";

/// A folder with the demo's book, keys and lists of signers.
struct Shop {
    folder: tempfile::TempDir,
}

/// The files of a payload by path.
type Files = BTreeMap<String, Vec<u8>>;
/// Bends the list of a dossier, or a file beside it.
type BendList<'b> = &'b dyn Fn(&mut Json, &mut Files);
/// A case: its number and name, the record, and how it is bent.
type BentRecord<'b> = (&'b str, &'b str, Box<dyn Fn(&str) -> String>);

/// What a run said.
#[derive(Debug)]
struct Said {
    code: i32,
    out: String,
    error: String,
}

impl Said {
    fn json(&self) -> Json {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// The codes of all findings of a failure.
    fn codes(&self) -> Vec<String> {
        let findings = self.json()["findings"].as_array().cloned().unwrap_or_default();
        findings.iter().filter_map(|finding| finding["code"].as_str().map(str::to_owned)).collect()
    }
}

fn run_in(folder: &Path, arguments: &[&str]) -> Said {
    let output = Command::new(env!("CARGO_BIN_EXE_mulebook"))
        .args(arguments)
        .current_dir(folder)
        .env("MULEBOOK_NOW", NOW)
        .env("MULEBOOK_PERSON", "mk")
        .output()
        .expect("the program runs");
    Said {
        code: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout).expect("text"),
        error: String::from_utf8(output.stderr).expect("text"),
    }
}

impl Shop {
    /// The demo's book, made once.
    fn demo() -> &'static Self {
        static MADE: OnceLock<Shop> = OnceLock::new();
        MADE.get_or_init(Self::fresh)
    }

    /// Another demo book, for what writes into it.
    fn fresh() -> Self {
        let shop = Self { folder: tempfile::tempdir().expect("a folder") };
        assert_eq!(run_in(shop.path(), &["demo", "book"]).code, 0);
        for number in 1..=2 {
            let text = fixture::key(number).to_openssh(LineEnding::LF).expect("a key as text");
            let file = shop.path().join(format!("key-{number}"));
            fs::write(&file, text.as_bytes()).expect("a file");
            // Nobody else may read a key, or ssh-keygen signs nothing with it.
            fs::set_permissions(file, fs::Permissions::from_mode(0o600)).expect("it is ours");
            let list = fixture::line(number, "");
            fs::write(shop.path().join(format!("signers-{number}")), list).expect("a file");
        }
        shop
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Writes a dossier of the demo's claim.
    fn dossier(&self, name: &str, more: &[&str]) -> (Said, PathBuf) {
        let out = format!("../{name}.zip");
        let said =
            run_in(&self.path().join("book"), &[&["dossier", CLAIM, "--out", &out, "--json"], more].concat());
        (said, self.path().join(format!("{name}.zip")))
    }

    /// The signed dossier, made once.
    fn signed() -> &'static [u8] {
        static MADE: OnceLock<Vec<u8>> = OnceLock::new();
        MADE.get_or_init(|| {
            let (said, path) = Self::demo().dossier("signed", &["--sign", "../key-1"]);
            assert_eq!(said.code, 0, "{said:?}");
            fs::read(path).expect("the dossier")
        })
    }
}

/// A machine with nothing on it but a dossier and a list of signers.
fn verified(bytes: &[u8], signers: u8, more: &[&str]) -> Said {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("dossier.zip"), bytes).expect("a file");
    let list = Shop::demo().path().join(format!("signers-{signers}"));
    fs::copy(list, folder.path().join("signers")).expect("a file");
    let said =
        run_in(folder.path(), &[&["verify", "dossier.zip", "--signers", "signers", "--json"], more].concat());
    let left: Vec<_> = fs::read_dir(folder.path()).expect("the folder").collect();
    assert_eq!(left.len(), 2, "nothing is left beside the two files");
    said
}

/// Seals a payload anew, list and all, as a shop with key `number` would.
fn sealed(mut payload: BTreeMap<String, Vec<u8>>, number: Option<u8>) -> Vec<u8> {
    payload.remove("ro-crate-metadata.json");
    let mut contents = Contents {
        claim: CLAIM.to_owned(),
        description: Description {
            name: CLAIM.to_owned(),
            text: "Bent for a test.".to_owned(),
            published: "2026-04-10".to_owned(),
            terms: "None.".to_owned(),
            ..Description::default()
        },
        ..Contents::default()
    };
    for (path, bytes) in payload {
        contents.payload.insert(path, Box::new(bytes));
    }
    fixture::written(&contents, number)
}

/// The payload of a dossier, read by a zip reader that is not ours.
fn payload(bytes: &[u8]) -> BTreeMap<String, Vec<u8>> {
    let prefix = format!("{CLAIM}/data/");
    let files = fixture::unzipped(bytes).into_iter();
    files.filter_map(|(name, bytes)| Some((name.strip_prefix(&prefix)?.to_owned(), bytes))).collect()
}

fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest;
    sha2::Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The dossier with one record altered, its list put right, and signed by the listed key: a shop that lies. Without the
/// history, which would tell at once.
fn with_record(path: &str, edit: impl Fn(&str) -> String) -> Vec<u8> {
    let mut files = payload(Shop::signed());
    files.retain(|name, _| !name.starts_with("history/"));
    let mut index: Json = serde_json::from_slice(&files["dossier.json"]).expect("the list");
    let file = format!("records/{path}");
    let text = String::from_utf8(files[&file].clone()).expect("text");
    let edited = edit(&text);
    assert_ne!(text, edited, "{path} is altered");
    for line in index["records"].as_array_mut().expect("records") {
        if line["path"] == path {
            line["sha256"] = sha256(edited.as_bytes()).into();
        }
    }
    files.insert(file, edited.into_bytes());
    files.insert("dossier.json".to_owned(), index.to_string().into_bytes());
    sealed(files, Some(1))
}

#[test]
fn a_sponsor_with_no_book_at_hand_works_the_claim_out_again() {
    let said = verified(Shop::signed(), 1, &[]);
    assert_eq!(said.code, 0, "{said:?}");
    let answer = said.json();
    assert_eq!(answer["outcome"], "holds");
    assert_eq!(answer["verdict"], "shown");
    assert_eq!(answer["recomputed"]["moved_count"], 0);
    assert!(answer["recomputed"]["figures"].as_u64().is_some_and(|count| count > 300), "{answer}");
    // What came out here is what the dossier says, figure for figure.
    let inside: Json = serde_json::from_slice(&payload(Shop::signed())["claim.json"]).expect("the claim");
    assert_eq!(answer["claim_here"]["weighing"]["difference"], inside["weighing"]["difference"]);
    assert_eq!(answer["claim_here"]["weighing"]["rests"], inside["weighing"]["rests"]);
    assert_eq!(answer["claim_here"]["timing"]["written"], "before");
    // The pulls behind the noise are inside as well: those of the second day say how a refit scatters.
    let names: Vec<String> = payload(Shop::signed()).into_keys().collect();
    assert!(names.iter().any(|name| name.contains("0418a-10")), "{names:?}");
}

#[test]
fn the_same_claim_book_and_program_give_the_same_bytes() {
    let (said, path) = Shop::demo().dossier("again", &["--sign", "../key-1"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(fs::read(path).expect("the dossier") == Shop::signed());
    // A file that is there is not replaced.
    assert_eq!(Shop::demo().dossier("again", &[]).0.code, 1);
}

#[test]
fn a_dossier_that_nobody_listed_signed_goes_no_further() {
    let (said, path) = Shop::demo().dossier("unsigned", &[]);
    assert_eq!((said.code, &said.json()["signed"]), (0, &Json::Bool(false)));
    let said = verified(&fs::read(path).expect("the dossier"), 1, &[]);
    assert_eq!((said.code, said.codes()), (4, vec!["signature-missing".to_owned()]));
    let said = verified(Shop::signed(), 2, &[]);
    assert_eq!((said.code, said.codes()), (4, vec!["signer-unlisted".to_owned()]));
}

#[test]
fn what_is_kept_back_is_named_and_passes_only_where_nothing_rested_on_it() {
    // A pull of the claim itself: nothing can be worked out without its file.
    let (said, path) =
        Shop::demo().dossier("withheld", &["--sign", "../key-1", "--withhold", "tarnbeck-0411-04.csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert_eq!(said.json()["recomputable"], false);
    let said = verified(&fs::read(path).expect("the dossier"), 1, &[]);
    assert_eq!((said.code, &said.json()["outcome"]), (5, &Json::from("not recomputed")), "{said:?}");
    assert_eq!(said.json()["kept_back"][0]["what"], "tarnbeck-0411-04.csv");
    // The part under test.
    let header = "parts/header/step-1.yaml";
    let (said, path) = Shop::demo().dossier("withheld-header", &["--sign", "../key-1", "--withhold", header]);
    assert_eq!((said.code, &said.json()["recomputable"]), (0, &Json::Bool(false)), "{said:?}");
    let said = verified(&fs::read(path).expect("the dossier"), 1, &[]);
    assert_eq!((said.code, &said.json()["kept_back"][0]["what"]), (5, &Json::from(header)), "{said:?}");
    // The same camshaft was in on both sides: it cannot explain the difference, and no figure rests on its record.
    let camshaft = "parts/camshaft/cams-5.yaml";
    let (said, path) =
        Shop::demo().dossier("withheld-record", &["--sign", "../key-1", "--withhold", camshaft]);
    assert_eq!(said.code, 0, "{said:?}");
    let bytes = fs::read(path).expect("the dossier");
    assert!(!payload(&bytes).keys().any(|name| name.ends_with("cams-5.yaml")));
    let said = verified(&bytes, 1, &[]);
    assert_eq!((said.code, &said.json()["kept_back"][0]["what"]), (0, &Json::from(camshaft)), "{said:?}");
    // What is not there cannot be kept back.
    let (said, _) = Shop::demo().dossier("withheld-nothing", &["--withhold", "parts/camshaft/cams-6.yaml"]);
    assert_eq!((said.code, said.codes()), (2, vec!["not-in-the-dossier".to_owned()]));
}

/// A photo beside a figure goes where the figure's record goes, and is missed where it is left out.
#[test]
fn what_shows_a_figure_goes_with_its_record() {
    const PHOTO: &str = "burette-h2-b.png";
    let sha256 = {
        let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/photos").join(PHOTO);
        sha256(&fs::read(photo).expect("the photo"))
    };
    let inside = format!("raw/{sha256}");
    let files = payload(Shop::signed());
    assert!(files.contains_key("records/parts/cylinder-head/h2.yaml") && files.contains_key(&inside));
    let kept_back = |said: &Said| -> Vec<String> {
        let lines = said.json()["kept_back"].as_array().cloned().expect("a list");
        lines.iter().filter_map(|line| line["what"].as_str().map(str::to_owned)).collect()
    };
    // The verdict rests on the figure, not on what shows it.
    let (said, path) = Shop::demo().dossier("withheld-photo", &["--sign", "../key-1", "--withhold", PHOTO]);
    assert_eq!((said.code, &said.json()["recomputable"]), (0, &Json::Bool(true)), "{said:?}");
    let bytes = fs::read(path).expect("the dossier");
    assert!(!payload(&bytes).contains_key(&inside));
    let said = verified(&bytes, 1, &[]);
    assert_eq!((said.code, kept_back(&said)), (0, vec![PHOTO.to_owned()]), "{said:?}");
    // A record that is kept back keeps what shows it with it.
    let head = "parts/cylinder-head/h2.yaml";
    let (said, path) = Shop::demo().dossier("withheld-head", &["--sign", "../key-1", "--withhold", head]);
    assert_eq!((said.code, kept_back(&said)), (0, vec![head.to_owned(), PHOTO.to_owned()]), "{said:?}");
    assert!(!payload(&fs::read(path).expect("the dossier")).contains_key(&inside));
    // A shop that leaves it out and says nothing of it.
    let with_index = |edit: BendList<'_>| {
        let mut files = payload(Shop::signed());
        let mut index: Json = serde_json::from_slice(&files["dossier.json"]).expect("the list");
        edit(&mut index, &mut files);
        files.insert("dossier.json".to_owned(), index.to_string().into_bytes());
        verified(&sealed(files, Some(1)), 1, &[])
    };
    let line = |index: &Json| {
        let lines = index["raw"].as_array().expect("a list").iter();
        lines.enumerate().find(|(_, line)| line["sha256"] == sha256.as_str()).expect("it is listed").0
    };
    let refused: [(&str, BendList<'_>); 3] = [
        ("not listed", &|index, files| {
            let at = line(index);
            index["raw"].as_array_mut().expect("a list").remove(at);
            files.remove(&inside);
        }),
        ("said not to be needed", &|index, files| {
            let at = line(index);
            index["raw"][at]["standing"] = "not-needed".into();
            files.remove(&inside);
        }),
        ("another photo", &|_, files| drop(files.insert(inside.clone(), b"another photo".to_vec()))),
    ];
    for (what, edit) in refused {
        let said = with_index(edit);
        assert_eq!((said.code, said.codes()), (4, vec!["dossier-list".to_owned()]), "{what}: {said:?}");
    }
    // One that is kept back by name passes, and is named.
    let said = with_index(&|index, files| {
        let at = line(index);
        index["raw"][at]["standing"] = "withheld".into();
        files.remove(&inside);
    });
    assert_eq!((said.code, kept_back(&said)), (0, vec![PHOTO.to_owned()]), "{said:?}");
}

/// [8, 91]
#[test]
fn an_edited_claim_is_found_by_the_seal_or_by_working_it_out() {
    let bent = |number| {
        let mut files = payload(Shop::signed());
        let text = String::from_utf8(files["claim.json"].clone()).expect("text");
        let mut claim: Json = serde_json::from_str(&text).expect("the claim");
        claim["weighing"]["difference"]["value"] = 9.0.into();
        files.insert("claim.json".to_owned(), claim.to_string().into_bytes());
        sealed(files, number)
    };
    // Hashed again by somebody else.
    assert_eq!(verified(&bent(Some(2)), 1, &[]).codes(), ["signer-unlisted"]);
    assert_eq!(verified(&bent(None), 1, &[]).codes(), ["signature-missing"]);
    // Hashed and signed again by the shop itself.
    let said = verified(&bent(Some(1)), 1, &[]);
    assert_eq!(said.code, 5, "{said:?}");
    let moved = &said.json()["recomputed"]["moved"][0];
    assert_eq!(moved["at"], "weighing.difference.value");
    // The text tells another story than the figures.
    let mut files = payload(Shop::signed());
    files.insert("claim.txt".to_owned(), b"A gain of 40 N m is shown.\n".to_vec());
    let said = verified(&sealed(files, Some(1)), 1, &[]);
    assert_eq!((said.code, &said.json()["recomputed"]["moved"][0]["at"]), (5, &Json::from("claim.txt")));
}

/// [89, 90] and a list that lies about what is inside.
#[test]
fn the_list_of_a_dossier_says_what_is_inside() {
    let with_index = |edit: BendList<'_>| {
        let mut files = payload(Shop::signed());
        let mut index: Json = serde_json::from_slice(&files["dossier.json"]).expect("the list");
        edit(&mut index, &mut files);
        files.insert("dossier.json".to_owned(), index.to_string().into_bytes());
        verified(&sealed(files, Some(1)), 1, &[])
    };
    let refused: [(&str, BendList<'_>); 7] = [
        ("another form", &|index, _| index["dossier"] = 2.into()),
        ("a field more", &|index, _| index["more"] = 1.into()),
        ("another hash", &|index, _| index["records"][0]["sha256"] = "0".repeat(64).into()),
        ("a path outside", &|index, _| index["records"][0]["path"] = "../x.yaml".into()),
        ("git's own folder", &|index, _| index["records"][0]["path"] = ".git/config".into()),
        ("twice the same", &|index, _| index["records"][1]["path"] = index["records"][0]["path"].clone()),
        ("a raw file that is not inside", &|index, files| {
            let sha256 =
                index["raw"].as_array().expect("raw").iter().find(|line| line["standing"] == "inside");
            let sha256 = sha256.expect("one is inside")["sha256"].as_str().expect("text").to_owned();
            files.remove(&format!("raw/{sha256}"));
        }),
    ];
    for (what, edit) in refused {
        let said = with_index(edit);
        assert!(matches!(said.code, 1 | 4), "{what}: {said:?}");
        assert!(said.codes().iter().all(|code| code.starts_with("dossier-")), "{what}: {said:?}");
    }
    let said = with_index(&|_, files| drop(files.insert("raw/more.csv".to_owned(), b"1,2\n".to_vec())));
    let doubts = said.json()["findings"].to_string();
    assert!(said.code == 0 && doubts.contains("file-of-no-record"), "{said:?}");
}

/// [81, 82, 83, 84, 85, 86, 87, 88, 92]: records of a shop that lies in YAML.
#[test]
fn records_that_do_not_hold_are_refused_with_a_reason() {
    let header = "parts/header/step-1.yaml";
    let pull = "builds/b2/pulls/0411a-04.yaml";
    let aliases = || {
        let mut text = "a: &a [x, x, x, x, x, x, x, x, x]\n".to_owned();
        for (now, before) in ('b'..='k').zip('a'..) {
            text.push_str(&format!("{now}: &{now} [{}]\n", vec![format!("*{before}"); 9].join(", ")));
        }
        text
    };
    let cases: Vec<BentRecord<'_>> = vec![
        ("81 alias bomb", header, Box::new(move |text| format!("{}{text}", aliases()))),
        (
            "82 deep nesting",
            header,
            Box::new(|text| format!("{text}x: {}{}\n", "[".repeat(5000), "]".repeat(5000))),
        ),
        ("83 duplicate key", header, Box::new(|text| format!("{text}part: step-2\n"))),
        ("84 tag", header, Box::new(|text| format!("{text}note: !!python/object:os.system \"x\"\n"))),
        ("84 merge key", header, Box::new(|text| format!("{text}<<: {{note: \"x\"}}\n"))),
        ("85 two documents", header, Box::new(|text| format!("{text}---\npart: step-1\n"))),
        ("86 not a number", pull, Box::new(|text| text.replacen("order: 4", "order: .nan", 1))),
        ("86 beyond numbers", pull, Box::new(|text| text.replacen("order: 4", "order: 1e400", 1))),
        (
            "86 400 digits",
            pull,
            Box::new(|text| text.replacen("order: 4", &format!("order: {}", "9".repeat(400)), 1)),
        ),
        ("86 hexadecimal", pull, Box::new(|text| text.replacen("order: 4", "order: 0x4", 1))),
        ("87 unknown field", header, Box::new(|text| format!("{text}verdict: \"shown\"\n"))),
        ("88 id used twice", pull, Box::new(|text| text.replacen("0411a-04", "0411a-05", 1))),
        ("88 dangling id", pull, Box::new(|text| text.replacen("build: b2", "build: b99", 1))),
        ("92 part from after its build", header, Box::new(|text| text.replacen("since: 2", "since: 9", 1))),
    ];
    for (what, path, edit) in cases {
        let begun = std::time::Instant::now();
        let said = verified(&with_record(path, edit), 1, &[]);
        assert_eq!(said.code, 4, "{what}: {said:?}");
        assert!(!said.codes().is_empty(), "{what}: {said:?}");
        assert!(begun.elapsed().as_secs() < 120, "{what}");
    }
}

/// [92]: and a build from after its pulls.
#[test]
fn a_pull_from_before_its_build_is_refused() {
    let bent = with_record("builds/b2/build.yaml", |text| {
        text.replacen("since: 2026-04-11", "since: 2026-04-12", 1)
    });
    let said = verified(&bent, 1, &[]);
    assert_eq!((said.code, said.codes()), (4, vec!["pull-before-build".to_owned(); 3]), "{said:?}");
}

/// [93, 95]: what a record says is shown as it stands and steers nothing.
#[test]
fn text_of_a_record_steers_neither_terminal_nor_page() {
    let bent = with_record("claims/stepped-header.yaml", |text| {
        text.replacen("says: \"The", "says: \"<script>alert(1)</script></style>\\e[2J\\u202e The", 1)
    });
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("dossier.zip"), bent).expect("a file");
    let signers = Shop::demo().path().join("signers-1");
    let said =
        run_in(folder.path(), &["verify", "dossier.zip", "--signers", signers.to_str().expect("a path")]);
    assert_eq!(said.code, 5, "{said:?}");
    for text in [&said.out, &said.error] {
        assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'), "{text}");
    }
    // In a person's name and the message of a commit, made by somebody with git alone.
    let shop = Shop::fresh();
    let book = shop.path().join("book");
    let escape = "\u{1b}]0;owned\u{7}\u{1b}[31m\u{202e}<script>";
    for (file, from, to) in [
        ("people.yaml", "name: \"M. Kessel", "name: \"\\e[31m<script>"),
        ("claims/stepped-header.yaml", "note: \"", "note: \"\\e[2J<script>"),
    ] {
        let text = fs::read_to_string(book.join(file)).expect("a record");
        assert!(text.contains(from), "{text}");
        fs::write(book.join(file), text.replacen(from, to, 1)).expect("written");
    }
    let committed = Command::new("git")
        .args([
            "-c",
            "user.name=\u{1b}[7mM K<script>",
            "-c",
            "user.email=mk@x",
            "commit",
            "-q",
            "-a",
            "-m",
            escape,
        ])
        .current_dir(&book)
        .status();
    assert!(committed.expect("git runs").success());
    let claim = run_in(&book, &["claim", CLAIM]);
    let text_dossier = run_in(&book, &["dossier", CLAIM, "--out", "../bent.zip", "--sign", "../key-1"]);
    let text_verify = run_in(shop.path(), &["verify", "bent.zip", "--signers", "signers-1"]);
    let files =
        payload(&fs::read(shop.path().join("bent.zip")).unwrap_or_else(|_| panic!("{text_dossier:?}")));
    let inside =
        ["claim.txt", "claim.html"].map(|name| String::from_utf8(files[name].clone()).expect("text"));
    let printed = [&claim, &text_dossier, &text_verify].map(|said| said.out.clone() + &said.error);
    for text in printed.iter().chain(&inside) {
        assert!(text.contains("owned") || !text.contains("Written when"), "{text}");
        assert!(!text.contains(['\u{1b}', '\u{7}', '\u{202e}']), "{text}");
    }
    assert!(!inside[1].contains("<script"), "{}", inside[1]);
    let page = String::from_utf8(payload(Shop::signed())["claim.html"].clone()).expect("text");
    assert!(!page.contains("<script") && page.contains("default-src 'none'"), "{page}");
}

/// The dossier with the bytes of one raw file changed, its hash put right wherever it stands, and signed by the listed key. The
/// hash of a record that is changed by it is put right as well. Without the history, which would tell at once.
fn with_raw(name: &str, edit: impl Fn(&[u8]) -> Vec<u8>) -> Vec<u8> {
    let mut files = payload(Shop::signed());
    files.retain(|name, _| !name.starts_with("history/"));
    let index: Json = serde_json::from_slice(&files["dossier.json"]).expect("the list");
    let line = index["raw"].as_array().expect("raw").iter().find(|line| line["name"] == name).expect(name);
    let old = line["sha256"].as_str().expect("text").to_owned();
    let bytes = files.remove(&format!("raw/{old}")).expect("it is inside");
    let edited = edit(&bytes);
    assert_ne!(bytes, edited, "{name} is altered");
    let new = sha256(&edited);
    let mut put_right = vec![(old, new.clone())];
    for (path, text) in files.iter_mut().filter(|(path, _)| path.starts_with("records/builds/")) {
        let before = sha256(text);
        let was = String::from_utf8(text.clone()).expect("text");
        if !was.contains(&put_right[0].0) {
            continue;
        }
        let now = was.replace(&put_right[0].0, &new);
        let now = now.replace(&format!("bytes: {}", bytes.len()), &format!("bytes: {}", edited.len()));
        assert_ne!(was, now, "{path}");
        *text = now.into_bytes();
        put_right.push((before, sha256(text)));
    }
    assert!(put_right.len() > 1, "a record names {name}");
    let mut list = String::from_utf8(files["dossier.json"].clone()).expect("text");
    for (before, now) in &put_right {
        list = list.replace(before, now);
    }
    list = list.replace(&format!("\"bytes\": {}", bytes.len()), &format!("\"bytes\": {}", edited.len()));
    files.insert("dossier.json".to_owned(), list.into_bytes());
    files.insert(format!("raw/{new}"), edited);
    sealed(files, Some(1))
}

/// What becomes of a dossier whose raw file or columns record was bent: never a verdict, always a reason.
fn no_verdict(what: &str, bytes: &[u8], reason: &str) {
    let begun = std::time::Instant::now();
    let said = verified(bytes, 1, &[]);
    assert!(matches!(said.code, 4 | 5), "{what}: {said:?}");
    let answer = said.json();
    if said.code == 5 {
        assert_eq!(answer["outcome"], "not recomputed", "{what}: {said:?}");
        assert_ne!(answer["recomputed"]["done"], true, "{what}: {said:?}");
    }
    assert!(said.out.contains(reason), "{what}: {said:?}");
    assert!(begun.elapsed().as_secs() < 120, "{what}");
}

const RAW_OF_TEST: &str = "tarnbeck-0411-04.csv";

/// Changes the header of a raw file.
fn with_header(from: &'static str, to: &'static str) -> Vec<u8> {
    with_raw(RAW_OF_TEST, move |bytes| {
        let text = String::from_utf8(bytes.to_vec()).expect("text");
        assert!(text.lines().next().expect("a header").contains(from), "{text:.200}");
        text.replacen(from, to, 1).into_bytes()
    })
}

/// [98]: a unit that nobody knows, and one of another dimension.
#[test]
fn a_unit_that_does_not_fit_is_no_recomputation() {
    for (what, unit) in [("unknown", "furlong/fortnight"), ("of another dimension", "kPa")] {
        let bent = with_record("columns/tower-1.yaml", |text| {
            text.replacen("unit: N·m", &format!("unit: {unit}"), 1)
        });
        no_verdict(what, &bent, "unit");
    }
}

/// [97]: a columns record whose header stands nowhere in the file, or twice.
#[test]
fn a_columns_record_without_its_header_is_no_recomputation() {
    let elsewhere = with_record("columns/tower-1.yaml", |text| {
        text.replacen("header: Torque (N·m)", "header: Moment", 1)
    });
    no_verdict("a header that is nowhere", &elsewhere, "is not in this file");
    no_verdict("a file without it", &with_header("Torque (N·m)", "Momentum"), "is not in this file");
    no_verdict("a file with it twice", &with_header("Power (kW)", "Torque (N·m)"), "stands 2 times");
}

/// [96]: raw files that would read for ever, inside a dossier.
#[test]
fn a_raw_file_that_does_not_end_is_no_recomputation() {
    let with_end = |end: &'static dyn Fn() -> Vec<u8>| {
        with_raw(RAW_OF_TEST, move |bytes| {
            let rows = bytes.iter().position(|&byte| byte == b'\n').expect("a header") + 1;
            [&bytes[..rows], b"0.00,3000,100,", &end()].concat()
        })
    };
    no_verdict("a million columns", &with_end(&|| b"1,".repeat(1_000_000)), "raw-file");
    no_verdict(
        "a quoted field of 24 MB",
        &with_end(&|| [b"\"".to_vec(), vec![b'x'; 24 << 20]].concat()),
        "raw-file",
    );
    no_verdict("a quote that never closes", &with_end(&|| b"\"1,2\n3,4\n".to_vec()), "raw-file");
}

/// [94]: what a spreadsheet would run is text in every table that leaves a book.
#[test]
fn nothing_in_an_exported_table_is_a_formula() {
    const FORMULA: &str = "=cmd|' /C calc'!A0";
    let shop = Shop::fresh();
    let book = shop.path().join("book");
    // As a column's name: from the header of a raw file that somebody sent.
    let log =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/raw/tarnbeck-0411-01.csv"));
    let log = log.expect("the demo's file").replacen("Lambda", FORMULA, 1);
    fs::write(shop.path().join("sent.csv"), log).expect("a file");
    let words =
        ["pull", "../sent.csv", "--session", "0411a", "--build", "b1", "--yes", "--name-columns", "sent"];
    let said = run_in(&book, &words);
    assert_eq!(said.code, 0, "{said:?}");
    let said = run_in(&book, &["table", "0411a-11", "--csvw", "../out", "--json"]);
    assert_eq!(said.code, 0, "{said:?}");
    let table =
        fs::read_to_string(shop.path().join("out").join(said.json()["csv"].as_str().expect("a name")));
    let header = table.expect("the table").lines().next().expect("a header").to_owned();
    assert!(header.contains(&format!("'{FORMULA}")), "{header}");
    // As a listed text of a part, in what is found.
    let because = ["--listed", "a card that was sent", "--corrects", "1", "--because", "it came later"];
    let said = run_in(&book, &[&["measure", "cams-5/a", "grind", FORMULA][..], &because].concat());
    assert_eq!(said.code, 0, "{said:?}");
    let said = run_in(&book, &["find", "pulls", "--where", "camshaft.grind != 1", "--csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains(&format!("'{FORMULA}")), "{said:?}");
    for text in [&header, &said.out] {
        for cell in text.lines().flat_map(|line| line.split(',')) {
            let cell = cell.trim_matches('"');
            assert!(!cell.starts_with(['=', '+', '@', '\t']), "{cell}");
        }
    }
}

/// [100, 101]: a history of other commits, or one that does not hold.
#[test]
fn a_history_that_was_bent_is_refused() {
    let with = |edit: &dyn Fn(&mut Files)| {
        let mut files = payload(Shop::signed());
        edit(&mut files);
        verified(&sealed(files, Some(1)), 1, &[])
    };
    let object = |files: &BTreeMap<String, Vec<u8>>| {
        files.keys().find(|name| name.ends_with(".tree")).expect("a history").clone()
    };
    let flipped = with(&|files| {
        let name = object(files);
        let bytes = files.get_mut(&name).expect("it is there");
        let last = bytes.len() - 1;
        bytes[last] ^= 1;
    });
    assert_eq!((flipped.code, flipped.codes()), (4, vec!["history-object".to_owned()]), "{flipped:?}");
    let no_tip = with(&|files| {
        let index: Json = serde_json::from_slice(&files["dossier.json"]).expect("the list");
        files.remove(&format!("history/{}.commit", index["commit"].as_str().expect("an id")));
    });
    assert_eq!((no_tip.code, no_tip.codes()), (4, vec!["history-tip".to_owned()]), "{no_tip:?}");
    // A history that holds, of a commit before the one that was gathered from.
    let earlier = with(&|files| {
        let tip = String::from_utf8(files["history/tip"].clone()).expect("an id").trim().to_owned();
        let commit = files.remove(&format!("history/{tip}.commit")).expect("the newest commit");
        let commit = String::from_utf8(commit).expect("text");
        let parent = commit.lines().find_map(|line| line.strip_prefix("parent ")).expect("a parent");
        files.insert("history/tip".to_owned(), format!("{parent}\n").into_bytes());
    });
    assert_eq!(earlier.code, 4, "{earlier:?}");
    assert!(earlier.codes().iter().all(|code| code.starts_with("history-")), "{earlier:?}");
    // A record that is another than the history's, its SHA-256 put right in the list and in the manifest: whatever git's own id
    // were worth, the two must agree.
    let other = with(&|files| {
        let file = "records/parts/header/step-1.yaml";
        let text = files[file].clone();
        let changed = [text.as_slice(), b"# as it should have been\n"].concat();
        let list = String::from_utf8(files["dossier.json"].clone()).expect("text");
        files.insert("dossier.json".to_owned(), list.replace(&sha256(&text), &sha256(&changed)).into_bytes());
        files.insert(file.to_owned(), changed);
    });
    assert_eq!((other.code, other.codes()), (4, vec!["record-not-in-history".to_owned()]), "{other:?}");
    // One of two files with one SHA-1 in the place of a raw file: named by SHA-256, it is not the one.
    let twin = with(&|files| {
        let name = files.keys().find(|name| name.starts_with("raw/")).expect("a raw file").clone();
        files.insert(name, fixture::twins::twins()[0].clone());
    });
    assert_eq!(twin.code, 4, "{twin:?}");
    // Without any, nothing proves that the claim came first, and its verdict does not stand as the dossier says.
    let none = with(&|files| files.retain(|name, _| !name.starts_with("history/")));
    assert_eq!(none.code, 5, "{none:?}");
}

/// [80] and what receipts show that hold.
#[test]
fn receipts_of_test_days_are_held_against_the_history() {
    let shop = Shop::fresh();
    let book = shop.path().join("book");
    let line = || {
        let said = run_in(&book, &["dossier", "--receipt", "--json"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.json()["receipt"].as_str().expect("a line").to_owned()
    };
    let (first, second) = (line(), line());
    assert!(first.starts_with("mulebook-receipt 1 ") && second.starts_with("mulebook-receipt 2 "));
    assert_eq!(fs::read_to_string(book.join("receipts.txt")).expect("kept"), format!("{first}\n{second}\n"));
    let (said, path) = shop.dossier("with-receipts", &["--sign", "../key-1"]);
    assert_eq!(said.code, 0, "{said:?}");
    let bytes = fs::read(path).expect("the dossier");
    let folder = tempfile::tempdir().expect("a folder");
    let held = |lines: &str| {
        let file = folder.path().join("receipts");
        fs::write(&file, lines).expect("a file");
        verified(&bytes, 1, &["--receipts", file.to_str().expect("a path")])
    };
    let said = held(&format!("> {first}\nin a mail\n> {second}\n"));
    assert_eq!(said.code, 0, "{said:?}");
    let proven = said.json()["proven"].to_string();
    assert!(
        proven.contains("your receipt 1 is of commit") && proven.contains("the claim as it stands"),
        "{proven}"
    );
    let begins_late = held(&second);
    assert_eq!(begins_late.code, 0, "{begins_late:?}");
    assert!(begins_late.json()["findings"].to_string().contains("receipt-begins-late"));
    let other = "0123456789abcdef".repeat(4);
    let elsewhere =
        first.replacen(&first[first.find("commit ").expect("a commit") + 7..][..40], &other[..40], 1);
    for (what, lines) in [
        ("out of order", format!("{second}\n{first}\n")),
        ("a fork", format!("{first}\n{elsewhere}\n")),
        ("of another history", elsewhere.clone()),
        ("no receipt", "thank you\n".to_owned()),
    ] {
        let said = held(&lines);
        assert!(said.code == 4 && !said.codes().is_empty(), "{what}: {said:?}");
    }
}

/// A commit signed as `git verify-commit` reads it (tests/outside/evidence.rs) is told as one, with whose key it is.
#[test]
fn signed_commits_are_told_with_their_keys() {
    let shop = Shop::fresh();
    let book = shop.path().join("book");
    let sign = |number: u8| {
        let said = Command::new(env!("CARGO_BIN_EXE_mulebook"))
            .args(["dossier", "--receipt"])
            .current_dir(&book)
            .env("MULEBOOK_NOW", NOW)
            .env("MULEBOOK_PERSON", "mk")
            .env("MULEBOOK_SIGNING_KEY", shop.path().join(format!("key-{number}")))
            .output()
            .expect("the program runs");
        assert!(said.status.success(), "{said:?}");
    };
    let told = |name: &str| {
        let (said, path) = shop.dossier(name, &["--sign", "../key-1"]);
        assert_eq!(said.code, 0, "{said:?}");
        let said = verified(&fs::read(path).expect("the dossier"), 1, &[]);
        assert_eq!(said.code, 0, "{said:?}");
        let answer = said.json();
        let lines = answer["mechanisms"].as_array().expect("lines").clone();
        let line = lines.into_iter().find(|line| line["mechanism"] == "signed-commit").expect("a line");
        (line["here"] == true, answer["proven"].to_string(), answer["findings"].to_string())
    };
    let (here, proven, _) = told("unsigned-commits");
    assert!(!here && !proven.contains("commits shown are signed"), "{proven}");
    sign(2);
    let (here, proven, findings) = told("signed-by-another");
    assert!(!here && !proven.contains("commits shown are signed"), "{proven}");
    assert!(findings.contains("commit-signer-unlisted"), "{findings}");
    sign(1);
    let (here, proven, findings) = told("signed-by-both");
    assert!(
        here && proven.contains("1 of the ")
            && proven.contains("commits shown are signed by the key SHA256:"),
        "{proven}"
    );
    assert!(findings.contains("commit-signer-unlisted"), "{findings}");
}

/// A second key beside the shop's, by somebody who has no book, over a dossier that is whole.
#[test]
fn a_witness_countersigns_with_no_book_at_hand() {
    let folder = tempfile::tempdir().expect("a folder");
    let there = |name: &str| folder.path().join(name);
    fs::write(there("it.zip"), Shop::signed()).expect("a file");
    let key = |number: u8| Shop::demo().path().join(format!("key-{number}")).display().to_string();
    let countersign = |file: &str, number: u8, more: &[&str]| {
        let key = key(number);
        run_in(folder.path(), &[&["dossier", "--countersign", file, "--sign", &key, "--json"], more].concat())
    };
    let said = countersign("it.zip", 2, &[]);
    assert_eq!(said.code, 0, "{said:?}");
    let answer = said.json();
    assert_eq!(answer["file"], "it-countersigned.zip");
    assert!(answer["says"].as_str().is_some_and(|says| says.contains("not when")), "{answer}");
    // Nothing is ever overwritten, and the dossier stays as it was.
    assert_eq!(countersign("it.zip", 2, &[]).code, 1);
    assert_eq!(countersign("it.zip", 2, &["--out", "it.zip"]).code, 1);
    assert!(fs::read(there("it.zip")).expect("the dossier") == Shop::signed());
    // The one who sealed it is no witness; whoever countersigned does not do so again.
    let refused = countersign("it.zip", 1, &["--out", "by-the-shop.zip"]);
    assert_eq!((refused.code, refused.codes()), (1, vec!["witness-is-signer".to_owned()]), "{refused:?}");
    let refused = countersign("it-countersigned.zip", 2, &["--out", "twice.zip"]);
    assert_eq!((refused.code, refused.codes()), (1, vec!["countersigned-already".to_owned()]), "{refused:?}");
    // What is damaged, or sealed by nobody, is not countersigned.
    let mut bent = Shop::signed().to_vec();
    let middle = bent.len() / 2;
    bent[middle] ^= 1;
    fs::write(there("bent.zip"), bent).expect("a file");
    let refused = countersign("bent.zip", 2, &["--out", "bent-too.zip"]);
    assert!(refused.code == 4 && !refused.codes().is_empty(), "{refused:?}");
    fs::write(there("open.zip"), sealed(payload(Shop::signed()), None)).expect("a file");
    let refused = countersign("open.zip", 2, &["--out", "open-too.zip"]);
    assert_eq!((refused.code, refused.codes()), (4, vec!["signature-missing".to_owned()]), "{refused:?}");
    let mut left: Vec<_> = fs::read_dir(folder.path())
        .expect("the folder")
        .map(|entry| entry.expect("an entry").file_name())
        .collect();
    left.sort();
    assert_eq!(
        left,
        ["bent.zip", "it-countersigned.zip", "it.zip", "open.zip"],
        "nothing half-written is left"
    );
    // The witness is told to whoever lists the key, and disturbs nobody who does not.
    let bytes = fs::read(there("it-countersigned.zip")).expect("the dossier");
    let said = verified(&bytes, 1, &[]);
    assert_eq!(said.code, 0, "{said:?}");
    assert_eq!(said.json()["signatures"][1]["role"], "witness");
    assert!(!said.json()["proven"].to_string().contains("countersigned by"), "{said:?}");
    let both = fixture::line(1, "") + &fixture::line(2, "namespaces=\"witness@mulebook.example\"");
    fs::write(there("signers"), both).expect("a file");
    let said = run_in(folder.path(), &["verify", "it-countersigned.zip", "--signers", "signers", "--json"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.json()["proven"].to_string().contains("countersigned by the key SHA256:"), "{said:?}");
}

/// The book's page names whose commits are signed and with which public key; it never leads to a private one.
#[test]
fn the_books_page_names_the_key_and_the_person_its_private_half() {
    let shop = Shop::fresh();
    let book = shop.path().join("book");
    let public = |number: u8| fixture::key(number).public_key().to_openssh().expect("a key as text");
    let page = fs::read_to_string(book.join("book.yaml")).expect("the page");
    let with_page =
        |signers: &str| fs::write(book.join("book.yaml"), format!("{page}{signers}")).expect("written");
    let keep = |more: &[&str]| run_in(&book, &[&["keep", "-m", "The page", "--json"], more].concat());
    let head = || {
        let output =
            Command::new("git").args(["rev-parse", "HEAD"]).current_dir(&book).output().expect("git runs");
        String::from_utf8(output.stdout).expect("text")
    };
    // A key that is none, or of a kind that `verify` does not check, is not kept.
    for wrong in ["ssh-ed25519 AAAA", "../key-1", "ssh-rsa AAAAB3NzaC1yc2E="] {
        with_page(&format!("signers:\n  - {{who: mk, key: \"{wrong}\"}}\n"));
        let said = keep(&[]);
        assert_eq!((said.code, said.codes()), (1, vec!["signer-key".to_owned()]), "{said:?}");
    }
    with_page(&format!("signers:\n  - {{who: mk, key: \"{}\", from: 2026-05-01}}\n", public(1)));
    assert_eq!(keep(&[]).code, 0, "before the page names a key, none is asked for");
    // From here on what mk commits is signed with key 1, or is not committed.
    let before = head();
    let receipt = |more: &[&str]| run_in(&book, &[&["dossier", "--receipt", "--json"], more].concat());
    let said = receipt(&[]);
    assert!(said.code == 1 && said.out.contains("SSH agent does not hold"), "{said:?}");
    let said = receipt(&["--key", "../key-2"]);
    assert!(said.code == 1 && said.out.contains("the key that was named is SHA256:"), "{said:?}");
    assert_eq!(head(), before, "nothing was changed");
    assert!(!book.join("receipts.txt").exists());
    assert_eq!(receipt(&["--key", "../key-1"]).code, 0);
    assert_ne!(head(), before);
    // Taking the line out is a commit like any other; somebody else's commits are not asked about, nor other days'.
    with_page("");
    assert_eq!(keep(&[]).code, 1);
    assert_eq!(keep(&["--by", "jo"]).code, 0);
    with_page(&format!("signers:\n  - {{who: mk, key: \"{}\", until: 2026-05-31}}\n", public(1)));
    assert_eq!(keep(&[]).code, 0);
    assert_eq!(receipt(&[]).code, 0, "the key was in force until the day before");
    // `verify` tells which commits are signed.
    let (said, path) = shop.dossier("signed-by-page", &["--sign", "../key-1"]);
    assert_eq!(said.code, 0, "{said:?}");
    let said = verified(&fs::read(path).expect("the dossier"), 1, &[]);
    let lines = said.json()["signed_commits"].clone();
    assert_eq!(lines[0]["commits"].as_array().map(Vec::len), Some(1), "{lines}");
    assert_eq!(
        (&lines[0]["listed"], lines.as_array().map(Vec::len)),
        (&Json::Bool(true), Some(1)),
        "{lines}"
    );
}
