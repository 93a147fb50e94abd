//! From a delivered Observation back to what was captured.

use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::{Item, Kept, Outbox, OutboxError, WantedItems};
use crate::examination::finding::Session;
use crate::examination::intake::kept::NotRead;
use crate::service::app::rows;
use crate::service::app::rows::TableRow;
use crate::tables::catalogue::Catalogue;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What stands behind one Observation.
#[derive(Debug, Clone)]
pub struct Behind {
    /// The session as accepted.
    pub kept: Kept,
    /// The Observation as it was sent.
    pub resource: Private<Node>,
    /// The finding, precaution or trace as captured; nothing for a panel or a computed result.
    pub captured: Option<Private<Node>>,
    /// The rows of our tables that the coding came from.
    pub rows: Vec<TableRow>,
    /// The deliveries of the session.
    pub items: Vec<Item>,
}

/// What came of looking for what stands behind an Observation.
#[derive(Debug, Clone)]
pub enum Looked {
    /// This does.
    Behind(Box<Behind>),
    /// It was sent from here, and the content of its session was purged since.
    Purged(Uuid),
    /// Nothing that is kept here was sent as this.
    NotKept,
}

/// Finds what stands behind an Observation named by its `urn:uuid:`, or by `Observation/id` as a
/// receipt has it, alone or at the end of an address; the latest version of the session counts.
///
/// # Errors
/// [`OutboxError`] when the store does not answer.
pub async fn behind(
    outbox: &Outbox,
    catalogue: &Catalogue,
    name: &str,
) -> Result<Looked, OutboxError> {
    let stored_as = outbox.items_stored_as(as_reference(name)).await?;
    let mut sent = None;
    for item in &stored_as {
        sent = sent_as(item, name)?.map(|urn| (item, urn));
        if sent.is_some() {
            break;
        }
    }
    let urn = sent
        .as_ref()
        .map_or_else(|| name.to_owned(), |(_, urn)| urn.clone());
    let Some(kept) = outbox.session_with(&urn).await? else {
        return Ok(match sent {
            Some((item, _)) => Looked::Purged(item.session),
            None => Looked::NotKept,
        });
    };
    let record = kept.record.node()?;
    let mut entries = record.items_of("entry").iter();
    let entry = entries.find(|entry| entry.text_of("fullUrl") == Some(&urn));
    let Some(resource) = entry.and_then(|entry| entry.member("resource")) else {
        return Ok(Looked::NotKept);
    };
    let of_session = WantedItems {
        session: Some(kept.session),
        ..WantedItems::default()
    };
    Ok(Looked::Behind(Box::new(Behind {
        rows: rows::of(resource, catalogue),
        resource: Private::new(resource.clone()),
        captured: captured(&kept, &urn)?.map(Private::new),
        items: outbox.items_wanted(&of_session).await?,
        kept,
    })))
}

fn sent_as(item: &Item, name: &str) -> Result<Option<String>, Unread> {
    let reference = as_reference(name);
    let Some(receipt) = &item.receipt else {
        return Ok(None);
    };
    let node = receipt.node()?;
    let mut rows = node.items_of("resources").iter();
    let row = rows.find(|row| row.text_of("reference") == Some(reference));
    let urn = row.map(|row| {
        let lacks = || receipt.unread(NotRead::Lacks("the full URL of a resource"));
        row.text_of("full_url").ok_or_else(lacks)
    });
    Ok(urn.transpose()?.map(str::to_owned))
}

/// `Type/id` at the end of an address, with or without its version
/// (FHIR R4, references.html#literal).
fn as_reference(name: &str) -> &str {
    let plain = name.split("/_history/").next().unwrap_or(name);
    let mut slashes = plain.rmatch_indices('/').map(|(at, _)| at);
    match (slashes.next(), slashes.next()) {
        (Some(_), Some(second)) => plain.get(second.saturating_add(1)..).unwrap_or(plain),
        _ => plain,
    }
}

/// A kept document as it was understood, whole; it held then, so nothing is told of it now.
///
/// # Errors
/// [`NotRead`] when any of it does not read.
pub fn understood(form: u32, document: &str) -> Result<Session, NotRead> {
    let draft = crate::examination::intake::kept::document(form, document)?;
    crate::examination::finding::kept(&draft)
}

/// What each finding, precaution and trace of a session is called, by the full URL of its resource.
pub fn names(session: &Session) -> BTreeMap<String, String> {
    let findings = session.findings.iter().map(|finding| {
        let name = format!(
            "{} {} (id {})",
            finding.measure,
            finding.side.word(),
            finding.id
        );
        (full_url(session, finding.id, "finding"), name)
    });
    let precautions = session.precautions.iter().map(|precaution| {
        let name = format!("the precaution with id {}", precaution.id);
        (full_url(session, precaution.id, "precaution"), name)
    });
    let traces = session.traces.iter().map(|trace| {
        let side = trace.side.word();
        let name = format!("the trace of {} {side} (id {})", trace.measure, trace.id);
        (full_url(session, trace.id, "trace"), name)
    });
    let statements = session.statements.iter().map(|statement| {
        let name = format!("{} (id {})", statement.path, statement.id);
        (full_url(session, statement.id, "statement"), name)
    });
    let all = findings.chain(precautions).chain(traces);
    all.chain(statements).collect()
}

fn full_url(session: &Session, id: Uuid, role: &str) -> String {
    format!(
        "urn:uuid:{}",
        crate::fhir::record::identifier_of(&session.source, session.id, id, role)
    )
}

/// The finding, precaution or trace whose identifier is this one.
fn captured(kept: &Kept, urn: &str) -> Result<Option<Node>, Unread> {
    let document = kept.document.node()?;
    let session = kept.document.read(understood)?;
    let findings = session
        .findings
        .iter()
        .map(|f| (&f.path, full_url(&session, f.id, "finding")));
    let precautions = session
        .precautions
        .iter()
        .map(|p| (&p.path, full_url(&session, p.id, "precaution")));
    let traces = session
        .traces
        .iter()
        .map(|t| (&t.path, full_url(&session, t.id, "trace")));
    let statements = session
        .statements
        .iter()
        .map(|s| (&s.path, full_url(&session, s.id, "statement")));
    let mut all = findings.chain(precautions).chain(traces).chain(statements);
    let Some((path, _)) = all.find(|(_, url)| url == urn) else {
        return Ok(None);
    };
    let lacks = || kept.document.unread(NotRead::Empty { path: path.clone() });
    // `/list/place`, or the one field of its name.
    let place = path.strip_prefix('/').ok_or_else(lacks)?;
    let captured = match place.split_once('/') {
        None => document.member(place),
        Some((list, index)) => {
            let index = index.parse::<usize>().map_err(|_no_place| lacks())?;
            document.items_of(list).get(index)
        }
    };
    Ok(Some(captured.ok_or_else(lacks)?.clone()))
}
