//! How much of somebody else's file is let in.

/// How much of somebody else's file is let in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most files and folders.
    pub entries: u64,
    /// Longest file, in bytes.
    pub file: u64,
    /// All files together, in bytes.
    pub total: u64,
    /// To how many times its packed length a file of more than 1 MiB may unpack.
    pub ratio: u64,
    /// Longest YAML file that is read whole, in bytes.
    pub yaml: u64,
    /// Longest JSON file that is read whole, in bytes.
    pub json: u64,
    /// Longest file of another kind that is read whole, in bytes.
    pub other: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            entries: 100_000,
            file: 16 << 30,
            total: 64 << 30,
            ratio: 200,
            yaml: 1 << 20,
            json: 32 << 20,
            other: 64 << 20,
        }
    }
}

impl Limits {
    /// Longest list of files: a hash, two spaces, a path and a line break for each.
    pub(super) fn list(&self) -> u64 {
        self.entries.saturating_mul(67 + super::name::LONGEST_PATH as u64)
    }

    /// How long a file of this name may be to be read whole.
    pub(super) fn of(&self, path: &str) -> u64 {
        match path.rsplit_once('.').map(|(_, ending)| ending) {
            Some("yaml" | "yml") => self.yaml,
            Some("json") => self.json,
            _ => self.other,
        }
    }
}
