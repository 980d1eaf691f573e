//! `mend`.

use std::path::PathBuf;

use clap::Args;

use crate::cli::DAMAGED;
use crate::cli::FAILED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::render;
use crate::workflow::Failure;
use crate::workflow::mend;

/// Put a damaged book right: what proves itself by its hash comes back, nothing is thrown away
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  mulebook mend\n  mulebook mend --from /media/backup/my-engine\n  mulebook mend --clean          removes what the first run listed as lying about\n\nWhat is put in the place of something damaged leaves that in .git/mulebook/aside/.\nExit code 4 means that something still does not hold."
)]
pub(super) struct Mend {
    /// Another copy of the book: a clone or a backup; it is only read
    #[arg(long, value_name = "COPY")]
    from: Option<PathBuf>,

    /// Remove what interrupted commands left lying about; without this it is only listed
    #[arg(long)]
    clean: bool,
}

impl Mend {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let folder = surroundings.folder()?;
        let context = surroundings.context("mend", None)?;
        let answer = mend::mend(&folder, self.from.as_deref(), self.clean, &context)?;
        let code = match answer.damage.is_empty() {
            _ if answer.disk_failed => FAILED,
            true => 0,
            false => DAMAGED,
        };
        Ok(Said {
            text: render::mend(&answer, surroundings.look()),
            json: render::json("mend", &answer),
            code,
        })
    }
}
