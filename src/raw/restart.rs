//! Where time begins again: another pull in the same file.

/// A step back by more than this share of what had been covered since the beginning is another beginning.
pub(super) const SHARE: f64 = 0.5;

/// Rows that a pull must have, on average, for the steps back to part pulls.
const ROWS: u64 = 3;

/// Counts beginnings while values go by.
#[derive(Debug, Clone)]
pub(super) struct Restarts {
    start: f64,
    last: f64,
    count: u64,
    values: u64,
}

impl Restarts {
    pub(super) fn new() -> Self {
        Self { start: f64::NAN, last: f64::NAN, count: 0, values: 0 }
    }

    /// Takes a value; one that is none is passed over.
    pub(super) fn push(&mut self, value: f64) {
        if value.is_nan() {
            return;
        }
        self.values += 1;
        if self.start.is_nan() {
            self.start = value;
        } else if value < self.last && self.last - value > SHARE * (self.last - self.start) {
            self.count += 1;
            self.start = value;
        }
        self.last = value;
    }

    /// Whether values began again, and seldom enough to part pulls.
    pub(super) fn part_pulls(&self) -> bool {
        self.count > 0 && self.count * ROWS < self.values
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_far_step_back_parts_and_a_small_one_does_not() {
        let parts = |values: &[f64]| {
            let mut restarts = Restarts::new();
            values.iter().for_each(|value| restarts.push(*value));
            restarts.part_pulls()
        };
        assert!(parts(&[0.0, 1.0, 2.0, 3.0, f64::NAN, 0.0, 1.0, 2.0]));
        assert!(!parts(&[0.0, 1.0, 2.0, 3.0, 2.5, 3.0, 4.0]));
        assert!(!parts(&[3.0, 2.0, 1.0, 0.0]), "rows the wrong way round");
        assert!(!parts(&[]));
    }
}
