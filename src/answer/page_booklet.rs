//! A booklet of many tests.

use crate::answer::PageMark;
use crate::answer::SheetAnswer;

/// One test of a booklet.
#[derive(Debug, Clone, PartialEq)]
pub struct BookletTest {
    /// Its sheet.
    pub sheet: SheetAnswer,
    /// What its page is of.
    pub mark: PageMark,
}

/// A part in a state, with the tests that it was on for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookletPart {
    /// The part and its state.
    pub part: String,
    /// Its kind.
    pub kind: String,
    /// Places of the tests in the booklet, from 0.
    pub tests: Vec<usize>,
}

/// Many tests with an index of their parts.
#[derive(Debug, Clone, PartialEq)]
pub struct Booklet {
    /// What was asked for.
    pub asked: Vec<String>,
    /// The tests, by day and order.
    pub tests: Vec<BookletTest>,
    /// The parts, by name.
    pub parts: Vec<BookletPart>,
}
