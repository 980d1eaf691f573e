//! Every reader of raw files against broken files: no panic, no hang, no more rows than bytes, memory bounded.
//!
//! The corpus is mutated by bytes, lines and words from a fixed seed, so a run can be made again. The short run is part
//! of `cargo test`; the long one takes its number of files from `MULEBOOK_FUZZ_RUNS` and its seed from
//! `MULEBOOK_FUZZ_SEED`: `MULEBOOK_FUZZ_RUNS=200000 cargo test --release --test raw_fuzz -- --ignored`.
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "the corpus lies on disk, a hang is seen by the clock, and a test that cannot go on fails"
)]

use std::path::Path;
use std::time::{Duration, Instant};

use mulebook::raw;
use mulebook::record::columns::Columns;

/// Mutants of the short run.
const SHORT: u64 = 2_500;
/// The longest time for one small file, on a busy machine; a hang is for ever.
const PATIENCE: Duration = Duration::from_secs(30);
/// Largest file of the corpus that is mutated, in bytes: small ones are tried more often in the same time.
const LARGEST: usize = 64 << 10;
/// The most memory that the whole run may hold at once, in KiB.
const MOST_MEMORY: u64 = 768 << 10;
/// Deflate packs no tighter than this, so a packed file holds at most so many bytes of text for each of its own.
const TIGHTEST: u64 = 1032;

/// Words at which readers turn off.
const WORDS: [&str; 40] = [
    ",",
    ";",
    "\t",
    "|",
    "\"",
    "\"\"",
    "\n",
    "\r",
    "\r\n",
    "\n\n",
    " ",
    "  ",
    "#",
    "1,234",
    "1.234",
    "1.234,5",
    "1'000",
    "-999",
    "NaN",
    "---",
    "1e999",
    "-1e-999",
    "9999999999999999999999",
    "0x10",
    "\u{feff}",
    "\0",
    "rpm",
    "Torque (Nm)",
    "Time",
    "12:34:56",
    "2026-04-12 10:00:00",
    "31.02.2026",
    "99:99",
    "mean",
    "Max",
    "Test pressure: 28 inH2O",
    "=1+1",
    "\u{2212}7",
    "\u{a0}",
    "1700000000000",
];

/// A small generator of random numbers (SplitMix64, Steele, Lea and Flood 2014), so that a run can be made again.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit.max(1) as u64) as usize
    }
}

struct Seed {
    name: String,
    bytes: Vec<u8>,
    /// How the whole file is read.
    columns: Option<Columns>,
}

fn corpus() -> Vec<Seed> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/raw");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let mut seeds = Vec::new();
    for path in paths {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let bytes = std::fs::read(&path).unwrap();
        if name.ends_with(".json") || bytes.len() > LARGEST {
            continue;
        }
        let columns = raw::sniff(&bytes, &name, true, &[]).ok().map(|guess| guess.into_columns("fuzz"));
        seeds.push(Seed { name, bytes, columns });
    }
    assert!(seeds.len() > 90, "{}", seeds.len());
    assert!(seeds.iter().filter(|seed| seed.columns.is_some()).count() > 60);
    seeds
}

fn mutate(random: &mut Random, seeds: &[Seed], bytes: &mut Vec<u8>) {
    for _ in 0..=random.below(6) {
        let at = random.below(bytes.len() + 1);
        match random.below(10) {
            0 if at < bytes.len() => bytes[at] ^= 1 << random.below(8),
            1 if at < bytes.len() => bytes[at] = random.below(256) as u8,
            2 => bytes.truncate(at),
            3 => {
                let end = (at + random.below(40)).min(bytes.len());
                bytes.drain(at..end);
            }
            4 => {
                let end = (at + random.below(200)).min(bytes.len());
                let piece = bytes[at..end].to_vec();
                bytes.splice(at..at, piece);
            }
            5 | 6 => {
                let word = WORDS[random.below(WORDS.len())].bytes();
                bytes.splice(at..at, word);
            }
            7 | 8 => lines(random, bytes),
            _ => {
                let other = &seeds[random.below(seeds.len())].bytes;
                let from = random.below(other.len() + 1);
                let end = (from + random.below(500)).min(other.len());
                bytes.splice(at..at, other[from..end].iter().copied());
            }
        }
    }
}

/// Doubles, drops or swaps whole lines.
fn lines(random: &mut Random, bytes: &mut Vec<u8>) {
    let mut lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
    if lines.is_empty() {
        return;
    }
    let (a, b) = (random.below(lines.len()), random.below(lines.len()));
    match random.below(3) {
        0 => lines.insert(b, lines[a]),
        1 => drop(lines.remove(a)),
        _ => lines.swap(a, b),
    }
    *bytes = lines.concat();
}

fn read(bytes: &[u8], columns: &Columns, most_rows: u64) {
    let (mut rows, mut last_segment) = (0_u64, 0);
    let outcome = raw::read(&mut { bytes }, columns, &mut |batch| {
        assert_eq!(batch.columns.len(), columns.channels.len());
        assert!(batch.columns.iter().all(|column| column.len() == batch.rows()));
        assert!(batch.columns.iter().all(|column| column.iter().all(|value| !value.is_infinite())));
        assert!(batch.segment >= last_segment);
        last_segment = batch.segment;
        rows += batch.rows() as u64;
        assert!(rows <= most_rows, "{rows} rows of {} bytes", bytes.len());
    });
    if let Ok(summary) = outcome {
        assert_eq!(summary.rows, rows);
        assert_eq!(summary.segments.iter().map(|segment| segment.rows).sum::<u64>(), rows);
        assert!(summary.doubts.len() as u64 <= 100 + 60 * columns.channels.len() as u64);
    }
}

fn run(seed: u64, count: u64) {
    let seeds = corpus();
    let mut random = Random(seed);
    let (mut tables, mut refused) = (0_u64, 0_u64);
    for number in 0..count {
        let base = &seeds[random.below(seeds.len())];
        let mut bytes = base.bytes.clone();
        mutate(&mut random, &seeds, &mut bytes);
        let packed = base.name.ends_with(".xlsx") || base.name.ends_with(".parquet");
        let most_rows = (bytes.len() as u64 + 1) * if packed { TIGHTEST } else { 1 };
        let started = Instant::now();
        let whole = random.below(8) > 0;
        match raw::sniff(&bytes, &base.name, whole, &[]) {
            Ok(guess) => {
                tables += 1;
                read(&bytes, &guess.into_columns("fuzz"), most_rows);
            }
            Err(error) => {
                refused += 1;
                assert!(!error.to_string().is_empty());
            }
        }
        if let Some(columns) = &base.columns {
            read(&bytes, columns, most_rows);
        }
        let took = started.elapsed();
        assert!(took < PATIENCE, "mutant {number} of seed {seed}, made from {}, took {took:?}", base.name);
    }
    // A run that never gets past the door tests nothing.
    assert!(tables > count / 4 && refused > count / 100, "{tables} tables, {refused} refused of {count}");
    if let Some(peak) = peak_memory() {
        assert!(peak < MOST_MEMORY, "{peak} KiB at the most");
    }
}

/// The most memory that this process ever held, in KiB, where the system tells.
fn peak_memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

#[test]
fn broken_files_break_no_reader() {
    run(20_260_412, SHORT);
}

#[test]
#[ignore = "takes as long as MULEBOOK_FUZZ_RUNS says"]
fn broken_files_break_no_reader_for_long() {
    let number = |name: &str, otherwise| {
        std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
    };
    run(number("MULEBOOK_FUZZ_SEED", 1), number("MULEBOOK_FUZZ_RUNS", 100_000));
}
