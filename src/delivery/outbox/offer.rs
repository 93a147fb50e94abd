//! What is offered to the store, what the store knows of it before, and why it is not taken.

use crate::delivery::outbox::NotAccepted;
use crate::delivery::outbox::kept::KeptText;
use crate::delivery::outbox::trail::About;
use crate::fhir::check::Sealed;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a document is about, read before it is understood.
#[derive(Debug, Clone)]
pub struct Key {
    /// The system it was written in.
    pub source: String,
    /// The session.
    pub session: Uuid,
    /// Its version.
    pub version: u32,
    /// SHA-256 of the identifier of the person.
    pub subject: String,
    /// SHA-256 of the canonical document.
    pub document_sha256: String,
    /// Start of the examination, ms since 1970 UTC.
    pub examined_at: i64,
    /// True when this version withdraws the session.
    pub withdrawn: bool,
}

/// Where a document is to go.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// The targets it is for.
    pub targets: &'a [String],
    /// All targets of the site: a correction goes to those of them that had the version before as well,
    /// so that no earlier version stays behind as if it stood.
    pub all: &'a [String],
    /// Number of the route that said so, where there are routes.
    pub route: Option<usize>,
}

/// What the store knows of the same person and session.
#[derive(Debug, Clone, Default)]
pub struct Before {
    /// Precautions that stood when the examination began, each as its document stated it.
    pub precautions: Vec<KeptText>,
    /// Document and record of the version before.
    pub version: Option<(KeptText, KeptText)>,
    /// Documents of sessions that were examined before, the latest first.
    pub sessions: Vec<KeptText>,
    /// Targets that have, or may get, an earlier version of the session.
    pub targets: Vec<String>,
}

/// A precaution as it is to be kept.
#[derive(Debug, Clone)]
pub struct StatedPrecaution {
    /// Identity.
    pub id: Uuid,
    /// As the document states it, JSON.
    pub stated: String,
    /// False once a named person has lifted it, or when it was entered in error.
    pub standing: bool,
}

/// The tables a document was coded with.
#[derive(Debug, Clone)]
pub struct Tables {
    /// SHA-256 over all of them.
    pub sha256: String,
    /// SHA-256 of each file that an operator laid over ours, by its name.
    pub own_files: BTreeMap<String, String>,
}

/// A document that holds, ready to be kept.
#[derive(Debug)]
pub struct New {
    /// The checked record.
    pub record: Sealed,
    /// The canonical document.
    pub document: String,
    /// The form in which document, record and precautions are kept.
    pub form: u32,
    /// The tables it was coded with.
    pub tables: Tables,
    /// Its precautions.
    pub precautions: Vec<StatedPrecaution>,
    /// Codes of what is urgent in it.
    pub urgent: Vec<String>,
}

/// Why nothing was accepted: the store's reason, or the reason of the encoding.
#[derive(Debug)]
pub enum Rejected<E> {
    /// It does not fit what was accepted before.
    Store(NotAccepted),
    /// It does not hold.
    Encoding(E),
}

impl Key {
    pub(super) const fn about<'a>(&'a self, item: Option<(Uuid, &'a str)>) -> About<'a> {
        About {
            source: self.source.as_str(),
            session: self.session,
            version: self.version,
            item,
        }
    }
}
