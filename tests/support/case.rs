//! One case of a reference script: what went in, what came out, and how near an answer must lie.
#![allow(dead_code, reason = "each test program uses its own part of it")]

use serde_json::Value;

/// One case: what went in, what came out of the reference.
pub(crate) struct Case<'a> {
    pub(crate) name: &'a str,
    pub(crate) given: &'a Value,
    pub(crate) answers: &'a Value,
}

impl Case<'_> {
    pub(crate) fn number(&self, key: &str) -> f64 {
        self.given[key].as_f64().unwrap_or_else(|| panic!("{}: no number {key}", self.name))
    }

    pub(crate) fn list(&self, key: &str) -> Vec<f64> {
        numbers(&self.given[key])
    }

    pub(crate) fn answer(&self, key: &str) -> f64 {
        self.answers[key].as_f64().unwrap_or_else(|| panic!("{}: no answer {key}", self.name))
    }

    /// Compares within a share of the answer or an absolute gap, whichever is wider.
    pub(crate) fn close(&self, key: &str, found: f64, relative: f64, absolute: f64) {
        self.close_to(key, found, self.answer(key), relative, absolute);
    }

    pub(crate) fn close_to(&self, key: &str, found: f64, expected: f64, relative: f64, absolute: f64) {
        let allowed = (relative * expected.abs()).max(absolute);
        assert!(
            (found - expected).abs() <= allowed,
            "{} {key}: found {found}, reference {expected}, for {}",
            self.name,
            self.given
        );
    }
}

/// The numbers of a list.
pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(|entry| entry.as_f64().expect("a number")).collect()
}
