//! Texts that are kept: each with the name of its row and the form it was written in.
//!
//! Reading one is the only way to its words. One that does not read is noted: it stands in the log
//! once, in the counts, and in whether the service is ready, until it reads again.

use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::outbox::engine::{Row, query};
use crate::delivery::outbox::{Outbox, OutboxError};
use crate::examination::intake::kept::{FORM, NotRead, readable};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use uuid::Uuid;

/// So many rows are told by name; more are counted.
pub const MOST_NAMED: usize = 100;

/// The generation from which on a binary asks for the form of what is kept.
const KNOWS_FORMS: i64 = 7;

/// What a kept text is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// A session document.
    Document,
    /// The record made of it.
    Record,
    /// A precaution as a document stated it.
    Precaution,
    /// What a delivery came to.
    Receipt,
    /// A delivery itself: its state, its times, its identity.
    Delivery,
}

impl Kind {
    /// Every one.
    pub const ALL: [Self; 5] = [
        Self::Document,
        Self::Record,
        Self::Precaution,
        Self::Receipt,
        Self::Delivery,
    ];

    /// One word, for labels.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Document => "document",
            Self::Record => "record",
            Self::Precaution => "precaution",
            Self::Receipt => "receipt",
            Self::Delivery => "delivery",
        }
    }
}

/// The name of a kept row: our own identities, nothing about a person. What is no identity any more
/// is told as `unknown`.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct RowName {
    /// What it is.
    pub kind: Kind,
    /// The session it belongs to, as it stands in the row.
    session: String,
    /// Version of the session.
    version: i64,
    /// Of the precaution or the delivery; empty for a document and its record.
    id: String,
    /// The system the session was written in.
    source: String,
}

impl fmt::Debug for RowName {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{self}")
    }
}

impl fmt::Display for RowName {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let known =
            |id: &str| Uuid::parse_str(id).map_or("unknown".to_owned(), |id| id.to_string());
        write!(formatter, "the {}", self.kind.word())?;
        if !self.id.is_empty() {
            write!(formatter, " {}", known(&self.id))?;
        }
        let (session, version) = (known(&self.session), self.version);
        write!(formatter, " of session {session} version {version}")
    }
}

/// A kept row that does not read, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// Which row.
    pub row: Arc<RowName>,
    /// Why.
    pub why: NotRead,
}

impl fmt::Display for Unread {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{} {}", self.row, self.why)
    }
}

impl std::error::Error for Unread {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        None
    }
}

impl From<Unread> for OutboxError {
    fn from(unread: Unread) -> Self {
        Self::Unread(unread)
    }
}

/// Rows that were seen not to read since the store was opened.
#[derive(Debug, Clone, Default)]
pub(super) struct Noted(Arc<Mutex<BTreeMap<Arc<RowName>, NotRead>>>);

impl Noted {
    fn all(&self) -> MutexGuard<'_, BTreeMap<Arc<RowName>, NotRead>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Says it in the log, the first time that it is seen. The list is bounded: a store of which so
    /// many rows do not read needs no further name.
    pub(super) fn note(&self, row: Arc<RowName>, why: NotRead) -> Unread {
        let unread = Unread { row, why };
        let mut all = self.all();
        if !all.contains_key(&unread.row) && all.len() < MOST_NAMED {
            tracing::error!(row = %unread.row, why = %unread.why, "a kept row does not read");
            all.insert(Arc::clone(&unread.row), unread.why.clone());
        }
        unread
    }
}

/// A kept text.
#[derive(Clone)]
pub struct KeptText {
    row: Arc<RowName>,
    form: u32,
    text: Private<String>,
    noted: Noted,
}

impl fmt::Debug for KeptText {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{} [private]", self.row)
    }
}

impl KeptText {
    /// Reads it by its form.
    ///
    /// # Errors
    /// [`Unread`] with its row, which is noted.
    pub fn read<T>(
        &self,
        reader: impl FnOnce(u32, &str) -> Result<T, NotRead>,
    ) -> Result<T, Unread> {
        readable(self.form)
            .and_then(|()| reader(self.form, self.text.open()))
            .map_err(|why| self.unread(why))
    }

    /// Its JSON.
    ///
    /// # Errors
    /// [`Unread`] with its row, which is noted.
    pub fn node(&self) -> Result<Node, Unread> {
        self.read(|_form, text| Ok(Node::parse(text)?))
    }

    /// That it does not read, for a reason that shows elsewhere.
    pub fn unread(&self, why: NotRead) -> Unread {
        self.noted.note(Arc::clone(&self.row), why)
    }

    /// Its words as they stand, read or not: for proofs and copies only.
    pub const fn as_it_stands(&self) -> &Private<String> {
        &self.text
    }
}

/// The columns by which a row of each kind is named; each reader of one selects them.
pub(super) struct Columns {
    pub(super) kind: Kind,
    pub(super) session: &'static str,
    pub(super) version: &'static str,
    pub(super) id: Option<&'static str>,
    pub(super) source: &'static str,
}

/// Of a row of `session`.
pub(super) const fn of_session(kind: Kind) -> Columns {
    Columns {
        kind,
        session: "id",
        version: "version",
        id: None,
        source: "source",
    }
}

/// Of a row of `precaution`.
pub(super) const OF_PRECAUTION: Columns = Columns {
    kind: Kind::Precaution,
    session: "session",
    version: "version",
    id: Some("id"),
    source: "source",
};

/// Of a row of `item`.
pub(super) const fn of_item(kind: Kind) -> Columns {
    Columns {
        kind,
        session: "session",
        version: "version",
        id: Some("id"),
        source: "source",
    }
}

/// Where the text of a document stands, and its form.
pub(super) const DOCUMENT: [&str; 2] = ["document", "form"];
/// The same of a record.
pub(super) const RECORD: [&str; 2] = ["record", "form"];
/// The same of a precaution.
pub(super) const STATED: [&str; 2] = ["stated", "form"];
/// The same of a receipt.
pub(super) const RECEIPT: [&str; 2] = ["receipt", "receipt_form"];

impl Columns {
    pub(super) fn name(&self, row: &Row) -> Result<Arc<RowName>, OutboxError> {
        Ok(Arc::new(RowName {
            kind: self.kind,
            session: row.try_get(self.session)?,
            version: row.try_get(self.version)?,
            id: self
                .id
                .map(|id| row.try_get::<String>(id))
                .transpose()?
                .unwrap_or_default(),
            source: row.try_get(self.source)?,
        }))
    }
}

impl Outbox {
    /// The text of a column, with the form that stands in another.
    pub(super) fn kept_text(
        &self,
        row: &Row,
        columns: &Columns,
        of: [&str; 2],
    ) -> Result<Option<KeptText>, OutboxError> {
        let [text, form] = of;
        let name = columns.name(row)?;
        let Ok(found) = row.try_get::<Option<String>>(text) else {
            let why = NotRead::Column("text");
            return Err(self.noted.note(name, why).into());
        };
        let Ok(form) = u32::try_from(row.try_get::<i64>(form)?) else {
            let why = NotRead::NoForm { form: 0 };
            return Err(self.noted.note(name, why).into());
        };
        Ok(found.map(|text| KeptText {
            row: name,
            form,
            text: Private::new(text),
            noted: self.noted.clone(),
        }))
    }

    /// The text of a column that is always there.
    pub(super) fn kept(
        &self,
        row: &Row,
        columns: &Columns,
        of: [&str; 2],
    ) -> Result<KeptText, OutboxError> {
        if let Some(kept) = self.kept_text(row, columns, of)? {
            return Ok(kept);
        }
        let why = NotRead::Column("text");
        Err(self.noted.note(columns.name(row)?, why).into())
    }

    /// The kept text of a row; nothing where it is gone, or was purged.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn kept_again(&self, name: &RowName) -> Result<Option<KeptText>, OutboxError> {
        let (statement, columns, of): (_, _, [&str; 2]) = match name.kind {
            Kind::Document => (OF_SESSION, of_session(name.kind), DOCUMENT),
            Kind::Record => (OF_SESSION, of_session(name.kind), RECORD),
            Kind::Precaution => (ONE_PRECAUTION, OF_PRECAUTION, STATED),
            Kind::Receipt | Kind::Delivery => (ONE_ITEM, of_item(name.kind), RECEIPT),
        };
        let mut asked = query(statement)
            .bind(&name.source)
            .bind(&name.session)
            .bind(name.version);
        if columns.id.is_some() {
            asked = asked.bind(&name.id);
        }
        let row = asked.fetch_optional(&self.pool).await?;
        let text = row.map(|row| self.kept_text(&row, &columns, of));
        Ok(text.transpose()?.flatten())
    }

    /// Rows that were seen not to read since the store was opened.
    pub fn noted_unread(&self) -> Vec<Unread> {
        let all = self.noted.all();
        let all = all.iter().map(|(row, why)| Unread {
            row: Arc::clone(row),
            why: why.clone(),
        });
        all.collect()
    }

    /// Takes a row off the list: it reads again, or is gone.
    pub fn forget_unread(&self, row: &RowName) {
        self.noted.all().remove(row);
    }

    /// Rows that a newer release wrote, whether anybody read them or not; each kind at most
    /// [`MOST_NAMED`].
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn newer(&self) -> Result<Vec<Unread>, OutboxError> {
        let mut newer = Vec::new();
        let kinds = [
            (NEWER_SESSIONS, of_session(Kind::Document), "form"),
            (NEWER_PRECAUTIONS, OF_PRECAUTION, "form"),
            (NEWER_RECEIPTS, of_item(Kind::Receipt), "receipt_form"),
        ];
        for (statement, columns, form) in kinds {
            let asked = query(statement).bind(FORM);
            for row in &asked.fetch_all(&self.pool).await? {
                let form = row.count(form)?;
                newer.push(Unread {
                    row: columns.name(row)?,
                    why: NotRead::Newer { form },
                });
            }
        }
        Ok(newer)
    }
}

const OF_SESSION: &str = "-- Outbox::kept_again (session)
     SELECT source, id, version, document, record, form FROM session
     WHERE source = $1 AND id = $2 AND version = $3 AND purged_at IS NULL";
const ONE_PRECAUTION: &str = "-- Outbox::kept_again (precaution)
     SELECT source, session, version, id, stated, form FROM precaution
     WHERE source = $1 AND session = $2 AND version = $3 AND id = $4 AND stated <> ''";
const ONE_ITEM: &str = "-- Outbox::kept_again (item)
     SELECT source, session, version, id, receipt, receipt_form FROM item
     WHERE source = $1 AND session = $2 AND version = $3 AND id = $4";
// The first condition of each is the one of the index that it walks.
const NEWER_SESSIONS: &str = "-- Outbox::newer (sessions)
     SELECT source, id, version, form FROM session WHERE form <> 1 AND form > $1 LIMIT 100";
const NEWER_PRECAUTIONS: &str = "-- Outbox::newer (precautions)
     SELECT source, session, version, id, form FROM precaution
     WHERE form <> 1 AND form > $1 LIMIT 100";
const NEWER_RECEIPTS: &str = "-- Outbox::newer (receipts)
     SELECT source, session, version, id, receipt_form FROM item
     WHERE receipt_form <> 1 AND receipt_form > $1 LIMIT 100";

/// Sees to it that a binary which asks for no form stops before it meets one that it does not know.
pub(super) async fn hold_older_off(
    transaction: &mut crate::delivery::outbox::engine::Transaction,
    form: u32,
) -> Result<(), OutboxError> {
    if form > 1 {
        query(
            "-- kept::hold_older_off
             UPDATE schema_use SET oldest = $1 WHERE oldest < $1",
        )
        .bind(KNOWS_FORMS)
        .execute(transaction)
        .await?;
    }
    Ok(())
}
