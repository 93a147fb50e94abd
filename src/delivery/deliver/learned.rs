//! What a process learned of a server while it sent to it; nothing of it outlives the process.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// What was learned.
#[derive(Debug)]
pub(super) struct Learned {
    /// Entries the server took at most, once it said that there were too many.
    limit: AtomicUsize,
    /// Identifiers it was asked for at once at most, once it showed only some of what it found.
    page: AtomicUsize,
    /// True once it refused to give with what was found what refers to it.
    no_includes: AtomicBool,
}

impl Default for Learned {
    fn default() -> Self {
        Self {
            limit: AtomicUsize::new(usize::MAX),
            page: AtomicUsize::new(usize::MAX),
            no_includes: AtomicBool::new(false),
        }
    }
}

impl Learned {
    /// The entries the server takes at once, as far as it is known.
    pub(super) fn limit(&self) -> Option<usize> {
        let limit = self.limit.load(Ordering::Relaxed);
        (limit < usize::MAX).then_some(limit)
    }

    /// The server said that more than this is too much.
    pub(super) fn takes_at_most(&self, entries: usize) {
        self.limit.fetch_min(entries, Ordering::Relaxed);
    }

    /// How many identifiers it is asked for at once, at most and at least 1.
    pub(super) fn page(&self) -> usize {
        self.page.load(Ordering::Relaxed)
    }

    /// It showed only some of what it found: so many are to be asked for at once.
    pub(super) fn shows_at_most(&self, identifiers: usize) {
        self.page.fetch_min(identifiers.max(1), Ordering::Relaxed);
    }

    /// Whether it gives with what is found what refers to it, as far as it is known.
    pub(super) fn includes(&self) -> bool {
        !self.no_includes.load(Ordering::Relaxed)
    }

    /// It refused that.
    pub(super) fn gives_no_includes(&self) {
        self.no_includes.store(true, Ordering::Relaxed);
    }
}
