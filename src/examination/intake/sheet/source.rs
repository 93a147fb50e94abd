//! The bytes of a sheet: how they begin, and that no row fills memory.

use crate::examination::intake::MOST_BYTES;
use std::io::{self, Cursor, Read};

/// How a sheet begins.
pub(super) enum Start<R: Read> {
    /// UTF-8, with or without the mark that some programs write before it.
    Text { rest: Budget<R>, marked: bool },
    /// Two bytes a character.
    Wide,
}

pub(super) fn start<R: Read>(mut source: R) -> io::Result<Start<R>> {
    let mut head = Vec::new();
    source.by_ref().take(3).read_to_end(&mut head)?;
    if head.starts_with(b"\xff\xfe") || head.starts_with(b"\xfe\xff") {
        return Ok(Start::Wide);
    }
    let marked = head == b"\xef\xbb\xbf";
    if marked {
        head.clear();
    }
    Ok(Start::Text {
        rest: Budget {
            head: Cursor::new(head),
            source,
            left: MOST_BYTES,
        },
        marked,
    })
}

/// A source that gives a row only so many bytes.
#[derive(Debug)]
pub(super) struct Budget<R> {
    head: Cursor<Vec<u8>>,
    source: R,
    left: usize,
}

impl<R> Budget<R> {
    /// Begins the next row.
    pub(super) fn renew(&mut self) {
        self.left = MOST_BYTES;
    }
}

/// The error of a row that is too long.
#[derive(Debug, thiserror::Error)]
#[error("a row is too long")]
struct TooLong;

pub(super) fn is_too_long(cause: &io::Error) -> bool {
    cause
        .get_ref()
        .is_some_and(<dyn std::error::Error + Send + Sync>::is::<TooLong>)
}

impl<R: Read> Read for Budget<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 {
            return Err(io::Error::other(TooLong));
        }
        let read = match self.head.read(buffer)? {
            0 => self.source.read(buffer)?,
            some => some,
        };
        self.left = self.left.saturating_sub(read);
        Ok(read)
    }
}
