//! The report of a session: its summary, the therapist's own conclusion, and the panel.

use crate::base::json::tree::NoTree;
use crate::base::private::Private;
use crate::examination::finding::Session;
use crate::examination::finding::own_words::Says;
use crate::fhir::coding::Coded;
use crate::fhir::record::parts::{
    concept, encounter, literal, meta, performed, practitioner, subject, urn,
};
use crate::fhir::record::r4::{DiagnosticReport, Identifier, Narrative, Resource, Words};
use crate::fhir::record::status::Status;
use crate::fhir::record::{Entry, REPORT, URI_SYSTEM, identifier_of, parts};

/// "additional: The contents of the narrative may contain additional information not found in the
/// structured data" of the resource itself (FHIR R4, valueset-narrative-status.html): a summary
/// tells of the members as well.
pub(super) fn narrative(summary: &str) -> Narrative<'_> {
    Narrative {
        status: "additional",
        div: summary.into(),
    }
}

pub(super) fn urn_of_report(session: &Session) -> String {
    urn(identifier_of(
        &session.source,
        session.id,
        session.id,
        "report",
    ))
}

/// "DiagnosticReport.result … Observations can contain observations" (FHIR R4,
/// diagnosticreport-definitions.html): the panel has every statement as its member.
pub(super) fn entry(
    session: &Session,
    panel: &Coded,
    urn: &str,
    summary: &str,
) -> Result<Entry, NoTree> {
    let full_url = urn_of_report(session);
    let report = DiagnosticReport {
        meta: meta(session, "session-report"),
        text: narrative(summary),
        identifier: vec![Identifier {
            system: URI_SYSTEM.into(),
            value: (&full_url).into(),
        }],
        status: Status::first(session.withdrawn, false).code(),
        code: concept(&panel.code),
        subject: subject(session),
        encounter: encounter(session),
        effective_period: performed(session),
        issued: Words::Borrowed(&session.signed.at.text),
        performer: session.performers.iter().map(practitioner).collect(),
        result: vec![literal("Observation", urn.into())],
        conclusion: conclusion(session),
    };
    let key = (URI_SYSTEM.to_owned(), Private::new(full_url.clone()));
    let report = Resource::DiagnosticReport(Box::new(report));
    parts::entry(full_url.clone(), REPORT, Some(key), None, &report)
}

/// The words of the therapist, where they wrote any: software concludes nothing.
fn conclusion(session: &Session) -> Option<Words<'_>> {
    let mut statements = session.statements.iter();
    let conclusion = statements.find(|one| one.says == Says::Conclusion && !one.withdrawn)?;
    Some(Words::Borrowed(conclusion.words.open().as_str())).filter(|_| !session.withdrawn)
}
