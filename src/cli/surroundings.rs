//! The surroundings of a command: clock, zone, person, book, terminal.

use std::cell::RefCell;
use std::io::IsTerminal;
use std::path::Path;
use std::path::PathBuf;
use std::rc::Rc;

use chrono::DateTime;
use chrono::FixedOffset;
use indicatif::ProgressBar;
use indicatif::ProgressStyle;

use crate::cli::Common;
use crate::finding::Finding;
use crate::render::Letters;
use crate::render::Look;
use crate::store::Author;
use crate::store::Book;
use crate::store::SigningKey;
use crate::workflow::Context;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::Progress;
use crate::workflow::draft::recovered_words;

/// Set to a time with its zone, it stands for the clock: answers can be made again.
const NOW: &str = "MULEBOOK_NOW";
/// Who enters things, as people.yaml calls them.
const PERSON: &str = "MULEBOOK_PERSON";

/// The SSH key that signs commits: a private key's file, or the public one of a key that the agent holds.
const SIGNING_KEY: &str = "MULEBOOK_SIGNING_KEY";

/// What the outermost room knows.
pub(crate) struct Surroundings {
    common: Common,
    bar: Rc<RefCell<Option<ProgressBar>>>,
    /// What opening the book found of an interrupted command, until an answer has told it.
    found: RefCell<Vec<Finding>>,
}

impl Surroundings {
    pub(super) fn read(common: Common) -> Self {
        Self { common, bar: Rc::default(), found: RefCell::default() }
    }

    /// Who enters things, where said.
    pub(crate) fn person(&self) -> Option<String> {
        self.common.by.clone().or_else(|| std::env::var(PERSON).ok().filter(|person| !person.is_empty()))
    }

    /// Now, in the local zone, or as `MULEBOOK_NOW` says.
    pub(crate) fn now(&self) -> Result<DateTime<FixedOffset>, Failure> {
        match std::env::var(NOW) {
            Ok(text) => DateTime::parse_from_rfc3339(&text).map_err(|_| {
                Failure::usage(
                    Finding::error("not-a-date", format!("{NOW} is not a time"))
                        .found(format!("`{text}`"))
                        .expected("a time with its zone as 2026-04-12T15:20:00+02:00"),
                )
            }),
            Err(_) => Ok(chrono::Local::now().fixed_offset()),
        }
    }

    /// The book that `--book` names, or the one around the current folder.
    pub(crate) fn book(&self) -> Result<Book, Failure> {
        let mut book = Book::discover(&self.folder()?)?;
        self.heed(&book);
        let set = || std::env::var_os(SIGNING_KEY).filter(|path| !path.is_empty()).map(PathBuf::from);
        if let Some(path) = self.common.key.clone().or_else(set) {
            book.sign_with(SigningKey::at(&path)?);
        }
        Ok(book)
    }

    /// Keeps what opening a book found, so that no command passes over it.
    fn heed(&self, book: &Book) {
        let recovered =
            book.recovered().map(|recovery| Finding::note("recovered", recovered_words(recovery)));
        let unsettled = book.unsettled().map(|error| {
            Finding::doubt(
                "not-recovered",
                format!("an interrupted command could not be cleared up after: {error}"),
            )
        });
        self.found.borrow_mut().extend(recovered.into_iter().chain(unsettled));
    }

    /// Takes note that an answer tells of the recovery itself.
    pub(crate) fn told_recovery(&self) {
        self.found.borrow_mut().retain(|finding| finding.code != "recovered");
    }

    /// What opening the book found and no answer told.
    pub(super) fn untold(&self) -> Vec<Finding> {
        self.found.take()
    }

    /// The book, if there is one.
    pub(crate) fn book_if_any(&self) -> Result<Option<Book>, Failure> {
        match Book::discover(&self.folder()?) {
            Ok(book) => {
                self.heed(&book);
                Ok(Some(book))
            }
            Err(crate::store::Error::NotABook { .. }) if self.common.book.is_none() => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    /// The folder that `--book` names, or the current one.
    pub(super) fn folder(&self) -> Result<PathBuf, Failure> {
        match &self.common.book {
            Some(book) => Ok(book.clone()),
            None => std::env::current_dir().map_err(|error| {
                Finding::error("no-folder", format!("the current folder cannot be read: {error}")).into()
            }),
        }
    }

    /// The context of a command on a book: the person's name and address come from people.yaml where it has them.
    pub(crate) fn context(&self, command: &str, book: Option<&Book>) -> Result<Context, Failure> {
        let person = self.person();
        let known = match (book, &person) {
            (Some(book), Some(person)) => Library::at_head(book)?.people()?.remove(person),
            _ => None,
        };
        let variable = |name: &str| std::env::var(name).ok().filter(|value| !value.trim().is_empty());
        let name = known
            .as_ref()
            .map(|known| known.name.clone())
            .or_else(|| variable("GIT_AUTHOR_NAME"))
            .or_else(|| person.clone())
            .or_else(|| variable("USER"))
            .unwrap_or_else(|| "somebody".to_owned());
        let email =
            known.and_then(|known| known.email).or_else(|| variable("GIT_AUTHOR_EMAIL")).unwrap_or_default();
        let fit = |text: String| {
            text.chars().filter(|c| !matches!(c, '<' | '>') && !c.is_control()).collect::<String>()
        };
        Ok(Context {
            now: self.now()?,
            person,
            author: Author { name: fit(name), email: fit(email) },
            process: std::process::id(),
            command: command.to_owned(),
            progress: self.progress(),
        })
    }

    /// Whether a person sits at the terminal and can be asked.
    pub(crate) fn can_ask(&self) -> bool {
        !self.common.json && std::io::stdin().is_terminal() && std::io::stdout().is_terminal()
    }

    /// The key that a dossier is signed with.
    pub(crate) fn sealer(&self, key: &Path) -> Result<SigningKey, Failure> {
        Ok(SigningKey::at(key)?)
    }

    /// Says something on standard error before the work is done; nothing where there is nothing to say.
    pub(crate) fn say_beforehand(&self, text: &str) {
        self.end_progress();
        if !text.is_empty() {
            // The answer says it again: that it cannot be shown now changes nothing of it.
            let _ = super::say(text, true);
        }
    }

    /// Where private folders may be made.
    pub(crate) fn temporary(&self) -> PathBuf {
        std::env::temp_dir()
    }

    /// Whether the answer is to be JSON.
    pub(crate) fn json(&self) -> bool {
        self.common.json
    }

    /// How text on standard output is to look.
    pub(crate) fn look(&self) -> Look {
        Self::look_on(std::io::stdout().is_terminal())
    }

    /// How text on standard error is to look.
    pub(super) fn look_of_errors(&self) -> Look {
        Self::look_on(std::io::stderr().is_terminal())
    }

    fn look_on(terminal: bool) -> Look {
        let plain = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty())
            || std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        let columns = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
        let width = if terminal { columns.unwrap_or_else(|| usize::from(console_width())) } else { 80 };
        Look { colour: terminal && !plain, width: width.min(110), plots: terminal.then(letters) }
    }

    /// Progress to standard error, only on a terminal, and only once work takes a while.
    pub(super) fn progress(&self) -> Progress {
        if self.common.json || !std::io::stderr().is_terminal() {
            return Box::new(|_, _, _| {});
        }
        let bar = Rc::clone(&self.bar);
        let begun = std::time::Instant::now();
        Box::new(move |what, done, whole| {
            if begun.elapsed().as_millis() < 400 {
                return;
            }
            let mut slot = bar.borrow_mut();
            let bar = slot.get_or_insert_with(|| {
                let bar = ProgressBar::new_spinner();
                if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}") {
                    bar.set_style(style);
                }
                bar
            });
            let text = match whole {
                Some(whole) if whole > 0 => format!("{what}: {} %", done.saturating_mul(100) / whole),
                _ => format!("{what}: {done}"),
            };
            bar.set_message(text);
            bar.tick();
        })
    }

    pub(super) fn end_progress(&self) {
        if let Some(bar) = self.bar.borrow_mut().take() {
            bar.finish_and_clear();
        }
    }
}

/// What the terminal shows: more than ASCII where the locale says so, by the first of its variables that is set
/// (POSIX.1-2017, Base Definitions, 8.2).
fn letters() -> Letters {
    let set = |name| std::env::var(name).ok().filter(|value| !value.is_empty());
    let unicode = match ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set) {
        Some(locale) => {
            let locale = locale.to_ascii_lowercase();
            locale.contains("utf-8") || locale.contains("utf8")
        }
        None => cfg!(windows),
    };
    if unicode { Letters::Unicode } else { Letters::Ascii }
}

/// The terminal's width, as the terminal library finds it.
fn console_width() -> u16 {
    console::Term::stdout().size_checked().map_or(80, |(_, columns)| columns)
}
