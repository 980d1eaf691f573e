//! Runs reference scripts in a Python environment of their own, under `target/outside`.
//!
//! The environment is made once from `tests/outside/requirements.txt` and made again when that file changes.
//! Where Python or the network is missing the comparison is left out, with one line that says what is
//! missing; where the environment variable `CI` is set it fails instead.
#![allow(dead_code, reason = "each test program uses its own part of it")]
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "a test's reference program is started and its environment built on disk; the reason for leaving it out is shown"
)]

#[path = "left_out.rs"]
mod left_out;
#[allow(unused_imports, reason = "each test program uses its own part of it")]
pub(crate) use left_out::left_out;

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
        Err(missing) => return leave_out(script, missing),
    };
    let path = root().join("tests/outside").join(script);
    let output = match Command::new(python).arg("-I").arg(&path).args(arguments).output() {
        Ok(output) => output,
        Err(error) => {
            return leave_out(script, &format!("the Python environment does not start ({error})"));
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

fn leave_out<T>(script: &str, missing: &str) -> Option<T> {
    assert!(std::env::var_os("CI").is_none(), "{script}: {missing}");
    left_out(&format!("comparison with {script}, as {missing}"));
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

/// The folder of node modules of `tests/outside/<name>`, installed from its pinned lock file and again when that changes.
pub(crate) fn node_modules(name: &str) -> Result<PathBuf, String> {
    let from = root().join("tests/outside").join(name);
    let to = root().join("target/outside").join(name);
    fs::create_dir_all(&to).map_err(|error| format!("{} cannot be made ({error})", to.display()))?;
    let lock = File::create(to.join("lock"))
        .map_err(|error| format!("{} cannot be locked ({error})", to.display()))?;
    lock.lock().map_err(|error| format!("{} cannot be locked ({error})", to.display()))?;
    let pinned = fs::read(from.join("package-lock.json"))
        .map_err(|error| format!("the lock file of {name} cannot be read ({error})"))?;
    let key: String = Sha256::digest(&pinned).iter().map(|byte| format!("{byte:02x}")).collect();
    let (modules, stamp) = (to.join("node_modules"), to.join("package-lock.sha256"));
    if fs::read_to_string(&stamp).is_ok_and(|found| found == key) && modules.exists() {
        return Ok(modules);
    }
    for file in ["package.json", "package-lock.json"] {
        fs::copy(from.join(file), to.join(file))
            .map_err(|error| format!("{file} cannot be copied ({error})"))?;
    }
    let mut install = Command::new("npm");
    install.args(["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"]).current_dir(&to);
    run("node with npm, or the network for it,", &mut install)?;
    fs::write(&stamp, &key).map_err(|error| format!("the stamp of {name} cannot be written ({error})"))?;
    Ok(modules)
}

/// A Chromium that is installed here, or the one that the environment variable `CHROMIUM` names.
pub(crate) fn chromium() -> Result<PathBuf, String> {
    let named = std::env::var_os("CHROMIUM").map(PathBuf::from);
    let known = ["chromium", "chromium-browser", "google-chrome"];
    let folders = std::env::var_os("PATH").unwrap_or_default();
    let found = std::env::split_paths(&folders)
        .flat_map(|folder| known.map(|name| folder.join(name)))
        .find(|path| path.is_file());
    named.or(found).ok_or_else(|| "no Chromium is installed (Debian: apt-get install chromium)".to_owned())
}

/// The lines of JSON that `tests/outside/<script>` prints under node.
pub(crate) fn node(script: &str, arguments: &[&OsStr]) -> Vec<serde_json::Value> {
    let path = root().join("tests/outside").join(script);
    let output = Command::new("node").arg(&path).args(arguments).output().expect("npm ran, so node does");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{script} failed: {errors}");
    let text = String::from_utf8(output.stdout).expect("the script prints UTF-8");
    text.lines()
        .map(|line| {
            serde_json::from_str(line).unwrap_or_else(|error| panic!("{script} printed {line:?}: {error}"))
        })
        .collect()
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
