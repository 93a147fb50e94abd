#![cfg(test)]
//! What only a database that nodes share has to promise.

use crate::engine::{
    Engine, LONG, SHORT, Store, WARD, accepted, claim, database, delivered, postgres, say_to,
};
use fascicle::base::clock::{Clock, MachineClock};
use fascicle::delivery::outbox::place::Place;
use fascicle::delivery::outbox::{Outbox, OutboxError};
use sqlx::{Connection as _, Row as _};
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::time::Duration;

#[tokio::test]
async fn leases_go_by_the_clock_of_the_database_whatever_nodes_believe() {
    if postgres().is_none() {
        return;
    }
    let store = Store::new(Engine::Postgres).await;
    let other = store.other_node().await;
    accepted(&store.outbox, 1, 1).await;
    let hours = |hours: i64| MachineClock.now() + chrono::TimeDelta::hours(hours);

    // One node's clock is three hours behind, the other's three hours ahead.
    let held = store.outbox.claim(WARD, LONG, hours(-3)).await;
    let held = held
        .expect("answers")
        .expect("due at once, whatever it believes");
    let stolen = other.claim(WARD, LONG, hours(3)).await;

    assert!(stolen.expect("answers").is_none());
    let off = (held.claimed_at - MachineClock.now()).num_seconds().abs();
    assert!(off < 60 && held.until - held.claimed_at == chrono::TimeDelta::seconds(600));
    let sent = store.outbox.about_to_send(&held, true, hours(3)).await;
    assert!(sent.expect("answers"));
    assert!(delivered(&store.outbox, &held).await);

    accepted(&store.outbox, 2, 1).await;
    let short = store.outbox.claim(WARD, SHORT, hours(3)).await;
    let short = short.expect("answers").expect("the lane");
    tokio::time::sleep(SHORT.whole + Duration::from_millis(50)).await;
    let late = store.outbox.about_to_send(&short, true, hours(-3)).await;
    assert!(!late.expect("answers"));
    let next = other.claim(WARD, LONG, hours(-3)).await;
    assert!(next.expect("answers").is_some_and(|next| next.unknown));
}

#[tokio::test]
async fn a_locked_lane_is_passed_over_and_not_waited_for() {
    if postgres().is_none() {
        return;
    }
    let store = Store::new(Engine::Postgres).await;
    accepted(&store.outbox, 1, 1).await;
    accepted(&store.outbox, 2, 1).await;
    let mut blocking = store.connection().await;
    for statement in [
        "BEGIN",
        "SELECT 1 FROM lane WHERE subject = (SELECT subject FROM item ORDER BY due_at LIMIT 1) FOR UPDATE",
    ] {
        sqlx::query(statement)
            .execute(&mut blocking)
            .await
            .expect("locked");
    }

    let claims = async {
        let other = claim(&store.outbox, LONG).await.expect("the other lane");
        (other, claim(&store.outbox, LONG).await)
    };
    let at_once = tokio::time::timeout(Duration::from_secs(10), claims).await;
    let (other, none) = at_once.expect("no waiting");

    assert!(none.is_none());
    sqlx::query("ROLLBACK")
        .execute(&mut blocking)
        .await
        .expect("let go");
    let freed = claim(&store.outbox, LONG).await.expect("the locked lane");
    assert_ne!(freed.subject, other.subject);
}

#[tokio::test]
async fn a_password_comes_from_a_file_that_only_its_owner_reads() {
    if postgres().is_none() {
        return;
    }
    let plain = database().await;
    let password = "k\u{e4}se' brot";
    for statement in [
        "DO $$ BEGIN CREATE ROLE guarded LOGIN; EXCEPTION WHEN duplicate_object THEN NULL; END $$",
        &format!(
            "ALTER ROLE guarded PASSWORD '{}'",
            password.replace('\'', "''")
        ),
        "GRANT CREATE, USAGE ON SCHEMA public TO guarded",
    ] {
        say_to(&plain, statement).await;
    }
    let address = plain.replace("//fascicle@", "//guarded@");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("password");
    let opened = async |text: &str, mode: u32| {
        fs::write(&file, text).expect("written");
        let mode = fs::Permissions::from_mode(mode);
        fs::set_permissions(&file, mode).expect("its mode");
        let place = Place::named(&address, Some(file.clone())).expect("a place");
        Outbox::open_at(&place).await
    };

    let right = opened(&format!("{password}\n"), 0o600).await;
    let wrong = opened("wrong-password", 0o600).await;
    let open = opened(password, 0o644).await;
    let empty = opened("\n", 0o600).await;

    assert!(right.is_ok(), "{right:?}");
    let told = format!("{:?}", wrong.expect_err("refused"));
    assert!(!told.contains("wrong-password"), "{told}");
    for (refused, words) in [(open, "its mode is 644"), (empty, "in one line")] {
        let told = refused.expect_err("refused").to_string();
        assert!(told.contains(words), "{told}");
    }
}

#[tokio::test]
async fn the_server_is_held_against_its_certificate() {
    let Some(server) = postgres() else {
        return;
    };
    let mut connection = sqlx::PgConnection::connect(&server).await.expect("opens");
    let row = sqlx::query("SELECT pg_read_file('ca.pem')").fetch_one(&mut connection);
    let authority: String = row.await.expect("a row").get(0);
    let folder = tempfile::tempdir().expect("a folder");
    let (ours, other) = (
        folder.path().join("ours.pem"),
        folder.path().join("other.pem"),
    );
    fs::write(&ours, authority).expect("written");
    let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).expect("made");
    fs::write(&other, made.cert.pem()).expect("written");
    let opened = async |host: &str, authority: &Path| {
        let address = database().await.replace("127.0.0.1", host);
        let authority = authority.display();
        let address = format!("{address}?sslmode=verify-full&sslrootcert={authority}");
        Outbox::open_at(&Place::named(&address, None).expect("a place")).await
    };

    let right = opened("localhost", &ours).await;
    let wrong = opened("localhost", &other).await;

    assert!(right.is_ok(), "{right:?}");
    assert!(matches!(wrong, Err(OutboxError::Database(_))), "{wrong:?}");
    let protected = "SELECT count(*) FROM pg_stat_ssl JOIN pg_stat_activity USING (pid)
                     WHERE ssl AND application_name = 'fascicle'";
    let row = sqlx::query(protected).fetch_one(&mut connection).await;
    assert!(row.expect("a row").get::<i64, _>(0) > 0);
}

/// Between a lane being seen and being locked another node may have worked on it. Here the look is held
/// in the middle, after its snapshot, until everything has been delivered.
#[tokio::test]
async fn a_lane_that_changed_before_it_was_locked_is_not_taken() {
    if postgres().is_none() {
        return;
    }
    let store = Store::new(Engine::Postgres).await;
    let other = store.other_node().await;
    accepted(&store.outbox, 1, 1).await;
    for statement in [
        "ALTER TABLE item RENAME TO item_rows",
        "CREATE FUNCTION held_up() RETURNS boolean LANGUAGE plpgsql AS
         $$ BEGIN PERFORM pg_advisory_xact_lock_shared(1); RETURN TRUE; END $$",
        "CREATE VIEW item AS SELECT * FROM item_rows WHERE held_up()",
    ] {
        store.say(statement).await;
    }
    let mut holding = store.connection().await;
    let mut say = async |statement: &'static str| {
        let said = sqlx::query(statement).execute(&mut holding).await;
        said.expect("done");
    };
    say("SELECT pg_advisory_lock(1)").await;
    let claiming = tokio::spawn(async move { other.claim(WARD, LONG, MachineClock.now()).await });
    until_somebody_waits(&store).await;

    say("UPDATE lane SET token = 'x', lease_until = 1").await;
    say("UPDATE item_rows SET state = 'delivered'").await;
    say("UPDATE lane SET token = NULL, lease_until = NULL").await;
    say("SELECT pg_advisory_unlock(1)").await;

    let claimed = claiming
        .await
        .expect("no panic")
        .expect("the store answers");
    assert!(claimed.is_none());
}

/// The last look before a request leaves waits for whoever is taking the lane at that moment.
#[tokio::test]
async fn a_lane_that_is_being_taken_lets_nothing_leave() {
    if postgres().is_none() {
        return;
    }
    let store = Store::new(Engine::Postgres).await;
    accepted(&store.outbox, 1, 1).await;
    let slow = claim(&store.outbox, LONG).await.expect("the lane");
    let mut taking = store.connection().await;
    for statement in [
        "BEGIN",
        "UPDATE lane SET token = 'other', lease_until = lease_until + 1",
        "UPDATE item SET attempts = attempts + 1",
    ] {
        let said = sqlx::query(statement).execute(&mut taking).await;
        said.expect("done");
    }

    let (outbox, leased) = (store.outbox.clone(), slow.clone());
    let leaving = tokio::spawn(async move {
        outbox
            .about_to_send(&leased, true, MachineClock.now())
            .await
    });
    until_somebody_waits(&store).await;
    let said = sqlx::query("COMMIT").execute(&mut taking).await;
    said.expect("taken");

    let left = leaving.await.expect("no panic").expect("the store answers");
    assert!(!left);
}

async fn until_somebody_waits(store: &Store) {
    let waiting = "SELECT count(*) FROM pg_stat_activity
                   WHERE wait_event_type = 'Lock' AND datname = current_database()";
    let mut looking = store.connection().await;
    loop {
        let row = sqlx::query(waiting).fetch_one(&mut looking).await;
        if row.expect("a row").get::<i64, _>(0) > 0 {
            return;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
}
