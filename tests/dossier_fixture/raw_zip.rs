//! Zip files put together field by field, to say what no honest writer says.

use std::collections::BTreeMap;

/// One entry, all of whose fields can be false.
#[derive(Clone)]
pub(crate) struct RawEntry {
    pub(crate) name: Vec<u8>,
    /// The name at the file itself, where it differs.
    pub(crate) own_name: Option<Vec<u8>>,
    pub(crate) method: u16,
    pub(crate) flags: u16,
    pub(crate) data: Vec<u8>,
    pub(crate) crc: u32,
    pub(crate) packed: u32,
    pub(crate) length: u32,
    /// The length at the file itself, where it differs.
    pub(crate) own_length: Option<u32>,
    pub(crate) mode: u32,
    pub(crate) extra: Vec<u8>,
    /// What stands behind the data.
    pub(crate) behind: Vec<u8>,
    /// Where the directory says that it begins, where that is false.
    pub(crate) offset: Option<u32>,
}

impl RawEntry {
    pub(crate) fn stored(name: impl Into<Vec<u8>>, data: &[u8]) -> Self {
        let length = u32::try_from(data.len()).expect("a small file");
        Self {
            name: name.into(),
            own_name: None,
            method: 0,
            flags: 0,
            data: data.to_vec(),
            crc: crc32fast::hash(data),
            packed: length,
            length,
            own_length: None,
            mode: 0o100_644,
            extra: Vec::new(),
            behind: Vec::new(),
            offset: None,
        }
    }

    pub(crate) fn deflated(name: impl Into<Vec<u8>>, data: &[u8]) -> Self {
        use std::io::Write;
        let mut packing = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::best());
        packing.write_all(data).expect("in memory");
        let packed = packing.finish().expect("in memory");
        Self {
            method: 8,
            packed: u32::try_from(packed.len()).expect("a small file"),
            data: packed,
            ..Self { data: Vec::new(), ..Self::stored(name, data) }
        }
    }

    pub(crate) fn with(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }
}

fn short(out: &mut Vec<u8>, figures: &[u16]) {
    figures.iter().for_each(|figure| out.extend(figure.to_le_bytes()));
}

fn long(out: &mut Vec<u8>, figures: &[u32]) {
    figures.iter().for_each(|figure| out.extend(figure.to_le_bytes()));
}

fn at(length: usize) -> u32 {
    u32::try_from(length).expect("a small archive")
}

/// Puts entries together, bytes in front of them where given.
pub(crate) fn raw_zip_behind(front: &[u8], entries: &[RawEntry]) -> Vec<u8> {
    let mut out = front.to_vec();
    let mut directory = Vec::new();
    for entry in entries {
        let offset = entry.offset.unwrap_or_else(|| at(out.len()));
        let own_name = entry.own_name.as_ref().unwrap_or(&entry.name);
        long(&mut out, &[0x0403_4b50]);
        short(&mut out, &[20, entry.flags, entry.method, 0, 33]);
        long(&mut out, &[entry.crc, entry.packed, entry.own_length.unwrap_or(entry.length)]);
        short(&mut out, &[own_name.len() as u16, entry.extra.len() as u16]);
        out.extend(own_name);
        out.extend(&entry.extra);
        out.extend(&entry.data);
        out.extend(&entry.behind);
        long(&mut directory, &[0x0201_4b50]);
        short(&mut directory, &[3 << 8 | 20, 20, entry.flags, entry.method, 0, 33]);
        long(&mut directory, &[entry.crc, entry.packed, entry.length]);
        short(&mut directory, &[entry.name.len() as u16, entry.extra.len() as u16, 0, 0, 0]);
        long(&mut directory, &[entry.mode << 16, offset]);
        directory.extend(&entry.name);
        directory.extend(&entry.extra);
    }
    let (start, length) = (at(out.len()), at(directory.len()));
    out.extend(directory);
    long(&mut out, &[0x0605_4b50]);
    let count = u16::try_from(entries.len()).unwrap_or(u16::MAX);
    short(&mut out, &[0, 0, count, count]);
    long(&mut out, &[length, start]);
    short(&mut out, &[0]);
    out
}

/// Puts entries together.
pub(crate) fn raw_zip(entries: &[RawEntry]) -> Vec<u8> {
    raw_zip_behind(&[], entries)
}

/// Files as entries that are kept as they are.
pub(crate) fn raw_entries(files: &BTreeMap<String, Vec<u8>>) -> Vec<RawEntry> {
    files.iter().map(|(name, bytes)| RawEntry::stored(name.as_bytes(), bytes)).collect()
}
