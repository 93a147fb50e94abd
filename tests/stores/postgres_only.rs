#![cfg(test)]
//! What only a database that nodes share has to promise.

use crate::engine::{
    Engine, LONG, SHORT, Store, WARD, accepted, claim, database, delivered, postgres, say_to,
};
use fascicle::clock::{Clock, MachineClock};
use fascicle::outbox::place::Place;
use fascicle::outbox::{Outbox, OutboxError};
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
    let sent = store.outbox.about_to_send(&held, hours(3)).await;
    assert!(sent.expect("answers"));
    assert!(delivered(&store.outbox, &held).await);

    accepted(&store.outbox, 2, 1).await;
    let short = store.outbox.claim(WARD, SHORT, hours(3)).await;
    let short = short.expect("answers").expect("the lane");
    tokio::time::sleep(SHORT.whole + Duration::from_millis(50)).await;
    let late = store.outbox.about_to_send(&short, hours(-3)).await;
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
    for (refused, words) in [(open, "chmod 600"), (empty, "in one line")] {
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
