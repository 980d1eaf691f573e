//! Commits that the book wants signed. Its page names people and their *public* keys; a commit that one of them makes is signed
//! with that key, or is not made.
//!
//! The page may come from anywhere: a book is cloned from others, and somebody else may have written it. So nothing it says is a
//! path, and no private key is looked for because of it. The private key is the one that the person at the keyboard names, or
//! the SSH agent holds it; the agent is asked for exactly the key that the page names for exactly that person.

use chrono::FixedOffset;

use crate::evidence;
use crate::evidence::GIT_NAMESPACE;
use crate::finding::Finding;
use crate::finding::Place;
use crate::record::BookPage;
use crate::record::BookSigner;
use crate::store::SigningKey;
use crate::workflow::Context;
use crate::workflow::Failure;

/// The kinds of key that `verify` checks.
const KINDS: [&str; 2] = ["ssh-ed25519", "sk-ssh-ed25519@openssh.com"];

/// What a person's commits are to be signed with.
#[derive(Debug)]
pub(super) struct WantedSignature {
    who: String,
    /// Public keys, as the page has them, with their fingerprints.
    keys: Vec<(String, String)>,
}

impl WantedSignature {
    /// What the page wants of whoever makes this commit today, in the book's zone; nothing for those whom it does not name.
    ///
    /// # Errors
    /// A key that the page names for them cannot be read.
    pub(super) fn of(
        signers: &[BookSigner],
        zone_seconds: i32,
        context: &Context,
    ) -> Result<Option<Self>, Failure> {
        let Some(who) = &context.person else { return Ok(None) };
        let zone = FixedOffset::east_opt(zone_seconds).unwrap_or(*context.now.offset());
        let today = context.now.with_timezone(&zone).date_naive();
        let mut keys = Vec::new();
        for signer in signers.iter().filter(|signer| signer.who == *who && signer.holds_on(today)) {
            let fingerprint = fingerprint(&signer.key).ok_or_else(|| Failure::fault(unreadable(signer)))?;
            keys.push((signer.key.clone(), fingerprint));
        }
        Ok(if keys.is_empty() { None } else { Some(Self { who: who.clone(), keys }) })
    }

    /// An armoured signature over a commit, by the key that was named or else by the agent.
    ///
    /// # Errors
    /// Why there is none, in plain words.
    pub(super) fn sign(&self, named: Option<&SigningKey>, bytes: &[u8]) -> Result<String, String> {
        let wanted: Vec<&str> = self.keys.iter().map(|(_, fingerprint)| fingerprint.as_str()).collect();
        let wanted = wanted.join(" or ");
        if let Some(named) = named {
            let armour = named.sign(GIT_NAMESPACE, bytes)?;
            let by = evidence::key_of(&armour).unwrap_or_else(|| "a key of another kind".to_owned());
            if self.keys.iter().any(|(_, fingerprint)| *fingerprint == by) {
                return Ok(armour);
            }
            return Err(format!(
                "the key that was named is {by}, and the book's page wants the commits of {} signed with {wanted}",
                self.who
            ));
        }
        for (key, fingerprint) in &self.keys {
            let signed = SigningKey::in_agent(key).sign(GIT_NAMESPACE, bytes);
            if let Some(armour) =
                signed.ok().filter(|armour| evidence::key_of(armour).as_ref() == Some(fingerprint))
            {
                return Ok(armour);
            }
        }
        Err(format!(
            "the book's page wants the commits of {} signed with {wanted}, which the SSH agent does not hold; load it there with \
             `ssh-add`, or name the key with --key FILE or MULEBOOK_SIGNING_KEY",
            self.who
        ))
    }
}

/// Keys of the page that nobody could sign with, or whose signatures `verify` could not check.
pub(super) fn findings(page: &BookPage) -> Vec<Finding> {
    page.signers.iter().filter(|signer| fingerprint(&signer.key).is_none()).map(unreadable).collect()
}

fn fingerprint(key: &str) -> Option<String> {
    let kind = key.split_whitespace().next()?;
    if key.lines().count() != 1 || !KINDS.contains(&kind) {
        return None;
    }
    evidence::fingerprint(key)
}

fn unreadable(signer: &BookSigner) -> Finding {
    Finding::error("signer-key", format!("the key named for {} cannot be read as an Ed25519 key", signer.who))
        .at(Place::file("book.yaml").field("signers"))
        .found(evidence::escaped(&signer.key))
        .expected("the one line of a public key's file: ssh-ed25519 AAAA…")
        .next("copy it from the file that ends in .pub; the private key stays where it is")
}
