//! Dossiers judged by programs that are not ours: `ssh-keygen`, `sha256sum`, `find`, `unzip`, `git`, and by `bagit`, `roc-validator`
//! and `zipfile` of Python; and dossiers that those have packed or signed, judged by ours.
//!
//! Sources: RFC 8493 (BagIt), RFC 3161 (time stamps), RO-Crate 1.3 (researchobject.org), OpenSSH's PROTOCOL.sshsig and ssh-keygen(1), git's own objects.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "starts other programs and lays out files for them; says what is left out where one is missing"
)]

#[path = "dossiers_of_books.rs"]
mod books;

use crate::dossier_fixture;
use crate::outside;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use crate::dossier_fixture::{
    codes, contents, dossier, key, line, opened, opened_by, payload, unzipped, when, written, zipped,
};
use mulebook::evidence::{
    At, Contents, History, NAMESPACE, ObjectId, Sealer, Signers, WITNESS_NAMESPACE, write,
};
use mulebook::store::SigningKey;
use ssh_key::LineEnding;

/// Whether a program is here; where it is not, says so, and fails on the machine that must have it.
fn have(program: &str) -> bool {
    let there = Command::new(program).arg("--help").stdin(Stdio::null()).output().is_ok();
    assert!(there || std::env::var_os("CI").is_none(), "{program} is missing");
    if !there {
        outside::left_out(&format!("what {program} says, as it is missing"));
    }
    there
}

/// Runs a shell's script in a folder.
fn bash(folder: &Path, script: &str) -> Output {
    Command::new("bash")
        .args(["-c", script])
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("bash runs")
}

fn said(output: &Output) -> String {
    let text = [output.stdout.as_slice(), &output.stderr].concat();
    String::from_utf8_lossy(&text).into_owned()
}

/// Lays a dossier out as `unzip` would, beside a list of signers.
fn laid_out(bytes: &[u8]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, bytes) in unzipped(bytes) {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("written");
        fs::write(path, bytes).expect("written");
    }
    fs::write(folder.path().join("shop-signers"), line(1, &format!("namespaces=\"{NAMESPACE}\"")))
        .expect("written");
    let inside = folder.path().join("c1");
    (folder, inside)
}

/// A block of the sponsors' page that begins so.
fn block(begins: &str) -> String {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/for-sponsors.md");
    let page = fs::read_to_string(page).expect("the page");
    let blocks = page.split("```sh\n").skip(1).map(|block| block.split("```").next().unwrap_or_default());
    blocks.into_iter().find(|block| block.starts_with(begins)).expect("the block").to_owned()
}

/// Each line's exit code and output, all empty but the first where the dossier is good.
fn recipe(folder: &Path) -> Vec<String> {
    let lines = block("ssh-keygen -Y verify");
    assert_eq!(lines.lines().count(), 4);
    lines
        .lines()
        .map(|line| {
            let output = bash(folder, line);
            format!("{} {}", output.status.code().unwrap_or(-1), said(&output).trim())
        })
        .collect()
}

/// The numbers of the lines, from 1, that do not agree.
fn disagreeing(folder: &Path) -> Vec<usize> {
    let said = recipe(folder);
    let good = |at: usize, said: &str| {
        if at == 0 {
            said.starts_with("0 Good \"dossier@mulebook.example\" signature for shop@test.example")
        } else {
            said == "0" || said == "0 "
        }
    };
    said.iter().enumerate().filter(|(at, said)| !good(*at, said)).map(|(at, _)| at + 1).collect()
}

#[test]
fn the_recipe_of_the_sponsors_page_passes_a_good_dossier_and_catches_each_change() {
    if !have("ssh-keygen") || !have("sha256sum") {
        return;
    }
    let (_kept, good) = laid_out(&dossier());
    assert_eq!(disagreeing(&good), [0_usize; 0], "{:?}", recipe(&good));
    let changes: [(&str, &str, &[usize]); 9] = [
        ("a changed raw file", "printf x >> data/raw/p1.csv", &[2]),
        ("a file more", "echo > data/raw/p2.csv", &[3]),
        ("a page more", "echo > report.html", &[3]),
        ("a file less", "rm data/raw/p1.csv", &[2, 3]),
        ("a link", "ln -s /etc/passwd data/raw/p3.csv", &[4]),
        ("a changed seal", "sed -i s/a/b/ tagmanifest-sha256.txt", &[1, 2]),
        ("no signature", "rm tagmanifest-sha256.txt.sig", &[1]),
        ("another key", "cp ../other.sig tagmanifest-sha256.txt.sig", &[1]),
        (
            "sealed anew without the key",
            "printf x >> data/raw/p1.csv; find data -type f | LC_ALL=C sort | xargs sha256sum > manifest-sha256.txt; sha256sum bag-info.txt bagit.txt manifest-sha256.txt > tagmanifest-sha256.txt",
            &[1],
        ),
    ];
    for (what, change, expected) in changes {
        let (outer, folder) = laid_out(&dossier());
        let other =
            unzipped(&written(&contents(payload()), Some(2)))["c1/tagmanifest-sha256.txt.sig"].clone();
        fs::write(outer.path().join("other.sig"), other).expect("written");
        let done = bash(&folder, change);
        assert!(done.status.success(), "{what}: {}", said(&done));
        assert_eq!(disagreeing(&folder), expected, "{what}: {:?}", recipe(&folder));
    }
    // The witness's line of the same page.
    let (outer, folder) = laid_out(&dossier());
    let mine = outer.path().join("MY_KEY");
    private_key(&mine, 2);
    let signed = bash(&folder, &block("ssh-keygen -Y sign").replace("MY_KEY", "../MY_KEY"));
    assert!(signed.status.success(), "{}", said(&signed));
    assert_eq!(disagreeing(&folder), [0_usize; 0]);
    let mut files = unzipped(&dossier());
    let name = "tagmanifest-sha256.txt.sponsor.sig";
    files.insert(format!("c1/{name}"), fs::read(folder.join(name)).expect("the signature"));
    let both = Signers::parse("signers", &(line(1, "") + &line(2, "")), None).expect("a list");
    let countersigned = opened_by(&dossier_fixture::zipped(&files), &both).expect("whole");
    assert!(countersigned.findings.is_empty() && countersigned.signatures.len() == 2);
    assert_eq!(WITNESS_NAMESPACE, "witness@mulebook.example");
    // And the line for receipts.
    fs::write(folder.join("receipts.txt"), "mulebook-receipt 1 …\n").expect("written");
    let sign = block("ssh-keygen -Y sign -n witness@mulebook.example -f MY_KEY < receipts.txt");
    let signed = bash(&folder, &sign.replace("MY_KEY", "../MY_KEY"));
    assert!(signed.status.success(), "{}", said(&signed));
    fs::write(outer.path().join("witnesses"), line(2, "")).expect("written");
    let check = "ssh-keygen -Y verify -f ../witnesses -I shop@test.example -n witness@mulebook.example -s receipts.txt.sig < receipts.txt";
    assert!(bash(&folder, check).status.success());
    fs::write(folder.join("receipts.txt"), "mulebook-receipt 2 …\n").expect("written");
    assert!(!bash(&folder, check).status.success());
}

fn private_key(path: &Path, number: u8) {
    let text = key(number).to_openssh(LineEnding::LF).expect("a key as text");
    fs::write(path, text.as_bytes()).expect("written");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(path, fs::Permissions::from_mode(0o600)).expect("its mode");
    }
}

/// Seals with a key on file, as the program does.
struct OnFile(SigningKey);

impl Sealer for OnFile {
    fn seal(&mut self, namespace: &str, bytes: &[u8]) -> Result<String, String> {
        self.0.sign(namespace, bytes)
    }
}

fn written_with(path: &Path) -> Result<Vec<u8>, String> {
    let mut sealer = OnFile(SigningKey::at(path).map_err(|error| error.to_string())?);
    let mut out = Vec::new();
    let done = write(&contents(payload()), Some(&mut sealer), when(), &mut out, &mut |_| {});
    done.map(|_| out).map_err(|error| error.to_string())
}

#[test]
fn ssh_keygen_signs_with_a_key_on_file() {
    if !have("ssh-keygen") {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("key");
    private_key(&path, 1);
    // Ed25519 has one signature for each text, whoever computes it.
    assert_eq!(written_with(&path).expect("signed"), dossier());
    // Refusals name the key and what ssh-keygen said.
    let missing = written_with(&folder.path().join("none")).expect_err("no key");
    assert!(missing.contains("none"), "{missing}");
    fs::write(folder.path().join("rubbish"), "rubbish").expect("written");
    let rubbish = written_with(&folder.path().join("rubbish")).expect_err("no key");
    assert!(rubbish.contains("not signed") && rubbish.contains("rubbish"), "{rubbish}");
    // A key that is not Ed25519 is refused before anything is handed out that nobody could check.
    let made = Command::new("ssh-keygen")
        .args(["-q", "-t", "ecdsa", "-N", "", "-f"])
        .arg(folder.path().join("ecdsa"))
        .output()
        .expect("ssh-keygen runs");
    assert!(made.status.success(), "{}", said(&made));
    let other_kind = written_with(&folder.path().join("ecdsa")).expect_err("another kind");
    assert!(other_kind.contains("ssh-ed25519"), "{other_kind}");
}

#[test]
fn other_programs_unpack_validate_and_repack() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside/dossiers");
    if folder.exists() {
        fs::remove_dir_all(&folder).expect("the last run's files");
    }
    fs::create_dir_all(&folder).expect("target/ can be written");
    fs::write(folder.join("plain.zip"), dossier()).expect("written");
    let mut many: Contents<'_> = contents(payload());
    for number in 0..40_u32 {
        let bytes: Vec<u8> =
            (0..number * 97).map(|at| (at.wrapping_mul(number * 7 + 1) >> 3) as u8).collect();
        many.payload.insert(format!("raw/deep/a/b/c/{number}.bin"), Box::new(bytes));
    }
    fs::write(folder.join("many.zip"), written(&many, Some(1))).expect("written");
    if have("unzip") {
        for name in ["plain", "many"] {
            let tested = Command::new("unzip").arg("-tqq").arg(folder.join(format!("{name}.zip"))).output();
            let tested = tested.expect("unzip runs");
            assert!(tested.status.success(), "{}", said(&tested));
        }
    }
    let Some(lines) = outside::lines_of("dossiers.py", &[folder.as_os_str()]) else { return };
    assert_eq!(lines.len(), 2);
    let found: u64 = lines.iter().filter_map(|line| line["crate_without_licence"].as_u64()).sum();
    assert!(found > 0, "a validator that finds nothing in a crate without terms");
    let mut again = 0;
    for line in lines {
        let name = line["dossier"].as_str().expect("a name");
        assert_eq!(line["unpacks"], true, "{line}");
        assert_eq!(line["sorted"], true, "{line}");
        assert!(line["bag"].is_null(), "bagit: {line}");
        assert_eq!(line["crate"], serde_json::json!([]), "roc-validator: {line}");
        let first = opened(&fs::read(folder.join(name)).expect("ours")).expect("ours opens");
        for way in line["ways"].as_array().expect("ways") {
            let file = format!("{}.{}.zip", name.trim_end_matches(".zip"), way.as_str().expect("a way"));
            let bytes = fs::read(folder.join("again").join(&file)).expect("packed again");
            let repacked = opened(&bytes).unwrap_or_else(|found| panic!("{file}: {found:#?}"));
            assert_eq!((&repacked.seal, &repacked.payload), (&first.seal, &first.payload), "{file}");
            assert!(repacked.sealed_by().is_some(), "{file}");
            again += 1;
        }
    }
    assert!(again >= 10, "{again}");
}

fn git(folder: &Path, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new("git")
        .args([
            "-c",
            "user.name=M K",
            "-c",
            "user.email=mk@x",
            "-c",
            "init.defaultBranch=main",
            "-c",
            "commit.gpgsign=false",
        ])
        .args(arguments)
        .current_dir(folder)
        .env("GIT_CONFIG_GLOBAL", "/dev/null")
        .env("GIT_CONFIG_NOSYSTEM", "1")
        .output()
        .expect("git runs");
    assert!(output.status.success(), "git {arguments:?}: {}", said(&output));
    output.stdout
}

/// The objects of a repository's newest commits, as a dossier carries them.
fn carried(repository: &Path) -> Vec<(String, Vec<u8>)> {
    let mut objects = vec![("history/tip".to_owned(), git(repository, &["rev-parse", "HEAD"]))];
    let listed =
        git(repository, &["cat-file", "--batch-all-objects", "--batch-check=%(objecttype) %(objectname)"]);
    for line in String::from_utf8(listed).expect("text").lines() {
        let (kind, id) = line.split_once(' ').expect("a kind and an id");
        if kind != "blob" {
            objects.push((format!("history/{id}.{kind}"), git(repository, &["cat-file", kind, id])));
        }
    }
    objects
}

#[test]
fn a_history_made_by_git_is_read_as_git_reads_it() {
    if !have("git") {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let book = folder.path();
    git(book, &["init", "-q"]);
    fs::create_dir_all(book.join("parts/head")).expect("written");
    let path = "parts/head/h1.yaml";
    for (number, text) in ["first\n", "second\n", "third\n"].iter().enumerate() {
        fs::write(book.join(path), text).expect("written");
        fs::write(book.join("other.yaml"), number.to_string()).expect("written");
        git(book, &["add", "."]);
        git(book, &["commit", "-q", "-m", &format!("Step {number}")]);
        fs::write(book.join("other.yaml"), "between").expect("written");
        git(book, &["commit", "-qam", "Between"]);
    }
    git(book, &["fsck", "--strict"]);
    let history = History::read(carried(book)).expect("a history");
    assert!(history.is_whole() && history.findings.is_empty());
    let log = |arguments: &[&str]| -> Vec<String> {
        String::from_utf8(git(book, arguments)).expect("text").lines().map(str::to_owned).collect()
    };
    let line: Vec<String> = history.line().iter().map(|commit| commit.id.to_string()).collect();
    assert_eq!(line, log(&["log", "--format=%H"]));
    let changes: Vec<String> =
        history.changes(path).iter().map(|changed| changed.commit.id.to_string()).collect();
    assert_eq!(changes, log(&["log", "--format=%H", "--", path]));
    let times: Vec<String> = history.line().iter().map(|commit| commit.seconds.to_string()).collect();
    assert_eq!(times, log(&["log", "--format=%ct"]));
    let blob = ObjectId::of_file(b"third\n").expect("an id");
    assert_eq!(vec![blob.to_string()], log(&["rev-parse", &format!("HEAD:{path}")]));
    assert_eq!(history.changes(path)[0].at, At::File(blob));

    // The carried objects, put into an empty repository by git itself, are taken for whole.
    let (fresh, objects) = (tempfile::tempdir().expect("a folder"), carried(book));
    git(fresh.path(), &["init", "-q"]);
    for (name, bytes) in objects.iter().filter(|(name, _)| name != "history/tip") {
        let (id, kind) =
            name.strip_prefix("history/").and_then(|name| name.split_once('.')).expect("an object");
        let file = fresh.path().join("object");
        fs::write(&file, bytes).expect("written");
        let printed = git(fresh.path(), &["hash-object", "-t", kind, "-w", "object"]);
        assert_eq!(String::from_utf8_lossy(&printed).trim(), id);
    }
    let tip = history.tip.to_string();
    let counted = git(fresh.path(), &["rev-list", "--count", &tip]);
    assert_eq!(String::from_utf8_lossy(&counted).trim(), history.line().len().to_string());

    // Replacement objects of the repository change what git shows and nothing of what is carried.
    let first = line.last().expect("the first commit").clone();
    git(book, &["replace", &tip, &first]);
    assert_eq!(log(&["log", "--format=%H"]).len(), 1);
    let reread = History::read(objects.clone()).expect("a history");
    assert_eq!(reread.line().len(), line.len());
    let replaced = History::read(carried(book)).expect_err("git shows other bytes under the same id");
    assert!(replaced.iter().any(|finding| finding.code == "history-object"), "{replaced:?}");
    // One listing fewer: unknown, not absent.
    let top = log(&["--no-replace-objects", "rev-parse", &format!("{tip}^{{tree}}")]).remove(0);
    let fewer = objects.into_iter().filter(|(name, _)| !name.contains(&top)).map(|(name, bytes)| {
        if name == "history/tip" { (name, format!("{tip}\n").into_bytes()) } else { (name, bytes) }
    });
    let partial = History::read(fewer).map(|history| {
        let at = history.commit(history.tip).map(|commit| history.at(commit, path));
        (at, history.changes(path).first().map(|changed| changed.certain))
    });
    // The folders below the missing listing lead nowhere any more, which is told unless an older commit leads to them.
    match partial {
        Ok((at, _)) => assert_eq!(at, Some(At::NotShown)),
        Err(found) => assert!(found.iter().all(|finding| finding.code == "history-stray")),
    }
}

#[test]
fn git_agrees_with_the_signature_of_a_commit() {
    if !have("git") || !have("ssh-keygen") {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let (key_file, list) = (folder.path().join("key"), folder.path().join("signers"));
    private_key(&key_file, 1);
    let public = key(1).public_key().to_openssh().expect("text");
    fs::write(&list, format!("mk@x namespaces=\"git\" {public}\n")).expect("written");
    let book = folder.path().join("book");
    let mulebook = |arguments: &[&str], key: &Path| {
        Command::new(env!("CARGO_BIN_EXE_mulebook"))
            .args(arguments)
            .current_dir(folder.path())
            .env("MULEBOOK_NOW", "2026-05-24T09:00:00+02:00")
            .env("MULEBOOK_PERSON", "mk")
            .env("MULEBOOK_SIGNING_KEY", key)
            .output()
            .expect("the program runs")
    };
    let made = mulebook(&["new", "book"], &key_file);
    assert!(made.status.success(), "{}", said(&made));
    fs::write(book.join("notes.txt"), "kept\n").expect("written");
    let people = fs::read_to_string(book.join("people.yaml")).expect("people");
    fs::write(book.join("people.yaml"), format!("{people}\n# signed\n")).expect("written");
    let kept = mulebook(&["--book", "book", "keep"], &key_file);
    assert!(kept.status.success(), "{}", said(&kept));
    let allowed = format!("gpg.ssh.allowedSignersFile={}", list.display());
    git(&book, &["-c", "gpg.format=ssh", "-c", &allowed, "verify-commit", "HEAD"]);
    git(&book, &["fsck", "--strict"]);

    let history = History::read(carried(&book)).expect("a history");
    let signers =
        Signers::parse("signers", &fs::read_to_string(&list).expect("the list"), None).expect("a list");
    let tip = history.commit(history.tip).expect("the tip");
    let seal = history.signature(tip, &signers).expect("a signature").expect("one that holds");
    assert!(seal.is_listed());
    let first = history.line().last().copied().expect("the first commit");
    assert!(history.signature(first, &signers).is_none(), "the empty book is made before a key is asked for");

    // The public key alone, the private one in the agent.
    if have("ssh-agent") {
        let public_file = folder.path().join("key.pub");
        fs::write(&public_file, &public).expect("written");
        fs::write(book.join("people.yaml"), format!("{people}\n# by the agent\n")).expect("written");
        let script =
            format!("ssh-add -q key && rm key && {} --book book keep", env!("CARGO_BIN_EXE_mulebook"));
        let kept = Command::new("ssh-agent")
            .args(["bash", "-c", &script])
            .current_dir(folder.path())
            .env("MULEBOOK_NOW", "2026-05-24T10:00:00+02:00")
            .env("MULEBOOK_PERSON", "mk")
            .env("MULEBOOK_SIGNING_KEY", &public_file)
            .output()
            .expect("ssh-agent runs");
        assert!(kept.status.success(), "{}", said(&kept));
        git(&book, &["-c", "gpg.format=ssh", "-c", &allowed, "verify-commit", "HEAD"]);

        // The key that the book's page names, and nothing named by the person: the agent alone is asked.
        private_key(&key_file, 1);
        let page = fs::read_to_string(book.join("book.yaml")).expect("the page");
        fs::write(book.join("book.yaml"), format!("{page}signers:\n  - {{who: mk, key: \"{public}\"}}\n"))
            .expect("written");
        let kept = mulebook(&["--book", "book", "keep"], &key_file);
        assert!(kept.status.success(), "{}", said(&kept));
        fs::write(book.join("people.yaml"), format!("{people}\n# as the page wants\n")).expect("written");
        let by_page = |script: &str| {
            Command::new("ssh-agent")
                .args([
                    "bash",
                    "-c",
                    &format!("{script} {} --book book keep", env!("CARGO_BIN_EXE_mulebook")),
                ])
                .current_dir(folder.path())
                .env("MULEBOOK_NOW", "2026-05-24T11:00:00+02:00")
                .env("MULEBOOK_PERSON", "mk")
                .env_remove("MULEBOOK_SIGNING_KEY")
                .output()
                .expect("ssh-agent runs")
        };
        // Where the agent does not hold it nothing is kept, though the private key lies about beside the book and in it.
        let before = git(&book, &["rev-parse", "HEAD"]);
        for name in ["signer", "id_ed25519", ".git/signer", ".git/mulebook/signer"] {
            private_key(&book.join(name), 1);
        }
        let refused = by_page("");
        assert_eq!(refused.status.code(), Some(1), "{}", said(&refused));
        assert!(said(&refused).contains("the SSH agent"), "{}", said(&refused));
        assert_eq!(git(&book, &["rev-parse", "HEAD"]), before);
        for name in ["signer", "id_ed25519", ".git/signer", ".git/mulebook/signer"] {
            fs::remove_file(book.join(name)).expect("it was there");
        }
        let kept = by_page("ssh-add -q key && rm key &&");
        assert!(kept.status.success(), "{}", said(&kept));
        assert_ne!(git(&book, &["rev-parse", "HEAD"]), before);
        git(&book, &["-c", "gpg.format=ssh", "-c", &allowed, "verify-commit", "HEAD"]);
    }

    // A key that cannot sign stops the command, and nothing is kept.
    let before = git(&book, &["rev-parse", "HEAD"]);
    fs::write(folder.path().join("rubbish"), "rubbish").expect("written");
    fs::write(book.join("people.yaml"), format!("{people}\n# again\n")).expect("written");
    let refused = mulebook(&["--book", "book", "keep"], &folder.path().join("rubbish"));
    assert!(!refused.status.success() && said(&refused).contains("rubbish"), "{}", said(&refused));
    assert_eq!(git(&book, &["rev-parse", "HEAD"]), before);
}

/// A time-stamping service of openssl's own, which signs whatever it is asked: its answer for a file, as `ts` writes it.
const SERVICE: &str = r#"
[ -f service.pem ] || openssl req -x509 -newkey rsa:2048 -nodes -keyout service.key -out service.pem -days 30 \
  -subj "/O=Nobody/CN=A Time Service" -addext "extendedKeyUsage=critical,timeStamping" 2>/dev/null
printf '%s\n' '[tsa]' 'default_tsa=one' '[one]' 'serial=serial' 'default_policy=1.3.6.1.4.1.32473.1' 'digests=sha256,sha384,sha512' \
  'signer_digest=sha256' 'tsa_name=yes' 'ess_cert_id_alg=sha256' > service.cnf
stamp() { openssl ts -query -data "$1" "-$2" -cert -out query.tsq &&
  openssl ts -reply -config service.cnf -queryfile query.tsq -inkey service.key -signer service.pem -out "$3" $4; }
"#;

/// What an openssl of the machine answers and verifies, read by ours: the same time, policy and name.
#[test]
fn answers_of_a_time_stamping_service_are_read_as_openssl_reads_them() {
    if !have("openssl") {
        return;
    }
    let (folder, bag) = laid_out(&dossier());
    let service = |script: &str| {
        let output = bash(&bag, &format!("{SERVICE}\n{script}"));
        assert!(output.status.success(), "{}", said(&output));
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let with = |more: &[(&str, &str)]| {
        let mut files = unzipped(&dossier());
        for (name, file) in more {
            files.insert(
                format!("c1/tagmanifest-sha256.txt{name}"),
                fs::read(bag.join(file)).expect("written"),
            );
        }
        opened(&zipped(&files))
    };
    let text = service(
        "stamp tagmanifest-sha256.txt sha256 answer.tsr && stamp tagmanifest-sha256.txt sha512 token.der -token_out &&
         stamp bagit.txt sha256 other.tsr &&
         openssl ts -verify -data tagmanifest-sha256.txt -in answer.tsr -CAfile service.pem 1>&2 &&
         openssl ts -reply -in answer.tsr -text",
    );
    let stated = |key: &str| {
        let line = text.lines().find_map(|line| line.trim().strip_prefix(key));
        line.unwrap_or_else(|| panic!("{key} in {text}")).trim().to_owned()
    };
    let both = with(&[(".tsr", "answer.tsr"), (".second.tsr", "token.der")]).expect("whole");
    assert_eq!(codes(&both.findings), Vec::<&str>::new());
    let [token, answer] = both.stamps.as_slice() else { panic!("{:?}", both.stamps) };
    assert_eq!(token.file, "tagmanifest-sha256.txt.second.tsr");
    let time = chrono::DateTime::from_timestamp(answer.seconds, 0).expect("a time");
    assert_eq!(time.format("%b %e %H:%M:%S %Y GMT").to_string(), stated("Time stamp:"));
    assert_eq!(answer.policy, stated("Policy OID:"));
    let name = answer.service.as_deref().expect("a name");
    assert!(name.contains("CN=A Time Service") && name.contains("O=Nobody"), "{name}");
    assert!(both.sealed_by().is_some());

    // One of other bytes is refused; what is none of these is kept and said to be unreadable.
    let refused = with(&[(".tsr", "other.tsr")]).expect_err("of other bytes");
    assert_eq!(codes(&refused), ["time-stamp-of-other"]);
    let unreadable = with(&[(".tsr", "bagit.txt")]).expect("whole");
    assert_eq!(codes(&unreadable.findings), ["time-stamp-unreadable"]);
    assert!(!unreadable.findings[0].is_error() && unreadable.stamps.is_empty());
    // No prefix and no flipped bit of an answer makes it fall over.
    let bytes = fs::read(bag.join("answer.tsr")).expect("written");
    for at in (0..bytes.len()).step_by(7) {
        for damaged in [bytes[..at].to_vec(), {
            let mut flipped = bytes.clone();
            flipped[at] ^= 1 << (at % 8);
            flipped
        }] {
            let mut files = unzipped(&dossier());
            files.insert("c1/tagmanifest-sha256.txt.tsr".to_owned(), damaged);
            drop(opened(&zipped(&files)));
        }
    }
    drop(folder);
}
