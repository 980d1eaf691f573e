//! Signing keys: the one that is named, and no other.
//!
//! `ssh-keygen` signs (OpenSSH): it reads the key file, asks for a passphrase at the terminal, asks the agent where a public key
//! is named, and waits for a security key to be touched. No key is read here, and none is looked for.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::Error;

/// A signing key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SigningKey {
    held: Held,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Held {
    /// A private key's file, or that of the public half of a key that the agent holds.
    OnFile(PathBuf),
    /// A public key, as one line, whose private half only the agent may hold.
    InAgent(String),
}

impl SigningKey {
    /// Names the key at a path.
    ///
    /// # Errors
    ///
    /// [`Error::Io`] when nothing is there; [`Error::NotPlain`] when it is no file.
    pub fn at(path: &Path) -> Result<Self, Error> {
        let metadata = std::fs::metadata(path).map_err(Error::io("open", path))?;
        if !metadata.is_file() {
            return Err(Error::NotPlain {
                path: path.display().to_string(),
                found: "something other than a file",
                expected: "an SSH key on file",
            });
        }
        let path = std::path::absolute(path).map_err(Error::io("find", path))?;
        Ok(Self { held: Held::OnFile(path) })
    }

    /// Names a key that the agent may hold by its public half, as one line. No file of a private key is looked for.
    pub fn in_agent(public: &str) -> Self {
        Self { held: Held::InAgent(public.to_owned()) }
    }

    /// Signs bytes under a namespace: an armoured SSH signature.
    ///
    /// # Errors
    ///
    /// What `ssh-keygen` said, or that there is none.
    pub fn sign(&self, namespace: &str, bytes: &[u8]) -> Result<String, String> {
        match &self.held {
            Held::OnFile(path) => sign_with(path, &path.display().to_string(), namespace, bytes),
            Held::InAgent(public) => {
                // In a folder that is new and nobody else's: beside a public key ssh-keygen looks for its private half.
                let made = |error| format!("no folder could be made for asking the SSH agent: {error}");
                let folder = tempfile::tempdir().map_err(made)?;
                let path = folder.path().join("signer.pub");
                std::fs::write(&path, format!("{public}\n")).map_err(made)?;
                sign_with(&path, "a key of the SSH agent", namespace, bytes)
            }
        }
    }
}

/// Runs `ssh-keygen` with a key's file; a refusal calls the key as it is called here.
fn sign_with(path: &Path, called: &str, namespace: &str, bytes: &[u8]) -> Result<String, String> {
    let missing = |error| format!("ssh-keygen (OpenSSH), which signs, could not be run: {error}");
    let mut child = Command::new("ssh-keygen")
        .args(["-q", "-Y", "sign", "-n", namespace, "-f"])
        .arg(path)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(missing)?;
    // A key that cannot be read ends the program before it has read what to sign; it says so itself.
    let written = child.stdin.take().map(|mut stdin| stdin.write_all(bytes));
    let output = child.wait_with_output().map_err(missing)?;
    let armour = String::from_utf8(output.stdout).unwrap_or_default();
    if output.status.success()
        && matches!(written, Some(Ok(())))
        && armour.starts_with("-----BEGIN SSH SIGNATURE-----")
    {
        return Ok(armour);
    }
    let said = String::from_utf8_lossy(&output.stderr);
    let last = said.lines().map(str::trim).rfind(|line| !line.is_empty()).unwrap_or("no message");
    Err(format!("ssh-keygen did not sign with {called}: {last}"))
}
