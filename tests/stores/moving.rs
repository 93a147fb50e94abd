#![cfg(test)]
//! A store is copied while it is in use, and moved from a folder into a database.

use crate::engine::{
    Engine, LONG, Store, WARD, accepted, accepted_text, claim, delivered, ended, faults, on_both,
    postgres, refused, say_to, second_form,
};
use fascicle::base::clock::{Clock, MachineClock};
use fascicle::delivery::outbox::contents::{Content, moved};
use fascicle::delivery::outbox::moving::{Moving, move_store};
use fascicle::delivery::outbox::place::{Database, Place};
use fascicle::delivery::outbox::{Decision, Outbox, OutboxError, State, WantedItems};
use sqlx::Connection as _;
use std::collections::BTreeSet;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

on_both!(
    a_move_carries_every_column_of_every_table_there_is,
    what_a_store_holds_is_told_by_count_and_hash,
);

/// A folder with something in every table, an attempt in the middle, and where it is to go.
async fn furnished() -> (Store, Outbox) {
    let store = Store::new(Engine::Sqlite).await;
    let outbox = store.outbox.clone();
    for person in 0..3 {
        for number in 1..=2 {
            accepted(&outbox, person, number).await;
        }
    }
    let first = claim(&outbox, LONG).await.expect("a lane");
    assert!(delivered(&outbox, &first).await);
    let second = claim(&outbox, LONG).await.expect("a lane");
    assert!(ended(&outbox, &second, &refused()).await);
    let (by, why) = ("A. Ward", "Ä \u{1f9e0} 'quoted' \"twice\"\n\\ and a line");
    let decided = outbox.decide(
        second.item.id,
        &Decision::Release,
        by,
        why,
        MachineClock.now(),
    );
    assert!(decided.await.expect("answers"));
    for paused in [true, false] {
        let changed = outbox
            .pause(WARD, paused, by, why, MachineClock.now())
            .await;
        changed.expect("answers");
    }
    assert!(claim(&outbox, LONG).await.is_some());
    (store, outbox)
}

/// An empty database.
async fn free() -> (String, Database) {
    let address = crate::engine::database().await;
    let Ok(Place::Database(database)) = Place::named(&address, None) else {
        panic!("{address}");
    };
    (address, *database)
}

fn folder(store: &Store) -> &Path {
    let Place::Folder(folder) = &store.place else {
        panic!("a folder");
    };
    folder
}

async fn what_a_store_holds_is_told_by_count_and_hash(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let before = store.outbox.contents().await.expect("answers");

    store.say("UPDATE item SET reason = 'other'").await;
    let after = store.outbox.contents().await.expect("answers");

    let rows = |of: &[Content]| {
        of.iter()
            .map(|one| (one.table, one.rows))
            .collect::<Vec<_>>()
    };
    assert_eq!(
        rows(&before),
        [
            ("target", 1),
            ("session", 1),
            ("precaution", 1),
            ("lane", 1),
            ("item", 1),
            ("trail", 2),
            ("target_decision", 0)
        ]
    );
    let changed = before.iter().zip(&after).filter(|(was, is)| was != is);
    assert_eq!(
        changed.map(|(was, _)| was.table).collect::<Vec<_>>(),
        ["item"]
    );
}

/// A column that is not listed would be lost in a move, and nothing would be told of it.
async fn a_move_carries_every_column_of_every_table_there_is(engine: Engine) {
    let store = Store::new(engine).await;
    let asked = match engine {
        Engine::Sqlite => {
            "SELECT tables.name || ' ' || columns.name FROM sqlite_master AS tables
             JOIN pragma_table_info(tables.name) AS columns WHERE tables.type = 'table'
               AND tables.name NOT LIKE 'sqlite%'"
        }
        Engine::Postgres => {
            "SELECT table_name || ' ' || column_name FROM information_schema.columns
             WHERE table_schema = 'public'"
        }
    };
    let there: Vec<String> = match engine {
        Engine::Sqlite => {
            let file = format!("sqlite://{}/fascicle.sqlite", store.address);
            let mut connection = sqlx::SqliteConnection::connect(&file).await.expect("opens");
            let rows = sqlx::query_scalar(asked).fetch_all(&mut connection);
            rows.await.expect("columns")
        }
        Engine::Postgres => {
            let mut connection = sqlx::PgConnection::connect(&store.address)
                .await
                .expect("opens");
            let rows = sqlx::query_scalar(asked).fetch_all(&mut connection);
            rows.await.expect("columns")
        }
    };
    // What the schema itself keeps is made anew at the other end.
    let own = ["_sqlx_migrations ", "schema_use ", "trail_end "];
    let there: BTreeSet<String> = there
        .into_iter()
        .filter(|one| !own.iter().any(|table| one.starts_with(table)))
        .collect();
    let carried: BTreeSet<String> = moved()
        .flat_map(|(table, columns)| columns.into_iter().map(move |one| format!("{table} {one}")))
        .collect();

    assert_eq!(carried, there);
}

#[tokio::test]
async fn a_moved_store_is_the_same_to_a_row_and_goes_on_where_it_was() {
    if postgres().is_none() {
        return;
    }
    let (store, outbox) = furnished().await;
    // Which binaries its rows are too new for is a part of what moves.
    accepted_text(&outbox, &second_form(8, 1, &[])).await;
    let was = outbox.contents().await.expect("answers");
    let trail = outbox.verify_trail(None).await.expect("answers");
    let generations = outbox.generations().await.expect("answers");
    assert_eq!(generations.0, 7);
    let from = folder(&store).to_owned();
    let kept = closed(store, outbox).await;
    let (_, database) = free().await;

    let moved = move_store(&from, &database).await.expect("moved");
    let again = move_store(&from, &database).await.expect("answers");

    assert_eq!(moved, Moving::Done(was.clone()));
    assert_eq!(again, Moving::Before);
    let to = Place::Database(Box::new(database));
    let there = Outbox::open_at(&to).await.expect("opens");
    assert_eq!(there.contents().await.expect("answers"), was);
    assert_eq!(there.generations().await.expect("answers"), generations);
    let verified = there.verify_trail(trail.last_hash.as_deref()).await;
    assert_eq!(verified.expect("answers"), trail);
    assert!(trail.faults.is_empty() && trail.rows > 10);
    // What was in the middle of an attempt is unknown here as well, once its lease has ended.
    let sending = WantedItems {
        state: Some(State::Sending),
        ..WantedItems::default()
    };
    assert_eq!(there.items_wanted(&sending).await.expect("items").len(), 1);
    accepted(&there, 7, 1).await;
    while let Some(leased) = claim(&there, LONG).await {
        assert!(delivered(&there, &leased).await);
    }
    let paused = there.pause(WARD, true, "A. Ward", "why", MachineClock.now());
    paused.await.expect("answers");
    assert!(faults(&there).await.is_empty());
    let refused = Outbox::open(&from).await.expect_err("it was moved");
    assert!(matches!(&refused, OutboxError::Moved(to) if to.contains("database test_")));
    drop(kept);
}

#[tokio::test]
async fn a_store_in_use_is_not_moved_and_nobody_opens_one_that_is() {
    if postgres().is_none() {
        return;
    }
    let (store, _outbox) = furnished().await;
    let (_, database) = free().await;

    let refused = move_store(folder(&store), &database).await;

    assert!(matches!(refused, Err(OutboxError::InUse)));
    assert!(claim(&store.outbox, LONG).await.is_some());
    let nothing = move_store(&folder(&store).join("elsewhere"), &database).await;
    assert!(matches!(nothing, Err(OutboxError::Missing)));
}

#[tokio::test]
async fn a_store_is_moved_to_an_empty_database_only() {
    if postgres().is_none() {
        return;
    }
    let (store, outbox) = furnished().await;
    let from = folder(&store).to_owned();
    let was = outbox.contents().await.expect("answers");
    let other = Store::new(Engine::Postgres).await;
    let Place::Database(database) = &other.place else {
        panic!("a database");
    };
    let kept = closed(store, outbox).await;

    let refused = move_store(&from, database).await;

    assert!(matches!(refused, Err(OutboxError::NotEmpty)));
    let still = Outbox::open(&from).await.expect("it is not moved");
    assert_eq!(still.contents().await.expect("answers"), was);
    drop(kept);
}

#[tokio::test]
async fn a_move_that_fails_leaves_everything_as_it_was() {
    if postgres().is_none() {
        return;
    }
    let (store, outbox) = furnished().await;
    let from = folder(&store).to_owned();
    let was = outbox.contents().await.expect("answers");
    let (address, database) = free().await;
    let to = Place::Database(Box::new(database.clone()));
    let there = Outbox::open_at(&to).await.expect("opens");
    let kept = closed(store, outbox).await;
    // The disk of the database is full in the middle, or it keeps something else than it was given.
    for fault in [
        "RAISE EXCEPTION SQLSTATE '53100'",
        "NEW.event = NEW.event || '.'; RETURN NEW",
    ] {
        for statement in [
            &format!(
                "CREATE OR REPLACE FUNCTION fault() RETURNS trigger LANGUAGE plpgsql AS
                 $$ BEGIN {fault}; END $$"
            ),
            "CREATE OR REPLACE TRIGGER fault BEFORE INSERT ON trail FOR EACH ROW
             WHEN (NEW.number = 5) EXECUTE FUNCTION fault()",
        ] {
            say_to(&address, statement).await;
        }

        let failed = move_store(&from, &database).await;

        let told = format!("{failed:?}");
        let expected = match failed {
            Err(OutboxError::Database(_)) => fault.starts_with("RAISE"),
            Err(OutboxError::Differs(table)) => table == "trail" && fault.starts_with("NEW"),
            _ => false,
        };
        assert!(expected, "{told}");
        let held = there.contents().await.expect("answers");
        assert!(held.iter().all(|one| one.rows == 0));
    }
    let still = Outbox::open(&from).await.expect("it is not moved");
    assert_eq!(still.contents().await.expect("answers"), was);
    still.close().await;
    drop(still);
    say_to(&address, "DROP TRIGGER fault ON trail").await;
    assert_eq!(
        move_store(&from, &database).await.expect("moved"),
        Moving::Done(was)
    );
    drop(kept);
}

#[tokio::test]
async fn a_move_that_was_interrupted_is_taken_up() {
    if postgres().is_none() {
        return;
    }
    let (store, outbox) = furnished().await;
    let from = folder(&store).to_owned();
    let was = outbox.contents().await.expect("answers");
    let (_, database) = free().await;
    let mark = format!("UPDATE schema_use SET moved_to = '{}'", database.words());
    // The folder was closed to use, and then the power went before the database had it.
    store.say(&mark).await;
    let kept = closed(store, outbox).await;

    let (_, elsewhere) = free().await;
    let other = move_store(&from, &elsewhere).await;
    let same = move_store(&from, &database).await;

    assert!(matches!(other, Err(OutboxError::Moved(_))));
    assert_eq!(same.expect("moved"), Moving::Done(was));
    drop(kept);
}

#[tokio::test]
async fn a_copy_is_whole_while_the_store_is_in_use_and_belongs_to_its_owner() {
    let (store, outbox) = furnished().await;
    let copy = folder(&store).join("copy.sqlite");

    assert!(outbox.copy_to(&copy).await.expect("copied"));
    let was = outbox.contents().await.expect("answers");
    let again = outbox.copy_to(&copy).await;
    accepted(&outbox, 9, 1).await;

    assert!(matches!(again, Err(OutboxError::Copy(_))));
    assert_eq!(
        std::fs::metadata(&copy).expect("a file").mode() & 0o777,
        0o600
    );
    let restored = folder(&store).join("restored");
    std::fs::create_dir(&restored).expect("a folder");
    std::fs::rename(&copy, restored.join("fascicle.sqlite")).expect("put there");
    let restored = Outbox::open(&restored).await.expect("opens");
    assert_eq!(restored.contents().await.expect("answers"), was);
    assert!(faults(&restored).await.is_empty());
}

/// Ends every use of a store and keeps its folder.
async fn closed(store: Store, outbox: Outbox) -> tempfile::TempDir {
    outbox.close().await;
    store.folder
}
