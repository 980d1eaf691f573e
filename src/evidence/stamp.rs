//! Answers of time-stamping services (RFC 3161) that lie beside a dossier's seal: read, held against it, and told.
//!
//! Nothing rests on them. Whoever adds one could have asked a service of their own, so its signature is not checked here:
//! `openssl ts -verify` does that with the certificate of a service that the reader trusts.

use cms::cert::x509::ext::pkix::name::GeneralName;
use cms::content_info::ContentInfo;
use cms::signed_data::SignedData;
use der::asn1::{ObjectIdentifier, OctetString};
use der::{Decode, Encode};
use sha2::{Digest, Sha256, Sha384, Sha512};
use x509_tsp::{TimeStampResp, TstInfo};

use crate::evidence::name::{escaped, hexadecimal};
use crate::finding::Finding;
use crate::finding::Place;

/// A `TSTInfo` (RFC 3161, section 2.4.2) and signed data (RFC 5652, section 5.1).
const TST_INFO: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.16.1.4");
const SIGNED_DATA: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.7.2");
/// SHA-256, SHA-384 and SHA-512 (RFC 5754, section 2).
const SHA_256: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.1");
const SHA_384: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.2");
const SHA_512: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.3");

/// What a time-stamping service answered for exactly this seal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp {
    /// The file that holds it.
    pub file: String,
    /// The time that it states, in seconds since 1970, UTC.
    pub seconds: i64,
    /// The policy under which it was made, as an object identifier.
    pub policy: String,
    /// What the service calls itself, escaped; none where it does not say.
    pub service: Option<String>,
}

/// Reads an answer, or the token alone, and holds it against the text that was stamped.
///
/// # Errors
///
/// A note where it cannot be read, which leaves it kept and shown; an error where it is of other bytes.
pub(super) fn read(file: &str, bytes: &[u8], stamped: &[u8]) -> Result<Stamp, Finding> {
    let told = tst_info(bytes).map_err(|why| {
        Finding::note(
            "time-stamp-unreadable",
            "the answer of a time-stamping service is kept, but cannot be read here",
        )
        .at(Place::file(escaped(file)))
        .found(why)
        .expected("an answer or a token of RFC 3161 in DER, with whole seconds")
        .next(format!("`openssl ts -reply -in {} -text` may tell what it says", escaped(file)))
    })?;
    let imprint = told.message_imprint.hashed_message.as_bytes();
    let algorithm = told.message_imprint.hash_algorithm.oid;
    let expected = match algorithm {
        SHA_256 => Sha256::digest(stamped).to_vec(),
        SHA_384 => Sha384::digest(stamped).to_vec(),
        SHA_512 => Sha512::digest(stamped).to_vec(),
        other => {
            return Err(Finding::note(
                "time-stamp-unreadable",
                "the answer of a time-stamping service is kept, but is over a hash that is not compared here",
            )
            .at(Place::file(escaped(file)))
            .found(other.to_string())
            .expected("SHA-256, SHA-384 or SHA-512"));
        }
    };
    if imprint != expected {
        return Err(Finding::error(
            "time-stamp-of-other",
            "a time-stamping service answered for other bytes",
        )
        .at(Place::file(escaped(file)))
        .found(hexadecimal(imprint))
        .expected(format!("{}, the hash of the tag manifest", hexadecimal(&expected)))
        .next("take it out of the dossier, or ask for the one that belongs here"));
    }
    let seconds = told.gen_time.to_unix_duration().as_secs();
    let service = match &told.tsa {
        Some(GeneralName::DirectoryName(name)) => Some(escaped(&name.to_string())),
        _ => None,
    };
    Ok(Stamp {
        file: file.to_owned(),
        seconds: i64::try_from(seconds).unwrap_or(i64::MAX),
        policy: told.policy.to_string(),
        service,
    })
}

fn tst_info(bytes: &[u8]) -> Result<TstInfo, String> {
    let says = |error: der::Error| error.to_string();
    let token = match TimeStampResp::from_der(bytes) {
        Ok(answer) => answer.time_stamp_token.ok_or("an answer that refuses a time stamp")?,
        Err(_) => ContentInfo::from_der(bytes).map_err(says)?,
    };
    if token.content_type != SIGNED_DATA {
        return Err(format!("content of type {}", token.content_type));
    }
    let signed = SignedData::from_der(&token.content.to_der().map_err(says)?).map_err(says)?;
    let inside = signed.encap_content_info;
    if inside.econtent_type != TST_INFO {
        return Err(format!("signed data of type {}", inside.econtent_type));
    }
    let text = inside.econtent.ok_or("signed data without content")?;
    let text = text.decode_as::<OctetString>().map_err(says)?;
    TstInfo::from_der(text.as_bytes()).map_err(says)
}
