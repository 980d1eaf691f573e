//! A booklet: the sheets of many pulls, with an index of their parts.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::Booklet;
use crate::answer::BookletPart;
use crate::answer::BookletTest;
use crate::answer::PageMark;
use crate::answer::SheetAnswer;
use crate::finding::Finding;
use crate::store::Book;
use crate::store::digest;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::sheet;
use crate::workflow::sheet::SheetRequest;
use crate::workflow::weigh_pulls;

/// Gathers the sheets of every pull that the names mean, those set aside among them; `json` makes a sheet's answer.
///
/// # Errors
/// A name means nothing, no pull is meant, or a record does not hold.
pub fn gather(
    book: &Book,
    asked: &[String],
    step_rpm: u32,
    json: &dyn Fn(&SheetAnswer) -> String,
) -> Result<(Booklet, PageMark), Failure> {
    let library = Library::at_head(book)?;
    let ids = weigh_pulls::named(book, &library, asked)?;
    let mut all = Vec::new();
    let mut answers = Vec::new();
    for id in ids {
        let request = SheetRequest { about: id, step_rpm, ..SheetRequest::default() };
        let sheet = sheet::of_library(book, &library, &request)?;
        let answer = json(&sheet);
        let mark = PageMark {
            book: library.page().name.clone(),
            about: format!("sheet of the pull {}", sheet.name),
            commit: sheet.commit.clone(),
            sha256: digest(answer.as_bytes()),
            command: format!("mulebook sheet {} --json", sheet.name),
            pending: sheet.pending.clone(),
            known: None,
        };
        all.push((BookletTest { sheet, mark }, answer));
    }
    if all.is_empty() {
        return Err(Failure::usage(
            Finding::error("no-pulls", "no pull is meant, so there is no booklet")
                .found(asked.join(" "))
                .next("`mulebook find pulls` shows what there is"),
        ));
    }
    all.sort_by(|(a, _), (b, _)| (&a.sheet.on, &a.sheet.name).cmp(&(&b.sheet.on, &b.sheet.name)));
    let mut tests = Vec::with_capacity(all.len());
    for (test, answer) in all {
        tests.push(test);
        answers.extend_from_slice(answer.as_bytes());
    }
    let pending: BTreeSet<String> = tests.iter().flat_map(|test| test.mark.pending.iter().cloned()).collect();
    let mark = PageMark {
        pending: pending.into_iter().collect(),
        known: None,
        book: library.page().name.clone(),
        about: format!("booklet of {} tests", tests.len()),
        commit: library.commit().short(),
        sha256: digest(&answers),
        command: "mulebook sheet PULL --json, for each test in this order".to_owned(),
    };
    let parts = parts(&tests);
    Ok((Booklet { asked: asked.to_vec(), tests, parts }, mark))
}

fn parts(tests: &[BookletTest]) -> Vec<BookletPart> {
    let mut parts: BTreeMap<String, (String, Vec<usize>)> = BTreeMap::new();
    for (at, test) in tests.iter().enumerate() {
        for part in test.sheet.roles.iter().filter_map(|role| role.part.as_ref()) {
            let found = parts
                .entry(format!("{}/{}", part.part, part.state))
                .or_insert_with(|| (part.kind.clone(), Vec::new()));
            if found.1.last() != Some(&at) {
                found.1.push(at);
            }
        }
    }
    parts.into_iter().map(|(part, (kind, tests))| BookletPart { part, kind, tests }).collect()
}
