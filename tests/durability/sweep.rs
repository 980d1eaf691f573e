//! Every writing command stopped or failed before its calls that change anything: afterwards the book is old or new,
//! never other, the exit code said the truth, and the command runs again.

use std::path::Path;

use mulebook::store::Book;

use crate::commands::{Task, entering, keeping, mending, taking_in};
use crate::shop::{assert_whole, git, program, said, state, surround};
use crate::trace::{Point, points, strace_is_here, tampered};

/// What is done to a call, and whether to all that follow as well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Fault {
    pub(crate) how: &'static str,
    pub(crate) for_ever: bool,
}

pub(crate) const KILL: Fault = Fault { how: "signal=KILL", for_ever: false };

/// The errors a call can meet: no room, a disk that fails, no permission.
fn errors(call: &str) -> &'static [&'static str] {
    match call {
        "openat" | "open" | "creat" | "mkdir" | "mkdirat" => &["error=ENOSPC", "error=EACCES"],
        "write" | "pwrite64" | "writev" | "ftruncate" | "copy_file_range" => &["error=ENOSPC", "error=EIO"],
        "fsync" | "fdatasync" => &["error=EIO"],
        _ => &["error=ENOSPC", "error=EIO", "error=EACCES"],
    }
}

/// Every fault for every point.
pub(crate) fn faults(points: &[Point]) -> Vec<(&Point, Fault)> {
    let mut all = Vec::new();
    for point in points {
        all.push((point, KILL));
        for how in errors(&point.call) {
            all.extend([false, true].map(|for_ever| (point, Fault { how, for_ever })));
        }
    }
    all
}

/// How the runs of a sweep ended.
#[derive(Debug, Default, Clone, Copy)]
pub(crate) struct Tally {
    points: usize,
    faults: usize,
    killed: usize,
    failed: usize,
    /// Failed after the commit stood, which was said.
    stands: usize,
    /// The fault was got over: the command succeeded, and truly.
    survived: usize,
}

impl Tally {
    fn add(&mut self, other: Tally) {
        self.points += other.points;
        self.faults += other.faults;
        self.killed += other.killed;
        self.failed += other.failed;
        self.stands += other.stands;
        self.survived += other.survived;
    }
}

/// Runs a command once with a fault and looks at what is left.
fn one(task: &Task, point: &Point, fault: Fault, number: usize, tally: &mut Tally) {
    let (_copy, root) = task.copy();
    let (output, hit) = tampered(&task.program(&root), point, fault.how, fault.for_ever);
    let place = format!("{} {point:?} {fault:?}: {}", task.word, said(&output));
    if !hit {
        // Threads may share calls out otherwise than in the run that was recorded.
        assert!(output.status.success(), "{place}");
        return;
    }
    tally.faults += 1;
    let head = git(&root, &["rev-parse", "HEAD"]);
    match (fault == KILL, output.status.success()) {
        (true, _) => tally.killed += 1,
        (false, true) => {
            tally.survived += 1;
            assert_eq!(head, task.new.head, "{place}");
        }
        (false, false) => {
            tally.failed += 1;
            assert_eq!(output.status.code(), Some(1), "{place}");
            let stands = head != task.old.head;
            tally.stands += usize::from(stands);
            // An answer that could not be written says nothing more.
            let told = !stands || said(&output).contains(" stands, ") || point.call == "write";
            assert!(told || task.word == "mend", "{place}");
        }
    }
    // The next command settles what was left; then all is old or new.
    let book = Book::discover(&root).unwrap_or_else(|error| panic!("{place}: {error}"));
    assert!(book.unsettled().is_none(), "{place}: {:?}", book.unsettled());
    drop(book);
    if task.word == "mend" {
        // Each thing it puts right is put right whole; run again it does the rest.
        again(task, &root, &place);
        return;
    }
    let mut found = state(&root);
    if point.call == "rmdir" {
        // The folder that could not be removed is left empty: neither git nor the book sees it.
        found.files.retain(|path, _| !path.ends_with('/'));
    }
    let other: Vec<&String> = found
        .files
        .keys()
        .filter(|path| {
            let bytes = found.files.get(*path);
            task.old.files.get(*path) != bytes && task.new.files.get(*path) != bytes
        })
        .collect();
    assert!(found == task.old || found == task.new, "{place}: {other:?} {:?} {}", found.left, found.status);
    assert_eq!(found.head, head, "{place}: the next command moved the branch");
    if fault != KILL && output.status.success() {
        assert_eq!(found, task.new, "{place}");
    }
    assert_whole(&root);
    if number.is_multiple_of(4) {
        let audit = program(&root, &["audit"]).output().unwrap();
        assert!(audit.status.success(), "{place}: {}", said(&audit));
    }
    if found == task.old {
        again(task, &root, &place);
    }
}

/// The command runs again and leads where it should.
fn again(task: &Task, root: &Path, place: &str) {
    let again = task.program(root).output().unwrap();
    assert!(again.status.success(), "{place}: run again: {}", said(&again));
    assert_eq!(state(root), task.new, "{place}: run again");
    assert_whole(root);
}

/// Sweeps over a command; with `of` not 1, over one in so many of its faults, beginning with another for each command.
fn sweep(task: &Task, of: usize, begin: usize) -> Tally {
    let (_copy, root) = task.copy();
    let points = points(&task.program(&root));
    let faults = faults(&points);
    let mut tally = Tally { points: points.len(), ..Tally::default() };
    for (number, (point, fault)) in faults.iter().enumerate().skip(begin % of).step_by(of) {
        one(task, point, *fault, number / of, &mut tally);
    }
    eprintln!("{}: {} faults possible; {tally:?}", task.word, faults.len());
    tally
}

/// So many calls a command must be seen to make: mending makes no commit.
fn least_points(task: &Task) -> usize {
    if task.word == "mend" { 45 } else { 60 }
}

/// A few faults of each command: `least` of them must have been met.
fn short(tasks: &[Task], each: usize, least: usize) {
    if !strace_is_here() {
        return;
    }
    let mut all = Tally::default();
    for (number, task) in tasks.iter().enumerate() {
        // Every command has more than three hundred; a fixed stride keeps the choice the same from run to run.
        let tally = sweep(task, 331 / each, 7 * number);
        assert!(tally.points >= least_points(task), "{}: {tally:?}", task.word);
        all.add(tally);
    }
    eprintln!("together: {all:?}");
    assert!(all.faults >= least, "{all:?}");
}

#[test]
fn commands_that_enter_a_record_stand_some_faults() {
    short(&entering(), 5, 40);
}

#[test]
fn commands_that_take_in_files_or_keep_edits_stand_some_faults() {
    let tasks: Vec<Task> = taking_in().into_iter().chain(keeping()).chain([mending()]).collect();
    short(&tasks, 5, 30);
}

/// Every fault at every call of every command that writes.
#[test]
#[ignore = "takes an hour"]
fn every_command_stands_every_fault() {
    assert!(strace_is_here(), "the long sweep needs strace");
    let of: usize = std::env::var("ONE_IN").ok().and_then(|of| of.parse().ok()).unwrap_or(1);
    let tasks: Vec<Task> =
        entering().into_iter().chain(taking_in()).chain(keeping()).chain([mending()]).collect();
    let next = std::sync::atomic::AtomicUsize::new(0);
    let all = std::sync::Mutex::new(Tally::default());
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    let Some(task) = tasks.get(number) else { return };
                    let tally = sweep(task, of, number);
                    assert!(tally.points >= least_points(task), "{}: {tally:?}", task.word);
                    all.lock().unwrap().add(tally);
                }
            });
        }
    });
    let all = all.into_inner().unwrap();
    eprintln!("{} commands, together: {all:?}", tasks.len());
    assert!(all.points >= 1200 && all.faults * of >= 5000, "{all:?}");
}

/// A fault at each call of a sort that `correct` makes; none where strace is not here.
fn correct_at(call: &str, fault: Fault) -> Option<Tally> {
    let tasks = entering();
    let task = tasks.iter().find(|task| task.word == "correct" && strace_is_here())?;
    let (_copy, root) = task.copy();
    let mut tally = Tally::default();
    for point in points(&task.program(&root)).iter().filter(|point| point.call == call) {
        one(task, point, fault, 1, &mut tally);
    }
    Some(tally)
}

/// A correction takes the only pull from its build's folder: whichever removal fails, the folder goes with it in the end.
#[test]
fn a_folder_that_lost_its_last_file_goes_though_a_removal_failed() {
    let Some(tally) = correct_at("unlink", Fault { how: "error=ENOSPC", for_ever: false }) else { return };
    assert!(tally.faults >= 5 && tally.stands >= 1, "{tally:?}");
}

/// A disk that does not let git's files be opened says nothing of what they hold: the command failed, and no damage was found.
#[test]
fn what_cannot_be_opened_is_not_called_damaged() {
    let Some(tally) = correct_at("openat", Fault { how: "error=EACCES", for_ever: true }) else { return };
    assert!(tally.failed >= 10, "{tally:?}");
}

#[test]
fn a_new_book_is_begun_again_or_is_there() {
    if !strace_is_here() {
        return;
    }
    let command = |root: &Path| {
        let mut new = std::process::Command::new(env!("CARGO_BIN_EXE_mulebook"));
        new.arg("new").arg(root).args(["--name", "small"]);
        surround(&mut new);
        new
    };
    let folder = tempfile::tempdir().unwrap();
    let points = points(&command(&folder.path().join("first")));
    let faults = faults(&points);
    let step = if std::env::var_os("LONG").is_some() { 1 } else { 131 };
    let (mut begun_again, mut there) = (0, 0);
    for (number, (point, fault)) in faults.iter().enumerate().step_by(step) {
        let root = folder.path().join(format!("book-{number}"));
        let (output, hit) = tampered(&command(&root), point, fault.how, fault.for_ever);
        let place = format!("{point:?} {fault:?}: {}", said(&output));
        if hit {
            let again = command(&root).output().unwrap();
            if again.status.success() {
                assert!(!output.status.success(), "{place}: made twice");
                begun_again += 1;
            } else {
                assert!(said(&again).contains("is a book already"), "{place}: {}", said(&again));
                there += 1;
            }
        }
        let audit = program(&root, &["audit"]).output().unwrap();
        assert!(audit.status.success(), "{place}: {}", said(&audit));
        assert_whole(&root);
        assert_eq!(git(&root, &["status", "--porcelain"]), "", "{place}");
    }
    eprintln!("new: {} points; begun again {begun_again}, there {there}", points.len());
    assert!(points.len() >= 200 && begun_again + there >= 5, "{} {begun_again} {there}", points.len());
}
