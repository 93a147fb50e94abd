//! Is it a stay or visit of the same person: the gate before anything refers to it.

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::outbox::Outcome;

/// Holds an Encounter against the person of the session, where it says whose it is.
///
/// "entered-in-error: This instance should not have been part of this patient's medical record"
/// (FHIR R4, valueset-encounter-status.html).
pub(super) fn stands(encounter: &Node, person: Option<&str>) -> Result<(), Outcome> {
    let waits = |code: Code, words: &str| {
        Err(Outcome::Waiting {
            reason: code.into(),
            words: Private::new(words.to_owned()),
        })
    };
    if encounter.text_of("status") == Some("entered-in-error") {
        return waits(
            Code::EncounterInError,
            "the record server marks the encounter as entered in error",
        );
    }
    let whose = encounter.at(&["subject", "reference"]).and_then(Node::text);
    match (whose, person) {
        (Some(whose), Some(person)) if !same(whose, person) => waits(
            Code::EncounterOtherPerson,
            "the encounter belongs to another person at the record server",
        ),
        (Some(_) | None, _) => Ok(()),
    }
}

/// A server may write a reference as an address of its own, or with a version.
fn same(whose: &str, person: &str) -> bool {
    let bare = whose
        .split_once("/_history/")
        .map_or(whose, |(bare, _)| bare);
    bare == person || bare.ends_with(&format!("/{person}"))
}

#[cfg(test)]
mod tests {
    use super::stands;
    use crate::base::json::Node;
    use crate::delivery::outbox::Outcome;

    fn held(encounter: &str) -> String {
        let encounter = Node::parse(encounter).expect("JSON");
        match stands(&encounter, Some("Patient/7")) {
            Err(Outcome::Waiting { reason, .. }) => reason.to_string(),
            Err(other) => panic!("{other:?}"),
            Ok(()) => String::new(),
        }
    }

    #[test]
    fn an_encounter_of_the_same_person_stands_and_another_never_does() {
        for (subject, told) in [
            ("Patient/7", ""),
            ("https://record.example/fhir/Patient/7", ""),
            ("Patient/7/_history/3", ""),
            ("Patient/17", "encounter.other-person"),
            ("Patient/8", "encounter.other-person"),
        ] {
            let text = format!(r#"{{"status":"finished","subject":{{"reference":"{subject}"}}}}"#);

            assert_eq!(held(&text), told, "{subject}");
        }
        assert_eq!(held(r#"{"status":"finished"}"#), "");
    }

    #[test]
    fn an_encounter_that_was_entered_in_error_is_not_referred_to() {
        let text = r#"{"status":"entered-in-error","subject":{"reference":"Patient/7"}}"#;

        assert_eq!(held(text), "encounter.in-error");
    }
}
