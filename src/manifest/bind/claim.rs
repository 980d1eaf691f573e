//! A claim's manifest.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::bind::Bound;
use crate::manifest::node::Node;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::quantity::parse_reading;
use crate::record::Answer;
use crate::record::Claim;
use crate::record::ClaimScope;
use crate::record::Corrected;
use crate::record::Correction;
use crate::record::GRID_STEP_RPM;
use crate::record::Kinds;
use crate::record::Metric;
use crate::record::PartState;
use crate::record::Speeds;
use crate::record::Terms;
use crate::record::Tuning;
use crate::record::Withdrawn;
use crate::record::side_of;

/// Speeds that a grid point can have, rpm.
const SPEEDS_RPM: std::ops::RangeInclusive<u32> = 300..=25_000;
/// Distances of grid points, rpm.
const STEPS_RPM: std::ops::RangeInclusive<u32> = 10..=2000;
/// Widths of smoothing, rpm.
const WIDTHS_RPM: std::ops::RangeInclusive<u32> = 20..=4000;

/// Reads a claim, with what corrections mended put in place.
pub fn claim(file: &str, root: &Node, kinds: &Kinds) -> Bound<Claim> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.claim(root);
    binder.finish(record)
}

impl Binder<'_> {
    fn claim(&mut self, root: &Node) -> Option<Claim> {
        let tag = self.tag(root, "claim");
        let says = self.needs(root, "says");
        let (on, by) = (self.needs_moment(root, "on"), self.needs(root, "by"));
        let first = self.terms(root);
        let corrected = self.corrections(root.get("corrected"), Some(&[]));
        let withdrawn = root.get("withdrawn").and_then(|node| {
            Some(Withdrawn {
                because: self.needs(node, "because")?,
                by: self.needs(node, "by")?,
                on: self.needs_moment(node, "on")?,
            })
        });
        let first_terms = first?;
        let mut claim = Claim {
            tag: tag?,
            says: says?,
            on: on?,
            by: by?,
            made_to: self.may(root, "for"),
            terms: first_terms.clone(),
            first_terms,
            corrected: corrected.clone(),
            withdrawn,
            note: self.may(root, "note"),
        };
        for (number, correction) in corrected.iter().enumerate() {
            let node = root.get("corrected").and_then(|list| list.items().get(number)).unwrap_or(root);
            if let Err(expected) = mend(&mut claim, correction) {
                let place = self.place(node, &format!("corrected.{number}"));
                self.push(
                    Finding::error("not-corrected-here", "this does not mend a claim")
                        .at(place)
                        .found(format!("`{}`", correction.set))
                        .expected(expected),
                );
            }
        }
        self.speeds_in_order(root, &claim.terms);
        Some(claim)
    }

    fn terms(&mut self, root: &Node) -> Option<Terms> {
        let base = self.side(root, "base");
        let test = self.side(root, "test");
        let metric = self.needs(root, "metric").and_then(|word| {
            let metric = Metric::from_word(&word);
            if metric.is_none() {
                self.not_a_choice(root, "metric", &word, &Metric::ALL.map(Metric::word).join(", "));
            }
            metric
        });
        let tuning = self.may(root, "tuning").and_then(|word| {
            let tuning = Tuning::from_word(&word);
            if tuning.is_none() {
                self.not_a_choice(root, "tuning", &word, "same-settings, each-at-its-best");
            }
            tuning
        });
        let scope = match root.get("scope") {
            Some(node) => self.scope(node),
            None => ClaimScope::default(),
        };
        let speeds = match (root.get("window"), root.get("at")) {
            (Some(window), None) => {
                let from = self.speed(window, "from", "window.from");
                let to = self.speed(window, "to", "window.to");
                from.zip(to).map(|(from, to)| Speeds::Window(from, to))
            }
            (None, Some(_)) => self.speed(root, "at", "at").map(Speeds::At),
            (None, None) => Some(Speeds::Shared),
            (Some(_), Some(at)) => {
                let place = self.place(at, "at");
                self.push(
                    Finding::error("window-and-speed", "a claim is of a window or of one speed, not of both")
                        .at(place)
                        .next("leave one of the two out"),
                );
                None
            }
        };
        let step = match root.get("step") {
            Some(_) => self.speed_within(root, "step", "step", STEPS_RPM),
            None => Some(GRID_STEP_RPM),
        };
        let smooth = root.get("smooth").map(|_| self.speed_within(root, "smooth", "smooth", WIDTHS_RPM));
        Some(Terms {
            subject: self.may(root, "subject"),
            scope,
            tuning,
            base: base?,
            test: test?,
            metric: metric?,
            speeds: speeds?,
            at_least: self.may(root, "at-least"),
            within: self.may(root, "within"),
            correction: self.may(root, "correction"),
            step: step?,
            smooth: smooth.flatten(),
        })
    }

    fn side(&mut self, root: &Node, key: &str) -> Option<Vec<String>> {
        let Some(node) = root.get(key) else {
            self.needs(root, key);
            return None;
        };
        let names: Vec<String> = node.items().iter().filter_map(|item| self.text(item, key)).collect();
        if names.is_empty() {
            let place = self.place(node, key);
            self.push(
                Finding::error("empty-value", "a side names at least one pull, build, session or query")
                    .at(place)
                    .next("write for example [\"session=0412a,header=long-1\"]"),
            );
            return None;
        }
        Some(names)
    }

    fn scope(&mut self, node: &Node) -> ClaimScope {
        let mut parts = BTreeMap::new();
        for (key, value) in node.get("parts").map(Node::entries).unwrap_or_default() {
            let role = key.text().unwrap_or_default().to_owned();
            if self.kinds.role(&role).is_none() {
                let known = self.kinds;
                self.unknown_name(
                    key,
                    "scope.parts",
                    "role",
                    known.roles.iter().map(|spec| spec.name.as_str()),
                );
            }
            if let Some(answer) = self.answer(value, &format!("scope.parts.{role}")) {
                parts.insert(role, answer);
            }
        }
        ClaimScope {
            says: self.may(node, "says"),
            engine: self.may(node, "engine"),
            cell: self.may(node, "cell"),
            parts,
        }
    }

    fn speed(&mut self, node: &Node, key: &str, field: &str) -> Option<u32> {
        self.speed_within(node, key, field, SPEEDS_RPM)
    }

    fn speed_within(
        &mut self,
        node: &Node,
        key: &str,
        field: &str,
        range: std::ops::RangeInclusive<u32>,
    ) -> Option<u32> {
        let text = self.needs(node, key)?;
        match rpm(&text, range) {
            Ok(rpm) => Some(rpm),
            Err(expected) => {
                let place = self.place(node.get(key).unwrap_or(node), field);
                self.push(
                    Finding::error("not-a-speed", "this is no speed that curves are compared at")
                        .at(place)
                        .found(format!("`{text}`"))
                        .expected(expected),
                );
                None
            }
        }
    }

    fn not_a_choice(&mut self, root: &Node, key: &str, word: &str, expected: &str) {
        let place = self.place(root.get(key).unwrap_or(root), key);
        self.push(
            Finding::error("not-a-choice", "this word is not one of the choices")
                .at(place)
                .found(format!("`{word}`"))
                .expected(expected.to_owned()),
        );
    }

    fn speeds_in_order(&mut self, root: &Node, terms: &Terms) {
        let wrong = match terms.speeds {
            Speeds::Window(from, to) if from >= to => Some("a window goes from a lower to a higher speed"),
            Speeds::At(_) if matches!(terms.metric, Metric::PeakTorque | Metric::PeakPower) => {
                Some("a peak is looked for in a window, not at one speed")
            }
            _ => None,
        };
        if let Some(wrong) = wrong {
            let node = root.get("window").or_else(|| root.get("at")).unwrap_or(root);
            let place = self.place(node, "window");
            self.push(Finding::error("window-of-nothing", wrong).at(place).found(terms.speeds.to_string()));
        }
    }
}

/// A speed in whole rpm, or what was expected.
fn rpm(text: &str, range: std::ops::RangeInclusive<u32>) -> Result<u32, String> {
    let kind = QuantityKind::RotationalSpeed;
    let expected = || format!("whole rpm from {} to {} with the unit: 4000 rpm", range.start(), range.end());
    let unit = Unit::parse("rpm", kind).map_err(|_| expected())?;
    let reading = parse_reading(text, kind, None).map_err(|_| expected())?;
    let [value] = reading.values_in(unit).map_err(|_| expected())?[..] else { return Err(expected()) };
    let whole = value.round();
    let near = (value - whole).abs() < 1e-6 && (0.0..1e6).contains(&whole);
    // In range, so that nothing is cut off.
    let whole = if near { whole as u32 } else { return Err(expected()) };
    if range.contains(&whole) { Ok(whole) } else { Err(expected()) }
}

/// The fields that a correction may mend.
const MENDED: &str = "says, subject, tuning, base, test, metric, window, at, at-least, within, correction, step, smooth, \
                      scope.says, scope.engine, scope.cell or scope.parts.ROLE";

/// Puts what a correction says in the place of what stood there, or says what would have done.
fn mend(claim: &mut Claim, correction: &Correction) -> Result<(), String> {
    let Corrected::Text(text) = &correction.to else { return Err(MENDED.to_owned()) };
    let terms = &mut claim.terms;
    let side = || {
        let side = side_of(text);
        if side.is_empty() { Err("names with a semicolon between them".to_owned()) } else { Ok(side) }
    };
    // `none` takes away what the claim may leave out.
    let may = || (text != "none").then(|| text.clone());
    match correction.set.as_str() {
        "says" => claim.says.clone_from(text),
        "subject" => terms.subject = may(),
        "tuning" => {
            terms.tuning = match may() {
                None => None,
                Some(word) => Some(Tuning::from_word(&word).ok_or("same-settings or each-at-its-best")?),
            };
        }
        "base" => terms.base = side()?,
        "test" => terms.test = side()?,
        "metric" => {
            terms.metric = Metric::from_word(text).ok_or_else(|| Metric::ALL.map(Metric::word).join(", "))?;
        }
        "window" => terms.speeds = window(text)?,
        "at" => terms.speeds = Speeds::At(rpm(text, SPEEDS_RPM)?),
        "at-least" => terms.at_least = may(),
        "within" => terms.within = may(),
        "correction" => terms.correction = may(),
        "step" => terms.step = rpm(text, STEPS_RPM)?,
        "smooth" => terms.smooth = may().map(|text| rpm(&text, WIDTHS_RPM)).transpose()?,
        "scope.says" => terms.scope.says = may(),
        "scope.engine" => terms.scope.engine = may(),
        "scope.cell" => terms.scope.cell = may(),
        other => {
            let role = other.strip_prefix("scope.parts.").ok_or(MENDED)?;
            let answer = match text.as_str() {
                "none" => Answer::Nothing,
                _ => Answer::Part(PartState::parse(text).ok_or("`none`, or a part with its state as h2/b")?),
            };
            terms.scope.parts.insert(role.to_owned(), answer);
        }
    }
    Ok(())
}

/// `4000..7000 rpm`, or `none` for all speeds that the pulls share.
fn window(text: &str) -> Result<Speeds, String> {
    if text == "none" {
        return Ok(Speeds::Shared);
    }
    let expected = "LOW..HIGH in rpm: 4000..7000 rpm";
    let (from, to) = text.split_once("..").ok_or(expected)?;
    let with_unit = |text: &str| {
        let text = text.trim();
        if text.bytes().all(|byte| byte.is_ascii_digit()) { format!("{text} rpm") } else { text.to_owned() }
    };
    Ok(Speeds::Window(rpm(&with_unit(from), SPEEDS_RPM)?, rpm(&with_unit(to), SPEEDS_RPM)?))
}
