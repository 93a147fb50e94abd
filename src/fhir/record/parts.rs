//! What resources are put together from: references, codes, times, entries.

use crate::base::json::tree::{NoTree, tree};
use crate::base::private::Private;
use crate::examination::finding;
use crate::examination::finding::{Performer, Session};
use crate::fhir::coding::{Code, Concept};
use crate::fhir::record::Entry;
use crate::fhir::record::r4::{
    CodeableConcept, Coding, Identifier, Meta, Period, Reference, Resource, Words,
};
use crate::tables::catalogue::CANONICAL;
use uuid::Uuid;

pub(super) fn entry(
    full_url: String,
    kind: &'static str,
    identifier: Option<(String, Private<String>)>,
    path: Option<String>,
    resource: &Resource<'_>,
) -> Result<Entry, NoTree> {
    Ok(Entry {
        full_url,
        kind,
        identifier,
        path,
        resource: tree(resource)?,
    })
}

pub(super) fn urn(uuid: Uuid) -> String {
    format!("urn:uuid:{uuid}")
}

pub(super) fn meta(session: &Session, profile: &str) -> Meta<'static> {
    let tag = session.test_data.then(|| Coding {
        system: "http://terminology.hl7.org/CodeSystem/v3-ActReason".into(),
        code: "HTEST".into(),
        display: "test health data".into(),
    });
    Meta {
        profile: vec![format!("{CANONICAL}/StructureDefinition/{profile}").into()],
        tag: tag.into_iter().collect(),
    }
}

pub(super) fn concept(concept: &Concept) -> CodeableConcept<'_> {
    CodeableConcept {
        coding: concept.codes.iter().map(coding).collect(),
        text: concept.text.as_deref().map(Words::Borrowed),
    }
}

pub(super) fn coding(code: &Code) -> Coding<'_> {
    Coding {
        system: Words::Borrowed(&code.system),
        code: Words::Borrowed(&code.code),
        display: Words::Borrowed(&code.display),
    }
}

pub(super) fn literal<'a>(kind: &'static str, reference: Words<'a>) -> Reference<'a> {
    Reference {
        reference: Some(reference),
        kind: Some(kind.into()),
        ..Reference::default()
    }
}

pub(super) fn logical<'a>(
    kind: &'static str,
    identifier: &'a finding::Identifier,
) -> Reference<'a> {
    Reference {
        kind: Some(kind.into()),
        identifier: Some(plain_identifier(identifier)),
        ..Reference::default()
    }
}

pub(super) fn plain_identifier(identifier: &finding::Identifier) -> Identifier<'_> {
    Identifier {
        system: Words::Borrowed(&identifier.system),
        value: Words::Borrowed(identifier.value.open()),
    }
}

pub(super) fn subject(session: &Session) -> Reference<'_> {
    logical("Patient", &session.patient.identifier)
}

pub(super) fn encounter(session: &Session) -> Option<Reference<'_>> {
    let encounter = session.encounter.as_ref()?;
    Some(logical("Encounter", encounter))
}

pub(super) fn practitioner(performer: &Performer) -> Reference<'_> {
    logical("Practitioner", &performer.identifier)
}

pub(super) fn performed(session: &Session) -> Period<'_> {
    Period {
        start: Words::Borrowed(&session.start.text),
        end: Words::Borrowed(&session.end.text),
    }
}
