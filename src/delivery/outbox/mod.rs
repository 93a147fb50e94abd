//! Kept until delivered.
//!
//! Owns: durable state: sessions, precautions, lanes, leases, items, the trail, migrations; every
//! change of state writes its trail row in the same transaction. It is the one room that speaks
//! SQL. In: checked records; outcomes of attempts. Out: leased items; rows to read. Never: HTTP,
//! the meaning of what it keeps, a transaction that is open while we wait on the network.

mod accept;
pub mod alarm;
mod columns;
pub mod contents;
mod engine;
mod hand;
pub mod kept;
mod known;
mod lane;
pub mod moving;
pub mod offer;
mod open;
pub mod place;
mod postgres;
pub mod purge;
pub mod read;
mod rows;
pub mod schema;
mod sqlite;
mod state;
mod target;
pub mod trail;
mod turns;
pub mod verify;
mod work;

use crate::base::clock::Clock;
use crate::base::code::reason::Reason;
use crate::base::private::Private;
use crate::delivery::outbox::engine::Pool;
use crate::delivery::outbox::kept::{KeptText, Noted, Unread};
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use std::fs::File;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// Durable state: an `SQLite` file, or a PostgreSQL database that several nodes share.
#[derive(Clone)]
pub struct Outbox {
    pool: Pool,
    /// Generation of the schema that this binary knows.
    generation: i64,
    noted: Noted,
    /// By which leases are held, where it is told apart from the clock of whoever asks.
    clock: Option<Arc<dyn Clock>>,
    /// Keeps an opened file from being moved.
    _used: Option<Arc<File>>,
}

impl std::fmt::Debug for Outbox {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Outbox")
    }
}

/// What can go wrong with the store, never with a document.
#[derive(Debug, thiserror::Error)]
pub enum OutboxError {
    /// The database said no.
    #[error("the store answers with an error")]
    Database(#[from] sqlx::Error),
    /// The schema is newer than this binary, or damaged.
    #[error("the schema of the store does not fit this version of Fascicle")]
    Schema(#[from] sqlx::migrate::MigrateError),
    /// The folder or file cannot be made.
    #[error("the state folder cannot be used")]
    Folder(#[source] std::io::Error),
    /// A database elsewhere does not answer.
    #[error("the store does not answer")]
    Silent,
    /// The store is not for this binary.
    #[error(
        "the store is for generations {oldest} to {newest}, and this is {mine}; \
         use the version that the other nodes use"
    )]
    Generation {
        /// Of this binary.
        mine: i64,
        /// The oldest that may use the store.
        oldest: i64,
        /// The newest that may.
        newest: i64,
    },
    /// The store was moved.
    #[error("the store was moved to the {0}; name that one")]
    Moved(String),
    /// Somebody uses the store, or moves it.
    #[error("the store is in use; end what uses it first")]
    InUse,
    /// The database that a store is to be moved to holds something.
    #[error("the database is not empty; a store is moved to an empty one")]
    NotEmpty,
    /// A copy is not what was copied.
    #[error("the copy differs in table {0}; nothing was moved")]
    Differs(&'static str),
    /// A copy cannot be written.
    #[error("the copy cannot be written")]
    Copy(#[source] std::io::Error),
    /// The password of the database.
    #[error("the password of the store: {0}")]
    Password(place::Refused),
    /// There is none.
    #[error("there is no store in the state folder; send makes one")]
    Missing,
    /// The name of a target stands for another record server in this store.
    #[error("target {0} stands for another record server in this state folder")]
    OtherServer(String),
    /// A row does not read back.
    #[error("a row of the store does not read back: {0}")]
    Row(&'static str),
    /// Others changed what is known of the person each time a document was to be kept.
    #[error("others changed what is known of the person again and again; send it once more")]
    Contended,
    /// What is kept does not read, and what was asked for depends on it.
    #[error("{0}; nothing goes on as if it were not there")]
    Unread(Unread),
}

/// The life of one delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// Waits for its turn.
    Queued,
    /// A worker holds it.
    Sending,
    /// Nobody knows whether the server has it; resolved by searching.
    Unknown,
    /// The server has it, and it was read back.
    Delivered,
    /// The server refused its content.
    Refused,
    /// A person has to decide.
    Waiting,
    /// A person gave it up, with a reason.
    Dropped,
}

/// One delivery, as a person sees it in the queue.
#[derive(Debug, Clone)]
pub struct Item {
    /// Identity.
    pub id: Uuid,
    /// Target.
    pub target: String,
    /// Place in its lane.
    pub number: i64,
    /// Session.
    pub session: Uuid,
    /// Version of the session.
    pub version: u32,
    /// State.
    pub state: State,
    /// Attempts begun.
    pub attempts: u32,
    /// Not before.
    pub due_at: DateTime<Utc>,
    /// What holds it up.
    pub reason: Option<Reason>,
    /// What the server said.
    pub words: Option<Private<String>>,
    /// Where the resources lie, JSON.
    pub receipt: Option<KeptText>,
    /// When the session was accepted.
    pub accepted_at: DateTime<Utc>,
    /// Codes of what is urgent in the session; empty where nothing is.
    pub urgent: Vec<String>,
    /// The item at the head of its lane, when that is another one that does not move by itself.
    pub behind: Option<Uuid>,
    /// What persons decided about it, by whom and why.
    pub decided: Option<Private<String>>,
}

/// Which deliveries are asked for; everything where nothing is said.
#[derive(Debug, Clone, Default)]
pub struct WantedItems {
    /// Only those that are not done.
    pub open_only: bool,
    /// Only those in this state.
    pub state: Option<State>,
    /// Only those to this target.
    pub target: Option<String>,
    /// Only those of this session.
    pub session: Option<Uuid>,
}

/// Which rows of the trail are asked for; everything where nothing is said.
#[derive(Debug, Clone, Default)]
pub struct WantedRows {
    /// Only those of this session.
    pub session: Option<Uuid>,
    /// Only those about this target.
    pub target: Option<String>,
    /// Only those that tell of this event.
    pub event: Option<String>,
    /// Only those after the row of this number.
    pub after: i64,
    /// At most so many.
    pub most: Option<i64>,
}

/// A target as the store knows it.
#[derive(Debug, Clone)]
pub struct TargetHeld {
    /// Name.
    pub name: String,
    /// By whom, when and why it was paused; nothing while it is not.
    pub paused: Option<Private<String>>,
    /// How many deliveries are in each state.
    pub counts: BTreeMap<State, i64>,
    /// When the oldest session was accepted that is not done.
    pub oldest_open: Option<DateTime<Utc>>,
}

/// A target that is left alone because it failed again and again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftAlone {
    /// Since when.
    pub since: DateTime<Utc>,
    /// How often in a row it had failed.
    pub failures: u32,
    /// The last failure.
    pub reason: Reason,
}

/// What came of pausing a target, or of letting it go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pausing {
    /// It is so now.
    Changed,
    /// It was so before.
    AsItWas,
    /// The store knows no target of this name.
    NoSuchTarget,
}

/// What came of submitting a document.
#[derive(Debug, Clone)]
pub enum Accepted {
    /// New: one item for each target.
    New(Vec<Item>),
    /// The same content was accepted before; these are its items.
    Before(Vec<Item>),
}

/// Why a document that holds is not accepted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotAccepted {
    /// The same session and version was accepted with other content.
    OtherContent,
    /// The versions before it were not accepted; this one was expected.
    Version {
        /// The next version that would be accepted.
        expected: u32,
    },
    /// An earlier version belongs to another person; the subject never moves.
    OtherPerson,
    /// Its content was purged: there is nothing left to send, or to correct.
    Purged,
}

/// A delivery that this process holds until the lease ends.
#[derive(Debug, Clone)]
pub struct Leased {
    /// The item.
    pub item: Item,
    /// Source of its session.
    pub source: String,
    /// Its lane.
    pub subject: String,
    /// Token of the lease.
    pub token: Uuid,
    /// When it was claimed, by the clock that leases are held by.
    pub claimed_at: DateTime<Utc>,
    /// End of the lease, by the same clock.
    pub until: DateTime<Utc>,
    /// True when an earlier attempt may have reached the server.
    pub unknown: bool,
    /// When the last transaction left that may have arrived.
    pub sent_before: Option<DateTime<Utc>>,
    /// Transactions that left so far.
    pub sends: u32,
    /// The receipt of the version before at the same target, JSON.
    pub receipt_before: Option<KeptText>,
    /// The record as a transaction Bundle.
    pub record: KeptText,
    /// The document, for the cross-check of the person.
    pub document: KeptText,
    /// What held it up and a person released.
    pub confirmed: Vec<Reason>,
}

/// How an attempt ended.
#[derive(Debug, Clone)]
pub enum Outcome {
    /// The server has everything, read back; the receipt is JSON.
    Delivered {
        /// Where the resources lie.
        receipt: String,
    },
    /// The server refused the content.
    Refused {
        /// Why.
        reason: Reason,
        /// What the server said.
        words: Private<String>,
    },
    /// Nobody knows; look again at this time.
    Unknown {
        /// Why.
        reason: Reason,
        /// What the server said.
        words: Option<Private<String>>,
        /// When.
        due_at: DateTime<Utc>,
    },
    /// Nothing of this attempt was stored; try again at this time.
    Later {
        /// Why.
        reason: Reason,
        /// When.
        due_at: DateTime<Utc>,
    },
    /// A person has to decide.
    Waiting {
        /// Why.
        reason: Reason,
        /// What for.
        words: Private<String>,
    },
}

/// One row of the trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrailRow {
    /// Place.
    pub number: i64,
    /// When.
    pub at: String,
    /// What.
    pub event: String,
    /// Item.
    pub item: Option<String>,
    /// Target.
    pub target: Option<String>,
    /// Source of the session.
    pub source: String,
    /// Session.
    pub session: String,
    /// Version.
    pub version: i64,
    /// Codes, counts, hashes and references, JSON.
    pub detail: String,
    /// Hash over the one before and this row.
    pub sha256: String,
}

impl TrailRow {
    /// False for a row about a target as such.
    pub const fn of_session(&self) -> bool {
        self.version > 0
    }
}

/// A session as accepted.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Source.
    pub source: String,
    /// Identity.
    pub session: Uuid,
    /// Version.
    pub version: u32,
    /// Canonical document.
    pub document: KeptText,
    /// Transaction Bundle.
    pub record: KeptText,
    /// When.
    pub accepted_at: DateTime<Utc>,
}

/// How long a worker may hold a lane, and how long before its end it stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LeaseLength {
    /// The whole lease.
    pub whole: Duration,
    /// Work is cut off this long before the end.
    pub margin: Duration,
}

/// What a person may do with an item that is stuck.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Decision {
    /// Try again now; what held it up is confirmed where a person may confirm it.
    Release,
    /// Give it up.
    Drop,
}
