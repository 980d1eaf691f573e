//! What the targets begin with: the corpus of raw files, and small texts for the readers that the corpus has none for.

use std::path::Path;

use mulebook::raw;

use crate::targets::BETWEEN;

/// Largest file that is a seed, in bytes: small ones are tried more often in the same time.
const LARGEST: usize = 16 << 10;

const TIMES: &str = "0\n0.1\n0.25\n1:02:03\n1:02:03.5\n14:05\n23:59:59\n00:00:00\n11:59:59 PM\n12:00:00 AM\n2026-04-12 \
10:00:00\n2026-04-12T10:00:00.5+02:00\n2026-04-12T10:00:00Z\n12.04.2026 10:00\n4/12/26 1:00 PM\n1712345678\n1712345678123\n\
1712345678123456\n1712345678123456789\n638479999999999999\n45394.50001\n";
const NUMBERS: &str = "1\n-2.5\n+3\n.5\n5.\n1e3\n-1E-9\n1,234\n1.234,5\n1'000\n1 000,5\n-999\nNaN\n---\n#N/A\n1e999\n\
9999999999999999999999\n\u{2212}7\n12.5 Nm\n";
const READINGS: &[&str] = &[
    "21.4 degC",
    "64cc",
    ".041 in",
    "12\u{b0} BTDC",
    "48.1 48.0 48.3 48.2 \u{b1}0.2 cc",
    "98.61 kPa",
    "29.12 inHg",
    "48 %",
    "145",
    "300 rpm/s",
    "1 1/8 in",
    "-3",
    "1e3 mm",
    "\u{b1}0.1",
    "31 deg BTDC",
    "4000 rpm",
];
const SHEETS: &[&str] = &[
    "flow: h2a-in1-1\npart: h2/a\nside: inlet\nport: \"1\"\non: 2026-04-12\nby: mk\nconditions:\n  test-pressure: \
{measured: 28 inH2O, with: bench-1, by: mk, taken: 2026-04-12}\nlifts:\n  - {lift: 2.0 mm, flow: 41.2 cfm}\n  - {lift: .200 in, \
flow: 90 cfm, test-pressure: 25 inH2O, swirl: \"4\"}\ncorrected:\n  - {set: port, to: \"2\", was: \"1\", because: \"x\", by: \
mk, on: 2026-04-12}\n",
    "flow: e\npart: h2/b\nside: exhaust\non: 2026-04-12\nby: mk\nwith-part: [long-1/a]\nconditions: {entry: {unknown: \"y\"}}\n",
];
const RECORDS: &[&str] = &[
    "columns: cell-1\nlayout: {format: delimited, delimiter: semicolon, decimal: comma, header-rows: 1, skip: to-header, \
missing: [\"-999\"]}\nchannels:\n  - {header: \"n\", quantity: speed, unit: rpm}\n  - {header: M, quantity: torque, unit: \
\"N\u{b7}m\", basis: observed, sign: reversed, scale: 1.5}\n",
    "columns: fixed\nlayout: {format: fixed-width, starts: [0, 6, 14], header-rows: 0, segments: {channel: run}}\nchannels:\n  \
- {position: 1, name: run, quantity: run}\n  - {position: 2, name: t, quantity: time, time: clock}\n  - {position: 3, name: x, \
quantity: other}\n",
];
/// A signature by its form: it holds over nothing.
const SIGNATURE: &str = "-----BEGIN SSH SIGNATURE-----\nU1NIU0lHAAAAAQAAADMAAAALc3NoLWVkMjU1MTkAAAAgAAECAwQFBgcICQoLDA0ODxAREh\nMUFRY\
XGBkaGxwdHh8AAAAYZG9zc2llckBtdWxlYm9vay5leGFtcGxlAAAAAAAAAAZzaGE1\nMTIAAABTAAAAC3NzaC1lZDI1NTE5AAAAQAcHBwcHB\
wcHBwcHBwcHBwcHBwcHBwcHBwcHBw\ncHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwc=\n-----END SSH SIGNATURE---\
--\n";
const HISTORIES: &[&str] = &[
    "tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\nauthor M K <mk@x> 1780000000 +0200\ncommitter M K <mk@x> 1780000000 +0200\n\n\
Enter a pull\n\n...\n",
    "tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\nparent 4b825dc642cb6eb9a060e54bf8d69288fbee4904\nauthor a <> 1 +0000\n\
committer a <> 1 +0000\ngpgsig -----BEGIN SSH SIGNATURE-----\n AAAA\n -----END SSH SIGNATURE-----\n\nx\n...\n100644 a.yaml\0\
aaaaaaaaaaaaaaaaaaaa40000 parts\0bbbbbbbbbbbbbbbbbbbb",
];
const RECEIPTS: &[&str] = &[
    "mulebook-receipt 1 commit 4b825dc642cb6eb9a060e54bf8d69288fbee4904 head \
e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855 before none\n",
    "> Hello,\n> mulebook-receipt 2\n> commit 4b825dc642cb6eb9a060e54bf8d69288fbee4904 head\n> \
e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855 before\n> \
e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855\n",
];
const SIGNERS: &[&str] = &[
    "# mine\nshop@test.example,*@x namespaces=\"dossier@*,!y\",valid-after=\"20260101Z\",valid-before=\"202701011200Z\" ssh-ed25519 \
AAAAC3NzaC1lZDI1NTE5AAAAIAABAgMEBQYHCAkKCwwNDg8QERITFBUWFxgZGhscHR4f key\n",
    "ca cert-authority ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIAABAgMEBQYHCAkKCwwNDg8QERITFBUWFxgZGhscHR4f\n",
    "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIAABAgMEBQYHCAkKCwwNDg8QERITFBUWFxgZGhscHR4f\n",
];
const MANIFESTS: &[&str] = &[
    "part: h2\nkind: cylinder-head\nserial: \"0417\"\nwhere: {sold: 2026-08-01}\nstates:\n  - state: a\n    since: 2026-03-02\n    \
figures:\n      chamber-volume: {measured: 48.1 48.0 \u{b1}0.2 cc, with: burette-1, by: mk, taken: 2026-03-03}\n  - state: b\n    since: \
2026-04-11\n    work:\n      - {op: mill-deck, cut: 0.40 mm, by: mk}\n    figures: {}\n",
    "build: b1\nengine: mule-1\nsince: 2026-04-10\nparts: {short-block: mule-1/a, cylinder-head: h2/a, spacer: none}\nsettings:\n  \
ignition-timing: {measured: 31 deg BTDC, at: 6000 rpm, with: lamp-1, by: mk, taken: 2026-04-10}\n",
    "pull: 0411a-07\nbuild: b1\nsession: 0411a\norder: 7\nat: 2026-04-12T15:20:00+02:00\noutcome: kept\nconditions:\n  air-temperature: \
{measured: 21.4 degC, by: mk, taken: 2026-04-12}\ncorrection: observed\nraw:\n  - {file: \"x.csv\", sha256: \
\"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\", bytes: 3, columns: c-1}\n",
    "session: 0411a\ncell: tower\nengine: mule-1\non: 2026-04-11\n",
    "cell: tower\nfigures: {altitude: {listed: 320 m, source: \"map\"}}\n",
    "instrument: burette-1\nname: \"50 cc burette\"\n",
    "people:\n  mk: {name: \"Mara Kessel\"}\n",
    "format: 1\nname: \"small\"\nzone: \"+02:00\"\nraw-limit: 10 MB\ndocumented: [\"role:ignition\"]\n",
];
const SCHEMAS: &[&str] = &[
    include_str!("../schema/spacer.json"),
    "{\"$schema\":\"https://json-schema.org/draft/2020-12/schema\",\"title\":\"x\",\"x-version\":1,\"type\":\"object\",\"properties\":{}}",
];
/// Which of a repository's files, as the target counts them, and what stands there.
const FOREIGN: &[(u8, &str)] = &[
    (
        0,
        "tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\nparent 4b825dc642cb6eb9a060e54bf8d69288fbee4904\nauthor A <a@x> 1700000000 +0100\n\
committer A <a@x> 1700000000 +0100\n\nx\n",
    ),
    (
        0,
        "tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\nauthor A <a@x> 1 +0000\ncommitter A <a@x> 1 +0000\ngpgsig x\n y\n\nx\n",
    ),
    (
        1,
        "100644 a.yaml\0aaaaaaaaaaaaaaaaaaaa40000 b\0bbbbbbbbbbbbbbbbbbbb120000 c\0cccccccccccccccccccc160000 d\0dddddddddddddddddddd",
    ),
    (1, "100644 ..\0aaaaaaaaaaaaaaaaaaaa40000 .git\0bbbbbbbbbbbbbbbbbbbb"),
    (2, "x\u{1}\0\0\0"),
    (3, "DIRC\0\0\0\u{2}\0\0\0\0xxxxxxxxxxxxxxxxxxxx"),
    (
        4,
        "# pack-refs with: peeled fully-peeled sorted \n4b825dc642cb6eb9a060e54bf8d69288fbee4904 refs/heads/main\n^4b825dc642cb6eb9a060e54bf8d69288fbee4904\n",
    ),
    (5, "ref: refs/heads/main\n"),
    (5, "4b825dc642cb6eb9a060e54bf8d69288fbee4904\n"),
    (
        6,
        "[core]\n\trepositoryformatversion = 0\n\tbare = false\n[extensions]\n\tworktreeConfig = true\n[include]\n\tpath = x\n",
    ),
    (7, "4b825dc642cb6eb9a060e54bf8d69288fbee4904\n"),
    (7, "ref: refs/heads/side\n"),
];
const SHEET_XML: &str = "<worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData>\
<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><t>RPM</t></is></c><c r=\"B1\" t=\"inlineStr\"><is><t>Torque (Nm)</t></is></c></row>\
<row r=\"2\"><c r=\"A2\"><v>3000</v></c><c r=\"B2\"><v>61.2</v></c></row><row r=\"3\"><c r=\"A3\"><v>3250</v></c><c r=\"B3\" t=\"e\">\
<v>#N/A</v></c></row><row r=\"4\"><c r=\"A4\"><v>3500</v></c><c r=\"B4\" t=\"str\"><v>64.1</v></c></row></sheetData></worksheet>";

/// The seeds of a target.
///
/// # Errors
/// The corpus cannot be read.
pub(crate) fn seeds(target: &str, corpus: &Path) -> std::io::Result<Vec<Vec<u8>>> {
    let all = |texts: &[&str]| texts.iter().map(|text| text.as_bytes().to_vec()).collect();
    Ok(match target {
        "fixed-width" => files(corpus, &["txt"])?
            .into_iter()
            .map(|(_, bytes)| [&[5, 9, 8, 3], bytes.as_slice()].concat())
            .collect(),
        "time" => vec![TIMES.as_bytes().to_vec()],
        "number" => vec![NUMBERS.as_bytes().to_vec()],
        "workbook" => {
            let mut seeds: Vec<Vec<u8>> = files(corpus, &["xlsx"])?.into_iter().map(|file| file.1).collect();
            // The inside of a sheet, which is packed anew each time, more often than the packed files.
            seeds.extend(vec![SHEET_XML.as_bytes().to_vec(); 2 * seeds.len()]);
            seeds
        }
        #[cfg(feature = "parquet")]
        "parquet" => (1..4).filter_map(parquet).collect(),
        "columns-record" => {
            let mut seeds: Vec<Vec<u8>> = all(RECORDS);
            for (name, bytes) in files(corpus, &["csv", "txt"])? {
                let Ok(guess) = raw::sniff(&bytes, &name, true, &[]) else { continue };
                // Every JSON text is YAML.
                let record = guess.into_columns("fuzz").to_value().to_string().into_bytes();
                seeds.push([&record, BETWEEN, &bytes].concat());
            }
            seeds
        }
        "flow-sheet" => all(SHEETS),
        "reading" => all(READINGS),
        "dossier" => vec![crate::targets::unsigned()],
        "signature" => all(&[SIGNATURE]),
        "history" => all(HISTORIES),
        "receipt" => all(RECEIPTS),
        "signers" => all(SIGNERS),
        "manifest" => all(MANIFESTS),
        "book-schema" => all(SCHEMAS),
        "foreign-book" => FOREIGN.iter().map(|(which, text)| [&[*which], text.as_bytes()].concat()).collect(),
        _ => files(corpus, &["csv", "txt"])?.into_iter().map(|file| file.1).collect(),
    })
}

/// The small files of the corpus with these endings, by name.
fn files(corpus: &Path, endings: &[&str]) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(corpus)? {
        let path = entry?.path();
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        if endings.iter().any(|ending| name.ends_with(&format!(".{ending}"))) {
            let bytes = std::fs::read(&path)?;
            found.extend(Some((name, bytes)).filter(|(_, bytes)| bytes.len() <= LARGEST));
        }
    }
    found.sort();
    Ok(found)
}

/// A Parquet file of some rows.
#[cfg(feature = "parquet")]
fn parquet(groups: usize) -> Option<Vec<u8>> {
    use parquet::data_type::{DoubleType, FloatType, Int64Type};
    use parquet::file::properties::WriterProperties;
    use parquet::file::writer::SerializedFileWriter;
    use std::sync::Arc;
    let message = "message pull { required int64 timestamp; required double rpm; optional float torque_nm; }";
    let schema = Arc::new(parquet::schema::parser::parse_message_type(message).ok()?);
    let mut bytes = Vec::new();
    let properties = Arc::new(WriterProperties::builder().build());
    let mut writer = SerializedFileWriter::new(&mut bytes, schema, properties).ok()?;
    for _ in 0..groups {
        let mut group = writer.next_row_group().ok()?;
        let mut column = group.next_column().ok()??;
        let stamps: Vec<i64> = (0..20).map(|n| 1_772_460_000_123_456_789 + n * 100_000_007).collect();
        column.typed::<Int64Type>().write_batch(&stamps, None, None).ok()?;
        column.close().ok()?;
        let mut column = group.next_column().ok()??;
        let speeds: Vec<f64> = (0..20).map(|n| 3000.0 + f64::from(n) / 3.0).collect();
        column.typed::<DoubleType>().write_batch(&speeds, None, None).ok()?;
        column.close().ok()?;
        let mut column = group.next_column().ok()??;
        let torques: Vec<f32> = (0..10_u8).map(|n| 60.0 + f32::from(n) / 7.0).collect();
        let present: Vec<i16> = (0..20).map(|n| n % 2).collect();
        column.typed::<FloatType>().write_batch(&torques, Some(&present), None).ok()?;
        column.close().ok()?;
        group.close().ok()?;
    }
    writer.close().ok()?;
    Some(bytes)
}
