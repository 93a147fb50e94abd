//! What a process learned of a server while it sent to it; nothing of it outlives the process.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// What was learned.
#[derive(Debug)]
pub(super) struct Learned {
    /// Entries the server took at most, once it said that there were too many.
    limit: AtomicUsize,
    /// True once it refused to give with what was found what refers to it.
    no_includes: AtomicBool,
}

impl Default for Learned {
    fn default() -> Self {
        Self {
            limit: AtomicUsize::new(usize::MAX),
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

    /// Whether it gives with what is found what refers to it, as far as it is known.
    pub(super) fn includes(&self) -> bool {
        !self.no_includes.load(Ordering::Relaxed)
    }

    /// It refused that.
    pub(super) fn gives_no_includes(&self) {
        self.no_includes.store(true, Ordering::Relaxed);
    }
}
