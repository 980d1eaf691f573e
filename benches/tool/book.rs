//! Writes a book of many pulls, to measure how commands do in it.
//!
//! Twenty-five pulls to a session, fifty to a build, two builds to a session; headers, heads and camshafts in many
//! copies. The records are those of the demo with other names and days, the raw files are small sweeps. The same call
//! writes the same book. Everything goes into one commit.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use mulebook::manifest::built_in_files;
use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::store::Time;
use sha2::{Digest, Sha256};

/// Pulls of one session.
const SESSION: usize = 25;
/// Of them, on the session's first build; the rest are on the next.
const ON_FIRST: usize = 12;
/// Copies of a part that changes from build to build, for each ten builds.
const COPIES: usize = 4;

type Files = Vec<(String, Vec<u8>)>;

/// Makes the book at a folder that is not there yet.
pub(crate) fn write(folder: &Path, pulls: usize) -> Result<(), Box<dyn std::error::Error>> {
    let files = files(pulls)?;
    let author = Author { name: "M. Kessel".to_owned(), email: "mk@example.org".to_owned() };
    let time = Time { seconds: 1_800_000_000, offset: 0 };
    Book::create(folder, &files, &author, time, "A large book")?;
    Ok(())
}

fn demo(path: &str) -> std::io::Result<String> {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/book").join(path))
}

fn files(pulls: usize) -> Result<Files, Box<dyn std::error::Error>> {
    let sessions = pulls.div_ceil(SESSION);
    let builds = sessions.div_ceil(2) + 1;
    let mut files: Files = vec![
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
    let copies = (builds * COPIES).div_ceil(10);
    for (kind, tag) in [("header", "long-1"), ("cylinder-head", "h2"), ("camshaft", "cams-5")] {
        let text = demo(&format!("parts/{kind}/{tag}.yaml"))?;
        for copy in 0..copies {
            let name = format!("{tag}-{copy:03}");
            let text = text.replacen(&format!("part: {tag}\n"), &format!("part: {name}\n"), 1);
            files.push((format!("parts/{kind}/{name}.yaml"), text.into_bytes()));
        }
    }
    let build = demo("builds/b1/build.yaml")?;
    for number in 0..builds {
        let copy = |step: usize| (number / step) % copies;
        let text = build
            .replacen("build: b1\n", &format!("build: b{number}\n"), 1)
            .replacen("header: long-1/a", &format!("header: long-1-{:03}/a", copy(1)), 1)
            .replacen("cylinder-head: h2/a", &format!("cylinder-head: h2-{:03}/a", copy(2)), 1)
            .replacen("camshaft: cams-5/a", &format!("camshaft: cams-5-{:03}/a", copy(3)), 1);
        files.push((format!("builds/b{number}/build.yaml"), text.into_bytes()));
    }
    for pull in 0..pulls {
        let (session, order) = (pull / SESSION, pull % SESSION + 1);
        let tag = format!("s{session:04}");
        let day = chrono::NaiveDate::from_ymd_opt(2026, 4, 11)
            .and_then(|first| first.checked_add_days(chrono::Days::new(session as u64)))
            .ok_or("a day out of range")?;
        if order == 1 {
            let text = format!(
                "session: {tag}\ncell: tower\non: {day}\nby: mk\nengine: mule-1\nfuel: drum-7/a\noil: fill-12/a\n\
                 warm-up: \"2500 rpm at 40 N·m until the oil shows 80 degC\"\n\
                 zero-before: {{measured: 0.1 N·m, with: load-1}}\nfirst-baseline: [{tag}-01, {tag}-02]\n"
            );
            files.push((format!("sessions/{tag}.yaml"), text.into_bytes()));
        }
        let build = session / 2 + usize::from(order > ON_FIRST);
        let raw = raw(pull)?;
        let digest =
            Sha256::digest(&raw).iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"));
        let (hour, minute) = (8 + order / 4, 15 * (order % 4));
        let text = format!(
            "# yaml-language-server: $schema=../../../.schema/pull.json\npull: {tag}-{order:02}\nbuild: b{build}\n\
             session: {tag}\norder: {order}\nfit-up: 1\nat: {day}T{hour:02}:{minute:02}:00+02:00\nby: mk\n\
             outcome: kept\nrun: {{kind: sweep, rate: 300 rpm/s, from: 3000 rpm, to: 8000 rpm}}\n\
             correction: observed\nraw:\n  - {{file: \"{tag}-{order:02}.csv\", sha256: \"{digest}\", bytes: {}, \
             columns: tower-1}}\nran: 12.0 s\n",
            raw.len()
        );
        files.push((format!("builds/b{build}/pulls/{tag}-{order:02}.yaml"), text.into_bytes()));
        files.push((format!("raw/{}/{digest}", &digest[..2]), raw));
    }
    Ok(files)
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
