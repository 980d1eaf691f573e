//! A zip file as every dossier has it: sorted by the caller, one fixed date, no extra fields but the zip64 one where a figure
//! needs it, sizes before the data, nothing between the files. The same files give the same bytes.

use std::io::{self, Read, Write};

use flate2::Compression;
use flate2::write::DeflateEncoder;
use sha2::Digest;
use sha2::Sha256;

use super::format::{
    CENTRAL, CENTRAL_LENGTH, DEFLATED, ELSEWHERE, ELSEWHERE_SHORT, END, END64, END64_LENGTH, EXTRA64,
    FIXED_DATE, LOCAL, LOCAL_LENGTH, LOCATOR64, STORED,
};
use crate::evidence::name::hexadecimal;

/// Bytes read at once.
const BLOCK: usize = 256 << 10;
/// A file that packs tighter than this is kept as it is: a reader may take what packs tighter still for a bomb.
const TIGHTEST: u64 = 100;
/// An ordinary file that its owner may write and everybody read, in the upper half of a zip's attributes.
const ATTRIBUTES: u32 = 0o100_644 << 16;

/// What a first reading of a file has found, by which it is written at the second.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::evidence) struct Measured {
    /// Length in bytes.
    pub(in crate::evidence) length: u64,
    /// SHA-256, 64 lower-case hexadecimal digits.
    pub(in crate::evidence) sha256: String,
    crc: u32,
    packed: u64,
}

impl Measured {
    fn method(&self) -> u16 {
        let gains = self.packed < self.length && self.length / self.packed.max(1) < TIGHTEST;
        if gains { DEFLATED } else { STORED }
    }

    fn occupies(&self) -> u64 {
        if self.method() == DEFLATED { self.packed } else { self.length }
    }
}

/// Counts what is written and throws it away.
struct Counted(u64);

impl Write for Counted {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 += bytes.len() as u64;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Reads a file through, at most `most` bytes of it and one more.
pub(in crate::evidence) fn measure(source: &mut dyn Read, most: u64) -> io::Result<Measured> {
    let mut packing = DeflateEncoder::new(Counted(0), Compression::default());
    let (mut hash, mut crc, mut length) = (Sha256::new(), crc32fast::Hasher::new(), 0);
    let mut source = source.take(most.saturating_add(1));
    each_block(&mut source, &mut |block| {
        hash.update(block);
        crc.update(block);
        length += block.len() as u64;
        packing.write_all(block)
    })?;
    let packed = packing.finish()?.0;
    Ok(Measured { length, sha256: hexadecimal(&hash.finalize()), crc: crc.finalize(), packed })
}

/// Hands on a source in full blocks, so that what is packed never depends on how much one read yields.
fn each_block(source: &mut dyn Read, take: &mut dyn FnMut(&[u8]) -> io::Result<()>) -> io::Result<()> {
    let mut block = vec![0; BLOCK];
    loop {
        let mut filled = 0;
        while filled < block.len() {
            match source.read(&mut block[filled..]) {
                Ok(0) => break,
                Ok(count) => filled += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        if filled == 0 {
            return Ok(());
        }
        take(&block[..filled])?;
    }
}

/// Says that a source gave other bytes at its second reading.
#[derive(Debug, thiserror::Error)]
#[error("the file changed while it was being read")]
pub(in crate::evidence) struct Changed;

struct Placed {
    name: String,
    measured: Measured,
    offset: u64,
}

/// A zip file being written.
pub(in crate::evidence) struct ArchiveWriter<'w> {
    out: &'w mut dyn Write,
    written: u64,
    placed: Vec<Placed>,
}

impl<'w> ArchiveWriter<'w> {
    pub(in crate::evidence) fn new(out: &'w mut dyn Write) -> Self {
        Self { out, written: 0, placed: Vec::new() }
    }

    fn put(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.written += bytes.len() as u64;
        self.out.write_all(bytes)
    }

    /// Writes a file that was measured before.
    ///
    /// # Errors
    ///
    /// Those of reading and writing; one that holds [`Changed`] when the bytes are not those that were measured.
    pub(in crate::evidence) fn file(
        &mut self,
        name: &str,
        measured: &Measured,
        source: &mut dyn Read,
    ) -> io::Result<()> {
        let placed = Placed { name: name.to_owned(), measured: measured.clone(), offset: self.written };
        let header = placed.local();
        self.put(&header)?;
        let before = self.written;
        let (mut hash, mut length) = (Sha256::new(), 0_u64);
        {
            let mut counted = Through { out: &mut *self.out, written: 0 };
            let mut source = source.take(measured.length.saturating_add(1));
            let mut pass = |sink: &mut dyn Write| {
                each_block(&mut source, &mut |block| {
                    hash.update(block);
                    length += block.len() as u64;
                    sink.write_all(block)
                })
            };
            if measured.method() == DEFLATED {
                let mut packing = DeflateEncoder::new(&mut counted, Compression::default());
                pass(&mut packing)?;
                packing.finish()?;
            } else {
                pass(&mut counted)?;
            }
            self.written += counted.written;
        }
        let same = length == measured.length
            && hexadecimal(&hash.finalize()) == measured.sha256
            && self.written - before == measured.occupies();
        if !same {
            return Err(io::Error::other(Changed));
        }
        self.placed.push(placed);
        Ok(())
    }

    /// Writes the directory and the end.
    pub(in crate::evidence) fn finish(mut self) -> io::Result<u64> {
        let start = self.written;
        let placed = std::mem::take(&mut self.placed);
        for file in &placed {
            self.put(&file.central())?;
        }
        let length = self.written - start;
        let count = placed.len() as u64;
        if count >= u64::from(ELSEWHERE_SHORT)
            || length >= u64::from(ELSEWHERE)
            || start >= u64::from(ELSEWHERE)
        {
            let at = self.written;
            let mut end = Record::new(END64);
            end.longest(END64_LENGTH - 12).short(VERSION_64 | MADE_BY_UNIX).short(VERSION_64).long(0).long(0);
            end.longest(count).longest(count).longest(length).longest(start);
            self.put(&end.0)?;
            let mut locator = Record::new(LOCATOR64);
            locator.long(0).longest(at).long(1);
            self.put(&locator.0)?;
        }
        let short = |figure: u64| u16::try_from(figure).unwrap_or(ELSEWHERE_SHORT);
        let mut end = Record::new(END);
        end.short(0)
            .short(0)
            .short(short(count))
            .short(short(count))
            .long(held(length))
            .long(held(start))
            .short(0);
        self.put(&end.0)?;
        self.out.flush()?;
        Ok(self.written)
    }
}

/// A figure as a field of 32 bits holds it.
fn held(figure: u64) -> u32 {
    u32::try_from(figure).unwrap_or(ELSEWHERE)
}

/// Version needed to read: 2.0 for deflate, 4.5 for zip64.
const VERSION: u16 = 20;
const VERSION_64: u16 = 45;
/// Upper byte of the version made by: attributes are those of Unix.
const MADE_BY_UNIX: u16 = 3 << 8;

struct Record(Vec<u8>);

impl Record {
    fn new(signature: u32) -> Self {
        Self(signature.to_le_bytes().to_vec())
    }

    fn short(&mut self, figure: u16) -> &mut Self {
        self.0.extend(figure.to_le_bytes());
        self
    }

    fn long(&mut self, figure: u32) -> &mut Self {
        self.0.extend(figure.to_le_bytes());
        self
    }

    fn longest(&mut self, figure: u64) -> &mut Self {
        self.0.extend(figure.to_le_bytes());
        self
    }
}

impl Placed {
    /// What both headers say alike, from the flags to the sizes.
    fn shared(&self, record: &mut Record) {
        record.short(0).short(self.measured.method()).short(0).short(FIXED_DATE).long(self.measured.crc);
        record.long(self.size(self.measured.occupies())).long(self.size(self.measured.length));
    }

    /// The local header may only hold both sizes elsewhere or neither.
    fn large(&self) -> bool {
        self.measured.length.max(self.measured.occupies()) >= u64::from(ELSEWHERE)
    }

    fn size(&self, figure: u64) -> u32 {
        if self.large() { ELSEWHERE } else { held(figure) }
    }

    fn version(&self, far: bool) -> u16 {
        if self.large() || far { VERSION_64 } else { VERSION }
    }

    fn extra(&self, offset: Option<u64>) -> Vec<u8> {
        let mut figures = Vec::new();
        if self.large() {
            figures.extend([self.measured.length, self.measured.occupies()]);
        }
        figures.extend(offset.filter(|&offset| offset >= u64::from(ELSEWHERE)));
        if figures.is_empty() {
            return Vec::new();
        }
        let mut extra = EXTRA64.to_le_bytes().to_vec();
        #[expect(clippy::cast_possible_truncation, reason = "three figures at most")]
        extra.extend((figures.len() as u16 * 8).to_le_bytes());
        figures.iter().for_each(|figure| extra.extend(figure.to_le_bytes()));
        extra
    }

    fn lengths(&self, record: &mut Record, extra: &[u8]) {
        let short = |length: usize| u16::try_from(length).unwrap_or(u16::MAX);
        record.short(short(self.name.len())).short(short(extra.len()));
    }

    fn local(&self) -> Vec<u8> {
        let extra = self.extra(None);
        let mut record = Record::new(LOCAL);
        record.short(self.version(false));
        self.shared(&mut record);
        self.lengths(&mut record, &extra);
        debug_assert_eq!(record.0.len() as u64, LOCAL_LENGTH);
        [record.0.as_slice(), self.name.as_bytes(), &extra].concat()
    }

    fn central(&self) -> Vec<u8> {
        let far = self.offset >= u64::from(ELSEWHERE);
        let extra = self.extra(Some(self.offset));
        let mut record = Record::new(CENTRAL);
        record.short(self.version(far) | MADE_BY_UNIX).short(self.version(far));
        self.shared(&mut record);
        self.lengths(&mut record, &extra);
        record.short(0).short(0).short(0).long(ATTRIBUTES).long(held(self.offset));
        debug_assert_eq!(record.0.len() as u64, CENTRAL_LENGTH);
        [record.0.as_slice(), self.name.as_bytes(), &extra].concat()
    }
}

struct Through<'w> {
    out: &'w mut dyn Write,
    written: u64,
}

impl Write for Through<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.out.write(bytes)?;
        self.written += count as u64;
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}
