//! Ask the book: pulls, builds, parts, flow sheets and claims by part, figure, setting, condition, day and person.

use crate::answer::FindAnswer;
use crate::answer::FindRow;
use crate::answer::FindUntold;
use crate::check::Side;
use crate::finding::Finding;
use crate::record::Answer;
use crate::record::Claim;
use crate::record::Known;
use crate::record::Moment;
use crate::record::Outcome;
use crate::record::Part;
use crate::record::PartState;
use crate::record::Value;
use crate::record::Whereabouts;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::compare::pending_among;
use crate::workflow::condition::Condition;
use crate::workflow::derived;
use crate::workflow::gather;
use crate::workflow::names;
use crate::workflow::names::Named;
use crate::workflow::sought::Said;
use crate::workflow::sweep::Channels;

/// What is to be found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// Dyno runs.
    Pulls,
    /// Engine configurations.
    Builds,
    /// Parts, in their newest state.
    Parts,
    /// Flow-bench sheets.
    Flow,
    /// Claims.
    Claims,
}

/// What is asked.
#[derive(Debug, Clone)]
pub struct FindRequest {
    /// What is to be found.
    pub sort: Sort,
    /// Parts that were on: `h2`, `h2/b`, or `intake=int-2`.
    pub with: Vec<String>,
    /// Conditions.
    pub conditions: Vec<String>,
    /// From this day, month or year on.
    pub since: Option<String>,
    /// Up to this day, month or year.
    pub until: Option<String>,
    /// By whom.
    pub by: Option<String>,
    /// In that session.
    pub session: Option<String>,
    /// In that cell.
    pub cell: Option<String>,
    /// Of that kind of part.
    pub kind: Option<String>,
}

/// One part that is to be on, in a role and a state where these were named.
struct With {
    role: Option<String>,
    tag: String,
    letter: Option<String>,
}

struct Asked {
    with: Vec<With>,
    conditions: Vec<Condition>,
    request: FindRequest,
}

/// A row, and for each condition whether it is met; none where nothing is said of it.
type Found = (FindRow, Vec<Option<bool>>);

/// Finds records.
///
/// # Errors
/// A condition or name means nothing, or does not go with what is to be found.
pub fn find(book: &Book, request: FindRequest) -> Result<FindAnswer, Failure> {
    let library = Library::at_head(book)?;
    let asked = Asked::read(&library, request)?;
    let mut untold: Vec<FindUntold> = asked
        .conditions
        .iter()
        .map(|condition| FindUntold { name: condition.text.clone(), records: Vec::new() })
        .collect();
    let mut rows = Vec::new();
    let mut take = |row: Option<Found>| {
        let Some((row, answers)) = row else { return };
        let silent: Vec<usize> = answers
            .iter()
            .enumerate()
            .filter(|(_, answer)| answer.is_none())
            .map(|(index, _)| index)
            .collect();
        if answers.contains(&Some(false)) {
            return;
        }
        match silent[..] {
            [] => rows.push(row),
            [first, ..] => untold[first].records.push(row.name),
        }
    };
    match asked.request.sort {
        Sort::Pulls => {
            let by_channel = asked.conditions.iter().any(|condition| condition.sought.is_condition());
            for id in library.pull_paths()?.keys() {
                let mut side = gather::side(&library, &Named::Pull(id.clone()))?;
                if by_channel {
                    derived::add_channel_means(book, &library, &mut side, Channels::OfConditions)?;
                }
                take(asked.side(&library, &side)?);
            }
        }
        Sort::Builds => {
            for name in library.build_names()? {
                take(asked.side(&library, &gather::side(&library, &Named::Build(name))?)?);
            }
        }
        Sort::Parts => {
            for tag in library.part_tags()? {
                take(library.part(&tag)?.and_then(|part| asked.part(&library, &part)));
            }
        }
        Sort::Flow => {
            for tag in library.tags("flow")? {
                take(library.flow(&tag)?.and_then(|sheet| asked.flow(&sheet)));
            }
        }
        Sort::Claims => {
            for tag in library.tags("claims")? {
                take(library.claim(&tag)?.and_then(|claim| asked.claim(&claim)));
            }
        }
    }
    rows.sort_by(|a, b| (&a.on, &a.name).cmp(&(&b.on, &b.name)));
    untold.retain(|untold| !untold.records.is_empty());
    Ok(FindAnswer {
        finds: asked.request.sort.word(),
        next: match (asked.request.sort, rows.first()) {
            (Sort::Parts, Some(row)) => {
                let tag = row.name.split('/').next().unwrap_or_default();
                format!("mulebook trail {tag}   the life of one of them")
            }
            (Sort::Claims, Some(row)) => format!("mulebook claim {}   the claim and its verdict", row.name),
            (Sort::Flow, Some(row)) => format!("mulebook diff {} OTHER   two sheets side by side", row.name),
            (_, Some(row)) => format!("mulebook sheet {}   all of one of them", row.name),
            (_, None) => "mulebook find pulls   all that there are".to_owned(),
        },
        columns: asked.conditions.iter().map(|condition| condition.sought.name.clone()).collect(),
        asked: asked.words(),
        rows,
        untold,
        pending: pending_among(book, &library.touched())?,
        commit: library.commit().short(),
    })
}

impl Sort {
    fn word(self) -> &'static str {
        match self {
            Self::Pulls => "pulls",
            Self::Builds => "builds",
            Self::Parts => "parts",
            Self::Flow => "flow",
            Self::Claims => "claims",
        }
    }
}

impl With {
    fn read(library: &Library, text: &str) -> Result<Self, Failure> {
        let (role, name) = match text.split_once('=') {
            Some((role, name)) => (Some(role.trim()), name.trim()),
            None => (None, text),
        };
        if let Some(role) = role
            && library.kinds().role(role).is_none()
        {
            return Err(Failure::usage(
                Finding::error("unknown-role", "no role is called so")
                    .found(format!("`{role}`"))
                    .expected("for example --with header=long-1, or --with long-1"),
            ));
        }
        let (tag, letter) = match PartState::parse(name) {
            Some(part) => (part.tag, Some(part.letter)),
            None => (name.to_owned(), None),
        };
        if tag != "none" && library.part_path(&tag)?.is_none() {
            return Err(names::no_part(library, &tag)?);
        }
        Ok(Self { role: role.map(str::to_owned), tag, letter })
    }

    fn meets(&self, role: &str, answer: &Answer) -> bool {
        if self.role.as_deref().is_some_and(|wanted| wanted != role) {
            return false;
        }
        match answer {
            Answer::Part(part) => {
                part.tag == self.tag && self.letter.as_ref().is_none_or(|letter| *letter == part.letter)
            }
            Answer::Nothing => self.tag == "none" && self.role.is_some(),
            Answer::Unknown(_) => false,
        }
    }
}

impl Asked {
    fn read(library: &Library, request: FindRequest) -> Result<Self, Failure> {
        let kinds = library.kinds();
        let with =
            request.with.iter().map(|text| With::read(library, text)).collect::<Result<Vec<_>, _>>()?;
        let conditions = request
            .conditions
            .iter()
            .map(|text| Condition::parse(kinds, text))
            .collect::<Result<Vec<_>, _>>()?;
        for day in [&request.since, &request.until].into_iter().flatten() {
            let whole = match day.len() {
                YEAR => format!("{day}-01-01"),
                MONTH => format!("{day}-01"),
                _ => day.clone(),
            };
            Moment::parse(&whole).map_err(|_| {
                Failure::usage(
                    Finding::error("not-a-date", "this is no day, month or year")
                        .found(format!("`{day}`"))
                        .expected("2026-04-12, 2026-04 or 2026"),
                )
            })?;
        }
        let not_for = |option: &str, what: &str| {
            Err(Failure::usage(
                Finding::error("not-for-these", format!("{what} cannot be asked for by {option}"))
                    .next("`mulebook find --help` says what each can be asked for by"),
            ))
        };
        match request.sort {
            Sort::Pulls | Sort::Builds if request.kind.is_some() => {
                return not_for("--kind", request.sort.word());
            }
            Sort::Builds | Sort::Parts if request.session.is_some() || request.cell.is_some() => {
                return not_for("session or cell", request.sort.word());
            }
            Sort::Parts if !with.is_empty() => return not_for("--with", "parts"),
            Sort::Flow if !conditions.is_empty() || request.session.is_some() || request.cell.is_some() => {
                return not_for("conditions, session or cell", "flow sheets");
            }
            Sort::Claims
                if !conditions.is_empty()
                    || !with.is_empty()
                    || request.session.is_some()
                    || request.cell.is_some()
                    || request.kind.is_some() =>
            {
                return not_for("part, condition, session, cell or kind", "claims");
            }
            _ => {}
        }
        if let Some(kind) = &request.kind
            && kinds.part(kind).is_none()
        {
            return Err(Failure::usage(
                Finding::error("unknown-kind", "there is no such kind of part")
                    .found(format!("`{kind}`"))
                    .expected(kinds.parts.keys().cloned().collect::<Vec<_>>().join(", ")),
            ));
        }
        Ok(Self { with, conditions, request })
    }

    fn words(&self) -> Vec<String> {
        let request = &self.request;
        let mut words: Vec<String> = request.with.iter().map(|with| format!("with {with}")).collect();
        words.extend(self.conditions.iter().map(|condition| condition.text.clone()));
        let options = [
            ("since", &request.since),
            ("until", &request.until),
            ("by", &request.by),
            ("session", &request.session),
            ("cell", &request.cell),
            ("kind", &request.kind),
        ];
        words.extend(
            options.into_iter().filter_map(|(name, value)| Some(format!("{name} {}", value.as_ref()?))),
        );
        words
    }

    /// Whether a day lies between those that were asked for; a record without one does not.
    fn in_time(&self, on: Option<&Moment>) -> bool {
        let (since, until) = (&self.request.since, &self.request.until);
        if since.is_none() && until.is_none() {
            return true;
        }
        let Some(day) = on.map(|on| on.day().to_string()) else { return false };
        let month = |asked: &String| day.get(..asked.len()).unwrap_or(&day).to_owned();
        since.as_ref().is_none_or(|since| month(since) >= *since)
            && until.as_ref().is_none_or(|until| month(until) <= *until)
    }

    fn by(&self, who: Option<&String>) -> bool {
        self.request.by.as_ref().is_none_or(|by| Some(by) == who)
    }

    fn side(&self, library: &Library, side: &Side) -> Result<Option<Found>, Failure> {
        let on = match &side.pull {
            Some(_) => side.moment(),
            None => side.build.as_ref().map(|build| &build.since),
        };
        let who = match &side.pull {
            Some(pull) => pull.by.as_ref(),
            None => side.build.as_ref().and_then(|build| build.by.as_ref()),
        };
        let session = side.pull.as_ref().map(|pull| &pull.session);
        let cell = side.cell.as_ref().map(|cell| &cell.tag);
        let plain = self.in_time(on)
            && self.by(who)
            && self.request.session.as_ref().is_none_or(|wanted| Some(wanted) == session)
            && self.request.cell.as_ref().is_none_or(|wanted| Some(wanted) == cell);
        let fitted =
            |with: &With| side.effective.roles.iter().any(|(role, held)| with.meets(role, &held.answer));
        if !plain || !self.with.iter().all(fitted) {
            return Ok(None);
        }
        let told = |condition: &Condition| {
            let sought = &condition.sought;
            Ok((sought.said(side, library.kinds()).0, sought.words(side, library)?))
        };
        let said = self.conditions.iter().map(told).collect::<Result<Vec<_>, Failure>>()?;
        let remark = match (&side.pull, &side.effective.outcome) {
            (Some(_), aside @ Outcome::SetAside(_)) => Some(aside.to_string()),
            _ => None,
        };
        let of = match &side.pull {
            Some(_) => side.build.as_ref().map(|build| build.name.clone()),
            None => side.build.as_ref().map(|build| build.engine.clone()),
        };
        Ok(Some(self.row(side.name.clone(), on, who, of, &said, remark)))
    }

    fn part(&self, library: &Library, part: &Part) -> Option<Found> {
        let state = part.newest()?;
        let kind = library.kinds().part(&part.kind);
        let who = state.work.iter().find_map(|work| work.by.as_ref());
        let right = self.request.kind.as_ref().is_none_or(|wanted| *wanted == part.kind);
        if !right || !self.in_time(state.since.as_ref()) || !self.by(who) {
            return None;
        }
        // A figure that its kind does not have, or that is asked of another role, is none that nobody wrote down.
        let asked = |condition: &Condition| -> Option<String> {
            let (role, name) = match condition.sought.name.split_once('.') {
                Some((role, name)) => (Some(role), name),
                None => (None, condition.sought.name.as_str()),
            };
            let fits =
                |role: &str| library.kinds().role(role).is_some_and(|role| role.kinds.contains(&part.kind));
            let has = kind.is_some_and(|kind| kind.open || kind.figure(name).is_some());
            (has && role.is_none_or(fits)).then(|| name.to_owned())
        };
        let names: Vec<String> = self.conditions.iter().map(asked).collect::<Option<_>>()?;
        let said: Vec<(Said, Option<String>)> = names
            .iter()
            .map(|name| {
                let resolved = kind.map(|kind| part.resolve(kind, &state.letter, name, None));
                let known = resolved.as_ref().and_then(|found| Some(&found.standing()?.entry.known));
                let said = match known.and_then(Known::value) {
                    Some(Value::Quantity(reading)) => Said::Number(reading.mean().si()),
                    Some(Value::Text(text)) => Said::Text(text.clone()),
                    None => Said::Nothing,
                };
                let words =
                    known.and_then(|known| Some(format!("{} ({})", known.value()?.text(), known.word())));
                (said, words)
            })
            .collect();
        let gone = match part.whereabouts {
            Whereabouts::Here => None,
            Whereabouts::Sold(_) => Some("sold"),
            Whereabouts::Lent(_) => Some("lent"),
            Whereabouts::Scrapped(_) => Some("scrapped"),
            Whereabouts::Consumed => Some("used up"),
        };
        let name = format!("{}/{}", part.tag, state.letter);
        let of = Some(part.kind.clone());
        Some(self.row(name, state.since.as_ref(), who, of, &said, gone.map(str::to_owned)))
    }

    fn flow(&self, sheet: &crate::record::FlowSheet) -> Option<Found> {
        let on = [&sheet.part].into_iter().chain(&sheet.with_part);
        let parts: Vec<Answer> = on.map(|part| Answer::Part(part.clone())).collect();
        let fitted = |with: &With| with.role.is_none() && parts.iter().any(|part| with.meets("", part));
        let right = self.in_time(Some(&sheet.on)) && self.by(Some(&sheet.by)) && self.with.iter().all(fitted);
        let words = |port: &String| format!("{} port {port}", sheet.side);
        let what = sheet.port.as_ref().map_or_else(|| sheet.side.to_string(), words);
        let of = Some(format!("{}, {what}", sheet.part));
        right.then(|| self.row(sheet.tag.clone(), Some(&sheet.on), Some(&sheet.by), of, &[], None))
    }

    fn claim(&self, claim: &Claim) -> Option<Found> {
        let right = self.in_time(Some(&claim.on)) && self.by(Some(&claim.by));
        let remark = claim.withdrawn.as_ref().map(|withdrawn| format!("withdrawn ({})", withdrawn.because));
        let metric = claim.terms.metric.word().replace('-', " ");
        let of =
            claim.terms.subject.as_ref().map_or(metric.clone(), |subject| format!("{subject}, {metric}"));
        let of = Some(of);
        right.then(|| self.row(claim.tag.clone(), Some(&claim.on), Some(&claim.by), of, &[], remark))
    }

    fn row(
        &self,
        name: String,
        on: Option<&Moment>,
        by: Option<&String>,
        of: Option<String>,
        said: &[(Said, Option<String>)],
        remark: Option<String>,
    ) -> Found {
        let values = said.iter().map(|(_, words)| words.clone()).collect();
        let answers =
            self.conditions.iter().zip(said).map(|(condition, (said, _))| condition.holds(said)).collect();
        let on = on.map(|on| on.day().to_string());
        (FindRow { name, on, by: by.cloned(), of, values, remark }, answers)
    }
}

/// Characters of a year and of a month as written.
const YEAR: usize = 4;
const MONTH: usize = 7;
