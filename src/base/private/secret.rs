//! Secrets from files: keys, passwords and tokens that a site names.

use crate::base::private::Private;
use crate::base::problem::file_words;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

/// The largest secret that is read, in bytes: a certificate with its chain and key has some ten thousand.
pub const LARGEST: u64 = 256 * 1024;

/// Why a file gives no secret; nothing in it names the file or what it holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoSecret {
    /// It cannot be read.
    #[error("it cannot be read: {}", file_words(*.0))]
    Unread(io::ErrorKind),
    /// Every account of the machine may read it, or others than its owner may write it: it is no secret.
    /// The mode it has.
    #[error(
        "its mode is {0:o}: nobody but its owner may write it and its group read it (chmod 640)"
    )]
    Open(u32),
    /// It is larger than any secret.
    #[error("it is too large")]
    Large,
    /// It is no text.
    #[error("it is no text")]
    Form,
}

/// What a file of a secret holds now.
///
/// # Errors
/// [`NoSecret`].
pub fn bytes(path: &Path) -> Result<Private<Vec<u8>>, NoSecret> {
    let unread = |cause: io::Error| NoSecret::Unread(cause.kind());
    let file = File::open(path).map_err(unread)?;
    // Of the open file, so that nobody can put another one in its place in between.
    if let Some(mode) = open_to_others(&file).map_err(unread)? {
        return Err(NoSecret::Open(mode));
    }
    let mut bytes = Vec::new();
    let mut within = file.take(LARGEST);
    within.read_to_end(&mut bytes).map_err(unread)?;
    if within.limit() == 0 {
        return Err(NoSecret::Large);
    }
    Ok(Private::new(bytes))
}

/// The same as text.
///
/// # Errors
/// [`NoSecret`].
pub fn text(path: &Path) -> Result<Private<String>, NoSecret> {
    let text = String::from_utf8(bytes(path)?.open().clone());
    text.map(Private::new).map_err(|_no_text| NoSecret::Form)
}

/// The mode of a file that is no secret. A group may read one: containers get their secrets that way.
#[cfg(unix)]
fn open_to_others(file: &File) -> io::Result<Option<u32>> {
    use std::os::unix::fs::PermissionsExt as _;
    let mode = file.metadata()?.permissions().mode() & 0o777;
    Ok((mode & 0o037 != 0).then_some(mode))
}

/// Other systems keep rights in another form, which is not looked at.
#[cfg(not(unix))]
fn open_to_others(_file: &File) -> io::Result<Option<u32>> {
    Ok(None)
}

#[cfg(all(test, unix))]
mod tests {
    use super::{LARGEST, NoSecret, text};
    use std::fs::{Permissions, set_permissions, write};
    use std::os::unix::fs::PermissionsExt as _;

    #[test]
    fn a_file_that_others_may_read_or_write_gives_no_secret() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("secret");
        write(&path, "Zebrafinch\n").expect("written");
        for (mode, open) in [
            (0o600, false),
            (0o400, false),
            (0o640, false),
            (0o644, true),
            (0o604, true),
            (0o660, true),
            (0o602, true),
            (0o601, true),
        ] {
            set_permissions(&path, Permissions::from_mode(mode)).expect("its mode");

            let read = text(&path).map(|text| text.open().clone());

            let told = if open {
                Err(NoSecret::Open(mode))
            } else {
                Ok("Zebrafinch\n".to_owned())
            };
            assert_eq!(read, told, "{mode:o}");
        }
    }

    #[test]
    fn what_is_no_secret_is_told_without_what_it_holds() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("Zebrafinch");
        let missing = text(&path).expect_err("there is none").to_string();
        let held = |bytes: &[u8]| {
            write(&path, bytes).expect("written");
            set_permissions(&path, Permissions::from_mode(0o600)).expect("its mode");
            text(&path).expect_err("no secret")
        };

        assert_eq!(held(&[0xff]), NoSecret::Form);
        let large = usize::try_from(LARGEST).expect("a size");
        assert_eq!(held(&vec![b'a'; large]), NoSecret::Large);
        assert!(!missing.contains("Zebrafinch"), "{missing}");
    }
}
