//! Connecting to PostgreSQL.

use crate::delivery::outbox::OutboxError;
use crate::delivery::outbox::place::Database;
use sqlx::postgres::{PgConnection, PgPool, PgPoolOptions};
use std::time::Duration;

/// Workers of a node and what it is asked beside them.
const MOST_CONNECTIONS: u32 = 12;

/// How long a database may be away before whoever asks is told: a client can submit again, and a worker
/// looks again by itself.
const PATIENCE: Duration = Duration::from_secs(5);

/// What the server is to hold a session to. A node that sleeps in the middle of a transaction must not
/// keep the others from working, and one that is gone has to be noticed (postgresql.org/docs/15,
/// runtime-config-client.html and runtime-config-connection.html).
const SESSION: [(&str, &str); 6] = [
    ("idle_in_transaction_session_timeout", "30s"),
    ("statement_timeout", "60s"),
    ("lock_timeout", "20s"),
    ("tcp_keepalives_idle", "15"),
    ("tcp_keepalives_interval", "5"),
    ("tcp_keepalives_count", "3"),
];

pub(super) async fn connect(database: &Database) -> Result<PgPool, OutboxError> {
    let options = database
        .options()?
        .application_name("fascicle")
        .options(SESSION);
    let pool = PgPoolOptions::new()
        .max_connections(MOST_CONNECTIONS)
        .acquire_timeout(PATIENCE)
        .after_connect(|connection, _of_pool| Box::pin(primary(connection)))
        .connect_with(options)
        .await?;
    Ok(pool)
}

/// Takes a connection to the primary only, and sees to it that a commit that returned survives a power
/// cut. What a site set that is stricter, such as waiting for a standby, stays
/// (postgresql.org/docs/15/runtime-config-wal.html, `synchronous_commit`).
async fn primary(connection: &mut PgConnection) -> Result<(), sqlx::Error> {
    let standby: bool = sqlx::query_scalar(
        "-- postgres::primary
         SELECT pg_is_in_recovery()",
    )
    .fetch_one(&mut *connection)
    .await?;
    if standby {
        return Err(sqlx::Error::Protocol(
            "the database is a standby".to_owned(),
        ));
    }
    sqlx::query(
        "-- postgres::primary (commits)
         SELECT set_config('synchronous_commit', 'on', FALSE)
         WHERE current_setting('synchronous_commit') = 'off'",
    )
    .execute(connection)
    .await?;
    Ok(())
}
