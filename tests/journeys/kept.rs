#![cfg(test)]
//! What the commands say of a kept row that does not read.

use crate::document::{catalogue, edited, now, sound};
use fascicle::delivery::outbox::Outbox;
use fascicle::service::app::submit::submit;
use sqlx::Connection as _;
use std::path::Path;
use std::process::Command;

const FIRST: &str = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10";
const NOWHERE: &str = "http://127.0.0.1:9/fhir";

/// Exit code, standard output and standard error of a command.
fn run(command: &str, state: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut built = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    built.arg(command).arg("--state").arg(state).args(arguments);
    let output = built.output().expect("it runs");
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// A store with the sound session, to which something was said behind its back.
async fn store(folder: &Path, statement: &str) -> String {
    let outbox = Outbox::open(folder).await.expect("a store");
    let base = fascicle::tables::catalogue::sha256_hex(NOWHERE.as_bytes());
    outbox.bind_target("record", &base).await.expect("bound");
    let targets = ["record".to_owned()];
    let text = sound().compact();
    let accepted = submit(&outbox, catalogue(), &targets, &text, now()).await;
    accepted.expect("the store answers");
    let kept = outbox.sessions().await.expect("sessions");
    let record = kept[0].record.node().expect("it reads");
    outbox.close().await;
    let file = folder.join("fascicle.sqlite");
    let connection = sqlx::SqliteConnection::connect(&format!("sqlite://{}", file.display()));
    let mut connection = connection.await.expect("a connection");
    let said = sqlx::query(sqlx::AssertSqlSafe(statement.to_owned()));
    said.execute(&mut connection).await.expect("done");
    let url = record.items_of("entry")[0].text_of("fullUrl");
    url.expect("a name").to_owned()
}

/// Ended as a fault, with the name of the row on standard error, and not a word about the person.
fn names(ended: &(Option<i32>, String, String), row: &str) {
    let (code, out, err) = ended;
    assert_eq!(*code, Some(70), "{out}{err}");
    assert!(err.contains(row), "{err}");
    assert!(
        !err.contains("Testperson") && !err.contains("fracture"),
        "{err}"
    );
}

#[tokio::test]
async fn send_names_the_precaution_that_does_not_read_and_accepts_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let damage = "UPDATE precaution SET stated = '{\"of_a_later_release\":1,' || substr(stated, 2)";
    store(folder.path(), damage).await;
    let edits = [
        ("/session/id", "\"7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a11\""),
        ("/precautions", ""),
        ("/no_precautions", "\"asked and looked up, none known\""),
    ];
    let next = folder.path().join("next.json");
    std::fs::write(&next, edited(&edits).compact()).expect("a file");

    let arguments = ["--to", NOWHERE, "--wait", "1", next.to_str().expect("text")];
    let ended = run("send", folder.path(), &arguments);

    let row = format!(
        "the precaution c2a7e0de-51b4-4f0c-8a92-5d7a4e1b9f31 of session {FIRST} version 1 does not \
         read as form 1"
    );
    names(&ended, &row);
    let outbox = Outbox::open(folder.path()).await.expect("a store");
    assert_eq!(outbox.sessions().await.expect("sessions").len(), 1);
}

#[tokio::test]
async fn summary_and_trail_words_name_the_document_that_does_not_read_and_print_no_part() {
    let folder = tempfile::tempdir().expect("a folder");
    let damage = "UPDATE session SET form = 9";
    let url = store(folder.path(), damage).await;
    let row = format!("of session {FIRST} version 1 was written by a newer release: form 9");

    for view in ["session", "handover", "discharge"] {
        let ended = run("summary", folder.path(), &["--of", FIRST, "--view", view]);
        names(&ended, &row);
        assert_eq!(ended.1, "", "a part of a summary reads as if it were whole");
    }
    let ended = run("trail", folder.path(), &["--words", &url]);
    names(&ended, &row);
    assert_eq!(ended.1, "");
}

#[tokio::test]
async fn queue_lists_everything_names_the_receipt_that_does_not_read_and_ends_as_a_fault() {
    let folder = tempfile::tempdir().expect("a folder");
    let damage = "UPDATE item SET state = 'delivered', receipt = '{\"resources\":'";
    store(folder.path(), damage).await;

    let people = run("queue", folder.path(), &["--all"]);
    let machines = run("queue", folder.path(), &["--all", "--json"]);

    let row = format!("of session {FIRST} version 1 does not read: not JSON");
    names(&people, &row);
    names(&machines, &row);
    assert!(
        people.1.contains("delivered") && people.1.contains(&row),
        "{}",
        people.1
    );
    assert!(machines.1.contains("\"unread\""), "{}", machines.1);
}
