//! A paper form for a record, blank or filled in, and what was keyed back from one.

use serde::Serialize;

use crate::answer::Entered;
use crate::answer::FlowEntered;
use crate::answer::PullEntered;

/// Columns that a line's label may take on paper.
pub const LABEL: usize = 41;

/// What the lines of a section are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Section {
    /// Names, days, words of the record itself.
    About,
    /// Figures of a part, a cell or a session.
    Figures,
    /// Roles of a build, each answered by a part.
    Roles,
    /// What is turned by hand.
    Settings,
    /// How two roles go together.
    Fits,
    /// How a pull was run.
    Run,
    /// Weather, temperatures and the like.
    Conditions,
    /// What was changed by hand against the build, each with its name.
    Changed,
    /// Further fields, each with its name.
    Fields,
    /// What a piece of work asks for.
    Details,
    /// Rows of a table written by hand.
    Table,
}

/// One line to be filled in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FormLine {
    /// Its number on the form, by which it is keyed back.
    pub number: u32,
    /// Its short name, by which it is keyed back as well.
    pub name: String,
    /// The trade's name for it.
    pub title: String,
    /// The unit of a number written without one.
    pub unit: Option<String>,
    /// The words that it takes, where it takes a few.
    pub words: Vec<String>,
    /// One value for each of these.
    pub each: Option<String>,
    /// The record needs it, or a comparison asks for it.
    pub asked: bool,
    /// Measured without a named instrument it is a gap.
    pub instrument: bool,
    /// What is written on it, as it is keyed back.
    pub value: Option<String>,
}

impl FormLine {
    /// What stands before the place to write: title, unit, and the marks that the form explains.
    pub fn label(&self) -> String {
        let mut label = self.title.replace(['=', '\n'], " ");
        for more in [&self.unit, &self.each.as_ref().map(|each| format!("each {each}"))].into_iter().flatten()
        {
            label.push_str(", ");
            label.push_str(more);
        }
        let marks = match (self.asked, self.instrument) {
            (false, false) => "",
            (true, false) => " *",
            (false, true) => " @",
            (true, true) => " *@",
        };
        let room = LABEL - marks.len();
        if label.chars().count() > room {
            label = label.chars().take(room - 1).collect::<String>().trim_end().to_owned() + "\u{2026}";
        }
        label + marks
    }
}

/// Lines that belong together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FormSection {
    /// What they are.
    pub section: Section,
    /// What stands over them.
    pub title: String,
    /// The lines.
    pub lines: Vec<FormLine>,
}

/// A form, blank or filled in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FormAnswer {
    /// Its number: kind, version of the schema, and four digits that change with the lines or their order.
    pub form: String,
    /// The kind of record.
    pub kind: String,
    /// The trade's name for it.
    pub title: String,
    /// Version of its schema.
    pub schema: u32,
    /// The book.
    pub book: String,
    /// The commit that it was made from.
    pub commit: String,
    /// The record that fills it in.
    pub of: Option<String>,
    /// What is to be known of it, a line each.
    pub notes: Vec<String>,
    /// Its sections in the order of the paper; filled in, only the lines with something on them, in the record's order.
    pub sections: Vec<FormSection>,
    /// The command that keys it back.
    pub next: String,
}

/// A line as it was keyed back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct KeyedLine {
    /// Its number on the form.
    pub number: u32,
    /// Its short name.
    pub name: String,
    /// What was keyed.
    pub value: String,
}

/// A form that was keyed back.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FormKeyed {
    /// Its number.
    pub form: String,
    /// The kind of record.
    pub kind: String,
    /// What was keyed, in the order in which it was.
    pub lines: Vec<KeyedLine>,
    /// How many lines stayed blank.
    pub blank: usize,
    /// What was entered.
    pub entered: FormEntered,
}

/// What a form keyed back has entered, as the record's own command tells it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum FormEntered {
    /// A record entered or changed.
    Record(Entered),
    /// A pull.
    Pull(PullEntered),
    /// A flow sheet.
    Flow(FlowEntered),
}
