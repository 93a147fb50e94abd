//! The rows of accepted sessions, and bare commits of them.

use crate::stores::{Empty, Kind};
use sqlx::Row as _;
use sqlx::postgres::PgPoolOptions;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::task::JoinSet;

/// A value of a column; the store keeps these three kinds.
#[derive(Clone)]
enum Value {
    Text(Option<String>),
    Number(i64),
    Flag(bool),
}

/// What one session put into the store: a table and its values, in the order of writing.
pub(crate) struct Session(Vec<(usize, Vec<Value>)>);

struct Table {
    name: &'static str,
    /// With their kinds: t, n or f.
    columns: &'static [(&'static str, char)],
    /// The column that holds the session.
    session: &'static str,
}

const TABLES: [Table; 5] = [
    Table {
        name: "session",
        columns: &[
            ("source", 't'),
            ("id", 't'),
            ("version", 'n'),
            ("subject", 't'),
            ("document", 't'),
            ("document_sha256", 't'),
            ("record", 't'),
            ("accepted_at", 't'),
            ("examined_at", 'n'),
            ("withdrawn", 'f'),
            ("urgent", 't'),
        ],
        session: "id",
    },
    Table {
        name: "precaution",
        columns: &[
            ("source", 't'),
            ("session", 't'),
            ("version", 'n'),
            ("id", 't'),
            ("subject", 't'),
            ("stated", 't'),
            ("standing", 'f'),
        ],
        session: "session",
    },
    Table {
        name: "lane",
        columns: &[("target", 't'), ("subject", 't'), ("next_number", 'n')],
        session: "(SELECT item.session FROM item WHERE item.subject = lane.subject)",
    },
    Table {
        name: "item",
        columns: &[
            ("id", 't'),
            ("target", 't'),
            ("subject", 't'),
            ("number", 'n'),
            ("source", 't'),
            ("session", 't'),
            ("version", 'n'),
            ("state", 't'),
            ("attempts", 'n'),
            ("due_at", 'n'),
            ("sends", 'n'),
        ],
        session: "session",
    },
    Table {
        name: "trail",
        columns: &[
            ("number", 'n'),
            ("at", 't'),
            ("event", 't'),
            ("item", 't'),
            ("target", 't'),
            ("source", 't'),
            ("session", 't'),
            ("version", 'n'),
            ("detail", 't'),
            ("sha256", 't'),
        ],
        session: "session",
    },
];

fn names(table: &Table) -> String {
    let names: Vec<&str> = table.columns.iter().map(|(name, _)| *name).collect();
    names.join(", ")
}

/// As our own pool is opened, for a store in a file.
async fn sqlite(store: &Empty) -> sqlx::SqlitePool {
    let options = SqliteConnectOptions::new()
        .filename(store.file())
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .pragma("secure_delete", "ON")
        .pragma("cache_size", "-16384")
        .busy_timeout(Duration::from_secs(20));
    let pool = SqlitePoolOptions::new().max_connections(4);
    pool.connect_with(options).await.expect("a store")
}

async fn postgres(store: &Empty) -> sqlx::PgPool {
    let pool = PgPoolOptions::new().max_connections(12);
    pool.connect(&store.address).await.expect("a store")
}

/// What was written for each session.
pub(crate) async fn rows(kind: &Kind, store: &Empty) -> Vec<Session> {
    let mut sessions: std::collections::BTreeMap<String, Session> =
        std::collections::BTreeMap::new();
    for (number, table) in TABLES.iter().enumerate() {
        let select = format!(
            "SELECT {} AS of_session, {} FROM {}",
            table.session,
            names(table),
            table.name
        );
        macro_rules! read {
            ($pool:expr) => {{
                let pool = $pool;
                let select = sqlx::AssertSqlSafe(select);
                let rows = sqlx::query(select).fetch_all(&pool).await;
                for row in rows.expect("rows") {
                    let values = table.columns.iter().map(|(name, kind)| match kind {
                        't' => Value::Text(row.get(name)),
                        'n' => Value::Number(row.get(name)),
                        _flag => Value::Flag(row.get(name)),
                    });
                    let values = values.collect();
                    let of_session: String = row.get("of_session");
                    let session = sessions.entry(of_session);
                    let session = session.or_insert_with(|| Session(Vec::new()));
                    session.0.push((number, values));
                }
                pool.close().await;
            }};
        }
        match kind {
            Kind::Sqlite => read!(sqlite(store).await),
            Kind::Postgres(_) => read!(postgres(store).await),
        }
    }
    sessions.into_values().collect()
}

/// Writes the rows, a transaction for each session; how long it took. In a row, transactions write the
/// row of the end of the trail as well, which lets one of them commit after the other.
pub(crate) async fn commits(
    kind: &Kind,
    store: &Empty,
    sessions: Arc<Vec<Session>>,
    at_a_time: usize,
    in_a_row: bool,
) -> Duration {
    let inserts: Vec<String> = TABLES.iter().map(insert).collect();
    let inserts: Arc<Vec<&'static str>> =
        Arc::new(inserts.into_iter().map(|one| &*one.leak()).collect());
    macro_rules! write {
        ($pool:expr, $begin:literal) => {{
            let pool = $pool;
            // A connection is there before the clock runs, as it is on the other side.
            drop(pool.acquire().await.expect("a connection"));
            let began = Instant::now();
            let mut writing = JoinSet::new();
            for first in 0..at_a_time {
                let (pool, sessions) = (pool.clone(), Arc::clone(&sessions));
                let inserts = Arc::clone(&inserts);
                writing.spawn(async move {
                    for session in sessions.iter().skip(first).step_by(at_a_time) {
                        let begun = pool.begin_with($begin).await;
                        let mut transaction = begun.expect("a transaction");
                        let mut first_of_trail = in_a_row;
                        for (table, values) in &session.0 {
                            if first_of_trail && TABLES[*table].name == "trail" {
                                first_of_trail = false;
                                let said = sqlx::query("UPDATE trail_end SET number = number + 2");
                                said.execute(&mut *transaction).await.expect("written");
                            }
                            let mut said = sqlx::query(inserts[*table]);
                            for value in values {
                                said = match value {
                                    Value::Text(text) => said.bind(text.clone()),
                                    Value::Number(number) => said.bind(*number),
                                    Value::Flag(flag) => said.bind(*flag),
                                };
                            }
                            said.execute(&mut *transaction).await.expect("written");
                        }
                        transaction.commit().await.expect("committed");
                    }
                });
            }
            while let Some(ended) = writing.join_next().await {
                ended.expect("it ends");
            }
            let took = began.elapsed();
            pool.close().await;
            took
        }};
    }
    match kind {
        Kind::Sqlite => write!(sqlite(store).await, "BEGIN IMMEDIATE"),
        Kind::Postgres(_) => write!(postgres(store).await, "BEGIN"),
    }
}

fn insert(table: &Table) -> String {
    let places: Vec<String> = (1..=table.columns.len())
        .map(|one| format!("${one}"))
        .collect();
    format!(
        "INSERT INTO {} ({}) VALUES ({})",
        table.name,
        names(table),
        places.join(", ")
    )
}
