//! One thing that will or will not work with a record server.

/// Whether something will work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Readiness {
    /// It will work.
    Fine,
    /// It will work, and somebody should look at it.
    Warning,
    /// It will not work.
    No,
    /// The server does not tell.
    NotSaid,
}

impl Readiness {
    /// The word for people and machines.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fine => "ok",
            Self::Warning => "warning",
            Self::No => "no",
            Self::NotSaid => "not said",
        }
    }
}

/// One thing that will or will not work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// What it is about.
    pub about: &'static str,
    /// How it stands.
    pub readiness: Readiness,
    /// A sentence.
    pub what: String,
    /// What to change; nothing where all is well.
    pub change: Option<String>,
}

impl Check {
    /// Of something that works.
    pub fn fine(about: &'static str, what: impl Into<String>) -> Self {
        Self {
            about,
            readiness: Readiness::Fine,
            what: what.into(),
            change: None,
        }
    }

    /// Of something to look at.
    pub fn other(
        about: &'static str,
        readiness: Readiness,
        what: impl Into<String>,
        change: impl Into<String>,
    ) -> Self {
        Self {
            about,
            readiness,
            what: what.into(),
            change: Some(change.into()),
        }
    }
}

/// Words of a server as a terminal may show them.
pub(super) fn plain(words: &str) -> String {
    let shown = words.chars().filter(|c| !c.is_control());
    shown.take(80).collect()
}
