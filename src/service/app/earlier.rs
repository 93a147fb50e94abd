//! Earlier sessions of a person, as comparing needs them: from our own store or a file.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::delivery::outbox::kept::{KeptText, Unread};
use crate::delivery::outbox::{Outbox, OutboxError};
use crate::examination::compare::part::{EarlierSession, Input, Part};
use crate::examination::finding::Session;
use crate::examination::measure::Measured;
use crate::examination::measure::prompts::Before;
use crate::service::app::key::key_of;
use crate::tables::catalogue::Catalogue;
use std::collections::{BTreeMap, BTreeSet};

/// How many earlier sessions of a person are looked into for the one that speaks of a finding.
pub const SESSIONS: usize = 12;

/// A session of our own, already measured.
pub fn of_session(session: &Session, measured: &[Measured]) -> EarlierSession {
    let urn = |one: &Measured| {
        let id = one.finding.id;
        let urn = crate::fhir::record::identifier_of(&session.source, session.id, id, "finding");
        Input::Earlier(format!("urn:uuid:{urn}"))
    };
    let parts = measured.iter().map(|one| Part {
        input: urn(one),
        ..Part::of(one, session)
    });
    EarlierSession::of(session, parts.collect())
}

/// Sessions of our own beside those that a record server holds, the latest first. One that began at the
/// same moment is the same one, and ours knows more of it.
pub fn with(own: Vec<EarlierSession>, elsewhere: Vec<EarlierSession>) -> Vec<EarlierSession> {
    let known: BTreeSet<i64> = own
        .iter()
        .map(|one| one.start.instant.timestamp_millis())
        .collect();
    let others = elsewhere.into_iter();
    let others = others.filter(|one| !known.contains(&one.start.instant.timestamp_millis()));
    let mut all: Vec<EarlierSession> = own.into_iter().chain(others).collect();
    all.sort_by_key(|one| std::cmp::Reverse(one.start.instant));
    all
}

/// What was found last time of each measure and side, as prompts need it: of several earlier sessions,
/// the latest first, the one that speaks of it.
pub fn last_time(sessions: &[EarlierSession]) -> Vec<Before> {
    let mut last: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    let mut found = Vec::new();
    for (number, session) in sessions.iter().enumerate() {
        for part in session.parts.iter().filter(|part| !part.withdrawn) {
            let key = (part.row.measure.as_str(), part.side.word());
            if *last.entry(key).or_insert(number) == number {
                found.push(before(part));
            }
        }
    }
    found
}

fn before(part: &Part) -> Before {
    let list = Some(part.list()).filter(|list| !list.is_empty());
    let unit = Some(part.unit()).filter(|unit| !unit.is_empty());
    Before {
        measure: part.row.measure.clone(),
        side: part.side,
        way: part.way.clone(),
        value: part.value.clone(),
        scale: list.map(str::to_owned),
        unit: unit.map(str::to_owned),
    }
}

/// A kept document; it held when it was accepted, so nothing is told of it now. What the tables no
/// longer know cannot be compared with, and is told.
///
/// # Errors
/// [`Unread`] when it does not read.
pub fn of_document(
    document: &KeptText,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Result<EarlierSession, Unread> {
    let session = document.read(crate::service::app::words::understood)?;
    let mut told_before = Problems::new();
    let measured = crate::examination::measure::measure(&session, catalogue, &mut told_before);
    let unknown = session.findings.len().saturating_sub(measured.len());
    if unknown > 0 {
        let what = format!(
            "{unknown} of {} findings of session {} are in words that the tables no longer know",
            session.findings.len(),
            session.id
        );
        let hint = "they were not compared with; everything else was";
        problems.note(Code::EarlierNotKnown, "/session", what, hint);
    }
    Ok(of_session(&session, &measured))
}

/// The sessions of the same person before this document, from our own store, the latest first.
///
/// # Errors
/// [`OutboxError`] when the store does not answer.
pub async fn of_store(
    outbox: &Outbox,
    text: &str,
    catalogue: &Catalogue,
) -> Result<Vec<EarlierSession>, OutboxError> {
    let Some(key) = key_of(text) else {
        return Ok(Vec::new());
    };
    // What could not be compared with is told when the document is submitted.
    let mut told = Problems::new();
    let documents = outbox.sessions_before(&key).await?;
    let sessions = documents.iter();
    let sessions = sessions.map(|document| of_document(document, catalogue, &mut told));
    Ok(sessions.collect::<Result<_, Unread>>()?)
}
