//! The bytes of one file of the archive, unpacked while they are read and held to what was declared.

use std::io::{self, Read, Seek, Take};

use flate2::Decompress;
use flate2::FlushDecompress;
use flate2::Status;
use sha2::Digest;
use sha2::Sha256;

use super::entry::Entry;
use super::format::DEFLATED;
use crate::evidence::name::hexadecimal;

/// Packed bytes read at once.
const BLOCK: usize = 64 << 10;

/// The bytes are not those that the archive declares.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{found}; expected {expected}")]
pub(in crate::evidence) struct Broken {
    /// Code of the finding.
    pub(in crate::evidence) code: &'static str,
    /// What was found.
    pub(in crate::evidence) found: String,
    /// What the archive declares.
    pub(in crate::evidence) expected: String,
}

impl Broken {
    fn error(code: &'static str, found: impl Into<String>, expected: impl Into<String>) -> io::Error {
        let broken = Self { code, found: found.into(), expected: expected.into() };
        io::Error::new(io::ErrorKind::InvalidData, broken)
    }
}

/// Reads a file of the archive. Its last read is an error unless length, checksum and packed length are as declared.
pub(in crate::evidence) struct EntryReader<'a, R> {
    packed: Take<&'a mut R>,
    unpacking: Option<Unpacking>,
    declared: u64,
    checksum: u32,
    crc: crc32fast::Hasher,
    hash: Sha256,
    length: u64,
    ended: bool,
}

struct Unpacking {
    inflate: Decompress,
    block: Vec<u8>,
    at: usize,
    end: usize,
    ended: bool,
}

impl<'a, R: Read + Seek> EntryReader<'a, R> {
    pub(super) fn new(reader: &'a mut R, entry: &Entry) -> io::Result<Self> {
        reader.seek(io::SeekFrom::Start(entry.data))?;
        let unpacking = (entry.method == DEFLATED).then(|| Unpacking {
            inflate: Decompress::new(false),
            block: vec![0; BLOCK],
            at: 0,
            end: 0,
            ended: false,
        });
        Ok(Self {
            packed: reader.take(entry.packed),
            unpacking,
            declared: entry.length,
            checksum: entry.crc,
            crc: crc32fast::Hasher::new(),
            hash: Sha256::new(),
            length: 0,
            ended: false,
        })
    }

    /// Reads what is left and says the SHA-256 of the whole.
    pub(in crate::evidence) fn finish(mut self) -> io::Result<String> {
        let mut block = vec![0; BLOCK];
        while self.read(&mut block)? > 0 {}
        Ok(hexadecimal(&self.hash.finalize()))
    }
}

impl<R: Read> EntryReader<'_, R> {
    fn at_end(&mut self) -> io::Result<()> {
        if self.length != self.declared {
            return Err(Broken::error(
                "archive-length",
                format!("{} bytes", self.length),
                format!("{} bytes", self.declared),
            ));
        }
        let crc = self.crc.clone().finalize();
        if crc != self.checksum {
            return Err(Broken::error(
                "archive-checksum",
                format!("{crc:08x}"),
                format!("{:08x}", self.checksum),
            ));
        }
        if self.packed.limit() > 0 {
            return Err(Broken::error("archive-truncated", "the end of the archive", "the rest of the file"));
        }
        self.ended = true;
        Ok(())
    }
}

impl<R: Read> Read for EntryReader<'_, R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.ended || out.is_empty() {
            return Ok(0);
        }
        let count = match &mut self.unpacking {
            Some(unpacking) => unpacking.read(&mut self.packed, out)?,
            None => self.packed.read(out)?,
        };
        if count == 0 {
            return self.at_end().map(|()| 0);
        }
        self.length += count as u64;
        if self.length > self.declared {
            return Err(Broken::error(
                "archive-length",
                format!("more than {} bytes", self.declared),
                format!("{} bytes", self.declared),
            ));
        }
        self.crc.update(&out[..count]);
        self.hash.update(&out[..count]);
        Ok(count)
    }
}

impl Unpacking {
    fn read(&mut self, packed: &mut impl Read, out: &mut [u8]) -> io::Result<usize> {
        if self.ended {
            return Ok(0);
        }
        loop {
            let mut drained = false;
            if self.at == self.end {
                self.at = 0;
                self.end = packed.read(&mut self.block)?;
                drained = self.end == 0;
            }
            let (taken, given) = (self.inflate.total_in(), self.inflate.total_out());
            let status = self
                .inflate
                .decompress(&self.block[self.at..self.end], out, FlushDecompress::None)
                .map_err(|error| Broken::error("archive-deflate", error.to_string(), "a deflate stream"))?;
            let taken = usize::try_from(self.inflate.total_in() - taken).unwrap_or(usize::MAX);
            let given = usize::try_from(self.inflate.total_out() - given).unwrap_or(usize::MAX);
            self.at = self.at.saturating_add(taken).min(self.end);
            if status == Status::StreamEnd {
                self.ended = true;
                let mut one = [0];
                if self.at < self.end || packed.read(&mut one)? > 0 {
                    return Err(Broken::error(
                        "archive-deflate",
                        "bytes after the end of the deflate stream",
                        "none",
                    ));
                }
                return Ok(given);
            }
            if given > 0 {
                return Ok(given);
            }
            if taken == 0 && drained {
                return Err(Broken::error("archive-deflate", "a deflate stream that breaks off", "its end"));
            }
        }
    }
}
