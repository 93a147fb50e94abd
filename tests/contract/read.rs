#![cfg(test)]
//! Read, vread and history.

use crate::people::{patient, unique};
use crate::server::{Server, clauses};

clauses!(
    read_gives_the_current_version_and_its_tag,
    vread_gives_an_older_version,
    history_lists_every_version_newest_first,
    what_was_never_here_is_not_found,
);

/// Makes a Patient of two versions: a birth date, and then another.
async fn changed(server: &Server) -> String {
    let body = patient(&unique());
    let made = server.made(&body).await;
    let id = made.strip_prefix("Patient/").expect("a Patient");
    let body = body.replacen('{', &format!("{{\"id\":\"{id}\","), 1);
    let body = body.replace("1950-01-01", "1951-01-01");
    let answer = server.put(&made, None, &body).await;
    assert_eq!(answer.status, 200, "{}", answer.text);
    made
}

/// Source: FHIR R4 (4.0.1), http.html#read: "Servers SHOULD return an `ETag` header with the
/// versionId of the resource"
async fn read_gives_the_current_version_and_its_tag(server: &Server) {
    let made = changed(server).await;

    let answer = server.get(&made).await;

    assert_eq!(answer.status, 200);
    assert_eq!(answer.header("etag"), "W/\"2\"");
    assert_eq!(answer.node().text_of("birthDate"), Some("1951-01-01"));
}

/// Source: FHIR R4 (4.0.1), http.html#vread: "The vread interaction performs a version specific
/// read of the resource."
async fn vread_gives_an_older_version(server: &Server) {
    let made = changed(server).await;

    let answer = server.get(&format!("{made}/_history/1")).await;

    assert_eq!(answer.status, 200);
    assert_eq!(answer.header("etag"), "W/\"1\"");
    assert_eq!(answer.node().text_of("birthDate"), Some("1950-01-01"));
    let absent = server.get(&format!("{made}/_history/99")).await;
    absent.refused(&[404]);
}

/// Source: FHIR R4 (4.0.1), http.html#history: "sorted with oldest versions last"
async fn history_lists_every_version_newest_first(server: &Server) {
    let made = changed(server).await;

    let history = server.get(&format!("{made}/_history")).await.node();

    assert_eq!(history.text_of("type"), Some("history"));
    let entries = history.items_of("entry");
    let versions: Vec<_> = entries
        .iter()
        .filter_map(|entry| entry.at(&["resource", "meta", "versionId"])?.text())
        .collect();
    assert_eq!(versions, ["2", "1"]);
    let methods = entries.iter();
    let methods: Vec<_> = methods
        .filter_map(|entry| entry.at(&["request", "method"])?.text())
        .collect();
    assert_eq!(methods, ["PUT", "POST"]);
}

/// Source: FHIR R4 (4.0.1), http.html#read: "a GET for a deleted resource returns a 410 status
/// code, whereas a GET for an unknown resource returns 404"
async fn what_was_never_here_is_not_found(server: &Server) {
    let answer = server.get(&format!("Patient/{}", unique())).await;

    answer.refused(&[404]);
}
