//! The inner loops, timed: `cargo bench --bench speed`. Each line is the median of many turns, with the least and the
//! greatest. Against other tools: `benches/ratios`.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a program of its own: it reads the demo, looks at the clock and prints what it measured"
)]

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fmt::Write;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use std::time::Instant;

use mulebook::check;
use mulebook::check::Side;
use mulebook::manifest::Schemas;
use mulebook::manifest::bind;
use mulebook::manifest::yaml;
use mulebook::raw;
use mulebook::record::Effective;
use mulebook::record::Kinds;
use mulebook::record::Part;
use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::store::LockHolder;
use mulebook::store::Time;

type Trouble = Box<dyn std::error::Error>;

fn main() -> Result<(), Trouble> {
    let schemas = Schemas::load(&[]).map_err(|findings| format!("{findings:?}"))?;
    reading()?;
    keeping()?;
    manifests(schemas.kinds())?;
    documented(schemas.kinds())
}

/// Times turns for about a second, ten of them at least.
fn time(what: &str, bytes: usize, mut turn: impl FnMut()) {
    turn();
    let begun = Instant::now();
    let mut turns: Vec<f64> = Vec::new();
    while turns.len() < 10 || begun.elapsed() < Duration::from_secs(1) {
        let begun = Instant::now();
        turn();
        turns.push(begun.elapsed().as_secs_f64());
    }
    turns.sort_by(f64::total_cmp);
    let (least, middle, most) = (turns[0], turns[turns.len() / 2], turns[turns.len() - 1]);
    print!("{what:44} {:10.1} µs  ({:.1} to {:.1})", middle * 1e6, least * 1e6, most * 1e6);
    #[expect(clippy::cast_precision_loss, reason = "a few MB")]
    let megabytes = bytes as f64 / 1e6;
    println!("{}", if bytes > 0 { format!("  {:.0} MB/s", megabytes / middle) } else { String::new() });
}

fn demo(path: &str) -> std::io::Result<String> {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/book").join(path))
}

fn table() -> Result<String, std::fmt::Error> {
    let mut text =
        String::from("Time (s),Engine Speed (rpm),Torque (N·m),Oil Temp (°C),Lambda,Air Temp (°C)\n");
    for row in 0..400_000_u32 {
        let speed = 1500 + row % 6500;
        writeln!(
            text,
            "{}.{:02},{speed},{}.{},{}.5,0.8{},21.{}",
            row / 100,
            row % 100,
            180 + row % 40,
            row % 10,
            85 + row % 4,
            row % 97,
            row % 7
        )?;
    }
    Ok(text)
}

fn reading() -> Result<(), Trouble> {
    let text = table()?;
    let head = text.as_bytes().get(..1 << 20).unwrap_or(text.as_bytes());
    let columns = raw::sniff(head, "table.csv", false, &[])?.into_columns("table");
    time("guessing columns from the first MiB", head.len(), || {
        let _ = black_box(raw::sniff(head, "table.csv", false, &[]));
    });
    time("reading delimited text", text.len(), || {
        let read = raw::read(&mut text.as_bytes(), &columns, &mut |batch| {
            black_box(batch.rows());
        });
        let _ = black_box(read);
    });
    Ok(())
}

/// Copies and hashes bytes as a pull does; they are synced, so the disk is part of it.
fn keeping() -> Result<(), Trouble> {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR"))?;
    let files = [("book.yaml".to_owned(), demo("book.yaml")?.into_bytes())];
    let author = Author { name: "M. Kessel".to_owned(), email: "mk@example.org".to_owned() };
    let time_of = Time { seconds: 1_800_000_000, offset: 0 };
    let book = Book::create(folder.path().join("book").as_path(), &files, &author, time_of, "A book")?;
    let bytes: Vec<u8> = (0..64_u32 << 20).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    time("copying and hashing 64 MiB", bytes.len(), || {
        let who = LockHolder { process: 1, since: "now".to_owned(), command: "bench".to_owned() };
        let taken =
            book.write(who).and_then(|mut writing| writing.take_raw(&mut bytes.as_slice(), 0, &mut |_| {}));
        let _ = black_box(taken);
    });
    Ok(())
}

fn manifests(kinds: &Kinds) -> Result<(), Trouble> {
    for path in ["builds/b1/build.yaml", "parts/cylinder-head/h2.yaml"] {
        let text = demo(path)?;
        time(&format!("parsing {path}"), text.len(), || {
            let _ = black_box(yaml::read(path, text.as_bytes()));
        });
    }
    let path = "builds/b1/build.yaml";
    let root = yaml::read(path, demo(path)?.as_bytes()).map_err(|finding| format!("{finding:?}"))?;
    time("binding builds/b1/build.yaml", 0, || {
        black_box(bind::build(path, &root, kinds));
    });
    Ok(())
}

fn documented(kinds: &Kinds) -> Result<(), Trouble> {
    let (base, test) = (side("b1", kinds)?, side("b6", kinds)?);
    time("check::documented on two sides", 0, || {
        let _ = black_box(check::documented(&base, &test, kinds, None));
    });
    Ok(())
}

fn side(name: &str, kinds: &Kinds) -> Result<Side, Trouble> {
    let path = format!("builds/{name}/build.yaml");
    let root = yaml::read(&path, demo(&path)?.as_bytes()).map_err(|finding| format!("{finding:?}"))?;
    let build = bind::build(&path, &root, kinds).0.ok_or("the build does not hold")?;
    let parts = parts(kinds)?;
    Ok(Side {
        name: name.to_owned(),
        effective: Effective::of_build(&build),
        engine: parts.get(&build.engine).cloned(),
        build: Some(Arc::new(build)),
        pull: None,
        session: None,
        cell: None,
        parts,
        instruments: BTreeMap::new(),
        channel_means: std::collections::BTreeMap::new(),
        by_speed: BTreeMap::new(),
        worked_out: BTreeMap::new(),
        asked: mulebook::derive::Asked::default(),
        channels: BTreeSet::new(),
        refit_after: None,
        wear: BTreeMap::new(),
        doubts: mulebook::check::ChannelDoubts::default(),
    })
}

fn parts(kinds: &Kinds) -> Result<BTreeMap<String, Arc<Part>>, Trouble> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/book/parts");
    let mut parts = BTreeMap::new();
    for kind in fs::read_dir(folder)? {
        for file in fs::read_dir(kind?.path())? {
            let bytes = fs::read(file?.path())?;
            let root = yaml::read("part.yaml", &bytes).map_err(|finding| format!("{finding:?}"))?;
            if let Some(part) = bind::part("part.yaml", &root, kinds).0 {
                parts.insert(part.tag.clone(), Arc::new(part));
            }
        }
    }
    Ok(parts)
}
