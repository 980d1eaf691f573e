//! Receipts: a numbered line that is handed or mailed to the sponsor on test day. Each holds the hash of the one before it, so
//! that none can be put in, left out or changed later without the others showing it.
//!
//! ```text
//! mulebook-receipt 2 commit 0b1c… head 9f86… before 2c26…
//! ```
//!
//! `commit` is the newest commit of the book, `head` the SHA-256 of that commit's own bytes (its id is SHA-1), `before` the
//! SHA-256 of the line of the receipt before, `none` in the first. Spaces may be line breaks, as mail makes them.

use std::fmt;

use sha2::Digest;
use sha2::Sha256;

use crate::evidence::history::{History, ObjectId};
use crate::evidence::name::{escaped, hexadecimal, is_hexadecimal};
use crate::finding::Finding;
use crate::finding::Place;

/// The word that every receipt begins with.
pub const RECEIPT: &str = "mulebook-receipt";
/// Longest text that is searched for receipts, in bytes.
const LONGEST: usize = 4 << 20;

/// A receipt. Its [`fmt::Display`] is the line that is handed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    /// Its number, from 1.
    pub number: u32,
    /// The newest commit of the book.
    pub commit: ObjectId,
    /// SHA-256 of that commit's bytes.
    pub head: String,
    /// SHA-256 of the line of the receipt before; `None` in the first.
    pub before: Option<String>,
}

impl fmt::Display for Receipt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let before = self.before.as_deref().unwrap_or("none");
        write!(f, "{RECEIPT} {} commit {} head {} before {before}", self.number, self.commit, self.head)
    }
}

impl Receipt {
    /// The receipt that follows another, or the first, for a commit and its bytes.
    pub fn after(before: Option<&Receipt>, commit: ObjectId, bytes: &[u8]) -> Self {
        Self {
            number: before.map_or(1, |before| before.number.saturating_add(1)),
            commit,
            head: hexadecimal(&Sha256::digest(bytes)),
            before: before.map(Receipt::hash),
        }
    }

    /// SHA-256 of its line, without a line break.
    pub fn hash(&self) -> String {
        hexadecimal(&Sha256::digest(self.to_string().as_bytes()))
    }

    /// Finds the receipts in a text: a file of lines, or the mails they came in.
    ///
    /// # Errors
    ///
    /// What begins as a receipt and is none; a text without any.
    pub fn find(name: &str, text: &str) -> Result<Vec<Self>, Vec<Finding>> {
        if text.len() > LONGEST {
            let finding = Finding::error("receipt-unreadable", "a file of receipts is longer than is read");
            return Err(vec![finding.at(Place::file(name)).expected(format!("at most {LONGEST} bytes"))]);
        }
        let words: Vec<(usize, &str)> = text
            .lines()
            .enumerate()
            .flat_map(|(at, line)| {
                line.split_whitespace().map(move |word| (at + 1, word.trim_start_matches('>')))
            })
            .filter(|(_, word)| !word.is_empty())
            .collect();
        let (mut receipts, mut wrong) = (Vec::new(), Vec::new());
        for (at, (line, word)) in words.iter().enumerate() {
            if *word != RECEIPT {
                continue;
            }
            let parts: Vec<&str> = words[at + 1..].iter().take(7).map(|(_, word)| *word).collect();
            match Self::parse(&parts) {
                Some(receipt) => receipts.push(receipt),
                None => wrong.push(
                    Finding::error("receipt-unreadable", "a receipt cannot be read")
                        .at(Place::file(name).line(*line))
                        .found(escaped(&parts.join(" ")))
                        .expected(format!("{RECEIPT} NUMBER commit ID head SHA-256 before SHA-256")),
                ),
            }
        }
        if receipts.is_empty() && wrong.is_empty() {
            let finding = Finding::error("receipt-none", "the file holds no receipt");
            wrong.push(finding.at(Place::file(name)).expected(format!("lines that begin with {RECEIPT}")));
        }
        if wrong.is_empty() { Ok(receipts) } else { Err(wrong) }
    }

    fn parse(parts: &[&str]) -> Option<Self> {
        let [number, "commit", commit, "head", head, "before", before] = parts else { return None };
        let plain = number.bytes().all(|b| b.is_ascii_digit()) && !number.starts_with('0');
        let number: u32 = number.parse().ok().filter(|_| plain)?;
        let before = match *before {
            "none" => None,
            hash => Some(hash.to_owned()),
        };
        let hashes = [Some(*head), before.as_deref()];
        let good = hashes.into_iter().flatten().all(|hash| is_hexadecimal(hash, 64));
        (good && (number == 1) == before.is_none()).then_some(())?;
        Some(Self { number, commit: ObjectId::parse(commit)?, head: (*head).to_owned(), before })
    }
}

/// What is wrong with receipts taken as a chain, in the order in which they were handed over.
///
/// Errors: a number left out, two receipts of one number, numbers out of order, a hash of the receipt before that is not its
/// hash. A chain that begins later than 1 is a doubt: what came before is not checked.
pub fn chain_findings(receipts: &[Receipt]) -> Vec<Finding> {
    let mut found = Vec::new();
    if let Some(first) = receipts.first().filter(|first| first.number > 1) {
        found.push(
            Finding::doubt(
                "receipt-begins-late",
                "the receipts before the first one at hand are not checked",
            )
            .found(format!("receipt {}", first.number))
            .expected("receipt 1"),
        );
    }
    for pair in receipts.windows(2) {
        let [before, after] = pair else { continue };
        let of = |finding: Finding, expected: String| {
            finding
                .found(format!("receipt {} after receipt {}", after.number, before.number))
                .expected(expected)
        };
        let next = before.number.saturating_add(1);
        if after == before {
            continue;
        } else if after.number == before.number {
            let finding = Finding::error(
                "receipt-fork",
                "two receipts of one number differ: the book has two histories",
            );
            found.push(of(finding, "one receipt of each number".to_owned()));
        } else if after.number < before.number {
            let finding = Finding::error("receipt-order", "the receipts are not in their order");
            found.push(of(finding, format!("receipt {next}")));
        } else if after.number > next {
            let finding =
                Finding::error("receipt-gap", "a receipt is missing: what the book held then is not known");
            found.push(of(finding, format!("receipt {next}")));
        } else if after.before != Some(before.hash()) {
            let finding = Finding::error("receipt-broken", "a receipt was not made on the one before it");
            found.push(of(finding, format!("made on {}", before.hash())));
        }
    }
    found
}

/// What is wrong with receipts beside the history of a dossier: commits that it does not contain, or in another order.
pub fn history_findings(receipts: &[Receipt], history: &History) -> Vec<Finding> {
    let mut found = Vec::new();
    for receipt in receipts {
        let head = history.commit(receipt.commit).map(|commit| hexadecimal(&Sha256::digest(&commit.bytes)));
        let finding = match head {
            Some(head) if head == receipt.head => continue,
            Some(head) => {
                Finding::error("receipt-head", "the commit of a receipt has other bytes in the dossier")
                    .found(format!("SHA-256 {head}"))
                    .expected(receipt.head.clone())
            }
            None => {
                Finding::error("receipt-not-contained", "the history does not hold the commit of a receipt")
                    .expected(receipt.commit.to_string())
                    .next("ask the shop for a dossier whose history reaches back to the receipt")
            }
        };
        found.push(finding.at(Place::file(format!("receipt {}", receipt.number))));
    }
    for pair in receipts.windows(2) {
        let [before, after] = pair else { continue };
        let both = [before, after].iter().all(|receipt| history.commit(receipt.commit).is_some());
        if both && !history.descends(after.commit, before.commit) {
            found.push(
                Finding::error(
                    "receipt-not-contained",
                    "a receipt's commit was not made on that of the receipt before it",
                )
                .at(Place::file(format!("receipt {}", after.number)))
                .expected(before.commit.to_string()),
            );
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chain(count: u8) -> Vec<Receipt> {
        let mut chain: Vec<Receipt> = Vec::new();
        for number in 1..=count {
            let bytes = [number];
            let id = ObjectId::of_file(&bytes).expect("an id");
            chain.push(Receipt::after(chain.last(), id, &bytes));
        }
        chain
    }

    fn codes(receipts: &[Receipt]) -> Vec<&'static str> {
        chain_findings(receipts).iter().map(|finding| finding.code).collect()
    }

    #[test]
    fn a_receipt_is_read_back_from_its_line_and_from_a_mail() {
        let chain = chain(3);
        let lines: String = chain.iter().map(|receipt| format!("{receipt}\n")).collect();
        assert_eq!(Receipt::find("r", &lines), Ok(chain.clone()));
        let mail: String = chain
            .iter()
            .map(|receipt| format!("> Hello,\n> {}\nregards\n", receipt.to_string().replace(' ', "\n> ")))
            .collect();
        assert_eq!(Receipt::find("r", &mail), Ok(chain));
    }

    #[test]
    fn what_is_no_receipt_is_told_with_its_line() {
        let good = chain(2)[1].to_string();
        let upper = good.to_uppercase().replace("MULEBOOK-RECEIPT", RECEIPT);
        for bad in [
            &good[..good.len() - 1],
            &good.replace("commit", "comit"),
            &good.replace(" 2 ", " 02 "),
            &good.replace(" 2 ", " 1 "),
            &upper,
        ] {
            let wrong = Receipt::find("r", &format!("\n{bad}\n")).expect_err(bad);
            assert_eq!(
                (wrong[0].code, wrong[0].place.as_ref().and_then(|place| place.line)),
                ("receipt-unreadable", Some(2))
            );
        }
        assert_eq!(Receipt::find("r", "nothing").expect_err("none")[0].code, "receipt-none");
    }

    #[test]
    fn gaps_forks_and_other_orders_are_told_apart() {
        let whole = chain(5);
        assert_eq!(codes(&whole), [""; 0]);
        assert_eq!(codes(&whole[2..]), ["receipt-begins-late"]);
        let mut gap = whole.clone();
        gap.remove(2);
        assert_eq!(codes(&gap), ["receipt-gap"]);
        let mut swapped = whole.clone();
        swapped.swap(2, 3);
        assert_eq!(codes(&swapped), ["receipt-gap", "receipt-order", "receipt-gap"]);
        let mut changed = whole.clone();
        changed[2].head = "0".repeat(64);
        assert_eq!(codes(&changed), ["receipt-broken"]);
        let mut fork = whole.clone();
        fork.insert(3, changed[2].clone());
        assert_eq!(codes(&fork), ["receipt-fork", "receipt-broken"]);
        let mut twice = whole;
        twice.insert(3, twice[2].clone());
        assert_eq!(codes(&twice), [""; 0], "the same line twice says nothing new");
    }
}
