//! The figures of a zip file (PKWARE, APPNOTE.TXT 6.3.10, section 4.3).

/// Begins a file's own header.
pub(super) const LOCAL: u32 = 0x0403_4b50;
/// Begins a file's entry in the directory.
pub(super) const CENTRAL: u32 = 0x0201_4b50;
/// Begins the end record.
pub(super) const END: u32 = 0x0605_4b50;
/// Begins the zip64 end record.
pub(super) const END64: u32 = 0x0606_4b50;
/// Begins what leads to the zip64 end record.
pub(super) const LOCATOR64: u32 = 0x0706_4b50;
/// May begin what follows a file's data.
pub(super) const DESCRIPTOR: u32 = 0x0807_4b50;

/// Length of each, without what may follow.
pub(super) const LOCAL_LENGTH: u64 = 30;
pub(super) const CENTRAL_LENGTH: u64 = 46;
pub(super) const END_LENGTH: u64 = 22;
pub(super) const END64_LENGTH: u64 = 56;
pub(super) const LOCATOR64_LENGTH: u64 = 20;

/// In a field of 32 bits: the figure stands in the zip64 field.
pub(super) const ELSEWHERE: u32 = u32::MAX;
/// The same of 16 bits.
pub(super) const ELSEWHERE_SHORT: u16 = u16::MAX;

/// The extra field that holds figures of 64 bits.
pub(super) const EXTRA64: u16 = 0x0001;

/// Flags: the sizes follow the data.
pub(super) const FLAG_DESCRIPTOR: u16 = 1 << 3;
/// Flags: encrypted, patched, strongly encrypted, names hidden.
pub(super) const FLAG_ENCRYPTED: u16 = 1 | 1 << 5 | 1 << 6 | 1 << 13;
/// Flags that are known and harmless: how hard was packed, sizes behind, names in UTF-8.
pub(super) const FLAGS_KNOWN: u16 = 1 << 1 | 1 << 2 | FLAG_DESCRIPTOR | 1 << 11;

/// Kept as it is.
pub(super) const STORED: u16 = 0;
/// Packed by deflate (RFC 1951).
pub(super) const DEFLATED: u16 = 8;

/// The earliest date that a zip file can hold, 1 January 1980, in its own form; written for every file.
pub(super) const FIXED_DATE: u16 = 1 << 5 | 1;

/// Takes figures of a record one by one, least byte first.
pub(super) struct Figures<'a>(pub(super) &'a [u8]);

impl<'a> Figures<'a> {
    /// The next bytes; `None` at the end.
    pub(super) fn bytes(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(taken)
    }

    pub(super) fn short(&mut self) -> Option<u16> {
        Some(u16::from_le_bytes(self.bytes(2)?.try_into().ok()?))
    }

    pub(super) fn long(&mut self) -> Option<u32> {
        Some(u32::from_le_bytes(self.bytes(4)?.try_into().ok()?))
    }

    pub(super) fn longest(&mut self) -> Option<u64> {
        Some(u64::from_le_bytes(self.bytes(8)?.try_into().ok()?))
    }
}
