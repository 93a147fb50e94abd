//! What every request is answered with.

use crate::base::clock::Clock;
use crate::practice::guard::Guard;
use crate::practice::interaction::Hand;
use crate::practice::outcome::Fault;
use sqlx::{Sqlite, SqlitePool, Transaction};
use std::sync::Arc;

/// What every request is answered with.
#[derive(Debug, Clone)]
pub(super) struct Shared {
    /// The store; one connection, so that one request changes it at a time.
    pub(super) pool: SqlitePool,
    /// The time.
    pub(super) clock: Arc<dyn Clock>,
    /// Who is let in; everyone when `None`.
    pub(super) guard: Option<Guard>,
}

impl Shared {
    /// Opens a transaction that may write.
    pub(super) async fn begin(&self) -> Result<Transaction<'static, Sqlite>, Fault> {
        Ok(self.pool.begin_with("BEGIN IMMEDIATE").await?)
    }

    /// The hand that works in an open transaction.
    pub(super) fn hand<'a>(
        &self,
        open: &'a mut Transaction<'static, Sqlite>,
        base: &'a str,
    ) -> Hand<'a> {
        Hand {
            connection: open,
            base,
            now: self.clock.now(),
        }
    }
}
