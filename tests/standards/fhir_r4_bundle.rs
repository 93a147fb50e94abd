#![cfg(test)]
//! FHIR R4 (4.0.1), Bundle: hl7.org/fhir/R4/bundle.html

use crate::document::{encoded, sound};
use crate::judged::{judged, observation};

const URL: &str = "urn:uuid:0e0c3f5e-7f5e-4f0a-9d43-1f2f3f4f5f60";

/// What one rule says of a Bundle with two entries, each with more members after its resource.
fn bundle(rule: &str, kind: &str, first: &str, second: &str) -> Vec<String> {
    let entry = |more: &str| format!(r#"{{"resource":{}{more}}}"#, observation(""));
    let mut told = judged(&format!(
        r#"{{"resourceType":"Bundle","type":"{kind}","entry":[{},{}]}}"#,
        entry(first),
        entry(second)
    ));
    told.retain(|line| line.contains(rule));
    told
}

/// Source: <https://hl7.org/fhir/R4/bundle.html>, 4.0.1, constraints.
///
/// "bdl-3: entry.request mandatory for batch/transaction/history, otherwise prohibited"
#[test]
fn a_request_stands_where_something_is_asked_and_nowhere_else() {
    let request = r#","request":{"method":"POST","url":"Observation"}"#;

    for asks in ["batch", "transaction", "history"] {
        assert_eq!(bundle("bdl-3", asks, request, request), [""; 0], "{asks}");
        assert_eq!(
            bundle("bdl-3", asks, request, ""),
            ["error fhir.bdl-3 /entry/1"],
            "{asks}"
        );
    }
    for holds in ["collection", "searchset", "document", "message"] {
        assert_eq!(bundle("bdl-3", holds, "", ""), [""; 0], "{holds}");
        assert_eq!(
            bundle("bdl-3", holds, request, ""),
            ["error fhir.bdl-3 /entry/0"],
            "{holds}"
        );
    }
}

/// Source: <https://hl7.org/fhir/R4/bundle.html>, 4.0.1, constraints.
///
/// "bdl-7: `FullUrl` must be unique in a bundle, or else entries with the same fullUrl must have
/// different meta.versionId (except in history bundles)"
#[test]
fn an_address_stands_once() {
    let at = |url: &str| format!(r#","fullUrl":"{url}""#);
    let other = at("urn:uuid:0e0c3f5e-7f5e-4f0a-9d43-1f2f3f4f5f61");
    let asked = |more: &str| format!(r#"{more},"request":{{"method":"PUT","url":"x"}}"#);

    assert_eq!(bundle("bdl-7", "collection", &at(URL), &other), [""; 0]);
    assert_eq!(
        bundle("bdl-7", "collection", &at(URL), &at(URL)),
        ["error fhir.bdl-7 /entry/1/fullUrl"]
    );
    assert_eq!(
        bundle("bdl-7", "history", &asked(&at(URL)), &asked(&at(URL))),
        [""; 0]
    );
}

/// Source: <https://hl7.org/fhir/R4/bundle.html>, 4.0.1, constraints.
///
/// bdl-7 again: two versions of one address may stand beside each other.
#[test]
fn two_versions_of_one_address_are_no_repetition() {
    let entry = |version: u32| {
        let resource = observation(&format!(r#","meta":{{"versionId":"{version}"}}"#));
        format!(r#"{{"fullUrl":"{URL}","resource":{resource}}}"#)
    };
    let both = |first: u32, second: u32| {
        judged(&format!(
            r#"{{"resourceType":"Bundle","type":"collection","entry":[{},{}]}}"#,
            entry(first),
            entry(second)
        ))
    };

    assert_eq!(both(1, 2), [""; 0]);
    assert_eq!(both(1, 1), ["error fhir.bdl-7 /entry/1/fullUrl"]);
}

/// Source: <https://hl7.org/fhir/R4/bundle.html>, 4.0.1.
///
/// What we emit holds to the same rules.
#[test]
fn our_own_bundle_holds() {
    let encoded = encoded(&sound());
    let record = encoded.checked.record();

    assert_eq!(record.text(), record.bundle().compact());
    assert_eq!(judged(&record.text()), [""; 0]);
}
