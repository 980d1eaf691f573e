//! What `benches/ratios` needs of the library: `tool book FOLDER PULLS` writes a book of many pulls in one commit, `tool
//! history FOLDER PULLS PARTS` one in as many commits as a shop would have made, `tool read FILE` reads a table and
//! prints the seconds it took, those of them that went into guessing its columns, and its rows.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::print_stdout,
    reason = "a program of its own: it reads files, looks at the clock and prints what it measured"
)]

mod book;
mod history;
mod read;
mod records;

use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["book", folder, pulls] => book::write(Path::new(folder), pulls.parse()?),
        ["history", folder, pulls, parts] => {
            history::write(Path::new(folder), pulls.parse()?, parts.parse()?)
        }
        ["read", path] => {
            let (seconds, guessing, rows) = read::time(Path::new(path))?;
            println!("{seconds:.4} {guessing:.4} {rows}");
            Ok(())
        }
        _ => Err("usage: tool book FOLDER PULLS, tool history FOLDER PULLS PARTS, or tool read FILE".into()),
    }
}
