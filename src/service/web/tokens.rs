//! The tokens that let a request in.
//!
//! They stand in a file, one a line, that its owner writes and at most its group may read. It is read anew for every request:
//! a token is changed by writing the new one beside the old one, and later taking the old one out.

use crate::base::private::secret::{self, NoSecret};
use crate::base::problem::file_words;
use sha2::{Digest, Sha256};
use std::io::ErrorKind;
use std::path::PathBuf;
use subtle::{Choice, ConstantTimeEq};

/// A shorter token could be guessed.
const SHORTEST: usize = 32;
/// Room for the old and the new token, and a few clients with one of their own.
const MOST: usize = 8;

/// The file of the tokens.
#[derive(Debug, Clone)]
pub struct Tokens {
    path: PathBuf,
}

/// Why the file of the tokens cannot be used; nobody is let in then.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoTokens {
    /// It cannot be read.
    #[error("the token file cannot be read: {words}", words = file_words(*.0))]
    File(ErrorKind),
    /// Everybody may read it, or others than its owner may write it.
    #[error(
        "the token file can be read by everybody or written by others (mode {0:o}): chmod 600 or \
         640 it"
    )]
    Open(u32),
    /// It holds no token.
    #[error(
        "the token file holds no token: write one a line, such as `openssl rand -hex 32` gives"
    )]
    Empty,
    /// It holds more than eight.
    #[error("the token file holds more than {MOST} tokens, or is too large")]
    Many,
    /// A token is too short.
    #[error("line {0} of the token file: a token has at least {SHORTEST} characters")]
    Short(usize),
    /// A token holds what no header can carry.
    #[error("line {0} of the token file: a token is made of letters, digits and -._~+/=")]
    Form(usize),
}

impl Tokens {
    /// The tokens of a file that can be used now.
    ///
    /// # Errors
    /// [`NoTokens`], with what to change.
    pub fn at(path: PathBuf) -> Result<Self, NoTokens> {
        let tokens = Self { path };
        tokens.read()?;
        Ok(tokens)
    }

    /// Whether a token is one of the file, as the file stands now.
    ///
    /// All of them are compared, as hashes and in constant time, so that how long it takes tells
    /// nothing about where they differ.
    ///
    /// # Errors
    /// [`NoTokens`] when the file cannot be used any more.
    pub fn admit(&self, token: &str) -> Result<bool, NoTokens> {
        let given: [u8; 32] = Sha256::digest(token.as_bytes()).into();
        let known = self.read()?;
        let same = known
            .iter()
            .fold(Choice::from(0), |same, known| same | known.ct_eq(&given));
        Ok(bool::from(same))
    }

    /// Whether the file can be used now.
    ///
    /// # Errors
    /// [`NoTokens`], with what to change.
    pub fn usable(&self) -> Result<(), NoTokens> {
        self.read().map(|_tokens| ())
    }

    fn read(&self) -> Result<Vec<[u8; 32]>, NoTokens> {
        let text = secret::text(&self.path).map_err(|cause| match cause {
            NoSecret::Unread(cause) => NoTokens::File(cause),
            NoSecret::Open(mode) => NoTokens::Open(mode),
            NoSecret::Large => NoTokens::Many,
            NoSecret::Form => NoTokens::File(ErrorKind::InvalidData),
        })?;
        of_text(text.open())
    }
}

fn of_text(text: &str) -> Result<Vec<[u8; 32]>, NoTokens> {
    let mut tokens = Vec::new();
    for (number, line) in (1..).zip(text.lines()) {
        let token = line.trim();
        if token.is_empty() {
            continue;
        }
        if token.len() < SHORTEST {
            return Err(NoTokens::Short(number));
        }
        // RFC 6750, section 2.1: b64token.
        let allowed = |c: char| c.is_ascii_alphanumeric() || "-._~+/=".contains(c);
        if !token.chars().all(allowed) {
            return Err(NoTokens::Form(number));
        }
        tokens.push(Sha256::digest(token.as_bytes()).into());
    }
    match tokens.len() {
        0 => Err(NoTokens::Empty),
        1..=MOST => Ok(tokens),
        _ => Err(NoTokens::Many),
    }
}

#[cfg(test)]
mod tests {
    use super::{NoTokens, Tokens};
    use std::fs::{self, Permissions};
    use std::os::unix::fs::PermissionsExt;

    const OLD: &str = "0123456789abcdef0123456789abcdef";
    const NEW: &str = "fedcba9876543210fedcba9876543210";

    fn written(folder: &tempfile::TempDir, text: &str, mode: u32) -> Result<Tokens, NoTokens> {
        let path = folder.path().join("tokens");
        fs::write(&path, text).expect("written");
        fs::set_permissions(&path, Permissions::from_mode(mode)).expect("its mode");
        Tokens::at(path)
    }

    #[test]
    fn a_file_that_others_can_read_or_that_holds_no_good_token_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let nine = format!("{OLD}\n").repeat(9);
        for (text, mode, why) in [
            (OLD, 0o644, NoTokens::Open(0o644)),
            (OLD, 0o660, NoTokens::Open(0o660)),
            (OLD, 0o602, NoTokens::Open(0o602)),
            ("", 0o600, NoTokens::Empty),
            ("\n \n", 0o600, NoTokens::Empty),
            ("short", 0o600, NoTokens::Short(1)),
            (&format!("{OLD}\nshort"), 0o600, NoTokens::Short(2)),
            (&format!("{OLD} {NEW}"), 0o600, NoTokens::Form(1)),
            (&nine, 0o600, NoTokens::Many),
        ] {
            assert_eq!(written(&folder, text, mode).err(), Some(why), "{text}");
        }
        let missing = Tokens::at(folder.path().join("nowhere"));
        assert!(matches!(missing, Err(NoTokens::File(_))));
    }

    #[test]
    fn a_token_is_changed_line_by_line_while_the_service_runs() {
        let folder = tempfile::tempdir().expect("a folder");
        let tokens = written(&folder, &format!("{OLD}\n"), 0o600).expect("usable");

        let admitted = |text: &str| {
            written(&folder, text, 0o600).expect("usable");
            [OLD, NEW].map(|token| tokens.admit(token).expect("usable"))
        };

        assert_eq!(admitted(OLD), [true, false]);
        assert_eq!(admitted(&format!("{NEW}\r\n{OLD}\r\n")), [true, true]);
        assert_eq!(admitted(&format!("{NEW}\n")), [false, true]);
        assert!(written(&folder, NEW, 0o640).is_ok());
        assert_eq!(tokens.admit(""), Ok(false));
        let shorter = NEW.trim_end_matches('0');
        assert_eq!(tokens.admit(shorter), Ok(false));
        fs::remove_file(folder.path().join("tokens")).expect("removed");
        assert!(tokens.admit(NEW).is_err());
    }
}
