//! Run numbers of a session that no pull has: its own order, and the numbers that a console gives its files.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::answer::GapsAnswer;
use crate::answer::RunGap;
use crate::answer::RunGapLine;
use crate::finding::Finding;
use crate::manifest::emit::Piece;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::names;

/// A console counts by one; a number further on than this is a date or a time in a file's name.
const FURTHEST: u64 = 20;

/// The order numbers of a session up to its last pull that no pull has.
///
/// # Errors
/// The session does not hold.
pub(super) fn orders(library: &Library, session: &str) -> Result<Vec<RunGapLine>, Failure> {
    let there = names::in_session(library.pull_paths()?, session);
    let skipped = library.session(session)?.map(|session| session.skipped.clone()).unwrap_or_default();
    let last = there.keys().next_back().copied().unwrap_or(0);
    let gaps = (1..=last).filter(|order| !there.contains_key(order)).map(|order| RunGapLine {
        session: session.to_owned(),
        order,
        because: skipped.get(&order).cloned(),
    });
    Ok(gaps.collect())
}

/// All run numbers of a session that no pull has, those of files too.
///
/// # Errors
/// A record does not hold.
pub(super) fn of_session(library: &Library, session: &str) -> Result<Vec<RunGap>, Failure> {
    let record = library.session(session)?;
    let said = record.map(|session| session.skipped_runs.clone()).unwrap_or_default();
    let mut gaps: Vec<RunGap> = orders(library, session)?
        .into_iter()
        .map(|gap| RunGap {
            run: gap.order.to_string(),
            close: close(session, &gap.order.to_string(), gap.because.as_deref()),
            because: gap.because,
        })
        .collect();
    let mut numbers: BTreeMap<(String, String), BTreeSet<u64>> = BTreeMap::new();
    for file in files(library, session, u32::MAX)? {
        if let Some(numbered) = Numbered::of(&file) {
            numbers.entry(numbered.around()).or_default().insert(numbered.number);
        }
    }
    for file in files(library, session, u32::MAX)? {
        let Some(numbered) = Numbered::of(&file) else { continue };
        let known = numbers.get(&numbered.around());
        for (number, run) in known.map(|known| numbered.missing(known)).unwrap_or_default() {
            // Where the console's number is the session's own, it is told once.
            if gaps.iter().any(|gap| gap.run == number.to_string()) {
                continue;
            }
            let because = said.get(&run).cloned();
            gaps.push(RunGap { close: close(session, &run, because.as_deref()), run, because });
        }
    }
    Ok(gaps)
}

fn close(session: &str, run: &str, because: Option<&str>) -> Option<String> {
    because.is_none().then(|| format!("mulebook correct {session} --set skipped={run} --because \"…\""))
}

/// The runs between a file and the one before it in its session that no pull of the session has, as files are called.
///
/// # Errors
/// A record does not hold.
pub(super) fn before(
    library: &Library,
    session: &str,
    order: u32,
    file: &str,
) -> Result<Vec<String>, Failure> {
    let Some(numbered) = Numbered::of(file) else { return Ok(Vec::new()) };
    let there = names::in_session(library.pull_paths()?, session);
    let known = files(library, session, order)?;
    let known = known.iter().filter_map(|file| Numbered::of(file));
    let alike: BTreeSet<u64> =
        known.filter(|other| other.around() == numbered.around()).map(|other| other.number).collect();
    // A number that the session's own order leaves out is told as that.
    let left_out = |number: u64| {
        u32::try_from(number).is_ok_and(|number| number < order && !there.contains_key(&number))
    };
    let missing = numbered.missing(&alike).into_iter().filter(|(number, _)| !left_out(*number));
    Ok(missing.map(|(_, run)| run).collect())
}

/// The tables of a session's pulls before one, by their order.
fn files(library: &Library, session: &str, before: u32) -> Result<Vec<String>, Failure> {
    let mut files: Vec<String> = Vec::new();
    for id in names::in_session(library.pull_paths()?, session).range(..before).map(|(_, id)| id) {
        let table = library.pull(id)?.and_then(|pull| pull.raw.into_iter().find(|raw| raw.columns.is_some()));
        files.extend(table.map(|raw| raw.file).filter(|file| !files.contains(file)));
    }
    Ok(files)
}

/// Writes down in a session's record why numbers have no pull, and why runs that the console counted were not entered.
///
/// # Errors
/// The session's record cannot be written.
pub(super) fn write_down(
    draft: &mut Draft<'_>,
    session: &str,
    orders: &[u32],
    runs: &[String],
    because: &str,
) -> Result<(), Failure> {
    if orders.is_empty() && runs.is_empty() {
        return Ok(());
    }
    let path = format!("sessions/{session}.yaml");
    let mut document = draft.document(&path)?;
    let line = |key: &str, piece: Piece| {
        Piece::Line(vec![(key.to_owned(), piece), ("because".to_owned(), Piece::text(because))])
    };
    for order in orders {
        document.append(&["skipped"], &line("order", Piece::Whole(i64::from(*order))))?;
    }
    for run in runs {
        document.append(&["skipped-runs"], &line("run", Piece::text(run)))?;
    }
    draft.put(&path, document.text())
}

/// Says of a session why a number or a run has no pull; several are joined by a plus sign.
///
/// # Errors
/// The session misses no such run, or says already why.
pub(super) fn correct(
    draft: &mut Draft<'_>,
    session: &str,
    (name, value): (&str, &str),
    because: &str,
) -> Result<String, Failure> {
    if name != "skipped" {
        return Err(Failure::usage(
            Finding::error("not-corrected-here", "of a session it is said which run numbers have no pull")
                .found(format!("`{name}`"))
                .expected("skipped=NUMBER or skipped=RUN")
                .next("edit the rest by hand and `mulebook keep` it"),
        ));
    }
    let known = of_session(draft.library(), session)?;
    let (mut orders, mut runs) = (Vec::new(), Vec::new());
    for run in value.split('+').map(str::trim) {
        match known.iter().find(|gap| gap.run == run) {
            Some(RunGap { because: None, .. }) => match run.parse() {
                Ok(order) => orders.push(order),
                Err(_) => runs.push(run.to_owned()),
            },
            found => {
                let open: Vec<&str> =
                    known.iter().filter(|gap| gap.because.is_none()).map(|gap| gap.run.as_str()).collect();
                let said = found.and_then(|gap| gap.because.clone());
                let why = said.map_or_else(
                    || "no such run is missing in this session".to_owned(),
                    |because| format!("somebody said why already: {because}"),
                );
                return Err(Failure::usage(
                    Finding::error("run-not-missing", why)
                        .found(format!("`{run}`"))
                        .expected(if open.is_empty() { "none is open".to_owned() } else { open.join(", ") }),
                ));
            }
        }
    }
    write_down(draft, session, &orders, &runs, because)?;
    Ok(format!("session {session}: {value} has no pull."))
}

/// What a session has to say of its run numbers.
///
/// # Errors
/// A record does not hold.
pub(super) fn gaps(library: &Library, session: &str) -> Result<GapsAnswer, Failure> {
    let runs = of_session(library, session)?;
    let next = match runs.iter().find_map(|run| run.close.clone()) {
        Some(close) => close,
        None => format!("mulebook sheet {session}-01"),
    };
    Ok(GapsAnswer { about: vec![session.to_owned()], runs: Some(runs), next, ..GapsAnswer::default() })
}

/// A file's name with the number that a console gave it: the last digits before its extension.
struct Numbered<'f> {
    head: &'f str,
    digits: &'f str,
    number: u64,
    tail: &'f str,
}

impl<'f> Numbered<'f> {
    fn of(file: &'f str) -> Option<Self> {
        let (stem, _) = file.rsplit_once('.').filter(|(stem, _)| !stem.is_empty()).unwrap_or((file, ""));
        let end = stem.trim_end_matches(|c: char| !c.is_ascii_digit()).len();
        let begin = stem.get(..end)?.trim_end_matches(|c: char| c.is_ascii_digit()).len();
        let digits = file.get(begin..end).filter(|digits| !digits.is_empty())?;
        let number = digits.parse().ok()?;
        Some(Self { head: file.get(..begin)?, digits, number, tail: file.get(end..)? })
    }

    /// What stands around the number.
    fn around(&self) -> (String, String) {
        (self.head.to_owned(), self.tail.to_owned())
    }

    /// The runs between the nearest lower number that is known and this one, as files are called but for their end.
    fn missing(&self, known: &BTreeSet<u64>) -> Vec<(u64, String)> {
        let Some(last) = known.range(..self.number).next_back() else { return Vec::new() };
        if self.number - last > FURTHEST {
            return Vec::new();
        }
        let stem = self.tail.rsplit_once('.').map_or(self.tail, |(stem, _)| stem);
        let width = self.digits.len();
        let run = |number: u64| (number, format!("{}{number:0width$}{stem}", self.head));
        (last + 1..self.number).map(run).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn missing(file: &str, known: &[u64]) -> Vec<String> {
        let known = known.iter().copied().collect();
        let missing = Numbered::of(file).map(|numbered| numbered.missing(&known)).unwrap_or_default();
        missing.into_iter().map(|(_, run)| run).collect()
    }

    #[test]
    fn a_console_counts_by_one() {
        assert_eq!(missing("run-06.csv", &[3, 4]), ["run-05"]);
        assert_eq!(missing("run-12.csv", &[9]), ["run-10", "run-11"]);
        assert_eq!(missing("run7_a.csv", &[5]), ["run6_a"]);
        assert_eq!(missing("run-05.csv", &[4]), Vec::<String>::new());
        // The first file of a session follows none; a date counts nothing.
        assert_eq!(missing("run-05.csv", &[]), Vec::<String>::new());
        assert_eq!(missing("log-20260412.csv", &[20_260_301]), Vec::<String>::new());
        for file in ["", ".", ".csv", "run.csv", "7", "ä9ö.csv", "99999999999999999999999.csv"] {
            assert_eq!(missing(file, &[]), Vec::<String>::new(), "{file}");
        }
    }
}
