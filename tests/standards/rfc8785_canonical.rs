#![cfg(test)]
//! RFC 8785, JSON Canonicalization Scheme: www.rfc-editor.org/rfc/rfc8785

use fascicle::base::json::Node;

fn canonical(text: &str) -> String {
    Node::parse(text).expect("JSON").canonical()
}

/// Source: <https://www.rfc-editor.org/rfc/rfc8785>, June 2020, section 3.2.3.
///
/// "Property name strings to be sorted are formatted as arrays of UTF-16 code units. The sorting is
/// based on pure value comparisons, where code units are treated as unsigned integers, independent
/// of locale settings."
#[test]
fn keys_of_the_published_sample_stand_in_the_published_order() {
    let sample = r#"{
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\ud83d\ude00": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis"
    }"#;

    let canonical = Node::parse(&canonical(sample)).expect("JSON");

    let order: Vec<&str> = canonical
        .members()
        .iter()
        .filter_map(|(_, value)| value.text())
        .collect();
    assert_eq!(
        order,
        [
            "Carriage Return",
            "One",
            "Control",
            "Latin Small Letter O With Diaeresis",
            "Euro Sign",
            "Emoji: Grinning Face",
            "Hebrew Letter Dalet With Dagesh",
        ]
    );
}

/// Source: <https://www.rfc-editor.org/rfc/rfc8785>, June 2020, sections 3.2.2.1, 3.2.2.2 and 3.2.1.
///
/// "Whitespace between JSON tokens MUST NOT be emitted"; the strings and literals of the published
/// sample are written as published.
#[test]
fn strings_and_literals_of_the_published_sample_are_written_as_published() {
    let sample = r#"{
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
        "literals": [null, true, false]
    }"#;

    let wanted = r#"{"literals":[null,true,false],"string":"€$\u000f\nA'B\"\\\\\"/"}"#;
    assert_eq!(canonical(sample), wanted);
}

/// Source: <https://www.rfc-editor.org/rfc/rfc8785>, June 2020, section 3.2.2.3.
///
/// There numbers become IEEE 754 doubles. Here they keep the text they were written with, by design:
/// in FHIR 4.50 and 4.5 differ, and a document holds its digits as strings anyhow.
#[test]
fn numbers_differ_from_the_scheme_by_design() {
    let sample = "[333333333.33333329,1E30,4.50,2e-3]";

    assert_eq!(canonical(sample), sample);
}
