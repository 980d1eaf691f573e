//! The targets under libFuzzer, one at a time: `MULEBOOK_FUZZ_TARGET=delimited`; `all` lists them. With a folder in
//! `MULEBOOK_FUZZ_SEEDS` its seeds are written there instead. `fuzz/run` builds and runs it.
#![no_main]

mod seeds;
mod targets;

use std::path::Path;
use std::process::exit;
use std::sync::OnceLock;

use targets::TARGETS;
use targets::Target;

libfuzzer_sys::fuzz_target!(init: begin(), |bytes: &[u8]| {
    let _ = (target().run)(bytes);
});

fn begin() {
    // A panic of a reader that is not ours is caught and told as a damaged file; only one that gets out of a target is a
    // fault, so the hook that ends the run at once is taken off.
    std::panic::set_hook(Box::new(|_| {}));
    let name = target().name;
    let Ok(folder) = std::env::var("MULEBOOK_FUZZ_SEEDS") else { return };
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/fixtures/raw");
    let written = seeds::seeds(name, &corpus).and_then(|seeds| {
        seeds.iter().enumerate().try_for_each(|(number, bytes)| {
            std::fs::write(Path::new(&folder).join(format!("seed-{number:03}")), bytes)
        })
    });
    match written {
        Ok(()) => exit(0),
        Err(error) => {
            eprintln!("the seeds of {name} could not be written to {folder}: {error}");
            exit(1)
        }
    }
}

fn target() -> &'static Target {
    static CHOSEN: OnceLock<&'static Target> = OnceLock::new();
    CHOSEN.get_or_init(|| {
        let name = std::env::var("MULEBOOK_FUZZ_TARGET").unwrap_or_default();
        TARGETS.iter().find(|target| target.name == name).unwrap_or_else(|| {
            for target in TARGETS {
                println!("{}", target.name);
            }
            exit(if name == "all" { 0 } else { 2 })
        })
    })
}
