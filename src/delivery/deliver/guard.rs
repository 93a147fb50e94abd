//! Test data stays off a production target, and real people off a target for tests.

use crate::base::code::Code;
use crate::base::json::Node;
use crate::delivery::deliver::Purpose;

const SYSTEM: &str = "http://terminology.hl7.org/CodeSystem/v3-ActReason";
const CODE: &str = "HTEST";

/// Why nothing may be sent; no person can confirm it away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kept {
    TestDocument,
    TestPerson,
    RealDocument,
}

impl Kept {
    pub(super) const fn code(self) -> Code {
        match self {
            Self::TestDocument => Code::GuardTestDocument,
            Self::TestPerson => Code::GuardTestPerson,
            Self::RealDocument => Code::GuardRealDocument,
        }
    }

    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::TestDocument => "test data is kept off a production target",
            Self::TestPerson => "a person marked as test data is kept off a production target",
            Self::RealDocument => "what is not marked as test data is kept off a test target",
        }
    }
}

/// Holds the record of a session against the purpose of its target, before anything is asked.
pub(super) fn record(purpose: Purpose, record: &Node) -> Result<(), Kept> {
    let resources = record
        .items_of("entry")
        .iter()
        .filter_map(|entry| entry.member("resource"));
    let test = resources.into_iter().any(marked);
    match (purpose, test) {
        (Purpose::Production, true) => Err(Kept::TestDocument),
        (Purpose::Test, false) => Err(Kept::RealDocument),
        (Purpose::Production, false) | (Purpose::Test, true) | (Purpose::NotSaid, _) => Ok(()),
    }
}

/// Holds the people a server found against the purpose of the target.
pub(super) fn people(purpose: Purpose, found: &Node) -> Result<(), Kept> {
    let people = found.items_of("entry").iter();
    let mut people = people.filter_map(|entry| entry.member("resource"));
    if purpose == Purpose::Production && people.any(marked) {
        return Err(Kept::TestPerson);
    }
    Ok(())
}

/// "test health data": HTEST of v3-ActReason, as a tag or as a security label
/// (FHIR R4, security-labels.html#hcs). A label without its system counts: the guard errs towards
/// sending nothing.
fn marked(resource: &Node) -> bool {
    let labels = |key| {
        let meta = resource.member("meta");
        meta.map_or(&[][..], |meta| meta.items_of(key)).iter()
    };
    labels("tag").chain(labels("security")).any(|label| {
        label.text_of("code") == Some(CODE)
            && label
                .text_of("system")
                .is_none_or(|system| system == SYSTEM)
    })
}

#[cfg(test)]
mod tests {
    use super::{Kept, people, record};
    use crate::base::json::Node;
    use crate::delivery::deliver::Purpose;

    const TEST: &str = r#"{"meta":{"tag":[{"system":
        "http://terminology.hl7.org/CodeSystem/v3-ActReason","code":"HTEST"}]}}"#;
    const LABELLED: &str = r#"{"meta":{"security":[{"code":"HTEST"}]}}"#;
    const OTHER: &str =
        r#"{"meta":{"tag":[{"system":"https://invented.example","code":"HTEST"}]}}"#;
    const REAL: &str = "{}";

    fn bundle(resource: &str) -> Node {
        Node::parse(&format!(r#"{{"entry":[{{"resource":{resource}}}]}}"#)).expect("JSON")
    }

    #[test]
    fn each_purpose_takes_only_what_is_meant_for_it() {
        for (purpose, resource, kept) in [
            (Purpose::Production, TEST, Err(Kept::TestDocument)),
            (Purpose::Production, LABELLED, Err(Kept::TestDocument)),
            (Purpose::Production, REAL, Ok(())),
            (Purpose::Production, OTHER, Ok(())),
            (Purpose::Test, TEST, Ok(())),
            (Purpose::Test, REAL, Err(Kept::RealDocument)),
            (Purpose::NotSaid, TEST, Ok(())),
            (Purpose::NotSaid, REAL, Ok(())),
        ] {
            assert_eq!(
                record(purpose, &bundle(resource)),
                kept,
                "{purpose:?} {resource}"
            );
        }
    }

    #[test]
    fn a_person_marked_as_test_data_is_kept_off_a_production_target_only() {
        for (purpose, resource, kept) in [
            (Purpose::Production, TEST, Err(Kept::TestPerson)),
            (Purpose::Production, LABELLED, Err(Kept::TestPerson)),
            (Purpose::Production, REAL, Ok(())),
            (Purpose::Test, REAL, Ok(())),
            (Purpose::NotSaid, TEST, Ok(())),
        ] {
            assert_eq!(
                people(purpose, &bundle(resource)),
                kept,
                "{purpose:?} {resource}"
            );
        }
    }
}
