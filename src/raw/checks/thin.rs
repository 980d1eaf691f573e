//! An even sample of the rows, of bounded size, for checks that need a median.

use crate::raw::summary::Batch;

/// Rows kept at most.
const MOST: usize = 4096;

/// Every n-th row of the file; n doubles whenever the sample is full.
pub(super) struct Thin {
    columns: Vec<Vec<f64>>,
    step: u64,
    seen: u64,
    kept: usize,
}

impl Thin {
    pub(super) fn new(channels: usize) -> Self {
        Self { columns: vec![Vec::new(); channels], step: 1, seen: 0, kept: 0 }
    }

    pub(super) fn rows(&mut self, batch: &Batch<'_>) {
        let rows = batch.rows() as u64;
        let mut row = self.seen.next_multiple_of(self.step) - self.seen;
        while row < rows {
            let at = usize::try_from(row).unwrap_or(usize::MAX);
            for (kept, values) in self.columns.iter_mut().zip(batch.columns) {
                kept.push(values.get(at).copied().unwrap_or(f64::NAN));
            }
            self.kept += 1;
            if self.kept >= MOST {
                self.halve();
                row = (self.seen + row + 1).next_multiple_of(self.step) - self.seen;
            } else {
                row += self.step;
            }
        }
        self.seen += rows;
    }

    fn halve(&mut self) {
        for column in &mut self.columns {
            let mut index = 0;
            column.retain(|_| {
                index += 1;
                index % 2 == 1
            });
        }
        self.kept = self.kept.div_ceil(2);
        self.step *= 2;
    }

    /// The sample of one channel.
    pub(super) fn column(&self, channel: usize) -> &[f64] {
        self.columns.get(channel).map_or(&[], Vec::as_slice)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sample_is_even_and_bounded() {
        let mut thin = Thin::new(1);
        let mut next = 0.0;
        for _ in 0..100 {
            let values: Vec<f64> = (0..777).map(|n| next + f64::from(n)).collect();
            next += 777.0;
            let lines = vec![0; values.len()];
            thin.rows(&Batch { segment: 1, lines: &lines, columns: &[&values] });
        }
        let kept = thin.column(0);
        assert!(kept.len() < MOST && kept.len() > MOST / 4);
        let step = kept[1] - kept[0];
        assert!(kept.windows(2).all(|w| (w[1] - w[0] - step).abs() < 1e-9));
    }
}
