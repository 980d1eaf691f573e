//! A rule between neighbouring parts, as a schema declares it: what must hold before they are bolted together.

/// One rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlarmSpec {
    /// Its short name (`gasket-bore-under-bore`).
    pub name: String,
    /// What is wrong where it does not hold.
    pub says: String,
    /// What is looked at: `ROLE.FIGURE`, `PAIR.FIT`, a setting, `derived:NAME`, or `worked:ROLE.OP.DETAIL` for all that
    /// such work has taken off the part.
    pub of: String,
    /// What is taken from it.
    pub less: Vec<String>,
    /// Its size counts, whatever its sign.
    pub size: bool,
    /// The least that is let pass, with its unit.
    pub at_least: Option<String>,
    /// The most.
    pub at_most: Option<String>,
    /// Words that it must not be.
    pub not: Vec<String>,
    /// What settles it where it stands in the build: the two were tried on each other.
    pub settled_by: Vec<String>,
    /// Where the limit is from.
    pub source: String,
}
