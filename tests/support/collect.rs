//! What the tests of the program made, laid out for a second look by a validator in another language:
//! `target/outside/answers/<answer>/<name>.json` and the demo's book under `target/outside/book`.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

fn outside() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("target/outside")
}

/// Keeps one JSON answer, under the name of its shape.
pub(crate) fn answer(shape: &str, name: &str, json: &str) {
    let folder = outside().join("answers").join(shape);
    fs::create_dir_all(&folder).expect("target/ can be written");
    fs::write(folder.join(format!("{name}.json")), json).expect("target/ can be written");
}

/// Keeps the manifests and schemas of a book, its folders as they are.
pub(crate) fn book(root: &Path) {
    let to = outside().join("book");
    if to.exists() {
        fs::remove_dir_all(&to).expect("target/ can be written");
    }
    copy(root, &to, &|name| !matches!(name, ".git" | "raw" | "raw-large"));
}

/// Copies a folder with everything in it whose name is wanted.
pub(crate) fn copy(from: &Path, to: &Path, wanted: &dyn Fn(&str) -> bool) {
    fs::create_dir_all(to).expect("a folder can be made");
    for entry in fs::read_dir(from).expect("the folder is there") {
        let entry = entry.expect("a readable folder");
        let name = entry.file_name();
        if !wanted(&name.to_string_lossy()) {
            continue;
        }
        let target = to.join(&name);
        if entry.file_type().expect("a readable entry").is_dir() {
            copy(&entry.path(), &target, wanted);
        } else {
            fs::copy(entry.path(), target).expect("a file can be copied");
        }
    }
}
