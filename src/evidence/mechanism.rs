//! What each means of proof shows and what it does not, in one sentence each.

/// A means of proof.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Mechanism {
    /// The SHA-256 of every file in the manifest.
    Manifest,
    /// The shop's SSH signature over the tag manifest.
    Signature,
    /// A witness's SSH signature over the tag manifest.
    Countersignature,
    /// The commits and trees from the tip of the book to each record.
    History,
    /// A signature over a commit.
    SignedCommit,
    /// A receipt that was handed over on test day.
    Receipt,
    /// The answer of a time-stamping service (RFC 3161).
    TimeStamp,
}

impl Mechanism {
    /// Every means, in the order in which they are told.
    pub const ALL: [Mechanism; 7] = [
        Mechanism::Manifest,
        Mechanism::Signature,
        Mechanism::Countersignature,
        Mechanism::History,
        Mechanism::SignedCommit,
        Mechanism::Receipt,
        Mechanism::TimeStamp,
    ];

    /// A short stable name.
    pub fn name(self) -> &'static str {
        match self {
            Mechanism::Manifest => "manifest",
            Mechanism::Signature => "signature",
            Mechanism::Countersignature => "countersignature",
            Mechanism::History => "history",
            Mechanism::SignedCommit => "signed-commit",
            Mechanism::Receipt => "receipt",
            Mechanism::TimeStamp => "time-stamp",
        }
    }

    /// What it proves and what it does not.
    pub fn sentence(self) -> &'static str {
        match self {
            Mechanism::Manifest => {
                "proves that the bytes are those listed in the manifest; not who listed them or when, since whoever changes a \
                 file can list it again"
            }
            Mechanism::Signature => {
                "proves that the holder of the key signed exactly these files; not when, not that what they say is true, and \
                 not that other runs were not left out"
            }
            Mechanism::Countersignature => {
                "proves that the holder of the witness's key had exactly these files; not when, and not that they are true"
            }
            Mechanism::History => {
                "proves which bytes each record had in each commit shown and which commit followed which; not the dates, which \
                 the shop's own clock gave, and not that the history was not made anew before it was shown"
            }
            Mechanism::SignedCommit => {
                "proves that the holder of the key made this commit on top of all before it; not the date, which is the \
                 signer's own word"
            }
            Mechanism::Receipt => {
                "proves to whoever was handed it on the day that the book held this history then, and that none was put in or \
                 left out between two receipts; not to others, unless the one who was handed it vouches for the day"
            }
            Mechanism::TimeStamp => {
                "kept and shown, not relied on: from a service that the reader trusts it would prove that the bytes existed \
                 before the time stated; a service that the shop runs itself can state any time"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_says_what_it_does_not_prove() {
        for mechanism in Mechanism::ALL {
            assert!(mechanism.sentence().contains("not"), "{}", mechanism.name());
        }
    }
}
