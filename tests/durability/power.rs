//! Power lost at any moment: a run's calls are recorded with their bytes, and the disks it may leave are built again
//! from what was synced by then and any of what was not.
//!
//! The model is weaker than what journalling file systems promise: bytes of a file last once it is synced, names once
//! their folder is; before that each may or may not have arrived, names in any order that keeps one name's own changes
//! in order, a rename within one system whole or not at all.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::os::unix::ffi::OsStringExt;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use mulebook::store::Book;

use crate::commands::{Task, entering, keeping, taking_in};
use crate::shop::{assert_whole, done, git, program, said, state};
use crate::trace::{calls, strace_is_here, traced};

/// One call of the record.
#[derive(Debug, Clone)]
enum Call {
    Open { descriptor: i32, path: PathBuf, new: bool, cut: bool, append: bool },
    Write { descriptor: i32, bytes: Vec<u8>, at: Option<u64> },
    Seek { descriptor: i32, to: u64 },
    Cut { descriptor: i32, length: u64 },
    Sync { descriptor: i32 },
    Rename { from: PathBuf, to: PathBuf },
    Link { from: PathBuf, to: PathBuf },
    Unlink { path: PathBuf },
    MakeFolder { path: PathBuf },
    RemoveFolder { path: PathBuf },
}

/// Reads a log made with `-xx`: every text is in hexadecimal digits.
fn record(log: &str) -> Vec<Call> {
    let mut record = Vec::new();
    for (_, line) in calls(log) {
        let Some((name, rest)) = line.split_once('(') else { continue };
        let Some((arguments, result)) = rest.rsplit_once(" = ") else { continue };
        let Some(result) = result.split_whitespace().next().and_then(|word| word.parse::<i64>().ok()) else {
            continue;
        };
        if result < 0 {
            continue;
        }
        let texts = texts(arguments);
        let path = |number: usize| PathBuf::from(std::ffi::OsString::from_vec(texts[number].clone()));
        let numbers: Vec<&str> = arguments.split(',').map(str::trim).collect();
        let descriptor = || numbers[0].trim_end_matches(')').parse::<i32>().ok();
        let last = || numbers.last().and_then(|word| word.trim_end_matches(')').parse::<u64>().ok());
        match name {
            "openat" | "open" | "creat" => {
                let new = arguments.contains("O_CREAT") || name == "creat";
                record.push(Call::Open {
                    descriptor: i32::try_from(result).unwrap(),
                    path: path(0),
                    new,
                    cut: arguments.contains("O_TRUNC"),
                    append: arguments.contains("O_APPEND"),
                });
            }
            "write" | "pwrite64" => {
                let Some(descriptor) = descriptor() else { continue };
                let mut bytes = texts[0].clone();
                bytes.truncate(usize::try_from(result).unwrap());
                let at = (name == "pwrite64").then(|| last().unwrap());
                record.push(Call::Write { descriptor, bytes, at });
            }
            "writev" => panic!("writev is not modelled: {line}"),
            "copy_file_range" => panic!("copy_file_range is not modelled: {line}"),
            "lseek" => {
                let Some(descriptor) = descriptor() else { continue };
                record.push(Call::Seek { descriptor, to: u64::try_from(result).unwrap() });
            }
            "ftruncate" => {
                let Some(descriptor) = descriptor() else { continue };
                record.push(Call::Cut { descriptor, length: last().unwrap() });
            }
            "fsync" | "fdatasync" => record.extend(descriptor().map(|descriptor| Call::Sync { descriptor })),
            "rename" | "renameat" | "renameat2" => record.push(Call::Rename { from: path(0), to: path(1) }),
            "link" | "linkat" => record.push(Call::Link { from: path(0), to: path(1) }),
            "unlinkat" if arguments.contains("AT_REMOVEDIR") => {
                record.push(Call::RemoveFolder { path: path(0) });
            }
            "unlink" | "unlinkat" => record.push(Call::Unlink { path: path(0) }),
            "rmdir" => record.push(Call::RemoveFolder { path: path(0) }),
            "mkdir" | "mkdirat" => record.push(Call::MakeFolder { path: path(0) }),
            _ => {}
        }
    }
    record
}

/// The quoted texts of a call's arguments.
fn texts(arguments: &str) -> Vec<Vec<u8>> {
    let mut found = Vec::new();
    let mut rest = arguments;
    while let Some(begin) = rest.find('"') {
        let inner = &rest[begin + 1..];
        let Some(end) = inner.find('"') else { break };
        found.push(
            inner[..end]
                .split("\\x")
                .skip(1)
                .map(|digits| u8::from_str_radix(&digits[..2], 16).unwrap())
                .collect(),
        );
        assert!(!inner[end + 1..].starts_with("..."), "the record cuts its texts short");
        rest = &inner[end + 1..];
    }
    found
}

/// A change of a name, until its folder is synced.
#[derive(Debug, Clone)]
enum Change {
    Name { path: PathBuf, file: usize },
    Folder { path: PathBuf },
    Gone { path: PathBuf },
    Renamed { from: PathBuf, to: PathBuf },
}

impl Change {
    fn paths(&self) -> Vec<&Path> {
        match self {
            Self::Name { path, .. } | Self::Folder { path } | Self::Gone { path } => vec![path],
            Self::Renamed { from, to } => vec![from, to],
        }
    }

    fn is_of_folder(&self, folder: &Path) -> bool {
        self.paths().iter().any(|path| path.parent() == Some(folder))
    }
}

#[derive(Debug, Clone, Default)]
struct File {
    synced: Rc<Vec<u8>>,
    now: Rc<Vec<u8>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Entry {
    File(usize),
    Folder,
}

type Names = BTreeMap<PathBuf, Entry>;

/// The book's part of the disk: what lasts, what is seen, what is between.
struct Disk {
    root: PathBuf,
    files: Vec<File>,
    lasting: Names,
    seen: Names,
    pending: Vec<Change>,
    open: BTreeMap<i32, (Option<usize>, u64, bool, PathBuf)>,
}

impl Disk {
    /// Everything that is there before the run lasts.
    fn of(root: &Path) -> Self {
        let mut disk = Self {
            root: root.to_owned(),
            files: Vec::new(),
            lasting: Names::new(),
            seen: Names::new(),
            pending: Vec::new(),
            open: BTreeMap::new(),
        };
        disk.read(root);
        disk.seen = disk.lasting.clone();
        disk
    }

    fn read(&mut self, folder: &Path) {
        self.lasting.insert(folder.to_owned(), Entry::Folder);
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                self.read(&path);
            } else {
                let bytes = Rc::new(fs::read(&path).unwrap());
                self.files.push(File { synced: Rc::clone(&bytes), now: bytes });
                self.lasting.insert(path, Entry::File(self.files.len() - 1));
            }
        }
    }

    /// Does a call; whether it changed anything that could be lost.
    fn step(&mut self, call: &Call) -> bool {
        match call {
            Call::Open { descriptor, path, new, cut, append } => {
                let known = self.seen.get(path).copied();
                let file = match known {
                    Some(Entry::File(file)) => Some(file),
                    None if *new && path.starts_with(&self.root) => {
                        self.files.push(File::default());
                        let file = self.files.len() - 1;
                        self.change(Change::Name { path: path.clone(), file });
                        Some(file)
                    }
                    _ => None,
                };
                if let Some(file) = file.filter(|_| *cut) {
                    self.files[file].now = Rc::default();
                }
                self.open.insert(*descriptor, (file, 0, *append, path.clone()));
                file.is_some() && (*new || *cut)
            }
            Call::Write { descriptor, bytes, at } => {
                let Some((Some(file), offset, append, _)) = self.open.get_mut(descriptor) else {
                    return false;
                };
                let now = Rc::make_mut(&mut self.files[*file].now);
                let start = match at {
                    Some(at) => usize::try_from(*at).unwrap(),
                    None if *append => now.len(),
                    None => usize::try_from(*offset).unwrap(),
                };
                if now.len() < start + bytes.len() {
                    now.resize(start + bytes.len(), 0);
                }
                now[start..start + bytes.len()].copy_from_slice(bytes);
                if at.is_none() {
                    *offset = (start + bytes.len()) as u64;
                }
                true
            }
            Call::Seek { descriptor, to } => {
                if let Some((_, offset, ..)) = self.open.get_mut(descriptor) {
                    *offset = *to;
                }
                false
            }
            Call::Cut { descriptor, length } => {
                let Some((Some(file), ..)) = self.open.get(descriptor) else { return false };
                Rc::make_mut(&mut self.files[*file].now).resize(usize::try_from(*length).unwrap(), 0);
                true
            }
            Call::Sync { descriptor } => {
                match self.open.get(descriptor).cloned() {
                    Some((Some(file), ..)) => self.files[file].synced = Rc::clone(&self.files[file].now),
                    Some((None, _, _, folder)) => self.sync_folder(&folder),
                    None => {}
                }
                false
            }
            Call::Rename { from, to } => self.change(Change::Renamed { from: from.clone(), to: to.clone() }),
            Call::Link { from, to } => {
                let Some(Entry::File(file)) = self.seen.get(from).copied() else { return false };
                self.change(Change::Name { path: to.clone(), file })
            }
            Call::Unlink { path } | Call::RemoveFolder { path } => {
                self.change(Change::Gone { path: path.clone() })
            }
            Call::MakeFolder { path } => self.change(Change::Folder { path: path.clone() }),
        }
    }

    fn change(&mut self, change: Change) -> bool {
        if !change.paths().iter().any(|path| path.starts_with(&self.root)) {
            return false;
        }
        apply(&mut self.seen, &change);
        self.pending.push(change);
        true
    }

    /// What changed in a folder lasts once it is synced; of a rename it is enough that one of its folders is. What was
    /// done before to the same names lasts with it.
    fn sync_folder(&mut self, folder: &Path) {
        let mut names: BTreeSet<PathBuf> = BTreeSet::new();
        let mut lasts = vec![false; self.pending.len()];
        for (at, change) in self.pending.iter().enumerate().rev() {
            if change.is_of_folder(folder) || change.paths().iter().any(|path| names.contains(*path)) {
                lasts[at] = true;
                names.extend(change.paths().into_iter().map(Path::to_owned));
            }
        }
        for (change, lasts) in std::mem::take(&mut self.pending).into_iter().zip(lasts) {
            if lasts {
                apply(&mut self.lasting, &change);
            } else {
                self.pending.push(change);
            }
        }
    }

    /// A disk that power loss may leave now: of the changes of names those that `arrives` says, in their order, and of
    /// each file's bytes the synced or the present ones.
    fn left(&self, arrives: &mut dyn FnMut() -> bool, bytes: &mut dyn FnMut() -> bool) -> Left {
        let mut names = self.lasting.clone();
        let mut held_back: BTreeSet<&Path> = BTreeSet::new();
        for change in &self.pending {
            let paths = change.paths();
            // A later change of a name that has not arrived cannot arrive either.
            if paths.iter().any(|path| held_back.contains(path)) || !arrives() {
                held_back.extend(paths);
            } else {
                apply(&mut names, change);
            }
        }
        // What lies in a folder that is not there is not there.
        let mut left: Left = BTreeMap::new();
        for (path, entry) in names {
            let parent = path.parent().unwrap();
            if path != self.root && !matches!(left.get(parent), Some(None)) {
                continue;
            }
            let content = match entry {
                Entry::Folder => None,
                Entry::File(file) => {
                    let file = &self.files[file];
                    Some(Rc::clone(if bytes() { &file.now } else { &file.synced }))
                }
            };
            left.insert(path, content);
        }
        left
    }
}

fn apply(names: &mut Names, change: &Change) {
    match change {
        Change::Name { path, file } => drop(names.insert(path.clone(), Entry::File(*file))),
        Change::Folder { path } => {
            names.entry(path.clone()).or_insert(Entry::Folder);
        }
        Change::Gone { path } => drop(names.remove(path)),
        Change::Renamed { from, to } => {
            let moved: Vec<(PathBuf, Entry)> = names
                .range(from.clone()..)
                .take_while(|(path, _)| path.starts_with(from))
                .map(|(path, entry)| (path.clone(), *entry))
                .collect();
            for (path, entry) in moved {
                names.remove(&path);
                let rest = path.strip_prefix(from).unwrap();
                let place = if rest.as_os_str().is_empty() { to.clone() } else { to.join(rest) };
                names.insert(place, entry);
            }
        }
    }
}

/// Puts a disk where the book was.
fn lay_out(root: &Path, left: &Left) {
    if root.exists() {
        fs::remove_dir_all(root).unwrap();
    }
    for (path, content) in left {
        match content {
            None => fs::create_dir_all(path).unwrap(),
            Some(bytes) => fs::write(path, bytes.as_slice()).unwrap(),
        }
    }
}

/// Files that a disk may hold after power loss; none for a folder.
type Left = BTreeMap<PathBuf, Option<Rc<Vec<u8>>>>;

/// A small generator of numbers: the same choice from run to run.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn coin(&mut self) -> bool {
        self.next().is_multiple_of(2)
    }
}

/// Records a command and tries disks that power loss may leave at its moments; how many, all unlike each other.
fn replay(task: &Task, random_each: usize, most: usize) -> usize {
    let (_copy, root) = task.copy();
    let root = root.canonicalize().unwrap();
    let mut disk = Disk::of(&root);
    let log = tempfile::NamedTempFile::new().unwrap();
    let names = "trace=?open,?openat,?creat,write,pwrite64,writev,lseek,ftruncate,fsync,fdatasync,?rename,?renameat,?renameat2,?link,?linkat,?unlink,?unlinkat,?mkdir,?mkdirat,?rmdir,?copy_file_range";
    let output = traced(&task.program(&root), &["-xx", "-s", "8000000", "-e", names], log.path());
    assert!(output.status.success(), "{}", said(&output));
    let record = record(&fs::read_to_string(log.path()).unwrap());
    // The model comes to what the run left.
    let mut disks: Vec<(usize, Left)> = Vec::new();
    let mut random = Random(0x9e37_79b9_7f4a_7c15);
    let mut known = BTreeSet::new();
    let mut keep = |number: usize, left: Left| {
        if known.insert(left.clone()) {
            disks.push((number, left));
        }
    };
    for (number, call) in record.iter().enumerate() {
        if !disk.step(call) {
            continue;
        }
        keep(number, disk.left(&mut || false, &mut || false));
        keep(number, disk.left(&mut || true, &mut || true));
        // Names arrive before bytes: files of no length.
        keep(number, disk.left(&mut || true, &mut || false));
        for _ in 0..random_each {
            let seed = random.next() | 1;
            let (mut names, mut bytes) = (Random(seed), Random(seed ^ 0xffff));
            keep(number, disk.left(&mut || names.coin(), &mut || bytes.coin()));
        }
    }
    let end = record.len();
    for seed in 1..=4 {
        let (mut names, mut bytes) = (Random(seed), Random(seed ^ 0xffff));
        keep(end, disk.left(&mut || seed > 1 && names.coin(), &mut || seed > 1 && bytes.coin()));
    }
    let seen = disk.left(&mut || true, &mut || true);
    for (path, content) in &seen {
        match content {
            None => assert!(path.is_dir(), "{}", path.display()),
            Some(bytes) => assert_eq!(&fs::read(path).unwrap(), bytes.as_ref(), "{}", path.display()),
        }
    }
    let every = disks.len().div_ceil(most).max(1);
    let count = disks.len();
    let (mut old, mut new, mut tried) = (0, 0, 0);
    for (number, left) in
        disks.iter().enumerate().filter(|(at, _)| at % every == 0 || at + 6 > count).map(|(_, d)| d)
    {
        tried += 1;
        lay_out(&root, left);
        let place = format!("{} after call {number} of {end}", task.word);
        let book = Book::discover(&root).unwrap_or_else(|error| panic!("{place}: {error}"));
        assert!(book.unsettled().is_none(), "{place}: {:?}", book.unsettled());
        drop(book);
        let found = state(&root);
        assert!(found == task.old || found == task.new, "{place}: {found:#?}");
        if *number == end {
            assert_eq!(found, task.new, "{place}: what was said to be done was lost");
        }
        if found == task.old {
            old += 1
        } else {
            new += 1
        }
        if found == task.old {
            // An object on its way may be left without its bytes: nothing names it, and the next write replaces it.
            git(&root, &["rev-list", "--objects", "--all"]);
            git(&root, &["archive", "--format=tar", "--output=/dev/null", "HEAD"]);
        } else {
            assert_whole(&root);
        }
        if tried % 16 == 1 {
            done(&root, &["audit"]);
            if found == task.old {
                let again = program(&root, &task.arguments.iter().map(String::as_str).collect::<Vec<_>>());
                let again = { again }.output().unwrap();
                assert!(again.status.success(), "{place}: {}", said(&again));
                assert_eq!(state(&root), task.new, "{place}: run again");
            }
        }
    }
    eprintln!("{}: {} calls, {count} disks, {tried} tried: {old} old, {new} new", task.word, record.len());
    assert!(old > 0 && new > 0);
    tried
}

#[test]
fn power_lost_while_a_pull_is_entered() {
    if !strace_is_here() {
        return;
    }
    let tried = replay(&taking_in()[0], 1, 40);
    assert!(tried >= 40, "{tried}");
}

#[test]
#[ignore = "takes many minutes"]
fn power_lost_at_any_moment_of_any_command() {
    assert!(strace_is_here(), "the record needs strace");
    let mut tried = 0;
    for task in entering().into_iter().chain(taking_in()).chain(keeping()) {
        tried += replay(&task, 2, 400);
    }
    eprintln!("{tried} disks tried");
    assert!(tried >= 1500, "{tried}");
}
