//! Records that were asked for, a row each.

use serde::Serialize;

/// One record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FindRow {
    /// The pull's id, the build's name, the part's tag with its newest state, the flow sheet's tag, the claim's.
    pub name: String,
    /// Its day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// Who entered or measured it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// A pull's build, a part's kind, the part on the flow bench, what is claimed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// What was asked about, as written, with how it is known; in the order of the columns; none where nobody wrote it down.
    pub values: Vec<Option<String>>,
    /// What bars it from counting: a pull set aside, a part that is gone, a claim withdrawn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}

/// Records that only lack the answer to a condition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FindUntold {
    /// The condition.
    pub name: String,
    /// The records that meet all others and say nothing of this one.
    pub records: Vec<String>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FindAnswer {
    /// pulls, builds, parts, flow or claims.
    pub finds: &'static str,
    /// What was asked, a condition each.
    pub asked: Vec<String>,
    /// What the values of a row are.
    pub columns: Vec<String>,
    /// The records, by day and name.
    pub rows: Vec<FindRow>,
    /// Records that may belong among them: nobody wrote down what was asked.
    pub untold: Vec<FindUntold>,
    /// Those among the rows that rest on something that proved doubtful.
    pub doubted: Vec<String>,
    /// Files with edits that are not kept and would change the answer.
    pub pending: Vec<String>,
    /// In a large book, how many records that were not found were not looked at for edits that are not kept.
    #[serde(skip_serializing_if = "is_none_of_them")]
    pub not_looked_at: usize,
    /// The commit that was answered from.
    pub commit: String,
    /// What to do next.
    pub next: String,
}

/// Whether a count is zero.
fn is_none_of_them(count: &usize) -> bool {
    *count == 0
}
