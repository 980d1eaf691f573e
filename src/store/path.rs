//! Which paths a book may hold, and whether the way to one is free of links.

use std::fs;
use std::path::{Path, PathBuf};

use super::Error;

/// The longest name of one file or folder, in bytes, on common file systems.
const LONGEST_NAME: usize = 255;

/// Checks that a path is relative, made of normal names joined by `/`, stays inside the book and out of `.git`.
pub(super) fn check(path: &str) -> Result<(), Error> {
    let refuse = |found| Err(Error::UnsafePath { path: path.to_owned(), found });
    if path.is_empty() {
        return refuse("is empty");
    }
    if path.starts_with('/') {
        return refuse("is absolute");
    }
    for name in path.split('/') {
        let plain = name.trim_end_matches([' ', '.']).to_ascii_lowercase();
        match name {
            "" => return refuse("has an empty name in it"),
            "." | ".." => return refuse("has `.` or `..` in it"),
            _ if name.len() > LONGEST_NAME => return refuse("has a name longer than 255 bytes"),
            _ if name.chars().any(char::is_control) => return refuse("has a control character in it"),
            _ if name.contains(['\\', ':', '*', '?', '"', '<', '>', '|']) => {
                return refuse("has a character that some systems cannot store");
            }
            _ if name.ends_with([' ', '.']) => return refuse("has a name that ends in a space or a dot"),
            _ if plain == ".git" || plain == "git~1" => return refuse("leads into git's own folder"),
            _ => {}
        }
    }
    Ok(())
}

/// What stands at a path, without following links.
#[derive(Debug)]
pub(super) enum Standing {
    Nothing,
    File(fs::Metadata),
    Folder,
    Other(&'static str),
}

/// Looks at what stands at a path, without following a link there.
pub(super) fn standing(path: &Path) -> Result<Standing, Error> {
    let metadata = match fs::symlink_metadata(path) {
        Ok(metadata) => metadata,
        Err(error)
            if matches!(error.kind(), std::io::ErrorKind::NotFound | std::io::ErrorKind::NotADirectory) =>
        {
            return Ok(Standing::Nothing);
        }
        Err(error) => return Err(Error::io("look at", path)(error)),
    };
    let kind = metadata.file_type();
    Ok(if kind.is_file() {
        Standing::File(metadata)
    } else if kind.is_dir() {
        Standing::Folder
    } else if kind.is_symlink() {
        Standing::Other("a symbolic link")
    } else {
        Standing::Other("neither a file nor a folder")
    })
}

/// The disk path of a checked path, once every folder on the way is a plain folder or absent.
pub(super) fn locate(root: &Path, path: &str) -> Result<PathBuf, Error> {
    check(path)?;
    let mut place = root.to_owned();
    let mut names = path.split('/').peekable();
    let mut gone = false;
    while let Some(name) = names.next() {
        place.push(name);
        if names.peek().is_none() || gone {
            continue;
        }
        let found = match standing(&place)? {
            Standing::Folder => continue,
            Standing::Nothing => {
                gone = true;
                continue;
            }
            Standing::File(_) => "a file",
            Standing::Other(found) => found,
        };
        let inside = place.strip_prefix(root).unwrap_or(&place).to_string_lossy().replace('\\', "/");
        return Err(Error::NotPlain { path: inside, found, expected: "a folder" });
    }
    Ok(place)
}

/// The bytes of a plain file of the book, or `None` when nothing stands there.
///
/// # Errors
///
/// [`Error::NotPlain`] for a link, a folder or a device; [`Error::Io`].
pub(super) fn read(root: &Path, path: &str) -> Result<Option<Vec<u8>>, Error> {
    let place = locate(root, path)?;
    let found = match standing(&place)? {
        Standing::Nothing => return Ok(None),
        Standing::File(_) => return fs::read(&place).map(Some).map_err(Error::io("read", &place)),
        Standing::Folder => "a folder",
        Standing::Other(found) => found,
    };
    Err(Error::NotPlain { path: path.to_owned(), found, expected: "a plain file" })
}

/// The folder part of a path, `""` for the book's own folder.
pub(super) fn folder_of(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(folder, _)| folder)
}

#[cfg(test)]
mod tests {
    use super::check;

    #[test]
    fn refuses_paths_that_leave_the_book_or_that_some_system_cannot_store() {
        for path in [
            "",
            "/etc/passwd",
            "../x",
            "a/../b",
            "a//b",
            "a/",
            "./a",
            ".git/config",
            "a/.GIT/x",
            ".git ",
            ".git.",
            "git~1/x",
            "C:\\x",
            "a\\b",
            "a\nb",
            "a\u{1b}b",
            "x.",
            "x ",
            "a:b",
        ] {
            assert!(check(path).is_err(), "{path:?} was accepted");
        }
        assert!(check(&"n".repeat(256)).is_err());
    }

    #[test]
    fn accepts_the_paths_of_a_book() {
        for path in [
            "book.yaml",
            ".gitattributes",
            ".schema/part.json",
            "builds/b1/pulls/p-001.yaml",
            "parts/été/ü.yaml",
        ] {
            assert!(check(path).is_ok(), "{path:?} was refused");
        }
    }
}
