//! A build's manifest, and the corrections that builds, pulls and parts share.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::manifest::bind::Binder;
use crate::manifest::bind::Bound;
use crate::manifest::bind::figure::Signed;
use crate::manifest::node::Content;
use crate::manifest::node::Node;
use crate::record::Build;
use crate::record::Corrected;
use crate::record::Correction;
use crate::record::FieldSpec;
use crate::record::Kinds;

/// Reads a build.
pub fn build(file: &str, root: &Node, kinds: &Kinds) -> Bound<Build> {
    let mut binder = Binder::new(file, kinds);
    let record = binder.build(root);
    binder.finish(record)
}

/// A field's plain name: `parts.spacer`, `settings.x` and `fits.a+b.c` are said without their group.
pub(super) fn plain_target(set: &str) -> &str {
    ["parts.", "settings.", "fits."].iter().find_map(|group| set.strip_prefix(group)).unwrap_or(set)
}

impl Binder<'_> {
    fn build(&mut self, root: &Node) -> Option<Build> {
        let name = self.tag(root, "build");
        let engine = self.tag(root, "engine");
        let since = self.needs_moment(root, "since");
        let kinds = self.kinds;
        let mut parts = BTreeMap::new();
        for (key, value) in root.get("parts").map(Node::entries).unwrap_or_default() {
            let role = key.text().unwrap_or_default();
            if kinds.role(role).is_none() {
                self.unknown_name(key, "parts", "role", kinds.roles.iter().map(|role| role.name.as_str()));
                continue;
            }
            if let Some(answer) = self.answer(value, &format!("parts.{role}")) {
                parts.insert(role.to_owned(), answer);
            }
        }
        let mut fits = BTreeMap::new();
        for (key, value) in root.get("fits").map(Node::entries).unwrap_or_default() {
            let pair = key.text().unwrap_or_default();
            let Some(spec) = kinds.fit(pair) else {
                self.unknown_name(
                    key,
                    "fits",
                    "pair of roles",
                    kinds.fits.iter().map(|fit| fit.pair.as_str()),
                );
                continue;
            };
            let path = format!("fits.{pair}");
            let figures = self.figures(Some(value), &path, Signed::Itself, |name| {
                spec.fields.iter().find(|field| field.name == name)
            });
            fits.insert(spec.pair.clone(), figures);
        }
        let settings =
            self.figures(root.get("settings"), "settings", Signed::Itself, |name| kinds.setting(name));
        Some(Build {
            name: name?,
            engine: engine?,
            since: since?,
            by: self.may(root, "by"),
            from: self.may(root, "from"),
            parts,
            settings,
            fits,
            refit: root.get("refit").is_some_and(|flag| self.flag(flag, "refit")),
            corrected: self.corrections(root.get("corrected"), None),
            note: self.may(root, "note"),
        })
    }

    pub(super) fn unknown_name<'s>(
        &mut self,
        key: &Node,
        field: &str,
        what: &str,
        known: impl Iterator<Item = &'s str>,
    ) {
        let name = key.text().unwrap_or_default();
        let known: Vec<&str> = known.collect();
        let place = self.place(key, &format!("{field}.{name}"));
        let finding = Finding::error("unknown-field", format!("there is no such {what}"))
            .at(place)
            .found(format!("`{name}`"));
        let near = nearest(name, &known);
        self.push(match near {
            Some(near) => finding.next(format!("did you mean `{near}`?")),
            None => finding.expected(known.join(", ")),
        });
    }

    /// The corrections of a record; `own` are the figures of a part or the conditions of a flow sheet, none for builds
    /// and pulls.
    pub(super) fn corrections(&mut self, node: Option<&Node>, own: Option<&[FieldSpec]>) -> Vec<Correction> {
        let items = node.map(Node::items).unwrap_or_default();
        items.iter().enumerate().filter_map(|(number, item)| self.correction(item, number, own)).collect()
    }

    fn correction(&mut self, node: &Node, number: usize, own: Option<&[FieldSpec]>) -> Option<Correction> {
        let set = plain_target(&self.needs(node, "set")?).to_owned();
        let field = format!("corrected.{number}.to");
        let Some(value) = node.get("to") else {
            self.needs(node, "to");
            return None;
        };
        let kinds = self.kinds;
        let to = if own.is_none() && kinds.role(&set).is_some() {
            Corrected::Role(self.answer(value, &field)?)
        } else if let (Some(why), true) = (value.get("unknown").and_then(Node::text), set.starts_with("run."))
        {
            Corrected::Text(format!("unknown: {why}"))
        } else if matches!(value.content, Content::Scalar(..)) {
            Corrected::Text(value.text().unwrap_or_default().to_owned())
        } else {
            let spec = own
                .and_then(|own| own.iter().find(|spec| spec.name == set.trim_start_matches("conditions.")))
                .or_else(|| figure_spec(kinds, &set));
            Corrected::Figure(self.figure(value, &field, Signed::ByRecord, spec))
        };
        Some(Correction {
            set,
            to,
            was: node.get("was").and_then(Node::text).unwrap_or("nothing").to_owned(),
            because: self.needs(node, "because")?,
            by: self.needs(node, "by")?,
            on: self.needs_moment(node, "on")?,
        })
    }
}

/// The schema of a setting, a fit (`pair.name`) or a condition (`conditions.name`).
pub(super) fn figure_spec<'k>(kinds: &'k Kinds, name: &str) -> Option<&'k FieldSpec> {
    if let Some(condition) = name.strip_prefix("conditions.") {
        return kinds.condition(condition);
    }
    match name.split_once('.') {
        Some((pair, fit)) => kinds.fit(pair)?.fields.iter().find(|field| field.name == fit),
        None => kinds.setting(name),
    }
}

/// The known name that shares most with a misspelt one.
fn nearest<'s>(name: &str, known: &[&'s str]) -> Option<&'s str> {
    known
        .iter()
        .map(|candidate| (similar::TextDiff::from_chars(name, *candidate).ratio(), *candidate))
        .filter(|(ratio, _)| *ratio > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}
