#![cfg(test)]
//! What a server does not take.
#![expect(
    clippy::print_stdout,
    reason = "what R4 leaves to the server is reported, not asserted"
)]

use crate::people::{Finding, patient, unique};
use crate::server::{Server, clauses};
use reqwest::Method;

clauses!(
    what_is_not_json_is_refused,
    another_media_type_is_refused,
    an_unknown_type_is_refused,
    a_resource_of_another_type_is_refused,
    an_observation_without_status_is_refused,
    a_value_beside_a_reason_for_its_absence_is_refused,
    a_reference_to_nothing_is_refused,
);

/// Source: FHIR R4 (4.0.1), http.html#create: "400 Bad Request - resource could not be parsed or
/// failed basic FHIR validation rules"
async fn what_is_not_json_is_refused(server: &Server) {
    let answer = server
        .post("Patient", "{\"resourceType\":\"Patient\",")
        .await;

    // http.html#create: "In practice, servers may also return 5xx errors in these cases without
    // being deemed non-conformant."
    answer.refused(if server.real { &[400, 500] } else { &[400] });
}

/// Source: FHIR R4 (4.0.1), http.html#mime-type: 415 stands there for a format that the server does
/// not read, as in RFC 9110, section 15.5.16.
async fn another_media_type_is_refused(server: &Server) {
    let headers = [("content-type", "text/plain")];

    let body = patient(&unique());
    let answer = server.ask(Method::POST, "Patient", &headers, body).await;

    // R4 does not oblige a server to 415, so 400 is allowed as well.
    let allowed: &[u16] = if server.real { &[400, 415] } else { &[415] };
    assert!(allowed.contains(&answer.status), "{}", answer.status);
}

/// Source: FHIR R4 (4.0.1), http.html#create: "404 Not Found - resource type not supported, or not a
/// FHIR end-point"
async fn an_unknown_type_is_refused(server: &Server) {
    let answer = server.post("Colour", "{\"resourceType\":\"Colour\"}").await;

    // Which of the two faults is seen first, the address or the body, is the server's choice.
    answer.refused(if server.real { &[400, 404] } else { &[404] });
}

/// Source: FHIR R4 (4.0.1), http.html#create: the resource is posted to the address of its type.
async fn a_resource_of_another_type_is_refused(server: &Server) {
    let answer = server.post("Observation", &patient(&unique())).await;

    answer.refused(&[400, 422]);
}

/// Source: FHIR R4 (4.0.1), http.html#create: "422 Unprocessable Entity - the proposed resource
/// violated applicable FHIR profiles or server business rules"
async fn an_observation_without_status_is_refused(server: &Server) {
    let person = server.made(&patient(&unique())).await;
    let mut finding = Finding::of(&person);
    finding.status = "";

    let answer = server.post("Observation", &finding.json()).await;

    left_to_the_server(server, "Observation without status", &answer);
}

/// Source: FHIR R4 (4.0.1), observation.html, obs-6: "dataAbsentReason SHALL only be present if
/// Observation.value[x] is not present"
async fn a_value_beside_a_reason_for_its_absence_is_refused(server: &Server) {
    let person = server.made(&patient(&unique())).await;
    let mut finding = Finding::of(&person);
    finding.more = r#""dataAbsentReason":{"text":"not performed"},"#;

    let answer = server.post("Observation", &finding.json()).await;

    left_to_the_server(server, "obs-6", &answer);
}

/// Source: FHIR R4 (4.0.1), valueset-reference-handling-policy.html: a server that says `enforced`
/// refuses references that do not resolve; R4 obliges none to.
async fn a_reference_to_nothing_is_refused(server: &Server) {
    let finding = Finding::of(&format!("Patient/{}", unique()));

    let answer = server.post("Observation", &finding.json()).await;

    if server.real {
        // 400, 404 and 422 are all seen; a server may also store the reference as it is.
        println!("real server: reference to nothing: {}", answer.status);
    } else {
        answer.refused(&[422]);
    }
}

/// R4 lets a server validate as little as it likes, so the real one is only reported.
fn left_to_the_server(server: &Server, what: &str, answer: &crate::server::Answer) {
    if server.real && answer.status == 201 {
        println!("real server: {what}: accepted");
    } else {
        answer.refused(if server.real { &[400, 422] } else { &[422] });
    }
}
