//! Writes a book of many pulls as a shop would have come to it, commit by commit, through `git fast-import`.
//!
//! Each session is three commits or more: the session with the builds and parts that are new to it, the pulls on its
//! first build, the pulls on its second; after every tenth session a header is measured again. The same call writes the same book.

use std::io::BufWriter;
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::process::Stdio;

use crate::records;
use crate::records::File;
use crate::records::SESSION;
use crate::records::Shop;

/// Parts that change from build to build.
const COPIED: [(&str, &str); 8] = [
    ("header", "long-1"),
    ("cylinder-head", "h2"),
    ("camshaft", "cams-5"),
    ("intake", "trumpets-90"),
    ("head-gasket", "hg-31"),
    ("plugs", "plugs-3"),
    ("oil", "fill-12"),
    ("fuel", "drum-7"),
];
/// Sessions between one header measured again and the next.
const AGAIN: usize = 10;
const FIRST_COMMIT: u64 = 1_775_000_000;
const DAY: u64 = 86_400;

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// Makes the book at a folder that is not there yet: so many pulls, and about so many parts.
pub(crate) fn write(folder: &Path, pulls: usize, parts: usize) -> Outcome<()> {
    std::fs::create_dir(folder)?;
    let git = |words: &[&str]| -> Outcome<()> {
        let done = Command::new("git").args(words).current_dir(folder).stdout(Stdio::null()).status()?;
        if done.success() { Ok(()) } else { Err(format!("git {} failed", words.join(" ")).into()) }
    };
    git(&["init", "--quiet", "--initial-branch=main"])?;
    let mut import = Command::new("git")
        .args(["fast-import", "--quiet", "--date-format=raw", "--force"])
        .current_dir(folder)
        .stdin(Stdio::piped())
        .spawn()?;
    let pipe = import.stdin.take().ok_or("no way to git fast-import")?;
    let mut stream = Stream { out: BufWriter::new(pipe), commits: 0 };
    history(&mut stream, pulls, parts)?;
    stream.out.write_all(b"done\n")?;
    stream.out.into_inner()?;
    if !import.wait()?.success() {
        return Err("git fast-import failed".into());
    }
    git(&["repack", "-a", "-d", "--quiet"])?;
    git(&["reset", "--hard", "--quiet"])
}

fn history(stream: &mut Stream, pulls: usize, parts: usize) -> Outcome<()> {
    let base = Shop::base()?;
    let fixed = base.iter().filter(|(path, _)| path.starts_with("parts/")).count();
    let shop = Shop::new(&COPIED, parts.saturating_sub(fixed).div_ceil(COPIED.len()).max(1))?;
    stream.commit(0, "The shop as it begins", &base)?;
    let (mut builds, mut copies) = (0, 0);
    for first in (0..pulls).step_by(SESSION) {
        let day = (first / SESSION) as u64 + 1;
        let last = (first + SESSION).min(pulls) - 1;
        let mut files = vec![records::session(first)?];
        while builds <= records::build_of(last) {
            // A copy comes with the build that uses it first.
            if copies < shop.copies() {
                files.extend(shop.parts(copies));
                copies += 1;
            }
            files.push(shop.build(builds));
            builds += 1;
        }
        stream.commit(day, &format!("Session {}", first / SESSION), &files)?;
        for build in records::build_of(first)..=records::build_of(last) {
            let mut files = Vec::new();
            for pull in (first..=last).filter(|pull| records::build_of(*pull) == build) {
                files.extend(records::pull(pull)?);
            }
            stream.commit(day, &format!("Pulls on b{build}"), &files)?;
        }
        if (first / SESSION) % AGAIN == AGAIN - 1 {
            let (path, mut text) = shop.parts(copies - 1).swap_remove(0);
            text.extend_from_slice(
                format!("# looked at again after session {}\n", first / SESSION).as_bytes(),
            );
            stream.commit(day, "A header is looked at again", &[(path, text)])?;
        }
    }
    while copies < shop.copies() {
        stream.commit((pulls / SESSION) as u64 + 2, "Parts in store", &shop.parts(copies))?;
        copies += 1;
    }
    Ok(())
}

/// Commits as `git fast-import` reads them.
struct Stream {
    out: BufWriter<std::process::ChildStdin>,
    commits: u64,
}

impl Stream {
    fn commit(&mut self, day: u64, message: &str, files: &[File]) -> std::io::Result<()> {
        let when = FIRST_COMMIT + day * DAY + self.commits % DAY;
        write!(self.out, "commit refs/heads/main\ncommitter M. Kessel <mk@example.org> {when} +0000\n")?;
        write!(self.out, "data {}\n{message}\n", message.len())?;
        self.commits += 1;
        for (path, bytes) in files {
            write!(self.out, "M 100644 inline {path}\ndata {}\n", bytes.len())?;
            self.out.write_all(bytes)?;
            self.out.write_all(b"\n")?;
        }
        Ok(())
    }
}
