//! SSH signatures (OpenSSH, PROTOCOL.sshsig) over the tag manifest, and what each of them is worth.

use ssh_key::Algorithm;
use ssh_key::HashAlg;
use ssh_key::PublicKey;
use ssh_key::SshSig;

use crate::evidence::name::{LONGEST_PATH, escaped};
use crate::evidence::signers::{Signers, Standing};
use crate::finding::Finding;
use crate::finding::Place;

/// What the shop signs under, so that a signature for something else is never taken for one of a dossier.
pub const NAMESPACE: &str = "dossier@mulebook.example";
/// What a witness countersigns under: that this was seen, not that it is vouched for.
pub const WITNESS_NAMESPACE: &str = "witness@mulebook.example";
/// What git signs commits under.
pub const GIT_NAMESPACE: &str = "git";

const HEADER: &[u8] = b"-----BEGIN SSH SIGNATURE-----\n";
const FOOTER: &[u8] = b"\n-----END SSH SIGNATURE-----";
const ARMOUR_WIDTH: usize = 70;

/// In what capacity a key signed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The shop, for what the dossier says.
    Shop,
    /// A witness, for having held it.
    Witness,
}

/// A signature that holds over the bytes it is for, and how its key stands in the reader's own list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seal {
    /// The file that holds it.
    pub file: String,
    /// In what capacity it was made.
    pub role: Role,
    /// The key, as `ssh-keygen -l` shows it: `SHA256:` and 43 characters.
    pub fingerprint: String,
    /// The kind of key (`ssh-ed25519`).
    pub algorithm: String,
    /// How the key stands in the list of signers.
    pub standing: Standing,
}

impl Seal {
    /// Whether it was made by a key that the reader lists, in force at the moment that was asked for.
    pub fn is_listed(&self) -> bool {
        matches!(self.standing, Standing::Listed { .. })
    }
}

/// Reads an armoured signature; the second is whether anything follows it.
pub(super) fn read_armour(file: &str, bytes: &[u8]) -> Result<(SshSig, bool), Finding> {
    let unreadable = |found: &str| {
        Finding::error("signature-unreadable", "a signature cannot be read")
            .at(Place::file(escaped(file)))
            .found(found.to_owned())
            .expected("an SSH signature, as `ssh-keygen -Y sign` writes it")
    };
    if bytes.contains(&b'\r') {
        return Err(unreadable("line ends of another system, which change a signature"));
    }
    let inner = bytes.strip_prefix(HEADER).ok_or_else(|| unreadable("no header"))?;
    let ends = inner
        .windows(FOOTER.len())
        .position(|window| window == FOOTER)
        .ok_or_else(|| unreadable("no footer"))?;
    let behind = &inner[ends + FOOTER.len()..];
    // The library reads lines of exactly 70 characters; how they were broken says nothing.
    let packed: Vec<u8> = inner[..ends].iter().copied().filter(|&byte| byte != b'\n').collect();
    let lines = packed.chunks(ARMOUR_WIDTH).flat_map(|line| line.iter().copied().chain([b'\n']));
    let armour: Vec<u8> =
        HEADER.iter().copied().chain(lines).chain(FOOTER[1..].iter().copied()).chain([b'\n']).collect();
    let signature = SshSig::from_pem(&armour).map_err(|error| match error {
        ssh_key::Error::AlgorithmUnknown | ssh_key::Error::AlgorithmUnsupported { .. } => {
            of_another_kind(file, &error.to_string())
        }
        error => unreadable(&escaped(&error.to_string())),
    })?;
    // Version and lengths are not signed: with any other than these, two files would be one signature.
    let canonical = signature.to_pem(ssh_key::LineEnding::LF).is_ok_and(|again| again.as_bytes() == armour);
    if signature.version() != SshSig::VERSION || !canonical {
        return Err(unreadable("a signature of another version, or written in another form"));
    }
    Ok((signature, !matches!(behind, [] | [b'\n'])))
}

/// The key that an armoured signature says it was made with, as `ssh-keygen -l` shows it; whether it holds is not looked at.
pub fn key_of(armour: &str) -> Option<String> {
    let (signature, _) = read_armour("", armour.as_bytes()).ok()?;
    Some(signature.public_key().fingerprint(HashAlg::Sha256).to_string())
}

fn of_another_kind(file: &str, found: &str) -> Finding {
    Finding::error("signature-algorithm", "a signature is of a kind that is not checked")
        .at(Place::file(escaped(file)))
        .found(escaped(found))
        .expected("ssh-ed25519, on file or on a security key")
        .next("ask for a signature with an Ed25519 key")
}

/// Whether a signature holds over a message; the finding says why not.
pub(super) fn holds(
    file: &str,
    signature: &SshSig,
    namespaces: &[&str],
    message: &[u8],
) -> Result<(), Finding> {
    let place = Place::file(escaped(file));
    if !namespaces.contains(&signature.namespace()) {
        return Err(Finding::error("signature-namespace", "a signature was made for something else")
            .at(place)
            .found(escaped(signature.namespace()))
            .expected(namespaces.join(" or ")));
    }
    let key = signature.public_key();
    if !matches!(key.algorithm(), Algorithm::Ed25519 | Algorithm::SkEd25519)
        || signature.algorithm() != key.algorithm()
        || !signature.reserved().is_empty()
    {
        return Err(of_another_kind(file, signature.algorithm().as_str()));
    }
    let public = PublicKey::from(key.clone());
    public.verify(signature.namespace(), message, signature).map_err(|_| {
        Finding::error(
            "signature-broken",
            "a signature does not hold: these are not the bytes that were signed",
        )
        .at(place.clone())
        .found(format!("key {}", key.fingerprint(HashAlg::Sha256)))
        .next("fetch the dossier again; if it stays so, it was changed after it was signed")
    })?;
    // The first byte behind the signature proper holds the flags; the lowest says that somebody touched the key.
    const SIGNATURE_LENGTH: usize = 64;
    if key.algorithm() == Algorithm::SkEd25519
        && signature.signature_bytes().get(SIGNATURE_LENGTH).is_none_or(|flags| flags & 1 == 0)
    {
        return Err(
            Finding::error("signature-untouched", "a security key signed without being touched").at(place)
        );
    }
    Ok(())
}

/// Checks one signature file over the tag manifest.
///
/// A signature that does not hold is an error; how its key stands in the list is in the [`Seal`] and in the findings.
pub(super) fn check(
    file: &str,
    bytes: &[u8],
    message: &[u8],
    signers: &Signers,
    at: i64,
) -> Result<(Seal, Vec<Finding>), Finding> {
    debug_assert!(file.len() <= LONGEST_PATH);
    let (signature, trailing) = read_armour(file, bytes)?;
    holds(file, &signature, &[NAMESPACE, WITNESS_NAMESPACE], message)?;
    let role = if signature.namespace() == NAMESPACE { Role::Shop } else { Role::Witness };
    let key = signature.public_key();
    let standing = signers.standing(key, signature.namespace(), at);
    let fingerprint = key.fingerprint(HashAlg::Sha256).to_string();
    let place = Place::file(escaped(file));
    let mut findings = Vec::new();
    if trailing {
        findings.push(
            Finding::doubt("signature-trailing", "something stands behind a signature, which nobody signed")
                .at(place.clone()),
        );
    }
    findings.extend(standing.finding(role, &fingerprint).map(|finding| finding.at(place)));
    let algorithm = key.algorithm().as_str().to_owned();
    Ok((Seal { file: file.to_owned(), role, fingerprint, algorithm, standing }, findings))
}
