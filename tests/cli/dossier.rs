use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use ssh_key::LineEnding;
use ssh_key::PrivateKey;
use ssh_key::private::Ed25519Keypair;
use ssh_key::private::KeypairData;

use super::bench::Bench;
use super::bench::checked;

const CLAIM: &str = "stepped-header";

/// A key made from a number, and the list that names it.
fn keys(bench: &Bench) {
    for number in 1..=2 {
        let pair = Ed25519Keypair::from_seed(&[number; 32]);
        let key = PrivateKey::new(KeypairData::from(pair), format!("key {number}")).expect("a key");
        let text = key.to_openssh(LineEnding::LF).expect("a key as text");
        bench.put(&format!("key-{number}"), &text);
        // Nobody else may read a key, or ssh-keygen signs nothing with it.
        let key_file = bench.path().join(format!("key-{number}"));
        fs::set_permissions(key_file, fs::Permissions::from_mode(0o600)).expect("it is ours");
        let public = key.public_key().to_openssh().expect("a key as text");
        bench.put(&format!("signers-{number}"), &format!("shop-{number}@shop.example {public}\n"));
    }
    bench.put("nobody", "# nobody yet\n");
}

/// What a command says as text and as JSON; what `claim --json` shows anyway is left out.
fn told(bench: &Bench, folder: &Path, name: &str, arguments: &[&str]) -> String {
    let text = bench.run_in(folder, arguments, "");
    let other: Vec<String> = arguments.iter().map(|word| word.replace(".zip", "-json.zip")).collect();
    // A file that is there is not replaced: the second run writes another.
    let writes = arguments[0] == "dossier";
    let arguments_json: Vec<&str> = arguments
        .iter()
        .zip(&other)
        .map(|(word, other)| if writes { other.as_str() } else { word })
        .collect();
    let json = bench.run_in(folder, &[&arguments_json[..], &["--json"]].concat(), "");
    assert_eq!(text.code, json.code, "{text:?}\n{json:?}");
    let told = if json.out.is_empty() {
        json.error
    } else {
        let mut answer = checked(name, &json.out);
        if let Some(claim) = answer.get_mut("claim_here").and_then(serde_json::Value::as_object_mut) {
            claim.remove("weighing");
        }
        serde_json::to_string_pretty(&answer).expect("JSON") + "\n"
    };
    format!("$ mulebook {}\n{}{}-- exit {}\n\n{told}", arguments.join(" "), text.error, text.out, text.code)
        .replace(&bench.path().display().to_string(), "[folder]")
}

/// A snapshot without what changes with every word of a schema: ids, seals, and how long the history packs to.
macro_rules! sealed {
    ($bench:expr, $folder:expr, $name:literal, $arguments:expr) => {{
        let said = told(&$bench, $folder, concat!("dossier-", $name), $arguments);
        insta::with_settings!({
            filters => vec![
                (r"\b[0-9a-f]{40}\b", "[commit]"),
                (r"\b[0-9a-f]{12}\b", "[commit]"),
                (r#"seal( |": ")[0-9a-f]{64}"#, "seal$1[seal]"),
                (r#""(archive|bytes|files)": \d+"#, r#""$1": "[number]""#),
                (r"(head|before) [0-9a-f]{64}", "$1 [hash]"),
                (r"\d+ files in all, \d+ bytes", "[number] files in all, [number] bytes"),
                (r"all \d+ files of the payload", "all [number] files of the payload"),
                (r"\d+\.\d{1,4} \d+ bytes", "[number]"),
                (r"zip,\s+\d+ bytes", "zip, [number] bytes"),
                (r"(Payload-Oxum.,\s+.)[0-9.]+", "$1[number]"),
            ],
            omit_expression => true,
            prepend_module_to_snapshot => false,
            snapshot_path => "snapshots",
        }, {
            insta::assert_snapshot!(concat!("dossier-", $name), said);
        })
    }};
}

#[test]
fn a_dossier_is_written_and_checked_elsewhere() {
    let bench = Bench::demo();
    keys(&bench);
    let book = bench.book();
    sealed!(bench, &book, "written", &["dossier", CLAIM, "--out", "../signed.zip", "--sign", "../key-1"]);
    sealed!(bench, &book, "in-the-way", &["dossier", CLAIM, "--out", "../key-1"]);
    sealed!(bench, &book, "unsigned", &["dossier", CLAIM, "--out", "../unsigned.zip"]);
    sealed!(
        bench,
        &book,
        "withheld",
        &[
            "dossier",
            CLAIM,
            "--out",
            "../kept.zip",
            "--sign",
            "../key-1",
            "--withhold",
            "tarnbeck-0411-04.csv"
        ]
    );
    sealed!(bench, &book, "withheld-nothing", &["dossier", CLAIM, "--withhold", "tarnbeck-0411-99.csv"]);
    sealed!(bench, &book, "withheld-the-claim", &["dossier", CLAIM, "--withhold", "book.yaml"]);
    sealed!(bench, &book, "no-key", &["dossier", CLAIM, "--sign", "../signers-1"]);
    sealed!(bench, &book, "receipt", &["dossier", "--receipt"]);
    sealed!(bench, &book, "unknown", &["dossier", "steped-header"]);
    bench.run(&["claim", "early", "--says", "x", "--base", "b1", "--test", "0601a-01"]).done();
    sealed!(bench, &book, "no-pulls-yet", &["dossier", "early"]);
    // A machine with nothing on it but the dossier and a list of signers.
    let far = bench.path().join("far");
    fs::create_dir(&far).expect("a folder");
    for name in ["signed.zip", "unsigned.zip", "kept.zip", "signers-1", "signers-2", "nobody"] {
        fs::copy(bench.path().join(name), far.join(name)).expect("a file");
    }
    sealed!(bench, &far, "verified", &["verify", "signed.zip", "--signers", "signers-1"]);
    sealed!(bench, &far, "verified-unsigned", &["verify", "unsigned.zip", "--signers", "signers-1"]);
    sealed!(bench, &far, "verified-by-another", &["verify", "signed.zip", "--signers", "signers-2"]);
    sealed!(bench, &far, "verified-kept-back", &["verify", "kept.zip", "--signers", "signers-1"]);
    sealed!(bench, &far, "verified-for-nobody", &["verify", "signed.zip", "--signers", "nobody"]);
    sealed!(bench, &far, "verified-nothing", &["verify", "signers-1", "--signers", "signers-1"]);
    sealed!(
        bench,
        &far,
        "verified-on-no-day",
        &["verify", "signed.zip", "--signers", "signers-1", "--at", "June"]
    );
    countersigned(&bench, &far);
    let mut bytes = fs::read(far.join("signed.zip")).expect("the dossier");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(far.join("bent.zip"), bytes).expect("a file");
    let bent = bench.run_in(&far, &["verify", "bent.zip", "--signers", "signers-1"], "");
    assert_eq!(bent.code, 4, "{bent:?}");
}

/// A witness, who has no book, puts a signature beside the seal.
fn countersigned(bench: &Bench, far: &Path) {
    let both = fs::read_to_string(far.join("signers-1")).expect("a list")
        + &fs::read_to_string(far.join("signers-2")).expect("a list");
    fs::write(far.join("signers"), both).expect("a file");
    let words = |file, key, out| ["dossier", "--countersign", file, "--sign", key, "--out", out];
    let said = bench.run_in(far, &words("signed.zip", "../key-2", "countersigned.zip"), "").done();
    assert!(
        said.out.starts_with("Wrote countersigned.zip: the dossier of the claim stepped-header"),
        "{said:?}"
    );
    assert!(said.out.contains("not when, and not that"), "{said:?}");
    let json = [&words("signed.zip", "../key-2", "again.zip")[..], &["--json"]].concat();
    let answer = checked("dossier-countersigned", &bench.run_in(far, &json, "").done().out);
    assert_eq!((&answer["answer"], &answer["file"]), (&"countersign".into(), &"again.zip".into()));
    let refused = bench.run_in(far, &words("signers-1", "../key-2", "nothing.zip"), "");
    assert!(refused.code == 4 && refused.error.contains("zip file"), "{refused:?}");
    let proven = bench.run_in(far, &["verify", "countersigned.zip", "--signers", "signers"], "");
    assert!(proven.code == 0 && proven.out.contains("countersigned by the key SHA256:"), "{proven:?}");
}

/// The book's page names the key; what is no key is not kept, and where nobody holds it nothing is committed.
#[test]
fn the_page_names_a_key_that_commits_are_signed_with() {
    let bench = Bench::demo();
    keys(&bench);
    let page = bench.read("book.yaml");
    bench.put("book/book.yaml", &format!("{page}signers:\n  - {{who: mk, key: \"../key-1\"}}\n"));
    sealed!(bench, &bench.book(), "page-names-no-key", &["keep"]);
    let list = fs::read_to_string(bench.path().join("signers-1")).expect("a list");
    let key = list.trim().split_once(' ').expect("a name and a key").1;
    bench.put("book/book.yaml", &format!("{page}signers:\n  - {{who: mk, key: \"{key}\"}}\n"));
    bench.run(&["keep"]).done();
    sealed!(bench, &bench.book(), "page-names-another", &["dossier", "--receipt", "--key", "../key-2"]);
    sealed!(bench, &bench.book(), "page-names-one-not-here", &["dossier", "--receipt"]);
    bench.run(&["dossier", "--receipt", "--key", "../key-1"]).done();
}

#[test]
fn a_refused_comparison_has_no_dossier() {
    let bench = Bench::shop();
    bench.run(&["claim", "careless", "--says", "x", "--base", "0412a-01", "--test", "0412a-02"]).done();
    sealed!(bench, &bench.book(), "refused", &["dossier", "careless"]);
}
