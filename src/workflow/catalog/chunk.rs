//! Finished rows as the catalog keeps them: the records of one folder, what they say column by column.
//!
//! Records of one folder say much the same, so a column keeps each value once and which row says which.

use std::ops::Range;
use std::sync::Arc;

use serde::Deserialize;
use serde::Serialize;

/// What every row has, whatever is asked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Plain<S> {
    /// The record's name: a pull's id, a build's name, a part's tag with its newest state.
    pub(crate) name: S,
    /// Its day.
    pub(crate) on: Option<S>,
    /// By whom.
    pub(crate) by: Option<S>,
    /// A pull's session.
    pub(crate) session: Option<S>,
    /// A pull's cell.
    pub(crate) cell: Option<S>,
    /// A pull's build, a build's engine, a part's kind.
    pub(crate) of: Option<S>,
    /// What bars it from counting.
    pub(crate) remark: Option<S>,
    /// Whether something on it proved doubtful.
    pub(crate) doubted: bool,
}

/// What fills a role.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Fitted<S> {
    /// A part by tag and state.
    Part(S, S),
    /// Nothing, as somebody says.
    Nothing,
    /// Nobody knows.
    Unknown,
}

/// What a record says of something, and the words for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Saying<S> {
    pub(crate) said: Word<S>,
    pub(crate) words: Option<S>,
}

/// A value to be compared with what is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) enum Word<S> {
    Text(S),
    /// In SI.
    Number(f64),
    Nothing,
    /// It stands in a raw file's channel: another shelf has it.
    Channel,
    /// Only the records themselves tell: their reading fails, or rests on files that come and go.
    Live,
}

/// The record file of a row, with git's name for its content.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Source<S> {
    pub(crate) path: S,
    pub(crate) content: Vec<u8>,
}

/// A column: each value once, and for each row which of them, none as zero. An empty `at` says that all have the first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Column<S, V> {
    key: S,
    values: Vec<V>,
    at: Vec<u16>,
}

impl<S, V> Column<S, V> {
    /// The value of a row.
    pub(crate) fn value(&self, row: usize) -> Option<&V> {
        match self.at.get(row) {
            None if self.at.is_empty() => self.values.first(),
            None | Some(0) => None,
            Some(place) => self.values.get(usize::from(*place) - 1),
        }
    }
}

/// The rows of one folder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Chunk<S> {
    /// Git's name for the folder's content, by which it is known whether to look into it.
    pub(crate) content: Vec<u8>,
    pub(crate) sources: Vec<Source<S>>,
    pub(crate) rows: Vec<Plain<S>>,
    fitted: Vec<Column<S, Fitted<S>>>,
    said: Vec<Column<S, Saying<S>>>,
}

/// A row with all that it says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Row {
    pub(crate) plain: Plain<String>,
    /// What it says as the rows beside it do; its own words below go before.
    pub(crate) alike: Option<Arc<Alike>>,
    /// By role.
    pub(crate) fitted: Vec<(String, Fitted<String>)>,
    /// By key.
    pub(crate) said: Vec<(String, Saying<String>)>,
}

/// What rows of one configuration say.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Alike {
    /// By role.
    pub(crate) fitted: Vec<(String, Fitted<String>)>,
    /// By key.
    pub(crate) said: Vec<(String, Saying<String>)>,
}

/// Most rows of a chunk.
const MOST: usize = 50_000;

impl Chunk<String> {
    /// Lays rows out by column; `None` when there are more than a chunk holds.
    pub(crate) fn of(content: Vec<u8>, rows: Vec<(Source<String>, Row)>) -> Option<Self> {
        if rows.len() > MOST {
            return None;
        }
        let count = rows.len();
        let mut chunk =
            Self { content, sources: Vec::new(), rows: Vec::new(), fitted: Vec::new(), said: Vec::new() };
        let runs = rows.chunk_by(|(_, a), (_, b)| match (&a.alike, &b.alike) {
            (Some(a), Some(b)) => Arc::ptr_eq(a, b),
            _ => false,
        });
        let mut at = 0;
        for run in runs {
            let rows = at..at + run.len();
            for alike in run.first().iter().filter_map(|(_, row)| row.alike.as_ref()) {
                alike.fitted.iter().for_each(|(key, value)| add(&mut chunk.fitted, key, value, &rows, count));
                alike.said.iter().for_each(|(key, value)| add(&mut chunk.said, key, value, &rows, count));
            }
            at = rows.end;
        }
        for (at, (source, row)) in rows.into_iter().enumerate() {
            chunk.sources.push(source);
            chunk.rows.push(row.plain);
            let own = at..at + 1;
            row.fitted.iter().for_each(|(key, value)| add(&mut chunk.fitted, key, value, &own, count));
            row.said.iter().for_each(|(key, value)| add(&mut chunk.said, key, value, &own, count));
        }
        chunk.fitted.iter_mut().for_each(settle);
        chunk.said.iter_mut().for_each(settle);
        Some(chunk)
    }
}

/// Lays what some rows say of a key into its column.
fn add<V: PartialEq + Clone>(
    columns: &mut Vec<Column<String, V>>,
    key: &str,
    value: &V,
    rows: &Range<usize>,
    count: usize,
) {
    let found = match columns.binary_search_by(|column| column.key.as_str().cmp(key)) {
        Ok(found) => found,
        Err(place) => {
            let column = Column { key: key.to_owned(), values: Vec::new(), at: vec![0; count] };
            columns.insert(place, column);
            place
        }
    };
    let column = &mut columns[found];
    // What neighbours say is most often the same.
    let place = match column.values.iter().rposition(|known| known == value) {
        Some(known) => known,
        None => {
            column.values.push(value.clone());
            column.values.len() - 1
        }
    };
    if let (Some(slots), Ok(place)) = (column.at.get_mut(rows.clone()), u16::try_from(place + 1)) {
        slots.fill(place);
    }
}

fn settle<V>(column: &mut Column<String, V>) {
    if column.at.iter().all(|place| *place == 1) {
        column.at = Vec::new();
    }
}

impl<S: AsRef<str>> Chunk<S> {
    /// The column of a key.
    pub(crate) fn said(&self, key: &str) -> Option<&Column<S, Saying<S>>> {
        let found = self.said.binary_search_by(|column| column.key.as_ref().cmp(key)).ok()?;
        self.said.get(found)
    }

    /// The keys of its columns.
    pub(crate) fn keys(&self) -> impl Iterator<Item = &str> {
        self.said.iter().map(|column| column.key.as_ref())
    }

    /// What fills the roles of a row.
    pub(crate) fn fitted(&self, row: usize) -> impl Iterator<Item = (&str, &Fitted<S>)> {
        self.fitted.iter().filter_map(move |column| Some((column.key.as_ref(), column.value(row)?)))
    }

    /// Whether its parts fit each other: what was cut or put there by hand may not.
    pub(crate) fn is_whole(&self) -> bool {
        let count = self.rows.len();
        self.sources.len() == count
            && self.fitted.iter().all(|column| column.at.is_empty() || column.at.len() == count)
            && self.said.iter().all(|column| column.at.is_empty() || column.at.len() == count)
    }

    /// A row by itself.
    pub(crate) fn row(&self, row: usize) -> Option<Row> {
        let own = |text: &S| text.as_ref().to_owned();
        let plain = self.rows.get(row)?.map(&own);
        let fitted = self.fitted.iter();
        let said = self.said.iter();
        Some(Row {
            plain,
            alike: None,
            fitted: fitted
                .filter_map(|column| Some((own(&column.key), column.value(row)?.map(&own))))
                .collect(),
            said: said.filter_map(|column| Some((own(&column.key), column.value(row)?.map(&own)))).collect(),
        })
    }
}

impl<S> Plain<S> {
    fn map<T>(&self, turn: &impl Fn(&S) -> T) -> Plain<T> {
        let maybe = |text: &Option<S>| text.as_ref().map(turn);
        Plain {
            name: turn(&self.name),
            on: maybe(&self.on),
            by: maybe(&self.by),
            session: maybe(&self.session),
            cell: maybe(&self.cell),
            of: maybe(&self.of),
            remark: maybe(&self.remark),
            doubted: self.doubted,
        }
    }
}

impl<S> Fitted<S> {
    fn map<T>(&self, turn: &impl Fn(&S) -> T) -> Fitted<T> {
        match self {
            Self::Part(tag, letter) => Fitted::Part(turn(tag), turn(letter)),
            Self::Nothing => Fitted::Nothing,
            Self::Unknown => Fitted::Unknown,
        }
    }
}

impl<S> Saying<S> {
    fn map<T>(&self, turn: &impl Fn(&S) -> T) -> Saying<T> {
        let said = match &self.said {
            Word::Text(text) => Word::Text(turn(text)),
            Word::Number(number) => Word::Number(*number),
            Word::Nothing => Word::Nothing,
            Word::Channel => Word::Channel,
            Word::Live => Word::Live,
        };
        Saying { said, words: self.words.as_ref().map(turn) }
    }
}

/// The kept form.
pub(crate) fn encode<T: Serialize>(what: &T) -> Option<Vec<u8>> {
    postcard::to_stdvec(what).ok()
}

/// The sources of a chunk alone, from its kept form.
pub(crate) fn sources_of(bytes: &[u8]) -> Option<Vec<Source<&str>>> {
    // The first two fields of a chunk.
    let (head, _) = postcard::take_from_bytes::<(Vec<u8>, Vec<Source<&str>>)>(bytes).ok()?;
    Some(head.1)
}

/// How many rows a chunk has, from its kept form.
pub(crate) fn count_of(bytes: &[u8]) -> Option<usize> {
    // A sequence begins with its length.
    let (head, _) = postcard::take_from_bytes::<(Vec<u8>, usize)>(bytes).ok()?;
    Some(head.1)
}

/// From the kept form; `None` when it is of another.
pub(crate) fn decode<'b, T: Deserialize<'b>>(bytes: &'b [u8]) -> Option<T> {
    postcard::from_bytes(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(name: &str, header: &str, timing: Option<f64>) -> (Source<String>, Row) {
        let plain = Plain {
            name: name.to_owned(),
            on: Some("2026-04-11".to_owned()),
            by: None,
            session: Some("0411a".to_owned()),
            cell: None,
            of: Some("b1".to_owned()),
            remark: None,
            doubted: false,
        };
        let saying = |number| Saying { said: Word::Number(number), words: Some(format!("{number} deg")) };
        let said = timing.map(|number| ("setting:ignition-timing".to_owned(), saying(number)));
        let fitted = vec![("header".to_owned(), Fitted::Part(header.to_owned(), "a".to_owned()))];
        let source = Source { path: format!("{name}.yaml"), content: vec![7; 20] };
        (source, Row { plain, alike: None, fitted, said: said.into_iter().collect() })
    }

    #[test]
    fn rows_come_back_from_their_columns() {
        let rows =
            vec![row("a-1", "long", None), row("a-2", "long", Some(31.0)), row("a-3", "short", Some(31.0))];
        let chunk = Chunk::of(vec![1; 20], rows.clone()).expect("few rows");
        assert!(chunk.is_whole());
        let bytes = encode(&chunk).expect("bytes");
        let back: Chunk<&str> = decode(&bytes).expect("the same form");
        assert!(back.is_whole());
        for (at, (source, row)) in rows.iter().enumerate() {
            assert_eq!(back.row(at).as_ref(), Some(row));
            assert_eq!(back.sources[at].path, source.path);
            assert_eq!(sources_of(&bytes).expect("sources")[at], back.sources[at]);
        }
        assert_eq!(count_of(&bytes), Some(rows.len()));
        assert_eq!(back.said("setting:ignition-timing").expect("a column").values.len(), 1);
        for end in 0..bytes.len() {
            let cut: Option<Chunk<&str>> = decode(&bytes[..end]);
            assert!(cut.is_none(), "{end}");
        }
    }
}
