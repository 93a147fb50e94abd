//! What is said of the life of a delivery.

use crate::delivery::outbox::State;

impl State {
    /// Every state, in the order of a life.
    pub const ALL: [Self; 7] = [
        Self::Queued,
        Self::Sending,
        Self::Unknown,
        Self::Delivered,
        Self::Refused,
        Self::Waiting,
        Self::Dropped,
    ];

    /// The state of a word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }

    /// True when nothing is left to do.
    pub const fn is_done(self) -> bool {
        matches!(self, Self::Delivered | Self::Dropped)
    }

    /// Its one word: in the store, in filters and labels, for people and for programs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Queued => "queued",
            Self::Sending => "sending",
            Self::Unknown => "unknown",
            Self::Delivered => "delivered",
            Self::Refused => "refused",
            Self::Waiting => "waiting",
            Self::Dropped => "dropped",
        }
    }
}
