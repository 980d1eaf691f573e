//! Pages under tools that are not ours: a browser (Chromium, driven by playwright-core), an HTML checker (html-validate)
//! and an accessibility checker (axe-core), all from the registry of npm at pinned versions.
//!
//! With script and without, at 360, 800 and 1400 px, printed on A4 and Letter, against reference pictures with a
//! tolerance. `UPDATE_PICTURES=1 cargo test --test outside pages` takes the pictures anew; look at them before they are
//! committed. What fails leaves its picture under `target/outside/pages`.
#![expect(
    clippy::disallowed_methods,
    reason = "a test lays out pages for a browser; the reason for leaving it out is shown"
)]

use crate::gallery;
use crate::outside;

use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

use serde_json::Value as Json;
use serde_json::json;

/// Text that tries to break a page, as a record may hold it.
fn hostile() -> String {
    format!(
        "</style></script><script>document.title='broken'</script><img src=x onerror=alert(1)> \\\" ' & \\u202Eturned \
         \u{5e9}\u{5dc}\u{5d5}\u{5dd} \u{1f3c1}\u{1f469}\u{200d}\u{1f527} {}",
        "w".repeat(400)
    )
}

fn hostile_page(book: &Path, to: &Path) -> PathBuf {
    let note = hostile();
    let part = format!(
        "part: sp-66\nkind: spacer\nname: \"{note}\"\nserial: \"<b>1</b>\"\nstates:\n  - state: a\n    since: 2026-04-01\n    how: \"{note}\"\n    figures: {{}}\n"
    );
    fs::write(book.join("parts/spacer/sp-66.yaml"), part).expect("the book can be written");
    for arguments in [
        ["keep", "-m", "from elsewhere", ""].as_slice(),
        ["build", "b10", "--from", "b8", "--set", "spacer=sp-66/a", "--note", &note].as_slice(),
    ] {
        let arguments: Vec<&str> = arguments.iter().copied().filter(|word| !word.is_empty()).collect();
        let output = gallery::run(book, &arguments, "");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }
    let file = to.join("hostile.html");
    let output = gallery::run(book, &["page", "b10", "--out", &file.display().to_string()], "");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    file
}

#[test]
fn pages_hold_in_a_browser_and_under_checkers() {
    let (modules, chromium) = match (outside::node_modules("pages"), outside::chromium()) {
        (Ok(modules), Ok(chromium)) => (modules, chromium),
        (Err(missing), _) | (_, Err(missing)) => {
            assert!(std::env::var_os("CI").is_none(), "pages in a browser: {missing}");
            outside::left_out(&format!("pages in a browser, as {missing}"));
            return;
        }
    };
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let shown = root.join("target/outside/pages/shown");
    // What an earlier run left is not to pass for this one's.
    let _ = fs::remove_dir_all(&shown);
    fs::create_dir_all(&shown).expect("target/ can be written");
    let folder = tempfile::tempdir().expect("a folder for the book");
    let book = gallery::book(folder.path());
    let mut pages: Vec<Json> = Vec::new();
    for page in &gallery::PAGES {
        gallery::written(&book, page, &shown);
        pages.push(json!({
            "name": page.name,
            "file": shown.join(format!("{}.html", page.name)),
            "sheets": [page.sheets.0, page.sheets.1],
            "words": page.words,
            "picture": page.pictures,
        }));
    }
    pages.push(json!({
        "name": "hostile",
        "file": hostile_page(&book, &shown),
        "sheets": null,
        "words": ["<script>document.title='broken'</script>", "<b>1</b>"],
    }));
    let plan = json!({
        "references": root.join("docs/gallery"),
        "plots": root.join("tests/outside/pages/plots"),
        "shown": shown,
        "update": std::env::var_os("UPDATE_PICTURES").is_some(),
        "pages": pages,
    });
    let plan_file = shown.join("plan.json");
    fs::write(&plan_file, plan.to_string()).expect("target/ can be written");
    let arguments: [&OsStr; 3] = [chromium.as_os_str(), plan_file.as_os_str(), modules.as_os_str()];
    let lines = outside::node("pages/check.mjs", &arguments);
    let mut faults = Vec::new();
    for line in &lines {
        for fault in line["faults"].as_array().expect("a list of faults") {
            faults.push(format!("{}, {}: {}", line["page"], line["what"], fault));
        }
    }
    // Each page: the HTML checker, three widths, two colour schemes, read-outs, no script.
    assert!(lines.len() >= 8 * pages.len(), "{} lines for {} pages", lines.len(), pages.len());
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
