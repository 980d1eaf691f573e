//! The end record and the directory: every byte of the archive belongs to exactly one file, or the archive is refused.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Read, Seek, SeekFrom};

use super::data::EntryReader;
use super::entry::Entry;
use super::format::{
    CENTRAL_LENGTH, ELSEWHERE, ELSEWHERE_SHORT, END, END_LENGTH, END64, END64_LENGTH, Figures, LOCAL_LENGTH,
    LOCATOR64, LOCATOR64_LENGTH,
};
use crate::evidence::Limits;
use crate::evidence::NotOpened;
use crate::evidence::name::{LONGEST_PATH, fault_of_part};
use crate::finding::Finding;

/// Room for the extra fields of an entry, on the average.
const EXTRA_ROOM: u64 = 128;
/// Below this a file may pack as tightly as it likes.
const SMALL: u64 = 1 << 20;

/// An archive whose directory has been walked and found whole. Nothing of its bytes is known yet.
pub(in crate::evidence) struct Archive<R> {
    reader: R,
    /// Files by their names; folders are left out.
    pub(in crate::evidence) files: BTreeMap<String, Entry>,
    /// What was found that forbids nothing.
    pub(in crate::evidence) doubts: Vec<Finding>,
}

struct End {
    entries: u64,
    length: u64,
    start: u64,
}

fn refused<T>(finding: Finding) -> Result<T, NotOpened> {
    Err(NotOpened::Refused(vec![finding]))
}

fn no_zip() -> Finding {
    Finding::error("archive-no-zip", "this is no zip file, or only the beginning of one")
        .expected("a dossier, a zip file")
        .next("fetch the file again; a dossier that arrived whole ends with the end record of a zip file")
}

fn read_at<R: Read + Seek>(reader: &mut R, at: u64, length: u64) -> Result<Vec<u8>, NotOpened> {
    let mut bytes = Vec::new();
    reader.seek(SeekFrom::Start(at))?;
    reader.take(length).read_to_end(&mut bytes)?;
    if bytes.len() as u64 != length {
        return refused(no_zip());
    }
    Ok(bytes)
}

/// Walks the directory of an archive and every file's own header.
pub(in crate::evidence) fn read_directory<R: Read + Seek>(
    mut reader: R,
    limits: &Limits,
) -> Result<Archive<R>, NotOpened> {
    let whole = reader.seek(SeekFrom::End(0))?;
    let end = read_end(&mut reader, whole)?;
    if end.entries > limits.entries {
        return refused(
            Finding::error("archive-too-many", "the zip file holds more files than a dossier may")
                .found(end.entries.to_string())
                .expected(format!("at most {}", limits.entries)),
        );
    }
    if end.length > end.entries * (CENTRAL_LENGTH + LONGEST_PATH as u64 + EXTRA_ROOM) {
        return refused(
            Finding::error("archive-directory", "the directory of the zip file is longer than its entries")
                .found(format!("{} bytes for {} entries", end.length, end.entries)),
        );
    }
    let directory = read_at(&mut reader, end.start, end.length)?;
    let mut entries = walk(&directory, end.entries)?;
    refuse_sizes(&entries, limits)?;
    refuse_layout(&mut reader, &mut entries, end.start)?;
    let mut doubts = Vec::new();
    for entry in entries.iter().filter(|entry| entry.special != 0) {
        doubts.push(Finding {
            severity: crate::finding::Severity::Doubt,
            ..entry
                .finding(
                    "archive-mode",
                    "the file is marked to run as another user; nothing is unpacked, so nothing follows",
                )
                .found(format!("{:04o}", entry.special))
        });
    }
    let files = entries.into_iter().filter(|entry| !entry.folder);
    Ok(Archive { reader, files: files.map(|entry| (entry.name.clone(), entry)).collect(), doubts })
}

fn read_end<R: Read + Seek>(reader: &mut R, whole: u64) -> Result<End, NotOpened> {
    let Some(at) = whole.checked_sub(END_LENGTH) else { return refused(no_zip()) };
    let record = read_at(reader, at, END_LENGTH)?;
    let mut figures = Figures(&record);
    let parts = (|| {
        let signature = figures.long()?;
        let disks = (figures.short()?, figures.short()?);
        let counts = (figures.short()?, figures.short()?);
        Some((signature, disks, counts, figures.long()?, figures.long()?, figures.short()?))
    })();
    let Some((END, disks, counts, length, start, 0)) = parts else {
        let tail_length = whole.min(END_LENGTH + u64::from(u16::MAX));
        let tail = read_at(reader, whole - tail_length, tail_length)?;
        let further_up = tail.windows(4).any(|four| four == END.to_le_bytes());
        return refused(if further_up {
            Finding::error("archive-trailing", "bytes follow the end of the zip file, or it has a comment")
                .next("fetch the file again, or pack it again without a comment")
        } else {
            no_zip()
        });
    };
    let lying = || Finding::error("archive-directory", "the end record of the zip file contradicts itself");
    let elsewhere = counts.0 == ELSEWHERE_SHORT
        || counts.1 == ELSEWHERE_SHORT
        || length == ELSEWHERE
        || start == ELSEWHERE;
    let short = End { entries: u64::from(counts.0), length: u64::from(length), start: u64::from(start) };
    let (end, ends_at) = if elsewhere {
        let (large, at) = read_end64(reader, at)?;
        let agrees = |short: u64, most: u64, large: u64| short == most || short == large;
        if !agrees(short.entries, u64::from(ELSEWHERE_SHORT), large.entries)
            || !agrees(short.length, u64::from(ELSEWHERE), large.length)
            || !agrees(short.start, u64::from(ELSEWHERE), large.start)
        {
            return refused(lying());
        }
        (large, at)
    } else {
        (short, at)
    };
    if counts.0 != counts.1 || disks != (0, 0) {
        return refused(lying());
    }
    if end.start.checked_add(end.length) != Some(ends_at) {
        return refused(
            Finding::error(
                "archive-gap",
                "the directory of the zip file does not lead to its end, or bytes stand before it",
            )
            .found(format!("a directory of {} bytes at {}", end.length, end.start))
            .expected(format!("one that ends at {ends_at}")),
        );
    }
    Ok(end)
}

fn read_end64<R: Read + Seek>(reader: &mut R, end: u64) -> Result<(End, u64), NotOpened> {
    let lying = || Finding::error("archive-zip64", "the zip64 end record is missing or contradicts itself");
    let Some(at) = end.checked_sub(LOCATOR64_LENGTH + END64_LENGTH) else { return refused(lying()) };
    let records = read_at(reader, at, LOCATOR64_LENGTH + END64_LENGTH)?;
    let mut figures = Figures(&records);
    let parts = (|| {
        let (signature, length) = (figures.long()?, figures.longest()?);
        figures.long()?;
        let disks = (figures.long()?, figures.long()?);
        let counts = (figures.longest()?, figures.longest()?);
        let end = End { entries: counts.0, length: figures.longest()?, start: figures.longest()? };
        let locator = (figures.long()?, figures.long()?, figures.longest()?, figures.long()?);
        Some((signature, length, disks, counts, end, locator))
    })();
    match parts {
        Some((END64, length, (0, 0), counts, end, (LOCATOR64, 0, to, 1)))
            if length == END64_LENGTH - 12 && counts.0 == counts.1 && to == at =>
        {
            Ok((end, at))
        }
        _ => refused(lying()),
    }
}

fn walk(directory: &[u8], count: u64) -> Result<Vec<Entry>, NotOpened> {
    let mut figures = Figures(directory);
    let mut entries = Vec::new();
    for _ in 0..count {
        entries.push(Entry::take(&mut figures).or_else(refused)?);
    }
    if !figures.0.is_empty() {
        return refused(Finding::error(
            "archive-directory",
            "the directory of the zip file goes on after its last entry",
        ));
    }
    let mut faults = Vec::new();
    let (mut seen, mut folded, mut above) = (BTreeSet::new(), BTreeMap::new(), BTreeSet::new());
    for entry in &entries {
        let fault = if entry.name.len() > LONGEST_PATH {
            Some("a path that is too long")
        } else {
            entry.name.split('/').find_map(fault_of_part)
        };
        if let Some(fault) = fault {
            faults.push(
                entry
                    .finding("archive-name", "a name in the zip file is not one that a dossier may hold")
                    .found(fault)
                    .expected("letters, digits, `_`, `.` and `-`, at most 100 bytes between slashes"),
            );
            continue;
        }
        if !seen.insert(entry.name.as_str()) {
            faults.push(entry.finding("archive-twice", "the zip file holds two entries of one name"));
        } else if let Some(twin) = folded.insert(entry.name.to_ascii_lowercase(), &entry.name) {
            faults.push(
                entry
                    .finding("archive-case", "two names in the zip file differ only in capital letters")
                    .found(twin.clone()),
            );
        }
        if !entry.folder {
            above.extend(entry.name.match_indices('/').map(|(at, _)| &entry.name[..at]));
        }
    }
    for entry in &entries {
        if !entry.folder && above.contains(entry.name.as_str()) {
            faults.push(entry.finding("archive-twice", "a name in the zip file is both a file and a folder"));
        }
        if entry.folder && !above.contains(entry.name.as_str()) {
            faults.push(entry.finding(
                "archive-folder",
                "the zip file holds a folder without files, which no manifest lists",
            ));
        }
    }
    let case: BTreeMap<String, &str> = above.iter().map(|name| (name.to_ascii_lowercase(), *name)).collect();
    if case.len() != above.len() && faults.is_empty() {
        faults.push(Finding::error(
            "archive-case",
            "two folders in the zip file differ only in capital letters",
        ));
    }
    if faults.is_empty() { Ok(entries) } else { Err(NotOpened::Refused(faults)) }
}

fn refuse_sizes(entries: &[Entry], limits: &Limits) -> Result<(), NotOpened> {
    let mut total = 0_u64;
    for entry in entries {
        if entry.length > limits.file {
            return refused(
                entry
                    .finding("archive-too-large", "a file is longer than a dossier's may be")
                    .found(format!("{} bytes", entry.length))
                    .expected(format!("at most {}", limits.file)),
            );
        }
        if entry.length > SMALL && entry.length / entry.packed.max(1) > limits.ratio {
            return refused(
                entry
                    .finding("archive-bomb", "a file unpacks to far more than it is packed in")
                    .found(format!("{} bytes from {}", entry.length, entry.packed))
                    .expected(format!("at most {} for one", limits.ratio))
                    .next("where the file is honest, pack the dossier again without compression"),
            );
        }
        total = total.saturating_add(entry.length);
    }
    if total > limits.total {
        return refused(
            Finding::error("archive-too-large", "the files together are longer than a dossier's may be")
                .found(format!("{total} bytes"))
                .expected(format!("at most {}", limits.total)),
        );
    }
    Ok(())
}

/// Every file begins where the one before it ends, the first at the very beginning, the directory after the last.
fn refuse_layout<R: Read + Seek>(
    reader: &mut R,
    entries: &mut [Entry],
    directory: u64,
) -> Result<(), NotOpened> {
    let mut order: Vec<usize> = (0..entries.len()).collect();
    order.sort_by_key(|&at| entries[at].offset);
    let gap = |entry: &Entry, found: u64, expected: u64| {
        entry
            .finding("archive-gap", "bytes of the zip file belong to no file, or to two")
            .found(format!("a file that begins at {found}"))
            .expected(format!("at {expected}"))
    };
    let mut expected = 0;
    for (place, &at) in order.iter().enumerate() {
        let next = order.get(place + 1).map_or(directory, |&next| entries[next].offset);
        let entry = &mut entries[at];
        if entry.offset != expected {
            return refused(gap(entry, entry.offset, expected));
        }
        let room = next.saturating_sub(entry.offset);
        let header = read_at(reader, entry.offset, LOCAL_LENGTH.min(room))?;
        let mut lengths = Figures(header.get(26..).unwrap_or_default());
        let behind = lengths.short().zip(lengths.short());
        let behind = behind.map_or(0, |(name, extra)| u64::from(name) + u64::from(extra));
        if LOCAL_LENGTH + behind > room {
            return refused(gap(entry, next, entry.offset + LOCAL_LENGTH + behind));
        }
        let mut rest = vec![0; usize::try_from(behind).unwrap_or_default()];
        reader.read_exact(&mut rest)?;
        entry.agree(&header, &rest).or_else(refused)?;
        entry.data = entry.offset + LOCAL_LENGTH + behind;
        let Some(ends) = entry.data.checked_add(entry.packed).filter(|&ends| ends <= next) else {
            return refused(gap(entry, next, entry.data.saturating_add(entry.packed)));
        };
        const LONGEST_DESCRIPTOR: u64 = 24;
        let descriptor = read_at(reader, ends, (next - ends).min(LONGEST_DESCRIPTOR + 1))?;
        if !entry.is_descriptor(&descriptor) {
            return refused(gap(entry, next, ends));
        }
        expected = next;
    }
    if expected != directory {
        return refused(Finding::error("archive-gap", "the zip file has a directory but no files before it"));
    }
    Ok(())
}

impl<R: Read + Seek> Archive<R> {
    /// Reads a file of the archive.
    pub(in crate::evidence) fn reader(&mut self, entry: &Entry) -> io::Result<EntryReader<'_, R>> {
        EntryReader::new(&mut self.reader, entry)
    }
}
