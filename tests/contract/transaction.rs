#![cfg(test)]
//! Transactions and batches.

use crate::people::{
    Finding, bundle, by_identifier, entry, patient, placeholder, provenance, unique,
};
use crate::server::{Answer, Server, clauses, local};

clauses!(
    placeholders_become_references,
    a_search_in_place_of_a_reference_is_resolved,
    the_same_transaction_twice_makes_nothing_twice,
    a_faulty_entry_refuses_everything,
    a_reference_to_nothing_refuses_everything,
    a_full_url_that_stands_twice_is_refused,
    two_creates_of_one_identity_make_one_at_most,
    an_update_rides_along,
    a_batch_does_each_entry_alone,
);

/// One session: a person, two findings about them, and where the findings come from.
struct Session {
    person: String,
    findings: [Finding; 2],
    links: [String; 4],
}

impl Session {
    fn new() -> Self {
        let links = [placeholder(), placeholder(), placeholder(), placeholder()];
        let findings = [Finding::of(&links[0]), Finding::of(&links[0])];
        let person = unique();
        Self {
            person,
            findings,
            links,
        }
    }

    /// The person and the findings, all created on condition.
    fn conditional(&self) -> Vec<String> {
        let [person, first, second, _] = &self.links;
        let on = |name: &str| Some(by_identifier(name));
        vec![
            entry(person, &patient(&self.person), on(&self.person).as_deref()),
            Self::entry(first, &self.findings[0]),
            Self::entry(second, &self.findings[1]),
        ]
    }

    fn entry(full_url: &str, finding: &Finding) -> String {
        let condition = by_identifier(&finding.identifier);
        entry(full_url, &finding.json(), Some(&condition))
    }

    async fn stored(&self, server: &Server) -> [usize; 3] {
        let count = async |kind: &str, name: &str| {
            server
                .count(&format!("{kind}?{}", by_identifier(name)))
                .await
        };
        [
            count("Patient", &self.person).await,
            count("Observation", &self.findings[0].identifier).await,
            count("Observation", &self.findings[1].identifier).await,
        ]
    }
}

async fn send(server: &Server, kind: &str, entries: &[String]) -> Answer {
    server.post("", &bundle(kind, entries)).await
}

fn locations(answer: &Answer) -> Vec<String> {
    assert_eq!(answer.status, 200, "{}", answer.text);
    let responses = answer.responses();
    let locations = responses
        .iter()
        .map(|response| response.text_of("location"));
    locations.map(|at| local(at.expect("a location"))).collect()
}

/// Source: FHIR R4 (4.0.1), http.html#trules: where the server gives a new id to a resource of the
/// Bundle "it SHALL also update any references to that resource in the same bundle"
async fn placeholders_become_references(server: &Server) {
    let session = Session::new();
    let mut entries = session.conditional();
    entries.push(entry(
        &session.links[3],
        &provenance(&session.links[1]),
        None,
    ));

    let answer = send(server, "transaction", &entries).await;

    let made = locations(&answer);
    assert_eq!(answer.node().text_of("type"), Some("transaction-response"));
    for (response, place) in answer.responses().iter().zip(&made) {
        assert!(
            response
                .text_of("status")
                .is_some_and(|status| status.starts_with("201"))
        );
        assert!(
            response
                .text_of("etag")
                .is_some_and(|tag| tag.contains('1'))
        );
        assert_eq!(server.get(place).await.status, 200, "{place}");
    }
    for finding in &made[1..3] {
        let stored = server.get(finding).await.node();
        let subject = stored
            .at(&["subject", "reference"])
            .and_then(|it| it.text());
        assert_eq!(subject, Some(made[0].as_str()));
    }
    let stored = server.get(&made[3]).await;
    let target = stored.node().items_of("target")[0].clone();
    assert_eq!(
        target.text_of("reference").map(local),
        Some(made[1].clone())
    );
    assert!(!stored.text.contains("urn:uuid:"), "{}", stored.text);
    assert_eq!(
        server
            .found(&format!("Observation?patient={}", made[0]))
            .await
            .len(),
        2
    );
}

/// Source: FHIR R4 (4.0.1), http.html#trules: "if there is a single match, the server replaces the
/// search URI with a reference to the matching resource", and otherwise "the transaction fails"
async fn a_search_in_place_of_a_reference_is_resolved(server: &Server) {
    let name = unique();
    let person = server.made(&patient(&name)).await;
    let known = Finding::of(&format!("Patient?{}", by_identifier(&name)));
    let lost = Finding::of(&format!("Patient?{}", by_identifier(&unique())));
    let create = |finding: &Finding| entry(&placeholder(), &finding.json(), None);

    let resolved = send(server, "transaction", &[create(&known)]).await;
    let refused = send(server, "transaction", &[create(&known), create(&lost)]).await;

    let stored = server.get(&locations(&resolved)[0]).await.node();
    let subject = stored
        .at(&["subject", "reference"])
        .and_then(|it| it.text());
    assert_eq!(subject, Some(person.as_str()));
    refused.refused(&[400, 404, 412, 422]);
    assert_eq!(
        server.count(&format!("Observation?patient={person}")).await,
        1
    );
}

/// Source: FHIR R4 (4.0.1), http.html#ccreate: "One Match: The server ignore the post and returns
/// 200 OK", here asked for by `Bundle.entry.request.ifNoneExist`.
async fn the_same_transaction_twice_makes_nothing_twice(server: &Server) {
    let session = Session::new();
    let first = send(server, "transaction", &session.conditional()).await;

    let second = send(server, "transaction", &session.conditional()).await;

    assert_eq!(locations(&first), locations(&second));
    for response in second.responses() {
        assert!(
            response
                .text_of("status")
                .is_some_and(|status| status.starts_with("200"))
        );
    }
    assert_eq!(session.stored(server).await, [1, 1, 1]);

    // A third finding that refers to the person by placeholder finds the one that is there.
    let third = Finding::of(&session.links[0]);
    let mut entries = session.conditional();
    entries.push(Session::entry(&session.links[3], &third));
    let answer = send(server, "transaction", &entries).await;
    let made = locations(&answer);
    let stored = server.get(&made[3]).await.node();
    let subject = stored
        .at(&["subject", "reference"])
        .and_then(|it| it.text());
    assert_eq!(subject, Some(made[0].as_str()));
    assert_eq!(session.stored(server).await, [1, 1, 1]);
}

/// Source: FHIR R4 (4.0.1), http.html#trules: "servers SHALL either accept all actions and return a
/// 200 OK, along with a response bundle (see below), or reject all resources and return an HTTP 400
/// or 500 type response."
async fn a_faulty_entry_refuses_everything(server: &Server) {
    let session = Session::new();
    let mut entries = session.conditional();
    // An element that R4 does not have is refused by every server that reads strictly.
    let mut faulty = Finding::of(&session.links[0]);
    faulty.more = r#""colour":"red","#;
    entries.push(Session::entry(&session.links[3], &faulty));

    let answer = send(server, "transaction", &entries).await;

    answer.refused(&[400, 422]);
    assert_eq!(session.stored(server).await, [0, 0, 0]);
    let query = format!("Observation?{}", by_identifier(&faulty.identifier));
    assert_eq!(server.count(&query).await, 0);
}

/// Source: FHIR R4 (4.0.1), http.html#trules: as above, for a fault that shows only when everything
/// else is done. That a server refuses such a reference at all is its own policy.
async fn a_reference_to_nothing_refuses_everything(server: &Server) {
    let session = Session::new();
    let mut entries = session.conditional();
    let nowhere = format!("Observation/{}", unique());
    entries.push(entry(&session.links[3], &provenance(&nowhere), None));

    let answer = send(server, "transaction", &entries).await;

    answer.refused(&[400, 404, 422]);
    assert_eq!(session.stored(server).await, [0, 0, 0]);
}

/// Source: FHIR R4 (4.0.1), bundle.html, bdl-7: the `fullUrl` of an entry is
/// unique in its Bundle
async fn a_full_url_that_stands_twice_is_refused(server: &Server) {
    let session = Session::new();
    let mut entries = session.conditional();
    let second = Finding::of(&session.links[0]);
    entries.push(Session::entry(&session.links[1], &second));

    let answer = send(server, "transaction", &entries).await;

    answer.refused(&[400, 422]);
    assert_eq!(session.stored(server).await, [0, 0, 0]);
}

/// Source: FHIR R4 (4.0.1), http.html#trules: "If any resource identities (including resolved
/// identities from conditional update/delete) overlap in steps 1-3, then the transaction SHALL
/// fail." Conditional creates are not named there, so a server may also make one of the two.
async fn two_creates_of_one_identity_make_one_at_most(server: &Server) {
    let session = Session::new();
    let mut entries = session.conditional();
    entries.push(Session::entry(&session.links[3], &session.findings[0]));

    let answer = send(server, "transaction", &entries).await;

    if server.real && answer.status == 200 {
        assert_eq!(session.stored(server).await, [1, 1, 1]);
    } else {
        answer.refused(&[400, 409, 412, 422]);
        assert_eq!(session.stored(server).await, [0, 0, 0]);
    }
}

/// Source: FHIR R4 (4.0.1), http.html#trules: "Process any PUT or PATCH interactions", third of five,
/// after the creates.
async fn an_update_rides_along(server: &Server) {
    let person = server.made(&patient(&unique())).await;
    let finding = Finding::of(&person);
    let made = server.made(&finding.json()).await;
    let id = made.strip_prefix("Observation/").expect("an Observation");
    let update = |tag: &str, value: &'static str| {
        let changed = Finding {
            value,
            ..finding.clone()
        };
        let body = changed
            .json()
            .replacen('{', &format!("{{\"id\":\"{id}\","), 1);
        format!(
            r#"{{"fullUrl":"{}/{made}","resource":{body},"request":{{"method":"PUT",
                "url":"{made}","ifMatch":"W/\"{tag}\""}}}}"#,
            server.base
        )
    };
    let witness = entry(&placeholder(), &provenance(&made), None);

    let done = send(
        server,
        "transaction",
        &[update("1", "13.5"), witness.clone()],
    )
    .await;
    let refused = send(server, "transaction", &[update("1", "14.5"), witness]).await;

    assert_eq!(locations(&done)[0], made);
    // Real servers answer 409 as well as 412 where the version is another.
    refused.refused(if server.real { &[409, 412] } else { &[412] });
    assert_eq!(server.get(&made).await.header("etag"), "W/\"2\"");
    assert_eq!(server.count(&format!("Provenance?target={made}")).await, 1);
}

/// Source: FHIR R4 (4.0.1), http.html#brules: "The success or failure of one change SHOULD not alter
/// the success or failure or resulting content of another change."
async fn a_batch_does_each_entry_alone(server: &Server) {
    let person = server.made(&patient(&unique())).await;
    let good = Finding::of(&person);
    let lost = Finding::of(&format!("Patient/{}", unique()));
    let entries = [&lost, &good].map(|finding| entry(&placeholder(), &finding.json(), None));

    let answer = send(server, "batch", &entries).await;

    assert_eq!(answer.status, 200, "{}", answer.text);
    assert_eq!(answer.node().text_of("type"), Some("batch-response"));
    let responses = answer.responses();
    let status = |index: usize| responses[index].text_of("status").expect("a status");
    assert!(status(1).starts_with("201"), "{}", answer.text);
    let query = format!("Observation?{}", by_identifier(&good.identifier));
    assert_eq!(server.count(&query).await, 1);
    if !server.real {
        assert!(status(0).starts_with("422"), "{}", answer.text);
        assert!(responses[0].member("outcome").is_some());
    }
}
