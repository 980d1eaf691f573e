//! Runs reference scripts in a Python environment of their own, under `target/outside`.
//!
//! The environment is made once from `tests/outside/requirements.txt` and made again when that file changes.
//! Where Python or the network is missing the comparison is left out, with one line that says what is
//! missing; where the environment variable `CI` is set it fails instead.
#![allow(dead_code, reason = "each test program uses its own part of it")]
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::print_stderr,
    reason = "a test's reference program is started and its environment built on disk; the reason for leaving it out is shown"
)]

use std::ffi::OsStr;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use sha2::{Digest, Sha256};

/// The lines of JSON that `tests/outside/<script>` prints, or none where the reference cannot be run here.
pub(crate) fn lines(script: &str) -> Option<Vec<serde_json::Value>> {
    lines_of(script, &[])
}

/// The same, with arguments for the script.
pub(crate) fn lines_of(script: &str, arguments: &[&OsStr]) -> Option<Vec<serde_json::Value>> {
    let python = match python() {
        Ok(python) => python,
        Err(missing) => return left_out(script, missing),
    };
    let path = root().join("tests/outside").join(script);
    let output = match Command::new(python).arg("-I").arg(&path).args(arguments).output() {
        Ok(output) => output,
        Err(error) => {
            return left_out(script, &format!("the Python environment does not start ({error})"));
        }
    };
    // From here on trouble is a fault of the script, never of the place.
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{script} failed: {errors}");
    let text = String::from_utf8(output.stdout).expect("the script prints UTF-8");
    let lines: Vec<serde_json::Value> = text
        .lines()
        .map(|line| {
            serde_json::from_str(line).unwrap_or_else(|error| panic!("{script} printed {line:?}: {error}"))
        })
        .collect();
    assert!(!lines.is_empty(), "{script} printed nothing");
    Some(lines)
}

fn left_out<T>(script: &str, missing: &str) -> Option<T> {
    assert!(std::env::var_os("CI").is_none(), "{script}: {missing}");
    eprintln!("left out: comparison with {script}, as {missing}");
    None
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The environment's Python, made at most once in a run.
fn python() -> Result<&'static Path, &'static str> {
    static PYTHON: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    PYTHON.get_or_init(prepare).as_ref().map(PathBuf::as_path).map_err(String::as_str)
}

fn prepare() -> Result<PathBuf, String> {
    let outside = root().join("target/outside");
    let requirements = root().join("tests/outside/requirements.txt");
    let text = fs::read(&requirements)
        .map_err(|error| format!("{} cannot be read ({error})", requirements.display()))?;
    let key: String = Sha256::digest(&text).iter().map(|byte| format!("{byte:02x}")).collect();
    fs::create_dir_all(&outside).map_err(|error| format!("target/outside cannot be made ({error})"))?;
    // Held until this function ends, so that two test programs do not build at once.
    let lock = File::create(outside.join("lock"))
        .map_err(|error| format!("target/outside cannot be locked ({error})"))?;
    lock.lock().map_err(|error| format!("target/outside cannot be locked ({error})"))?;
    let venv = outside.join("venv");
    let python = if cfg!(windows) { venv.join("Scripts/python.exe") } else { venv.join("bin/python") };
    let stamp = venv.join("requirements.sha256");
    if fs::read_to_string(&stamp).is_ok_and(|found| found == key) && python.exists() {
        return Ok(python);
    }
    if venv.exists() {
        fs::remove_dir_all(&venv)
            .map_err(|error| format!("the old environment cannot be removed ({error})"))?;
    }
    run("python3 with its venv module", Command::new("python3").args(["-m", "venv"]).arg(&venv))?;
    let mut install = Command::new(&python);
    install
        .args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--requirement"])
        .arg(&requirements);
    run("the network or a package for pip", &mut install)?;
    fs::write(&stamp, &key)
        .map_err(|error| format!("the environment's stamp cannot be written ({error})"))?;
    Ok(python)
}

fn run(needs: &str, command: &mut Command) -> Result<(), String> {
    match command.output() {
        Ok(output) if output.status.success() => Ok(()),
        Ok(output) => {
            let text = String::from_utf8_lossy(&output.stderr);
            let last = text.lines().rev().find(|line| !line.trim().is_empty()).unwrap_or("no message");
            Err(format!("{needs} is missing ({last})"))
        }
        Err(error) => Err(format!("{needs} is missing ({error})")),
    }
}
