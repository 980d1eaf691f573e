use std::path::Path;

use super::bench::Bench;
use super::bench::trace;
use super::kept;
use super::shown;

fn corpus(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/raw").join(name).display().to_string()
}

#[test]
fn a_file_is_looked_at_without_a_book() {
    let bench = Bench::empty();
    bench.put("run.csv", &trace(1));
    shown!(bench, ".", "plain", &["look", "run.csv"]);
}

#[test]
fn a_file_is_looked_at_through_a_columns_record() {
    let bench = Bench::shop();
    shown!(bench, "columns", &["look", "../run-1.csv", "--columns", "tower-1"]);
    shown!(bench, "no-columns", &["look", "../run-1.csv", "--columns", "tower-9"]);
    bench.put("other.csv", "a;b\n1;2\n3;4\n");
    shown!(bench, "columns-of-another", &["look", "../other.csv", "--columns", "tower-1"]);
    let bench = Bench::empty();
    bench.put("run.csv", &trace(1));
    shown!(bench, ".", "columns-without-a-book", &["look", "run.csv", "--columns", "tower-1"]);
}

#[test]
fn a_question_is_asked_and_answered() {
    let bench = Bench::empty();
    std::fs::copy(corpus("asks-comma-decimal.csv"), bench.path().join("run.csv")).expect("a fixture");
    shown!(bench, ".", "question", &["look", "run.csv"]);
    shown!(bench, ".", "answered", &["look", "run.csv", "--read", "decimal=comma"]);
    shown!(bench, ".", "answer-not-understood", &["look", "run.csv", "--read", "decimal=banana"]);
}

#[test]
fn what_is_no_table_is_refused() {
    let bench = Bench::empty();
    bench.put("empty.csv", "");
    bench.put("words.txt", "the quick brown fox\njumps over the lazy dog\n");
    bench.put("header.csv", "rpm,torque\n");
    std::fs::copy(corpus("binary.dat"), bench.path().join("binary.dat")).expect("a fixture");
    shown!(bench, ".", "missing", &["look", "nowhere.csv"]);
    shown!(bench, ".", "folder", &["look", "."]);
    shown!(bench, ".", "empty", &["look", "empty.csv"]);
    shown!(bench, ".", "words", &["look", "words.txt"]);
    shown!(bench, ".", "header-only", &["look", "header.csv"]);
    shown!(bench, ".", "binary", &["look", "binary.dat"]);
}

/// Every file of the corpus: its questions, doubts and refusals as a person meets them.
#[test]
fn the_whole_corpus_is_looked_at() {
    let bench = Bench::empty();
    let mut names: Vec<String> =
        std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/raw"))
            .expect("the corpus is here")
            .map(|entry| entry.expect("a readable folder").file_name().to_string_lossy().into_owned())
            .filter(|name| !name.ends_with(".json") && !name.ends_with(".py"))
            .collect();
    names.sort();
    let mut shown = String::new();
    for name in names {
        let said = bench.run_in(bench.path(), &["look", &corpus(&name), "--json"], "");
        let answer = super::bench::checked(&format!("look-{name}"), &said.out);
        shown.push_str(&format!("{name}: exit {}\n", said.code));
        let findings =
            answer["doubts"].as_array().or(answer["findings"].as_array()).cloned().unwrap_or_default();
        for finding in findings {
            let line =
                finding["place"]["line"].as_u64().map(|line| format!(" line {line}")).unwrap_or_default();
            shown.push_str(&format!(
                "  \"code\": {}{line}: {}\n",
                finding["code"],
                finding["message"].as_str().unwrap_or("?")
            ));
        }
        for question in answer["questions"].as_array().into_iter().flatten() {
            shown.push_str(&format!("  asks: {}\n", question.as_str().unwrap_or("?")));
        }
    }
    kept!("look-corpus", shown);
}
