//! Which version of the book a reading command asks.

use clap::Args;

use crate::workflow::AsOf;

/// The options of commands that can be asked as known on a date.
#[derive(Debug, Args)]
pub(super) struct AsOfArgs {
    /// Answer from the work tree, pending edits included
    #[arg(long, conflicts_with = "known_on")]
    pending: bool,
    #[command(flatten)]
    known: KnownOnArgs,
}

/// The option of commands that can be asked as known on a date, and know no pending edits.
#[derive(Debug, Args)]
pub(super) struct KnownOnArgs {
    /// Answer from what was in the book at the end of that day
    #[arg(long, value_name = "DAY")]
    known_on: Option<String>,
}

impl AsOfArgs {
    pub(super) fn as_of(&self) -> AsOf {
        if self.pending { AsOf::Pending } else { self.known.as_of() }
    }

    /// The words of a command line that asks the same.
    pub(super) fn words(&self) -> Vec<String> {
        self.known.words().into_iter().chain(self.pending.then(|| "--pending".to_owned())).collect()
    }
}

impl KnownOnArgs {
    /// The words of a command line that asks the same.
    pub(super) fn words(&self) -> Vec<String> {
        self.known_on.iter().flat_map(|day| ["--known-on".to_owned(), day.clone()]).collect()
    }

    pub(super) fn as_of(&self) -> AsOf {
        self.known_on.clone().map_or(AsOf::Present, AsOf::known_on)
    }
}
