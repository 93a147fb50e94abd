//! Reading what is kept of a person and a session, and which kept rows do not read.

use crate::base::problem::Problems;
use crate::delivery::outbox::kept::{KeptText, Kind, Unread};
use crate::delivery::outbox::offer::Before;
use crate::delivery::outbox::{Item, Outbox, OutboxError};
use crate::examination::compare::part::EarlierSession;
use crate::examination::finding::{self, Precaution};
use crate::examination::intake;
use crate::fhir::record::amend::VersionBefore;
use crate::fhir::record::entries_of;
use crate::service::app::assess::Earlier;
use crate::service::app::earlier::{self, of_document};
use crate::service::app::words::{self, understood};
use crate::tables::catalogue::Catalogue;

/// What a document is encoded against, from what the store knows of its person and session.
///
/// # Errors
/// [`Unread`] when any of it does not read.
pub(super) fn earlier(
    before: &Before,
    elsewhere: Vec<EarlierSession>,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Result<Earlier, Unread> {
    let precautions = before.precautions.iter().map(stated_precaution);
    let version_before = match &before.version {
        Some((document, record)) => version_of(document, record)?,
        None => VersionBefore::default(),
    };
    let sessions = before.sessions.iter();
    let sessions = sessions.map(|document| of_document(document, catalogue, problems));
    Ok(Earlier {
        precautions: precautions.collect::<Result<_, Unread>>()?,
        version_before,
        sessions: earlier::with(sessions.collect::<Result<_, Unread>>()?, elsewhere),
    })
}

/// A precaution as it was kept.
///
/// # Errors
/// [`Unread`] when it does not read.
pub(super) fn stated_precaution(stated: &KeptText) -> Result<Precaution, Unread> {
    stated.read(|form, text| {
        let draft = intake::kept::precaution(form, text)?;
        finding::carried_precaution(&draft)
    })
}

/// The version before, from what was kept of it; both texts were written by us.
fn version_of(document: &KeptText, record: &KeptText) -> Result<VersionBefore, Unread> {
    Ok(VersionBefore {
        names: words::names(&document.read(understood)?),
        entries: record.read(|_form, text| entries_of(text))?,
    })
}

/// The rows that somebody needed and that did not read, as far as they still do not, and those that a
/// newer release wrote. A row that was put right, or purged, is taken off the list.
///
/// # Errors
/// [`OutboxError`] when the store does not answer.
pub async fn unread(outbox: &Outbox) -> Result<Vec<Unread>, OutboxError> {
    let mut unread = outbox.newer().await?;
    for noted in outbox.noted_unread() {
        if unread.iter().any(|newer| newer.row == noted.row) {
            continue;
        }
        match again(outbox, &noted).await? {
            Some(still) => unread.push(still),
            None => outbox.forget_unread(&noted.row),
        }
    }
    Ok(unread)
}

/// Reads a row once more.
async fn again(outbox: &Outbox, noted: &Unread) -> Result<Option<Unread>, OutboxError> {
    let kept = match outbox.kept_again(&noted.row).await {
        Ok(Some(kept)) => kept,
        Ok(None) => return Ok(None),
        Err(OutboxError::Unread(still)) => return Ok(Some(still)),
        Err(fault) => return Err(fault),
    };
    let read = match noted.row.kind {
        Kind::Document => kept.read(understood).map(drop),
        Kind::Record => kept.read(|_form, text| entries_of(text)).map(drop),
        Kind::Precaution => stated_precaution(&kept).map(drop),
        Kind::Receipt => kept.node().map(drop),
        // Its columns are read whenever it is listed; until then it stays as it was noted.
        Kind::Delivery => Err(noted.clone()),
    };
    Ok(read.err())
}

/// The first of these deliveries whose receipt does not read, where one does not.
pub fn first_unread(items: &[Item]) -> Option<Unread> {
    let receipts = items.iter().filter_map(|item| item.receipt.as_ref());
    let mut unread = receipts.filter_map(|receipt| receipt.node().err());
    unread.next()
}
