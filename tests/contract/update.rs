#![cfg(test)]
//! Update, and what guards it against lost changes.

use crate::people::{patient, unique};
use crate::server::{Server, clauses};

clauses!(
    the_right_version_is_updated,
    the_wrong_version_is_refused,
    an_id_that_is_not_the_one_of_the_address_is_refused,
);

async fn made(server: &Server) -> (String, String) {
    let body = patient(&unique());
    let made = server.made(&body).await;
    let id = made.strip_prefix("Patient/").expect("a Patient");
    let body = body.replacen('{', &format!("{{\"id\":\"{id}\","), 1);
    (made, body.replace("1950-01-01", "1952-02-02"))
}

/// Source: FHIR R4 (4.0.1), http.html#concurrency: a client that wishes a version aware update
/// "submits the request with an If-Match header that quotes the `ETag` from the server"
async fn the_right_version_is_updated(server: &Server) {
    let (address, body) = made(server).await;

    let answer = server.put(&address, Some("W/\"1\""), &body).await;

    assert_eq!(answer.status, 200, "{}", answer.text);
    let stored = server.get(&address).await;
    assert_eq!(stored.header("etag"), "W/\"2\"");
    assert_eq!(stored.node().text_of("birthDate"), Some("1952-02-02"));
}

/// Source: FHIR R4 (4.0.1), http.html#concurrency: "If the version id given in the If-Match header
/// does not match, the server returns a 412 Precondition Failed status code instead of updating the
/// resource."
async fn the_wrong_version_is_refused(server: &Server) {
    let (address, body) = made(server).await;

    let answer = server.put(&address, Some("W/\"7\""), &body).await;

    // http.html#update lists both 409 and 412 for "version conflict management", and #concurrency
    // adds that "a 409 Conflict can be returned".
    answer.refused(if server.real { &[409, 412] } else { &[412] });
    let stored = server.get(&address).await.node();
    assert_eq!(stored.text_of("birthDate"), Some("1950-01-01"));
}

/// Source: FHIR R4 (4.0.1), http.html#update: "If no id element is provided, or the id disagrees
/// with the id in the URL, the server SHALL respond with an HTTP 400 error code"
async fn an_id_that_is_not_the_one_of_the_address_is_refused(server: &Server) {
    let (address, body) = made(server).await;
    let id = address.strip_prefix("Patient/").expect("a Patient");

    let other = body.replace(id, &unique());
    let answer = server.put(&address, None, &other).await;

    answer.refused(&[400]);
}
