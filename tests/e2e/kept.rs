#![cfg(test)]
//! What the state folder holds, and what is said of it.
#![expect(clippy::disallowed_methods, reason = "what was exported is a file")]

use crate::binary::{Run, Site};
use crate::document::{OBSERVATIONS, Person};
use crate::server::{Server, scenarios};
use fascicle::base::json::Node;
use serde_json::json;
use std::process::Command;

scenarios!(
    a_state_folder_belongs_to_its_server,
    a_session_that_was_given_up_is_never_told_as_done,
    a_session_behind_a_stuck_one_says_so,
    the_trail_is_exported_the_queue_is_filtered_and_an_address_leads_back_to_the_words,
);

fn a_state_folder_belongs_to_its_server(server: &Server) {
    let site = Site::new(&server.base());
    let person = Person::known(server);
    site.send(&[&site.document(&person.session())], 60).ended(0);

    let state = site.path("state").display().to_string();
    let elsewhere = ["send", "--state", &state, "--to", "http://127.0.0.1:9/fhir"];
    let run = fascicle(&elsewhere).ended(1);

    assert!(
        run.text.contains("stands for another record server"),
        "{}",
        run.text
    );
    let nowhere = site.path("no-such-folder").display().to_string();
    for command in ["queue", "trail"] {
        let run = fascicle(&[command, "--state", &nowhere]).ended(1);
        assert!(
            run.text.contains("no store in the state folder"),
            "{}",
            run.text
        );
    }
}

fn a_session_that_was_given_up_is_never_told_as_done(server: &Server) {
    let site = Site::new(&server.base());
    let file = site.document(&Person::unknown().session());
    let item = site.send(&[&file], 60).ended(5).item();
    let id = item.text_of("item").expect("an id").to_owned();

    let decision = [
        "--drop",
        &id,
        "--by",
        "a named person",
        "--why",
        "entered for nobody",
    ];
    site.run("queue", &decision).ended(0);
    let again = site.send(&[&file], 60).ended(5);

    assert_eq!(again.item().text_of("state"), Some("dropped"));
    let told = again
        .item()
        .text_of("decided")
        .unwrap_or_default()
        .to_owned();
    assert!(
        told.contains("by a named person") && told.contains("entered for nobody"),
        "{told}"
    );
    site.run("trail", &["--verify"]).ended(0);
}

fn a_session_behind_a_stuck_one_says_so(server: &Server) {
    let site = Site::new(&server.base());
    let person = Person::unknown();
    let files = [person.session(), person.session()].map(|one| site.document(&one));

    let run = site.send(&[&files[0], &files[1]], 60).ended(5);

    let [stuck, behind] = run.items().try_into().expect("two items");
    assert_eq!(stuck.text_of("reason"), Some("person.not-found"));
    assert_eq!(behind.text_of("state"), Some("queued"));
    assert_eq!(behind.text_of("behind"), stuck.text_of("item"));
    let shown = site.run("queue", &[]).text;
    assert!(
        shown.contains("--release") && shown.contains("waits behind item"),
        "{shown}"
    );
}

fn the_trail_is_exported_the_queue_is_filtered_and_an_address_leads_back_to_the_words(
    server: &Server,
) {
    let site = Site::new(&server.base());
    let (known, unknown) = (Person::known(server), Person::unknown());
    let files = [known.session(), unknown.session()].map(|one| site.document(&one));
    site.send(&[&files[0], &files[1]], 60).ended(5);
    let export = site.path("trail.ndjson").display().to_string();

    site.run("trail", &["--export", &export]).ended(0);
    let again = site.run("trail", &["--export", &export]).ended(1);

    let there = "there is a file of this name already";
    assert!(again.text.contains(there), "{}", again.text);
    let exported = std::fs::read_to_string(&export).expect("a file");
    let rows = exported.lines().map(|row| Node::parse(row).expect("JSON"));
    let exported: Vec<Node> = rows.collect();
    assert_eq!(exported, site.trail());
    let mode = std::os::unix::fs::MetadataExt::mode(&std::fs::metadata(&export).expect("a file"));
    assert_eq!(mode & 0o777, 0o600);
    for (more, states) in [
        (["--only", "delivered"], vec!["delivered"]),
        (["--only", "waiting"], vec!["waiting"]),
        (["--only", "queued"], vec![]),
        (["--target", "elsewhere"], vec![]),
        (["--target", "record-server"], vec!["waiting"]),
    ] {
        let found = site
            .run("queue", &[&more[..], &["--json"]].concat())
            .ended(0)
            .json();
        let found: Vec<&str> = found
            .items()
            .iter()
            .filter_map(|item| item.text_of("state"))
            .collect();
        assert_eq!(found, states, "{more:?}");
    }
    let lost = site.run("queue", &["--only", "lost"]).ended(1);
    let states = "states are queued, sending";
    assert!(lost.text.contains(states), "{}", lost.text);
    let event = site.run("trail", &["--event", "delivered"]).ended(0).text;
    assert_eq!(event.lines().count(), 1, "{event}");
    let items = site.queue();
    let delivered = items.iter().find_map(|item| item.member("receipt"));
    let first = &delivered.expect("a receipt").items_of("resources")[0];
    let address = format!(
        "{}/{}",
        server.base(),
        first.text_of("reference").expect("a place")
    );
    let behind = site.run("trail", &["--words", &address]).ended(0).text;
    for told in [
        "captured:",
        "rows of the tables",
        "measures.csv ",
        "source: ",
        "sent:",
    ] {
        assert!(behind.contains(told), "{told}: {behind}");
    }
}

#[test]
fn a_trail_whose_end_was_cut_off_does_not_verify() {
    let server = Server::practice();
    let site = Site::new(&server.base());
    let person = Person::known(&server);
    site.send(&[&site.document(&person.session())], 60).ended(0);
    let whole = site.run("trail", &["--verify"]).ended(0);
    let noted = whole
        .text
        .lines()
        .last()
        .and_then(|line| line.split(": ").nth(1));
    let noted = noted.expect("a hash").to_owned();

    let file = site.path("state/fascicle.sqlite");
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    runtime.block_on(async {
        let address = format!("sqlite://{}", file.display());
        let pool = sqlx::SqlitePool::connect(&address)
            .await
            .expect("the store");
        for statement in [
            "DROP TRIGGER trail_kept_whole",
            "DELETE FROM trail WHERE number = 4",
        ] {
            sqlx::query(statement).execute(&pool).await.expect("done");
        }
        pool.close().await;
    });

    let cut = site
        .run("trail", &["--verify", "--expect", &noted])
        .ended(1);
    for told in [
        "row 4 was written and is missing",
        "no row has the hash",
        "says otherwise",
    ] {
        assert!(cut.text.contains(told), "{told}: {}", cut.text);
    }
}

#[test]
fn a_correction_is_encoded_only_after_what_it_corrects() {
    let site = Site::new("http://127.0.0.1:9/fhir");
    let person = Person::unknown();
    let first = person.session();
    let mut second = first.clone();
    second.json["session"]["version"] = json!(2);
    second.json["session"]["signed"]["at"] = json!("2026-10-20T08:00:00+02:00");
    second.finding("range.passive.ankle.plantarflexion", "right")["value"]["beyond_neutral"] =
        json!("30");
    let (one, two) = (site.document(&first), site.document(&second));

    let alone = fascicle(&["encode", &two]).ended(1);
    let both = fascicle(&["encode", "--ndjson", &one, &two]).ended(0);

    assert!(alone.text.contains("encode.correction"), "{}", alone.text);
    let later = both.text.lines().nth(1).expect("a second Bundle");
    let later = Node::parse(later).expect("JSON");
    let entries = later.items_of("entry");
    let methods = entries
        .iter()
        .filter_map(|e| e.at(&["request", "method"])?.text());
    assert_eq!(
        methods.filter(|method| *method == "PUT").count(),
        OBSERVATIONS
    );
    let corrected = entries
        .iter()
        .filter(|e| e.at(&["resource", "status"]).and_then(Node::text) == Some("corrected"));
    // The finding, the difference between the sides that follows it, and the panel that tells of both.
    assert_eq!(corrected.count(), 3);
    let file = site.path("out.ndjson");
    let out = file.display().to_string();
    fascicle(&["encode", "--ndjson", "--out", &out, &one, &two]).ended(0);
    let mode = std::os::unix::fs::MetadataExt::mode(&std::fs::metadata(&file).expect("a file"));
    assert_eq!(mode & 0o777, 0o600);
    fascicle(&["check", &out]).ended(0);
}

fn fascicle(arguments: &[&str]) -> Run {
    Run::of(
        Command::new(env!("CARGO_BIN_EXE_fascicle"))
            .args(arguments)
            .output(),
    )
}
