//! From a draft to typed statements.

use crate::base::code::Code;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::around::Around;
use crate::examination::finding::items::{keys_once, readable, uuid};
use crate::examination::finding::performers::must_be_performer;
use crate::examination::finding::precautions::{days_fit, precautions, precautions_are_stated};
use crate::examination::finding::{
    Confirmation, Finding, Identifier, Instrument, Notation, Performer, Person, Session, Signature,
    circumstances, identity, notation, own_words, times, traces, value, visit,
};
use crate::examination::intake::draft::{
    Draft, FindingDraft, IdentifierDraft, InstrumentDraft, PatientDraft, SessionDraft,
};
use crate::examination::intake::parts::SignatureDraft;
use chrono::{DateTime, Utc};
use uuid::Uuid;

pub(super) fn session(draft: &Draft, now: DateTime<Utc>, problems: &mut Problems) -> Session {
    let said = &draft.session;
    let performers = performers(draft, problems);
    let instruments = instruments(draft, problems);
    let times = times::of_session(said, now, problems);
    // An identity that does not read has been told; the document goes nowhere without it.
    let id = uuid(&said.id, "/session/id", problems).unwrap_or_default();
    let precautions = precautions(draft, problems);
    let countersigned = countersigned(said, problems);
    signatures_name_performers(said, &performers, problems);
    let confirmations = confirmations(said, &performers, problems);
    precautions_are_stated(draft, problems);
    let circumstances = circumstances::of(said.circumstances.as_ref(), &times, now, problems);
    let findings = findings(draft, id, &performers, problems);
    let around = Around::new(id, &performers, &instruments, &findings, &times, now);
    let statements = own_words::of(draft, &around, problems);
    findings_name_instruments(&findings, &instruments, problems);
    visit::holds_together(draft, &findings, &performers, problems);
    times::crosses(draft.fascicle, &times, problems);
    let (encounter, encounter_at_end) = visit::stays(said, problems);
    let traces = traces::of(draft, &around, problems);
    confirmed_in_between(&confirmations, &times, problems);
    days_fit(&precautions, &times, now, problems);
    times::day_of_birth(draft, times.start.instant.date_naive(), problems);
    let countersignature = countersigned.as_ref();
    nothing_lies_in_the_future(countersignature, &confirmations, &findings, now, problems);
    Session {
        form: draft.fascicle,
        id,
        version: said.version,
        withdrawn: said.withdrawn,
        source: said.source.clone(),
        test_data: draft.test_data,
        start: times.start,
        end: times.end,
        entered: times.entered,
        location: said.location.as_ref().map(identifier),
        encounter: encounter.map(identifier),
        encounter_at_end: encounter_at_end.map(identifier),
        visit: visit::of(said),
        signed: Signature {
            by: said.signed.by.clone(),
            at: times.signed,
        },
        countersigned,
        body_position: said.body_position.clone(),
        more_affected: said.more_affected_side,
        condition: condition(said),
        circumstances,
        consent: said.consent.given,
        consent_how: Private::new(said.consent.how.clone()),
        patient: person(&draft.patient),
        performers,
        precautions,
        none_known: draft.no_precautions.is_some(),
        instruments,
        confirmations,
        findings,
        traces,
        statements,
    }
}

fn countersigned(session: &SessionDraft, problems: &mut Problems) -> Option<Signature> {
    let signature = session.countersigned.as_ref()?;
    let at = times::instant(&signature.at, "/session/countersigned/at", problems)?;
    Some(Signature {
        by: signature.by.clone(),
        at,
    })
}

fn person(draft: &PatientDraft) -> Person {
    Person {
        identifier: identifier(&draft.identifier),
        birth_date: Private::new(draft.birth_date.clone()),
        family_name: draft.family_name.clone().map(Private::new),
        sex: draft.sex.map(Private::new),
    }
}

fn condition(draft: &SessionDraft) -> Option<(Private<String>, Option<String>)> {
    let condition = draft.condition.as_ref()?;
    Some((
        Private::new(condition.words.clone()),
        condition.onset.clone(),
    ))
}

fn identifier(draft: &IdentifierDraft) -> Identifier {
    Identifier {
        system: draft.system.clone(),
        value: Private::new(draft.value.clone()),
    }
}

fn performers(draft: &Draft, problems: &mut Problems) -> Vec<Performer> {
    keys_once(
        "/performers",
        readable(&draft.performers).map(|(index, performer)| (index, performer.key.as_str())),
        problems,
    );
    readable(&draft.performers)
        .map(|(_, performer)| Performer {
            key: performer.key.clone(),
            identifier: identifier(&performer.identifier),
            role: performer.role.clone(),
            organisation: identifier(&performer.organisation),
        })
        .collect()
}

fn instruments(draft: &Draft, problems: &mut Problems) -> Vec<Instrument> {
    keys_once(
        "/instruments",
        readable(&draft.instruments).map(|(index, instrument)| (index, instrument.key.as_str())),
        problems,
    );
    // One instrument under two keys would become one resource twice.
    let names: Vec<(usize, String)> = readable(&draft.instruments)
        .map(|(index, one)| {
            (
                index,
                format!("{} {}", one.identifier.system, one.identifier.value),
            )
        })
        .collect();
    let names = names.iter().map(|(index, name)| (*index, name.as_str()));
    keys_once("/instruments", names, problems);
    readable(&draft.instruments)
        .filter_map(|(index, instrument)| one_instrument(index, instrument, problems))
        .collect()
}

fn one_instrument(
    index: usize,
    draft: &InstrumentDraft,
    problems: &mut Problems,
) -> Option<Instrument> {
    let path = format!("/instruments/{index}/resolution");
    Some(Instrument {
        key: draft.key.clone(),
        kind: draft.kind.clone(),
        identifier: identifier(&draft.identifier),
        resolution: value::digits(&draft.resolution, &path, problems)?,
        unit: draft.unit.clone(),
    })
}

fn signatures_name_performers(
    session: &SessionDraft,
    performers: &[Performer],
    problems: &mut Problems,
) {
    let mut named = |signature: &SignatureDraft, path: &str| {
        must_be_performer(&signature.by, path, performers, problems);
    };
    named(&session.signed, "/session/signed/by");
    if let Some(signature) = &session.countersigned {
        named(signature, "/session/countersigned/by");
    }
}

/// Holds the times that are no times of the session itself against now.
fn nothing_lies_in_the_future(
    countersigned: Option<&Signature>,
    confirmations: &[Confirmation],
    findings: &[Finding],
    now: DateTime<Utc>,
    problems: &mut Problems,
) {
    let signed = countersigned.map(|s| (&s.at, "/session/countersigned/at".to_owned()));
    let confirmed = confirmations
        .iter()
        .map(|c| (&c.at, format!("{}/at", c.at_path)));
    let found = findings
        .iter()
        .filter_map(|f| f.at.as_ref().map(|at| (at, format!("{}/at", f.path))));
    for (time, path) in signed.into_iter().chain(confirmed).chain(found) {
        times::not_in_the_future(time, &path, now, problems);
    }
}

fn confirmations(
    session: &SessionDraft,
    performers: &[Performer],
    problems: &mut Problems,
) -> Vec<Confirmation> {
    let mut read = Vec::new();
    for (index, draft) in session.confirmations.iter().enumerate() {
        let at_path = format!("/session/confirmations/{index}");
        must_be_performer(&draft.by, &format!("{at_path}/by"), performers, problems);
        let at = times::instant(&draft.at, &format!("{at_path}/at"), problems);
        read.extend(at.map(|at| Confirmation {
            at_path,
            code: draft.code.clone(),
            path: draft.path.clone(),
            mark: draft.mark.clone(),
            by: draft.by.clone(),
            at,
            reason: Private::new(draft.reason.clone()),
            what: None,
        }));
    }
    read
}

/// A caution is confirmed after the examination began and before the whole is signed.
fn confirmed_in_between(
    confirmations: &[Confirmation],
    times: &times::Times,
    problems: &mut Problems,
) {
    for confirmation in confirmations {
        let at = confirmation.at.instant;
        if at < times.start.instant || at > times.signed.instant {
            let what = format!("{} is not between start and signing", confirmation.at.text);
            let hint = "a caution is confirmed when it is seen, and the signature covers it";
            let path = format!("{}/at", confirmation.at_path);
            problems.error(Code::ConfirmationTime, &path, what, hint);
        }
    }
}

fn findings(
    draft: &Draft,
    session: Uuid,
    performers: &[Performer],
    problems: &mut Problems,
) -> Vec<Finding> {
    let position = &draft.session.body_position;
    let mut all: Vec<(usize, FindingDraft, Option<Notation>)> = Vec::new();
    for (index, finding) in readable(&draft.findings) {
        let said = notation::spread(finding, &format!("/findings/{index}"), problems);
        all.extend(said.into_iter().map(|(one, plane)| (index, one, plane)));
    }
    // A withdrawn finding may stand beside the one that takes its place, each with its own id.
    let keys: Vec<(usize, String)> = all
        .iter()
        .filter(|(_, finding, _)| !finding.withdrawn)
        .map(|(index, finding, _)| (*index, identity::key(finding, position).join("\u{1f}")))
        .collect();
    let ids: Vec<(usize, String)> = all
        .iter()
        .map(|(index, finding, _)| {
            let id = identity::of_finding(finding, session, position);
            (*index, id.to_string())
        })
        .collect();
    for list in [&keys, &ids] {
        let list = list.iter().map(|(index, key)| (*index, key.as_str()));
        keys_once("/findings", list, problems);
    }
    all.into_iter()
        .filter_map(|(index, finding, plane)| {
            let path = format!("/findings/{index}");
            let read = one_finding(&finding, &path, session, position, problems)?;
            let examiner = visit::examiner(&finding, &path, draft.fascicle, performers, problems);
            Some(Finding {
                notation: plane,
                examiner,
                ..read
            })
        })
        .collect()
}

fn one_finding(
    draft: &FindingDraft,
    path: &str,
    session: Uuid,
    body_position: &str,
    problems: &mut Problems,
) -> Option<Finding> {
    let outcome = value::outcome(draft, path, problems);
    let stretch = match &draft.stretch {
        Some(stretch) => Some(value::stretch(
            stretch,
            &format!("{path}/stretch"),
            problems,
        )?),
        None => None,
    };
    let pain_during = match &draft.pain_during {
        Some(text) => Some(value::digits(
            text,
            &format!("{path}/pain_during"),
            problems,
        )?),
        None => None,
    };
    let at = match &draft.at {
        Some(text) => Some(times::instant(text, &format!("{path}/at"), problems)?),
        None => None,
    };
    Some(Finding {
        path: path.to_owned(),
        id: identity::of_finding(draft, session, body_position),
        measure: draft.measure.clone(),
        side: draft.side,
        position: draft
            .position
            .clone()
            .unwrap_or_else(|| body_position.to_owned()),
        neighbour: draft
            .neighbour
            .as_ref()
            .map(|n| (n.joint.clone(), n.position.clone())),
        outcome: outcome?,
        end_feel: draft.end_feel.clone(),
        pain_during,
        stretch,
        parts: value::parts(
            draft.parts.as_deref().unwrap_or_default(),
            &format!("{path}/parts"),
            problems,
        ),
        condition: draft.condition.clone(),
        method: draft.method.clone(),
        instrument: draft.instrument.clone(),
        examiner: None,
        compared: draft.compared.as_ref().map(|compared| visit::Compared {
            beside: compared.beside.clone(),
            felt: compared.felt.clone(),
        }),
        repeat: draft.repeat.unwrap_or(1),
        at,
        note: draft.note.clone().map(Private::new),
        withdrawn: draft.withdrawn,
        notation: None,
    })
}

fn findings_name_instruments(
    findings: &[Finding],
    instruments: &[Instrument],
    problems: &mut Problems,
) {
    for finding in findings {
        let Some(key) = &finding.instrument else {
            continue;
        };
        if !instruments.iter().any(|instrument| instrument.key == *key) {
            let path = format!("{}/instrument", finding.path);
            let what = format!("{key} is no key of instruments");
            problems.error(
                Code::ReferenceInstrument,
                &path,
                what,
                "name one of the instruments",
            );
        }
    }
}
