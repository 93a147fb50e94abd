#![cfg(test)]
//! Create and conditional create.

use crate::people::{Finding, by_identifier, patient, unique};
use crate::server::{Server, clauses};

clauses!(
    create_answers_201_with_the_address_of_the_version,
    an_id_chosen_by_the_client_is_ignored,
    what_is_stored_carries_version_and_time,
    a_condition_that_finds_nothing_creates,
    a_condition_that_finds_one_creates_nothing,
    a_condition_that_finds_many_is_refused,
);

/// Source: FHIR R4 (4.0.1), http.html#create: "The server returns a 201 Created HTTP status
/// code, and SHALL also return a Location header which contains the new Logical Id and Version Id"
async fn create_answers_201_with_the_address_of_the_version(server: &Server) {
    let answer = server.post("Patient", &patient(&unique())).await;

    assert_eq!(answer.status, 201, "{}", answer.text);
    let location = answer.header("location");
    assert!(
        location.contains("/Patient/") && location.ends_with("/_history/1"),
        "{location}"
    );
    assert_eq!(answer.header("etag"), "W/\"1\"");
    assert!(answer.header("last-modified").ends_with("GMT"));
}

/// Source: FHIR R4 (4.0.1), http.html#create: "If an id is provided, the server SHALL ignore it."
async fn an_id_chosen_by_the_client_is_ignored(server: &Server) {
    let chosen = unique();
    let body = patient(&unique()).replacen('{', &format!("{{\"id\":\"{chosen}\","), 1);

    let made = server.made(&body).await;

    assert_ne!(made, format!("Patient/{chosen}"));
    assert_eq!(server.get(&format!("Patient/{chosen}")).await.status, 404);
}

/// Source: FHIR R4 (4.0.1), http.html#create: "The server SHALL populate the id,
/// meta.versionId and meta.lastUpdated with the new correct values."
async fn what_is_stored_carries_version_and_time(server: &Server) {
    let made = server.made(&patient(&unique())).await;

    let stored = server.get(&made).await.node();

    assert_eq!(stored.text_of("id"), made.strip_prefix("Patient/"));
    let meta = stored.member("meta").expect("meta");
    assert_eq!(meta.text_of("versionId"), Some("1"));
    assert!(meta.text_of("lastUpdated").is_some());
    let tag = meta.items_of("tag").first().expect("the tag that was sent");
    assert_eq!(tag.text_of("code"), Some("HTEST"));
}

/// Source: FHIR R4 (4.0.1), http.html#ccreate: "No matches: The server processes the create as
/// above"
async fn a_condition_that_finds_nothing_creates(server: &Server) {
    let name = unique();

    let answer = server
        .post_unless("Patient", &by_identifier(&name), &patient(&name))
        .await;

    assert_eq!(answer.status, 201, "{}", answer.text);
    assert_eq!(
        server
            .count(&format!("Patient?{}", by_identifier(&name)))
            .await,
        1
    );
}

/// Source: FHIR R4 (4.0.1), http.html#ccreate: "One Match: The server ignore the post and returns
/// 200 OK"
async fn a_condition_that_finds_one_creates_nothing(server: &Server) {
    let patient = server.made(&patient(&unique())).await;
    let finding = Finding::of(&patient);
    let first = server.made(&finding.json()).await;

    let condition = by_identifier(&finding.identifier);
    let answer = server
        .post_unless("Observation", &condition, &finding.json())
        .await;

    assert_eq!(answer.status, 200, "{}", answer.text);
    assert_eq!(
        server.found(&format!("Observation?{condition}")).await,
        [first]
    );
}

/// Source: FHIR R4 (4.0.1), http.html#ccreate: "Multiple matches: The server returns a 412
/// Precondition Failed error"
async fn a_condition_that_finds_many_is_refused(server: &Server) {
    let name = unique();
    server.made(&patient(&name)).await;
    server.made(&patient(&name)).await;

    let answer = server
        .post_unless("Patient", &by_identifier(&name), &patient(&name))
        .await;

    answer.refused(&[412]);
    assert_eq!(
        server
            .count(&format!("Patient?{}", by_identifier(&name)))
            .await,
        2
    );
}
