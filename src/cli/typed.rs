//! Files named on the command line, with `-` for what is typed or pasted on standard input.

use std::io::Read;
use std::path::Path;
use std::path::PathBuf;

use crate::finding::Finding;
use crate::workflow::Failure;
use crate::workflow::take_in::Offered;

/// The longest table taken from standard input, in bytes; a longer one is a file.
const LONGEST: u64 = 16 << 20;

/// What the names on a command line offer, with the file that a table was exported from.
///
/// # Errors
/// Standard input cannot be read, is too long, or is named twice.
pub(super) fn offered(files: &[PathBuf], derived_from: Option<&Path>) -> Result<Vec<Offered>, Failure> {
    let origin = derived_from.filter(|origin| !files.iter().any(|path| path == origin));
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).chain(origin).collect();

    let typed = files.iter().filter(|path| is_typed(path)).count();
    if typed > 1 {
        return Err(Failure::usage(
            Finding::error("typed-input", "standard input can be read only once")
                .found(format!("`-` {typed} times"))
                .next("type one table at a time"),
        ));
    }
    files
        .iter()
        .map(
            |path| {
                if is_typed(path) {
                    read().map(Offered::Typed)
                } else {
                    Ok(Offered::File(path.to_path_buf()))
                }
            },
        )
        .collect()
}

fn is_typed(path: &Path) -> bool {
    path.as_os_str() == "-"
}

fn read() -> Result<Vec<u8>, Failure> {
    let refuse =
        |why: String| Failure::fault(Finding::error("typed-input", why).next("give the table as a file"));
    let mut bytes = Vec::new();
    std::io::stdin()
        .lock()
        .take(LONGEST + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| refuse(format!("standard input could not be read: {error}")))?;
    if bytes.len() as u64 > LONGEST {
        return Err(refuse(format!("standard input holds more than {LONGEST} bytes")));
    }
    Ok(bytes)
}
