//! The refusal over many pulls: what is missing said once, with the pulls that lack it and the pairs that it bars.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use serde::Serialize;

use crate::answer::LackLine;
use crate::answer::gaps::why_words;
use crate::check::GapSide;
use crate::check::Refusal;

/// Names shown in a sentence; the rest are counted.
const MOST_NAMES: usize = 6;

/// A pull among those that were to be compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedPull {
    /// Its id.
    pub name: String,
    /// Its build, where it has one.
    pub build: Option<String>,
}

/// All pairs of the pulls that were to be compared, and what bars them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RefusedPairs {
    /// Pairs that are refused.
    pub refused: usize,
    /// Pairs in all.
    pub of: usize,
    /// What is missing, that which bars the most pairs first.
    pub gaps: Vec<SharedGap>,
    /// Pairs that do not come to one correction.
    pub unlike_corrections: usize,
    /// What those pulls carry, where pairs do not come to one correction.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub corrections: Vec<CarriedBy>,
    /// What they were to be brought to, where that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub correct_to: Option<String>,
    /// What keeps pulls from it, each pull once.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lacks: Vec<LackLine>,
}

/// A correction, and the pulls whose files carry it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CarriedBy {
    /// The correction.
    pub correction: String,
    /// The pulls.
    pub pulls: Vec<String>,
}

/// Something that several pairs lack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SharedGap {
    /// What is missing, as commands name it.
    pub item: String,
    /// The trade's name.
    pub title: String,
    /// Why it counts as missing.
    pub why: String,
    /// The pulls that lack it.
    pub pulls: Vec<String>,
    /// Pairs that it bars.
    pub pairs: usize,
    /// Whether every pair with one of these pulls is barred by it.
    pub every_pair: bool,
    /// Which pulls and which pairs, in words.
    pub says: String,
    /// The commands that close it.
    pub close: Vec<String>,
}

impl RefusedPairs {
    /// What bars the pairs among some pulls; each refusal with the places of its base and its test among them.
    pub fn of(pulls: &[NamedPull], refusals: &[(usize, usize, Refusal)]) -> Self {
        let all = pairs(pulls.len());
        let mut known: BTreeMap<(String, String), Gathering> = BTreeMap::new();
        let mut lacks: Vec<LackLine> = Vec::new();
        let mut carried: BTreeMap<&str, BTreeSet<usize>> = BTreeMap::new();
        for (base, test, refusal) in refusals {
            for gap in &refusal.gaps {
                let key = (gap.item.path(), why_words(&gap.why));
                let found = known.entry(key).or_insert_with(|| Gathering::new(&gap.item.title));
                found.pairs += 1;
                found.pulls.extend(match gap.side {
                    GapSide::Base => vec![*base],
                    GapSide::Test => vec![*test],
                    GapSide::Both => vec![*base, *test],
                });
                for close in gap.close.iter().map(ToString::to_string) {
                    if !found.close.contains(&close) {
                        found.close.push(close);
                    }
                }
            }
            if let Some(none) = &refusal.unlike_corrections {
                carried.entry(&none.base).or_default().insert(*base);
                carried.entry(&none.test).or_default().insert(*test);
            }
            for lack in refusal.unlike_corrections.iter().flat_map(LackLine::gather) {
                if !lacks.contains(&lack) {
                    lacks.push(lack);
                }
            }
        }
        let mut gaps: Vec<SharedGap> =
            known.into_iter().map(|((item, why), found)| found.told(item, why, pulls)).collect();
        gaps.sort_by_key(|gap| std::cmp::Reverse(gap.pairs));
        let corrections = carried.into_iter().map(|(correction, at)| CarriedBy {
            correction: correction.to_owned(),
            pulls: at.iter().filter_map(|at| pulls.get(*at)).map(|pull| pull.name.clone()).collect(),
        });
        let wanted = refusals.iter().find_map(|(_, _, refusal)| refusal.unlike_corrections.as_ref()?.to);
        Self {
            refused: refusals.len(),
            of: all,
            gaps,
            unlike_corrections: refusals.iter().filter(|(_, _, r)| r.unlike_corrections.is_some()).count(),
            corrections: corrections.collect(),
            correct_to: wanted.map(|wanted| wanted.name().to_owned()),
            lacks,
        }
    }

    /// Which pulls carry which correction, a line each, then what they were to be brought to.
    pub fn correction_words(&self) -> Vec<String> {
        let mut lines: Vec<String> = self
            .corrections
            .iter()
            .map(|line| format!("{}: {}", line.correction, few(line.pulls.clone())))
            .collect();
        if !lines.is_empty() {
            lines.push(match &self.correct_to {
                Some(to) => format!("not all of them can be brought to {to}"),
                None => "nobody says what to bring them to".to_owned(),
            });
        }
        lines
    }

    /// In one sentence.
    pub fn headline(&self) -> String {
        let mut bars = Vec::new();
        match self.gaps.len() {
            0 => {}
            1 => bars.push("one thing that could differ is not documented".to_owned()),
            count => bars.push(format!("{count} things that could differ are not documented")),
        }
        match self.unlike_corrections {
            0 => {}
            1 => bars.push("one pair does not come to one correction".to_owned()),
            count => bars.push(format!("{count} pairs do not come to one correction")),
        }
        format!(
            "Not compared: {}. Of the {} pairs of pulls, {} {} refused.",
            bars.join(", and "),
            self.of,
            self.refused,
            if self.refused == 1 { "is" } else { "are" }
        )
    }
}

struct Gathering {
    title: String,
    pulls: BTreeSet<usize>,
    pairs: usize,
    close: Vec<String>,
}

impl Gathering {
    fn new(title: &str) -> Self {
        Self { title: title.to_owned(), pulls: BTreeSet::new(), pairs: 0, close: Vec::new() }
    }

    fn told(self, item: String, why: String, pulls: &[NamedPull]) -> SharedGap {
        let all = pairs(pulls.len());
        let every_pair = self.pairs == all - pairs(pulls.len() - self.pulls.len());
        let lacking: Vec<&NamedPull> = self.pulls.iter().filter_map(|at| pulls.get(*at)).collect();
        let who = who(&lacking, pulls);
        let one = lacking.len() == 1;
        let which = match (every_pair, self.pairs == all, one) {
            (_, true, _) => ": every pair",
            (true, _, true) => ": every pair with it",
            (true, _, false) => ": every pair with one of them",
            _ => "",
        };
        // What is written down in a build speaks for all its pulls.
        let by_build = |close: &String| {
            lacking.iter().any(|pull| {
                let build = pull.build.as_ref().map(|build| close.replace(&pull.name, build));
                build.is_some_and(|build| build != *close && self.close.contains(&build))
            })
        };
        SharedGap {
            close: self.close.iter().filter(|close| !by_build(close)).cloned().collect(),
            item,
            title: self.title,
            why,
            pulls: lacking.iter().map(|pull| pull.name.clone()).collect(),
            pairs: self.pairs,
            every_pair,
            says: format!("missing for {who}; bars {} of {all} pairs{which}", self.pairs),
        }
    }
}

/// Pairs among so many.
fn pairs(count: usize) -> usize {
    count * count.saturating_sub(1) / 2
}

/// The pulls in words: whole builds by their names, then pulls, then how many more.
fn who(lacking: &[&NamedPull], pulls: &[NamedPull]) -> String {
    if lacking.len() == pulls.len() {
        return "all pulls".to_owned();
    }
    let of_build = |among: &mut dyn Iterator<Item = &NamedPull>, build: &str| {
        among.filter(|pull| pull.build.as_deref() == Some(build)).count()
    };
    let mut names: Vec<String> = Vec::new();
    for pull in lacking {
        let whole = pull.build.as_deref().filter(|build| {
            let here = of_build(&mut lacking.iter().copied(), build);
            here > 1 && here == of_build(&mut pulls.iter(), build)
        });
        let name = match whole {
            Some(build) => format!("all pulls of {build}"),
            None => pull.name.clone(),
        };
        if !names.contains(&name) {
            names.push(name);
        }
    }
    few(names)
}

/// The first names, and how many more.
fn few(mut names: Vec<String>) -> String {
    let more = names.len().saturating_sub(MOST_NAMES);
    names.truncate(MOST_NAMES);
    if more > 0 {
        names.push(format!("{more} more"));
    }
    names.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Gap;
    use crate::check::Group;
    use crate::check::Item;
    use crate::check::NoBasis;
    use crate::check::Why;

    fn gap(name: &str, side: GapSide) -> Gap {
        let item = Item { group: Group::Setting, role: None, name: name.to_owned(), title: name.to_owned() };
        Gap { item, side, why: Why::Absent, other: None, close: Vec::new() }
    }

    fn refusal(gaps: Vec<Gap>) -> Refusal {
        Refusal { gaps, unlike_corrections: None }
    }

    #[test]
    fn what_one_pull_lacks_is_said_once_for_all_its_pairs() {
        let pulls: Vec<NamedPull> = ["p1", "p2", "p3", "p4"]
            .iter()
            .zip(["b1", "b1", "b2", "b2"])
            .map(|(name, build)| NamedPull { name: (*name).to_owned(), build: Some(build.to_owned()) })
            .collect();
        let refusals = [
            (0, 2, refusal(vec![gap("timing", GapSide::Test), gap("jet", GapSide::Base)])),
            (0, 3, refusal(vec![gap("jet", GapSide::Base)])),
            (1, 2, refusal(vec![gap("timing", GapSide::Test), gap("jet", GapSide::Base)])),
            (1, 3, refusal(vec![gap("jet", GapSide::Base)])),
            (2, 3, refusal(vec![gap("timing", GapSide::Base)])),
        ];
        let told = RefusedPairs::of(&pulls, &refusals);
        assert_eq!((told.refused, told.of), (5, 6));
        let says: Vec<&str> = told.gaps.iter().map(|gap| gap.says.as_str()).collect();
        assert_eq!(
            says,
            [
                "missing for all pulls of b1; bars 4 of 6 pairs",
                "missing for p3; bars 3 of 6 pairs: every pair with it"
            ]
        );
        assert_eq!(
            told.headline(),
            "Not compared: 2 things that could differ are not documented. Of the 6 pairs of pulls, 5 are refused."
        );
    }

    #[test]
    fn pulls_of_unlike_corrections_are_named_with_what_each_carries() {
        let pulls: Vec<NamedPull> =
            ["p1", "p2", "p3"].map(|name| NamedPull { name: name.to_owned(), build: None }).to_vec();
        let unlike = |base: &str, test: &str| Refusal {
            gaps: Vec::new(),
            unlike_corrections: Some(NoBasis {
                base: base.to_owned(),
                test: test.to_owned(),
                to: None,
                lacks: Vec::new(),
            }),
        };
        let told = RefusedPairs::of(&pulls, &[(0, 2, unlike("a", "b")), (1, 2, unlike("a", "b"))]);
        assert_eq!(told.correction_words(), ["a: p1, p2", "b: p3", "nobody says what to bring them to"]);
        assert_eq!(
            told.headline(),
            "Not compared: 2 pairs do not come to one correction. Of the 3 pairs of pulls, 2 are refused."
        );
    }

    #[test]
    fn many_names_are_counted() {
        let pulls: Vec<NamedPull> =
            (0..20).map(|n| NamedPull { name: format!("p{n:02}"), build: None }).collect();
        let lacking: Vec<&NamedPull> = pulls.iter().take(9).collect();
        assert_eq!(who(&lacking, &pulls), "p00, p01, p02, p03, p04, p05, 3 more");
    }
}
