//! How far a long run is: a bar for people, where standard error is a terminal.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{self, IsTerminal as _};
use std::time::Duration;

/// Fewer documents are told one by one fast enough.
const MANY: usize = 10;

/// A bar; it shows nothing where there is little to do, or nobody to see it.
pub(super) struct Progress {
    bar: ProgressBar,
}

impl Progress {
    /// For `many` documents; `quiet` where a program reads what is written.
    pub(super) fn of(many: usize, quiet: bool) -> Self {
        if quiet || many < MANY || !io::stderr().is_terminal() {
            return Self {
                bar: ProgressBar::hidden(),
            };
        }
        let length = u64::try_from(many).unwrap_or(u64::MAX);
        let bar = ProgressBar::with_draw_target(Some(length), ProgressDrawTarget::stderr());
        // A template of our own making always reads.
        if let Ok(style) =
            ProgressStyle::with_template("{msg:<10} [{bar:30}] {pos} of {len}, {elapsed_precise}")
        {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.enable_steady_tick(Duration::from_millis(500));
        Self { bar }
    }

    /// Begins again at 0 with something else to count.
    pub(super) fn now(&self, what: &'static str, many: usize) {
        self.bar.set_message(what);
        self.bar.set_length(u64::try_from(many).unwrap_or(u64::MAX));
        self.bar.set_position(0);
    }

    /// So many are done.
    pub(super) fn at(&self, done: usize) {
        self.bar
            .set_position(u64::try_from(done).unwrap_or(u64::MAX));
    }

    /// Writes to standard output without tearing the bar.
    pub(super) fn aside<T>(&self, write: impl FnOnce() -> T) -> T {
        self.bar.suspend(write)
    }

    /// Takes the bar away.
    pub(super) fn done(&self) {
        self.bar.finish_and_clear();
    }
}
