//! Files of a command line, standard input, and the files that a document names beside itself.

use crate::base::problem::file_words;
use crate::examination::intake::{MOST_BYTES, trace_csv};
use crate::service::app::beside;
use crate::service::app::given::Given;
use crate::service::cli::report::Mistake;
use std::fs::File;
use std::io;
use std::io::Read;
use std::path::Path;
use std::sync::OnceLock;

/// Reads a file whole; the error says which by `what`, because a file name may carry a person's name
/// and this error goes to standard error.
pub(super) fn read(path: &Path, what: &str) -> anyhow::Result<String> {
    Ok(text(path).map_err(|words| Mistake(format!("{what}: {words}")))?)
}

/// Reads a file whole, or standard input where the path is `-`; the error is in words.
pub(super) fn text(path: &Path) -> Result<String, String> {
    static STANDARD_INPUT: OnceLock<Result<String, String>> = OnceLock::new();
    if path.as_os_str() == STDIN {
        // It can be read once, and `encode` looks at every file twice.
        let read = || whole(Ok(io::stdin().lock()));
        return STANDARD_INPUT.get_or_init(read).clone();
    }
    whole(File::open(path))
}

/// The name that stands for standard input.
pub(super) const STDIN: &str = "-";

fn whole(file: io::Result<impl Read>) -> Result<String, String> {
    let mut bytes = Vec::new();
    // One byte more than a document may have, so that no file fills memory.
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    let read = file.and_then(|file| file.take(most.saturating_add(1)).read_to_end(&mut bytes));
    read.map_err(|cause| file_words(cause.kind()))?;
    if bytes.len() > MOST_BYTES {
        return Err("the file is longer than 8 MiB".to_owned());
    }
    utf8(bytes)
}

pub(super) fn utf8(bytes: Vec<u8>) -> Result<String, String> {
    String::from_utf8(bytes).map_err(|_bytes| "the file is not UTF-8".to_owned())
}

/// A document with the files its traces name, which lie beside it.
pub(super) fn with_files(text: String, path: &Path) -> Given {
    let folder = path.parent().unwrap_or(Path::new(""));
    let read = |name: &str| read_beside(&folder.join(name));
    Given::with_files(beside::inlined(text, read))
}

fn read_beside(path: &Path) -> Result<String, String> {
    let mut bytes = Vec::new();
    let most = u64::try_from(trace_csv::MOST_BYTES).unwrap_or(u64::MAX);
    let file = open_beside(path)?;
    let read = file.take(most.saturating_add(1)).read_to_end(&mut bytes);
    read.map_err(|cause| file_words(cause.kind()))?;
    if bytes.len() > trace_csv::MOST_BYTES {
        return Err("the file is longer than the recording of a stretch".to_owned());
    }
    String::from_utf8(bytes).map_err(|_bytes| "the file is not UTF-8".to_owned())
}

/// Opens an ordinary file: no link is followed, because a document from elsewhere could lead out of its
/// folder by one, and nothing is waited for, as opening a pipe would.
fn open_beside(path: &Path) -> Result<File, String> {
    let mut options = File::options();
    options.read(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.custom_flags(libc::O_NOFOLLOW | libc::O_NONBLOCK);
    }
    let opened = options.open(path);
    let named = std::fs::symlink_metadata(path);
    if named.is_ok_and(|named| named.is_symlink()) {
        return Err("it is a link: put the file itself beside the document".to_owned());
    }
    let file = opened.map_err(|cause| file_words(cause.kind()))?;
    let what = file.metadata().map_err(|cause| file_words(cause.kind()))?;
    if what.is_dir() {
        return Err("it is a folder".to_owned());
    }
    if !what.is_file() {
        return Err("it is no ordinary file but a device or a pipe".to_owned());
    }
    Ok(file)
}
