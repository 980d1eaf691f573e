//! What is asked, read from words; and whether a record meets it.

use crate::answer::FindRow;
use crate::finding::Finding;
use crate::record::Moment;
use crate::record::PartState;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::catalog::chunk::Fitted;
use crate::workflow::catalog::chunk::Plain;
use crate::workflow::catalog::chunk::Saying;
use crate::workflow::catalog::chunk::Word;
use crate::workflow::condition::Condition;
use crate::workflow::find::FindRequest;
use crate::workflow::find::Sort;
use crate::workflow::names;
use crate::workflow::sought::Said;

/// One part that is to be on, in a role and a state where these were named.
pub(super) struct With {
    role: Option<String>,
    tag: String,
    letter: Option<String>,
}

pub(super) struct Asked {
    pub(super) with: Vec<With>,
    pub(super) conditions: Vec<Condition>,
    pub(super) request: FindRequest,
}

/// A row, for each condition whether it is met (none where nothing is said of it), and whether it is in doubt.
pub(super) type Found = (FindRow, Vec<Option<bool>>, bool);

/// What a record says of something, and the words for it.
pub(super) type Told = (Said, Option<String>);

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

    /// Whether what fills a role is it.
    pub(super) fn meets<S: AsRef<str>>(&self, role: &str, fitted: &Fitted<S>) -> bool {
        if self.role.as_deref().is_some_and(|wanted| wanted != role) {
            return false;
        }
        match fitted {
            Fitted::Part(tag, letter) => {
                tag.as_ref() == self.tag
                    && self.letter.as_ref().is_none_or(|wanted| wanted == letter.as_ref())
            }
            Fitted::Nothing => self.tag == "none" && self.role.is_some(),
            Fitted::Unknown => false,
        }
    }

    /// Whether it was asked for in whatever role.
    pub(super) fn is_anywhere(&self) -> bool {
        self.role.is_none()
    }
}

impl Asked {
    pub(super) fn read(library: &Library, request: FindRequest) -> Result<Self, Failure> {
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

    pub(super) fn words(&self) -> Vec<String> {
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

    /// Words that every row that is asked for has, as they are written.
    pub(super) fn words_of_rows(&self) -> Vec<&str> {
        let request = &self.request;
        let tags = self.with.iter().map(|with| with.tag.as_str()).filter(|tag| *tag != "none");
        let plain = [&request.by, &request.session, &request.cell].into_iter().flatten();
        let kind = request.kind.iter().filter(|_| request.sort == Sort::Parts);
        tags.chain(plain.chain(kind).map(String::as_str)).collect()
    }

    /// Whether a day lies between those that were asked for; a record without one does not.
    pub(super) fn in_time(&self, day: Option<&str>) -> bool {
        let (since, until) = (&self.request.since, &self.request.until);
        if since.is_none() && until.is_none() {
            return true;
        }
        let Some(day) = day else { return false };
        let month = |asked: &String| day.get(..asked.len()).unwrap_or(day);
        since.as_ref().is_none_or(|since| month(since) >= since.as_str())
            && until.as_ref().is_none_or(|until| month(until) <= until.as_str())
    }

    /// Whether what every row has is as asked.
    pub(super) fn plainly<S: AsRef<str>>(&self, plain: &Plain<S>) -> bool {
        let is = |wanted: &Option<String>, found: &Option<S>| {
            wanted.as_ref().is_none_or(|wanted| found.as_ref().is_some_and(|found| found.as_ref() == wanted))
        };
        let request = &self.request;
        self.in_time(plain.on.as_ref().map(AsRef::as_ref))
            && is(&request.by, &plain.by)
            && is(&request.session, &plain.session)
            && is(&request.cell, &plain.cell)
            && (request.sort != Sort::Parts || is(&request.kind, &plain.of))
    }

    /// A record's row with what it says of each condition.
    pub(super) fn row<S: AsRef<str>>(&self, plain: &Plain<S>, told: &[Told]) -> Found {
        let own = |text: &Option<S>| text.as_ref().map(|text| text.as_ref().to_owned());
        let row = FindRow {
            name: plain.name.as_ref().to_owned(),
            on: own(&plain.on),
            by: own(&plain.by),
            of: own(&plain.of),
            values: told.iter().map(|(_, words)| words.clone()).collect(),
            remark: own(&plain.remark),
        };
        let answers =
            self.conditions.iter().zip(told).map(|(condition, (said, _))| condition.holds(said)).collect();
        (row, answers, plain.doubted)
    }

    /// The figures of a part that the conditions mean; none where its kind has not all of them.
    pub(super) fn figures(&self, library: &Library, kind_name: &str) -> Option<Vec<String>> {
        let kind = library.kinds().part(kind_name);
        // A figure that its kind does not have, or that is asked of another role, is none that nobody wrote down.
        let asked = |condition: &Condition| -> Option<String> {
            let (role, name) = match condition.sought.name.split_once('.') {
                Some((role, name)) => (Some(role), name),
                None => (None, condition.sought.name.as_str()),
            };
            let fits = |role: &str| {
                library.kinds().role(role).is_some_and(|role| role.kinds.iter().any(|kind| kind == kind_name))
            };
            let has = kind.is_some_and(|kind| kind.open || kind.figure(name).is_some());
            (has && role.is_none_or(fits)).then(|| name.to_owned())
        };
        self.conditions.iter().map(asked).collect()
    }
}

/// As it was before it was kept; none where only the records themselves tell.
pub(super) fn told<S: AsRef<str>>(saying: Option<&Saying<S>>) -> Option<Told> {
    let Some(saying) = saying else { return Some((Said::Nothing, None)) };
    let said = match &saying.said {
        Word::Text(text) => Said::Text(text.as_ref().to_owned()),
        Word::Number(number) => Said::Number(*number),
        Word::Nothing => Said::Nothing,
        Word::Channel | Word::Live => return None,
    };
    Some((said, saying.words.as_ref().map(|words| words.as_ref().to_owned())))
}

/// Characters of a year and of a month as written.
const YEAR: usize = 4;
const MONTH: usize = 7;
