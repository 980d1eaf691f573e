//! Writes a book of many pulls in one commit, to measure how commands do in it.

use std::path::Path;

use mulebook::store::Author;
use mulebook::store::Book;
use mulebook::store::Time;

use crate::records;
use crate::records::File;
use crate::records::SESSION;
use crate::records::Shop;

/// Copies of a part that changes from build to build, for each ten builds.
const COPIES: usize = 4;
const COPIED: [(&str, &str); 3] = [("header", "long-1"), ("cylinder-head", "h2"), ("camshaft", "cams-5")];

/// Makes the book at a folder that is not there yet.
pub(crate) fn write(folder: &Path, pulls: usize) -> Result<(), Box<dyn std::error::Error>> {
    let files = files(pulls)?;
    let author = Author { name: "M. Kessel".to_owned(), email: "mk@example.org".to_owned() };
    let time = Time { seconds: 1_800_000_000, offset: 0 };
    Book::create(folder, &files, &author, time, "A large book")?;
    Ok(())
}

fn files(pulls: usize) -> Result<Vec<File>, Box<dyn std::error::Error>> {
    let builds = pulls.div_ceil(SESSION).div_ceil(2) + 1;
    let shop = Shop::new(&COPIED, (builds * COPIES).div_ceil(10))?;
    let mut files = Shop::base()?;
    files.extend((0..shop.copies()).flat_map(|copy| shop.parts(copy)));
    files.extend((0..builds).map(|number| shop.build(number)));
    for pull in 0..pulls {
        if pull % SESSION == 0 {
            files.push(records::session(pull)?);
        }
        files.extend(records::pull(pull)?);
    }
    Ok(files)
}
