//! How a claim stands: written before its pulls or not, changed since or not, within its scope or not, shown or not.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use chrono::DateTime;
use chrono::FixedOffset;

use crate::answer::CLAIM_REFUSED;
use crate::answer::CLAIM_SHOWN;
use crate::answer::ClaimAnswer;
use crate::answer::ClaimMended;
use crate::answer::ClaimTerm;
use crate::answer::ClaimTiming;
use crate::answer::ClaimVersionLine;
use crate::answer::ClaimWithdrawn;
use crate::answer::WeighAnswer;
use crate::answer::Weighed;
use crate::check::Side;
use crate::curves::CurveFigure;
use crate::manifest::bind;
use crate::manifest::yaml;
use crate::record::Claim;
use crate::record::Corrected;
use crate::record::Kinds;
use crate::record::Metric;
use crate::record::Moment;
use crate::record::Speeds;
use crate::record::Terms;
use crate::record::Tuning;
use crate::store::Book;
use crate::store::Time;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::claim::no_claim;
use crate::workflow::compare::pending_among;
use crate::workflow::gather;
use crate::workflow::library::claim_path;
use crate::workflow::library::folder_index;
use crate::workflow::library::folder_index::FolderIndex;
use crate::workflow::names::Named;
use crate::workflow::weigh;
use crate::workflow::weigh::WeighRequest;
use crate::workflow::weigh_pulls;

/// The claim of a name with its standing and, once there are pulls, its weighing.
///
/// # Errors
/// No claim is called so, it does not hold, or its pulls cannot be weighed.
pub fn claim(book: &Book, tag: &str) -> Result<ClaimAnswer, Failure> {
    let library = Library::at_head(book)?;
    let claim = library.claim(tag)?.ok_or_else(|| no_claim(&library, tag))?;
    let pulls = pulls_of(book, &library, &claim.terms)?;
    let versions = versions(book, &library, tag, &pulls)?;
    judge(book, &library, &claim, &pulls, &versions)
}

/// A claim judged on the pulls of a book; its versions come from the book's history or from a proof of one.
///
/// # Errors
/// Its pulls cannot be weighed.
pub(super) fn judge(
    book: &Book,
    library: &Library,
    claim: &Claim,
    pulls: &Pulls,
    versions: &[Version],
) -> Result<ClaimAnswer, Failure> {
    let timing = timing(claim, pulls, versions);
    let mut answer = told(claim, timing);
    answer.commit = library.commit().short();
    if pulls.is_empty() {
        answer.verdict = "no pulls yet";
        answer.verdict_says =
            "Nothing in the book answers to one of its sides yet, so nothing is shown.".to_owned();
        answer.next = format!("mulebook weigh --claim {}   once the pulls are in the book", claim.tag);
        answer.pending = pending_among(book, &library.touched())?;
        return Ok(answer);
    }
    let request = request_of(&claim.terms, window_beforehand(&answer.timing));
    let weighing = weigh::weigh_in(book, library, &request)?;
    answer.outside = outside(library, &claim.terms, &weighing)?;
    rule(&mut answer, claim, &weighing);
    answer.pending = match &weighing {
        WeighAnswer::Weighed(weighed) => weighed.pending.clone(),
        WeighAnswer::Refused(refused) => refused.pending.clone(),
        WeighAnswer::Planned(_) => Vec::new(),
    };
    answer.weighing = Some(weighing);
    answer.next = format!("mulebook weigh --claim {}   every figure behind the verdict", claim.tag);
    Ok(answer)
}

/// The pulls that a claim's sides mean, with the time each says it was run.
#[derive(Debug, Default)]
pub(super) struct Pulls {
    by_id: BTreeMap<String, Option<Moment>>,
}

impl Pulls {
    /// Whether a side has none yet.
    pub(super) fn is_empty(&self) -> bool {
        self.by_id.is_empty()
    }

    /// How many of them a version of the claim found in the book.
    fn there(&self, version: &Version) -> usize {
        self.by_id.keys().filter(|id| version.there.contains(*id)).count()
    }

    pub(super) fn ids(&self) -> impl Iterator<Item = &String> {
        self.by_id.keys()
    }
}

/// The pulls of both sides; none at all where nothing answers to one of them yet.
///
/// # Errors
/// A record does not hold, or a side is named wrongly.
pub(super) fn pulls_of(book: &Book, library: &Library, terms: &Terms) -> Result<Pulls, Failure> {
    let mut by_id = BTreeMap::new();
    for side in [&terms.base, &terms.test] {
        let ids = match weigh_pulls::named(book, library, side) {
            Ok(ids) => ids,
            Err(failure) if failure.findings.iter().all(|finding| finding.code == "not-found") => {
                return Ok(Pulls::default());
            }
            Err(failure) => return Err(failure),
        };
        if ids.is_empty() {
            return Ok(Pulls::default());
        }
        for id in ids {
            let at = library.pull(&id)?.and_then(|pull| pull.at);
            by_id.insert(id, at);
        }
    }
    Ok(Pulls { by_id })
}

/// One kept version of a claim.
#[derive(Debug)]
pub(super) struct Version {
    /// The commit, short.
    pub(super) commit: String,
    /// When it was made, by its own word.
    pub(super) time: Time,
    /// Who made it.
    pub(super) author: String,
    /// The first line of its message.
    pub(super) subject: String,
    /// What it said; none where that version does not hold.
    pub(super) claim: Option<Claim>,
    /// Pulls that were in the book; those of the claim are what counts.
    pub(super) there: BTreeSet<String>,
}

/// Every kept version of a claim on the book's line of commits, oldest first.
///
/// # Errors
/// The store's.
pub(super) fn versions(
    book: &Book,
    library: &Library,
    tag: &str,
    pulls: &Pulls,
) -> Result<Vec<Version>, Failure> {
    let path = claim_path(tag);
    let mut found = Vec::new();
    for change in book.log(&path)?.into_iter().rev().filter(|change| !change.removed) {
        let snapshot = book.snapshot(change.commit)?;
        let index = FolderIndex::of(&snapshot, folder_index::PULLS)?;
        found.push(Version {
            commit: change.commit.short(),
            time: change.time,
            author: change.author.name,
            subject: change.subject,
            claim: snapshot.read(&path)?.and_then(|bytes| read(library.kinds(), &path, &bytes)),
            there: pulls.ids().filter(|id| index.folder(id).is_some()).cloned().collect(),
        });
    }
    Ok(found)
}

/// A version of a claim as it stood; none where it does not hold.
pub(super) fn read(kinds: &Kinds, path: &str, bytes: &[u8]) -> Option<Claim> {
    yaml::read(path, bytes).ok().and_then(|root| bind::claim(path, &root, kinds).0)
}

fn timing(claim: &Claim, pulls: &Pulls, versions: &[Version]) -> ClaimTiming {
    let mut timing = ClaimTiming {
        written: "no-pulls-yet",
        says: String::new(),
        changed_afterwards: Vec::new(),
        altered: altered(versions),
        versions: versions
            .iter()
            .map(|version| ClaimVersionLine {
                commit: version.commit.clone(),
                on: moment(version.time),
                by: version.author.clone(),
                says: version.subject.clone(),
                pulls_there: pulls.there(version),
            })
            .collect(),
    };
    let kept = versions.first().map_or_else(String::new, |first| {
        format!("kept on {} in commit {}", moment(first.time), first.commit)
    });
    if pulls.is_empty() {
        timing.says = format!("{kept}, and nothing in the book answers to it yet");
        return timing;
    }
    // Run before the claim was kept, by the pull's own time: that it was entered later makes the claim no forecast.
    let run_before = |version: &Version| {
        pulls.by_id.iter().find(|(_, at)| {
            let at = at.as_ref().and_then(Moment::instant);
            at.is_some_and(|at| at.timestamp() < version.time.seconds)
        })
    };
    let beforehand =
        versions.iter().rev().find(|version| pulls.there(version) == 0 && run_before(version).is_none());
    let count = pulls.by_id.len();
    let Some(beforehand) = beforehand else {
        timing.written = "afterwards";
        timing.says = match versions.first() {
            Some(first) if pulls.there(first) == 0 => {
                let pull = run_before(first).map_or("a pull", |(id, _)| id.as_str());
                format!(
                    "{kept}, before its pulls were entered; but {pull} was run before that, by its own time"
                )
            }
            Some(first) => {
                format!("{kept}, when {} of its {count} pulls were in the book", pulls.there(first))
            }
            None => "no commit of the book's line keeps it".to_owned(),
        };
        return timing;
    };
    timing.changed_afterwards = match &beforehand.claim {
        Some(before) => {
            let mut changed: Vec<String> =
                before.terms.differing(&claim.terms).into_iter().map(str::to_owned).collect();
            if before.says != claim.says {
                changed.insert(0, "says".to_owned());
            }
            changed
        }
        None => vec!["all of it: that version does not hold".to_owned()],
    };
    if timing.changed_afterwards.is_empty() {
        timing.written = "before";
        timing.says = format!(
            "written before its {count} pulls, by the book's own clock: kept on {} in commit {}; to others only an \
             outside receipt proves it",
            moment(beforehand.time),
            beforehand.commit
        );
    } else {
        timing.written = "afterwards";
        timing.says = format!(
            "kept before its pulls, but changed once they were in the book: {}",
            timing.changed_afterwards.join(", ")
        );
    }
    timing
}

/// Terms that an edit altered in the record itself, past `correct`.
fn altered(versions: &[Version]) -> Vec<String> {
    let mut found = Vec::new();
    for pair in versions.windows(2) {
        let [before, after] = pair else { continue };
        let (Some(was), Some(now)) = (&before.claim, &after.claim) else { continue };
        for name in was.first_terms.differing(&now.first_terms) {
            found.push(format!("{name}, in commit {}", after.commit));
        }
    }
    found
}

/// Whether the speeds and the figure were kept before the pulls and are what is weighed.
fn window_beforehand(timing: &ClaimTiming) -> bool {
    let of_window = |name: &String| matches!(name.as_str(), "window" | "metric" | "step" | "smooth");
    let kept_before = timing.written == "before"
        || (!timing.changed_afterwards.is_empty() && !timing.changed_afterwards.iter().any(of_window));
    kept_before && !timing.changed_afterwards.iter().any(|name| name.starts_with("all of it"))
}

fn moment(time: Time) -> String {
    let zone = FixedOffset::east_opt(time.offset);
    let moment = DateTime::from_timestamp(time.seconds, 0).zip(zone);
    moment.map_or_else(String::new, |(moment, zone)| moment.with_timezone(&zone).to_rfc3339())
}

fn told(claim: &Claim, timing: ClaimTiming) -> ClaimAnswer {
    let first: BTreeMap<&str, String> = claim.first_terms.told().into_iter().collect();
    let terms = claim
        .terms
        .told()
        .into_iter()
        .map(|(name, says)| {
            let before = first.get(name).cloned().unwrap_or_else(|| "nothing".to_owned());
            ClaimTerm { name, first: (before != says).then_some(before), says }
        })
        .collect();
    let to = |to: &Corrected| match to {
        Corrected::Text(text) => text.clone(),
        Corrected::Role(answer) => answer.to_string(),
        Corrected::Figure(_) => String::new(),
    };
    ClaimAnswer {
        claim: claim.tag.clone(),
        says: claim.says.clone(),
        by: claim.by.clone(),
        on: claim.on.to_string(),
        made_to: claim.made_to.clone(),
        terms,
        corrected: claim
            .corrected
            .iter()
            .map(|mended| ClaimMended {
                set: mended.set.clone(),
                to: to(&mended.to),
                was: mended.was.clone(),
                because: mended.because.clone(),
                by: mended.by.clone(),
                on: mended.on.to_string(),
            })
            .collect(),
        withdrawn: claim.withdrawn.as_ref().map(|withdrawn| ClaimWithdrawn {
            because: withdrawn.because.clone(),
            by: withdrawn.by.clone(),
            on: withdrawn.on.to_string(),
        }),
        note: claim.note.clone(),
        timing,
        outside: Vec::new(),
        verdict: "",
        verdict_says: String::new(),
        reasons: Vec::new(),
        weighing: None,
        pending: Vec::new(),
        commit: String::new(),
        next: String::new(),
    }
}

/// What a weighing is asked for a claim.
pub(super) fn request_of(terms: &Terms, window_beforehand: bool) -> WeighRequest {
    let (window, at) = match terms.speeds {
        Speeds::Shared => (None, None),
        Speeds::Window(from, to) => (Some((from, to)), None),
        Speeds::At(at) => (None, Some(at)),
    };
    WeighRequest {
        base: terms.base.clone(),
        test: terms.test.clone(),
        window,
        figure: match terms.metric {
            Metric::MeanTorque => CurveFigure::MeanTorque,
            Metric::MeanPower => CurveFigure::MeanPower,
            Metric::PeakTorque => CurveFigure::PeakTorque,
            Metric::PeakPower => CurveFigure::PeakPower,
        },
        at,
        least: terms.at_least.clone(),
        within: terms.within.clone(),
        correct_to: terms.correction.clone(),
        subject: terms.subject.clone(),
        detect: None,
        engine: None,
        cell: None,
        step_rpm: terms.step,
        smooth_rpm: terms.smooth,
        as_of: AsOf::Present,
        window_beforehand,
    }
}

/// In what the pulls that were weighed are not as the claim says.
fn outside(library: &Library, terms: &Terms, weighing: &WeighAnswer) -> Result<Vec<String>, Failure> {
    let WeighAnswer::Weighed(weighed) = weighing else { return Ok(Vec::new()) };
    let mut found: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let (mut of_base, mut of_test) = (BTreeSet::new(), BTreeSet::new());
    for (id, held) in
        weighed.base.iter().map(|id| (id, true)).chain(weighed.test.iter().map(|id| (id, false)))
    {
        let side = gather::side(library, &Named::Pull(id.clone()))?;
        if let Some(role) = terms.subject.as_ref().and_then(|subject| side.effective.roles.get(subject)) {
            let side = if held { &mut of_base } else { &mut of_test };
            side.insert(role.answer.to_string());
        }
        for what in unlike(terms, &side) {
            found.entry(what).or_default().push(id.clone());
        }
    }
    let mut outside: Vec<String> =
        found.into_iter().map(|(what, pulls)| format!("{what}: {}", pulls.join(", "))).collect();
    outside.extend(tuned_otherwise(terms, weighed));
    if let Some(subject) = &terms.subject
        && !of_base.is_disjoint(&of_test)
    {
        let both: Vec<&str> = of_base.intersection(&of_test).map(String::as_str).collect();
        outside.push(format!("{subject} is under test, and both sides have {}", both.join(", ")));
    }
    Ok(outside)
}

/// What a pull has that the scope says otherwise.
fn unlike(terms: &Terms, side: &Side) -> Vec<String> {
    let scope = &terms.scope;
    let mut found = Vec::new();
    let mut hold = |what: &str, claimed: Option<&String>, found_there: Option<String>| {
        if let Some(claimed) = claimed
            && found_there.as_ref() != Some(claimed)
        {
            let there = found_there.unwrap_or_else(|| "nothing that anybody wrote down".to_owned());
            found.push(format!("{what} is claimed to be {claimed}, and is {there}"));
        }
    };
    hold("engine", scope.engine.as_ref(), side.build.as_ref().map(|build| build.engine.clone()));
    hold("cell", scope.cell.as_ref(), side.cell.as_ref().map(|cell| cell.tag.clone()));
    for (role, answer) in &scope.parts {
        let there = side.effective.roles.get(role).map(|held| held.answer.to_string());
        hold(role, Some(&answer.to_string()), there);
    }
    found
}

fn tuned_otherwise(terms: &Terms, weighed: &Weighed) -> Option<String> {
    let tuning = weighed.tuning.as_ref()?;
    match terms.tuning? {
        Tuning::SameSettings if !tuning.differing.is_empty() => Some(format!(
            "both sides are claimed to be at the same settings, and differ in {}",
            tuning.differing.join(", ")
        )),
        Tuning::EachAtItsBest if tuning.base.is_empty() || tuning.test.is_empty() => Some(
            "each side is claimed to be at its best, and the book has no tuning pulls of both that would show it"
                .to_owned(),
        ),
        _ => None,
    }
}

/// The verdict: the weighing's own, unless something of the claim itself stands in the way.
fn rule(answer: &mut ClaimAnswer, claim: &Claim, weighing: &WeighAnswer) {
    let (verdict, says) = match weighing {
        WeighAnswer::Refused(refused) => (CLAIM_REFUSED, refused.headline.clone()),
        WeighAnswer::Planned(_) => (CLAIM_REFUSED, String::new()),
        WeighAnswer::Weighed(weighed) => {
            answer.reasons.clone_from(&weighed.ruling.reasons);
            match &weighed.equivalence {
                Some(line) => equivalence(line.shown, line.margin, weighed),
                None => (weighed.ruling.verdict, gain(weighed)),
            }
        }
    };
    answer.verdict = verdict;
    answer.verdict_says = says;
    if !answer.timing.altered.is_empty() {
        answer
            .reasons
            .insert(0, "the claim was altered in the record itself, not by a correction".to_owned());
        if verdict == CLAIM_SHOWN {
            answer.verdict = "provisional";
            answer.verdict_says.insert_str(0, "Provisional: ");
        }
    }
    if !answer.outside.is_empty() && verdict != CLAIM_REFUSED {
        answer.verdict = "outside its scope";
        answer.verdict_says =
            "The pulls are not what the claim says they are, so it is not shown.".to_owned();
    }
    if claim.withdrawn.is_some() {
        answer.verdict = "withdrawn";
        answer.verdict_says = "The claim was taken back and no longer stands.".to_owned();
    }
}

fn gain(weighed: &Weighed) -> String {
    let (difference, unit) = (&weighed.difference, &weighed.unit);
    let least = weighed.ruling.least;
    let claimed =
        if least == 0.0 { "A gain".to_owned() } else { format!("A gain of at least {least:.2} {unit}") };
    let found = format!(
        "{:+.2} {unit} ({:+.2} to {:+.2}) in {}",
        difference.value, difference.lower, difference.upper, weighed.figure
    );
    match weighed.ruling.verdict {
        "shown" => format!("{claimed} is shown: {found}."),
        "provisional" => format!("{claimed} is shown only provisionally: {found}."),
        "contradicted" => format!("{claimed} is contradicted: {found}."),
        _ => format!("{claimed} is not shown: {found}."),
    }
}

fn equivalence(shown: bool, margin: f64, weighed: &Weighed) -> (&'static str, String) {
    let claimed = format!("No difference beyond {margin:.2} {}", weighed.unit);
    if !shown {
        return ("not shown", format!("{claimed} is not shown: a larger one is not ruled out."));
    }
    if weighed.ruling.reasons.is_empty() {
        (CLAIM_SHOWN, format!("{claimed} is shown."))
    } else {
        ("provisional", format!("{claimed} is shown only provisionally."))
    }
}
