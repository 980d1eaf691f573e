//! A flow sheet's manifest.

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::bind::Bound;
use crate::manifest::bind::figure::Signed;
use crate::manifest::node::Node;
use crate::quantity::QuantityKind;
use crate::quantity::Reading;
use crate::quantity::parse_reading;
use crate::record::FlowSheet;
use crate::record::Kinds;
use crate::record::LiftPoint;
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
        Some(FlowSheet {
            tag: tag?,
            part: part?,
            with_part,
            side: side?,
            port: self.may(root, "port"),
            bench: self.may(root, "bench"),
            on: on?,
            by: by?,
            at: self.may_moment(root, "at"),
            conditions,
            lifts,
            channel: self.may(root, "channel"),
            raw,
            typed: root.get("typed").is_some_and(|flag| self.flag(flag, "typed")),
            doubts,
            note: self.may(root, "note"),
        })
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
