//! Is it the same person: the gate before anything is sent.
//!
//! The Patient found by identifier must be exactly one, active, not replaced by another; the birth
//! date must agree as far as both give it; another family name needs a person's confirmation.

use crate::base::code::Code;
use crate::base::code::meaning::Retry;
use crate::base::code::reason::Reason;
use crate::base::json::Node;
use crate::delivery::deliver::held::is_id;
use fhir_sdk::Date;
use fhir_sdk::r4b::codes::LinkType;
use fhir_sdk::r4b::resources::PatientLink;
use fhir_sdk::r4b::types::HumanName;
use serde::de::DeserializeOwned;

/// What the document says of the person.
#[derive(Debug, Clone)]
pub struct Expected {
    /// Birth date, as far as it is given.
    pub birth_date: crate::base::private::Private<String>,
    /// Family name, where it is given.
    pub family_name: Option<crate::base::private::Private<String>>,
}

/// Why the session waits for a person; each has a code and words that name no one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// Nobody has the identifier.
    NotFound,
    /// Several people have it, or the answer is one page of many.
    SeveralFound,
    /// The Patient does not read.
    Unreadable,
    /// The record is marked as not in use.
    Inactive,
    /// The record was replaced by another.
    Replaced,
    /// The server holds no birth date.
    BirthDateMissing,
    /// The birth dates differ.
    BirthDate,
    /// The family names differ.
    FamilyName,
}

impl Stopped {
    /// Its code.
    pub const fn code(self) -> Code {
        match self {
            Self::NotFound => Code::PersonNotFound,
            Self::SeveralFound => Code::PersonSeveral,
            Self::Unreadable => Code::PersonUnreadable,
            Self::Inactive => Code::PersonInactive,
            Self::Replaced => Code::PersonReplaced,
            Self::BirthDateMissing => Code::PersonBirthDateMissing,
            Self::BirthDate => Code::PersonBirthDate,
            Self::FamilyName => Code::PersonFamilyName,
        }
    }

    /// What it means, naming no one.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotFound => "the record server knows nobody by this identifier",
            Self::SeveralFound => "the record server knows several people by this identifier",
            Self::Unreadable => "the record server's answer about the person cannot be read",
            Self::Inactive => "the record of this person is marked as not in use",
            Self::Replaced => "the record of this person was replaced by another",
            Self::BirthDateMissing => "the record server holds no birth date to compare with",
            Self::BirthDate => "the birth date differs from the one the record server holds",
            Self::FamilyName => "the family name differs from the one the record server holds",
        }
    }
}

/// Reads the answer to the search and holds the person against what the document says; gives the
/// reference of the Patient.
///
/// # Errors
/// [`Stopped`] with the first doubt.
pub fn person(
    answer: &Node,
    system: &str,
    value: &str,
    expected: &Expected,
    confirmed: &[Reason],
) -> Result<String, Stopped> {
    let mut found = answer
        .items_of("entry")
        .iter()
        .filter_map(|entry| entry.member("resource"))
        .filter(|resource| resource.text_of("resourceType") == Some("Patient"));
    let (first, second) = (found.next(), found.next());
    let resource = match (first, second) {
        (None, _) => return Err(Stopped::NotFound),
        (Some(_), Some(_)) => return Err(Stopped::SeveralFound),
        (Some(only), None) => only,
    };
    // A server that ignores the search parameter, or gives one page of many, tells nothing.
    let asked_for = resource.items_of("identifier").iter().any(|identifier| {
        identifier.text_of("system") == Some(system) && identifier.text_of("value") == Some(value)
    });
    let more = answer
        .items_of("link")
        .iter()
        .any(|link| link.text_of("relation") == Some("next"));
    if more {
        return Err(Stopped::SeveralFound);
    }
    if !asked_for {
        return Err(Stopped::NotFound);
    }
    let patient = PatientParts::of(resource)?;
    hold(&patient, expected, confirmed)?;
    let id = patient.id.filter(|id| is_id(id));
    let id = id.ok_or(Stopped::Unreadable)?;
    Ok(format!("Patient/{id}"))
}

/// What the gate asks about; the rest of a Patient may hold codes the model does not know.
///
/// Its parts are read one by one: the model of a whole Patient can contain any other resource, and with it
/// the compiler would build readers of all of R4.
struct PatientParts {
    id: Option<String>,
    active: Option<bool>,
    names: Vec<HumanName>,
    birth_date: Option<Date>,
    links: Vec<PatientLink>,
}

impl PatientParts {
    fn of(patient: &Node) -> Result<Self, Stopped> {
        Ok(Self {
            id: read(patient, "id")?,
            active: read(patient, "active")?,
            names: read(patient, "name")?.unwrap_or_default(),
            birth_date: read(patient, "birthDate")?,
            links: read(patient, "link")?.unwrap_or_default(),
        })
    }
}

fn read<T: DeserializeOwned>(patient: &Node, element: &str) -> Result<Option<T>, Stopped> {
    patient
        .member(element)
        .map(|value| serde_json::from_str(&value.compact()))
        .transpose()
        .map_err(|_unreadable| Stopped::Unreadable)
}

/// True for what a person released that may let it pass; what has to be mended is looked at again.
pub(super) fn lets_pass(code: Code, confirmed: &[Reason]) -> bool {
    code.meaning().retry == Retry::LetPass && confirmed.iter().any(|one| one.code() == code)
}

fn hold(patient: &PatientParts, expected: &Expected, confirmed: &[Reason]) -> Result<(), Stopped> {
    let unless_confirmed = |stopped: Stopped| {
        if lets_pass(stopped.code(), confirmed) {
            Ok(())
        } else {
            Err(stopped)
        }
    };
    if patient.active == Some(false) {
        return Err(Stopped::Inactive);
    }
    let mut links = patient.links.iter();
    if links.any(|link| link.r#type == LinkType::ReplacedBy) {
        return Err(Stopped::Replaced);
    }
    match birth_date(patient) {
        None => unless_confirmed(Stopped::BirthDateMissing)?,
        Some(held) if !agree(&held, expected.birth_date.open()) => {
            return Err(Stopped::BirthDate);
        }
        Some(_) => {}
    }
    let family = expected
        .family_name
        .as_ref()
        .map(|family| family.open().to_lowercase());
    let names = patient.names.iter();
    let known = names.filter_map(|name| name.family.as_deref());
    let known: Vec<String> = known.map(str::to_lowercase).collect();
    match family {
        Some(family) if !known.contains(&family) => unless_confirmed(Stopped::FamilyName),
        Some(_) | None => Ok(()),
    }
}

fn birth_date(patient: &PatientParts) -> Option<String> {
    let date = serde_json::to_value(patient.birth_date.as_ref()?).ok()?;
    date.as_str().map(str::to_owned)
}

/// Two dates agree when one is the other or a coarser form of it.
fn agree(a: &str, b: &str) -> bool {
    let (shorter, longer) = if a.len() <= b.len() { (a, b) } else { (b, a) };
    longer == shorter
        || longer
            .strip_prefix(shorter)
            .is_some_and(|rest| rest.starts_with('-'))
}

#[cfg(test)]
mod tests {
    use super::{Expected, Stopped, person};
    use crate::base::json::Node;
    use crate::base::private::Private;

    const SYSTEM: &str = "s";
    const VALUE: &str = "v";

    fn found(patients: &str) -> Node {
        Node::parse(&format!(
            r#"{{"resourceType":"Bundle","type":"searchset","entry":[{patients}]}}"#
        ))
        .expect("JSON")
    }

    fn patient(extra: &str) -> String {
        format!(
            r#"{{"resource":{{"resourceType":"Patient","id":"7",
                "identifier":[{{"system":"s","value":"v"}}],"maritalStatus":7,"name":[{{"family":"Testperson"}}]{extra}}}}}"#
        )
    }

    fn expected() -> Expected {
        Expected {
            birth_date: Private::new("1958-03-14".to_owned()),
            family_name: Some(Private::new("TESTPERSON".to_owned())),
        }
    }

    #[test]
    fn exactly_one_active_person_with_the_same_birth_date_passes() {
        for date in ["1958-03-14", "1958-03", "1958"] {
            let answer = found(&patient(&format!(r#","birthDate":"{date}""#)));

            assert_eq!(
                person(&answer, SYSTEM, VALUE, &expected(), &[]),
                Ok("Patient/7".to_owned()),
                "{date}"
            );
        }
    }

    #[test]
    fn each_doubt_about_the_person_stops_with_its_own_reason() {
        let born = r#","birthDate":"1958-03-14""#;
        let two = [patient(born), patient(born)].join(",");
        let cases = [
            (String::new(), Stopped::NotFound),
            (
                patient(born).replace(r#""v""#, r#""other""#),
                Stopped::NotFound,
            ),
            (two, Stopped::SeveralFound),
            (
                patient(&format!(r#"{born},"active":false"#)),
                Stopped::Inactive,
            ),
            (
                patient(&format!(
                    r#"{born},"link":[{{"type":"replaced-by","other":{{"reference":"Patient/8"}}}}]"#
                )),
                Stopped::Replaced,
            ),
            (patient(r#","birthDate":"1958-03-15""#), Stopped::BirthDate),
            (patient(r#","birthDate":"1959""#), Stopped::BirthDate),
            (patient(""), Stopped::BirthDateMissing),
            (
                patient(born).replace("Testperson", "Other"),
                Stopped::FamilyName,
            ),
            (patient(r#","birthDate":"yesterday""#), Stopped::Unreadable),
            (
                patient(born).replace(r#""id":"7""#, r#""id":"7?_x=../y""#),
                Stopped::Unreadable,
            ),
        ];
        for (answer, stopped) in cases {
            assert_eq!(
                person(&found(&answer), SYSTEM, VALUE, &expected(), &[]),
                Err(stopped)
            );
        }
    }

    #[test]
    fn another_family_name_passes_once_a_person_confirmed_it() {
        let answer = found(&patient(r#","birthDate":"1958""#).replace("Testperson", "Other"));

        let confirmed = [crate::base::code::Code::PersonFamilyName.into()];

        assert!(person(&answer, SYSTEM, VALUE, &expected(), &confirmed).is_ok());
    }
}
