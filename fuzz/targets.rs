//! One target for each reader: bytes in, a panic where something that must always hold does not.
//!
//! `tests/raw_fuzz.rs` runs them on mutants of the corpus in every `cargo test`; `fuzz/run` lets a fuzzer guide itself by
//! coverage. Each says whether the bytes were read as what the target reads.

#[path = "books.rs"]
mod books;

use std::io::Cursor;
use std::io::Write;
use std::sync::OnceLock;

use mulebook::evidence;
use mulebook::evidence::{Contents, History, Limits, NotOpened, ObjectKind, Receipt, Signers, TIP_FILE};
use mulebook::finding::Finding;
use mulebook::manifest::Schemas;
use mulebook::manifest::bind;
use mulebook::manifest::yaml;
use mulebook::quantity::QuantityKind;
use mulebook::quantity::parse_reading;
use mulebook::raw;
use mulebook::record::channel::ChannelQuantity;
use mulebook::record::columns::{
    Column, Columns, Decimal, Delimiter, Encoding, FileFormat, Layout, Quote, SegmentRule, Skip, Thousands,
    TimeForm,
};

/// A reader under test.
pub(crate) struct Target {
    /// Its name.
    pub(crate) name: &'static str,
    /// Reads bytes and says whether they were what it reads.
    pub(crate) run: fn(&[u8]) -> bool,
}

/// Every reader.
pub(crate) const TARGETS: &[Target] = &[
    Target { name: "delimited", run: delimited },
    Target { name: "fixed-width", run: fixed_width },
    Target { name: "preamble", run: preamble },
    Target { name: "time", run: time },
    Target { name: "number", run: number },
    Target { name: "late-marks", run: late_marks },
    Target { name: "workbook", run: workbook },
    #[cfg(feature = "parquet")]
    Target { name: "parquet", run: parquet },
    Target { name: "columns-record", run: columns_record },
    Target { name: "flow-sheet", run: flow_sheet },
    Target { name: "reading", run: reading },
    Target { name: "dossier", run: dossier },
    Target { name: "signature", run: signature },
    Target { name: "history", run: history },
    Target { name: "receipt", run: receipt },
    Target { name: "signers", run: signers },
    Target { name: "manifest", run: books::manifest },
    Target { name: "book-schema", run: books::book_schema },
    Target { name: "foreign-book", run: books::foreign_book },
];

/// Stands between a columns record and the file that it is to read.
pub(crate) const BETWEEN: &[u8] = b"\n...\n";

/// Deflate packs no tighter than this, so that a packed file holds at most so many bytes of text for each of its own.
const TIGHTEST: usize = 1032;

/// Reads bytes by a columns record and holds what must be true of any reading.
fn read(bytes: &[u8], columns: &Columns, most_rows: usize) -> bool {
    let (mut rows, mut last_segment) = (0_usize, 0);
    let outcome = raw::read(&mut { bytes }, columns, &mut |batch| {
        assert_eq!(batch.columns.len(), columns.channels.len());
        assert_eq!(batch.lines.len(), batch.rows());
        assert!(batch.columns.iter().all(|column| column.len() == batch.rows()));
        assert!(batch.columns.iter().all(|column| column.iter().all(|value| !value.is_infinite())));
        assert!(batch.segment >= last_segment);
        last_segment = batch.segment;
        rows += batch.rows();
        assert!(rows <= most_rows, "{rows} rows of {} bytes", bytes.len());
    });
    match outcome {
        Ok(summary) => {
            assert_eq!(summary.rows, rows as u64);
            assert_eq!(summary.segments.iter().map(|segment| segment.rows).sum::<u64>(), summary.rows);
            assert!(summary.doubts.len() <= 100 + 60 * columns.channels.len());
            assert!(summary.doubts.iter().all(|doubt| !doubt.message.is_empty()));
            true
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            false
        }
    }
}

/// Guesses what bytes hold, whole and as the head of something longer, and reads them so.
fn guessed(bytes: &[u8], name: &str, most_rows: usize) -> bool {
    for whole in [false, true] {
        match raw::sniff(bytes, name, whole, &[]) {
            Ok(guess) => {
                assert!(guess.questions.iter().all(|question| !question.choices.is_empty()));
                // What is asked first is answered first, as a person would.
                let answers: Vec<String> =
                    guess.questions.iter().map(|question| question.choices[0].word.clone()).collect();
                let answers: Vec<&str> = answers.iter().map(String::as_str).collect();
                drop(raw::sniff(bytes, name, whole, &answers));
                let columns = guess.into_columns("fuzz");
                assert_eq!(Columns::from_value(&columns.to_value()).as_ref(), Ok(&columns));
                if whole {
                    return read(bytes, &columns, most_rows);
                }
            }
            Err(error) => assert!(!error.to_string().is_empty()),
        }
    }
    false
}

fn columns(layout: Layout, channels: Vec<Column>) -> Columns {
    Columns { name: "fuzz".to_owned(), layout, channels, note: None }
}

fn by_place(position: usize, name: &str, quantity: ChannelQuantity) -> Column {
    let mut column = Column::by_header(name, quantity, None);
    column.header = None;
    column.position = Some(position);
    column
}

/// Text in any delimited shape.
fn delimited(bytes: &[u8]) -> bool {
    let read_as_guessed = guessed(bytes, "run.csv", bytes.len() + 1);
    let encodings = [Encoding::Utf8, Encoding::Utf16Le, Encoding::Utf16Be, Encoding::Windows1252];
    let delimiters =
        [Delimiter::Comma, Delimiter::Semicolon, Delimiter::Tab, Delimiter::Pipe, Delimiter::Spaces];
    // A record that was written for another file is followed to the letter all the same.
    let pick = bytes.len();
    let layout = Layout {
        encoding: encodings[pick % encodings.len()],
        delimiter: delimiters[pick / 4 % delimiters.len()],
        quote: if pick.is_multiple_of(3) { Quote::Off } else { Quote::Double },
        header_rows: pick % 3,
        unit_row: pick.is_multiple_of(5),
        segments: [
            SegmentRule::Off,
            SegmentRule::TimeRestarts,
            SegmentRule::BlankLine,
            SegmentRule::TextLine,
        ][pick / 7 % 4]
            .clone(),
        ..Layout::default()
    };
    let channels = vec![by_place(1, "a", ChannelQuantity::Speed), by_place(2, "b", ChannelQuantity::Torque)];
    read(bytes, &columns(layout, channels), bytes.len() + 1);
    read_as_guessed
}

/// Text in columns of fixed width; the first four bytes say how wide.
fn fixed_width(bytes: &[u8]) -> bool {
    let (widths, text) = bytes.split_at(bytes.len().min(4));
    let mut starts = vec![0];
    for width in widths {
        starts.push(starts.last().unwrap_or(&0) + 1 + usize::from(*width) % 16);
    }
    let channels = (1..=starts.len())
        .map(|place| by_place(place, &format!("c{place}"), ChannelQuantity::Other))
        .collect();
    let layout = Layout { format: FileFormat::FixedWidth, starts, header_rows: 0, ..Layout::default() };
    read(text, &columns(layout, channels), text.len() + 1)
}

/// Lines above a table, which is looked for by its header.
fn preamble(bytes: &[u8]) -> bool {
    let lines = bytes.iter().filter(|byte| matches!(byte, b'\n' | b'\r')).count() as u64 + 1;
    if let Ok(guess) = raw::sniff(bytes, "run.csv", true, &[]) {
        for line in &guess.preamble {
            assert!((1..=lines).contains(&line.line), "line {} of {lines}", line.line);
            let (key, value) = line.stated();
            assert!(key.len() <= line.key.len() && (!value.is_empty() || line.value.is_empty()));
        }
    }
    let layout = Layout { skip: Skip::ToHeader, ..Layout::default() };
    let channels = vec![
        Column::by_header("RPM", ChannelQuantity::Speed, Some("rpm")),
        Column::by_header("Torque (Nm)", ChannelQuantity::Torque, Some("N·m")),
    ];
    read(bytes, &columns(layout, channels), bytes.len() + 1)
}

/// Every line as a time in every form.
fn time(bytes: &[u8]) -> bool {
    let words = [
        "number",
        "epoch-s",
        "epoch-100ms",
        "epoch-ms",
        "epoch-us",
        "epoch-100ns",
        "epoch-ns",
        "days",
        "clock",
        "clock-hours-minutes",
        "date-year-first",
        "date-day-first",
        "date-month-first",
    ];
    let mut any = false;
    for word in words {
        let mut column = by_place(1, "t", ChannelQuantity::Time);
        column.time = TimeForm::from_word(word);
        column.unit = Some("s".to_owned());
        assert!(column.time.is_some(), "{word}");
        let layout = Layout {
            delimiter: Delimiter::Tab,
            header_rows: 0,
            segments: SegmentRule::TimeRestarts,
            ..Layout::default()
        };
        any |= read(bytes, &columns(layout, vec![column]), bytes.len() + 1);
    }
    any
}

/// Every line as a number in every writing.
fn number(bytes: &[u8]) -> bool {
    let mut any = false;
    for decimal in [Decimal::Point, Decimal::Comma] {
        for thousands in
            [Thousands::Off, Thousands::Comma, Thousands::Point, Thousands::Space, Thousands::Apostrophe]
        {
            let layout = Layout {
                delimiter: Delimiter::Tab,
                decimal,
                thousands,
                header_rows: 0,
                missing: vec!["-999".to_owned()],
                ..Layout::default()
            };
            let channels = vec![by_place(1, "x", ChannelQuantity::Other)];
            any |= read(bytes, &columns(layout, channels), bytes.len() + 1);
        }
    }
    any
}

/// Numbers behind the head that was looked at.
fn late_marks(bytes: &[u8]) -> bool {
    let mut found = false;
    for encoding in [Encoding::Utf8, Encoding::Utf16Le, Encoding::Utf16Be, Encoding::Windows1252] {
        for delimiter in [Delimiter::Semicolon, Delimiter::Tab, Delimiter::Pipe, Delimiter::Comma] {
            let layout = Layout { encoding, delimiter, ..Layout::default() };
            let doubt = raw::late_marks(&mut { bytes }, &columns(layout, Vec::new()));
            found |= matches!(&doubt, Ok(Some(Finding { place: Some(place), .. })) if place.line.is_some());
            assert!(doubt.is_ok(), "bytes in memory can be read");
        }
    }
    found
}

/// A workbook as it is, or the inside of a sheet, packed into one so that the zip's own check does not end it.
fn workbook(bytes: &[u8]) -> bool {
    let most_rows = (bytes.len() + 1) * TIGHTEST;
    if bytes.starts_with(b"PK") {
        return guessed(bytes, "run.xlsx", most_rows);
    }
    packed(bytes).is_some_and(|packed| guessed(&packed, "run.xlsx", most_rows))
}

/// A workbook with one sheet of these bytes.
pub(crate) fn packed(sheet: &[u8]) -> Option<Vec<u8>> {
    const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    const OFFICE: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    const PACKAGE: &str = "http://schemas.openxmlformats.org/package/2006";
    let parts = [
        ("[Content_Types].xml", format!("<Types xmlns=\"{PACKAGE}/content-types\"/>").into_bytes()),
        (
            "_rels/.rels",
            format!("<Relationships xmlns=\"{PACKAGE}/relationships\"><Relationship Id=\"r1\" Type=\"{OFFICE}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>").into_bytes(),
        ),
        (
            "xl/workbook.xml",
            format!("<workbook xmlns=\"{MAIN}\" xmlns:r=\"{OFFICE}\"><sheets><sheet name=\"Pull\" sheetId=\"1\" r:id=\"s1\"/></sheets></workbook>").into_bytes(),
        ),
        (
            "xl/_rels/workbook.xml.rels",
            format!("<Relationships xmlns=\"{PACKAGE}/relationships\"><Relationship Id=\"s1\" Type=\"{OFFICE}/worksheet\" Target=\"worksheets/sheet1.xml\"/></Relationships>").into_bytes(),
        ),
        ("xl/worksheets/sheet1.xml", sheet.to_vec()),
    ];
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in parts {
        archive.start_file(name, options).ok()?;
        archive.write_all(&bytes).ok()?;
    }
    Some(archive.finish().ok()?.into_inner())
}

/// A Parquet file.
#[cfg(feature = "parquet")]
fn parquet(bytes: &[u8]) -> bool {
    // Runs of one value are written once, so that rows may outnumber bytes; a page says how many it holds.
    guessed(bytes, "run.parquet", usize::MAX)
}

/// A columns record as people write it, and a file read by it.
fn columns_record(bytes: &[u8]) -> bool {
    let cut = bytes.windows(BETWEEN.len()).position(|window| window == BETWEEN);
    let (record, file) = cut.map_or((bytes, &[][..]), |cut| (&bytes[..cut], &bytes[cut + BETWEEN.len()..]));
    let Ok(root) = yaml::read("columns/fuzz.yaml", record) else { return false };
    match Columns::from_value(&root.to_json()) {
        Ok(columns) => {
            assert_eq!(Columns::from_value(&columns.to_value()).as_ref(), Ok(&columns));
            if !matches!(columns.layout.format, FileFormat::Workbook | FileFormat::Parquet) {
                read(file, &columns, file.len() + 1);
            }
            true
        }
        Err(findings) => {
            assert!(!findings.is_empty());
            false
        }
    }
}

/// A flow sheet as people write it: its readings typed by hand.
fn flow_sheet(bytes: &[u8]) -> bool {
    static SCHEMAS: OnceLock<Option<Schemas>> = OnceLock::new();
    let Some(schemas) = SCHEMAS.get_or_init(|| Schemas::load(&[]).ok()) else { return false };
    let Ok(root) = yaml::read("flow/fuzz.yaml", bytes) else { return false };
    let (sheet, findings) = bind::flow("flow/fuzz.yaml", &root, schemas.kinds());
    assert!(sheet.is_some() || findings.iter().any(Finding::is_error));
    sheet.is_some() && !findings.iter().any(Finding::is_error)
}

/// A reading of every kind, as typed: `64cc`, `21.4 degC`, `48.1 48.0 ±0.2 cc`.
fn reading(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else { return false };
    let mut any = false;
    for kind in QuantityKind::ALL {
        match parse_reading(text, kind, None) {
            Ok(reading) => {
                assert!(reading.mean().si().is_finite(), "{text:?} as {}", kind.title());
                any = true;
            }
            Err(error) => assert!(!error.found().is_empty() || text.trim().is_empty()),
        }
    }
    any
}

/// Holds what must be true of any opened dossier; says with which codes it was refused.
fn opened(bytes: &[u8]) -> Vec<&'static str> {
    match evidence::open(Cursor::new(bytes), &Limits::default(), &Signers::none(), 0, &mut |_| {}) {
        Ok(mut opened) => {
            assert!(opened.sealed_by().is_none(), "nobody is listed");
            let paths: Vec<String> = opened.payload.keys().cloned().collect();
            for path in paths {
                assert_eq!(evidence::fault_of_path(&path), None);
                let read = opened.read(&path).expect("what was checked can be read");
                assert_eq!(read.len() as u64, opened.payload[&path].length);
            }
            Vec::new()
        }
        Err(NotOpened::Refused(found)) => {
            assert!(!found.is_empty());
            for finding in &found {
                assert!(finding.to_string().bytes().all(|byte| (b' '..=b'~').contains(&byte)), "{finding:?}");
            }
            found.iter().map(|finding| finding.code).collect()
        }
        Err(other) => panic!("bytes in memory can be read: {other}"),
    }
}

fn dossier(bytes: &[u8]) -> bool {
    !opened(bytes).contains(&"archive-no-zip")
}

/// A small dossier without a signature.
pub(crate) fn unsigned() -> Vec<u8> {
    let mut contents = Contents { claim: "c1".to_owned(), ..Contents::default() };
    contents.description.name = "c1".to_owned();
    contents.payload.insert("claims/c1.yaml".to_owned(), Box::new("claim: c1\n".to_owned()));
    let mut out = Vec::new();
    evidence::write(&contents, None, chrono::DateTime::UNIX_EPOCH.fixed_offset(), &mut out, &mut |_| {})
        .expect("a dossier");
    out
}

/// The bytes stand as the signature of a dossier that is good otherwise.
fn signature(bytes: &[u8]) -> bool {
    static UNSIGNED: OnceLock<Vec<u8>> = OnceLock::new();
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let mut good =
        zip::ZipArchive::new(Cursor::new(UNSIGNED.get_or_init(unsigned).as_slice())).expect("a zip file");
    for at in 0..good.len() {
        archive.raw_copy_file(good.by_index(at).expect("an entry")).expect("in memory");
    }
    let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    archive.start_file("c1/tagmanifest-sha256.txt.sig", options).expect("in memory");
    archive.write_all(bytes).expect("in memory");
    let codes = opened(&archive.finish().expect("in memory").into_inner());
    !codes.contains(&"signature-unreadable")
}

/// A commit, then a tree, called by their own hashes so that what is in them is read.
fn history(bytes: &[u8]) -> bool {
    let between = bytes.windows(BETWEEN.len()).position(|window| window == BETWEEN);
    let (commit, tree) = between.map_or((bytes, &b""[..]), |at| (&bytes[..at], &bytes[at + BETWEEN.len()..]));
    let id = |kind, bytes: &[u8]| {
        gix::objs::compute_hash(gix::hash::Kind::Sha1, kind, bytes)
            .map(|id| id.to_string())
            .unwrap_or_default()
    };
    let (commit_id, tree_id) = (id(gix::objs::Kind::Commit, commit), id(gix::objs::Kind::Tree, tree));
    let objects = [
        (ObjectKind::Commit.path(&commit_id), commit.to_vec()),
        (ObjectKind::Tree.path(&tree_id), tree.to_vec()),
        (TIP_FILE.to_owned(), format!("{commit_id}\n").into_bytes()),
    ];
    match History::read(objects) {
        Ok(history) => {
            let line = history.line();
            assert!(!line.is_empty());
            history.changes("parts/head/h1.yaml");
            line.iter().for_each(|commit| drop(history.signature(commit, &Signers::none())));
            true
        }
        // A tree that the commit does not name is read all the same, and then refused.
        Err(found) => !found.is_empty() && found.iter().all(|finding| finding.code == "history-stray"),
    }
}

fn receipt(bytes: &[u8]) -> bool {
    match Receipt::find("fuzz", &String::from_utf8_lossy(bytes)) {
        Ok(receipts) => {
            drop(evidence::chain_findings(&receipts));
            let lines: String = receipts.iter().map(|receipt| format!("{receipt}\n")).collect();
            assert_eq!(Receipt::find("fuzz", &lines).as_ref(), Ok(&receipts));
            true
        }
        Err(found) => {
            assert!(!found.is_empty());
            false
        }
    }
}

fn signers(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    Signers::parse("fuzz", &text, Some(("fuzz", &text))).map_err(|found| assert!(!found.is_empty())).is_ok()
        | Signers::parse("fuzz", &text, None).is_ok()
}
