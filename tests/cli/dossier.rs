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
    let mut bytes = fs::read(far.join("signed.zip")).expect("the dossier");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(far.join("bent.zip"), bytes).expect("a file");
    let bent = bench.run_in(&far, &["verify", "bent.zip", "--signers", "signers-1"], "");
    assert_eq!(bent.code, 4, "{bent:?}");
}

#[test]
fn a_refused_comparison_has_no_dossier() {
    let bench = Bench::shop();
    bench.run(&["claim", "careless", "--says", "x", "--base", "0412a-01", "--test", "0412a-02"]).done();
    sealed!(bench, &bench.book(), "refused", &["dossier", "careless"]);
}
