//! Dossiers written and opened again: what goes in comes out, the same contents give the same bytes, and what may not go in
//! does not.

mod dossier_fixture;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::{Cursor, Read, Seek, SeekFrom, Write};
use std::rc::Rc;

use dossier_fixture::{
    InMemory, SHOP, codes, contents, dossier, key, line, opened, opened_by, payload, resealed, signature,
    signers, unzipped, when, written, zipped,
};
use mulebook::evidence::{
    Countersigned, Limits, NAMESPACE, Opening, Payload, PayloadError, Role, Sealer, Signers, Standing,
    WITNESS_NAMESPACE, WriteError, countersign, open, write,
};

#[test]
fn what_goes_in_comes_out_sealed_by_the_one_who_signed() {
    let mut opened = opened(&dossier()).expect("a whole dossier");
    assert_eq!(opened.claim, "c1");
    assert!(opened.findings.is_empty(), "{:?}", opened.findings);
    let seal = opened.sealed_by().expect("a listed signer");
    assert_eq!(seal.role, Role::Shop);
    assert_eq!(seal.standing, Standing::Listed { principals: vec![SHOP.to_owned()] });
    assert!(opened.information.contains(&("External-Identifier".to_owned(), "c1".to_owned())));
    assert!(opened.information.contains(&("Bagging-Date".to_owned(), "2026-06-01".to_owned())));
    let mut expected = payload();
    assert!(opened.payload.contains_key("ro-crate-metadata.json"));
    assert_eq!(opened.payload.len(), expected.len() + 1);
    for (path, bytes) in &mut expected {
        assert_eq!(&opened.read(path).expect("a payload file"), bytes, "{path}");
        let mut stream = opened.stream(path).expect("a payload file");
        let mut first = [0; 3];
        let count = stream.read(&mut first).expect("its beginning");
        assert_eq!(first[..count], bytes[..count]);
        stream.finish().expect("the rest is as it was");
    }
    assert!(matches!(opened.read("no/such.yaml"), Err(PayloadError::Refused(_))));
}

#[test]
fn the_same_contents_give_the_same_bytes_but_for_the_day() {
    assert_eq!(dossier(), dossier());
    let mut later = Vec::new();
    let mut sealer = InMemory(key(1));
    let next_day = when() + chrono::Duration::days(1);
    write(&contents(payload()), Some(&mut sealer), next_day, &mut later, &mut |_| {}).expect("a dossier");
    let (today, later) = (unzipped(&dossier()), unzipped(&later));
    let differing: Vec<&String> = today.keys().filter(|name| today[*name] != later[*name]).collect();
    assert_eq!(differing, ["c1/bag-info.txt", "c1/tagmanifest-sha256.txt", "c1/tagmanifest-sha256.txt.sig"]);
}

#[test]
fn another_zip_writer_does_no_harm() {
    let again = zipped(&unzipped(&dossier()));
    assert_ne!(again, dossier());
    let opened_again = opened(&again).expect("a whole dossier");
    assert!(opened_again.sealed_by().is_some());
    assert_eq!(opened_again.seal, opened(&dossier()).expect("the first").seal);
}

#[test]
fn an_unsigned_or_unlisted_dossier_is_opened_with_errors_among_its_findings() {
    let unsigned = opened(&written(&contents(payload()), None)).expect("whole");
    assert_eq!(codes(&unsigned.findings), ["signature-missing"]);
    assert!(unsigned.sealed_by().is_none() && unsigned.findings[0].is_error());
    let other = opened(&written(&contents(payload()), Some(2))).expect("whole");
    assert_eq!(codes(&other.findings), ["signer-unlisted"]);
    assert!(other.sealed_by().is_none() && other.findings[0].is_error());
}

#[test]
fn a_witness_countersigns_with_a_file_of_its_own() {
    let mut files = unzipped(&dossier());
    let tags = files["c1/tagmanifest-sha256.txt"].clone();
    let armour = signature(2, WITNESS_NAMESPACE, &tags).into_bytes();
    files.insert("c1/tagmanifest-sha256.txt.sponsor.sig".to_owned(), armour);
    let both = Signers::parse("signers", &(line(1, "") + &line(2, "")), None).expect("a list");
    let countersigned = opened_by(&zipped(&files), &both).expect("whole");
    assert!(countersigned.findings.is_empty());
    let roles: Vec<_> = countersigned.signatures.iter().map(|seal| (seal.role, seal.is_listed())).collect();
    assert_eq!(roles, [(Role::Shop, true), (Role::Witness, true)]);
    let by_shop_alone = opened(&zipped(&files)).expect("whole");
    assert_eq!(codes(&by_shop_alone.findings), ["signer-unlisted"]);
    assert!(!by_shop_alone.findings[0].is_error(), "an unknown witness forbids nothing");
    assert!(by_shop_alone.sealed_by().is_some());
    // A witness alone seals nothing.
    let both_gone = files.remove("c1/tagmanifest-sha256.txt.sig");
    assert!(both_gone.is_some());
    let witnessed = opened_by(&zipped(&files), &both).expect("whole");
    assert_eq!(codes(&witnessed.findings), ["signature-missing"]);
}

#[test]
fn a_source_that_changes_between_the_readings_is_refused() {
    struct Restless(std::cell::Cell<u8>);
    impl Payload for Restless {
        fn open(&self) -> std::io::Result<Box<dyn Read + '_>> {
            self.0.set(self.0.get() + 1);
            Ok(Box::new(std::io::Cursor::new(vec![self.0.get(); 10])))
        }
    }
    let mut changing = contents(payload());
    changing.payload.insert("raw/x.bin".to_owned(), Box::new(Restless(std::cell::Cell::new(0))));
    let failed =
        write(&changing, None, when(), &mut Vec::new(), &mut |_| {}).expect_err("two readings differ");
    assert!(matches!(&failed, WriteError::Source { path, .. } if path.ends_with("raw/x.bin")), "{failed}");
}

#[test]
fn a_source_that_cannot_be_read_is_named() {
    let mut contents = contents(payload());
    let opening = Opening(|| Err::<Box<dyn Read>, _>(std::io::Error::other("gone")));
    contents.payload.insert("raw/x.bin".to_owned(), Box::new(opening));
    let failed = write(&contents, None, when(), &mut Vec::new(), &mut |_| {}).expect_err("no bytes");
    assert_eq!(failed.to_string(), "raw/x.bin could not be read: gone");
}

#[test]
fn a_full_disk_is_told_as_one() {
    struct Full(usize);
    impl Write for Full {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0 = self.0.checked_sub(bytes.len()).ok_or_else(|| std::io::Error::other("full"))?;
            Ok(bytes.len())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let whole = dossier().len();
    for room in (0..whole).step_by(97) {
        let failed = write(&contents(payload()), None, when(), &mut Full(room), &mut |_| {});
        if room < whole - 1000 {
            assert!(matches!(failed, Err(WriteError::Out(_))), "{room}: {failed:?}");
        }
    }
}

#[test]
fn what_may_not_go_in_does_not() {
    for name in [
        "a b.yaml",
        "../x",
        ".git/config",
        "CON.txt",
        "ro-crate-metadata.json",
        "CLAIMS/c1.yaml",
        "raw/p1.csv/x",
    ] {
        let mut contents = contents(payload());
        contents.payload.insert(name.to_owned(), Box::new(Vec::new()));
        let refused = write(&contents, None, when(), &mut Vec::new(), &mut |_| {});
        assert!(
            matches!(&refused, Err(WriteError::Refused(finding)) if finding.code == "archive-name"),
            "{name}: {refused:?}"
        );
    }
    let mut dangling = contents(payload());
    dangling.description.actions[0].agent = Some("person nobody".to_owned());
    let refused = write(&dangling, None, when(), &mut Vec::new(), &mut |_| {});
    assert!(matches!(&refused, Err(WriteError::Refused(finding)) if finding.code == "crate-reference"));
    let mut labelled = contents(payload());
    labelled.information.push(("Payload-Oxum".to_owned(), "1.1".to_owned()));
    let refused = write(&labelled, None, when(), &mut Vec::new(), &mut |_| {});
    assert!(matches!(&refused, Err(WriteError::Refused(finding)) if finding.code == "bag-information"));
}

#[test]
fn a_file_that_packs_too_well_is_kept_as_it_is() {
    let mut zeros = payload();
    zeros.insert("raw/zeros.bin".to_owned(), vec![0; 3 << 20]);
    let bytes = written(&contents(zeros), Some(1));
    assert!(bytes.len() > 3 << 20);
    assert!(opened(&bytes).expect("a whole dossier").sealed_by().is_some());
}

#[test]
fn sealed_anew_without_the_key_is_another_signer_or_none() {
    let mut files = unzipped(&dossier());
    files.insert("c1/data/claims/c1.yaml".to_owned(), b"claim: c1\nleast-gain: 9 %\n".to_vec());
    resealed(&mut files, Some(3));
    let forged = opened_by(&zipped(&files), &signers()).expect("whole in itself");
    assert!(forged.sealed_by().is_none());
    assert_eq!(codes(&forged.findings), ["signer-unlisted"]);
}

#[test]
fn a_list_decides_by_the_moment_that_is_asked_for() {
    let bytes = dossier();
    for (options, code) in [
        ("valid-after=\"20260602Z\"", "signer-not-yet"),
        ("valid-before=\"20260531Z\"", "signer-expired"),
        ("namespaces=\"file\"", "signer-purpose"),
    ] {
        let list = Signers::parse("signers", &line(1, options), None).expect("a list");
        let opened = opened_by(&bytes, &list).expect("whole");
        assert_eq!(codes(&opened.findings), [code], "{options}");
        assert!(opened.sealed_by().is_none());
    }
    let options = format!("namespaces=\"{NAMESPACE}\",valid-after=\"20260601Z\",valid-before=\"20260602Z\"");
    let list = Signers::parse("signers", &line(1, &options), None).expect("a list");
    assert!(opened_by(&bytes, &list).expect("whole").sealed_by().is_some());
}

#[test]
fn names_of_a_book_in_other_scripts_find_a_place() {
    let mut odd = BTreeMap::new();
    for path in ["parts/head/ж.yaml", "parts/head/é.yaml", "notes/a b.txt"] {
        odd.insert(mulebook::evidence::safe_path(path), path.as_bytes().to_vec());
    }
    let mut all = payload();
    all.extend(odd);
    assert!(opened(&written(&contents(all), Some(1))).is_ok());
}

/// Countersigns with a key made from a number.
fn countersigned(bytes: &[u8], number: u8) -> Result<(Countersigned, Vec<u8>), WriteError> {
    let mut opened = opened_by(bytes, &Signers::none()).expect("a whole dossier");
    let mut out = Vec::new();
    let mut last = 0;
    let added = countersign(&mut opened, &mut InMemory(key(number)), &mut out, &mut |done| last = done)?;
    assert!(last > 0);
    Ok((added, out))
}

fn refusal<T: std::fmt::Debug>(refused: Result<T, WriteError>) -> &'static str {
    match refused.expect_err("refused") {
        WriteError::Refused(finding) => finding.code,
        other => panic!("{other}"),
    }
}

#[test]
fn a_countersignature_is_put_beside_the_seal_and_nothing_else_moves() {
    let (added, once) = countersigned(&dossier(), 2).expect("countersigned");
    assert_eq!(added.file, "tagmanifest-sha256.txt.witness-1.sig");
    assert_eq!(added.archive, once.len() as u64);
    // The same again gives the same bytes, whoever packed the dossier before.
    assert_eq!(countersigned(&zipped(&unzipped(&dossier())), 2).expect("countersigned").1, once);
    let mut files = unzipped(&once);
    let signature = files.remove(&format!("c1/{}", added.file)).expect("the countersignature");
    assert_eq!(files, unzipped(&dossier()));
    assert!(signature.starts_with(b"-----BEGIN SSH SIGNATURE-----\n"));
    // A second witness beside the first.
    let (second, twice) = countersigned(&once, 3).expect("countersigned");
    assert_eq!(second.file, "tagmanifest-sha256.txt.witness-2.sig");
    let all = Signers::parse("signers", &(line(1, "") + &line(2, "") + &line(3, "")), None).expect("a list");
    let opened = opened_by(&twice, &all).expect("whole");
    let roles: Vec<Role> = opened.signatures.iter().map(|seal| seal.role).collect();
    assert_eq!(roles, [Role::Shop, Role::Witness, Role::Witness]);
    assert!(opened.findings.is_empty() && opened.signatures.iter().all(|seal| seal.is_listed()));
    // Whoever does not list the witness still has a dossier of the shop's.
    let opened = opened_by(&twice, &signers()).expect("whole");
    assert!(opened.sealed_by().is_some() && opened.findings.iter().all(|finding| !finding.is_error()));
}

#[test]
fn a_countersignature_is_a_second_keys_over_a_sealed_dossier() {
    assert_eq!(refusal(countersigned(&dossier(), 1)), "witness-is-signer");
    let (_, once) = countersigned(&dossier(), 2).expect("countersigned");
    assert_eq!(refusal(countersigned(&once, 2)), "countersigned-already");
    assert_eq!(refusal(countersigned(&written(&contents(payload()), None), 2)), "signature-missing");
    let mut full = dossier();
    for number in 2..=32 {
        full = countersigned(&full, number).expect("countersigned").1;
    }
    assert_eq!(refusal(countersigned(&full, 33)), "signature-too-many");
    assert!(opened(&full).is_ok(), "as many as are read");
    // A key that signs something else, or nothing, leaves nothing that could be handed on.
    struct Other;
    impl Sealer for Other {
        fn seal(&mut self, _: &str, bytes: &[u8]) -> Result<String, String> {
            InMemory(key(2)).seal("file", bytes)
        }
    }
    let mut whole = opened(&dossier()).expect("whole");
    let refused =
        countersign(&mut whole, &mut Other, &mut Vec::new(), &mut |_| {}).expect_err("another purpose");
    assert!(matches!(refused, WriteError::Sealer(_)), "{refused}");
}

/// What is changed between the check and the copy does not get through.
#[test]
fn what_was_not_checked_is_not_countersigned() {
    let bytes =
        dossier_fixture::raw_zip::raw_zip(&dossier_fixture::raw_zip::raw_entries(&unzipped(&dossier())));
    let mut tried = 0;
    for at in (0..bytes.len()).step_by(11) {
        let shared = Shared(Rc::new(RefCell::new(Cursor::new(bytes.clone()))));
        let opened = open(shared.clone(), &Limits::default(), &Signers::none(), 0, &mut |_| {});
        let mut opened = opened.unwrap_or_else(|refused| panic!("{refused}"));
        shared.0.borrow_mut().get_mut()[at] ^= 0x10;
        let mut out = Vec::new();
        let done = countersign(&mut opened, &mut InMemory(key(2)), &mut out, &mut |_| {});
        // A change in what is only the archive's own is of no account: the copy is written anew.
        if done.is_ok() {
            let mut files = unzipped(&out);
            files.remove("c1/tagmanifest-sha256.txt.witness-1.sig");
            assert_eq!(files, unzipped(&dossier()), "byte {at}");
        } else {
            tried += 1;
        }
    }
    assert!(tried > 100, "{tried}");
}

/// Bytes that somebody else can change meanwhile.
#[derive(Clone)]
struct Shared(Rc<RefCell<Cursor<Vec<u8>>>>);

impl Read for Shared {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().read(out)
    }
}

impl Seek for Shared {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.0.borrow_mut().seek(to)
    }
}
