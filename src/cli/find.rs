//! `find`.

use clap::Args;
use clap::ValueEnum;

use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::as_of::KnownOnArgs;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::find;
use crate::workflow::find::FindRequest;

/// Find pulls, builds, parts, flow sheets or claims by part, figure, setting, condition, day and person
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook find pulls --with intake=int-2 --where 'ignition-timing > 30 deg' --since 2026-03\n  mulebook find builds --with h2/b\n  mulebook find parts --kind header --where 'primary-length > 750 mm'\n  mulebook find pulls --where 'air-temperature >= 25 degC' --csv > warm.csv\n\nA condition is NAME OPERATOR VALUE with = != < <= > >=, or NAME = FROM..TO; a name is a role, a figure\n(header.primary-length), a setting, a condition or a derived figure (compression-ratio). Records that say\nnothing of what is asked are named apart: they may belong among the others."
)]
pub(super) struct Find {
    /// What to find
    what: What,
    /// A part that was on: h2, h2/b, header=long-1, spacer=none (may be given several times)
    #[arg(long, value_name = "PART")]
    with: Vec<String>,
    /// A condition (may be given several times)
    #[arg(long = "where", value_name = "CONDITION")]
    conditions: Vec<String>,
    /// From this day, month or year on
    #[arg(long, value_name = "DAY")]
    since: Option<String>,
    /// Up to this day, month or year
    #[arg(long, value_name = "DAY")]
    until: Option<String>,
    /// Run, put together or worked on by that person
    #[arg(long = "who", value_name = "INITIALS")]
    who: Option<String>,
    /// Of that session
    #[arg(long, value_name = "TAG")]
    session: Option<String>,
    /// In that cell
    #[arg(long, value_name = "TAG")]
    cell: Option<String>,
    /// Of that kind, for parts
    #[arg(long, value_name = "KIND")]
    kind: Option<String>,
    #[command(flatten)]
    as_of: KnownOnArgs,
    /// Answer as CSV
    #[arg(long)]
    csv: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum What {
    /// Dyno runs
    Pulls,
    /// Engine configurations
    Builds,
    /// Parts in their newest state
    Parts,
    /// Flow-bench sheets
    Flow,
    /// Claims
    Claims,
}

impl Find {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let as_of = self.as_of.as_of();
        let known = as_of.known(&book)?;
        let progress = surroundings.progress();
        let answer = find::find_in(
            &book,
            FindRequest {
                sort: match self.what {
                    What::Pulls => find::Sort::Pulls,
                    What::Builds => find::Sort::Builds,
                    What::Parts => find::Sort::Parts,
                    What::Flow => find::Sort::Flow,
                    What::Claims => find::Sort::Claims,
                },
                with: self.with,
                conditions: self.conditions,
                since: self.since,
                until: self.until,
                by: self.who,
                session: self.session,
                cell: self.cell,
                kind: self.kind,
                as_of,
            },
            find::From::Catalog,
            &*progress,
        )?;
        let look = surroundings.look();
        let said = Said::known(known.as_ref(), look, &render::find(&answer, look), ("find", &answer));
        // A table for other programs begins with its heading.
        Ok(if self.csv { Said { text: render::find_csv(&answer), ..said } } else { said })
    }
}
