//! The demo: a book made from invented files as its shop would have made it, day by day, and the question it answers.

use std::path::Path;
use std::path::PathBuf;

use chrono::DateTime;
use chrono::FixedOffset;

use crate::answer::DemoAnswer;
use crate::answer::DemoShown;
use crate::answer::DemoStep;
use crate::finding::Finding;
use crate::manifest::node::Node;
use crate::manifest::yaml;
use crate::record::Moment;
use crate::store::Author;
use crate::store::Book;
use crate::workflow::AsOf;
use crate::workflow::Context;
use crate::workflow::Draft;
use crate::workflow::Failure;
use crate::workflow::book_schemas;
use crate::workflow::compare;
use crate::workflow::compare::DiffRequest;
use crate::workflow::correct;
use crate::workflow::correct::CorrectRequest;
use crate::workflow::demo_files;
use crate::workflow::enter;
use crate::workflow::enter::PullRequest;
use crate::workflow::input::FigureInput;
use crate::workflow::measure;
use crate::workflow::new_book;
use crate::workflow::take_in::Offered;

/// The evening before the first session.
const BEGIN: &str = "2026-04-10T19:00:00+02:00";
/// When the head was measured at last, and the photograph was found.
const LATER: &str = "2026-05-23T10:00:00+02:00";

/// Makes the demo book and goes through its story.
///
/// # Errors
/// The folder is a book already or holds files in the way; or the disk.
pub fn demo(dir: &Path, context: &Context) -> Result<DemoAnswer, Failure> {
    let mut steps = Vec::new();
    let at = moment(BEGIN)?;
    let mut files = new_book::scaffold();
    for (path, text) in sliced(at)? {
        files.retain(|(known, _)| *known != path);
        files.push((path, text.into_bytes()));
    }
    let opening = at_time(context, at, "mk", "demo");
    let count = files.iter().filter(|(path, _)| !path.starts_with(book_schemas::FOLDER)).count();
    let book = Book::create(
        dir,
        &files,
        &opening.author,
        opening.time(),
        "The shop's book as it stood on 10 April",
    )?;
    steps.push(words(
        "A small shop tests three headers and two intakes on a 1998 cc hill-climb engine. Everything here is invented. \
         Its book begins with what was measured before the first pull.",
        Some(format!("mulebook new {}", dir.display())),
        format!("{count} manifests kept: the engine and its parts, instruments, people, the cell, the first build."),
    ));
    enter_pulls(&book, context, &mut steps)?;
    steps.push(diff_step(
        &book,
        "The careless question: the header went on with pull 0418a-05, so what did it gain over the first pull of all?",
        "0411a-01",
        "0418a-05",
    )?);
    close_gaps(&book, context, &mut steps)?;
    steps.push(diff_step(
        &book,
        "Now the comparison runs, and it shows how much more than the header changed between the two.",
        "0411a-01",
        "0418a-05",
    )?);
    steps.push(diff_step(
        &book,
        "The fair question: the same day, the same head, only the header. (The pulls that follow ask whether the base came back.)",
        "0411a-03",
        "0411a-04",
    )?);
    let inside = dir.display();
    Ok(DemoAnswer {
        dir: dir.display().to_string(),
        steps,
        next: vec![
            format!("cd {inside}"),
            "mulebook diff 0411a-01 0411a-09     did the first baseline come back?".to_owned(),
            "mulebook gaps b6                    what is missing from a build sheet".to_owned(),
            "mulebook weigh --base 0411a-01..03 0411a-09..10 --test 0411a-04..06     is the header's gain real?".to_owned(),
            "mulebook claim stepped-header       what was claimed on the evening before, and whether it is shown".to_owned(),
            "mulebook dossier stepped-header     the evidence of that claim in one file, for a sponsor".to_owned(),
            "mulebook audit                      does the book still hold what it says".to_owned(),
            "git log --stat                      the same book by ordinary git".to_owned(),
        ],
    })
}

fn words(what: &str, command: Option<String>, words: String) -> DemoStep {
    DemoStep { what: what.to_owned(), command, shown: DemoShown::Words { words } }
}

fn diff_step(book: &Book, what: &str, base: &str, test: &str) -> Result<DemoStep, Failure> {
    let request = DiffRequest {
        base: base.to_owned(),
        test: test.to_owned(),
        subject: Some("header".to_owned()),
        step_rpm: 500,
        correct_to: None,
        as_of: AsOf::Present,
    };
    Ok(DemoStep {
        what: what.to_owned(),
        command: Some(format!("mulebook diff {base} {test} --subject header --step 500")),
        shown: DemoShown::Diff(Box::new(compare::diff(book, &request)?)),
    })
}

/// The context of somebody in the story at a moment of it.
fn at_time(context: &Context, now: DateTime<FixedOffset>, person: &str, command: &str) -> Context {
    Context {
        now,
        person: Some(person.to_owned()),
        author: Author { name: person.to_owned(), email: String::new() },
        process: context.process,
        command: command.to_owned(),
        progress: Box::new(|_, _, _| {}),
    }
}

fn moment(text: &str) -> Result<DateTime<FixedOffset>, Failure> {
    DateTime::parse_from_rfc3339(text)
        .map_err(|error| Finding::error("demo-data", format!("`{text}` is no time: {error}")).into())
}

/// The pulls of the list, each entered at its own time, with what the shop wrote in between.
fn enter_pulls(book: &Book, context: &Context, steps: &mut Vec<DemoStep>) -> Result<(), Failure> {
    let spool = Spool::new(book)?;
    let list = yaml::read("pulls.yaml", demo_files::PULLS.as_bytes())?;
    let count = list.items().len();
    let (mut first, mut entered, mut doubtful) = (None, 0, 0);
    for (number, item) in list.items().iter().enumerate() {
        (context.progress)("entering pulls", number as u64 + 1, Some(count as u64));
        let text = |key: &str| item.get(key).and_then(Node::text).unwrap_or_default().to_owned();
        let at = moment(&text("at"))?;
        let by = text("by");
        let present = at_time(context, at, &by, "pull");
        catch_up(book, &present)?;
        let file = text("file");
        let request = request(item, spool.file(&file)?);
        let answer = enter::pull(book, &present, &request)?;
        entered += answer.pulls.len();
        doubtful += usize::from(!answer.taken_in.doubts.is_empty());
        if first.is_none() {
            first = Some((file, answer));
        }
    }
    if let Some((file, answer)) = first {
        steps.push(DemoStep {
            what: "The first pull comes off the console. The bytes are kept as they are, the columns guessed and shown."
                .to_owned(),
            command: Some(format!(
                "mulebook pull {file} --session 0411a --build b1 --set kind=sweep --set rate=\"300 rpm/s\" --correction observed"
            )),
            shown: DemoShown::Pull(Box::new(answer)),
        });
    }
    steps.push(words(
        "The rest follow over three days: commas, semicolons with decimal commas, tabs below a preamble, lb-ft and °F, \
         two pulls in one file. A head is skimmed in between.",
        None,
        format!("{entered} pulls entered from {} raw files, {doubtful} entries with doubts recorded.", demo_files::RAW_FILES.len()),
    ));
    Ok(())
}

/// Writes what the shop had written down by now and the book does not have yet.
fn catch_up(book: &Book, present: &Context) -> Result<(), Failure> {
    let head = book.head()?;
    let mut draft = None;
    let mut changed = Vec::new();
    for (path, text) in sliced(present.now)? {
        if head.read(&path)?.as_deref() == Some(text.as_bytes()) {
            continue;
        }
        if draft.is_none() {
            draft = Some(Draft::open(book, present)?);
        }
        if let Some(draft) = &mut draft {
            draft.put(&path, &text)?;
            changed.push(path);
        }
    }
    if let Some(draft) = draft {
        let names: Vec<&str> = changed.iter().filter_map(|path| path.strip_suffix(".yaml")).take(4).collect();
        draft.commit(present, &format!("Write down {}", names.join(", ")))?;
    }
    Ok(())
}

/// What `pulls.yaml` says of one pull, as a person would say it on the command line.
fn request(item: &Node, file: PathBuf) -> PullRequest {
    let text = |key: &str| item.get(key).and_then(Node::text).map(str::to_owned);
    let number = |key: &str| text(key).and_then(|text| text.parse::<u32>().ok());
    let pairs = |key: &str, prefix: &str| -> Vec<String> {
        let entries = item.get(key).map(Node::entries).unwrap_or_default();
        entries
            .iter()
            .filter_map(|(name, value)| Some(format!("{prefix}{}={}", name.text()?, value.text()?)))
            .collect()
    };
    let mut set = pairs("conditions", "");
    set.extend(pairs("run", "run."));
    PullRequest {
        files: vec![Offered::File(file)],
        session: text("session"),
        build: text("build"),
        order: number("order"),
        segment: number("segment").map(|segment| segment as usize),
        at: text("at"),
        by: text("by"),
        set,
        changed: pairs("changed", ""),
        with: pairs("with", ""),
        correction: text("correction"),
        note: text("note"),
        ..PullRequest::default()
    }
}

/// The head is measured at last, and the photograph shows the spacer.
fn close_gaps(book: &Book, context: &Context, steps: &mut Vec<DemoStep>) -> Result<(), Failure> {
    let present = at_time(context, moment(LATER)?, "jo", "measure");
    let told = FigureInput {
        with: Some("burette-1".to_owned()),
        ..FigureInput::measured("43.6 43.6 43.5 43.6 ±0.2 cc")
    };
    let (name, bytes) = demo_files::PHOTO;
    let spool = Spool::new(book)?;
    let photo = spool.folder.put(name, bytes)?;
    steps.push(DemoStep {
        what: "Five weeks later jo takes the burette to the skimmed head, and a photo of the reading. Nothing was done to \
               the head since, so the figure documents those pulls too."
            .to_owned(),
        command: Some(format!(
            "mulebook measure h2/b chamber-volume \"43.6 43.6 43.5 43.6 ±0.2 cc\" --with burette-1 --photo {name}"
        )),
        shown: DemoShown::Entered(measure::measure_shown(
            book,
            &present,
            "h2/b",
            "chamber-volume",
            &told,
            &[photo],
        )?),
    });
    let corrections = [
        ("0418a-05..06", "spacer=sp-12/a", "the photograph of 18 April shows the 12 mm plates"),
        ("0418a-03..04", "spacer=none", "the photograph of 18 April: the plates went on after pull 4"),
        ("0418a-07", "spacer=none", "the photograph of 18 April: the plates came off before pull 7"),
    ];
    for (number, (pulls, set, because)) in corrections.iter().enumerate() {
        let request = CorrectRequest {
            target: (*pulls).to_owned(),
            set: vec![(*set).to_owned()],
            because: (*because).to_owned(),
            ..CorrectRequest::default()
        };
        let answer = correct::correct(book, &present, &request)?;
        if number == 0 {
            steps.push(DemoStep {
                what: "A photograph found in May shows a spacer that nobody wrote down. The record is corrected; what it \
                       said stays visible."
                    .to_owned(),
                command: Some(format!("mulebook correct {pulls} --set {set} --because \"{because}\"")),
                shown: DemoShown::Entered(answer),
            });
        }
    }
    Ok(())
}

/// The shop's manifests as they stood at a moment: entries taken later, states begun later and records begun later are
/// not there yet.
fn sliced(now: DateTime<FixedOffset>) -> Result<Vec<(String, String)>, Failure> {
    let now = Moment::parse(&now.to_rfc3339()).map_err(|expected| Finding::error("demo-data", expected))?;
    let mut files = Vec::new();
    for (path, text) in demo_files::MANIFESTS {
        let root = yaml::read(path, text.as_bytes())?;
        let begun = ["since", "on"].iter().filter_map(|key| root.get(key)).filter_map(Node::text);
        if begun.into_iter().any(|text| later(text, &now)) {
            continue;
        }
        let states = root.get("states").map(Node::items).unwrap_or_default();
        let first = states.first().and_then(|state| state.get("since")).and_then(Node::text);
        if first.is_some_and(|since| later(since, &now)) {
            continue;
        }
        let cut = states
            .iter()
            .find(|state| state.get("since").and_then(Node::text).is_some_and(|since| later(since, &now)));
        let until = cut.map_or(usize::MAX, |state| state.line);
        let mut slice = String::new();
        for (number, line) in text.split_inclusive('\n').enumerate() {
            let taken = line.trim_start().strip_prefix("- {").and_then(|_| line.split("taken: ").nth(1));
            let taken = taken.map(|rest| rest.split([',', '}']).next().unwrap_or_default().trim());
            if number + 1 < until && !taken.is_some_and(|taken| later(taken, &now)) {
                slice.push_str(line);
            }
        }
        files.push(((*path).to_owned(), slice));
    }
    Ok(files)
}

fn later(text: &str, now: &Moment) -> bool {
    Moment::parse(text).is_ok_and(|moment| moment.is_after(now))
}

/// The raw files, laid out beside the book while they are entered.
struct Spool {
    folder: crate::store::Scratch,
}

impl Spool {
    fn new(book: &Book) -> Result<Self, Failure> {
        Ok(Self { folder: book.scratch()? })
    }

    fn file(&self, name: &str) -> Result<PathBuf, Failure> {
        let bytes = demo_files::RAW_FILES.iter().find(|(known, _)| *known == name).map(|(_, bytes)| *bytes);
        let bytes =
            bytes.ok_or_else(|| Finding::error("demo-data", format!("there is no raw file {name}")))?;
        Ok(self.folder.put(name, bytes)?)
    }
}
