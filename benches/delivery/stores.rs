//! New stores of either kind.

use fascicle::delivery::outbox::place::Place;
use sqlx::Connection as _;
use tempfile::TempDir;
use uuid::Uuid;

/// Where stores of a kind are made.
#[derive(Clone)]
pub(crate) enum Kind {
    Sqlite,
    /// On the server at this address.
    Postgres(String),
}

/// A new, empty place for a store; a folder is gone with the value.
pub(crate) struct Empty {
    pub(crate) address: String,
    _folder: TempDir,
}

pub(crate) fn kinds() -> Vec<Kind> {
    let postgres = std::env::var("FASCICLE_POSTGRES").ok();
    let postgres = postgres.map(Kind::Postgres);
    [Kind::Sqlite].into_iter().chain(postgres).collect()
}

pub(crate) fn words() -> &'static str {
    if kinds().len() > 1 {
        "the one at FASCICLE_POSTGRES"
    } else {
        "not run, FASCICLE_POSTGRES is unset"
    }
}

impl Kind {
    pub(crate) const fn name(&self) -> &'static str {
        match self {
            Self::Sqlite => "SQLite",
            Self::Postgres(_) => "PostgreSQL",
        }
    }

    pub(crate) async fn empty(&self) -> Empty {
        // Below target, because a temporary folder may be memory, where a commit costs nothing.
        let below = env!("CARGO_TARGET_TMPDIR");
        let folder = tempfile::tempdir_in(below).expect("a folder");
        let address = match self {
            Self::Sqlite => folder.path().display().to_string(),
            Self::Postgres(server) => {
                let name = format!("bench_{}", Uuid::new_v4().simple());
                let connected = sqlx::PgConnection::connect(server).await;
                let mut connection = connected.expect("the server answers");
                let create = sqlx::AssertSqlSafe(format!("CREATE DATABASE {name}"));
                let created = sqlx::query(create).execute(&mut connection).await;
                created.expect("a database");
                let (before, _) = server.rsplit_once('/').expect("an address");
                format!("{before}/{name}")
            }
        };
        Empty {
            address,
            _folder: folder,
        }
    }
}

impl Empty {
    pub(crate) fn place(&self) -> Place {
        Place::named(&self.address, None).expect("a place")
    }

    /// The file of a store in a folder.
    pub(crate) fn file(&self) -> String {
        format!("{}/fascicle.sqlite", self.address)
    }
}
