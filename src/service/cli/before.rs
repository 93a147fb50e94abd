//! What the documents before on the same command line hand on, and where what is encoded goes.
//!
//! Little is kept of each document, so that a long list of them takes no more memory than a short
//! one: precautions of the person, and the record only of a session that is corrected further on.

use crate::base::json::Node;
use crate::base::problem::file_words;
use crate::examination::compare::part::EarlierSession;
use crate::examination::finding::{Precaution, Session};
use crate::fhir::record::amend::VersionBefore;
use crate::service::app::assess::Earlier;
use crate::service::app::earlier::{SESSIONS, of_session};
use crate::service::app::encode::Encoded;
use crate::service::app::words;
use anyhow::{Context, anyhow};
use chrono::DateTime;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// Namespace and value, or source and identity.
type Name = (String, String);

/// What the documents so far hand on. The store is not asked.
#[derive(Default)]
pub(super) struct Before {
    corrected: BTreeSet<Name>,
    versions: BTreeMap<Name, (BTreeSet<u32>, VersionBefore)>,
    people: BTreeMap<Name, Vec<(Name, Vec<Precaution>)>>,
    sessions: BTreeMap<Name, Vec<(Name, EarlierSession)>>,
    /// How many documents of a person are still to come: of one that nothing follows nothing is kept
    /// to compare with, so that a long stream of people stays small.
    to_come: BTreeMap<Name, usize>,
}

impl Before {
    /// Notes whether a document is a later version, before any is encoded.
    pub(super) fn announce(&mut self, text: &str) {
        let Ok(node) = Node::parse(text) else {
            return;
        };
        if let Some(person) = person_named(&node) {
            let count = self.to_come.entry(person).or_default();
            *count = count.saturating_add(1);
        }
        let version = node.at(&["session", "version"]);
        if version.is_some_and(|version| *version != Node::Number("1".to_owned())) {
            self.corrected.extend(session_named(&node));
        }
    }

    /// Precautions of the same person, and the version before of the same session.
    pub(super) fn of(&self, text: &str) -> Earlier {
        let Ok(node) = Node::parse(text) else {
            return Earlier::default();
        };
        let session = session_named(&node);
        let person = person_named(&node);
        let stated = person.and_then(|person| self.people.get(&person));
        let mut standing: Vec<Precaution> = Vec::new();
        let others = stated.into_iter().flatten();
        for (_, precautions) in others.filter(|(of, _)| Some(of) != session.as_ref()) {
            for precaution in precautions {
                standing.retain(|earlier| earlier.id != precaution.id);
                let stands = precaution.lifted.is_none() && precaution.status != "entered-in-error";
                standing.extend(stands.then(|| precaution.clone()));
            }
        }
        let before = session.and_then(|session| self.versions.get(&session));
        Earlier {
            precautions: standing,
            version_before: before.map(|(_, record)| record.clone()).unwrap_or_default(),
            sessions: self.before(&node),
        }
    }

    /// The sessions of the same person that were examined before, the latest first.
    fn before(&self, node: &Node) -> Vec<EarlierSession> {
        let person = person_named(node);
        let session = session_named(node);
        let start = node
            .at(&["session", "performed", "start"])
            .and_then(Node::text);
        let start = start.and_then(|start| DateTime::parse_from_rfc3339(start).ok());
        let (Some(person), Some(start)) = (person, start) else {
            return Vec::new();
        };
        let all = self.sessions.get(&person).into_iter().flatten();
        let mut before: Vec<EarlierSession> = all
            .filter(|(of, one)| Some(of) != session.as_ref() && one.start.instant < start)
            .map(|(_, one)| one.clone())
            .collect();
        before.sort_by_key(|one| std::cmp::Reverse(one.start.instant));
        before
    }

    /// True for a later version whose version before was not among them.
    pub(super) fn lacks_what_is_corrected_by(&self, session: &Session) -> bool {
        let before = self.versions.get(&named(session));
        let is_before = |version: &u32| version.checked_add(1) == Some(session.version);
        session.version > 1 && !before.is_some_and(|(versions, _)| versions.iter().any(is_before))
    }

    pub(super) fn add(&mut self, encoded: Encoded) {
        let session = encoded.session;
        let name = named(&session);
        let (versions, record) = self.versions.entry(name.clone()).or_default();
        versions.insert(session.version);
        if self.corrected.contains(&name) {
            *record = VersionBefore {
                entries: encoded.checked.record().entries.clone(),
                names: words::names(&session),
            };
        }
        let identifier = &session.patient.identifier;
        let person = (identifier.system.clone(), identifier.value.open().clone());
        let left = self.to_come.get_mut(&person).map_or(0, |count| {
            *count = count.saturating_sub(1);
            *count
        });
        if left == 0 {
            self.sessions.remove(&person);
        } else {
            let sessions = self.sessions.entry(person.clone()).or_default();
            sessions.retain(|(of, _)| *of != name);
            if !session.withdrawn {
                sessions.push((name.clone(), of_session(&session, &encoded.measured)));
                sessions.sort_by_key(|(_, one)| std::cmp::Reverse(one.start.instant));
                sessions.truncate(SESSIONS);
            }
        }
        if !session.withdrawn && !session.precautions.is_empty() {
            self.people
                .entry(person)
                .or_default()
                .push((name, session.precautions));
        }
    }
}

fn named(session: &Session) -> Name {
    (session.source.clone(), session.id.to_string())
}

fn session_named(node: &Node) -> Option<Name> {
    name_at(node, &["session"], "source", "id")
}

fn person_named(node: &Node) -> Option<Name> {
    name_at(node, &["patient", "identifier"], "system", "value")
}

fn name_at(node: &Node, path: &[&str], first: &str, second: &str) -> Option<Name> {
    let node = node.at(path)?;
    Some((
        node.text_of(first)?.to_owned(),
        node.text_of(second)?.to_owned(),
    ))
}

/// Where Bundles go: all of them at the end, or none.
pub(super) enum Out {
    /// Kept until the end, for standard output and for what is no file.
    Kept(String, Option<PathBuf>),
    /// A file beside the one asked for, whose place it takes at the end.
    Beside(BufWriter<File>, PathBuf, PathBuf),
}

impl Out {
    /// # Errors
    /// When the file cannot be made.
    pub(super) fn to(path: Option<&Path>) -> anyhow::Result<Self> {
        let Some(path) = path else {
            return Ok(Self::Kept(String::new(), None));
        };
        if path.exists() && !path.is_file() {
            return Ok(Self::Kept(String::new(), Some(path.to_owned())));
        }
        let mut beside = path.as_os_str().to_owned();
        beside.push(".part");
        let beside = PathBuf::from(beside);
        let file = private(&beside).context("the output cannot be written")?;
        Ok(Self::Beside(BufWriter::new(file), beside, path.to_owned()))
    }

    /// # Errors
    /// When the file cannot be written.
    pub(super) fn add(&mut self, text: &str) -> io::Result<()> {
        match self {
            Self::Kept(kept, _) => kept.push_str(text),
            Self::Beside(file, _, _) => file.write_all(text.as_bytes())?,
        }
        Ok(())
    }

    /// # Errors
    /// When the file cannot be written.
    pub(super) fn finish(self) -> anyhow::Result<()> {
        match self {
            Self::Kept(text, None) => io::stdout().write_all(text.as_bytes())?,
            Self::Kept(text, Some(path)) => {
                let written = private(&path)?.write_all(text.as_bytes());
                written.map_err(|cause| anyhow!(file_words(cause.kind())))?;
            }
            Self::Beside(mut file, beside, path) => {
                let placed = file.flush().and_then(|()| fs::rename(beside, path));
                placed.map_err(|cause| anyhow!(file_words(cause.kind())))?;
            }
        }
        Ok(())
    }

    /// Leaves everything as it was.
    ///
    /// # Errors
    /// When the file beside cannot be removed.
    pub(super) fn give_up(self) -> io::Result<()> {
        match self {
            Self::Kept(..) => Ok(()),
            Self::Beside(_, beside, _) => fs::remove_file(beside),
        }
    }
}

/// What is encoded is about a person: its file is readable by its owner only.
pub(super) fn private(path: &Path) -> anyhow::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true).mode(0o600);
    options
        .open(path)
        .map_err(|cause| anyhow!(file_words(cause.kind())))
}
