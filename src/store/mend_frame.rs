//! What a repository needs to be opened at all, and its branches: HEAD, settings, references, each from what still
//! says how it was.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use gix::ObjectId;

use super::branch_log::{branches, last_of_log, packed_line};
use super::mend::put_aside;
use super::path::{self, Standing, standing};
use super::{Book, Error, Mended, Mending, sync};

/// What a repository's settings are when nothing is known of them.
const SETTINGS: &str = "[core]\n\trepositoryformatversion = 0\n\tfilemode = true\n\tbare = false\n\tlogallrefupdates = true\n\tfsync = all\n";

/// Puts HEAD and the settings right where the repository could not be opened for them.
pub(super) fn mend_frame(root: &Path, mended: &mut Vec<Mended>) -> Result<(), Error> {
    let git = root.join(".git");
    for folder in ["objects", "refs"] {
        sync::make_folder(&git.join(folder))?;
    }
    let settings = git.join("config");
    if gix::config::File::from_path_no_includes(settings.clone(), gix::config::Source::Local).is_err() {
        let aside = replace(root, &settings, SETTINGS.as_bytes())?;
        mended.push(Mended {
            path: ".git/config".to_owned(),
            what: "settings",
            from: "git's own defaults: name remotes again with `git remote add`".to_owned(),
            aside,
        });
    }
    let head = git.join("HEAD");
    let stands = fs::read_to_string(&head).unwrap_or_default();
    let branches = branches(&git);
    let leads_somewhere = match stands.trim_end().strip_prefix("ref: ") {
        // A branch that was never born has no log either.
        Some(name) => {
            name.starts_with("refs/")
                && path::check(name).is_ok()
                && (branches.contains_key(name) || (branches.is_empty() && last_of_log(&git, name).is_none()))
        }
        None => ObjectId::from_hex(stands.trim_end().as_bytes()).is_ok(),
    };
    if leads_somewhere {
        return Ok(());
    }
    let last = last_of_log(&git, "HEAD");
    let stood: Vec<&String> =
        branches.iter().filter(|(_, id)| id.is_some() && **id == last).map(|(name, _)| name).collect();
    let only: Vec<&String> = branches.keys().collect();
    let (name, from) = match (stood.as_slice(), only.as_slice()) {
        ([one], _) => (*one, "its log: the only branch where it says HEAD stood"),
        (_, [one]) => (*one, "the only branch there is"),
        _ => return Ok(()),
    };
    let aside = replace(root, &head, format!("ref: {name}\n").as_bytes())?;
    mended.push(Mended { path: ".git/HEAD".to_owned(), what: "reference", from: from.to_owned(), aside });
    Ok(())
}

impl Mending {
    /// Sets branches that cannot be read, are gone, name a commit that is not here, or stand behind it, to where their
    /// log says they stood last. Asked for again after [`Mending::objects`], it sees which commits came back.
    ///
    /// # Errors
    ///
    /// [`Error::Io`].
    pub fn references(&mut self) -> Result<(), Error> {
        let git = self.book.repo().common_dir().to_owned();
        self.packed_references(&git)?;
        for (name, stands) in branches(&git) {
            let whole =
                |id: ObjectId| matches!(self.book.whole_object(id), Ok(Some((gix::objs::Kind::Commit, _))));
            let Some(last) = last_of_log(&git, &name) else { continue };
            if Some(last) == stands || !whole(last) {
                continue;
            }
            if let Some(stands) = stands
                && whole(stands)
                && !self.book.descends(last, stands).unwrap_or(false)
            {
                continue;
            }
            let place = git.join(&name);
            if let Some((folder, _)) = name.rsplit_once('/') {
                sync::make_folders(&git, folder)?;
            }
            let aside = replace(self.book.root(), &place, format!("{last}\n").as_bytes())?;
            self.mended.push(Mended { path: name, what: "reference", from: "its log".to_owned(), aside });
        }
        self.book = self.book.again()?;
        Ok(())
    }

    /// Of packed references that cannot be read, the lines that can.
    fn packed_references(&mut self, git: &Path) -> Result<(), Error> {
        let packed = git.join("packed-refs");
        let Ok(bytes) = fs::read(&packed) else { return Ok(()) };
        let stands = String::from_utf8_lossy(&bytes);
        let known = |line: &str| line.starts_with(['#', '^']) || packed_line(line).is_some();
        if stands.lines().all(known) && stands.len() == bytes.len() {
            return Ok(());
        }
        // What a tag leads to is left out, as is the line that says it is there: git looks for itself then.
        let mut text = String::new();
        let lines: BTreeMap<String, ObjectId> = stands.lines().filter_map(packed_line).collect();
        for (name, id) in lines {
            text.push_str(&format!("{id} {name}\n"));
        }
        let aside = replace(self.book.root(), &packed, text.as_bytes())?;
        self.mended.push(Mended {
            path: ".git/packed-refs".to_owned(),
            what: "reference",
            from: "its own lines that can be read".to_owned(),
            aside,
        });
        self.book = self.book.again()?;
        Ok(())
    }
}

/// Puts bytes at a path, what stood there aside; returns where that is now.
fn replace(root: &Path, place: &Path, bytes: &[u8]) -> Result<Option<String>, Error> {
    let git = root.join(".git");
    let aside = match standing(place)? {
        Standing::Nothing => None,
        _ => Some(put_aside(root, &git, place)?),
    };
    sync::write_new(place, bytes, sync::Mode::Record)?;
    sync::folder_sync(place.parent().unwrap_or(&git))?;
    Ok(aside)
}

impl Book {
    /// The index locked for mending; `None` where git holds its own lock on it.
    pub(super) fn lock_index_to_mend(&self) -> Result<Option<super::index::IndexLock>, Error> {
        match self.lock_index() {
            Ok(held) => Ok(Some(held)),
            Err(Error::IndexBusy { .. }) => Ok(None),
            Err(error) => Err(error),
        }
    }
}
