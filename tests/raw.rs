//! The corpus of raw files: every number must come out as it was made up, to the last bit.
#![expect(clippy::disallowed_methods, reason = "the corpus lies on disk")]
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use mulebook::finding::{Finding, Severity};
use mulebook::raw::{self, Summary};
use mulebook::record::channel::ChannelQuantity;
use mulebook::record::columns::{Columns, Delimiter, Encoding, FileFormat, Thousands, TimeForm};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    #[serde(default)]
    answers: Vec<String>,
    #[serde(default)]
    questions: Vec<String>,
    #[serde(default)]
    columns: Option<serde_json::Value>,
    #[serde(default)]
    refused: Option<String>,
    #[serde(default)]
    channels: Vec<Channel>,
    #[serde(default)]
    segments: Vec<u64>,
    #[serde(default)]
    doubts: Vec<String>,
    #[serde(default)]
    doubt_lines: BTreeMap<String, Vec<usize>>,
    #[serde(default)]
    preamble: Option<Vec<(u64, String, String)>>,
    #[serde(default)]
    footer: Option<usize>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Channel {
    name: String,
    quantity: String,
    unit: Option<String>,
    values: Vec<Option<String>>,
}

fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/raw")
}

fn read_all(bytes: &[u8], columns: &Columns) -> (Summary, Vec<Vec<f64>>) {
    let mut values = vec![Vec::new(); columns.channels.len()];
    let summary = raw::read(&mut { bytes }, columns, &mut |batch| {
        for (all, more) in values.iter_mut().zip(batch.columns) {
            all.extend_from_slice(more);
        }
    });
    (summary.unwrap(), values)
}

fn doubted(findings: &[Finding]) -> Vec<&Finding> {
    findings.iter().filter(|f| f.severity == Severity::Doubt).collect()
}

/// What differs from the expectation, in words; empty where nothing does.
fn differences(name: &str, bytes: &[u8], expected: &Expected) -> Vec<String> {
    let mut differences = Vec::new();
    let answers: Vec<&str> = expected.answers.iter().map(String::as_str).collect();
    let mut guessed = Vec::new();
    let mut preamble = Vec::new();
    let columns = match &expected.columns {
        Some(value) => Columns::from_value(value).unwrap(),
        None => match raw::sniff(bytes, name, true, &answers) {
            Ok(guess) => {
                let codes: Vec<&str> = guess.questions.iter().map(|q| q.code).collect();
                if codes != expected.questions {
                    differences.push(format!("questions {codes:?}, expected {:?}", expected.questions));
                }
                if !codes.is_empty() {
                    return differences;
                }
                guessed.clone_from(&guess.doubts);
                preamble.clone_from(&guess.preamble);
                guess.into_columns("corpus")
            }
            Err(error) => {
                match &expected.refused {
                    Some(words) if error.to_string().contains(words) => {}
                    other => differences.push(format!("refused: {error}; expected {other:?}")),
                }
                return differences;
            }
        },
    };
    if expected.refused.is_some() {
        differences.push("not refused".to_owned());
    }
    assert_eq!(
        Columns::from_value(&columns.to_value()).as_ref(),
        Ok(&columns),
        "{name}: the record comes back whole"
    );
    let (summary, values) = read_all(bytes, &columns);
    let rows: Vec<u64> = summary.segments.iter().map(|s| s.rows).collect();
    if rows != expected.segments {
        differences.push(format!("segments {rows:?}, expected {:?}", expected.segments));
    }
    let names: Vec<&str> = summary.channels.iter().map(|c| c.name.as_str()).collect();
    let wanted: Vec<&str> = expected.channels.iter().map(|c| c.name.as_str()).collect();
    if names != wanted {
        differences.push(format!("channels {names:?}, expected {wanted:?}"));
        return differences;
    }
    for ((channel, found), values) in expected.channels.iter().zip(&summary.channels).zip(&values) {
        if (found.quantity.word(), &found.unit) != (channel.quantity.as_str(), &channel.unit) {
            differences.push(format!("{}: {} in {:?}", channel.name, found.quantity, found.unit));
        }
        let wanted: Vec<Option<u64>> = channel
            .values
            .iter()
            .map(|v| v.as_ref().map(|text| text.parse::<f64>().unwrap().to_bits()))
            .collect();
        let got: Vec<Option<u64>> = values.iter().map(|v| (!v.is_nan()).then(|| v.to_bits())).collect();
        if got != wanted {
            differences.push(format!("{}: {values:?}, expected {:?}", channel.name, channel.values));
        }
    }
    let all: Vec<Finding> = if expected.columns.is_some() { summary.doubts.clone() } else { guessed };
    let mut codes: Vec<&str> = doubted(&all).iter().map(|f| f.code).collect();
    codes.sort_unstable();
    codes.dedup();
    if codes != expected.doubts {
        let texts: Vec<String> = doubted(&all).iter().map(ToString::to_string).collect();
        differences.push(format!("doubts {codes:?}, expected {:?}: {texts:?}", expected.doubts));
    }
    for (code, lines) in &expected.doubt_lines {
        let found: Vec<usize> = summary
            .doubts
            .iter()
            .filter(|f| f.code == code)
            .filter_map(|f| f.place.as_ref().and_then(|p| p.line))
            .collect();
        if found != *lines {
            differences.push(format!("{code} on lines {found:?}, expected {lines:?}"));
        }
    }
    if let Some(wanted) = &expected.preamble {
        let found: Vec<(u64, String, String)> =
            preamble.iter().map(|l| (l.line, l.key.clone(), l.value.clone())).collect();
        if found != *wanted {
            differences.push(format!("preamble {found:?}, expected {wanted:?}"));
        }
    }
    if expected.footer.is_some_and(|lines| lines != summary.footer.len()) {
        differences.push(format!("footer {:?}", summary.footer));
    }
    differences
}

#[test]
fn every_file_of_the_corpus_comes_out_as_it_was_made() {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(corpus()).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|e| e == "json"));
    paths.sort();
    assert!(paths.len() >= 60, "only {} files", paths.len());
    let mut failed = Vec::new();
    for path in paths {
        let raw_path = path.with_extension("");
        let name = raw_path.file_name().unwrap().to_string_lossy().into_owned();
        let bytes = std::fs::read(&raw_path).unwrap();
        let expected: Expected = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
        for difference in differences(&name, &bytes, &expected) {
            failed.push(format!("{name}: {difference}"));
        }
    }
    assert!(failed.is_empty(), "\n{}", failed.join("\n"));
}

/// The schema that editors use and the reader know the same words.
#[test]
fn the_schema_lists_the_words_of_the_record() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("schema/columns.json");
    let schema: serde_json::Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    let words = |pointer: &str| -> Vec<String> {
        let list = schema.pointer(pointer).and_then(|v| v.as_array()).unwrap();
        list.iter().map(|w| w.as_str().unwrap().to_owned()).collect()
    };
    let quantities: Vec<String> = ChannelQuantity::all().map(|q| q.word().to_owned()).collect();
    assert_eq!(words("/properties/channels/items/properties/quantity/enum"), quantities);
    let layout = "/properties/layout/properties";
    for word in words("/properties/channels/items/properties/time/enum") {
        assert!(TimeForm::from_word(&word).is_some(), "{word}");
    }
    for word in words(&format!("{layout}/format/enum")) {
        assert!(FileFormat::from_word(&word).is_some(), "{word}");
    }
    for word in words(&format!("{layout}/delimiter/enum")) {
        assert!(Delimiter::from_word(&word).is_some(), "{word}");
    }
    for word in words(&format!("{layout}/encoding/enum")) {
        assert!(Encoding::from_word(&word).is_some(), "{word}");
    }
    for word in words(&format!("{layout}/thousands/enum")) {
        assert!(Thousands::from_word(&word).is_some(), "{word}");
    }
}

/// Every check, with a file that it doubts and one like it that it does not.
const CHECKS: &[(&str, &str, &str)] = &[
    // Power against torque times speed: in all rows, and in one.
    ("power-disagrees", "wrong-unit.csv", "comma.csv"),
    ("power-disagrees", "torque-copied-into-power.csv", "comma.csv"),
    // A speed that stops while the load goes on, or never starts.
    ("speed-stops", "speed-stops.csv", "up-dwell-down.csv"),
    ("load-without-speed", "load-without-speed.csv", "falling.csv"),
    // Fuel flow against specific consumption times power.
    ("hidden-correction", "hidden-correction.csv", "fuel-agrees.csv"),
    ("unit-contradicts-values", "fahrenheit-as-celsius.csv", "water-in-celsius.csv"),
    ("stuck", "stuck.csv", "oil-steps-once.csv"),
    ("no-data", "all-zero.csv", "every-quantity.csv"),
    ("statistic-disagrees", "mean-that-is-not.csv", "footer.csv"),
    ("statistic-disagrees", "mean-in-front-that-is-not.csv", "mean-in-front.csv"),
    ("unit-of-wrong-kind", "unit-row-shifted.csv", "unit-row.csv"),
    ("unit-not-known", "unit-not-known.csv", "every-quantity.csv"),
    ("time-gap", "time-gap.csv", "time-seconds.csv"),
    ("time-burst", "time-burst.csv", "time-seconds.csv"),
    ("time-steps-back", "time-steps-back.csv", "time-restarts.csv"),
    ("time-stands-still", "time-stands-still.csv", "time-seconds.csv"),
    ("time-runs-backwards", "wrong-way-round.csv", "time-seconds.csv"),
    ("text-in-number", "text-in-number.csv", "missing-words.csv"),
    ("sentinel", "sentinel.csv", "missing-words.csv"),
    ("sentinel-possible", "sentinel-possible.csv", "every-quantity.csv"),
    ("short-row", "short-row.csv", "trailing-delimiters.csv"),
    ("uneven-row", "long-row-answered.csv", "trailing-delimiters.csv"),
    ("line-not-read", "line-between.csv", "run-lines.csv"),
];

#[test]
fn every_check_doubts_a_file_and_passes_one_like_it() {
    let doubts = |name: &str| -> Vec<Finding> {
        let path = corpus().join(name);
        let bytes = std::fs::read(&path).unwrap();
        let expected: Expected =
            serde_json::from_slice(&std::fs::read(corpus().join(format!("{name}.json"))).unwrap()).unwrap();
        let answers: Vec<&str> = expected.answers.iter().map(String::as_str).collect();
        let guess = raw::sniff(&bytes, name, true, &answers).unwrap();
        let mut all = guess.doubts.clone();
        all.extend(read_all(&bytes, &guess.into_columns("checks")).0.doubts);
        all
    };
    for (code, doubted, passed) in CHECKS {
        let found = doubts(doubted);
        let of_check: Vec<&Finding> = found.iter().filter(|doubt| doubt.code == *code).collect();
        assert!(!of_check.is_empty(), "{doubted}: {code} among {found:?}");
        for doubt in of_check {
            let place = doubt.place.as_ref().unwrap_or_else(|| panic!("{doubted}: {code} names no place"));
            // What is wrong with a row as a whole has no one column.
            let of_row = matches!(*code, "short-row" | "uneven-row" | "line-not-read");
            assert!(place.line.is_some() && (of_row || place.field.is_some()), "{doubted}: {doubt:?}");
            assert!(doubt.message.split_whitespace().count() >= 3, "in plain words: {doubt:?}");
        }
        assert!(!doubts(passed).iter().any(|doubt| doubt.code == *code), "{passed}: {code}");
    }
}

#[test]
fn an_air_fuel_ratio_says_of_which_fuel() {
    let name = "air-fuel-ratio.csv";
    let bytes = std::fs::read(corpus().join(name)).unwrap();
    let columns = raw::sniff(&bytes, name, true, &[]).unwrap().into_columns("fuel");
    let fuels: Vec<Option<&str>> = columns.channels.iter().map(|column| column.fuel.as_deref()).collect();
    assert_eq!(fuels, [None, None, Some("petrol"), None]);
    let (summary, _) = read_all(&bytes, &columns);
    let told: Vec<&str> = summary
        .doubts
        .iter()
        .filter(|doubt| doubt.code == "fuel-not-said")
        .filter_map(|doubt| doubt.place.as_ref()?.field.as_deref())
        .collect();
    assert_eq!(told, ["AFR 2"]);
    let mut wrong = columns.to_value();
    wrong["channels"][0]["fuel"] = "petrol".into();
    assert_eq!(Columns::from_value(&wrong).unwrap_err()[0].code, "fuel-of-another");
}
