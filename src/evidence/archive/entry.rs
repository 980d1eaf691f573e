//! One file of the archive: what the directory says of it, and whether its own header says the same.

use super::format::{
    CENTRAL, DEFLATED, DESCRIPTOR, ELSEWHERE, EXTRA64, FLAG_DESCRIPTOR, FLAG_ENCRYPTED, FLAGS_KNOWN, Figures,
    LOCAL, STORED,
};
use crate::evidence::name::{LONGEST_PATH, escaped_bytes};
use crate::finding::Finding;
use crate::finding::Place;

/// Extra fields that change nothing of name, kind or bytes: times and owners of Unix and Windows, the mark of a Java
/// archive, padding, and a note of libarchive. A link, another name or encryption would stand in one of the others.
const EXTRAS_KNOWN: [u16; 9] = [EXTRA64, 0x5455, 0x7875, 0x5855, 0x7855, 0x000a, 0xcafe, 0xa220, 0x6c78];

/// What the directory says of one file or folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::evidence) struct Entry {
    /// Its name as it stands there; checked to be text of an allowed form before anything else is done with it.
    pub(in crate::evidence) name: String,
    /// Whether it is a folder.
    pub(in crate::evidence) folder: bool,
    /// Length of its bytes.
    pub(in crate::evidence) length: u64,
    /// Permission bits beyond reading, writing and running: set user, set group, sticky.
    pub(in crate::evidence) special: u32,
    pub(super) method: u16,
    pub(super) flags: u16,
    pub(super) crc: u32,
    pub(super) packed: u64,
    pub(super) offset: u64,
    pub(super) data: u64,
}

/// A finding about an entry that could not be read as one.
fn refusal(code: &'static str, message: &str, name: &[u8]) -> Finding {
    Finding::error(code, message).at(Place::file(escaped_bytes(name)))
}

/// The 64-bit figures of the extra fields, and whether every field is one that is known.
fn extra(extra: &[u8], name: &[u8]) -> Result<Option<Vec<u64>>, Finding> {
    let mut figures = Figures(extra);
    let mut large = None;
    while !figures.0.is_empty() {
        let field = figures.short().zip(figures.short()).and_then(|(id, length)| {
            let bytes = figures.bytes(usize::from(length))?;
            Some((id, bytes))
        });
        let Some((id, bytes)) = field else {
            return Err(refusal("archive-extra-field", "an extra field of the zip file breaks off", name));
        };
        if !EXTRAS_KNOWN.contains(&id) {
            let message = "the zip file holds an extra field that could change a name or a kind of file";
            return Err(refusal("archive-extra-field", message, name)
                .found(format!("field {id:#06x}"))
                .expected("none, or times and owners"));
        }
        if id == EXTRA64 {
            if large.is_some() || bytes.len() % 8 != 0 {
                return Err(refusal("archive-zip64", "a zip64 field is given twice or breaks off", name));
            }
            let mut rest = Figures(bytes);
            large = Some(std::iter::from_fn(|| rest.longest()).collect());
        }
    }
    Ok(large)
}

/// Puts the 64-bit figures in place of those that are given elsewhere.
///
/// What is not given elsewhere may be said again (some writers always give both sizes), but must then agree.
fn widen(short: &[u32], large: Option<Vec<u64>>, name: &[u8]) -> Result<Vec<u64>, Finding> {
    let lying = || refusal("archive-zip64", "the zip64 figures do not agree with the others", name);
    let needed = short.iter().filter(|&&figure| figure == ELSEWHERE).count();
    let large = large.unwrap_or_default();
    let all_given = large.len() >= 2 && large.len() <= short.len() && large.len() > needed;
    if !all_given && large.len() != needed {
        return Err(lying());
    }
    let mut given = large.iter().copied();
    let mut widened = Vec::new();
    for (at, &figure) in short.iter().enumerate() {
        widened.push(match figure {
            ELSEWHERE => given.next().ok_or_else(lying)?,
            figure if all_given && at < large.len() => {
                given.next().filter(|&said| said == u64::from(figure)).ok_or_else(lying)?
            }
            figure => u64::from(figure),
        });
    }
    Ok(widened)
}

impl Entry {
    /// Takes the next entry of the directory.
    pub(super) fn take(directory: &mut Figures<'_>) -> Result<Self, Finding> {
        let broken =
            || Finding::error("archive-directory", "the directory of the zip file breaks off or is none");
        let (signature, made_by, _needed) =
            (|| Some((directory.long()?, directory.short()?, directory.short()?)))().ok_or_else(broken)?;
        if signature != CENTRAL {
            return Err(broken());
        }
        let mut short = || directory.short().ok_or_else(broken);
        let (flags, method, _time, _date) = (short()?, short()?, short()?, short()?);
        let mut long = || directory.long().ok_or_else(broken);
        let (crc, packed, length) = (long()?, long()?, long()?);
        let mut short = || directory.short().ok_or_else(broken);
        let [name_length, extra_length, comment, disk, _internal] =
            [short()?, short()?, short()?, short()?, short()?];
        let (attributes, offset) = directory.long().zip(directory.long()).ok_or_else(broken)?;
        let name = directory.bytes(usize::from(name_length)).ok_or_else(broken)?;
        let extra_bytes = directory.bytes(usize::from(extra_length)).ok_or_else(broken)?;
        if name.len() > LONGEST_PATH + 1 {
            return Err(refusal(
                "archive-name",
                "a name in the zip file is not one that a dossier may hold",
                name,
            )
            .found(format!("{} bytes", name.len()))
            .expected(format!("at most {LONGEST_PATH}")));
        }
        if comment != 0 || disk != 0 {
            let message = "an entry of the zip file has a comment or lies on another disk";
            return Err(refusal("archive-directory", message, name));
        }
        refuse_flags(flags, method, name)?;
        let figures = widen(&[length, packed, offset], extra(extra_bytes, name)?, name)?;
        let (folder, special) = kind(name, made_by, attributes)?;
        let name = str::from_utf8(name)
            .map_err(|_| refusal("archive-name", "a name in the zip file is no text", name))?
            .to_owned();
        let mut entry = Self {
            name,
            folder,
            special,
            method,
            flags,
            crc,
            length: figures[0],
            packed: figures[1],
            offset: figures[2],
            data: 0,
        };
        if folder {
            let nothing = entry.length == 0 && entry.packed <= 2;
            if !nothing {
                return Err(entry.finding("archive-folder", "a folder of the zip file holds bytes"));
            }
            entry.name.truncate(entry.name.len() - 1);
        }
        if method == STORED && entry.packed != entry.length {
            let found = format!("{} bytes kept as {}", entry.length, entry.packed);
            return Err(entry
                .finding("archive-length", "a file that is not packed has two lengths")
                .found(found));
        }
        Ok(entry)
    }

    /// A finding about this entry.
    pub(in crate::evidence) fn finding(&self, code: &'static str, message: &str) -> Finding {
        refusal(code, message, self.name.as_bytes())
    }

    /// Compares the file's own header, name and extra fields behind it; says where its data begin.
    pub(super) fn agree(&mut self, header: &[u8], behind: &[u8]) -> Result<(), Finding> {
        let differs = |entry: &Self, what: &str| {
            entry
                .finding("archive-two-headers", "the file's own header and the directory differ")
                .found(what.to_owned())
        };
        let parts = (|| {
            let mut figures = Figures(header);
            let (signature, _needed, flags, method) =
                (figures.long()?, figures.short()?, figures.short()?, figures.short()?);
            figures.long()?;
            let (crc, packed, length) = (figures.long()?, figures.long()?, figures.long()?);
            let name = usize::from(figures.short()?);
            let (name, rest) = behind.split_at_checked(name)?;
            Some((signature, flags, method, crc, packed, length, name, rest))
        })();
        let Some((signature, flags, method, crc, packed, length, name, rest)) = parts else {
            return Err(differs(self, "a header that breaks off"));
        };
        if signature != LOCAL {
            return Err(differs(self, "no header where the directory says that the file begins"));
        }
        let folder = if self.folder { "/" } else { "" };
        if name != format!("{}{folder}", self.name).as_bytes() {
            return Err(differs(self, &format!("the name {}", escaped_bytes(name))));
        }
        refuse_flags(flags, method, name)?;
        if method != self.method || (flags ^ self.flags) & FLAG_DESCRIPTOR != 0 {
            return Err(differs(self, "another way of packing"));
        }
        let large = extra(rest, name)?;
        if self.flags & FLAG_DESCRIPTOR != 0
            && crc == 0
            && [packed, length].iter().all(|&s| s == 0 || s == ELSEWHERE || u64::from(s) == self.length)
            && (packed == 0 || packed == ELSEWHERE)
        {
            // The figures stand behind the data; who packs into a pipe may know the length beforehand.
            return Ok(());
        }
        let sizes = widen(&[length, packed], large, name)?;
        if crc != self.crc || sizes != [self.length, self.packed] {
            return Err(differs(self, "another length or checksum"));
        }
        Ok(())
    }

    /// Whether these are the figures that may stand behind the data.
    pub(super) fn is_descriptor(&self, bytes: &[u8]) -> bool {
        if self.flags & FLAG_DESCRIPTOR == 0 {
            return bytes.is_empty();
        }
        let mut figures = Figures(bytes);
        if matches!(bytes.len(), 16 | 24) && figures.long() != Some(DESCRIPTOR) {
            return false;
        }
        let wide = matches!(bytes.len(), 20 | 24);
        let crc = figures.long();
        let mut size = || if wide { figures.longest() } else { figures.long().map(u64::from) };
        matches!(bytes.len(), 12 | 16 | 20 | 24)
            && crc == Some(self.crc)
            && size() == Some(self.packed)
            && size() == Some(self.length)
    }
}

fn refuse_flags(flags: u16, method: u16, name: &[u8]) -> Result<(), Finding> {
    if flags & FLAG_ENCRYPTED != 0 {
        return Err(refusal("archive-encrypted", "a file of the zip file is encrypted", name)
            .next("ask for the dossier as it was written, without a password"));
    }
    if flags & !FLAGS_KNOWN != 0 || ![STORED, DEFLATED].contains(&method) {
        return Err(refusal(
            "archive-packing",
            "a file of the zip file is packed in a way that a dossier never is",
            name,
        )
        .found(format!("method {method}, flags {flags:#06x}"))
        .expected("kept as it is, or deflate")
        .next("pack it again with an ordinary zip program"));
    }
    Ok(())
}

/// Whether it is a folder, and its special permission bits; refuses links, devices and pipes.
fn kind(name: &[u8], made_by: u16, attributes: u32) -> Result<(bool, u32), Finding> {
    let folder = name.ends_with(b"/");
    let mode = attributes >> 16;
    let found = match mode >> 12 {
        0 => None,
        0o10 if !folder => None,
        0o04 if folder => None,
        0o12 => Some("a symbolic link"),
        0o01 => Some("a pipe"),
        0o14 => Some("a socket"),
        0o02 | 0o06 => Some("a device"),
        0o10 => Some("a file with the name of a folder"),
        0o04 => Some("a folder with the name of a file"),
        _ => Some("neither a file nor a folder"),
    };
    // The lower half is that of DOS: a folder's mark, or a volume's.
    let found = found.or(match (attributes & 0x18, folder) {
        (0x00, _) | (0x10, true) => None,
        _ => Some("a folder with the name of a file, or a volume"),
    });
    // Systems without Unix permissions leave other things there.
    let unix = matches!(made_by >> 8, 3 | 19);
    match found {
        Some(found) => {
            Err(refusal("archive-not-plain", "the zip file holds something other than plain files", name)
                .found(found)
                .expected("a plain file or folder"))
        }
        None => Ok((folder, if unix { mode & 0o7000 } else { 0 })),
    }
}
