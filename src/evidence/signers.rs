//! The reader's own list of signers, in the form of OpenSSH (`ssh-keygen`, ALLOWED SIGNERS), and the list of revoked keys.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use ssh_key::HashAlg;
use ssh_key::PublicKey;
use ssh_key::public::KeyData;

use crate::evidence::name::escaped;
use crate::evidence::signature::Role;
use crate::finding::Finding;
use crate::finding::Place;

/// Longest list that is read, in bytes.
const LONGEST: usize = 1 << 20;

/// Whom the reader trusts, for what, and from when to when.
#[derive(Debug, Clone, Default)]
pub struct Signers {
    entries: Vec<Signer>,
    revoked: BTreeSet<KeyData>,
    /// Lines that were read but are of no use here.
    pub findings: Vec<Finding>,
}

#[derive(Debug, Clone)]
struct Signer {
    principals: Vec<String>,
    key: KeyData,
    namespaces: Option<Vec<String>>,
    after: Option<i64>,
    before: Option<i64>,
}

/// How a key stands in the list.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Standing {
    /// It is listed for these names and in force.
    Listed {
        /// The names (principals) on the line.
        principals: Vec<String>,
    },
    /// The list does not hold it.
    Unlisted,
    /// It is listed, but not for this purpose.
    OtherPurpose,
    /// It is listed from a later moment on.
    NotYet {
        /// Seconds since 1970, UTC.
        from: i64,
    },
    /// It was listed up to an earlier moment.
    Expired {
        /// Seconds since 1970, UTC.
        until: i64,
    },
    /// It is among the revoked keys.
    Revoked,
}

impl Standing {
    /// What is wrong, as a finding; a witness who is not listed forbids nothing.
    pub(super) fn finding(&self, role: Role, fingerprint: &str) -> Option<Finding> {
        let (code, message) = match self {
            Standing::Listed { .. } => return None,
            Standing::Unlisted => ("signer-unlisted", "the key that signed is not in the list of signers"),
            Standing::OtherPurpose => {
                ("signer-purpose", "the key that signed is listed, but for other purposes")
            }
            Standing::NotYet { .. } => {
                ("signer-not-yet", "the key that signed is listed from a later day on")
            }
            Standing::Expired { .. } => {
                ("signer-expired", "the key that signed was listed up to an earlier day only")
            }
            Standing::Revoked => ("signer-revoked", "the key that signed has been revoked"),
        };
        let finding = match (role, self) {
            (Role::Shop, _) | (Role::Witness, Standing::Revoked) => Finding::error(code, message),
            (Role::Witness, _) => Finding::doubt(code, message),
        };
        Some(finding.found(fingerprint.to_owned()).next(
            "compare the fingerprint with the one that the shop gave you by another way, and write the key into your own list",
        ))
    }
}

impl Signers {
    /// A list that holds nobody.
    pub fn none() -> Self {
        Self::default()
    }

    /// Reads a list, and where there is one a list of revoked keys, a public key on each line.
    ///
    /// Lines that are of no use here (certificates, kinds of key that are not checked, times in a local zone) are kept
    /// out and named in [`Signers::findings`].
    ///
    /// # Errors
    ///
    /// Every line that cannot be read.
    pub fn parse(name: &str, text: &str, revoked: Option<(&str, &str)>) -> Result<Self, Vec<Finding>> {
        let (mut list, mut faults) = (Self::default(), Vec::new());
        for (line, content) in lines(name, text)? {
            match signer(content) {
                Ok(signer) => list.entries.push(signer),
                Err(Fault::OfNoUse(finding)) => list.findings.push(finding.at(Place::file(name).line(line))),
                Err(Fault::Unreadable(finding)) => faults.push(finding.at(Place::file(name).line(line))),
            }
        }
        let revoked_lines = revoked.map(|(name, text)| Ok::<_, Vec<Finding>>((name, lines(name, text)?)));
        if let Some((name, lines)) = revoked_lines.transpose()? {
            for (line, content) in lines {
                match PublicKey::from_openssh(content) {
                    Ok(key) => {
                        list.revoked.insert(key.key_data().clone());
                    }
                    Err(_) => faults.push(
                        Finding::error("signers-line", "a line of the list of revoked keys cannot be read")
                            .at(Place::file(name).line(line))
                            .found(escaped(content))
                            .expected(
                                "a public key on a line; a list in the binary form of OpenSSH is not read",
                            ),
                    ),
                }
            }
        }
        if faults.is_empty() { Ok(list) } else { Err(faults) }
    }

    /// Whether it holds nobody.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// How a key stands for a purpose at a moment (seconds since 1970, UTC).
    pub(super) fn standing(&self, key: &KeyData, namespace: &str, at: i64) -> Standing {
        if self.revoked.contains(key) {
            return Standing::Revoked;
        }
        let mut best = Standing::Unlisted;
        for signer in self.entries.iter().filter(|signer| signer.key == *key) {
            let standing = signer.standing(namespace, at);
            if matches!(standing, Standing::Listed { .. }) {
                return standing;
            }
            if matches!(best, Standing::Unlisted | Standing::OtherPurpose) {
                best = standing;
            }
        }
        best
    }
}

impl Signer {
    fn standing(&self, namespace: &str, at: i64) -> Standing {
        if !self.namespaces.as_ref().is_none_or(|patterns| matches_list(patterns, namespace)) {
            return Standing::OtherPurpose;
        }
        match (self.after, self.before) {
            (Some(from), _) if at < from => Standing::NotYet { from },
            (_, Some(until)) if at > until => Standing::Expired { until },
            _ => Standing::Listed { principals: self.principals.clone() },
        }
    }
}

/// The lines that hold something, counted from 1.
fn lines<'t>(name: &str, text: &'t str) -> Result<Vec<(usize, &'t str)>, Vec<Finding>> {
    if text.len() > LONGEST {
        let finding = Finding::error("signers-too-long", "a list of keys is longer than is read");
        return Err(vec![finding.at(Place::file(name)).expected(format!("at most {LONGEST} bytes"))]);
    }
    let lines = text.lines().enumerate().map(|(at, line)| (at + 1, line.trim()));
    Ok(lines.filter(|(_, line)| !line.is_empty() && !line.starts_with('#')).collect())
}

enum Fault {
    Unreadable(Finding),
    OfNoUse(Finding),
}

/// Cuts the first word off, which may hold quoted spaces.
fn word(text: &str) -> (&str, &str) {
    let mut quoted = false;
    let end = text.find(|c: char| {
        quoted ^= c == '"';
        !quoted && c.is_ascii_whitespace()
    });
    let (word, rest) = text.split_at(end.unwrap_or(text.len()));
    (word, rest.trim_start())
}

/// Splits at commas outside quotes.
fn options(text: &str) -> Vec<&str> {
    let mut quoted = false;
    text.split(|c: char| {
        quoted ^= c == '"';
        !quoted && c == ','
    })
    .collect()
}

fn signer(line: &str) -> Result<Signer, Fault> {
    let unreadable = |found: &str| {
        Fault::Unreadable(
            Finding::error("signers-line", "a line of the list of signers cannot be read")
                .found(escaped(found))
                .expected("names, options if any, kind of key, key: `shop@test.example valid-after=\"20260101Z\" ssh-ed25519 AAAA…`"),
        )
    };
    let of_no_use = |message: &str, next: &str| {
        Fault::OfNoUse(Finding::doubt("signers-unused", message).found(escaped(line)).next(next.to_owned()))
    };
    let (names, rest) = word(line);
    let names = names.trim_matches('"');
    if names.is_empty() || rest.is_empty() {
        return Err(unreadable(line));
    }
    let principals = names.split(',').map(str::to_owned).collect();
    let is_kind = |text: &str| {
        let kind = word(text).0;
        ["ssh-", "ecdsa-", "sk-", "rsa-"].iter().any(|start| kind.starts_with(start)) && !kind.contains('=')
    };
    let (given, key) = if is_kind(rest) { ("", rest) } else { word(rest) };
    let (mut namespaces, mut after, mut before) = (None, None, None);
    for option in options(given).into_iter().filter(|option| !option.is_empty()) {
        let (label, value) = option.split_once('=').unwrap_or((option, ""));
        let value = value.strip_prefix('"').and_then(|value| value.strip_suffix('"')).unwrap_or(value);
        match label.to_ascii_lowercase().as_str() {
            "cert-authority" => {
                return Err(of_no_use(
                    "the list names an authority for certificates, which are not followed here",
                    "list the key that signs itself",
                ));
            }
            "namespaces" if !value.is_empty() => {
                namespaces = Some(value.split(',').map(str::to_owned).collect())
            }
            label @ ("valid-after" | "valid-before") => {
                let moment = moment(value).map_err(|local| match local {
                    true => of_no_use(
                        "the list gives a time without saying in which zone, so the line is not used",
                        "end the time with Z for UTC",
                    ),
                    false => unreadable(option),
                })?;
                *(if label == "valid-after" { &mut after } else { &mut before }) = Some(moment);
            }
            _ => return Err(unreadable(option)),
        }
    }
    let (kind, _) = word(key);
    if !matches!(kind, "ssh-ed25519" | "sk-ssh-ed25519@openssh.com") {
        return Err(if is_kind(key) {
            of_no_use(
                "the list holds a kind of key that is not checked here",
                "ask the signer for an Ed25519 key",
            )
        } else {
            unreadable(line)
        });
    }
    let key = PublicKey::from_openssh(key).map_err(|_| unreadable(key))?;
    Ok(Signer { principals, key: key.key_data().clone(), namespaces, after, before })
}

/// Seconds since 1970 of `YYYYMMDD[HHMM[SS]]Z`; otherwise whether only the zone is missing.
fn moment(text: &str) -> Result<i64, bool> {
    let digits = text.strip_suffix(['Z', 'z']).unwrap_or(text);
    if !matches!(digits.len(), 8 | 12 | 14) || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(false);
    }
    let part =
        |from: usize, to: usize| digits.get(from..to).and_then(|part| part.parse::<u32>().ok()).unwrap_or(0);
    let year = digits.get(..4).and_then(|year| year.parse().ok()).ok_or(false)?;
    let moment = NaiveDate::from_ymd_opt(year, part(4, 6), part(6, 8))
        .and_then(|day| day.and_hms_opt(part(8, 10), part(10, 12), part(12, 14)))
        .ok_or(false)?;
    if digits.len() == text.len() { Err(true) } else { Ok(moment.and_utc().timestamp()) }
}

/// Whether a list of patterns lets a text through; one that begins with `!` forbids (ssh_config, PATTERNS).
fn matches_list(patterns: &[String], text: &str) -> bool {
    let mut found = false;
    for pattern in patterns {
        match pattern.strip_prefix('!') {
            Some(pattern) if matches(pattern.as_bytes(), text.as_bytes()) => return false,
            Some(_) => {}
            None => found |= matches(pattern.as_bytes(), text.as_bytes()),
        }
    }
    found
}

/// Whether `*` (anything) and `?` (one character) in a pattern can stand for a text; in time of the two lengths.
fn matches(pattern: &[u8], text: &[u8]) -> bool {
    let (mut at, mut place, mut star) = (0, 0, None);
    while place < text.len() {
        match pattern.get(at) {
            Some(b'*') => {
                star = Some((at, place));
                at += 1;
            }
            Some(&c) if c == b'?' || c == text[place] => {
                at += 1;
                place += 1;
            }
            _ => match star {
                Some((back, from)) => {
                    star = Some((back, from + 1));
                    at = back + 1;
                    place = from + 1;
                }
                None => return false,
            },
        }
    }
    pattern[at..].iter().all(|&c| c == b'*')
}

/// A key as `ssh-keygen -l` shows it.
pub fn fingerprint(public_key: &str) -> Option<String> {
    PublicKey::from_openssh(public_key.trim()).ok().map(|key| key.fingerprint(HashAlg::Sha256).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: &str = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIAABAgMEBQYHCAkKCwwNDg8QERITFBUWFxgZGhscHR4f";

    fn standing(list: &str, namespace: &str, at: i64) -> Standing {
        let signers = Signers::parse("list", list, None).expect("a list");
        let key = PublicKey::from_openssh(KEY).expect("a key");
        signers.standing(key.key_data(), namespace, at)
    }

    #[test]
    fn a_line_says_who_for_what_and_when() {
        let listed = Standing::Listed { principals: vec!["shop@test.example".to_owned(), "*@x".to_owned()] };
        let line = format!(
            "shop@test.example,*@x namespaces=\"dossier@*,!dossier@y\",valid-after=\"20260101Z\",valid-before=\"202601021200Z\" {KEY} the key"
        );
        let noon = 1_767_355_200; // 2026-01-02 12:00 UTC
        assert_eq!(standing(&line, "dossier@a", noon), listed);
        assert_eq!(standing(&line, "dossier@y", noon), Standing::OtherPurpose);
        assert_eq!(standing(&line, "file", noon), Standing::OtherPurpose);
        assert_eq!(standing(&line, "dossier@a", noon + 1), Standing::Expired { until: noon });
        assert_eq!(standing(&line, "dossier@a", noon - 129_601), Standing::NotYet { from: noon - 129_600 });
        assert_eq!(standing("# nobody\n\n", "x", 0), Standing::Unlisted);
        assert!(matches!(standing(&format!("\"a b\" {KEY}"), "x", 0), Standing::Listed { .. }));
    }

    #[test]
    fn lines_of_no_use_are_named_and_broken_ones_refuse_the_list() {
        let unused = format!(
            "ca@x cert-authority {KEY}\na valid-after=\"20260101\" {KEY}\nr ssh-rsa AAAAB3NzaC1yc2E=\n"
        );
        let signers = Signers::parse("list", &unused, None).expect("a list");
        assert!(signers.is_empty() && signers.findings.len() == 3, "{:?}", signers.findings);
        for broken in [
            "only",
            "a b c",
            "a valid-after=\"2026\" ssh-ed25519 AAAA",
            "a ssh-ed25519 ????",
            "a colour=\"red\" ssh-ed25519 A",
        ] {
            let faults = Signers::parse("list", broken, None).expect_err(broken);
            assert_eq!(faults[0].code, "signers-line");
        }
    }

    #[test]
    fn a_revoked_key_is_revoked_whatever_the_list_says() {
        let signers = Signers::parse("list", &format!("a {KEY}"), Some(("revoked", KEY))).expect("lists");
        let key = PublicKey::from_openssh(KEY).expect("a key");
        assert_eq!(signers.standing(key.key_data(), "x", 0), Standing::Revoked);
    }

    #[test]
    fn patterns_are_matched_without_going_back_for_ever() {
        assert!(matches(b"a*b?c", b"axxbyc") && !matches(b"a*b", b"axc") && matches(b"*", b""));
        assert!(!matches(&b"*a".repeat(2000), "a".repeat(1000).as_bytes()));
    }
}
