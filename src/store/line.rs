//! Where a commit stands on the line that a book's present goes back to.

use super::{Book, CommitId, Error};

impl Book {
    /// How many commits of the first-parent line lie between HEAD and a commit: none for HEAD itself; `None` where it
    /// does not lie on the line.
    pub fn steps_back(&self, commit: CommitId) -> Result<Option<usize>, Error> {
        let mut next = self.head_commit()?;
        let mut steps = 0;
        while let Some(id) = next {
            if id == commit.0 {
                return Ok(Some(steps));
            }
            let found = self.repo().find_commit(id).map_err(Error::git("walk the history"))?;
            next = found.parent_ids().next().map(|parent| parent.detach());
            steps += 1;
        }
        Ok(None)
    }
}
