//! Raw files as pandas, openpyxl and pyarrow write them, read to the last bit; and a table of ours read by csvw and
//! pandas to the same numbers.
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "files are made by other programs on disk, and a test that cannot go on fails"
)]

use crate::outside;
use crate::shop;

use std::ffi::OsStr;
use std::path::Path;

use mulebook::raw;
use mulebook::record::channel::ChannelQuantity;
use serde_json::Value;

const SCRIPT: &str = "raw_files.py";

/// The bits of numbers as the script prints them, none where a value is missing.
fn bits(value: &Value) -> Vec<Option<u64>> {
    value.as_array().unwrap().iter().map(Value::as_u64).collect()
}

fn bits_of(values: &[f64]) -> Vec<Option<u64>> {
    values.iter().map(|value| (!value.is_nan()).then(|| value.to_bits())).collect()
}

#[test]
fn files_of_other_programs_come_out_to_the_last_bit() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = [OsStr::new("write"), folder.path().as_os_str()];
    let Some(files) = outside::lines_of(SCRIPT, &arguments) else { return };
    let mut read = 0;
    for file in &files {
        let name = file["file"].as_str().unwrap();
        if name.ends_with(".parquet") && !cfg!(feature = "parquet") {
            continue;
        }
        one_file(&folder.path().join(name), name, file);
        read += 1;
    }
    assert_eq!(files.len(), 16);
    assert_eq!(read, if cfg!(feature = "parquet") { 16 } else { 12 });
}

fn one_file(path: &Path, name: &str, told: &Value) {
    let bytes = std::fs::read(path).unwrap();
    let guess = raw::sniff(&bytes, name, true, &[]).unwrap_or_else(|error| panic!("{name}: {error}"));
    assert!(guess.questions.is_empty(), "{name}: {:?}", guess.questions);
    let columns = guess.into_columns("outside");
    let expected = told["values"].as_array().unwrap();
    assert_eq!(columns.channels.len(), expected.len(), "{name}");
    let quantities: Vec<ChannelQuantity> = columns.channels.iter().map(|column| column.quantity).collect();
    use ChannelQuantity as Q;
    assert_eq!(quantities, [Q::Time, Q::Speed, Q::Torque, Q::OilPressure, Q::Lambda], "{name}");
    let units: Vec<Option<&str>> = columns.channels.iter().map(|column| column.unit.as_deref()).collect();
    assert_eq!(units[..4], [Some("s"), Some("rpm"), Some("N·m"), Some("bar")], "{name}");
    let mut values = vec![Vec::new(); expected.len()];
    let summary = raw::read(&mut bytes.as_slice(), &columns, &mut |batch| {
        for (all, more) in values.iter_mut().zip(batch.columns) {
            all.extend_from_slice(more);
        }
    });
    assert_eq!(summary.unwrap().rows, 60, "{name}");
    for ((column, found), expected) in columns.channels.iter().zip(&values).zip(expected) {
        assert_eq!(bits_of(found), bits(expected), "{name}: {}", column.name);
    }
}

#[test]
fn a_table_that_leaves_the_book_is_valid_csvw_and_holds_the_same_numbers() {
    let (folder, root) = shop::shop();
    let raw_file = shop::raw("tarnbeck-0411-01.csv");
    shop::done(&root, &shop::pull_arguments(&raw_file));
    let columns =
        leaves_the_book(&folder.path().join("out"), &root, "0411a-01", &std::fs::read(&raw_file).unwrap());
    assert!(columns >= 4);
}

#[test]
fn a_flow_sheet_that_leaves_the_book_is_valid_csvw_too() {
    let (folder, root) = shop::shop();
    let text = "Lift (mm),Intake 1 (cfm),Exhaust 1 (cfm)\n2.0,41.2,33.0\n4.0,80.6,61.5\n6.0,112.4,84.0\n";
    let sheet = folder.path().join("head.csv");
    std::fs::write(&sheet, text).unwrap();
    shop::done(&root, &["flow", sheet.to_str().unwrap(), "--part", "h2/a"]);
    let columns = leaves_the_book(&folder.path().join("out"), &root, "h2a-in1-1", text.as_bytes());
    assert_eq!(columns, 3);
}

/// Writes a record's table, has it read by two other programs, and holds both against our own reading; says how many
/// columns it has.
fn leaves_the_book(out: &Path, root: &Path, record: &str, bytes: &[u8]) -> usize {
    shop::done(root, &["table", record, "--csvw", out.to_str().unwrap()]);
    let again = shop::program(root, &["table", record, "--csvw", out.to_str().unwrap()]).output().unwrap();
    assert!(!again.status.success(), "a table that is there is not replaced");
    let columns = raw::sniff(bytes, "run.csv", true, &[]).unwrap().into_columns("outside");
    let path = out.join(format!("{record}.csv"));
    let Some(lines) = outside::lines_of(SCRIPT, &[OsStr::new("csvw"), path.as_os_str()]) else {
        return columns.channels.len();
    };
    let mut values = vec![Vec::new(); columns.channels.len()];
    raw::read(&mut { bytes }, &columns, &mut |batch| {
        for (all, more) in values.iter_mut().zip(batch.columns) {
            all.extend_from_slice(more);
        }
    })
    .unwrap();
    let expected: Vec<Vec<Option<u64>>> = values.iter().map(|values| bits_of(values)).collect();
    assert!(expected.iter().all(|values| values.len() >= 3));
    for reader in ["csvw", "pandas"] {
        let found: Vec<Vec<Option<u64>>> = lines[0][reader].as_object().unwrap().values().map(bits).collect();
        assert_eq!(found, expected, "{reader}");
    }
    let units: Vec<Option<&str>> = lines[0]["units"].as_array().unwrap().iter().map(Value::as_str).collect();
    let stated: Vec<Option<&str>> = columns.channels.iter().map(|column| column.unit.as_deref()).collect();
    assert_eq!(units, stated);
    columns.channels.len()
}
