//! The schema of the store: its migrations, and which binaries may use it.
//!
//! A generation is the number of the last migration a binary knows. A migration that an older binary
//! can live with raises only `newest`; one that it cannot live with raises `oldest` as well.

use crate::delivery::outbox::columns::instant;
use crate::delivery::outbox::engine::{
    Pool, Row, Transaction, clock_of_database, query, query_each,
};
use crate::delivery::outbox::{Outbox, OutboxError};
use chrono::{DateTime, Utc};
use sqlx::migrate::{Migration, MigrationType, Migrator};
use std::borrow::Cow;

/// One landed migration of one engine.
#[derive(Debug, Clone, Copy)]
pub struct Step {
    /// The generation it makes.
    pub number: i64,
    /// What it is about.
    pub name: &'static str,
    /// What is said to the engine.
    pub sql: &'static str,
}

const fn step(number: i64, name: &'static str, sql: &'static str) -> Step {
    Step { number, name, sql }
}

/// Numbered and only added; `migrations/SUMS` holds what landed.
const SQLITE: &[Step] = &[
    step(1, "spine", include_str!("migrations/sqlite/0001_spine.sql")),
    step(2, "pause", include_str!("migrations/sqlite/0002_pause.sql")),
    step(
        3,
        "generations",
        include_str!("migrations/sqlite/0003_generations.sql"),
    ),
    step(
        4,
        "urgent",
        include_str!("migrations/sqlite/0004_urgent.sql"),
    ),
    step(5, "due", include_str!("migrations/sqlite/0005_due.sql")),
    step(
        6,
        "purged",
        include_str!("migrations/sqlite/0006_purged.sql"),
    ),
    step(7, "forms", include_str!("migrations/sqlite/0007_forms.sql")),
];

/// It begins with the generation in which the engine came.
const POSTGRES: &[Step] = &[
    step(
        3,
        "spine",
        include_str!("migrations/postgres/0003_spine.sql"),
    ),
    step(
        4,
        "urgent",
        include_str!("migrations/postgres/0004_urgent.sql"),
    ),
    step(5, "due", include_str!("migrations/postgres/0005_due.sql")),
    step(
        6,
        "purged",
        include_str!("migrations/postgres/0006_purged.sql"),
    ),
    step(
        7,
        "forms",
        include_str!("migrations/postgres/0007_forms.sql"),
    ),
];

/// What a binary knows of the schema.
#[derive(Debug, Clone)]
pub struct Schema {
    sqlite: Vec<Step>,
    postgres: Vec<Step>,
}

impl Schema {
    /// What this binary knows.
    pub fn of_this_binary() -> Self {
        Self {
            sqlite: SQLITE.to_vec(),
            postgres: POSTGRES.to_vec(),
        }
    }

    /// What a later binary would know: this and one more migration, said to both engines.
    #[must_use]
    pub fn followed_by(mut self, name: &'static str, sql: &'static str) -> Self {
        let number = self.generation().saturating_add(1);
        self.sqlite.push(step(number, name, sql));
        self.postgres.push(step(number, name, sql));
        self
    }

    /// What an earlier binary knew: no migration after this number.
    #[must_use]
    pub fn until(mut self, generation: i64) -> Self {
        self.sqlite.retain(|step| step.number <= generation);
        self.postgres.retain(|step| step.number <= generation);
        self
    }

    /// The number of the last migration.
    pub fn generation(&self) -> i64 {
        self.sqlite.last().map_or(0, |step| step.number)
    }

    /// Brings a store up to date, unless a newer binary did and this one may still use it.
    pub(super) async fn prepare(&self, pool: &Pool) -> Result<(), OutboxError> {
        let there = query_each(
            "-- Schema::prepare
             SELECT EXISTS (SELECT 1 FROM sqlite_master WHERE name = 'schema_use') AS there",
            "-- Schema::prepare
             SELECT to_regclass('schema_use') IS NOT NULL AS there",
        )
        .fetch_one(pool)
        .await?
        .try_get::<bool>("there")?;
        if there {
            let bounds = Bounds::of(pool).await?;
            bounds.not_after(self.generation())?;
            if self.generation() <= bounds.newest {
                return bounds.hold(self.generation());
            }
        }
        match pool {
            Pool::Sqlite(pool) => migrator(&self.sqlite).run(pool).await?,
            Pool::Postgres(pool) => migrator(&self.postgres).run(pool).await?,
        }
        Bounds::of(pool).await?.hold(self.generation())
    }
}

/// Which generations may use a store.
struct Bounds {
    oldest: i64,
    newest: i64,
    moved_to: Option<String>,
}

impl Bounds {
    async fn of(
        on: impl Into<crate::delivery::outbox::engine::On<'_>>,
    ) -> Result<Self, OutboxError> {
        let row = query(
            "-- schema::Bounds::of
             SELECT oldest, newest, moved_to FROM schema_use",
        );
        Self::read(&row.fetch_one(on).await?)
    }

    fn read(row: &Row) -> Result<Self, OutboxError> {
        Ok(Self {
            oldest: row.try_get("oldest")?,
            newest: row.try_get("newest")?,
            moved_to: row.try_get("moved_to")?,
        })
    }

    fn not_after(&self, mine: i64) -> Result<(), OutboxError> {
        if mine < self.oldest {
            return Err(OutboxError::Generation {
                mine,
                oldest: self.oldest,
                newest: self.newest,
            });
        }
        Ok(())
    }

    fn hold(self, mine: i64) -> Result<(), OutboxError> {
        self.not_after(mine)?;
        if mine > self.newest {
            return Err(OutboxError::Generation {
                mine,
                oldest: self.oldest,
                newest: self.newest,
            });
        }
        match self.moved_to {
            Some(to) => Err(OutboxError::Moved(to)),
            None => Ok(()),
        }
    }
}

impl Outbox {
    /// Asked in every transaction that changes something: another binary may have brought the store up
    /// to date since this one opened it. Gives the time of a database that has a clock of its own.
    pub(super) async fn may_use(
        &self,
        transaction: &mut Transaction,
    ) -> Result<Option<DateTime<Utc>>, OutboxError> {
        let row = query_each(
            "-- Outbox::may_use
             SELECT oldest, newest, moved_to, NULL AS now FROM schema_use",
            concat!(
                "-- Outbox::may_use
                 SELECT oldest, newest, moved_to, ",
                clock_of_database!(),
                " AS now FROM schema_use"
            ),
        )
        .fetch_one(transaction)
        .await?;
        Bounds::read(&row)?.hold(self.generation)?;
        let now: Option<i64> = row.try_get("now")?;
        now.map(instant).transpose()
    }
}

fn migrator(steps: &[Step]) -> Migrator {
    let migrations: Vec<Migration> = steps
        .iter()
        .map(|step| {
            let sql = sqlx::SqlSafeStr::into_sql_str(step.sql);
            let name = Cow::Borrowed(step.name);
            Migration::new(step.number, name, MigrationType::Simple, sql, false)
        })
        .collect();
    Migrator {
        migrations: Cow::Owned(migrations),
        ..Migrator::DEFAULT
    }
}

#[cfg(test)]
mod tests {
    use super::{POSTGRES, SQLITE, Schema, Step};
    use crate::tables::catalogue::sha256_hex;

    #[test]
    fn landed_migrations_are_as_they_landed() {
        let sums = |engine: &'static str, steps: &'static [Step]| {
            steps.iter().map(move |step| {
                let sum = sha256_hex(step.sql.as_bytes());
                format!("{sum} {engine}/{:04}_{}.sql\n", step.number, step.name)
            })
        };
        let both: String = sums("sqlite", SQLITE)
            .chain(sums("postgres", POSTGRES))
            .collect();

        assert_eq!(both, include_str!("migrations/SUMS"));
    }

    #[test]
    fn both_engines_are_of_one_generation() {
        let numbers = |steps: &[Step]| steps.iter().map(|step| step.number).collect::<Vec<_>>();
        let (sqlite, postgres) = (numbers(SQLITE), numbers(POSTGRES));

        assert_eq!(
            sqlite,
            (1..=Schema::of_this_binary().generation()).collect::<Vec<_>>()
        );
        // The first of PostgreSQL makes what all before it make in SQLite.
        assert!(sqlite.ends_with(&postgres) && !postgres.is_empty());
    }
}
