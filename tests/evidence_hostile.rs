//! Dossiers made to deceive, to harm, or to last for ever: each is refused or warned of by name, in bounded time and memory,
//! and nothing is written anywhere.
//!
//! The cases follow a numbered list that was drawn up before the reader was written, from the security sections of RFC 8493 and
//! RO-Crate, what general zip and tar programs, `bagit` and `git` let pass, and OpenSSH's notes on signatures. Numbers 81 to 98
//! concern records, raw files, claims and pages: most are tried in tests/dossier.rs, with their numbers in brackets; forms that
//! only a tar file or a folder can take (a socket, a hard link, a sparse file) are tried in the form a zip file can give them.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::cast_possible_truncation,
    reason = "looks at the folder it runs in, measures its own time, and builds small archives"
)]

mod dossier_fixture;
#[path = "support/finding_codes.rs"]
mod finding_codes;

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use std::time::{Duration, Instant};

use dossier_fixture::raw_zip::{RawEntry, raw_entries, raw_zip, raw_zip_behind};
use dossier_fixture::twins::{TWINS, twins};
use dossier_fixture::{
    codes, contents, dossier, key, line, opened_by, payload, resealed, sealed_tags, signature, signers,
    unzipped, written,
};
use mulebook::evidence::{
    At, GIT_NAMESPACE, History, Limits, NAMESPACE, NotOpened, ObjectId, ObjectKind, PayloadError, Receipt,
    Signers, TIP_FILE, chain_findings, open,
};
use mulebook::finding::Finding;
use peak_alloc::PeakAlloc;

#[global_allocator]
static HELD: PeakAlloc = PeakAlloc;

/// The longest that one case may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);
/// The most that one case may hold at once, in bytes, beyond the case itself.
const ROOM: usize = 64 << 20;

type Files = BTreeMap<String, Vec<u8>>;

/// What must come of a case.
enum Outcome {
    /// It is not opened; this code is among the findings.
    Refused(&'static str),
    /// It is opened, but not as one that a listed signer sealed.
    NotSealed(&'static str),
    /// It is opened and sealed, with a doubt of this code.
    Warned(&'static str),
    /// It is opened and sealed, and nothing comes of it.
    Harmless,
}
use Outcome::{Harmless, NotSealed, Refused, Warned};

struct Case {
    number: u32,
    what: String,
    bytes: Vec<u8>,
    signers: Signers,
    outcome: Outcome,
}

#[derive(Default)]
struct Cases(Vec<Case>);

impl Cases {
    fn add(&mut self, number: u32, what: &str, outcome: Outcome, bytes: Vec<u8>) {
        self.by(number, what, outcome, bytes, signers());
    }

    fn by(&mut self, number: u32, what: &str, outcome: Outcome, bytes: Vec<u8>, signers: Signers) {
        self.0.push(Case { number, what: what.to_owned(), bytes, signers, outcome });
    }

    /// A change of the files of the bag, made by somebody who does not have the key.
    fn changed(&mut self, number: u32, what: &str, outcome: Outcome, change: impl FnOnce(&mut Files)) {
        let mut files = unzipped(&dossier());
        change(&mut files);
        self.add(number, what, outcome, raw_zip(&raw_entries(&files)));
    }

    /// A change that the shop itself makes and signs.
    fn signed(&mut self, number: u32, what: &str, outcome: Outcome, change: impl FnOnce(&mut Files)) {
        let mut files = unzipped(&dossier());
        change(&mut files);
        sealed_tags(&mut files, Some(1));
        self.add(number, what, outcome, raw_zip(&raw_entries(&files)));
    }

    /// One more entry of the zip file, beside those of a good dossier.
    fn entry(&mut self, number: u32, what: &str, outcome: Outcome, entry: RawEntry) {
        let mut entries = raw_entries(&unzipped(&dossier()));
        entries.push(entry);
        self.add(number, what, outcome, raw_zip(&entries));
    }

    /// A line of the payload's manifest, sealed and signed by the shop.
    fn manifest(&mut self, number: u32, what: &str, outcome: Outcome, change: impl FnOnce(&str) -> Vec<u8>) {
        self.signed(number, what, outcome, |files| {
            let manifest = String::from_utf8(files[MANIFEST].clone()).expect("text");
            files.insert(MANIFEST.to_owned(), change(&manifest));
        });
    }

    /// A change of the first entry, which is `bag-info.txt`.
    fn first(&mut self, number: u32, what: &str, outcome: Outcome, change: impl FnOnce(&mut RawEntry)) {
        let mut entries = raw_entries(&unzipped(&dossier()));
        change(&mut entries[0]);
        self.add(number, what, outcome, raw_zip(&entries));
    }
}

const MANIFEST: &str = "c1/manifest-sha256.txt";
const TAGS: &str = "c1/tagmanifest-sha256.txt";
const SIGNATURE: &str = "c1/tagmanifest-sha256.txt.sig";
const INFORMATION: &str = "c1/bag-info.txt";
const RAW: &str = "c1/data/raw/p1.csv";
const ZEROS: &str = "0000000000000000000000000000000000000000000000000000000000000000";

fn bag_cases(cases: &mut Cases) {
    cases.changed(1, "one byte of a raw file", Refused("bag-hash"), |files| {
        files.get_mut(RAW).expect("there")[40] ^= 1
    });
    cases.changed(2, "a payload file more", Refused("bag-unlisted"), |files| {
        files.insert("c1/data/raw/p2.csv".to_owned(), b"1".to_vec());
    });
    cases.changed(3, "a payload file less", Refused("bag-file-missing"), |files| drop(files.remove(RAW)));
    cases.changed(4, "a page beside the payload", Refused("bag-unlisted"), |files| {
        files.insert("c1/report.html".to_owned(), b"<html>".to_vec());
    });
    cases.changed(5, "a folder beside the payload", Refused("bag-unlisted"), |files| {
        files.insert("c1/meta/report.html".to_owned(), b"<html>".to_vec());
    });
    cases.changed(6, "no tag manifest", Refused("bag-file-missing"), |files| drop(files.remove(TAGS)));
    for name in ["manifest-sha256.txt", "bag-info.txt", "bagit.txt"] {
        let what = format!("a tag manifest without {name}");
        let mut files = unzipped(&dossier());
        let tags = String::from_utf8(files[TAGS].clone()).expect("text");
        let fewer: String =
            tags.lines().filter(|line| !line.ends_with(name)).map(|line| format!("{line}\n")).collect();
        files.insert(SIGNATURE.to_owned(), signature(1, NAMESPACE, fewer.as_bytes()).into_bytes());
        files.insert(TAGS.to_owned(), fewer.into_bytes());
        cases.add(7, &what, Refused("bag-not-sealed"), raw_zip(&raw_entries(&files)));
    }
    cases.changed(
        8,
        "edited and sealed anew, the old signature kept",
        Refused("signature-broken"),
        |files| {
            let old = files[SIGNATURE].clone();
            files.insert("c1/data/claims/c1.yaml".to_owned(), b"claim: c1\n".to_vec());
            resealed(files, None);
            files.insert(SIGNATURE.to_owned(), old);
        },
    );
    cases.changed(
        8,
        "edited and sealed anew, the signature left out",
        NotSealed("signature-missing"),
        |files| {
            files.insert("c1/data/claims/c1.yaml".to_owned(), b"claim: c1\n".to_vec());
            resealed(files, None);
        },
    );
    cases.changed(6, "an empty manifest", Refused("bag-manifest-line"), |files| {
        files.insert(MANIFEST.to_owned(), Vec::new());
    });
}

fn kind_cases(cases: &mut Cases) {
    let link =
        |name: &str, to: &str| RawEntry::stored(name, to.as_bytes()).with(|entry| entry.mode = 0o120_777);
    let refused = || Refused("archive-not-plain");
    cases.entry(9, "a link to outside", refused(), link("c1/data/raw/passwd", "/etc/passwd"));
    cases.entry(10, "a link to inside", refused(), link("c1/data/raw/again", "p1.csv"));
    cases.entry(11, "a linked folder", refused(), link("c1/data/etc", "/etc"));
    cases.entry(12, "the payload's folder a link", refused(), link("c1/data", "/etc"));
    for (number, what, mode) in [
        (21, "a pipe", 0o010_644),
        (22, "a character device", 0o020_644),
        (22, "a block device", 0o060_644),
        (23, "a socket", 0o140_644),
    ] {
        let entry = RawEntry::stored("c1/data/raw/odd", b"").with(|entry| entry.mode = mode);
        cases.entry(number, what, refused(), entry);
    }
    let folder = RawEntry::stored("c1/data/raw", b"").with(|entry| entry.mode = 0o040_755);
    cases.entry(22, "a folder with the name of a file", refused(), folder);
    let mut entries = raw_entries(&unzipped(&dossier()));
    // A zip file has no hard links; two entries that share their bytes are the nearest.
    let mut second = entries[3].clone();
    second.name = b"c1/data/raw/again".to_vec();
    second.offset = Some(0);
    entries.push(second);
    cases.add(24, "two names for one file's bytes", Refused("archive-gap"), raw_zip(&entries));
    for (what, mode) in
        [("a file to run as its owner", 0o104_755), ("as its group", 0o102_755), ("sticky", 0o101_755)]
    {
        cases.first(25, what, Warned("archive-mode"), |entry| entry.mode = mode);
    }
    let mut link_field = vec![0x6e, 0x75, 14, 0];
    link_field.extend([0; 14]);
    cases.first(55, "a Unix field that can hold a link", Refused("archive-extra-field"), |entry| {
        entry.extra = link_field
    });
    cases.first(57, "a field that gives another name", Refused("archive-extra-field"), |entry| {
        entry.extra = vec![0x75, 0x70, 6, 0, 1, 0, 0, 0, 0, b'x'];
    });
    cases.first(62, "a field that breaks off", Refused("archive-extra-field"), |entry| {
        entry.extra = vec![1, 0, 99, 0]
    });
}

fn name_cases(cases: &mut Cases) {
    let long = "a/".repeat(500) + "a";
    let long_name = "a".repeat(254);
    for (number, inside) in [
        (13, "../bag-evil/x"),
        (13, "data/../../bag-evil/x"),
        (14, "data/../../x"),
        (14, "data/raw/./x"),
        (15, "/etc/passwd"),
        (16, "~root/x"),
        (17, "C:\\x"),
        (17, "\\\\?\\C:\\x"),
        (17, "\\\\host\\share\\x"),
        (18, "data\\raw\\x"),
        (26, "data/raw/100%.csv"),
        (27, "data/raw/100%25.csv"),
        (27, "data/raw/%2e%2e%2fx"),
        (27, "data/raw/a%0Ab"),
        (28, "data/raw/a\nb"),
        (28, "data/raw/a\rb"),
        (37, "data/raw/\u{e9}.csv"),
        (37, "data/raw/e\u{301}.csv"),
        (38, "data/raw/CON.txt"),
        (38, "data/raw/aux"),
        (38, "data/raw/x."),
        (41, "data/raw/x "),
        (39, "data/raw/\u{1b}[2J"),
        (39, "data/raw/\u{1b}]0;title\u{7}"),
        (40, "data/raw/\u{202e}vsc.x"),
        (40, "data/raw/a\u{200b}b"),
        (40, "data/raw/\u{440}1.csv"),
        (50, "data/<img src=x onerror=alert(1)>/x"),
        (66, "data/raw/a\0b"),
        (68, long.as_str()),
        (68, long_name.as_str()),
        (99, "data/.git/config"),
    ] {
        let what = format!("the name {}", mulebook::evidence::escaped(inside));
        let whole = if number == 15 { inside.to_owned() } else { format!("c1/{inside}") };
        cases.entry(number, &what, Refused("archive-name"), RawEntry::stored(whole, b"x"));
        cases.manifest(number, &format!("{what} in the manifest"), Refused("bag-manifest-"), |manifest| {
            format!("{manifest}{ZEROS}  {inside}\n").into_bytes()
        });
    }
    cases.entry(53, "out of the top folder", Refused("archive-name"), RawEntry::stored("../slip", b"x"));
    cases.entry(54, "from the root", Refused("archive-name"), RawEntry::stored("/tmp/slip", b"x"));
    cases.entry(
        66,
        "a name that is no text",
        Refused("archive-name"),
        RawEntry::stored(&b"c1/data/\xff\xfe"[..], b"x"),
    );
    cases.entry(
        36,
        "names that differ in capitals",
        Refused("archive-case"),
        RawEntry::stored("c1/data/RAW/p1.csv", b"x"),
    );
    cases.entry(
        36,
        "a file's name in capitals",
        Refused("archive-case"),
        RawEntry::stored("c1/data/raw/P1.csv", b"x"),
    );
    let folder = |name: &str| RawEntry::stored(name, b"").with(|entry| entry.mode = 0o040_755);
    cases.entry(50, "an empty folder", Refused("archive-folder"), folder("c1/data/nothing/"));
    cases.entry(
        50,
        "an empty folder with a loud name",
        Refused("archive-name"),
        folder("c1/data/<img onerror=x>/"),
    );
    cases.entry(50, "a folder that holds bytes", Refused("archive-folder"), {
        RawEntry::stored("c1/data/raw/", b"four").with(|entry| entry.mode = 0o040_755)
    });
    cases.entry(
        56,
        "a file that is a folder elsewhere",
        Refused("archive-twice"),
        RawEntry::stored("c1/data/raw", b"x"),
    );
}

fn manifest_cases(cases: &mut Cases) {
    let path = || Refused("bag-manifest-path");
    let broken = || Refused("bag-manifest-line");
    cases.manifest(19, "the payload's manifest names a tag file", path(), |text| {
        format!("{text}{ZEROS}  bagit.txt\n").into_bytes()
    });
    cases.changed(20, "the tag manifest names the payload", path(), |files| {
        let tags = String::from_utf8(files[TAGS].clone()).expect("text") + ZEROS + "  data/raw/p1.csv\n";
        files.insert(SIGNATURE.to_owned(), signature(1, NAMESPACE, tags.as_bytes()).into_bytes());
        files.insert(TAGS.to_owned(), tags.into_bytes());
    });
    cases.manifest(29, "a line of rubbish", broken(), |text| format!("{text}rubbish\n").into_bytes());
    cases.manifest(30, "a remark", broken(), |text| format!("# listed\n{text}").into_bytes());
    cases.manifest(30, "an empty line", broken(), |text| format!("{text}\n").into_bytes());
    cases.manifest(31, "line ends of another system", Refused("bag-manifest-"), |text| {
        text.replace('\n', "\r\n").into_bytes()
    });
    cases.manifest(32, "capital hexadecimal digits", broken(), |text| {
        text.lines()
            .map(|line| format!("{}{}\n", line[..64].to_uppercase(), &line[64..]))
            .collect::<String>()
            .into_bytes()
    });
    let first = |text: &str| text.lines().next().expect("a line").to_owned();
    cases.manifest(33, "a line twice", Refused("bag-manifest-twice"), |text| {
        format!("{text}{}\n", first(text)).into_bytes()
    });
    cases.manifest(34, "a file with two hashes", Refused("bag-manifest-twice"), |text| {
        format!("{text}{ZEROS}{}\n", &first(text)[64..]).into_bytes()
    });
    cases.manifest(35, "a twin with a dot", path(), |text| {
        format!("{text}{ZEROS}  ./data/raw/p1.csv\n").into_bytes()
    });
    cases.manifest(51, "no line break at the end", broken(), |text| text.trim_end().as_bytes().to_vec());
    cases.manifest(51, "a line of 20 MB", broken(), |text| {
        let mut long = text.as_bytes().to_vec();
        long.extend(std::iter::repeat_n(b'a', 20_000_000));
        long.push(b'\n');
        long
    });
    cases.manifest(52, "a hash that is too short", broken(), |text| {
        format!("{text}{}  data/x\n", &ZEROS[1..]).into_bytes()
    });
    cases.manifest(52, "a hash that is no hash", broken(), |text| {
        format!("{text}{}g  data/x\n", &ZEROS[1..]).into_bytes()
    });
    cases.manifest(52, "a NUL in a line", Refused("bag-manifest-"), |text| {
        format!("{text}{ZEROS}  data/\0\n").into_bytes()
    });
    cases.manifest(45, "a manifest that is no text", broken(), |text| {
        [text.as_bytes(), b"\xff\xfe\n"].concat()
    });
    cases.manifest(26, "a mark for binary files", broken(), |text| {
        text.replace("  data", " *data").into_bytes()
    });
    let md5 = "d41d8cd98f00b204e9800998ecf8427e  data/raw/p1.csv\n";
    cases.changed(42, "MD5 alone", Refused("bag-other-manifest"), |files| {
        files.remove(MANIFEST);
        files.insert("c1/manifest-md5.txt".to_owned(), md5.as_bytes().to_vec());
    });
    cases.changed(43, "a weak manifest more", Refused("bag-other-manifest"), |files| {
        files.insert("c1/manifest-md5.txt".to_owned(), md5.as_bytes().to_vec());
    });
    cases.changed(44, "a second manifest that lists less", Refused("bag-other-manifest"), |files| {
        files.insert("c1/manifest-sha512.txt".to_owned(), Vec::new());
    });
    cases.changed(44, "a second tag manifest", Refused("bag-other-manifest"), |files| {
        files.insert("c1/tagmanifest-md5.txt".to_owned(), Vec::new());
    });
    let declared = |cases: &mut Cases, number, what: &str, text: &[u8]| {
        let text = text.to_vec();
        cases.signed(number, what, Refused("bag-declaration"), |files| {
            drop(files.insert("c1/bagit.txt".to_owned(), text))
        });
    };
    declared(cases, 45, "UTF-16", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-16\n");
    declared(cases, 45, "UTF-7", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-7\n");
    declared(
        cases,
        45,
        "a byte order mark",
        b"\xef\xbb\xbfBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
    );
    declared(cases, 46, "a third line", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\nX: y\n");
    declared(cases, 46, "another version", b"BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n");
    for count in ["0.0", "99999999999999999999999999.1", "-1.-1", "x", "1"] {
        cases.signed(47, &format!("the count {count}"), Refused("bag-count"), |files| {
            files.insert(INFORMATION.to_owned(), format!("Payload-Oxum: {count}\n").into_bytes());
        });
    }
    cases.signed(47, "two counts", Refused("bag-count"), |files| {
        let once = files[INFORMATION].clone();
        files.insert(INFORMATION.to_owned(), [once.clone(), once].concat());
    });
    cases.signed(47, "no count", Refused("bag-count"), |files| {
        files.insert(INFORMATION.to_owned(), b"Source-Organization: x\n".to_vec());
    });
    for (what, text) in [
        ("no label", "just text\n"),
        ("a folded line", "A: b\n  c\n"),
        ("colours", "A: \u{1b}[31m\n"),
        ("no end", "A: b"),
    ] {
        cases.signed(47, &format!("facts with {what}"), Refused("bag-information"), |files| {
            files.insert(INFORMATION.to_owned(), text.as_bytes().to_vec());
        });
    }
    cases.signed(47, "facts of 300 kB", Refused("file-too-long"), |files| {
        files.insert(INFORMATION.to_owned(), b"A: b\n".repeat(60_000));
    });
    for url in ["http://x.example/ 4 data/x", "file:///etc/passwd 4 data/x", "http://x.example/ 4 ../../x"] {
        cases.changed(48, url, Refused("bag-fetch"), |files| {
            files.insert("c1/fetch.txt".to_owned(), format!("{url}\n").into_bytes());
        });
    }
    cases.changed(49, "no payload", Refused("bag-empty"), |files| {
        files.retain(|name, _| !name.starts_with("c1/data/"))
    });
}

fn archive_cases(cases: &mut Cases) {
    let good = || raw_entries(&unzipped(&dossier()));
    let mut twice = good();
    twice.push(twice[2].clone());
    cases.add(56, "one name twice", Refused("archive-twice"), raw_zip(&twice));
    cases.first(57, "another name at the file", Refused("archive-two-headers"), |entry| {
        entry.own_name = Some(b"c1/bag-infO.txt".to_vec());
    });
    cases.first(57, "another length at the file", Refused("archive-two-headers"), |entry| {
        entry.own_length = Some(1)
    });
    cases.add(58, "bytes in front", Refused("archive-gap"), raw_zip_behind(b"#!/bin/sh\n", &good()));
    let whole = raw_zip(&good());
    cases.add(58, "bytes behind", Refused("archive-trailing"), [whole.as_slice(), b"x"].concat());
    cases.add(58, "two end records", Refused("archive-gap"), [&whole, &whole[whole.len() - 22..]].concat());
    cases.add(58, "one zip file behind another", Refused("archive-gap"), [whole.as_slice(), &whole].concat());
    let mut remark = whole.clone();
    let end = remark.len();
    remark[end - 2] = 3;
    remark.extend(b"abc");
    cases.add(58, "a remark at the end", Refused("archive-trailing"), remark);
    cases.first(58, "bytes between files", Refused("archive-gap"), |entry| entry.behind = b"hidden".to_vec());
    let zeros = vec![0; 30 << 20];
    cases.entry(59, "a bomb", Refused("archive-bomb"), RawEntry::deflated("c1/data/raw/bomb", &zeros));
    cases.signed(59, "zeros kept as they are", Harmless, |files| {
        files.insert("c1/data/raw/zeros".to_owned(), vec![0; 2 << 20]);
        resealed(files, Some(1));
    });
    let mut overlapping = good();
    let quoted = overlapping[5].clone();
    for copy in 0..20_u8 {
        let mut again = quoted.clone();
        again.name = format!("c1/data/raw/copy-{copy}").into_bytes();
        again.offset = Some(0);
        again.data = Vec::new();
        overlapping.push(again);
    }
    cases.add(60, "files that overlap", Refused("archive-gap"), raw_zip(&overlapping));
    cases.signed(61, "a zip file in the zip file", Harmless, |files| {
        files.insert("c1/data/raw/inner.zip".to_owned(), dossier());
        resealed(files, Some(1));
    });
    cases.first(62, "a wrong checksum", Refused("archive-checksum"), |entry| entry.crc ^= 1);
    cases.first(62, "a length that is too great", Refused("archive-length"), |entry| entry.length += 1);
    cases
        .first(62, "a packed length that is too great", Refused("archive-length"), |entry| entry.packed += 1);
    cases.first(62, "lengths that are given nowhere", Refused("archive-zip64"), |entry| {
        (entry.packed, entry.length) = (u32::MAX, u32::MAX);
    });
    let large = |length: u64, packed: u64| {
        let mut extra = vec![1, 0, 16, 0];
        extra.extend(length.to_le_bytes());
        extra.extend(packed.to_le_bytes());
        extra
    };
    cases.first(62, "the greatest lengths there are", Refused("archive-"), |entry| {
        (entry.packed, entry.length) = (u32::MAX, u32::MAX);
        entry.extra = large(u64::MAX, u64::MAX);
    });
    cases.first(62, "two lengths that contradict each other", Refused("archive-zip64"), |entry| {
        entry.extra = large(1, 1)
    });
    cases.first(65, "a file of ten terabytes", Refused("archive-"), |entry| {
        (entry.packed, entry.length) = (u32::MAX, u32::MAX);
        entry.extra = large(10 << 40, 10 << 40);
    });
    let huge = RawEntry::deflated("c1/data/raw/x", b"x").with(|entry| {
        (entry.packed, entry.length) = (u32::MAX, u32::MAX);
        entry.extra = large(10 << 40, 3);
    });
    cases.entry(65, "a file that unpacks to ten terabytes", Refused("archive-too-large"), huge);
    let deflated = || RawEntry::deflated(INFORMATION, &unzipped(&dossier())[INFORMATION]);
    let replaced = |entry: RawEntry| {
        let mut entries = good();
        entries[0] = entry;
        raw_zip(&entries)
    };
    let lying = RawEntry::deflated(INFORMATION, &zeros).with(|entry| entry.length = 10);
    cases.add(59, "a bomb that says it is small", Refused("archive-length"), replaced(lying));
    cases.add(
        62,
        "a stream that breaks off",
        Refused("archive-"),
        replaced(deflated().with(|entry| {
            entry.data.truncate(20);
            entry.packed = 20;
        })),
    );
    cases.add(
        62,
        "a stream with bytes behind it",
        Refused("archive-deflate"),
        replaced(deflated().with(|entry| {
            entry.data.extend(b"hidden");
            entry.packed += 6;
        })),
    );
    cases.add(
        62,
        "no stream",
        Refused("archive-deflate"),
        replaced(deflated().with(|entry| entry.data.fill(0xff))),
    );
    cases.first(63, "an encrypted file", Refused("archive-encrypted"), |entry| entry.flags = 1);
    cases.first(63, "strongly encrypted", Refused("archive-encrypted"), |entry| entry.flags = 1 << 6 | 1);
    cases.first(63, "packed by another method", Refused("archive-packing"), |entry| entry.method = 12);
    cases.first(63, "an unknown flag", Refused("archive-packing"), |entry| entry.flags = 1 << 4);
    cases.entry(64, "two folders at the top", Refused("archive-top"), RawEntry::stored("c2/bagit.txt", b"x"));
    cases.entry(64, "a file at the top", Refused("archive-top"), RawEntry::stored("readme.txt", b"x"));
    cases.add(
        64,
        "a file at the top and nothing else",
        Refused("archive-top"),
        raw_zip(&[RawEntry::stored("a", b"x")]),
    );
    cases.add(67, "more files than are let in", Refused("archive-too-many"), many(100_001));
    cases.add(67, "no files", Refused("archive-"), raw_zip(&[]));
    for (what, bytes) in [
        ("nothing", Vec::new()),
        ("text", b"hello".repeat(20)),
        ("the beginning of a zip file", whole[..whole.len() / 2].to_vec()),
    ] {
        cases.add(62, what, Refused("archive-no-zip"), bytes);
    }
    let mut lying_end = whole.clone();
    let end = lying_end.len();
    lying_end[end - 14] ^= 1;
    cases.add(62, "two numbers of entries", Refused("archive-directory"), lying_end);
    let mut no_large_end = whole.clone();
    no_large_end[end - 14..end - 10].fill(0xff);
    cases.add(62, "an end record elsewhere that is nowhere", Refused("archive-zip64"), no_large_end);
    let mut fewer = whole;
    let count = fewer[end - 12] - 1;
    (fewer[end - 12], fewer[end - 14]) = (count, count);
    cases.add(62, "fewer entries than there are", Refused("archive-directory"), fewer);
    cases.add(59, "files too long together", Refused("archive-too-large"), long_together());
}

/// An archive of more entries than a directory of 16 bits can count.
fn many(count: u64) -> Vec<u8> {
    let mut out = Vec::new();
    let at = out.len() as u64;
    out.extend(0x0606_4b50_u32.to_le_bytes());
    out.extend(44_u64.to_le_bytes());
    out.extend([45, 3, 45, 0]);
    out.extend([0; 8]);
    for figure in [count, count, at, at] {
        out.extend(figure.to_le_bytes());
    }
    out.extend(0x0706_4b50_u32.to_le_bytes());
    out.extend([0; 4]);
    out.extend(at.to_le_bytes());
    out.extend(1_u32.to_le_bytes());
    out.extend(0x0605_4b50_u32.to_le_bytes());
    out.extend([0, 0, 0, 0, 255, 255, 255, 255]);
    out.extend([255; 8]);
    out.extend([0, 0]);
    out
}

/// Five files that say they are 15 GiB long each.
fn long_together() -> Vec<u8> {
    let entry = |number: u32| {
        RawEntry::stored(format!("c1/data/raw/{number}"), b"x").with(|entry| {
            let length: u64 = 15 << 30;
            (entry.packed, entry.length) = (u32::MAX, u32::MAX);
            entry.extra = vec![1, 0, 16, 0];
            entry.extra.extend(length.to_le_bytes());
            entry.extra.extend(length.to_le_bytes());
        })
    };
    raw_zip(&(0..5).map(entry).collect::<Vec<_>>())
}

fn wire(parts: &[&[u8]]) -> Vec<u8> {
    parts.iter().flat_map(|part| [&(part.len() as u32).to_be_bytes()[..], part].concat()).collect()
}

fn armoured(blob: &[u8]) -> Vec<u8> {
    const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = Vec::new();
    for three in blob.chunks(3) {
        let bits =
            three.iter().fold(0_u32, |bits, &byte| bits << 8 | u32::from(byte)) << (8 * (3 - three.len()));
        for place in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * place) & 63) as usize];
            text.push(if place > three.len() as u32 { b'=' } else { letter });
        }
    }
    let lines: Vec<&[u8]> = text.chunks(70).collect();
    [b"-----BEGIN SSH SIGNATURE-----\n", lines.join(&b'\n').as_slice(), b"\n-----END SSH SIGNATURE-----\n"]
        .concat()
}

/// A signature of RSA by its form; whether it would hold is never asked.
fn rsa_signature(kind: &str) -> Vec<u8> {
    let key = wire(&[b"ssh-rsa", &[1, 0, 1], &[0x7f; 128]]);
    let signed = wire(&[kind.as_bytes(), &[1; 128]]);
    let fields = wire(&[&key, NAMESPACE.as_bytes(), b"", b"sha512", &signed]);
    armoured(&[b"SSHSIG\0\0\0\x01".as_slice(), &fields].concat())
}

fn signature_cases(cases: &mut Cases) {
    let tags = unzipped(&dossier())[TAGS].clone();
    let other = |cases: &mut Cases, number, what: &str, outcome, armour: Vec<u8>| {
        cases.changed(number, what, outcome, |files| drop(files.insert(SIGNATURE.to_owned(), armour)));
    };
    cases.changed(69, "no signature", NotSealed("signature-missing"), |files| drop(files.remove(SIGNATURE)));
    for namespace in ["file", GIT_NAMESPACE, "dossier@other.example"] {
        let armour = signature(1, namespace, &tags).into_bytes();
        other(cases, 70, &format!("a signature for {namespace}"), Refused("signature-namespace"), armour);
    }
    cases.add(
        71,
        "a key that is not listed",
        NotSealed("signer-unlisted"),
        written(&contents(payload()), Some(2)),
    );
    let by = |cases: &mut Cases, number, code, options: &str| {
        let list = Signers::parse("signers", &line(1, options), None).expect("a list");
        cases.by(number, options, NotSealed(code), dossier(), list);
    };
    by(cases, 72, "signer-expired", "valid-before=\"20260531Z\"");
    by(cases, 72, "signer-not-yet", "valid-after=\"20260602Z\"");
    by(cases, 70, "signer-purpose", "namespaces=\"git\"");
    let public = key(1).public_key().to_openssh().expect("text");
    let revoked = Signers::parse("signers", &line(1, ""), Some(("revoked", &public))).expect("lists");
    cases.by(73, "a revoked key", NotSealed("signer-revoked"), dossier(), revoked);
    other(cases, 74, "a signature of another dossier", Refused("signature-broken"), {
        let mut more = payload();
        more.insert("raw/p2.csv".to_owned(), b"2".to_vec());
        unzipped(&written(&contents(more), Some(1)))[SIGNATURE].clone()
    });
    cases.changed(75, "a list of signers in the dossier itself", NotSealed("signer-unlisted"), |files| {
        files.insert("c1/data/allowed_signers".to_owned(), line(2, "").into_bytes());
        resealed(files, Some(2));
    });
    let good = signature(1, NAMESPACE, &tags);
    other(
        cases,
        76,
        "text behind a signature",
        Warned("signature-trailing"),
        format!("{good}approved\n").into_bytes(),
    );
    other(
        cases,
        77,
        "line ends of another system",
        Refused("signature-unreadable"),
        good.replace('\n', "\r\n").into_bytes(),
    );
    for (what, armour) in [
        ("an empty signature", Vec::new()),
        ("no armour", b"signed\n".to_vec()),
        ("no footer", good.as_bytes()[..200].to_vec()),
        ("no base64", good.replace('A', "*").into_bytes()),
        ("another blob", armoured(b"SSHSIG")),
        ("bytes behind the blob", armoured(&[b"SSHSIG\0\0\0\x01".as_slice(), &[0; 40]].concat())),
    ] {
        other(cases, 77, what, Refused("signature-unreadable"), armour);
    }
    other(cases, 77, "a signature of 20 kB", Refused("file-too-long"), vec![b'A'; 20_000]);
    other(cases, 78, "RSA with SHA-2", Refused("signature-algorithm"), rsa_signature("rsa-sha2-512"));
    other(cases, 78, "RSA with SHA-1", Refused("signature-"), rsa_signature("ssh-rsa"));
    cases.changed(79, "two signatures, one broken", Refused("signature-broken"), |files| {
        let armour = signature(2, NAMESPACE, b"something else").into_bytes();
        files.insert("c1/tagmanifest-sha256.txt.second.sig".to_owned(), armour);
    });
    cases.changed(79, "forty signatures", Refused("signature-too-many"), |files| {
        for number in 0..40 {
            files.insert(format!("c1/tagmanifest-sha256.txt.n{number}.sig"), files[SIGNATURE].clone());
        }
    });
    for number in [2_u8, 3] {
        let list = Signers::parse("signers", &line(number, ""), None).expect("a list");
        cases.by(71, "another list", NotSealed("signer-unlisted"), dossier(), list);
    }
}

/// An answer of RFC 3161 over `abc`, as `openssl ts -reply` wrote it for a service that was made for it.
const ANSWER: &[u8] = include_bytes!("dossier_fixture/abc.tsr");

/// Beyond the list: answers of time-stamping services, which anybody can lay beside the seal.
fn stamp_cases(cases: &mut Cases) {
    let beside = |cases: &mut Cases, what: &str, outcome, answer: Vec<u8>| {
        cases.changed(103, what, outcome, |files| {
            files.insert("c1/tagmanifest-sha256.txt.tsr".to_owned(), answer);
        });
    };
    beside(cases, "a time stamp of other bytes", Refused("time-stamp-of-other"), ANSWER.to_vec());
    beside(cases, "half a time stamp", Warned("time-stamp-unreadable"), ANSWER[..300].to_vec());
    beside(cases, "a time stamp and more", Warned("time-stamp-unreadable"), [ANSWER, ANSWER].concat());
    beside(cases, "no time stamp at all", Warned("time-stamp-unreadable"), b"2026-05-24".to_vec());
    beside(cases, "an empty one", Warned("time-stamp-unreadable"), Vec::new());
    beside(cases, "nested without end", Warned("time-stamp-unreadable"), [0x30, 0x80].repeat(30_000));
    beside(
        cases,
        "longer than it is",
        Warned("time-stamp-unreadable"),
        vec![0x30, 0x84, 0xff, 0xff, 0xff, 0xff],
    );
    beside(cases, "a time stamp of 70 kB", Refused("file-too-long"), vec![0x30; 70_000]);
    cases.changed(103, "forty time stamps", Refused("signature-too-many"), |files| {
        for number in 0..40 {
            files.insert(format!("c1/tagmanifest-sha256.txt.n{number}.tsr"), ANSWER.to_vec());
        }
    });
}

/// Whether findings hold a code, or one that begins so where it ends with a hyphen.
fn holds(found: &[&str], code: &str) -> bool {
    found.iter().any(|found| *found == code || (code.ends_with('-') && found.starts_with(code)))
}

fn judge(case: &Case) -> Result<BTreeSet<&'static str>, String> {
    let (outcome, found) = match opened_by(&case.bytes, &case.signers) {
        Ok(opened) => {
            let found = codes(&opened.findings);
            let errors = opened.findings.iter().any(Finding::is_error);
            (if opened.sealed_by().is_some() && !errors { "sealed" } else { "not sealed" }, found)
        }
        Err(findings) => {
            for finding in &findings {
                let text = finding.to_string();
                if !text.bytes().all(|byte| (b' '..=b'~').contains(&byte)) || text.len() > 2000 {
                    return Err(format!("prints {text:?}"));
                }
            }
            ("refused", codes(&findings))
        }
    };
    let as_it_should = match case.outcome {
        Refused(code) => outcome == "refused" && holds(&found, code),
        NotSealed(code) => outcome == "not sealed" && holds(&found, code),
        Warned(code) => outcome == "sealed" && holds(&found, code),
        Harmless => outcome == "sealed" && found.is_empty(),
    };
    if as_it_should { Ok(found.into_iter().collect()) } else { Err(format!("is {outcome} with {found:?}")) }
}

/// [80, 100]: those of histories and receipts are tried with the archives.
#[test]
fn every_hostile_dossier_is_refused_or_warned_of_by_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut cases = Cases::default();
    for make in
        [bag_cases, kind_cases, name_cases, manifest_cases, archive_cases, signature_cases, stamp_cases]
    {
        make(&mut cases);
    }
    std::env::set_current_dir(folder.path()).expect("an empty folder to run in");
    let (mut met, mut wrong) = (history_and_receipt_codes(), Vec::new());
    let (mut longest, mut most) = (Duration::ZERO, 0);
    for case in &cases.0 {
        let before = HELD.current_usage();
        HELD.reset_peak_usage();
        let began = Instant::now();
        match judge(case) {
            Ok(codes) => met.extend(codes),
            Err(why) => wrong.push(format!("case {} ({}) {why}", case.number, case.what)),
        }
        let held = HELD.peak_usage().saturating_sub(before);
        longest = longest.max(began.elapsed());
        // The case itself is handed over as a copy.
        most = most.max(held.saturating_sub(case.bytes.len()));
    }
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), cases.0.len(), wrong.join("\n"));
    assert!(longest < PATIENCE, "{longest:?}");
    assert!(most < ROOM, "{most} bytes were held");
    assert_eq!(std::fs::read_dir(folder.path()).expect("the folder").count(), 0, "something was written");
    let mut numbers: BTreeSet<u32> = cases.0.iter().map(|case| case.number).collect();
    let archives: Vec<u32> = (1..=79).chain([99]).filter(|number| !numbers.contains(number)).collect();
    assert!(archives.is_empty(), "no archive has the numbers {archives:?}");
    numbers.extend(numbers_tried_by_name());
    // The 103rd was added since: answers of time-stamping services.
    assert_eq!(numbers, (1..=103).collect(), "every case of the list is a test, and no test is of another");
    println!("{} dossiers; at most {longest:?} and {most} bytes each", cases.0.len());

    let codes = finding_codes::codes_below("src/evidence");
    let unmet: Vec<&String> = codes
        .iter()
        .filter(|code| !met.contains(code.as_str()) && !ELSEWHERE.contains(&code.as_str()))
        .collect();
    assert!(unmet.is_empty(), "no case brings about {unmet:?}");
    let needless: Vec<&&str> = ELSEWHERE.iter().filter(|code| met.contains(**code)).collect();
    assert!(needless.is_empty(), "met after all: {needless:?}");
}

/// Codes that other tests bring about, or that need more than a file.
const ELSEWHERE: &[&str] = &[
    // tests/evidence.rs, at writing.
    "crate-reference",
    // Lists and texts of the reader's own: their tests stand beside the code.
    "signers-line",
    "signers-unused",
    "signers-too-long",
    "receipt-unreadable",
    "receipt-none",
    // tests/evidence.rs, at countersigning.
    "witness-is-signer",
    "countersigned-already",
    // Asked for by a caller; below and in tests/evidence.rs.
    "payload-missing",
    "payload-changed",
    // More than a hundred findings at once; below.
    "dossier-more",
    // A stored file that ends with the archive: the layout is refused before.
    "archive-truncated",
    // A security key that was not touched would be needed.
    "signature-untouched",
    // No two git objects with one SHA-1 are known that carry git's own header.
    "history-collision",
];

fn commit_of(tree: &str, parents: &[String], seconds: i64) -> Vec<u8> {
    let parents: String = parents.iter().map(|parent| format!("parent {parent}\n")).collect();
    format!("tree {tree}\n{parents}author M K <mk@x> {seconds} +0000\ncommitter M K <mk@x> {seconds} +0000\n\nword\n").into_bytes()
}

fn git_id(kind: &str, bytes: &[u8]) -> String {
    let kind = if kind == "tree" { gix::objs::Kind::Tree } else { gix::objs::Kind::Commit };
    gix::objs::compute_hash(gix::hash::Kind::Sha1, kind, bytes).expect("no collision").to_string()
}

fn tree_of(entries: &[(&str, &str, &str)]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for (mode, name, id) in entries {
        bytes.extend(format!("{mode} {name}\0").as_bytes());
        bytes.extend((0..20).map(|at| u8::from_str_radix(&id[2 * at..2 * at + 2], 16).expect("digits")));
    }
    bytes
}

fn object(kind: ObjectKind, bytes: &[u8]) -> (String, Vec<u8>) {
    let name = if kind == ObjectKind::Tree { "tree" } else { "commit" };
    (kind.path(&git_id(name, bytes)), bytes.to_vec())
}

/// A history of one commit with a tree.
fn history_with(tree: &[u8]) -> Vec<(String, Vec<u8>)> {
    let commit = commit_of(&git_id("tree", tree), &[], 1000);
    let tip = format!("{}\n", git_id("commit", &commit)).into_bytes();
    vec![object(ObjectKind::Tree, tree), object(ObjectKind::Commit, &commit), (TIP_FILE.to_owned(), tip)]
}

const BLOB: &str = "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391";

/// Cases 80 and 100, and every code of histories and receipts.
fn history_and_receipt_codes() -> BTreeSet<&'static str> {
    let mut met = BTreeSet::new();
    let mut refuse = |what: &str, code: &'static str, objects: Vec<(String, Vec<u8>)>| {
        let found = History::read(objects).expect_err(what);
        assert!(found.iter().any(|finding| finding.code == code), "{what}: {found:?}");
        met.insert(code);
    };
    let plain = tree_of(&[("100644", "a.yaml", BLOB)]);
    for name in ["..", ".", ".git", ".GIT", ".GIT ", ".git.", "git~1", ".g\u{200c}it", "a/b", "a\\b"] {
        refuse(name, "history-tree", history_with(&tree_of(&[("100644", name, BLOB)])));
    }
    let twice = [("100644", "a", BLOB), ("100644", "a", BLOB)];
    refuse("a name twice", "history-tree", history_with(&tree_of(&twice)));
    let unsorted = [("100644", "b", BLOB), ("100644", "a", BLOB)];
    refuse("another order", "history-tree", history_with(&tree_of(&unsorted)));
    refuse("no tree", "history-tree", history_with(b"100644 a\0short"));
    let mut changed = history_with(&plain);
    changed[1].1[60] ^= 1;
    refuse("a changed commit", "history-object", changed);
    let mut no_commit = history_with(&plain);
    no_commit[1] = object(ObjectKind::Commit, b"tree of nothing\n");
    refuse("no commit", "history-object", no_commit);
    let mut no_tip = history_with(&plain);
    no_tip.pop();
    refuse("no tip", "history-tip", no_tip);
    let mut other_tip = history_with(&plain);
    other_tip[2].1 = format!("{BLOB}\n").into_bytes();
    refuse("a tip that is not there", "history-tip", other_tip);
    // What would change what git shows in a repository of its own is a file like any other here, and belongs to no history.
    for name in ["refs/replace/x", "info/grafts", "objects/info/alternates", "config", "hooks/post-checkout"]
    {
        let mut more = history_with(&plain);
        more.push((format!("history/{name}"), b"x".to_vec()));
        refuse(name, "history-stray", more);
    }
    let mut unreachable = history_with(&plain);
    unreachable.push(object(ObjectKind::Tree, &tree_of(&[("100644", "z", BLOB)])));
    refuse("a tree of no commit", "history-stray", unreachable);
    let mut second_line = history_with(&plain);
    second_line.push(object(ObjectKind::Commit, &commit_of(&git_id("tree", &plain), &[], 5)));
    refuse("a commit of no line", "history-stray", second_line);
    // Links and other repositories are neither followed nor read.
    let odd = tree_of(&[("120000", "link", BLOB), ("160000", "module", BLOB)]);
    let history = History::read(history_with(&odd)).expect("a history");
    let tip = history.commit(history.tip).expect("the tip");
    assert_eq!([history.at(tip, "link"), history.at(tip, "module/x")], [At::NotAFile, At::NotAFile]);
    // A clock that ran back.
    let first = commit_of(&git_id("tree", &plain), &[], 2000);
    let second = commit_of(&git_id("tree", &plain), &[git_id("commit", &first)], 1000);
    let tip = format!("{}\n", git_id("commit", &second)).into_bytes();
    let objects = vec![
        object(ObjectKind::Tree, &plain),
        object(ObjectKind::Commit, &first),
        object(ObjectKind::Commit, &second),
        (TIP_FILE.to_owned(), tip),
    ];
    let history = History::read(objects).expect("a history");
    assert_eq!(codes(&history.findings), ["history-clock"]);
    met.insert("history-clock");
    assert_eq!(history.changes("a.yaml").len(), 1);
    met.extend(receipt_codes(&history, &first, &second));
    met
}

fn receipt_codes(history: &History, first: &[u8], second: &[u8]) -> BTreeSet<&'static str> {
    use mulebook::evidence::history_findings;
    let id = |bytes: &[u8]| ObjectId::parse(&git_id("commit", bytes)).expect("an id");
    let one = Receipt::after(None, id(first), first);
    let two = Receipt::after(Some(&one), id(second), second);
    let three = Receipt::after(Some(&two), id(second), second);
    let chain = [one.clone(), two.clone(), three.clone()];
    assert!(chain_findings(&chain).is_empty() && history_findings(&chain, history).is_empty());
    let mut other = two.clone();
    other.head = ZEROS.to_owned();
    let mut unknown = two.clone();
    unknown.commit = ObjectId::parse(BLOB).expect("an id");
    let mut met = BTreeSet::new();
    for (receipts, code) in [
        (vec![one.clone(), three.clone()], "receipt-gap"),
        (vec![one.clone(), two.clone(), other.clone()], "receipt-fork"),
        (vec![two.clone(), one.clone()], "receipt-order"),
        (vec![one.clone(), other.clone(), three.clone()], "receipt-broken"),
        (vec![two.clone(), three], "receipt-begins-late"),
    ] {
        assert!(codes(&chain_findings(&receipts)).contains(&code), "{code}");
        met.insert(code);
    }
    for (receipts, code) in [
        (vec![other], "receipt-head"),
        (vec![unknown], "receipt-not-contained"),
        (vec![two, one], "receipt-not-contained"),
    ] {
        assert_eq!(codes(&history_findings(&receipts, history)), [code]);
        met.insert(code);
    }
    met
}

/// [101]: two files with one SHA-1 are two files here: SHA-256 decides, and what was made to collide under SHA-1 is detected.
#[test]
fn two_files_with_one_sha_1_are_told_apart() {
    let pair = twins();
    // The hasher that names git's objects knows an attack when it sees one; its plain result is the same for both.
    for bytes in &pair {
        let mut hasher = gix::hash::hasher(gix::hash::Kind::Sha1);
        hasher.update(bytes);
        let detected = format!("{:?}", hasher.try_finalize().expect_err("made to collide"));
        assert!(detected.contains("collision") && detected.contains(TWINS), "{detected}");
    }
    assert_ne!(pair[0], pair[1]);
    // One is sealed, the other put in its place, with and without its hash in the manifest.
    let [one, other] = pair;
    let mut files = unzipped(&dossier());
    files.insert(RAW.to_owned(), one);
    resealed(&mut files, Some(1));
    assert!(opened_by(&raw_zip(&raw_entries(&files)), &signers()).expect("whole").sealed_by().is_some());
    let seal = files[SIGNATURE].clone();
    files.insert(RAW.to_owned(), other);
    let found = opened_by(&raw_zip(&raw_entries(&files)), &signers()).expect_err("the other file");
    assert_eq!(codes(&found), ["bag-hash"]);
    resealed(&mut files, None);
    files.insert(SIGNATURE.to_owned(), seal);
    let found = opened_by(&raw_zip(&raw_entries(&files)), &signers()).expect_err("the other file");
    assert!(codes(&found).contains(&"signature-broken"), "{found:?}");
}

/// A raw file made while it is read: a beginning, then one byte for ever, up to a length.
struct Endless {
    begins: &'static [u8],
    then: &'static [u8],
    length: u64,
    read: u64,
}

impl std::io::Read for Endless {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let mut count = 0;
        while count < out.len() && self.read < self.length {
            let at = usize::try_from(self.read).expect("small");
            let behind = at.wrapping_sub(self.begins.len());
            out[count] = self.begins.get(at).copied().unwrap_or_else(|| self.then[behind % self.then.len()]);
            count += 1;
            self.read += 1;
        }
        Ok(count)
    }
}

/// [96]: a million columns, a quoted field of a gibibyte, a quote that never closes: given up by name, soon, and little of it held.
#[test]
fn a_raw_file_without_end_is_given_up() {
    use mulebook::raw;
    use mulebook::record::channel::ChannelQuantity;
    use mulebook::record::columns::{Column, Columns, Layout};

    let columns = Columns {
        name: "log".to_owned(),
        layout: Layout::default(),
        channels: vec![
            Column::by_header("Time", ChannelQuantity::Time, Some("s")),
            Column::by_header("RPM", ChannelQuantity::Speed, Some("rpm")),
        ],
        note: None,
    };
    let many = |begins, length| Endless { begins, then: b"1,", length, read: 0 };
    let one = |begins, length| Endless { begins, then: b"x", length, read: 0 };
    let cases = [
        ("a header of a million columns", many(b"Time,RPM,", 2_000_000), "longer"),
        ("a row of a million columns", many(b"Time,RPM\n0.1,3000\n0.2,3100,", 2_000_000), "uneven-row"),
        ("a row of half a thousand million", many(b"Time,RPM\n0.1,3000\n0.2,3100,", 1 << 30), "longer"),
        ("a quoted field of a gibibyte", one(b"Time,RPM\n0.1,3000\n0.2,\"", 1 << 30), "never closes"),
        ("a quoted header of a gibibyte", one(b"Time,RPM,\"", 1 << 30), "never closes"),
        ("a quote that never closes", one(b"Time,RPM\n0.1,3000\n0.2,\"", 5000), "never closes"),
    ];
    for (what, mut file, expected) in cases {
        let before = HELD.current_usage();
        HELD.reset_peak_usage();
        let began = Instant::now();
        // Refused, or a row that is doubted and gives no values.
        let found = match raw::read(&mut file, &columns, &mut |_| ()) {
            Err(refused) => refused.to_string(),
            Ok(read) => format!("{} {:?}", read.rows, codes(&read.doubts)),
        };
        assert!(found.contains(expected), "{what}: {found}");
        assert!(began.elapsed() < PATIENCE, "{what}: {:?}", began.elapsed());
        assert!(file.read < 32 << 20, "{what}: {} bytes were read", file.read);
        let held = HELD.peak_usage().saturating_sub(before);
        // A row that is still read is parted into its fields, each with its place.
        assert!(held < 2 * ROOM, "{what}: {held} bytes were held");
        // The first look at a file, before there is a columns record.
        file.read = 0;
        let mut sample = vec![0; 1 << 20];
        let count = std::io::Read::read(&mut file, &mut sample).expect("made");
        let began = Instant::now();
        drop(raw::sniff(&sample[..count], "run.csv", count < sample.len(), &[]));
        assert!(began.elapsed() < PATIENCE, "{what}: {:?} to sniff", began.elapsed());
    }
}

/// Every number of the list has its test: the archives that were tried above, or a test that names it in brackets.
fn numbers_tried_by_name() -> BTreeSet<u32> {
    let here = include_str!("evidence_hostile.rs");
    let claims = include_str!("dossier.rs");
    let mut numbers = BTreeSet::new();
    for text in [here, claims] {
        let lines: Vec<&str> = text.lines().map(str::trim).collect();
        for (at, line) in lines.iter().enumerate() {
            // Beside the documentation of a test, and nowhere else.
            let Some(rest) = line.strip_prefix("/// [") else { continue };
            let documents = lines[at..].iter().find(|line| !line.starts_with("///"));
            assert_eq!(documents, Some(&"#[test]"), "{line}");
            let listed = rest.split(']').next().unwrap_or_default();
            numbers.extend(listed.split(", ").map(|number| number.parse::<u32>().expect("a number")));
        }
    }
    numbers
}

/// [102]: the archive changes under the reader's hands.
#[test]
fn what_is_handed_out_is_what_was_checked() {
    use std::cell::RefCell;
    use std::io::{Read, Seek, SeekFrom};
    use std::rc::Rc;

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
    let files = unzipped(&dossier());
    let bytes = raw_zip(&raw_entries(&files));
    let shared = Shared(Rc::new(RefCell::new(Cursor::new(bytes.clone()))));
    let mut opened = open(shared.clone(), &Limits::default(), &signers(), dossier_fixture::NOON, &mut |_| {})
        .expect("whole");
    let mut unnoticed = 0;
    for at in (0..bytes.len()).step_by(5) {
        shared.0.borrow_mut().get_mut()[at] ^= 0x20;
        for (path, expected) in payload() {
            match opened.read(&path) {
                Ok(found) => {
                    assert_eq!(found, expected, "byte {at} changed {path}");
                    unnoticed += 1;
                }
                Err(PayloadError::Refused(_) | PayloadError::Unreadable(_)) => {}
                Err(other) => panic!("{other}"),
            }
        }
        shared.0.borrow_mut().get_mut()[at] ^= 0x20;
    }
    assert!(unnoticed > 0);
    // The same change with its checksum made to fit is seen by the hash.
    let raw = &files[RAW];
    let place = bytes.windows(raw.len()).position(|window| window == raw).expect("kept as it is");
    let mut forged = raw.clone();
    forged[30] ^= 1;
    shared.0.borrow_mut().get_mut()[place..place + raw.len()].copy_from_slice(&forged);
    assert!(opened.read("raw/p1.csv").is_err());
    // Cut short meanwhile.
    shared.0.borrow_mut().get_mut().truncate(place + 10);
    assert!(opened.read("raw/p1.csv").is_err());
}

#[test]
fn a_hundred_findings_are_enough() {
    let mut files = unzipped(&dossier());
    for number in 0..300 {
        files.insert(format!("c1/data/more/{number}"), Vec::new());
    }
    let found = opened_by(&raw_zip(&raw_entries(&files)), &signers()).expect_err("unlisted files");
    assert_eq!((found.len(), found.last().map(|finding| finding.code)), (101, Some("dossier-more")));
}

/// Cut short at every third length.
#[test]
fn half_a_dossier_is_none() {
    let whole = dossier();
    for length in (0..whole.len()).rev().step_by(3) {
        match open(Cursor::new(&whole[..length]), &Limits::default(), &signers(), 0, &mut |_| {}) {
            Err(NotOpened::Refused(found)) => assert!(!found.is_empty()),
            other => panic!("{length}: {other:?}"),
        }
    }
}
