//! Dossiers made for tests: a small payload, keys made from a number, and lists of signers.
#![allow(dead_code, reason = "each test program uses its own part of it")]

pub(crate) mod raw_zip;
pub(crate) mod twins;

use std::collections::BTreeMap;
use std::io::Cursor;

use chrono::DateTime;
use mulebook::evidence::{
    Action, Contents, Description, Details, FileNote, Limits, NAMESPACE, NotOpened, Opened, Sealer, Signers,
    Thing, ThingKind, open, write,
};
use mulebook::finding::Finding;
use ssh_key::private::{Ed25519Keypair, KeypairData};
use ssh_key::{HashAlg, LineEnding, PrivateKey};

/// A moment inside the validity of every list made here: 2026-06-01, 12:00 UTC.
pub(crate) const NOON: i64 = 1_780_315_200;
/// Whom the lists name.
pub(crate) const SHOP: &str = "shop@test.example";

/// A key made from a number, the same every time.
pub(crate) fn key(number: u8) -> PrivateKey {
    let pair = Ed25519Keypair::from_seed(&[number; 32]);
    PrivateKey::new(KeypairData::from(pair), format!("key {number}")).expect("a key")
}

/// Signs with a key in memory.
pub(crate) struct InMemory(pub(crate) PrivateKey);

impl Sealer for InMemory {
    fn seal(&mut self, namespace: &str, bytes: &[u8]) -> Result<String, String> {
        let signature = self.0.sign(namespace, HashAlg::Sha512, bytes).map_err(|error| error.to_string())?;
        signature.to_pem(LineEnding::LF).map_err(|error| error.to_string())
    }
}

/// An armoured signature.
pub(crate) fn signature(number: u8, namespace: &str, bytes: &[u8]) -> String {
    InMemory(key(number)).seal(namespace, bytes).expect("a signature")
}

/// The line of a list of signers that names a key for dossiers and countersignatures.
pub(crate) fn line(number: u8, options: &str) -> String {
    let public = key(number).public_key().to_openssh().expect("a key as text");
    format!("{SHOP} {options} {public}\n")
}

/// A list that names key 1 without conditions.
pub(crate) fn signers() -> Signers {
    Signers::parse("signers", &line(1, ""), None).expect("a list")
}

pub(crate) fn when() -> DateTime<chrono::FixedOffset> {
    DateTime::from_timestamp(NOON, 0).expect("a moment").fixed_offset()
}

/// What the fixture's dossier is about.
pub(crate) fn description() -> Description {
    let thing = |id: &str, kind, name: &str| Thing {
        id: id.to_owned(),
        kind,
        name: name.to_owned(),
        details: Details::default(),
        parts: Vec::new(),
        from: None,
    };
    let mut build = thing("build b1", ThingKind::Build, "Build b1");
    build.parts = vec!["part h1/b".to_owned()];
    let mut state = thing("part h1/b", ThingKind::PartState, "Head h1, milled");
    state.details = Details { serial: Some("0417".to_owned()), ..Details::default() };
    state.from = Some("part h1/a".to_owned());
    let mut program = thing("software mulebook", ThingKind::Software, "Mulebook");
    program.details.version = Some("0.1.0".to_owned());
    program.details.url = Some("https://mulebook.example/".to_owned());
    Description {
        name: "Claim c1".to_owned(),
        text: "A gain by a milled head, with the records and raw files it rests on.".to_owned(),
        published: "2026-05-30".to_owned(),
        terms: "For the one to whom it was handed.".to_owned(),
        things: vec![
            thing("person mk", ThingKind::Person, "M. K."),
            thing("instrument burette-1", ThingKind::Instrument, "Burette, 100 cc"),
            thing("part h1/a", ThingKind::PartState, "Head h1 as received"),
            state,
            build,
            program,
        ],
        actions: vec![
            Action {
                id: "work h1/b".to_owned(),
                name: "Milling of head h1".to_owned(),
                ended: Some("2026-05-01".to_owned()),
                agent: Some("person mk".to_owned()),
                objects: vec!["part h1/a".to_owned()],
                results: vec!["part h1/b".to_owned()],
                ..Action::default()
            },
            Action {
                id: "pull b1/p1".to_owned(),
                name: "Pull p1 of build b1".to_owned(),
                started: Some("2026-05-02T10:00:00Z".to_owned()),
                agent: Some("person mk".to_owned()),
                instruments: vec!["instrument burette-1".to_owned()],
                objects: vec!["build b1".to_owned()],
                results: vec!["raw/p1.csv".to_owned()],
                ..Action::default()
            },
        ],
        files: BTreeMap::from([(
            "raw/p1.csv".to_owned(),
            FileNote { name: "Raw file of pull p1".to_owned(), format: Some("text/csv".to_owned()) },
        )]),
    }
}

/// The fixture's payload by path.
pub(crate) fn payload() -> BTreeMap<String, Vec<u8>> {
    let rows: String =
        (0..400).map(|row| format!("{},{}.{}\n", 2000 + row, 40 + row % 7, row % 10)).collect();
    BTreeMap::from(
        [
            ("claims/c1.yaml", "claim: c1\nleast-gain: 1.5 %\n".to_owned()),
            ("records/parts/head/h1.yaml", "part: h1\nkind: head\n".to_owned()),
            ("records/builds/b1/build.yaml", "build: b1\n".to_owned()),
            ("raw/p1.csv", format!("rpm,torque\n{rows}")),
            ("weighing.json", "{\"verdict\": \"shown\"}\n".to_owned()),
            ("empty.txt", String::new()),
        ]
        .map(|(path, text)| (path.to_owned(), text.into_bytes())),
    )
}

/// Contents of a payload, described as the fixture's.
pub(crate) fn contents(payload: BTreeMap<String, Vec<u8>>) -> Contents<'static> {
    let mut contents = Contents {
        claim: "c1".to_owned(),
        information: vec![("External-Identifier".to_owned(), "c1".to_owned())],
        description: description(),
        ..Contents::default()
    };
    for (path, bytes) in payload {
        contents.payload.insert(path, Box::new(bytes));
    }
    contents
}

/// A dossier of a payload, signed with a key where one is given.
pub(crate) fn written(contents: &Contents<'_>, number: Option<u8>) -> Vec<u8> {
    let mut out = Vec::new();
    let mut sealer = number.map(|number| InMemory(key(number)));
    let sealer = sealer.as_mut().map(|sealer| sealer as &mut dyn Sealer);
    write(contents, sealer, when(), &mut out, &mut |_| {}).expect("a dossier");
    out
}

/// The fixture's dossier, signed with key 1.
pub(crate) fn dossier() -> Vec<u8> {
    written(&contents(payload()), Some(1))
}

/// Opens bytes as a dossier by the fixture's list of signers.
pub(crate) fn opened(bytes: &[u8]) -> Result<Opened<Cursor<Vec<u8>>>, Vec<Finding>> {
    opened_by(bytes, &signers())
}

/// Opens bytes as a dossier by a list of signers.
pub(crate) fn opened_by(bytes: &[u8], signers: &Signers) -> Result<Opened<Cursor<Vec<u8>>>, Vec<Finding>> {
    match open(Cursor::new(bytes.to_vec()), &Limits::default(), signers, NOON, &mut |_| {}) {
        Ok(opened) => Ok(opened),
        Err(NotOpened::Refused(findings)) => Err(findings),
        Err(other) => panic!("bytes in memory can be read: {other}"),
    }
}

/// The codes of findings.
pub(crate) fn codes(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().map(|finding| finding.code).collect()
}

/// Every file of a zip file, by a reader that is not ours.
pub(crate) fn unzipped(bytes: &[u8]) -> BTreeMap<String, Vec<u8>> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip file");
    let mut files = BTreeMap::new();
    for at in 0..archive.len() {
        let mut file = archive.by_index(at).expect("an entry");
        if file.is_file() {
            let mut bytes = Vec::new();
            std::io::Read::read_to_end(&mut file, &mut bytes).expect("its bytes");
            let name = file.name().expect("a name that is text").into_owned();
            files.insert(name, bytes);
        }
    }
    files
}

fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest;
    sha2::Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Seals a bag anew, hashes, counts and all, and signs it with a key where one is given.
pub(crate) fn resealed(files: &mut BTreeMap<String, Vec<u8>>, number: Option<u8>) {
    let in_payload = |name: &&String| name.starts_with("c1/data/");
    let manifest: String = files
        .iter()
        .filter(|(name, _)| in_payload(name))
        .map(|(name, bytes)| format!("{}  {}\n", sha256(bytes), &name[3..]))
        .collect();
    let count = files.keys().filter(in_payload).count();
    let sum: usize = files.iter().filter(|(name, _)| in_payload(name)).map(|(_, bytes)| bytes.len()).sum();
    files.insert("c1/manifest-sha256.txt".to_owned(), manifest.into_bytes());
    files.insert("c1/bag-info.txt".to_owned(), format!("Payload-Oxum: {sum}.{count}\n").into_bytes());
    sealed_tags(files, number);
}

/// Lists the tag files anew as they stand, and signs the list with a key where one is given.
pub(crate) fn sealed_tags(files: &mut BTreeMap<String, Vec<u8>>, number: Option<u8>) {
    let tags: String = ["bag-info.txt", "bagit.txt", "manifest-sha256.txt"]
        .iter()
        .map(|name| format!("{}  {name}\n", sha256(&files[&format!("c1/{name}")])))
        .collect();
    files.remove("c1/tagmanifest-sha256.txt.sig");
    if let Some(number) = number {
        let armour = signature(number, NAMESPACE, tags.as_bytes());
        files.insert("c1/tagmanifest-sha256.txt.sig".to_owned(), armour.into_bytes());
    }
    files.insert("c1/tagmanifest-sha256.txt".to_owned(), tags.into_bytes());
}

/// Files in a zip file, by a writer that is not ours.
pub(crate) fn zipped(files: &BTreeMap<String, Vec<u8>>) -> Vec<u8> {
    use std::io::Write;
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        archive.start_file(name.as_str(), zip::write::SimpleFileOptions::default()).expect("an entry");
        archive.write_all(bytes).expect("in memory");
    }
    archive.finish().expect("a zip file").into_inner()
}
