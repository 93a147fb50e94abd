//! What is said of the life of a delivery.

use crate::delivery::outbox::{State, rows};

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

    /// One word without blanks, for filters and labels.
    pub const fn code(self) -> &'static str {
        rows::column(self)
    }

    /// The state of a word, in either form.
    pub fn named(word: &str) -> Option<Self> {
        let named = |state: &Self| state.code() == word || state.word() == word;
        Self::ALL.into_iter().find(named)
    }

    /// True when nothing is left to do.
    pub const fn is_done(self) -> bool {
        matches!(self, Self::Delivered | Self::Dropped)
    }

    /// The word of the interface.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Queued => "queued",
            Self::Sending => "sending",
            Self::Unknown => "unknown",
            Self::Delivered => "delivered",
            Self::Refused => "refused",
            Self::Waiting => "waiting for a person",
            Self::Dropped => "dropped",
        }
    }
}
