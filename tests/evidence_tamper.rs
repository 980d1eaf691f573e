//! A signed dossier changed in every way by somebody who does not have the key: each change is noticed, and the finding names
//! the file that was changed.

mod dossier_fixture;

use std::collections::BTreeMap;

use dossier_fixture::raw_zip::{raw_entries, raw_zip};
use dossier_fixture::{codes, dossier, opened, resealed, sealed_tags, unzipped};
use mulebook::finding::Finding;
use proptest::prelude::*;

type Files = BTreeMap<String, Vec<u8>>;

/// What was noticed: the findings, empty where nothing was.
fn noticed(files: &Files) -> Vec<Finding> {
    match opened(&raw_zip(&raw_entries(files))) {
        Ok(opened) => opened.findings,
        Err(findings) => findings,
    }
}

/// Whether a finding names a file, the folder at the top left out or not.
fn named(findings: &[Finding], name: &str) -> bool {
    let inside = name.strip_prefix("c1/").unwrap_or(name);
    findings.iter().any(|finding| {
        let place = finding.place.as_ref().map_or("", |place| place.file.as_str());
        place == inside || place == name
    })
}

#[test]
fn every_bit_of_every_file() {
    let files = unzipped(&dossier());
    let mut tried = 0;
    for (name, bytes) in &files {
        // Each byte of what is small, and of what seals; of longer files every seventh.
        let step = if bytes.len() < 2000 { 1 } else { 7 };
        for at in (0..bytes.len()).step_by(step) {
            let mut changed = files.clone();
            changed.get_mut(name).expect("there")[at] ^= 1 << (at % 8);
            let findings = noticed(&changed);
            let last = name.ends_with(".sig") && at + 1 == bytes.len();
            assert!(last || findings.iter().any(Finding::is_error), "{name} at {at}: {findings:?}");
            // Changed tag manifests are seen by the signature over them.
            let by =
                if name.ends_with("tagmanifest-sha256.txt") { format!("{name}.sig") } else { name.clone() };
            assert!(named(&findings, name) || named(&findings, &by), "{name} at {at}: {findings:?}");
            tried += 1;
        }
    }
    assert!(tried > 2500, "{tried}");
}

#[test]
fn every_bit_of_the_signature() {
    let files = unzipped(&dossier());
    let name = "c1/tagmanifest-sha256.txt.sig";
    let length = files[name].len();
    for at in 0..length {
        for bit in 0..8 {
            let mut changed = files.clone();
            changed.get_mut(name).expect("there")[at] ^= 1 << bit;
            let findings = noticed(&changed);
            assert!(named(&findings, name), "byte {at}, bit {bit}: {findings:?}");
            // The line break behind the armour is no part of it: something else there is told, and changes nothing.
            assert!(
                at + 1 == length || findings.iter().any(Finding::is_error),
                "byte {at}, bit {bit}: {findings:?}"
            );
        }
    }
}

#[test]
fn every_file_dropped_added_renamed_and_swapped() {
    let files = unzipped(&dossier());
    for name in files.keys() {
        let mut dropped = files.clone();
        dropped.remove(name);
        assert!(named(&noticed(&dropped), name), "{name} dropped: {:?}", noticed(&dropped));
        for ending in [".bak", "2", ".sig"] {
            let other = format!("{name}{ending}");
            let mut renamed = dropped.clone();
            renamed.insert(other.clone(), files[name].clone());
            let findings = noticed(&renamed);
            // A signature may be called otherwise: it stays one over the same text.
            let signature = name.ends_with(".sig") && ending == ".sig";
            assert!(
                signature || named(&findings, &other) || named(&findings, name),
                "{name} renamed: {findings:?}"
            );
            let mut added = files.clone();
            added.insert(other.clone(), files[name].clone());
            let findings = noticed(&added);
            let second_signature = other == "c1/tagmanifest-sha256.txt.sig.sig";
            assert!(second_signature || named(&findings, &other), "{other} added: {findings:?}");
        }
        for with in files.keys().filter(|with| *with > name && files[*with] != files[name]) {
            let mut swapped = files.clone();
            swapped.insert(name.clone(), files[with].clone());
            swapped.insert(with.clone(), files[name].clone());
            let findings = noticed(&swapped);
            assert!(findings.iter().any(Finding::is_error), "{name} and {with} swapped: {findings:?}");
            assert!(
                named(&findings, name) || named(&findings, with),
                "{name} and {with} swapped: {findings:?}"
            );
        }
    }
}

#[test]
fn every_second_byte_of_the_archive() {
    let whole = dossier();
    let good = opened(&whole).expect("a whole dossier");
    for at in (0..whole.len()).step_by(2) {
        for bit in [0, 5] {
            let mut changed = whole.clone();
            changed[at] ^= 1 << bit;
            if let Ok(opened) = opened(&changed) {
                // Times and versions in the headers say nothing that is read.
                assert_eq!(
                    (&opened.seal, &opened.payload),
                    (&good.seal, &good.payload),
                    "byte {at}, bit {bit}"
                );
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// The claim edited and everything sealed anew, without the key: by nobody, by another key, or with the old signature.
    #[test]
    fn the_claim_edited_and_sealed_anew(
        text in "[ -~\n]{0,200}",
        which in 0_usize..3,
        sealer in prop_oneof![Just(None), (2_u8..20).prop_map(Some)],
        keeps in any::<bool>(),
    ) {
        let mut files = unzipped(&dossier());
        let name = ["c1/data/claims/c1.yaml", "c1/data/weighing.json", "c1/data/raw/p1.csv"][which];
        let old = files["c1/tagmanifest-sha256.txt.sig"].clone();
        prop_assume!(files[name] != text.as_bytes());
        files.insert(name.to_owned(), text.into_bytes());
        resealed(&mut files, sealer);
        if keeps {
            files.insert("c1/tagmanifest-sha256.txt.sig".to_owned(), old);
        }
        let outcome = opened(&raw_zip(&raw_entries(&files)));
        match outcome {
            Ok(opened) => {
                prop_assert!(!keeps && opened.sealed_by().is_none());
                let expected = if sealer.is_some() { "signer-unlisted" } else { "signature-missing" };
                prop_assert_eq!(codes(&opened.findings), [expected]);
            }
            Err(findings) => prop_assert_eq!(codes(&findings), ["signature-broken"]),
        }
    }

    /// Only some of the hashes made to fit: the first that does not is told.
    #[test]
    fn hashes_made_to_fit_by_half(at in 0_usize..1000, fits in 0_u8..2) {
        let mut files = unzipped(&dossier());
        let raw = files.get_mut("c1/data/raw/p1.csv").expect("there");
        let at = at % raw.len();
        raw[at] ^= 4;
        let tags = files["c1/tagmanifest-sha256.txt"].clone();
        let signature = files["c1/tagmanifest-sha256.txt.sig"].clone();
        resealed(&mut files, None);
        if fits == 0 {
            files.insert("c1/tagmanifest-sha256.txt".to_owned(), tags);
        } else {
            sealed_tags(&mut files, None);
        }
        files.insert("c1/tagmanifest-sha256.txt.sig".to_owned(), signature);
        let expected = if fits == 0 { "bag-hash" } else { "signature-broken" };
        prop_assert!(codes(&noticed(&files)).contains(&expected));
    }
}
