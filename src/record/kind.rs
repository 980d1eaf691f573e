//! What the schemas say about records, compiled: part kinds, roles, settings, fits, conditions, and what work voids.

use std::collections::BTreeMap;

use crate::finding::Finding;
use crate::finding::Place;
use crate::quantity::QuantityKind;
use crate::quantity::Unit;
use crate::record::AlarmSpec;
use crate::record::Course;

/// What a field holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Holds {
    /// A quantity of one kind; a bare number on the command line takes the preferred unit.
    Quantity {
        /// The kind.
        kind: QuantityKind,
        /// The preferred unit.
        unit: &'static Unit,
    },
    /// Free text.
    Text,
    /// One word of a closed list.
    Choice(Vec<String>),
}

/// Whether a comparison demands a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Demand {
    /// It must be documented on both sides wherever they could differ.
    Always,
    /// It must be where this role is answered by a part.
    WhenRole(String),
    /// It is good to have.
    Welcome,
}

/// One field of a schema.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldSpec {
    /// Its key in a manifest.
    pub name: String,
    /// The trade's name for it.
    pub title: String,
    /// What it is and how it is taken.
    pub description: String,
    /// What it holds.
    pub holds: Holds,
    /// One value for each of these (`cylinder`, `valve`, `corner`).
    pub each: Option<String>,
    /// Whether a comparison demands it.
    pub demand: Demand,
    /// A claim about its role needs it measured.
    pub measured: bool,
    /// Measured without a named instrument it is a gap.
    pub instrument: bool,
    /// Whether it changes only by work, or by itself.
    pub course: Course,
    /// The input of an engine relation that it is.
    pub means: Option<String>,
    /// The work that can change it.
    pub voided_by: Vec<String>,
    /// Plausible limits, in SI: outside is a doubt.
    pub range: Option<(f64, f64)>,
    /// Other spellings of its name.
    pub aliases: Vec<String>,
    /// The channel of a raw file that documents it.
    pub channel: Option<String>,
    /// Other fields that answer it as well (humidity by a wet bulb).
    pub answered_by: Vec<String>,
    /// What else must be documented before it may answer another (`cell.altitude`).
    pub needs: Vec<String>,
    /// The role it belongs to, for a setting.
    pub role: Option<String>,
}

impl FieldSpec {
    /// A field that holds something and asks for nothing.
    pub fn plain(name: &str, holds: Holds) -> Self {
        Self {
            name: name.to_owned(),
            title: name.to_owned(),
            description: String::new(),
            holds,
            each: None,
            demand: Demand::Welcome,
            measured: false,
            instrument: false,
            course: Course::Fixed,
            means: None,
            voided_by: Vec::new(),
            range: None,
            aliases: Vec::new(),
            channel: None,
            answered_by: Vec::new(),
            needs: Vec::new(),
            role: None,
        }
    }
}

/// What a piece of work, or a refit, can change beyond the part's own figures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Voids {
    /// All fits of a pair of roles, or one of them.
    Fit {
        /// The pair, as `cylinder-head+intake`.
        pair: String,
        /// The fit's name; none means all of the pair.
        name: Option<String>,
    },
    /// A setting.
    Setting(String),
    /// Every fit.
    AllFits,
}

/// A kind of work and what it asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkSpec {
    /// Its word in a manifest (`mill-deck`).
    pub op: String,
    /// The trade's words (`deck milled`).
    pub title: String,
    /// The details it asks for, with what they hold.
    pub asks: Vec<(String, Holds)>,
    /// What it voids in the builds that use the part.
    pub voids: Vec<Voids>,
}

/// A kind of part.
#[derive(Debug, Clone, PartialEq)]
pub struct PartKind {
    /// Its name (`cylinder-head`), also the folder of its parts.
    pub name: String,
    /// The trade's name.
    pub title: String,
    /// Version of its schema.
    pub version: u32,
    /// The roles that an assembly of this kind answers.
    pub answers: Vec<String>,
    /// The same only by instance or batch (gasket, oil, fuel, plugs).
    pub by_instance: bool,
    /// May stand for an engine.
    pub engine: bool,
    /// Takes figures that its schema does not name.
    pub open: bool,
    /// Its figures, in the schema's order.
    pub figures: Vec<FieldSpec>,
    /// The work done on it.
    pub work: Vec<WorkSpec>,
}

impl PartKind {
    /// The figure of that name.
    pub fn figure(&self, name: &str) -> Option<&FieldSpec> {
        self.figures.iter().find(|field| field.name == name)
    }

    /// The work of that name.
    pub fn work(&self, op: &str) -> Option<&WorkSpec> {
        self.work.iter().find(|work| work.op == op)
    }
}

/// A role in a build.
#[derive(Debug, Clone, PartialEq)]
pub struct RoleSpec {
    /// Its key (`cylinder-head`).
    pub name: String,
    /// The trade's name.
    pub title: String,
    /// What it is.
    pub description: String,
    /// The kinds of part that fill it.
    pub kinds: Vec<String>,
    /// Roles that touch it.
    pub neighbours: Vec<String>,
    /// Whether a comparison demands an answer.
    pub demand: Demand,
    /// Its place in the order of assembly.
    pub order: i64,
    /// Other spellings.
    pub aliases: Vec<String>,
}

/// The fits of two roles.
#[derive(Debug, Clone, PartialEq)]
pub struct FitSpec {
    /// The pair, as `cylinder-head+intake`.
    pub pair: String,
    /// Its figures.
    pub fields: Vec<FieldSpec>,
    /// What must hold before the two are bolted together.
    pub alarms: Vec<AlarmSpec>,
}

impl FitSpec {
    /// The two roles.
    pub fn roles(&self) -> (&str, &str) {
        self.pair.split_once('+').unwrap_or((&self.pair, ""))
    }
}

/// Everything the schemas say, compiled.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Kinds {
    /// Part kinds by name.
    pub parts: BTreeMap<String, PartKind>,
    /// The roles of a build, in order of assembly.
    pub roles: Vec<RoleSpec>,
    /// The settings of a build.
    pub settings: Vec<FieldSpec>,
    /// The fits of a build.
    pub fits: Vec<FitSpec>,
    /// What a refit disturbs.
    pub refit_voids: Vec<Voids>,
    /// The conditions of a pull.
    pub conditions: Vec<FieldSpec>,
    /// How a pull was run.
    pub run: Vec<FieldSpec>,
    /// Figures of a cell.
    pub cell: Vec<FieldSpec>,
    /// Figures of a session.
    pub session: Vec<FieldSpec>,
    /// Figures of a flow sheet.
    pub flow: Vec<FieldSpec>,
    /// Version of each schema by name.
    pub versions: BTreeMap<String, u32>,
}

impl Kinds {
    /// The part kind of that name.
    pub fn part(&self, kind: &str) -> Option<&PartKind> {
        self.parts.get(kind)
    }

    /// The role of that name.
    pub fn role(&self, name: &str) -> Option<&RoleSpec> {
        self.roles.iter().find(|role| role.name == name)
    }

    /// The setting of that name.
    pub fn setting(&self, name: &str) -> Option<&FieldSpec> {
        self.settings.iter().find(|field| field.name == name)
    }

    /// The condition of that name.
    pub fn condition(&self, name: &str) -> Option<&FieldSpec> {
        self.conditions.iter().find(|field| field.name == name)
    }

    /// The field of a run of that name.
    pub fn run_field(&self, name: &str) -> Option<&FieldSpec> {
        self.run.iter().find(|field| field.name == name)
    }

    /// The condition of a flow sheet of that name.
    pub fn flow_field(&self, name: &str) -> Option<&FieldSpec> {
        self.flow.iter().find(|field| field.name == name)
    }

    /// The fits of that pair, whichever way round it is named.
    pub fn fit(&self, pair: &str) -> Option<&FitSpec> {
        let turned = pair.split_once('+').map(|(a, b)| format!("{b}+{a}"));
        self.fits.iter().find(|fit| fit.pair == pair || Some(&fit.pair) == turned.as_ref())
    }

    /// The assembly kinds that answer a role.
    pub fn assemblies_for<'a>(&'a self, role: &'a str) -> impl Iterator<Item = &'a PartKind> {
        self.parts.values().filter(move |kind| kind.answers.iter().any(|answered| answered == role))
    }

    /// Demands more than the shipped schemas do, as a book's own page lists it: `role:ignition`,
    /// `setting:plug-gap`, `figure:cylinder-head.port-volume`, `fit:a+b.name`, `condition:…`, `run:…`.
    ///
    /// # Errors
    /// A name that no schema knows.
    pub fn demand_more(&mut self, demands: &[String]) -> Result<(), Finding> {
        for demand in demands {
            let (group, name) = demand.split_once(':').unwrap_or(("", demand));
            let slot = match group {
                "role" => self.roles.iter_mut().find(|role| role.name == name).map(|role| &mut role.demand),
                "setting" => demand_of(&mut self.settings, name),
                "condition" => demand_of(&mut self.conditions, name),
                "run" => demand_of(&mut self.run, name),
                "figure" => name.split_once('.').and_then(|(kind, figure)| {
                    self.parts.get_mut(kind).and_then(|kind| demand_of(&mut kind.figures, figure))
                }),
                "fit" => name.split_once('.').and_then(|(pair, fit)| {
                    self.fits
                        .iter_mut()
                        .find(|spec| spec.pair == pair)
                        .and_then(|spec| demand_of(&mut spec.fields, fit))
                }),
                _ => None,
            };
            match slot {
                Some(slot) => *slot = Demand::Always,
                None => {
                    return Err(Finding::error(
                        "unknown-field",
                        "the book demands a field that no schema knows",
                    )
                    .at(Place::file("book.yaml").field("documented"))
                    .found(format!("`{demand}`"))
                    .expected("role:…, setting:…, figure:KIND.NAME, fit:PAIR.NAME, condition:… or run:…"));
                }
            }
        }
        Ok(())
    }
}

fn demand_of<'f>(fields: &'f mut [FieldSpec], name: &str) -> Option<&'f mut Demand> {
    fields.iter_mut().find(|field| field.name == name).map(|field| &mut field.demand)
}
