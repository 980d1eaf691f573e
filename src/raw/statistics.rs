//! What is kept of a channel while its rows pass by.

/// Count, range, sum and sameness of the values seen so far.
#[derive(Debug, Clone)]
pub(super) struct Running {
    pub(super) count: u64,
    pub(super) missing: u64,
    pub(super) zeros: u64,
    pub(super) first: Option<f64>,
    /// The line of the first value.
    pub(super) first_line: Option<u64>,
    pub(super) last: Option<f64>,
    least: f64,
    greatest: f64,
    sum: f64,
    run: u64,
    run_start: u64,
    /// The longest run of one and the same value, and the line where it began.
    pub(super) longest_run: (u64, u64),
}

impl Default for Running {
    fn default() -> Self {
        Self {
            count: 0,
            missing: 0,
            zeros: 0,
            first: None,
            first_line: None,
            last: None,
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
            sum: 0.0,
            run: 0,
            run_start: 0,
            longest_run: (0, 0),
        }
    }
}

impl Running {
    /// Adds the next values, standing on these lines.
    pub(super) fn add(&mut self, values: &[f64], lines: &[u64]) {
        // NaN equals nothing, so the first value always begins a run.
        let mut last = self.last.unwrap_or(f64::NAN);
        let mut missing = 0_u64;
        for (value, line) in values.iter().zip(lines) {
            let value = *value;
            if value.is_nan() {
                missing += 1;
                continue;
            }
            if self.first.is_none() {
                self.first = Some(value);
                self.first_line = Some(*line);
            }
            self.sum += value;
            if value < self.least {
                self.least = value;
            }
            if value > self.greatest {
                self.greatest = value;
            }
            if value.to_bits() == last.to_bits() {
                self.run += 1;
            } else {
                self.close_run();
                self.run = 1;
                self.run_start = *line;
                last = value;
            }
            self.zeros += u64::from(value.abs() < f64::MIN_POSITIVE);
        }
        self.missing += missing;
        self.count += values.len() as u64 - missing;
        if self.count > 0 {
            self.last = Some(last);
        }
    }

    fn close_run(&mut self) {
        if self.run > self.longest_run.0 {
            self.longest_run = (self.run, self.run_start);
        }
    }

    /// Adds what another has seen after this one; a run does not go on across the two.
    pub(super) fn join(&mut self, next: &Self) {
        self.count += next.count;
        self.missing += next.missing;
        self.zeros += next.zeros;
        self.first = self.first.or(next.first);
        self.first_line = self.first_line.or(next.first_line);
        self.last = next.last.or(self.last);
        self.least = self.least.min(next.least);
        self.greatest = self.greatest.max(next.greatest);
        self.sum += next.sum;
        self.close_run();
        self.run = 0;
        let mut next = next.clone();
        next.close_run();
        if next.longest_run.0 > self.longest_run.0 {
            self.longest_run = next.longest_run;
        }
    }

    /// Least and greatest value.
    pub(super) fn range(&self) -> Option<(f64, f64)> {
        (self.count > 0).then_some((self.least, self.greatest))
    }

    /// Mean of the values.
    #[expect(clippy::cast_precision_loss, reason = "no file has 2^53 rows")]
    pub(super) fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / self.count as f64)
    }
}

/// The middle of a list; the mean of the two middle ones where their number is even.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|v| v.is_finite());
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let upper = *values.get(middle)?;
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    values.get(middle.checked_sub(1)?).map(|lower| f64::midpoint(*lower, upper))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_ranges_and_means() {
        let mut running = Running::default();
        running.add(&[1.0, 2.0, 2.0], &[5, 6, 7]);
        running.add(&[2.0, f64::NAN, 2.0, 3.0], &[8, 9, 10, 11]);
        assert_eq!((running.count, running.missing), (6, 1));
        assert_eq!(running.range(), Some((1.0, 3.0)));
        assert_eq!(running.mean(), Some(2.0));
        assert_eq!((running.first, running.last), (Some(1.0), Some(3.0)));
        assert_eq!(running.longest_run, (4, 6));
        let mut whole = Running::default();
        whole.join(&running);
        assert_eq!(whole.longest_run, (4, 6));
        assert_eq!(median(vec![3.0, 1.0, f64::NAN, 2.0]), Some(2.0));
        assert_eq!(median(vec![4.0, 1.0]), Some(2.5));
        assert_eq!(median(vec![]), None);
    }
}
