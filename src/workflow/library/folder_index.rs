//! Which pulls lie in which build's folder and which parts in that of which kind, without listing every folder at each
//! command.
//!
//! The list is kept in the store's cache under the name that git gives the content of `builds/` or `parts/`, and each
//! folder's part under that of the folder: what has not changed is not listed again, what has is.

use std::collections::BTreeMap;
use std::ops::Range;

use crate::store::EntryKind;
use crate::store::Snapshot;
use crate::workflow::Failure;

/// Records that lie in folders.
#[derive(Debug, Clone, Copy)]
pub(in crate::workflow) struct Sort {
    /// The kept file; the number goes up when its form changes.
    cache: &'static str,
    /// Where the folders are.
    root: &'static str,
    /// The way from a folder to its records.
    inside: &'static str,
}

/// Pulls in the folders of their builds.
pub(in crate::workflow) const PULLS: Sort = Sort { cache: "pulls-1", root: "builds", inside: "/pulls" };
/// Parts in the folders of their kinds.
pub(in crate::workflow) const PARTS: Sort = Sort { cache: "parts-1", root: "parts", inside: "" };

/// The records of a commit, by the folder they lie in.
#[derive(Debug, Default)]
pub(in crate::workflow) struct FolderIndex {
    /// Ids, each on a line of its own, folder after folder.
    ids: String,
    folders: Vec<Folder>,
}

#[derive(Debug)]
struct Folder {
    name: String,
    /// Git's name for the folder's content.
    content: String,
    ids: Range<usize>,
}

impl FolderIndex {
    /// The records of a snapshot.
    ///
    /// # Errors
    /// The store's.
    pub(in crate::workflow) fn of(snapshot: &Snapshot, sort: Sort) -> Result<Self, Failure> {
        let Some(content) = snapshot.id_of(sort.root)? else {
            return Ok(Self::default());
        };
        let content = content.to_string();
        let cache = snapshot.cache();
        let known = cache.read(sort.cache).and_then(|bytes| Self::parse(String::from_utf8(bytes).ok()?));
        let before = match known {
            Some((of, index)) if of == content => return Ok(index),
            Some((_, index)) => index,
            None => Self::default(),
        };
        let index = Self::list(snapshot, sort, &before)?;
        if let Some(text) = index.text(&content) {
            cache.keep(sort.cache, text.as_bytes());
        }
        Ok(index)
    }

    /// Lists the folders; those that an earlier list knows are taken from it.
    fn list(snapshot: &Snapshot, sort: Sort, before: &Self) -> Result<Self, Failure> {
        let known: BTreeMap<&str, &Folder> =
            before.folders.iter().map(|folder| (folder.content.as_str(), folder)).collect();
        let mut index = Self::default();
        let folders = snapshot.list(sort.root)?.into_iter().filter(|entry| entry.kind == EntryKind::Folder);
        for folder in folders {
            let content = folder.id.to_string();
            let start = index.ids.len();
            match known.get(content.as_str()) {
                Some(known) => index.ids.push_str(&before.ids[known.ids.clone()]),
                None => {
                    for entry in snapshot.list(&format!("{}/{}{}", sort.root, folder.name, sort.inside))? {
                        // A name with a line break, made elsewhere, is no id: this store reads no such path.
                        let id = entry.name.strip_suffix(".yaml");
                        if let Some(id) = id.filter(|id| !id.contains(char::is_control)) {
                            index.ids.push_str(id);
                            index.ids.push('\n');
                        }
                    }
                }
            }
            let ids = start..index.ids.len();
            index.folders.push(Folder { name: folder.name, content, ids });
        }
        Ok(index)
    }

    /// Whether it holds none.
    pub(in crate::workflow) fn is_empty(&self) -> bool {
        self.ids.is_empty()
    }

    /// The first folder that holds a record of that name.
    pub(in crate::workflow) fn first(&self, name: &str) -> Option<&str> {
        self.holding(name).next().map(|folder| folder.name.as_str())
    }

    /// The folder of a pull; of several, the last, as in [`FolderIndex::paths`].
    pub(in crate::workflow) fn folder(&self, id: &str) -> Option<&str> {
        self.holding(id).last().map(|folder| folder.name.as_str())
    }

    /// Every folder that holds a pull of that id.
    pub(in crate::workflow) fn folders(&self, id: &str) -> Vec<String> {
        self.holding(id).map(|folder| folder.name.clone()).collect()
    }

    fn holding(&self, id: &str) -> impl Iterator<Item = &Folder> {
        let line = format!("{id}\n");
        let begins = |at: &usize| *at == 0 || self.ids.as_bytes().get(at - 1) == Some(&b'\n');
        let found: Vec<usize> = match id.is_empty() || id.contains('\n') {
            true => Vec::new(),
            false => memchr::memmem::find_iter(self.ids.as_bytes(), &line).filter(begins).collect(),
        };
        found.into_iter().filter_map(|at| {
            let place = self.folders.partition_point(|folder| folder.ids.end <= at);
            self.folders.get(place)
        })
    }

    /// Where each pull's manifest is.
    pub(in crate::workflow) fn paths(&self) -> BTreeMap<String, String> {
        let of = |folder: &Folder| {
            let at = format!("builds/{}/pulls", folder.name);
            self.ids[folder.ids.clone()].lines().map(move |id| (id.to_owned(), format!("{at}/{id}.yaml")))
        };
        self.folders.iter().flat_map(of).collect()
    }

    /// The ids and paths of the pulls whose id begins so, sorted.
    pub(in crate::workflow) fn beginning(&self, prefix: &str) -> BTreeMap<String, String> {
        let ids = self.ids.as_bytes();
        let begins = |at: &usize| *at == 0 || ids.get(at - 1) == Some(&b'\n');
        let mut found = BTreeMap::new();
        if prefix.contains('\n') {
            return found;
        }
        for at in memchr::memmem::find_iter(ids, prefix).filter(begins) {
            let id = self.ids.get(at..).and_then(|rest| rest.lines().next());
            let place = self.folders.partition_point(|folder| folder.ids.end <= at);
            if let Some((id, folder)) = id.zip(self.folders.get(place)) {
                found.insert(id.to_owned(), format!("builds/{}/pulls/{id}.yaml", folder.name));
            }
        }
        found
    }

    /// The kept form; none where a folder made elsewhere has a line break in its name.
    fn text(&self, content: &str) -> Option<String> {
        if self.folders.iter().any(|folder| folder.name.contains(char::is_control)) {
            return None;
        }
        let mut text = format!("{content} {}\n", self.folders.len());
        for folder in &self.folders {
            text.push_str(&format!("{} {} {}\n", folder.content, folder.ids.len(), folder.name));
        }
        text.push_str(&self.ids);
        Some(text)
    }

    fn parse(mut text: String) -> Option<(String, Self)> {
        let (head, mut rest) = text.split_once('\n')?;
        let (content, count) = head.split_once(' ')?;
        let count: usize = count.parse().ok()?;
        let mut folders = Vec::new();
        let mut start = 0_usize;
        for _ in 0..count {
            let (line, after) = rest.split_once('\n')?;
            rest = after;
            let mut words = line.splitn(3, ' ');
            let (id, length, name) = (words.next()?, words.next()?, words.next()?);
            let end = start.checked_add(length.parse().ok()?)?;
            folders.push(Folder { name: name.to_owned(), content: id.to_owned(), ids: start..end });
            start = end;
        }
        let whole = start == rest.len() && folders.iter().all(|folder| rest.is_char_boundary(folder.ids.end));
        let content = content.to_owned();
        let begin = text.len() - rest.len();
        whole.then(|| {
            // In its own place: a large book has a mebibyte of them.
            drop(text.drain(..begin));
            (content, Self { ids: text, folders })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kept_form_comes_back_and_cut_or_altered_forms_do_not() {
        let folder = |name: &str, ids| Folder {
            name: name.to_owned(),
            content: format!("id-{}", name.replace(' ', "-")),
            ids,
        };
        let index = FolderIndex {
            ids: "a-1\na-2\nb-1\na-1\n".to_owned(),
            folders: vec![
                folder("b1", 0..8),
                folder("b 2", 8..12),
                folder("b3", 12..16),
                folder("none", 16..16),
            ],
        };
        let text = index.text("tree").expect("plain names");
        let (content, back) = FolderIndex::parse(text.clone()).expect("whole");
        assert_eq!(content, "tree");
        assert_eq!(back.paths(), index.paths());
        assert_eq!(back.folder("a-2"), Some("b1"));
        assert_eq!(back.first("a-1"), Some("b1"), "the first folder, as parts are found");
        assert_eq!(back.folder("a-1"), Some("b3"), "the last folder, as in the map of paths");
        assert_eq!(back.folder("b"), None);
        assert_eq!(back.paths()["a-1"], "builds/b3/pulls/a-1.yaml");
        assert_eq!(back.beginning("b-").len(), 1);
        assert_eq!(back.beginning("a").keys().collect::<Vec<_>>(), ["a-1", "a-2"]);
        assert_eq!(back.beginning("a")["a-1"], "builds/b3/pulls/a-1.yaml");
        assert!(back.beginning("-1").is_empty());
        for end in 0..text.len() {
            assert!(FolderIndex::parse(text[..end].to_owned()).is_none(), "{end}");
        }
        assert!(FolderIndex::parse("tree 99999999999999999999\n".to_owned()).is_none());
        assert!(FolderIndex::parse("tree 1\nid 18446744073709551615 b1\nid 2 b2\n".to_owned()).is_none());
    }
}
