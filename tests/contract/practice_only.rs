#![cfg(test)]
//! What only the practice server promises.

use crate::people::{Finding, by_identifier, patient, unique};
use crate::server::{FHIR, Server};
use fascicle::base::clock::MachineClock;
use fascicle::base::private::Private;
use fascicle::practice::{Guard, Practice, PracticeError};
use reqwest::Method;
use std::sync::Arc;
use std::time::Duration;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_conditional_creates_at_once_make_one() {
    let server = Server::practice().await;
    for _ in 0..20 {
        let name = unique();
        let condition = by_identifier(&name);
        let body = patient(&name);

        let (one, two) = tokio::join!(
            server.post_unless("Patient", &condition, &body),
            server.post_unless("Patient", &condition, &body),
        );

        let mut statuses = [one.status, two.status];
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 201]);
        assert_eq!(one.made(), two.made());
        assert_eq!(server.count(&format!("Patient?{condition}")).await, 1);
    }
}

#[tokio::test]
async fn every_answer_says_that_this_is_no_record_system() {
    let server = Server::practice().await;
    for path in ["metadata", "Patient", "Patient/none", "Colour", "a/b/c/d/e"] {
        let answer = server.get(path).await;
        assert_eq!(
            answer.header("x-fascicle-practice"),
            "not a record system",
            "{path}"
        );
    }
    let description = server.get("metadata").await.node();
    let description = description.text_of("description").expect("a description");
    assert!(description.contains("not a record system"), "{description}");
}

#[tokio::test]
async fn an_update_of_the_same_content_is_a_new_version() {
    let server = Server::practice().await;
    let made = server.made(&patient(&unique())).await;
    let body = server.get(&made).await.text;

    let answer = server.put(&made, None, &body).await;

    assert_eq!(answer.status, 200);
    assert_eq!(answer.header("etag"), "W/\"2\"");
}

#[tokio::test]
async fn a_client_may_not_choose_an_id() {
    let server = Server::practice().await;
    let id = unique();
    let body = patient(&unique()).replacen('{', &format!("{{\"id\":\"{id}\","), 1);

    let answer = server.put(&format!("Patient/{id}"), None, &body).await;

    answer.refused(&[405]);
    assert_eq!(answer.header("allow"), "GET");
}

#[tokio::test]
async fn what_is_deleted_is_gone_but_its_versions_stay() {
    let server = Server::practice().await;
    let person = server.made(&patient(&unique())).await;
    let finding = server.made(&Finding::of(&person).json()).await;
    let delete = async |path: &str| server.ask(Method::DELETE, path, &[], String::new()).await;

    delete(&person).await.refused(&[409]);
    assert_eq!(delete(&finding).await.status, 204);
    assert_eq!(delete(&person).await.status, 204);
    // http.html#delete: also "if the resource does not exist at all".
    assert_eq!(delete(&person).await.status, 204);
    assert_eq!(delete("Patient/none").await.status, 204);

    server.get(&finding).await.refused(&[410]);
    assert_eq!(
        server.get(&format!("{finding}/_history/1")).await.status,
        200
    );
    assert_eq!(server.count("Observation").await, 0);
}

#[tokio::test]
async fn an_outcome_names_paths_and_never_values() {
    let server = Server::practice().await;
    let mut finding = Finding::of("Patient/Zebrafinch");
    finding.status = r#""status":"Zebrafinch","#;
    finding.more = r#""performer":[{"reference":"Practitioner/Zebrafinch"}],"#;

    for answer in [
        server.post("Observation", &finding.json()).await,
        server
            .post("Observation", "{\"resourceType\":\"Zebrafinch\"}")
            .await,
        server.post("Observation", "{\"Zebrafinch").await,
        server.get("Observation?date=Zebrafinch").await,
        server.get("Patient/Zebrafinch").await,
    ] {
        assert!(answer.status >= 400, "{}", answer.text);
        assert!(!answer.text.contains("Zebrafinch"), "{}", answer.text);
    }
}

#[tokio::test]
async fn a_guarded_server_asks_for_its_secret() {
    let secret = || Private::new("open sesame".to_owned());
    let basic = Guard::Basic {
        name: "practice".to_owned(),
        password: secret(),
    };
    for (guard, header, scheme) in [
        (Guard::Bearer(secret()), "Bearer open sesame", "Bearer"),
        (basic, "Basic cHJhY3RpY2U6b3BlbiBzZXNhbWU=", "Basic"),
    ] {
        let practice = Practice::open(None, Arc::new(MachineClock)).await;
        let practice = practice.expect("a practice server").guarded(guard);
        let server = Server::serving(practice).await;

        let without = server.get("metadata").await;
        let headers = [("authorization", header)];
        let with = server
            .ask(Method::GET, "metadata", &headers, String::new())
            .await;

        without.refused(&[401]);
        assert!(without.header("www-authenticate").starts_with(scheme));
        assert_eq!(with.status, 200);
    }
}

#[tokio::test]
async fn only_loopback_is_served() {
    let practice = Practice::open(None, Arc::new(MachineClock)).await;
    let practice = practice.expect("a practice server");
    let everywhere = tokio::net::TcpListener::bind("0.0.0.0:0").await;

    let served = practice.serve(everywhere.expect("a free port"), std::future::pending());

    assert!(matches!(served.await, Err(PracticeError::NotLoopback)));
}

#[tokio::test]
async fn a_file_keeps_what_was_stored_and_is_its_owners_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("practice.db");
    let open = async || Practice::open(Some(&path), Arc::new(MachineClock)).await;
    let server = Server::serving(open().await.expect("a new file")).await;
    let made = server.made(&patient(&unique())).await;

    let again = Server::serving(open().await.expect("the same file")).await;

    assert_eq!(again.get(&made).await.status, 200);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let permissions = std::fs::metadata(&path)
            .expect("a file")
            .permissions()
            .mode();
        assert_eq!(permissions & 0o777, 0o600);
    }
}

#[tokio::test]
async fn the_address_of_this_server_may_stand_before_a_reference() {
    let server = Server::practice().await;
    let person = server.made(&patient(&unique())).await;
    let absolute = format!("{}/{person}", server.base);
    let made = server.made(&Finding::of(&absolute).json()).await;

    for query in [format!("subject={absolute}"), format!("patient={person}")] {
        let found = server.found(&format!("Observation?{query}")).await;
        assert_eq!(found, std::slice::from_ref(&made), "{query}");
    }
}

#[tokio::test]
async fn other_text_than_json_is_neither_read_nor_written() {
    let server = Server::practice().await;

    let accept = [("accept", "application/fhir+xml")];
    let written = server
        .ask(Method::GET, "Patient", &accept, String::new())
        .await;
    let form = [("content-type", FHIR)];
    let read = server
        .ask(Method::POST, "Patient/_search", &form, String::new())
        .await;

    written.refused(&[406]);
    read.refused(&[415]);
    server.get("Patient?_sort=name").await.refused(&[400]);
}

/// A client that goes away in the middle undoes nothing and breaks nothing: the store of a server in
/// memory lives in one connection, and lives on.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_client_that_goes_away_does_not_take_the_store_with_it() {
    let server = Server::practice().await;
    let kept = server.made(&patient(&unique())).await;

    for turn in 0..400 {
        let body = patient(&unique());
        let asked = server.post("Patient", &body);
        let _gone = tokio::time::timeout(Duration::from_micros(turn * 10), asked).await;
    }

    assert_eq!(server.get(&kept).await.status, 200);
    let after = server.post("Patient", &patient(&unique())).await;
    assert_eq!(after.status, 201);
}
