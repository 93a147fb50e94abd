#![cfg(test)]
//! Search, by GET and by POST.

use crate::people::{Finding, SYSTEM, by_identifier, patient, provenance, unique};
use crate::server::{Server, clauses};
use reqwest::Method;
use std::slice;

clauses!(
    an_identifier_finds_its_resource,
    a_patient_finds_their_findings,
    a_code_finds_what_carries_it,
    a_date_finds_what_it_covers,
    several_parameters_all_hold,
    a_comma_offers_a_choice,
    a_search_may_be_posted,
    a_target_finds_its_provenance,
    pages_follow_one_another,
    an_unknown_parameter_is_not_passed_over,
);

async fn person(server: &Server) -> String {
    server.made(&patient(&unique())).await
}

/// Source: FHIR R4 (4.0.1), search.html#token: `[parameter]=[system]|[code]`; where nothing stands
/// before the bar, the token has no system.
async fn an_identifier_finds_its_resource(server: &Server) {
    let name = unique();
    let made = server.made(&patient(&name)).await;

    let found = server
        .found(&format!("Patient?{}", by_identifier(&name)))
        .await;

    assert_eq!(found, slice::from_ref(&made));
    assert_eq!(
        server.found(&format!("Patient?identifier={name}")).await,
        [made]
    );
    let elsewhere = format!("Patient?identifier=urn:other%7C{name}");
    assert_eq!(server.count(&elsewhere).await, 0);
    assert_eq!(
        server.count(&format!("Patient?identifier=%7C{name}")).await,
        0
    );
}

/// Source: FHIR R4 (4.0.1), search.html#reference: `[parameter]=[type]/[id]` or `[parameter]=[id]`
async fn a_patient_finds_their_findings(server: &Server) {
    let (one, other) = (person(server).await, person(server).await);
    let made = server.made(&Finding::of(&one).json()).await;
    server.made(&Finding::of(&other).json()).await;
    let id = one.strip_prefix("Patient/").expect("a Patient");

    for query in [
        format!("patient={one}"),
        format!("patient={id}"),
        format!("subject={one}"),
    ] {
        let found = server.found(&format!("Observation?{query}")).await;
        assert_eq!(found, slice::from_ref(&made), "{query}");
    }
}

/// Source: FHIR R4 (4.0.1), search.html#token: "the value of [code] matches a Coding.code or
/// Identifier.value irrespective of the value of the system property"
async fn a_code_finds_what_carries_it(server: &Server) {
    let person = person(server).await;
    let mut finding = Finding::of(&person);
    finding.code = unique();
    let made = server.made(&finding.json()).await;

    let by_both = format!("Observation?code={SYSTEM}%7C{}", finding.code);
    let by_code = format!("Observation?code={}", finding.code);
    let by_other = format!("Observation?code=urn:other%7C{}", finding.code);

    assert_eq!(server.found(&by_both).await, slice::from_ref(&made));
    assert_eq!(server.found(&by_code).await, [made]);
    assert_eq!(server.count(&by_other).await, 0);
}

/// Source: FHIR R4 (4.0.1), search.html#prefix: "the range of the search value fully contains the
/// range of the target value"
async fn a_date_finds_what_it_covers(server: &Server) {
    let person = person(server).await;
    let made = server.made(&Finding::of(&person).json()).await;
    let found = vec![made];

    // The finding is of 2026-03-02T10:15:00+01:00.
    for (date, hit) in [
        ("2026", true),
        ("2026-03", true),
        ("2026-03-02", true),
        ("2026-03-02T09:15:00Z", true),
        ("2026-03-02T10:15:00%2B01:00", true),
        ("eq2026-03-02", true),
        ("2026-03-03", false),
        ("ge2026-03-02", true),
        ("gt2026-03-02T09:14:59Z", true),
        ("gt2026-03-04", false),
        ("le2026-03-02T09:15:00Z", true),
        ("lt2026-03-02T09:15:00Z", false),
        ("lt2026-03-04", true),
        ("sa2026-02-28", true),
        ("sa2026-03-04", false),
        ("eb2026-03-04", true),
        ("eb2026-02-28", false),
    ] {
        let query = format!("Observation?patient={person}&date={date}");
        let wanted = if hit { found.clone() } else { Vec::new() };
        assert_eq!(server.found(&query).await, wanted, "{date}");
    }
}

/// Source: FHIR R4 (4.0.1), search.html#combining: all parameters hold, each time one stands.
async fn several_parameters_all_hold(server: &Server) {
    let person = person(server).await;
    let (first, mut second) = (Finding::of(&person), Finding::of(&person));
    second.code = unique();
    let one = server.made(&first.json()).await;
    let two = server.made(&second.json()).await;

    let ask = |more: String| format!("Observation?patient={person}{more}");
    let by_both = format!(
        "&code={}&{}",
        second.code,
        by_identifier(&second.identifier)
    );
    let by_neither = format!("&code={}&{}", second.code, by_identifier(&first.identifier));
    let within = "&date=ge2026-03-01&date=lt2026-03-03".to_owned();
    let outside = "&date=ge2026-03-03&date=lt2026-03-05".to_owned();

    assert_eq!(server.found(&ask(by_both)).await, slice::from_ref(&two));
    assert_eq!(server.count(&ask(by_neither)).await, 0);
    let mut both = vec![one, two];
    both.sort();
    assert_eq!(server.found(&ask(within)).await, both);
    assert_eq!(server.count(&ask(outside)).await, 0);
}

/// Source: FHIR R4 (4.0.1), search.html#combining: of values that a comma separates, one holds.
async fn a_comma_offers_a_choice(server: &Server) {
    let (one, two) = (unique(), unique());
    let mut made = vec![
        server.made(&patient(&one)).await,
        server.made(&patient(&two)).await,
    ];
    made.sort();

    let query = format!("Patient?identifier={SYSTEM}%7C{one},{SYSTEM}%7C{two}");

    assert_eq!(server.found(&query).await, made);
}

/// Source: FHIR R4 (4.0.1), http.html#search: `POST [base]/[type]/_search`, the parameters as a form.
async fn a_search_may_be_posted(server: &Server) {
    let name = unique();
    let made = server.made(&patient(&name)).await;

    let headers = [("content-type", "application/x-www-form-urlencoded")];
    let form = by_identifier(&name);
    let answer = server
        .ask(Method::POST, "Patient/_search", &headers, form)
        .await;

    assert_eq!(answer.status, 200, "{}", answer.text);
    assert_eq!(answer.matches(), [made]);
}

/// Source: FHIR R4 (4.0.1), provenance.html#search: `target` is a reference to any resource.
async fn a_target_finds_its_provenance(server: &Server) {
    let person = person(server).await;
    let finding = server.made(&Finding::of(&person).json()).await;
    let other = server.made(&Finding::of(&person).json()).await;
    let made = server.made(&provenance(&finding)).await;

    let found = server.found(&format!("Provenance?target={finding}")).await;

    assert_eq!(found, slice::from_ref(&made));
    assert_eq!(server.count(&format!("Provenance?target={other}")).await, 0);
    let recorded = format!("Provenance?target={finding}&recorded=2026-03-02");
    assert_eq!(server.found(&recorded).await, [made]);
}

/// Source: FHIR R4 (4.0.1), http.html#paging: the link `next` leads on until there is none.
async fn pages_follow_one_another(server: &Server) {
    let person = person(server).await;
    let mut made = Vec::new();
    for _ in 0..5 {
        made.push(server.made(&Finding::of(&person).json()).await);
    }
    made.sort();

    let mut found = Vec::new();
    let mut next = Some(format!("Observation?patient={person}&_count=2"));
    while let Some(page) = next {
        let answer = server.get(&page).await;
        let matches = answer.matches();
        assert!(matches.len() <= 2);
        found.extend(matches);
        let bundle = answer.node();
        let mut links = bundle.items_of("link").iter();
        let link = links.find(|link| link.text_of("relation") == Some("next"));
        next = link.and_then(|link| link.text_of("url")).map(str::to_owned);
    }

    found.sort();
    assert_eq!(found, made);
}

/// Source: FHIR R4 (4.0.1), search.html#errors: a server may refuse a parameter it does not know or
/// leave it out, and its self link tells which; it may not seem to have obeyed.
async fn an_unknown_parameter_is_not_passed_over(server: &Server) {
    let answer = server.get("Observation?colour=red").await;

    if server.real && answer.status == 200 {
        assert!(!answer.text.contains("colour=red"), "{}", answer.text);
    } else {
        answer.refused(&[400]);
    }
}
