//! The records of a large book: those of the demo with other names and days, and a small sweep as each pull's raw file.
//!
//! Twenty-five pulls to a session, fifty to a build, two builds to a session. The same call gives the same bytes.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use mulebook::manifest::built_in_files;
use sha2::{Digest, Sha256};

/// Pulls of one session.
pub(crate) const SESSION: usize = 25;
/// Of them, on the session's first build; the rest are on the next.
const ON_FIRST: usize = 12;

/// A file of a book: its path and its bytes.
pub(crate) type File = (String, Vec<u8>);
type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// The demo's records, from which all others are made.
pub(crate) struct Shop {
    build: String,
    /// Parts in many copies: kind, the demo's tag, the demo's text.
    copied: Vec<(&'static str, &'static str, String)>,
    copies: usize,
}

impl Shop {
    /// Parts of these kinds and tags in so many copies each.
    pub(crate) fn new(kinds: &[(&'static str, &'static str)], copies: usize) -> Outcome<Self> {
        let copied = kinds
            .iter()
            .map(|&(kind, tag)| Ok((kind, tag, demo(&format!("parts/{kind}/{tag}.yaml"))?)))
            .collect::<std::io::Result<Vec<_>>>()?;
        Ok(Self { build: demo("builds/b1/build.yaml")?, copied, copies })
    }

    /// Everything but builds, sessions, pulls and copies of parts.
    pub(crate) fn base() -> Outcome<Vec<File>> {
        let mut files: Vec<File> = vec![
            (".gitattributes".to_owned(), b"* -text -filter -ident\n".to_vec()),
            (".gitignore".to_owned(), b"/raw-large/\n.mulebook-*\n".to_vec()),
            ("columns/tower-1.yaml".to_owned(), COLUMNS.as_bytes().to_vec()),
        ];
        files.extend(
            built_in_files().map(|(name, text)| (format!(".schema/{name}.json"), text.as_bytes().to_vec())),
        );
        for path in ["book.yaml", "people.yaml", "cells/tower.yaml"] {
            files.push((path.to_owned(), demo(path)?.into_bytes()));
        }
        let book = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/book");
        for folder in ["instruments".to_owned()].into_iter().chain(kinds(&book)?) {
            for entry in fs::read_dir(book.join(&folder))? {
                let path = format!("{folder}/{}", entry?.file_name().to_string_lossy());
                let text = demo(&path)?;
                files.push((path, text.into_bytes()));
            }
        }
        Ok(files)
    }

    /// One copy of each copied part.
    pub(crate) fn parts(&self, copy: usize) -> Vec<File> {
        let part = |(kind, tag, text): &(&str, &str, String)| {
            let name = format!("{tag}-{copy:03}");
            let text = text.replacen(&format!("part: {tag}\n"), &format!("part: {name}\n"), 1);
            (format!("parts/{kind}/{name}.yaml"), text.into_bytes())
        };
        self.copied.iter().map(part).collect()
    }

    /// How many copies there are of each copied part.
    pub(crate) fn copies(&self) -> usize {
        self.copies
    }

    /// A build, each copied part changed less often than the one before it.
    pub(crate) fn build(&self, number: usize) -> File {
        let mut text = self.build.replacen("build: b1\n", &format!("build: b{number}\n"), 1);
        for (at, (kind, tag, _)) in self.copied.iter().enumerate() {
            let copy = (number / (at + 1)) % self.copies;
            text = text.replacen(&format!("{kind}: {tag}/a"), &format!("{kind}: {tag}-{copy:03}/a"), 1);
        }
        (format!("builds/b{number}/build.yaml"), text.into_bytes())
    }
}

/// The build that a pull is on.
pub(crate) fn build_of(pull: usize) -> usize {
    pull / SESSION / 2 + usize::from(pull % SESSION + 1 > ON_FIRST)
}

/// The tag and day of a session.
fn session_of(pull: usize) -> Outcome<(String, chrono::NaiveDate)> {
    let session = pull / SESSION;
    let day = chrono::NaiveDate::from_ymd_opt(2026, 4, 11)
        .and_then(|first| first.checked_add_days(chrono::Days::new(session as u64)))
        .ok_or("a day out of range")?;
    Ok((format!("s{session:04}"), day))
}

/// The session of a pull.
pub(crate) fn session(pull: usize) -> Outcome<File> {
    let (tag, day) = session_of(pull)?;
    let text = format!(
        "session: {tag}\ncell: tower\non: {day}\nby: mk\nengine: mule-1\nfuel: drum-7/a\noil: fill-12/a\n\
         warm-up: \"2500 rpm at 40 N·m until the oil shows 80 degC\"\n\
         zero-before: {{measured: 0.1 N·m, with: load-1}}\nfirst-baseline: [{tag}-01, {tag}-02]\n"
    );
    Ok((format!("sessions/{tag}.yaml"), text.into_bytes()))
}

/// A pull's manifest and its raw file.
pub(crate) fn pull(pull: usize) -> Outcome<[File; 2]> {
    let (tag, day) = session_of(pull)?;
    let (order, build) = (pull % SESSION + 1, build_of(pull));
    let raw = raw(pull)?;
    let digest = Sha256::digest(&raw).iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"));
    let (hour, minute) = (8 + order / 4, 15 * (order % 4));
    let text = format!(
        "# yaml-language-server: $schema=../../../.schema/pull.json\npull: {tag}-{order:02}\nbuild: b{build}\n\
         session: {tag}\norder: {order}\nfit-up: 1\nat: {day}T{hour:02}:{minute:02}:00+02:00\nby: mk\n\
         outcome: kept\nrun: {{kind: sweep, rate: 300 rpm/s, from: 3000 rpm, to: 8000 rpm}}\n\
         correction: observed\nraw:\n  - {{file: \"{tag}-{order:02}.csv\", sha256: \"{digest}\", bytes: {}, \
         columns: tower-1}}\nran: 12.0 s\n",
        raw.len()
    );
    let manifest = (format!("builds/b{build}/pulls/{tag}-{order:02}.yaml"), text.into_bytes());
    Ok([manifest, (format!("raw/{}/{digest}", &digest[..2]), raw)])
}

fn demo(path: &str) -> std::io::Result<String> {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/book").join(path))
}

fn kinds(book: &Path) -> std::io::Result<Vec<String>> {
    let mut kinds = Vec::new();
    for entry in fs::read_dir(book.join("parts"))? {
        kinds.push(format!("parts/{}", entry?.file_name().to_string_lossy()));
    }
    kinds.sort();
    Ok(kinds)
}

const COLUMNS: &str = "\
columns: tower-1
layout: {format: delimited, encoding: utf-8, delimiter: comma, decimal: point, header-rows: 1}
channels:
  - {header: Time (s), name: Time, quantity: time, unit: s, time: number}
  - {header: Engine Speed (rpm), name: Engine Speed, quantity: speed, unit: rpm}
  - {header: Torque (N·m), name: Torque, quantity: torque, unit: N·m}
  - {header: Oil Temp (°C), name: Oil Temp, quantity: oil-temperature, unit: \"°C\"}
  - {header: Coolant Temp (°C), name: Coolant Temp, quantity: water-temperature, unit: \"°C\"}
  - {header: Barometer (kPa), name: Barometer, quantity: barometer, unit: kPa}
  - {header: Air Temp (°C), name: Air Temp, quantity: air-temperature, unit: \"°C\"}
  - {header: Humidity (%), name: Humidity, quantity: humidity, unit: \"%\"}
";

/// A small sweep, another for each pull.
fn raw(pull: usize) -> Result<Vec<u8>, std::fmt::Error> {
    let mut text = String::from(
        "Time (s),Engine Speed (rpm),Torque (N·m),Oil Temp (°C),Coolant Temp (°C),Barometer (kPa),Air Temp (°C),Humidity (%)\n",
    );
    // A plain generator of the kind x' = a·x + c (mod 2^64); its constants are Knuth's (MMIX).
    let mut state = pull as u64 + 1;
    for row in 0..120_u32 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let noise = f64::from((state >> 48) as u16) / 65_536.0;
        let speed = 3000 + row * 42;
        let torque = 180.0
            + 40.0 * (1.0 - (f64::from(speed) / 3000.0 - 2.0) * (f64::from(speed) / 3000.0 - 2.0))
            + noise;
        let time = f64::from(row) / 10.0;
        writeln!(
            text,
            "{time:.2},{speed},{torque:.1},{:.1},{:.1},98.{:02},{:.1},52.{}",
            85.0 + time / 4.0 + noise,
            79.0 + time / 4.0 - noise,
            40 + pull % 60,
            16.0 + noise,
            pull % 10
        )?;
    }
    Ok(text.into_bytes())
}
