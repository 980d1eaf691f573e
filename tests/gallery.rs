//! `docs/gallery` shows what the program writes: real pages of the demo's book.
//!
//! Commit ids and hashes are left out, as any word of a shipped schema changes them. After a change that is meant:
//! `UPDATE_GALLERY=1 cargo test --test gallery`, and read the differences.
#![expect(clippy::disallowed_methods, reason = "files on disk are compared")]

#[path = "support/gallery.rs"]
mod gallery;

use std::fs;
use std::path::Path;

/// A page without what changes from book to book: hexadecimal ids of 12, 16 and 64 digits.
fn without_ids(html: &str) -> String {
    let mut out = String::with_capacity(html.len());
    for piece in html.split_inclusive(|c: char| !c.is_ascii_alphanumeric()) {
        let word = piece.trim_end_matches(|c: char| !c.is_ascii_alphanumeric());
        let is_id = matches!(word.len(), 12 | 16 | 64)
            && word.chars().all(|c| c.is_ascii_hexdigit() && !c.is_ascii_uppercase());
        out.push_str(if is_id { "[id]" } else { word });
        out.push_str(&piece[word.len()..]);
    }
    out
}

#[test]
fn the_gallery_is_what_the_program_writes() {
    let folder = tempfile::tempdir().expect("a folder for the book");
    let book = gallery::book(folder.path());
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/gallery");
    let update = std::env::var_os("UPDATE_GALLERY").is_some();
    let mut unlike = Vec::new();
    for page in &gallery::PAGES {
        let html = gallery::written(&book, page, folder.path());
        assert!(html.len() < 400_000, "{} has {} bytes", page.name, html.len());
        for word in ["http", "src=", "url(", "@import", "onclick"] {
            assert!(!html.contains(word), "{}: {word}", page.name);
        }
        let path = kept.join(format!("{}.html", page.name));
        let known = fs::read_to_string(&path).unwrap_or_default();
        if without_ids(&html) == without_ids(&known) {
            continue;
        }
        if update {
            fs::write(&path, &html).expect("the gallery can be written");
        } else {
            unlike.push(page.name);
        }
    }
    assert!(
        unlike.is_empty(),
        "{unlike:?} differ: UPDATE_GALLERY=1 cargo test --test gallery, then read the difference"
    );
}

#[test]
fn ids_are_left_out_and_nothing_else() {
    assert_eq!(without_ids("at 104c737492e0, rpm 3000; abcdef"), "at [id], rpm 3000; abcdef");
}
