//! The two engines behind one way of speaking.
//!
//! A statement is written once where both engines understand it, and twice where they differ; both
//! number their parameters `$1`, `$2` and so on. Reading and binding know three kinds of value: text,
//! whole numbers and flags, because nothing else is kept.

use crate::delivery::outbox::{Outbox, OutboxError};
use chrono::{DateTime, Utc};
use sqlx::postgres::{PgPool, PgRow, Postgres};
use sqlx::sqlite::{Sqlite, SqlitePool, SqliteRow};
use sqlx::{
    AssertSqlSafe, Decode, PgTransaction, Row as _, SqlSafeStr, SqlStr, SqliteTransaction, Type,
};
use std::future::Future;
use std::time::Duration;

/// How long a statement may take on a database elsewhere. Whatever a dead connection was doing is
/// settled by whoever claims the lane next.
const PATIENCE: Duration = Duration::from_secs(30);

/// Connections to one store.
#[derive(Clone)]
pub(super) enum Pool {
    Sqlite(SqlitePool),
    Postgres(PgPool),
}

/// A transaction that is undone unless it is committed.
pub(super) enum Transaction {
    Sqlite(SqliteTransaction<'static>),
    Postgres(PgTransaction<'static>),
}

/// Where a statement is said.
pub(super) enum On<'a> {
    Pool(&'a Pool),
    Transaction(&'a mut Transaction),
}

impl<'a> From<&'a Pool> for On<'a> {
    fn from(pool: &'a Pool) -> Self {
        Self::Pool(pool)
    }
}

impl<'a> From<&'a mut Transaction> for On<'a> {
    fn from(transaction: &'a mut Transaction) -> Self {
        Self::Transaction(transaction)
    }
}

/// A value of a parameter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Value {
    Text(Option<String>),
    Number(Option<i64>),
    Flag(bool),
}

/// A statement with its parameters.
pub(super) struct Statement {
    sqlite: SqlStr,
    postgres: SqlStr,
    values: Vec<Value>,
}

/// A statement that both engines understand.
pub(super) fn query(both: impl SqlSafeStr) -> Statement {
    let both = both.into_sql_str();
    Statement {
        sqlite: both.clone(),
        postgres: both,
        values: Vec::new(),
    }
}

/// A statement that is said to each engine in its own words, with the same parameters.
pub(super) fn query_each(sqlite: &'static str, postgres: &'static str) -> Statement {
    Statement {
        sqlite: sqlite.into_sql_str(),
        postgres: postgres.into_sql_str(),
        values: Vec::new(),
    }
}

/// A statement that adds so many rows of so many columns to what its head names, as
/// `INSERT INTO table (column, …)` does.
pub(super) fn query_rows(head: &str, columns: usize, rows: usize) -> Statement {
    let rows: Vec<String> = (0..rows)
        .map(|row| format!("({})", numbered(row.saturating_mul(columns), columns)))
        .collect();
    query(AssertSqlSafe(format!("{head} VALUES {}", rows.join(", "))))
}

/// So many parameters after so many: `$3, $4` and so on.
pub(super) fn numbered(after: usize, many: usize) -> String {
    let places: Vec<String> = (1..=many)
        .map(|place| format!("${}", after.saturating_add(place)))
        .collect();
    places.join(", ")
}

/// Says a statement on whatever it is said on.
macro_rules! said {
    ($statement:expr, $on:expr, $say:ident) => {
        match $on.into() {
            On::Pool(Pool::Sqlite(pool)) => Ok($statement.sqlite().$say(pool).await?.into()),
            On::Transaction(Transaction::Sqlite(transaction)) => {
                Ok($statement.sqlite().$say(&mut **transaction).await?.into())
            }
            On::Pool(Pool::Postgres(pool)) => {
                Ok(patiently($statement.postgres().$say(pool)).await?.into())
            }
            On::Transaction(Transaction::Postgres(transaction)) => {
                let said = $statement.postgres().$say(&mut **transaction);
                Ok(patiently(said).await?.into())
            }
        }
    };
}

/// The time of a PostgreSQL, ms since 1970 UTC: `clock_timestamp` is the time of the asking, not that of
/// the begin of the transaction (postgresql.org/docs/15/functions-datetime.html, section 9.9.5).
macro_rules! clock_of_database {
    () => {
        "CAST(floor(extract(epoch FROM clock_timestamp()) * 1000) AS BIGINT)"
    };
}
pub(super) use clock_of_database;

/// Binds values to a statement of either engine.
macro_rules! bound {
    ($said:expr, $values:expr) => {
        $values.into_iter().fold($said, |said, value| match value {
            Value::Text(text) => said.bind(text),
            Value::Number(number) => said.bind(number),
            Value::Flag(flag) => said.bind(flag),
        })
    };
}

impl Statement {
    pub(super) fn bind(mut self, value: impl Into<Value>) -> Self {
        self.values.push(value.into());
        self
    }

    /// Says it and gives the number of rows it changed.
    pub(super) async fn execute(self, on: impl Into<On<'_>>) -> Result<u64, OutboxError> {
        let changed: Result<Changed, OutboxError> = said!(self, on, execute);
        Ok(changed?.0)
    }

    pub(super) async fn fetch_one(self, on: impl Into<On<'_>>) -> Result<Row, OutboxError> {
        said!(self, on, fetch_one)
    }

    pub(super) async fn fetch_optional(
        self,
        on: impl Into<On<'_>>,
    ) -> Result<Option<Row>, OutboxError> {
        let found: Result<Found, OutboxError> = said!(self, on, fetch_optional);
        Ok(found?.0)
    }

    pub(super) async fn fetch_all(self, on: impl Into<On<'_>>) -> Result<Vec<Row>, OutboxError> {
        let rows: Result<Rows, OutboxError> = said!(self, on, fetch_all);
        Ok(rows?.0)
    }

    fn sqlite(self) -> sqlx::query::Query<'static, Sqlite, sqlx::sqlite::SqliteArguments> {
        bound!(sqlx::query(self.sqlite), self.values)
    }

    fn postgres(self) -> sqlx::query::Query<'static, Postgres, sqlx::postgres::PgArguments> {
        bound!(sqlx::query(self.postgres), self.values)
    }
}

/// Waits for a database elsewhere, but not for ever: a connection whose other end is gone may not say
/// so for a long time.
async fn patiently<T>(
    said: impl Future<Output = Result<T, sqlx::Error>>,
) -> Result<T, OutboxError> {
    match tokio::time::timeout(PATIENCE, said).await {
        Ok(answered) => Ok(answered?),
        Err(_silent) => Err(OutboxError::Silent),
    }
}

/// A row of either engine.
pub(super) enum Row {
    Sqlite(SqliteRow),
    Postgres(PgRow),
}

impl Row {
    /// The value of a column.
    pub(super) fn try_get<'r, T>(&'r self, column: &str) -> Result<T, OutboxError>
    where
        T: Decode<'r, Sqlite> + Type<Sqlite> + Decode<'r, Postgres> + Type<Postgres>,
    {
        Ok(match self {
            Self::Sqlite(row) => row.try_get(column)?,
            Self::Postgres(row) => row.try_get(column)?,
        })
    }

    /// The value of a column that counts something.
    pub(super) fn count(&self, column: &str) -> Result<u32, OutboxError> {
        u32::try_from(self.try_get::<i64>(column)?)
            .map_err(|_too_large| OutboxError::Row("a count"))
    }
}

struct Changed(u64);
struct Found(Option<Row>);
struct Rows(Vec<Row>);

impl From<SqliteRow> for Row {
    fn from(row: SqliteRow) -> Self {
        Self::Sqlite(row)
    }
}

impl From<PgRow> for Row {
    fn from(row: PgRow) -> Self {
        Self::Postgres(row)
    }
}

impl<R: Into<Row>> From<Option<R>> for Found {
    fn from(found: Option<R>) -> Self {
        Self(found.map(R::into))
    }
}

impl<R: Into<Row>> From<Vec<R>> for Rows {
    fn from(rows: Vec<R>) -> Self {
        Self(rows.into_iter().map(R::into).collect())
    }
}

impl From<sqlx::sqlite::SqliteQueryResult> for Changed {
    fn from(result: sqlx::sqlite::SqliteQueryResult) -> Self {
        Self(result.rows_affected())
    }
}

impl From<sqlx::postgres::PgQueryResult> for Changed {
    fn from(result: sqlx::postgres::PgQueryResult) -> Self {
        Self(result.rows_affected())
    }
}

impl From<String> for Value {
    fn from(text: String) -> Self {
        Self::Text(Some(text))
    }
}

impl From<&String> for Value {
    fn from(text: &String) -> Self {
        Self::Text(Some(text.clone()))
    }
}

impl From<&str> for Value {
    fn from(text: &str) -> Self {
        Self::Text(Some(text.to_owned()))
    }
}

impl From<Option<String>> for Value {
    fn from(text: Option<String>) -> Self {
        Self::Text(text)
    }
}

impl From<&Option<String>> for Value {
    fn from(text: &Option<String>) -> Self {
        Self::Text(text.clone())
    }
}

impl From<Option<&'static str>> for Value {
    fn from(text: Option<&'static str>) -> Self {
        Self::Text(text.map(str::to_owned))
    }
}

impl From<i64> for Value {
    fn from(number: i64) -> Self {
        Self::Number(Some(number))
    }
}

impl From<u32> for Value {
    fn from(number: u32) -> Self {
        Self::Number(Some(i64::from(number)))
    }
}

impl From<Option<i64>> for Value {
    fn from(number: Option<i64>) -> Self {
        Self::Number(number)
    }
}

impl From<bool> for Value {
    fn from(flag: bool) -> Self {
        Self::Flag(flag)
    }
}

impl Pool {
    /// A transaction that may change something.
    pub(super) async fn begin(&self) -> Result<Transaction, OutboxError> {
        Ok(match self {
            Self::Sqlite(pool) => Transaction::Sqlite(pool.begin_with("BEGIN IMMEDIATE").await?),
            Self::Postgres(pool) => Transaction::Postgres(patiently(pool.begin()).await?),
        })
    }
}

impl Transaction {
    pub(super) async fn commit(self) -> Result<(), OutboxError> {
        match self {
            Self::Sqlite(transaction) => Ok(transaction.commit().await?),
            Self::Postgres(transaction) => patiently(transaction.commit()).await,
        }
    }

    /// The time by which leases are held. Nodes that share a database share its clock, whatever their
    /// own say; a store in a file has the clock of its machine, which is given. [`Outbox::begin`] asks
    /// for it with the bounds of the schema, so that it costs no question of its own.
    async fn now(&mut self, given: DateTime<Utc>) -> Result<DateTime<Utc>, OutboxError> {
        if matches!(self, Self::Sqlite(_)) {
            return Ok(given);
        }
        let row = query(concat!(
            "-- Transaction::now
             SELECT ",
            clock_of_database!(),
            " AS now"
        ))
        .fetch_one(self)
        .await?;
        crate::delivery::outbox::columns::instant(row.try_get("now")?)
    }
}

impl Outbox {
    /// A transaction whose reading stays true until it commits, as far as the locks go that it takes,
    /// and the time by which it works.
    ///
    /// On `SQLite` it takes the one write lock. On PostgreSQL nodes work beside each other, and the
    /// order of locks is the same everywhere, so that none waits for another in a circle: person, lane,
    /// item, trail.
    ///
    /// # Errors
    /// [`OutboxError::Generation`] when this binary may not use the store any more.
    pub(super) async fn begin(
        &self,
        given: DateTime<Utc>,
    ) -> Result<(Transaction, DateTime<Utc>), OutboxError> {
        let mut transaction = self.pool.begin().await?;
        let told = self.may_use(&mut transaction).await?;
        let now = match &self.clock {
            Some(clock) => clock.now(),
            None => told.unwrap_or(given),
        };
        Ok((transaction, now))
    }

    /// The time by which leases are held, asked within a transaction.
    pub(super) async fn now(
        &self,
        transaction: &mut Transaction,
        given: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, OutboxError> {
        match &self.clock {
            Some(clock) => Ok(clock.now()),
            None => transaction.now(given).await,
        }
    }

    /// A transaction in which everything that is read stood at one instant.
    pub(super) async fn snapshot(&self) -> Result<Transaction, OutboxError> {
        Ok(match &self.pool {
            Pool::Sqlite(pool) => Transaction::Sqlite(pool.begin().await?),
            Pool::Postgres(pool) => {
                let begun = pool.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY");
                Transaction::Postgres(patiently(begun).await?)
            }
        })
    }
}
