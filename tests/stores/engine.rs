#![cfg(test)]
//! A store on one of the engines, and sessions sent to it.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "which real server to ask is told by a variable, and a test that does not run says so"
)]

use crate::document::{catalogue, edited, marked, now, set};
use fascicle::base::clock::{Clock, MachineClock};
use fascicle::base::code::Code;
use fascicle::base::code::reason::Reason;
use fascicle::base::json::Node;
use fascicle::base::private::Private;
use fascicle::delivery::outbox::place::Place;
use fascicle::delivery::outbox::{Item, LeaseLength, Leased, Outbox, Outcome};
use fascicle::service::app::submit::{Submitted, submit};
use sqlx::Connection as _;
use std::time::Duration;
use tempfile::TempDir;
use uuid::Uuid;

/// The one target.
pub(crate) const WARD: &str = "ward";

/// A lease that no test lives to see the end of.
pub(crate) const LONG: LeaseLength = LeaseLength {
    whole: Duration::from_mins(10),
    margin: Duration::from_mins(2),
};

/// A lease that a test can wait for.
pub(crate) const SHORT: LeaseLength = LeaseLength {
    whole: Duration::from_millis(400),
    margin: Duration::from_millis(60),
};

/// Where a store is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Engine {
    Sqlite,
    Postgres,
}

/// A store that is gone with the value; a database goes with its server.
pub(crate) struct Store {
    pub(crate) place: Place,
    pub(crate) outbox: Outbox,
    /// The folder, or the address of the database.
    pub(crate) address: String,
    /// Gone with the value.
    pub(crate) folder: TempDir,
}

/// The tests of a file on both engines.
macro_rules! on_both {
    ($($test:ident),+ $(,)?) => {
        mod sqlite {
            $(#[tokio::test]
            async fn $test() {
                super::$test(crate::engine::Engine::Sqlite).await;
            })+
        }
        mod postgres {
            $(#[tokio::test]
            async fn $test() {
                if crate::engine::postgres().is_some() {
                    super::$test(crate::engine::Engine::Postgres).await;
                }
            })+
        }
    };
}
pub(crate) use on_both;

/// The server for the tests, where one is named.
pub(crate) fn postgres() -> Option<String> {
    if let Ok(address) = std::env::var("FASCICLE_POSTGRES") {
        return Some(address);
    }
    let required = std::env::var("FASCICLE_REQUIRE_REAL").is_ok_and(|value| value == "1");
    assert!(!required, "FASCICLE_POSTGRES is unset and required");
    println!("not run: FASCICLE_POSTGRES is unset");
    None
}

/// A new database on the server, by its address.
pub(crate) async fn database() -> String {
    let server = postgres().expect("a server");
    let name = format!("test_{}", Uuid::new_v4().simple());
    let connection = sqlx::PgConnection::connect(&server).await;
    let statement = sqlx::AssertSqlSafe(format!("CREATE DATABASE {name}"));
    let made = sqlx::query(statement)
        .execute(&mut connection.expect("a connection"))
        .await;
    made.expect("a database");
    let (before, _) = server.rsplit_once('/').expect("an address");
    format!("{before}/{name}")
}

/// Says something to a database.
pub(crate) async fn say_to(address: &str, statement: &str) {
    let connection = sqlx::PgConnection::connect(address).await;
    let mut connection = connection.expect("a connection");
    let said = sqlx::query(sqlx::AssertSqlSafe(statement.to_owned()))
        .execute(&mut connection)
        .await;
    said.expect("done");
}

impl Store {
    pub(crate) async fn new(engine: Engine) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let address = match engine {
            Engine::Sqlite => folder.path().join("state").display().to_string(),
            Engine::Postgres => database().await,
        };
        let place = Place::named(&address, None).expect("a place");
        let outbox = Outbox::open_at(&place).await.expect("a store");
        outbox.bind_target(WARD, "0").await.expect("bound");
        Self {
            place,
            outbox,
            address,
            folder,
        }
    }

    /// The same store as another node sees it.
    pub(crate) async fn other_node(&self) -> Outbox {
        Outbox::open_at(&self.place).await.expect("a store")
    }

    /// Says something to the engine behind the back of the store: what only a forger or another version
    /// would say.
    pub(crate) async fn say(&self, statement: &str) {
        self.try_say(statement).await.expect("done");
    }

    pub(crate) async fn try_say(&self, statement: &str) -> Result<(), sqlx::Error> {
        if let Place::Folder(folder) = &self.place {
            let address = format!("sqlite://{}", folder.join("fascicle.sqlite").display());
            let mut connection = sqlx::SqliteConnection::connect(&address).await?;
            sqlx::query(sqlx::AssertSqlSafe(statement.to_owned()))
                .execute(&mut connection)
                .await?;
        } else {
            let mut connection = self.connection().await;
            sqlx::query(sqlx::AssertSqlSafe(statement.to_owned()))
                .execute(&mut connection)
                .await?;
        }
        Ok(())
    }

    /// A connection to its database.
    pub(crate) async fn connection(&self) -> sqlx::PgConnection {
        let connection = sqlx::PgConnection::connect(&self.address).await;
        connection.expect("a connection")
    }
}

/// A session of a person, by a number each.
pub(crate) fn session(person: u32, number: u32) -> String {
    let id = format!("\"{:08x}-0000-4000-8000-{number:012x}\"", person + 1);
    let value = format!("\"TEST-{person}\"");
    let edits = [
        ("/session/id", id.as_str()),
        ("/patient/identifier/value", value.as_str()),
    ];
    edited(&edits).compact()
}

/// The same in the second form of the document, with edits.
pub(crate) fn second_form(person: u32, number: u32, edits: &[(&str, &str)]) -> String {
    let mut document = Node::parse(&session(person, number)).expect("JSON");
    let form = [
        ("/fascicle", r#""session/2""#),
        ("/findings/6/value", r#"{"sensation":"normal"}"#),
    ];
    for (pointer, json) in form.iter().chain(edits) {
        set(
            &mut document,
            pointer,
            Some(Node::parse(json).expect("JSON")),
        );
    }
    marked(document).compact()
}

/// Submits a session of a person; its delivery.
pub(crate) async fn accepted(outbox: &Outbox, person: u32, number: u32) -> Item {
    accepted_text(outbox, &session(person, number)).await
}

/// Submits a document that holds; its delivery.
pub(crate) async fn accepted_text(outbox: &Outbox, text: &str) -> Item {
    let submitted = submit(outbox, catalogue(), &[WARD.to_owned()], text, now()).await;
    match submitted.expect("the store answers") {
        Submitted::Accepted { items, .. } => items[0].clone(),
        Submitted::Held(held) => panic!("{:?}", held.problems),
    }
}

/// Claims as a worker does.
pub(crate) async fn claim(outbox: &Outbox, lease: LeaseLength) -> Option<Leased> {
    let claimed = outbox.claim(WARD, lease, MachineClock.now()).await;
    claimed.expect("the store answers")
}

/// Ends an attempt as delivered; whether that was kept.
pub(crate) async fn delivered(outbox: &Outbox, leased: &Leased) -> bool {
    let receipt = "{}".to_owned();
    ended(outbox, leased, &Outcome::Delivered { receipt }).await
}

/// Ends an attempt; whether that was kept.
pub(crate) async fn ended(outbox: &Outbox, leased: &Leased, outcome: &Outcome) -> bool {
    let ended = outbox.finish(leased, outcome, MachineClock.now()).await;
    ended.expect("the store answers")
}

/// An outcome that waits for a person.
pub(crate) fn refused() -> Outcome {
    Outcome::Refused {
        reason: Reason::answered(Code::TargetRefused, 422),
        words: Private::new("no".to_owned()),
    }
}

/// What does not fit in the trail of a store.
pub(crate) async fn faults(outbox: &Outbox) -> Vec<String> {
    let verified = outbox.verify_trail(None).await;
    verified.expect("the store answers").faults
}
