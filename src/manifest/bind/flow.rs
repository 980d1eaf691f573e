//! A flow sheet's manifest.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::bind::Bound;
use crate::manifest::bind::figure::Signed;
use crate::manifest::node::Node;
use crate::quantity::QuantityKind;
use crate::quantity::Reading;
use crate::quantity::parse_reading;
use crate::record::Corrected;
use crate::record::Correction;
use crate::record::FlowSheet;
use crate::record::Kinds;
use crate::record::LiftPoint;
use crate::record::Moment;
use crate::record::PartState;
use crate::record::PortSide;

/// Reads a flow sheet.
pub fn flow(file: &str, root: &Node, kinds: &Kinds) -> Bound<FlowSheet> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.flow(root);
    binder.finish(record)
}

impl Binder<'_> {
    fn flow(&mut self, root: &Node) -> Option<FlowSheet> {
        let tag = self.tag(root, "flow");
        let part = match root.get("part") {
            Some(part) => self.part_state(part, "part"),
            None => self.needs(root, "part").and(None),
        };
        let with_part = root.get("with-part").map(Node::items).unwrap_or_default();
        let with_part =
            with_part.iter().filter_map(|node| self.part_state(node, "with-part")).collect::<Vec<_>>();
        let side = self.needs(root, "side").and_then(|word| {
            let side = [PortSide::Inlet, PortSide::Exhaust].into_iter().find(|side| side.word() == word);
            if side.is_none() {
                let place = self.place(root.get("side").unwrap_or(root), "side");
                self.push(
                    Finding::error("not-a-choice", "this word is not one of the choices")
                        .at(place)
                        .found(format!("`{word}`"))
                        .expected("inlet, exhaust"),
                );
            }
            side
        });
        let kinds = self.kinds;
        let conditions = self.figures(root.get("conditions"), "conditions", Signed::ByRecord, |name| {
            kinds.flow.iter().find(|field| field.name == name)
        });
        let lifts = root.get("lifts").map(Node::items).unwrap_or_default();
        let lifts = lifts.iter().filter_map(|node| self.lift_point(node)).collect::<Vec<_>>();
        let raw = self.raw_files(root);
        let doubts = self.recorded_doubts(root);
        let (on, by) = (self.needs_moment(root, "on"), self.needs(root, "by"));
        let corrected = self.corrections(root.get("corrected"), Some(&kinds.flow));
        let mut sheet = FlowSheet {
            tag: tag?,
            part: part?,
            with_part,
            side: side?,
            port: self.may(root, "port"),
            cylinder: self.may(root, "cylinder"),
            bench: self.may(root, "bench"),
            on: on?,
            by: by?,
            at: self.may_moment(root, "at"),
            conditions,
            first_conditions: BTreeMap::new(),
            lifts,
            channel: self.may(root, "channel"),
            raw,
            typed: root.get("typed").is_some_and(|flag| self.flag(flag, "typed")),
            doubts,
            corrected: corrected.clone(),
            note: self.may(root, "note"),
        };
        for (number, correction) in corrected.into_iter().enumerate() {
            let node = root.get("corrected").and_then(|list| list.items().get(number)).unwrap_or(root);
            if let Err(expected) = mend(&mut sheet, &correction, kinds) {
                let place = self.place(node, &format!("corrected.{number}"));
                self.push(
                    Finding::error("not-corrected-here", "this does not mend a flow sheet")
                        .at(place)
                        .found(format!("`{}`", correction.set))
                        .expected(expected),
                );
            }
        }
        Some(sheet)
    }

    fn part_state(&mut self, node: &Node, field: &str) -> Option<PartState> {
        let text = self.text(node, field)?;
        let part = PartState::parse(&text);
        if part.is_none() {
            let place = self.place(node, field);
            self.push(
                Finding::error("not-a-part-state", "this does not say which part in which state")
                    .at(place)
                    .found(format!("`{text}`"))
                    .expected("a part with its state as h2/b"),
            );
        }
        part
    }

    fn lift_point(&mut self, node: &Node) -> Option<LiftPoint> {
        let lift = self.lift_reading(node, "lift", QuantityKind::Length);
        let flow = self.lift_reading(node, "flow", QuantityKind::VolumeFlow);
        let test_pressure = node
            .get("test-pressure")
            .is_some()
            .then(|| self.lift_reading(node, "test-pressure", QuantityKind::PressureDifference));
        Some(LiftPoint { lift: lift?, flow: flow?, test_pressure: test_pressure.flatten() })
    }

    fn lift_reading(&mut self, node: &Node, key: &str, kind: QuantityKind) -> Option<Reading> {
        let text = self.needs(node, key)?;
        match parse_reading(&text, kind, None) {
            Ok(reading) => Some(reading),
            Err(error) => {
                let place = self.place(node.get(key).unwrap_or(node), &format!("lifts.{key}"));
                self.push(
                    Finding::error(error.code(), "this does not read as a figure of its kind")
                        .at(place)
                        .found(error.found())
                        .expected(error.expected())
                        .next(error.hint()),
                );
                None
            }
        }
    }
}

/// Puts what a correction says in the place of what stood there, or says what would have done.
fn mend(sheet: &mut FlowSheet, correction: &Correction, kinds: &Kinds) -> Result<(), &'static str> {
    let text = match &correction.to {
        Corrected::Figure(figure) => {
            let name =
                correction.set.strip_prefix("conditions.").filter(|name| kinds.flow_field(name).is_some());
            let name = name.ok_or("a condition of a flow sheet: `conditions.NAME`")?;
            if let Some(first) = sheet.conditions.insert(name.to_owned(), figure.clone()) {
                sheet.first_conditions.entry(name.to_owned()).or_insert(first);
            }
            return Ok(());
        }
        Corrected::Text(text) => text,
        Corrected::Role(_) => return Err("a condition, part, side, port, cylinder, bench or on"),
    };
    match correction.set.as_str() {
        "part" => sheet.part = PartState::parse(text).ok_or("a part with its state as h2/b")?,
        "side" => sheet.side = PortSide::from_word(text).ok_or("inlet or exhaust")?,
        "on" => sheet.on = Moment::parse(text).map_err(|_| "a day as 2026-04-12")?,
        "port" => sheet.port = Some(text.clone()),
        "cylinder" => sheet.cylinder = Some(text.clone()),
        "bench" => sheet.bench = Some(text.clone()),
        _ => return Err("a condition, part, side, port, cylinder, bench or on"),
    }
    Ok(())
}
