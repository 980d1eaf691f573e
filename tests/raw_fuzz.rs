//! Every reader, of raw files, records, schemas and git's own files, against broken input: no panic, no hang, memory bounded, and nothing read that was not there.
//!
//! The targets are those of `fuzz/targets.rs`, which `fuzz/run` gives to a fuzzer guided by coverage. Here their seeds are
//! mutated by bytes, lines and words from a fixed seed, so a run can be made again. The short run is part of `cargo test`;
//! the long one takes its number of inputs for each target from `MULEBOOK_FUZZ_RUNS` and its seed from
//! `MULEBOOK_FUZZ_SEED`: `MULEBOOK_FUZZ_RUNS=20000 cargo test --release --test raw_fuzz -- --ignored`.
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "the corpus lies on disk, a hang is seen by the clock, and a test that cannot go on fails"
)]
#![expect(
    clippy::print_stdout,
    reason = "modules shared with another package; a test that tells its figures"
)]

#[path = "../fuzz/seeds.rs"]
mod seeds;
#[path = "../fuzz/targets.rs"]
mod targets;

use std::path::Path;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use peak_alloc::PeakAlloc;
use targets::{TARGETS, Target};

/// Counts what is held, so that the most that one input takes is known.
#[global_allocator]
static HELD: PeakAlloc = PeakAlloc;

/// The longest time for one small input, on a busy machine; a hang is for ever.
const PATIENCE: Duration = Duration::from_secs(20);

/// What one target must do in the short run.
struct Bound {
    target: &'static str,
    /// Inputs.
    runs: u64,
    /// How many in a hundred must at least get past the door and be read: a run that never does tests nothing.
    least_read: u64,
    /// The most memory for one input, in MiB.
    most_mib: usize,
}

const fn bound(target: &'static str, runs: u64, least_read: u64, most_mib: usize) -> Bound {
    Bound { target, runs, least_read, most_mib }
}

const BOUNDS: &[Bound] = &[
    bound("delimited", 700, 30, 8),
    bound("fixed-width", 500, 30, 8),
    bound("preamble", 500, 1, 8),
    bound("time", 150, 30, 8),
    bound("number", 150, 30, 8),
    bound("late-marks", 400, 1, 8),
    bound("workbook", 300, 10, 16),
    #[cfg(feature = "parquet")]
    bound("parquet", 300, 5, 64),
    bound("columns-record", 500, 10, 8),
    bound("flow-sheet", 500, 5, 8),
    bound("reading", 400, 5, 8),
    bound("dossier", 300, 10, 8),
    bound("signature", 200, 2, 8),
    bound("history", 300, 2, 8),
    bound("receipt", 300, 2, 8),
    bound("signers", 300, 2, 8),
    bound("manifest", 500, 5, 8),
    bound("book-schema", 60, 1, 32),
    bound("foreign-book", 150, 5, 32),
];

/// Words at which readers turn off.
const WORDS: [&str; 72] = [
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
    "638479999999999999",
    "45394.5",
    "23:59:59",
    "00:00:00",
    "{",
    "}",
    "[",
    "]",
    ": ",
    "- ",
    "null",
    "true",
    "format: fixed-width",
    "starts: [0, 3]",
    "scale: 1e308",
    "position: 0",
    "segments: time-restarts",
    "encoding: utf-16le",
    "<row>",
    "</c>",
    "<v>",
    "t=\"s\"",
    "\u{b1}",
    "/",
    "tree ",
    "100644 ",
    "40000 ..\0",
    "ref: ",
    "{measured: ",
    "states:\n",
    "\"$ref\":\"#\",",
    "\"pattern\":\"(a*)*$\",",
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

fn mutate(random: &mut Random, seeds: &[Vec<u8>], bytes: &mut Vec<u8>) {
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
                let other = &seeds[random.below(seeds.len())];
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

/// What a run of a target came to.
#[derive(Debug, Default)]
struct Tally {
    runs: u64,
    read: u64,
    /// The most memory that one input took, in bytes.
    most_held: usize,
}

fn run(target: &Target, seed: u64, runs: u64) -> Tally {
    // Memory is counted for the whole process, so one target runs at a time.
    static ALONE: Mutex<()> = Mutex::new(());
    let _alone = ALONE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/raw");
    let seeds = seeds::seeds(target.name, &corpus).unwrap();
    assert!(!seeds.is_empty(), "{} has no seeds", target.name);
    // A panic of a reader that is not ours is caught and told as a damaged file. Printing it would look up symbols, which
    // takes more memory than any reader does.
    std::panic::set_hook(Box::new(|_| {}));
    let mut random = Random(seed);
    let mut tally = Tally::default();
    for number in 0..runs {
        let mut bytes = seeds[random.below(seeds.len())].clone();
        // The seeds themselves come first.
        match usize::try_from(number).ok().and_then(|number| seeds.get(number)) {
            Some(seed) => bytes.clone_from(seed),
            None => mutate(&mut random, &seeds, &mut bytes),
        }
        let (held, started) = (HELD.current_usage(), Instant::now());
        HELD.reset_peak_usage();
        let outcome = std::panic::catch_unwind(|| (target.run)(&bytes));
        tally.runs += 1;
        tally.most_held = tally.most_held.max(HELD.peak_usage().saturating_sub(held));
        let took = started.elapsed();
        match outcome {
            Ok(read) => tally.read += u64::from(read),
            Err(panic) => {
                drop(std::panic::take_hook());
                let text = panic.downcast_ref::<String>().map(String::as_str);
                let text = text.or_else(|| panic.downcast_ref::<&str>().copied()).unwrap_or_default();
                panic!("{}: input {number} of seed {seed} broke it: {text}", target.name);
            }
        }
        assert!(took < PATIENCE, "{}: input {number} of seed {seed} took {took:?}", target.name);
    }
    drop(std::panic::take_hook());
    tally
}

fn short(name: &str) {
    let target = TARGETS.iter().find(|target| target.name == name).unwrap();
    let bound = BOUNDS.iter().find(|bound| bound.target == name).unwrap();
    let tally = run(target, 20_260_412, bound.runs);
    println!("{name}: {tally:?}");
    assert_eq!(tally.runs, bound.runs);
    assert!(tally.read * 100 >= bound.least_read * tally.runs, "{name}: {tally:?}");
    assert!(tally.read < tally.runs, "{name}: some must be refused: {tally:?}");
    assert!(tally.most_held < bound.most_mib << 20, "{name}: {tally:?}");
}

macro_rules! targets {
    ($($function:ident $name:literal),* $(,)?) => {
        $(#[test] fn $function() { short($name); })*
        /// The targets that have a test here.
        const TESTED: &[&str] = &[$($name),*];
    };
}

targets! {
    delimited "delimited",
    fixed_width "fixed-width",
    preamble "preamble",
    time "time",
    number "number",
    late_marks "late-marks",
    workbook "workbook",
    columns_record "columns-record",
    flow_sheet "flow-sheet",
    reading "reading",
    dossier "dossier",
    signature "signature",
    history "history",
    receipt "receipt",
    signers "signers",
    manifest "manifest",
    book_schema "book-schema",
    foreign_book "foreign-book",
}

#[cfg(feature = "parquet")]
#[test]
fn parquet() {
    short("parquet");
}

#[test]
fn every_target_runs_and_none_shrinks_unseen() {
    let names = |names: &mut dyn Iterator<Item = &'static str>| {
        let mut names: Vec<&str> = names.filter(|name| *name != "parquet").collect();
        names.sort_unstable();
        names
    };
    let all = names(&mut TARGETS.iter().map(|target| target.name));
    assert_eq!(all, names(&mut BOUNDS.iter().map(|bound| bound.target)));
    assert_eq!(all, names(&mut TESTED.iter().copied()));
    assert!(BOUNDS.iter().map(|bound| bound.runs).sum::<u64>() >= 4_000);
}

#[test]
#[ignore = "takes as long as MULEBOOK_FUZZ_RUNS says"]
fn every_target_for_long() {
    let number = |name: &str, otherwise| {
        std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
    };
    for target in TARGETS {
        let tally = run(target, number("MULEBOOK_FUZZ_SEED", 1), number("MULEBOOK_FUZZ_RUNS", 10_000));
        let bound = BOUNDS.iter().find(|bound| bound.target == target.name).unwrap();
        println!("{}: {tally:?}", target.name);
        assert!(tally.most_held < bound.most_mib << 20, "{}: {tally:?}", target.name);
    }
}
