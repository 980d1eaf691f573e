//! Reads every row of a table once, by columns guessed from its head: all of it is timed, the guess as well by itself.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::time::Instant;

/// Seconds in all, those of the guess, and rows.
pub(crate) fn time(path: &Path) -> Result<(f64, f64, u64), Box<dyn std::error::Error>> {
    let begun = Instant::now();
    let mut head = Vec::new();
    File::open(path)?.take(1 << 20).read_to_end(&mut head)?;
    let columns = mulebook::raw::sniff(&head, "table", false, &[])?.into_columns("guessed");
    let guessed = begun.elapsed().as_secs_f64();
    let mut last = 0.0;
    let summary = mulebook::raw::read(&mut File::open(path)?, &columns, &mut |batch| {
        last = batch.columns.iter().filter_map(|column| column.last()).sum::<f64>();
    })?;
    std::hint::black_box(last);
    Ok((begun.elapsed().as_secs_f64(), guessed, summary.rows))
}
