//! Work a claim out again from verified bytes alone, in a private book of our own making, and hold every figure against
//! what was said.

use std::collections::BTreeMap;
use std::fmt;
use std::io::Read;
use std::path::Path;

use serde_json::Value as Json;

use crate::answer::ClaimAnswer;
use crate::finding::Finding;
use crate::store::Author;
use crate::store::Book;
use crate::store::Temporary;
use crate::store::Time;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::claim::no_claim;
use crate::workflow::claim_standing;
use crate::workflow::claim_standing::Version;
use crate::workflow::dossier_index::is_schema_copy;

/// Figures that differ by no more than this share of the larger are the same: what platforms may differ by.
const SAME: f64 = 1e-9;
/// What does not belong to the claim but to where it was weighed.
const OF_THE_BOOK: [&str; 3] = ["commit", "pending", "next"];

/// Where raw files come from.
pub(super) trait RawSource {
    /// Hands a raw file's bytes over, and says afterwards whether they were those.
    ///
    /// # Errors
    /// It is not there, or not what it should be.
    fn with(
        &mut self,
        sha256: &str,
        take: &mut dyn FnMut(&mut dyn Read) -> Result<(), Failure>,
    ) -> Result<(), Failure>;
}

/// A private book, gone when it is dropped.
pub(super) struct Scratch {
    pub(super) book: Book,
    _folder: Temporary,
}

/// Lays a private book out from records and raw files.
///
/// # Errors
/// A path that no book has, a raw file that is not what it should be, or the disk.
pub(super) fn lay_out(
    context: &Context,
    temporary: &Path,
    records: &BTreeMap<String, Vec<u8>>,
    raw: &[String],
    source: &mut dyn RawSource,
) -> Result<Scratch, Failure> {
    let folder = Temporary::make(temporary)?;
    let author = Author { name: "mulebook".to_owned(), email: String::new() };
    let time = Time { seconds: 0, offset: 0 };
    // Their schemas are not ours to go by: this program's own win.
    let files: Vec<(String, Vec<u8>)> = records
        .iter()
        .filter(|(path, _)| !is_schema_copy(path))
        .map(|(path, bytes)| (path.clone(), bytes.clone()))
        .collect();
    let book = Book::create(&folder.join("book"), &files, &author, time, "Records")?;
    if !raw.is_empty() {
        let mut writing = book.write(context.holder())?;
        for (number, sha256) in raw.iter().enumerate() {
            (context.progress)("laying out raw files", number as u64, Some(raw.len() as u64));
            source.with(sha256, &mut |reader| {
                // None of them goes into git: nothing but these bytes is asked for again.
                let taken = writing.take_raw(reader, 0, &mut |_| {})?;
                if taken.sha256 == *sha256 {
                    return Ok(());
                }
                Err(Failure::damaged(
                    Finding::error("raw-differs", "a raw file is not the one that was named")
                        .found(format!("SHA-256 {}", taken.sha256))
                        .expected(sha256.clone()),
                ))
            })?;
        }
        writing.put("raw-files.txt", (raw.join("\n") + "\n").as_bytes())?;
        writing.commit("Raw files", &author, time)?;
    }
    Ok(Scratch { book, _folder: folder })
}

impl Scratch {
    /// The claim weighed again; its versions come from elsewhere, since this book has no history.
    ///
    /// # Errors
    /// It cannot be weighed from what is here.
    pub(super) fn claim(&self, tag: &str, versions: &[Version]) -> Result<ClaimAnswer, Failure> {
        let library = Library::at_head(&self.book)?;
        let claim = library.claim(tag)?.ok_or_else(|| no_claim(&library, tag))?;
        let pulls = claim_standing::pulls_of(&self.book, &library, &claim.terms)?;
        claim_standing::judge(&self.book, &library, &claim, &pulls, versions)
    }
}

/// A figure or word that came out otherwise.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Moved {
    /// Where it stands in the answer.
    pub(super) at: String,
    /// What was said.
    pub(super) said: String,
    /// What came out.
    pub(super) found: String,
}

impl fmt::Display for Moved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: said {}, found {}", self.at, self.said, self.found)
    }
}

/// What differs between two answers to one claim.
///
/// # Errors
/// An answer cannot be written as JSON.
pub(super) fn moved_between(said: &ClaimAnswer, found: &ClaimAnswer) -> Result<Vec<Moved>, Failure> {
    let json = |answer: &ClaimAnswer| {
        serde_json::to_value(answer)
            .map_err(|error| Failure::from(Finding::error("not-recomputable", error.to_string())))
    };
    Ok(moved(&json(said)?, &json(found)?).0)
}

/// What differs between two answers as JSON, and how many numbers were held against each other.
pub(super) fn moved(said: &Json, found: &Json) -> (Vec<Moved>, usize) {
    let mut comparing = Comparing { moved: Vec::new(), numbers: 0 };
    comparing.values("", said, found);
    (comparing.moved, comparing.numbers)
}

struct Comparing {
    moved: Vec<Moved>,
    numbers: usize,
}

impl Comparing {
    fn values(&mut self, at: &str, said: &Json, found: &Json) {
        match (said, found) {
            (Json::Number(a), Json::Number(b)) => {
                self.numbers += 1;
                let (a, b) = (a.as_f64().unwrap_or(f64::NAN), b.as_f64().unwrap_or(f64::NAN));
                if !same(a, b) {
                    self.tell(at, said, found);
                }
            }
            (Json::Object(a), Json::Object(b)) => {
                let of_the_book =
                    |key: &str| OF_THE_BOOK.contains(&key) && (at.is_empty() || at == "weighing");
                let mut names: Vec<&String> = a.keys().chain(b.keys()).collect();
                names.sort_unstable();
                names.dedup();
                for name in names.into_iter().filter(|name| !of_the_book(name)) {
                    // The envelope of an answer that was written, not of one that was worked out.
                    if at.is_empty() && (name == "answer" || name == "version") {
                        continue;
                    }
                    let inner = if at.is_empty() { name.clone() } else { format!("{at}.{name}") };
                    let null = Json::Null;
                    self.values(&inner, a.get(name).unwrap_or(&null), b.get(name).unwrap_or(&null));
                }
            }
            (Json::Array(a), Json::Array(b)) if a.len() == b.len() => {
                for (index, (a, b)) in a.iter().zip(b).enumerate() {
                    self.values(&format!("{at}.{index}"), a, b);
                }
            }
            (a, b) if a == b => {}
            _ => self.tell(at, said, found),
        }
    }

    fn tell(&mut self, at: &str, said: &Json, found: &Json) {
        self.moved.push(Moved { at: at.to_owned(), said: short(said), found: short(found) });
    }
}

fn same(a: f64, b: f64) -> bool {
    // Below this nothing is told: a difference of two figures that cancel carries the noise of both.
    const NOTHING: f64 = 1e-12;
    (a - b).abs() <= SAME * a.abs().max(b.abs()) || a.abs().max(b.abs()) < NOTHING
}

fn short(value: &Json) -> String {
    const MOST: usize = 80;
    let text = match value {
        Json::Null => "nothing".to_owned(),
        Json::String(text) => text.clone(),
        other => other.to_string(),
    };
    if text.chars().count() <= MOST { text } else { text.chars().take(MOST).chain("…".chars()).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn figures_are_held_against_each_other_one_by_one() {
        let said = json!({"answer": "claim", "version": 1, "commit": "a", "weighing": {"commit": "a",
            "difference": {"value": 5.2, "lower": 2.0}, "words": ["x"]}});
        let same = json!({"commit": "b", "weighing": {"commit": "b",
            "difference": {"value": 5.2 * (1.0 + 1e-10), "lower": 2.0}, "words": ["x"]}});
        assert_eq!(moved(&said, &same), (Vec::new(), 2));
        let other = json!({"commit": "b", "weighing": {"commit": "b",
            "difference": {"value": 5.3, "lower": 2.0, "upper": 9}, "words": ["y"]}});
        let told: Vec<String> = moved(&said, &other).0.iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "weighing.difference.upper: said nothing, found 9",
                "weighing.difference.value: said 5.2, found 5.3",
                "weighing.words.0: said x, found y",
            ]
        );
    }
}
