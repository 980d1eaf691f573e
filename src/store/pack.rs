//! Packs of git objects: whether they hold, and taking what is whole out of one that does not.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

use gix::ObjectId;
use gix::odb::pack;

use super::walk::Bytes;
use super::{Book, Error};

/// The largest object that is taken out of a damaged pack, in bytes: a damaged length may ask for anything.
const MOST: u64 = 1 << 30;
/// Bytes of a pack that stand before its first object: signature, version, count.
const HEAD: u64 = 12;

impl Book {
    /// The packs, and the indexes of packs, whose bytes do not hash to the digest at their end, by path inside the
    /// book, and what was found instead.
    pub(super) fn packs_that_do_not_hold(&self) -> Result<Vec<(String, String)>, Error> {
        let mut broken = Vec::new();
        for path in self.pack_files()? {
            let found = match self.digest_at_end(&path) {
                Ok(Some((stands, found))) if stands != found => {
                    format!("bytes that hash to {found}, and {stands} at the end")
                }
                Ok(Some(_)) => continue,
                Ok(None) => "fewer bytes than a pack has".to_owned(),
                // Git may have packed anew meanwhile, and then has taken the old one away.
                Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
                Err(error) => return Err(Error::io("read", &path)(error)),
            };
            broken.push((self.inside(&path), found));
        }
        Ok(broken)
    }

    /// The files of packs and of their indexes.
    pub(super) fn pack_files(&self) -> Result<Vec<PathBuf>, Error> {
        let folder = self.objects_path().join("pack");
        let entries = match fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(Error::io("list", &folder)(error)),
        };
        let mut files = Vec::new();
        for entry in entries {
            let path = entry.map_err(Error::io("list", &folder))?.path();
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if name.starts_with("pack-") && (name.ends_with(".pack") || name.ends_with(".idx")) {
                files.push(path);
            }
        }
        files.sort();
        Ok(files)
    }

    /// The digest that stands at a file's end and the one its other bytes hash to.
    fn digest_at_end(&self, path: &Path) -> io::Result<Option<(ObjectId, ObjectId)>> {
        let kind = self.repo().object_hash();
        let tail = kind.len_in_bytes() as u64;
        let file = File::open(path)?;
        let Some(body) = file.metadata()?.len().checked_sub(tail) else { return Ok(None) };
        let mut reader = BufReader::with_capacity(super::vault::BUFFER, file);
        let mut hasher = gix::hash::hasher(kind);
        let mut buffer = vec![0; super::vault::BUFFER];
        let mut left = body;
        while left > 0 {
            let most = usize::try_from(left).unwrap_or(usize::MAX).min(buffer.len());
            let count = reader.read(&mut buffer[..most])?;
            if count == 0 {
                return Ok(None);
            }
            hasher.update(&buffer[..count]);
            left -= count as u64;
        }
        let mut stands = Vec::new();
        reader.read_to_end(&mut stands)?;
        let (Ok(stands), Ok(found)) = (ObjectId::try_from(stands.as_slice()), hasher.try_finalize()) else {
            return Ok(None);
        };
        Ok(Some((stands, found)))
    }

    /// A path below the book's folder, as it is called inside the book.
    pub(super) fn inside(&self, path: &Path) -> String {
        path.strip_prefix(self.root()).unwrap_or(path).to_string_lossy().replace('\\', "/")
    }
}

/// Every object that can still be read from a pack, whatever became of its index. None of them is known by name before
/// its bytes are hashed, so what was damaged cannot pass for another.
pub(super) fn salvage(
    pack: &Path,
    hash: gix::hash::Kind,
    take: &mut dyn FnMut(Bytes) -> Result<(), Error>,
) -> Result<(), Error> {
    let Ok(data) = pack::data::File::at(pack, hash) else { return Ok(()) };
    let index = pack::index::File::at(pack.with_extension("idx"), hash).ok();
    let mut starts: BTreeSet<u64> =
        index.map(|index| index.sorted_offsets().into_iter().collect()).unwrap_or_default();
    starts.insert(HEAD);
    let end = data.pack_end() as u64;
    let mut inflate = gix::zlib::Inflate::default();
    let (mut object, mut scratch) = (Vec::new(), Vec::new());
    while let Some(start) = starts.pop_first() {
        if start >= end {
            continue;
        }
        let Ok(entry) = data.entry(start) else { continue };
        if entry.decompressed_size > MOST {
            continue;
        }
        scratch.resize(usize::try_from(entry.decompressed_size).unwrap_or_default(), 0);
        if let Ok(consumed) = data.decompress_entry(&entry, &mut inflate, &mut scratch) {
            // The next one begins where this ends, should the index not know it.
            starts.insert(entry.data_offset + consumed as u64);
        }
        let none = |_: &gix::oid, _: &mut Vec<u8>| Ok(None);
        object.clear();
        if let Ok(outcome) =
            data.decode_entry(entry, &mut object, &mut inflate, &none, &mut pack::cache::Never)
        {
            take((outcome.kind, std::mem::take(&mut object)))?;
        }
    }
    Ok(())
}
