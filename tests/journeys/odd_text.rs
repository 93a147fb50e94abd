#![cfg(test)]
//! What a therapist may write in words arrives as it was written, whatever else could read it.

use crate::document::{catalogue, encoded, set, sound, told};
use fascicle::base::json::{Node, text};
use fascicle::base::problem::Problems;
use fascicle::fhir::check;

/// Markup, commands of a database, formulas of a spreadsheet, templates, other scripts and marks.
const WORDS: [&str; 10] = [
    "<b>5&deg;</b> & <script>alert(1)</script> <!-- -->",
    "'; DROP TABLE observations; --",
    "=HYPERLINK(\"https://invented.example\",\"5\")",
    "+1, -1, @SUM(A1:A9)",
    "{{7*7}} ${jndi:ldap://x} %n%s \\u0000 \\",
    "first line\r\n\tsecond line",
    "e\u{301}tirement, \u{1f9b5}\u{1f3fd}, \u{5d9}\u{5de}\u{5d9}\u{5df} \u{200f}R1\u{200e}",
    "5\u{a0}\u{b0} \u{2264} 10\u{202f}\u{b0}, \u{ff11}\u{ff10}",
    "null, none, N/A, NaN, undefined, \"\"",
    "]]> --> */ ?> \u{feff}",
];

/// Each place of a document that takes words, and where the words stand in the record.
const PLACES: [&str; 13] = [
    "/performers/0/role",
    "/findings/4/note",
    "/precautions/0/reason",
    "/session/condition/words",
    "/session/consent/how",
    "/conclusion/words",
    "/priority/words",
    "/goals/0/words",
    "/goals/0/agreed_with",
    "/handling/0/words",
    "/recommendations/0/to",
    "/told/0/words",
    "/told/0/how",
];

/// What people said in their own words.
const OWN_WORDS: [(&str, &str); 6] = [
    ("/conclusion", r#"{"words":"x"}"#),
    ("/priority", r#"{"words":"x"}"#),
    (
        "/goals",
        r#"[{"words":"x","target":"not set","agreed_with":"x"}]"#,
    ),
    (
        "/handling",
        r#"[{"words":"x","author":"therapist","review":"2026-12-14"}]"#,
    ),
    ("/recommendations", r#"[{"to":"x","words":"x"}]"#),
    (
        "/told",
        r#"[{"words":"x","to":"x","at":"2026-11-16T10:05:00+01:00","how":"x"}]"#,
    ),
];

fn texts<'a>(node: &'a Node, found: &mut Vec<&'a str>) {
    found.extend(node.text());
    node.members()
        .iter()
        .for_each(|(_, member)| texts(member, found));
    node.items().iter().for_each(|item| texts(item, found));
}

#[test]
fn words_arrive_as_they_were_written_and_are_never_markup() {
    for place in PLACES {
        let lost: Vec<&str> = WORDS
            .into_iter()
            .filter(|words| {
                let mut document = sound();
                for (at, json) in OWN_WORDS {
                    set(&mut document, at, Some(Node::parse(json).expect("JSON")));
                }
                set(&mut document, place, Some(text(*words)));

                let bundle = encoded(&document).checked.record().bundle();
                let mut problems = Problems::new();
                check::resource(&bundle, catalogue(), &mut problems);
                assert!(!problems.any_error(), "{place}: {:#?}", problems.sorted());
                let read = Node::parse(&bundle.compact()).expect("JSON");

                let mut found = Vec::new();
                texts(&read, &mut found);
                let narratives: Vec<&&str> = found
                    .iter()
                    .filter(|text| text.starts_with("<div"))
                    .collect();
                assert!(!narratives.is_empty());
                assert!(
                    narratives
                        .iter()
                        .all(|div| !div.contains("<b>") && !div.contains("<script")),
                    "{place}: {words}"
                );
                !found.iter().any(|text| text.contains(words))
            })
            .collect();

        assert_eq!(lost, Vec::<&str>::new(), "{place}");
    }
}

#[test]
fn words_that_nobody_can_see_are_refused() {
    for words in [
        "\u{feff}",
        "\u{200b}\u{200d}",
        "\u{a0}\u{2060}",
        "\u{ad}",
        "\u{3000}",
    ] {
        let mut document = sound();
        set(&mut document, "/performers/0/role", Some(text(words)));

        assert_eq!(
            told(&document).first().map(String::as_str),
            Some("error field.empty /performers/0/role"),
            "{}",
            words.escape_unicode()
        );
    }
}
