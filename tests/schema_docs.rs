//! `docs/schemas.md` is what the schemas say: made from their annotations, held against them here.
//!
//! `UPDATE_DOCS=1 cargo test --test schema_docs` writes it anew.
#![expect(clippy::disallowed_methods, reason = "a test reads the document and, when asked, writes it")]

use std::fmt::Write as _;

use mulebook::manifest::Schemas;
use mulebook::record::Course;
use mulebook::record::Demand;
use mulebook::record::FieldSpec;
use mulebook::record::FitSpec;
use mulebook::record::Holds;
use mulebook::record::Kinds;
use mulebook::record::Voids;

const HEAD: &str = "\
# The schemas

This page is made from the files in `schema/` (`UPDATE_DOCS=1 cargo test --test schema_docs`); edit them, not it.

Each record is a YAML file with a JSON Schema (draft 2020-12). The same file serves the editor, through the modeline on a
manifest's first line, and the program, through annotations:

| annotation | on | says |
|---|---|---|
| `x-record` | a schema | which record it describes: part, build, pull, session, cell, instrument, columns, flow, claim, book, people |
| `x-version` | a schema | its version |
| `x-answers` | a part kind | the roles that an assembly of this kind answers |
| `x-instance` | a part kind | two sides have the same one only by instance or batch |
| `x-engine` | a part kind | it may stand for an engine, and say which roles that engine never has |
| `x-kinds`, `x-neighbours`, `x-order` | a role | the part kinds that fill it; the roles that touch it; its place in the order of assembly |
| `x-quantity`, `x-unit` | a field | the kind of quantity (torque is not energy, gauge is not absolute) and the unit a bare number takes |
| `x-choices` | a text field | the words it takes |
| `x-each` | a field | one value for each cylinder, valve or corner |
| `x-documented` | a field or role | `always`, `{\"when\": {\"role\": …}}` or `welcome`: whether a comparison demands it |
| `x-answered-by` | a condition | other conditions that answer it as well |
| `x-needs` | a condition | what else must be documented before it answers another: `cell.altitude` |
| `x-measured` | a field | a claim about its role needs it measured |
| `x-instrument` | a field | measured without a named instrument it is a gap |
| `x-drifts` | a field | it changes by itself and is true when taken; without it, it changes only by work |
| `x-means` | a field | the input of an engine relation that it is (`docs/engine.md`) |
| `x-voided-by` | a figure | the work that can change it |
| `x-work`, `x-voids` | a part kind | its work, what each asks for, and the fits and settings it changes in the builds that use the part |
| `x-refit` | the build | what taking apart and putting together disturbs |
| `x-alarms` | a pair of roles | rules that must hold before the two are bolted together: `of` less each of `less` is held against `at-least` and `at-most`, or a word against `not`; `size` takes it without its sign; `settled-by` names fits that show that the two were tried on each other. An operand is `ROLE.FIGURE`, `PAIR.FIT`, a setting, `derived:NAME`, or `worked:ROLE.OP.DETAIL` for all that such work has taken off; `says` what is wrong, `source` where the limit is from |
| `x-range` | a field | what is plausible; outside is a doubt, not an error |
| `x-alias` | a field or role | how else the trade spells it |
| `x-channel` | a condition | the channel of a raw file that documents it |

A book adds kinds of part by files of the same form in its own `schema/` folder; no code changes. A field's own page in the
editor shows its description: what it is, how it is taken, how much it can move a result and where that is known from.

Beside any entry of a figure `files:` may name what shows it: photos, scans and the like, each by name, SHA-256 and length as a
pull's raw files are (`schema/figure.json`). The program writes these lines (`mulebook measure … --photo FILE`).

Every commit of a book holds, in `.schema/`, the schemas by which its records were checked: so a record's own commit says under
which versions it was kept (`git show COMMIT:.schema/spacer.json`), and the editor uses the same files. Where a program brings
other versions, it goes on reading the book and writes nothing in it until `mulebook keep --schemas` has read every record by the
new ones and put them there, in one commit that `git revert` takes back. A book that a newer program wrote is read, not written.
";

#[test]
fn the_page_says_what_the_schemas_say() {
    let schemas = Schemas::load(&[]).expect("the built-in schemas hold");
    let page = page(schemas.kinds());
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/schemas.md");
    if std::env::var("UPDATE_DOCS").is_ok() {
        std::fs::write(path, &page).expect("docs/schemas.md can be written");
    }
    let kept = std::fs::read_to_string(path).expect("docs/schemas.md is there");
    assert!(
        kept == page,
        "docs/schemas.md is not what the schemas say: UPDATE_DOCS=1 cargo test --test schema_docs"
    );
}

fn page(kinds: &Kinds) -> String {
    let mut out = String::from(HEAD);
    demanded(&mut out, kinds);
    out.push_str("\n## Roles of a build, in order of assembly\n\n| role | filled by | touches | demanded |\n|---|---|---|---|\n");
    for role in &kinds.roles {
        row(
            &mut out,
            &[&code(&role.name), &role.kinds.join(", "), &role.neighbours.join(", "), &demand(&role.demand)],
        );
    }
    section(&mut out, "Settings of a build", &kinds.settings);
    for fit in &kinds.fits {
        section(&mut out, &format!("Fits: {}", fit.pair.replace('+', " and ")), &fit.fields);
        alarms(&mut out, fit);
    }
    let _ = writeln!(out, "\nA refit disturbs: {}.", voids(&kinds.refit_voids));
    section(&mut out, "Conditions of a pull", &kinds.conditions);
    section(&mut out, "How a pull was run", &kinds.run);
    section(&mut out, "Figures of a cell", &kinds.cell);
    section(&mut out, "Figures of a session", &kinds.session);
    section(&mut out, "Conditions of a flow sheet", &kinds.flow);
    for kind in kinds.parts.values() {
        section(
            &mut out,
            &format!("Part kind: {} (`{}`)", kind.title.to_lowercase(), kind.name),
            &kind.figures,
        );
        if !kind.answers.is_empty() {
            let _ = writeln!(out, "\nAn assembly: it answers {}.", kind.answers.join(", "));
        }
        if kind.by_instance {
            out.push_str("\nThe same on two sides only by instance or batch.\n");
        }
        if !kind.work.is_empty() {
            out.push_str("\n| work | asks for | changes in builds |\n|---|---|---|\n");
            for work in &kind.work {
                let asks: Vec<_> = work.asks.iter().map(|(ask, _)| ask.clone()).collect();
                row(
                    &mut out,
                    &[&format!("{} ({})", code(&work.op), work.title), &asks.join(", "), &voids(&work.voids)],
                );
            }
        }
    }
    out
}

/// The fields that a comparison demands, in one list: the shop's checklist.
fn demanded(out: &mut String, kinds: &Kinds) {
    out.push_str("\n## What a comparison demands\n\nWherever two sides could differ in it, each of these must be documented on both:\n\n");
    let mut count = 0;
    let mut item = |out: &mut String, group: &str, names: Vec<String>| {
        count += names.len();
        let _ = writeln!(out, "- {group}: {}.", names.join(", "));
    };
    let of = |fields: &[FieldSpec]| -> Vec<String> {
        fields
            .iter()
            .filter(|field| field.demand != Demand::Welcome)
            .map(|field| with_demand(&field.name, &field.demand))
            .collect()
    };
    let roles = kinds.roles.iter().filter(|role| role.demand != Demand::Welcome);
    item(
        out,
        "roles (`none` is an answer)",
        roles.map(|role| with_demand(&role.name, &role.demand)).collect(),
    );
    for kind in kinds.parts.values() {
        let figures = of(&kind.figures);
        if !figures.is_empty() {
            item(out, &format!("figures of a {}", kind.title.to_lowercase()), figures);
        }
    }
    item(out, "settings", of(&kinds.settings));
    item(out, "conditions", of(&kinds.conditions));
    item(out, "the run", of(&kinds.run));
    item(out, "and", vec!["the correction that the file carries".to_owned()]);
    let _ = writeln!(out, "\n{count} in all; each says in its description how much it can move a result.");
}

fn with_demand(name: &str, demand: &Demand) -> String {
    match demand {
        Demand::WhenRole(role) => format!("{} (where there is a {role})", code(name)),
        _ => code(name),
    }
}

fn section(out: &mut String, title: &str, fields: &[FieldSpec]) {
    if fields.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "\n## {title}\n\n| field | what | holds | demanded | voided by |\n|---|---|---|---|---|"
    );
    for field in fields {
        let mut holds = match &field.holds {
            Holds::Quantity { kind, unit } if unit.symbol().is_empty() => kind.title().to_owned(),
            Holds::Quantity { kind, unit } => format!("{}, {}", kind.title(), unit.symbol()),
            Holds::Text => "text".to_owned(),
            Holds::Choice(words) => words.join(" / "),
        };
        if let Some(each) = &field.each {
            let _ = write!(holds, ", each {each}");
        }
        if field.course == Course::Drifting {
            holds.push_str(", drifts");
        }
        if field.instrument {
            holds.push_str(", with an instrument");
        }
        row(
            out,
            &[&code(&field.name), &field.title, &holds, &demand(&field.demand), &field.voided_by.join(", ")],
        );
    }
}

/// The rules of a pair, shown by `build`, `keep`, `sheet` and `gaps`.
fn alarms(out: &mut String, fit: &FitSpec) {
    if fit.alarms.is_empty() {
        return;
    }
    out.push_str("\n| alarm before bolting on | looks at | limit | source |\n|---|---|---|---|\n");
    for alarm in &fit.alarms {
        let less: String = alarm.less.iter().map(|path| format!(" less {}", code(path))).collect();
        let size = if alarm.size { ", either way" } else { "" };
        let mut limit: Vec<String> = Vec::new();
        limit.extend(alarm.at_least.iter().map(|text| format!("at least {text}")));
        limit.extend(alarm.at_most.iter().map(|text| format!("at most {text}")));
        limit.extend((!alarm.not.is_empty()).then(|| format!("not {}", alarm.not.join(", not "))));
        let looks = format!("{}{less}{size}", code(&alarm.of));
        row(
            out,
            &[&format!("{} ({})", code(&alarm.name), alarm.says), &looks, &limit.join(", "), &alarm.source],
        );
    }
}

fn row(out: &mut String, cells: &[&str]) {
    let _ = writeln!(
        out,
        "| {} |",
        cells.iter().map(|cell| cell.replace('|', "\\|")).collect::<Vec<_>>().join(" | ")
    );
}

fn code(text: &str) -> String {
    format!("`{text}`")
}

fn demand(demand: &Demand) -> String {
    match demand {
        Demand::Always => "always".to_owned(),
        Demand::WhenRole(role) => format!("where there is a {role}"),
        Demand::Welcome => String::new(),
    }
}

fn voids(voids: &[Voids]) -> String {
    let words = voids.iter().map(|target| match target {
        Voids::Setting(name) => format!("setting {}", code(name)),
        Voids::Fit { pair, name: Some(name) } => format!("fit {}", code(&format!("{pair}.{name}"))),
        Voids::Fit { pair, name: None } => format!("fits {}", code(pair)),
        Voids::AllFits => "every fit".to_owned(),
    });
    words.collect::<Vec<_>>().join(", ")
}
