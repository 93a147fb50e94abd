//! Building the resources of a session.

use crate::base::exact::Exact;
use crate::base::json::tree::NoTree;
use crate::base::private::Private;
use crate::examination::compare::part::Input;
use crate::examination::finding::{self, Finding, Instrument, Session};
use crate::examination::trace::traced::Samples;
use crate::fhir::coding::{Amount, Coded, CodedRange, CodedValue, Concept};
use crate::fhir::record::parts::{
    concept, encounter, entry, literal, logical, meta, performed, plain_identifier, practitioner,
    subject, urn,
};
use crate::fhir::record::r4::{
    Agent, Annotation, CodeableConcept, Coding, Component, Device, DeviceName, Effective, Entity,
    Extension, Identifier, Narrative, Observation, ObservationValue, Provenance, Quantity, Range,
    Reference, ReferenceRange, Resource, SampledData, Words,
};
use crate::fhir::record::status::Status;
use crate::fhir::record::{Entry, REPORT, Record, URI_SYSTEM, identifier_of, report};
use crate::fhir::summary::Summary;
use crate::tables::catalogue::rows::Kind;
use crate::tables::catalogue::{Catalogue, UCUM};
use quick_xml::escape::partial_escape;
use uuid::Uuid;

const BODY_POSITION: &str = "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition";
const CATEGORY: &str = "http://terminology.hl7.org/CodeSystem/observation-category";
const PARTICIPANT: &str = "http://terminology.hl7.org/CodeSystem/provenance-participant-type";
const OPERATION: &str = "http://terminology.hl7.org/CodeSystem/v3-DataOperation";

pub(super) fn record(
    session: &Session,
    coded: &[Coded],
    summary: &Summary,
    catalogue: &Catalogue,
) -> Result<Record, NoTree> {
    let mut entries = Vec::new();
    for instrument in used_instruments(session, coded) {
        entries.push(device_entry(session, instrument)?);
    }
    let told = summary.xhtml();
    let named: Vec<Named<'_>> = coded.iter().map(|one| named(session, one)).collect();
    for one in &named {
        if one.coded.kind == Kind::Panel {
            entries.push(report::entry(session, one.coded, &one.urn, &told)?);
        }
        entries.push(observation_entry(session, one, &named, &told)?);
    }
    entries.push(provenance_entry(session, &named, catalogue)?);
    Ok(Record {
        session: session.id,
        version: session.version,
        source: session.source.clone(),
        patient: (
            session.patient.identifier.system.clone(),
            session.patient.identifier.value.clone(),
        ),
        test_data: session.test_data,
        entries,
    })
}

fn used_instruments<'a>(session: &'a Session, coded: &[Coded]) -> Vec<&'a Instrument> {
    let used = |key: &str| {
        coded
            .iter()
            .any(|one| one.finding.as_ref().and_then(|f| f.instrument.as_deref()) == Some(key))
    };
    session
        .instruments
        .iter()
        .filter(|instrument| used(&instrument.key))
        .collect()
}

/// A statement with the name under which the others refer to it.
struct Named<'a> {
    coded: &'a Coded,
    urn: String,
}

fn named<'a>(session: &Session, coded: &'a Coded) -> Named<'a> {
    let identifier = identifier_of(&session.source, session.id, coded.id, coded.role);
    let urn = urn(identifier);
    Named { coded, urn }
}

fn device_urn(instrument: &Instrument) -> String {
    let identifier = &instrument.identifier;
    let parts = [identifier.system.as_str(), identifier.value.open().as_str()];
    urn(finding::derived_identity("instrument", &parts))
}

fn device_entry(session: &Session, instrument: &Instrument) -> Result<Entry, NoTree> {
    let identifier = &instrument.identifier;
    let device = Device {
        meta: meta(session, "instrument"),
        identifier: vec![plain_identifier(identifier)],
        device_name: vec![DeviceName {
            name: Words::Borrowed(&instrument.kind),
            kind: "user-friendly-name",
        }],
        note: vec![Annotation {
            text: format!("resolution {} {}", instrument.resolution, instrument.unit).into(),
        }],
    };
    let key = (identifier.system.clone(), identifier.value.clone());
    entry(
        device_urn(instrument),
        "Device",
        Some(key),
        None,
        &Resource::Device(device),
    )
}

fn observation_entry(
    session: &Session,
    one: &Named<'_>,
    all: &[Named<'_>],
    told: &str,
) -> Result<Entry, NoTree> {
    let full_url = one.urn.clone();
    let key = (URI_SYSTEM.to_owned(), Private::new(full_url.clone()));
    let finding = one.coded.finding.as_ref();
    let path = finding.map(|finding| finding.path.clone());
    let mut observation = observation(session, one, all);
    if one.coded.kind == Kind::Panel {
        observation.text = report::narrative(told);
    }
    let observation = Resource::Observation(Box::new(observation));
    entry(full_url, "Observation", Some(key), path, &observation)
}

fn observation<'a>(
    session: &'a Session,
    one: &'a Named<'_>,
    all: &'a [Named<'_>],
) -> Observation<'a> {
    let Named { coded: one, urn } = one;
    let instrument = one
        .finding
        .as_ref()
        .and_then(|finding| finding.instrument.as_deref());
    let device = session
        .instruments
        .iter()
        .find(|i| Some(i.key.as_str()) == instrument);
    Observation {
        meta: meta(session, one.kind.profile()),
        text: narrative(one),
        extension: one.position.iter().map(body_position).collect(),
        identifier: vec![Identifier {
            system: URI_SYSTEM.into(),
            value: urn.into(),
        }],
        status: Status::first(session.withdrawn || one.withdrawn, one.preliminary).code(),
        category: vec![category("exam", "Exam"), category("therapy", "Therapy")],
        code: concept(&one.code),
        subject: subject(session),
        encounter: encounter(session),
        effective: effective(session, one),
        issued: Words::Borrowed(&session.signed.at.text),
        performer: examiners(session, one.finding.as_ref()),
        value: value(&one.value),
        interpretation: one.interpretation.iter().map(concept).collect(),
        note: notes(one),
        body_site: one.body_site.as_ref().map(concept),
        method: one.method.as_ref().map(concept),
        device: device.map(|device| literal("Device", device_urn(device).into())),
        reference_range: one.ranges.iter().map(reference_range).collect(),
        has_member: members(one, all),
        derived_from: sources(one, all),
        component: one.parts.iter().filter_map(component).collect(),
    }
}

/// Who examined it; where several did and nobody says who, all of them.
fn examiners<'a>(session: &'a Session, finding: Option<&Finding>) -> Vec<Reference<'a>> {
    let examiner = finding.and_then(|finding| finding.examiner.as_ref());
    let all = session.performers.iter();
    let named = all.filter(|one| examiner.is_none_or(|examiner| one.key == examiner.key));
    named.map(practitioner).collect()
}

/// "The contents of the html element are an XHTML fragment" (FHIR R4, narrative.html): words of a
/// person go in as text, never as markup.
fn narrative(one: &Coded) -> Narrative<'static> {
    let words = partial_escape(one.told.open());
    Narrative {
        status: "generated",
        div: format!("<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>{words}</p></div>").into(),
    }
}

fn body_position(position: &Concept) -> Extension<'_> {
    Extension {
        url: BODY_POSITION,
        value_codeable_concept: concept(position),
    }
}

fn component((code, part): &(Concept, CodedValue)) -> Option<Component<'_>> {
    value(part).map(|value| Component {
        code: concept(code),
        value,
    })
}

/// A panel has every other statement of the session as a member.
fn members<'a>(one: &Coded, all: &'a [Named<'_>]) -> Vec<Reference<'a>> {
    let of_panel = all
        .iter()
        .filter(|other| one.kind == Kind::Panel && other.coded.kind != Kind::Panel);
    of_panel
        .map(|other| literal("Observation", (&other.urn).into()))
        .collect()
}

/// What it was derived from: a member of this record, or an Observation of an earlier one, of which
/// only its identifier is known here.
fn sources<'a>(one: &'a Coded, all: &'a [Named<'_>]) -> Vec<Reference<'a>> {
    let source = |input: &'a Input| match input {
        Input::Here(id) => {
            let other = all.iter().find(|other| other.coded.id == *id)?;
            Some(literal("Observation", (&other.urn).into()))
        }
        Input::Earlier(urn) => Some(Reference {
            kind: Some("Observation".into()),
            identifier: Some(Identifier {
                system: URI_SYSTEM.into(),
                value: urn.into(),
            }),
            ..Reference::default()
        }),
    };
    one.derived_from.iter().filter_map(source).collect()
}

fn reference_range(range: &CodedRange) -> ReferenceRange<'_> {
    let years = |years: u32| Quantity {
        value: Exact::from(years),
        comparator: None,
        unit: "year".into(),
        system: UCUM.into(),
        code: "a".into(),
    };
    let (from, to) = range.ages;
    let age = Range {
        low: from.map(years),
        high: to.map(years),
    };
    ReferenceRange {
        low: quantity(&range.low),
        high: quantity(&range.high),
        age: (from.is_some() || to.is_some()).then_some(age),
        text: Words::Borrowed(&range.text),
    }
}

fn category(code: &'static str, display: &'static str) -> CodeableConcept<'static> {
    one_coding(CATEGORY, code, display)
}

fn effective<'a>(session: &'a Session, one: &'a Coded) -> Effective<'a> {
    match one.finding.as_ref().and_then(|finding| finding.at.as_ref()) {
        Some(at) => Effective::EffectiveDateTime(Words::Borrowed(&at.text)),
        None => Effective::EffectivePeriod(performed(session)),
    }
}

fn value(value: &CodedValue) -> Option<ObservationValue<'_>> {
    Some(match value {
        CodedValue::Amount(amount) => ObservationValue::ValueQuantity(quantity(amount)),
        CodedValue::Concept(found) => ObservationValue::ValueCodeableConcept(concept(found)),
        CodedValue::Absent(reason) => ObservationValue::DataAbsentReason(concept(reason)),
        CodedValue::Count(count) => ObservationValue::ValueInteger(*count),
        CodedValue::Day(day) => ObservationValue::ValueDateTime(day.to_string().into()),
        CodedValue::When(written) => ObservationValue::ValueDateTime(written.into()),
        CodedValue::Words(words) => ObservationValue::ValueString(words.open().into()),
        CodedValue::Samples(samples) => ObservationValue::ValueSampledData(sampled(samples)),
        CodedValue::Members => return None,
    })
}

/// "The values, separated by a single space"; "the length of time between sampling times, measured
/// in milliseconds" (FHIR R4 4.0.1, datatypes.html#SampledData).
fn sampled(samples: &Samples) -> SampledData<'static> {
    let degrees = samples.degrees.open().iter();
    let data: Vec<String> = degrees.map(ToString::to_string).collect();
    SampledData {
        origin: Quantity {
            value: Exact::ZERO,
            comparator: None,
            unit: "degree".into(),
            system: UCUM.into(),
            code: "deg".into(),
        },
        period: samples.period,
        dimensions: 1,
        data: data.join(" ").into(),
    }
}

fn quantity(amount: &Amount) -> Quantity<'_> {
    Quantity {
        value: amount.value,
        comparator: amount.at_least.then_some(">="),
        unit: Words::Borrowed(&amount.unit),
        system: UCUM.into(),
        code: Words::Borrowed(&amount.code),
    }
}

fn notes(one: &Coded) -> Vec<Annotation<'_>> {
    one.notes
        .iter()
        .map(|note| Annotation {
            text: Words::Borrowed(note.open()),
        })
        .collect()
}

fn provenance_entry(
    session: &Session,
    all: &[Named<'_>],
    catalogue: &Catalogue,
) -> Result<Entry, NoTree> {
    let version = session.version.to_string();
    let id = session.id.to_string();
    let full_url = urn(finding::derived_identity(
        "provenance",
        &[&session.source, &id, &version],
    ));
    let (activity, display) = if session.version == 1 {
        ("CREATE", "create")
    } else {
        ("UPDATE", "revise")
    };
    let mut meta = meta(session, "session-provenance");
    meta.tag.push(Coding {
        system: URI_SYSTEM.into(),
        // Not the full URL: a server writes its own address in the place of that.
        code: urn(finding::derived_identity(
            "provenance-tag",
            &[&session.source, &id, &version],
        ))
        .into(),
        display: "version of a session".into(),
    });
    let provenance = Provenance {
        meta,
        target: all
            .iter()
            .map(|one| literal("Observation", (&one.urn).into()))
            .chain([literal(REPORT, report::urn_of_report(session).into())])
            .collect(),
        occurred_period: performed(session),
        recorded: Words::Borrowed(&session.signed.at.text),
        location: session
            .location
            .as_ref()
            .map(|one| logical("Location", one)),
        activity: one_coding(OPERATION, activity, display),
        agent: agents(session),
        entity: made_from(session, catalogue),
    };
    entry(
        full_url,
        "Provenance",
        None,
        None,
        &Resource::Provenance(Box::new(provenance)),
    )
}

/// What the record was made from: the session, the tables, and what an operator laid over them.
fn made_from<'a>(session: &'a Session, catalogue: &Catalogue) -> Vec<Entity<'a>> {
    let source = |what| Entity {
        role: "source",
        what,
    };
    let named = |display: String| {
        source(Reference {
            display: Some(display.into()),
            ..Reference::default()
        })
    };
    let mut sources = vec![
        source(Reference {
            identifier: Some(Identifier {
                system: Words::Borrowed(&session.source),
                value: session_version(session.id, session.version).into(),
            }),
            ..Reference::default()
        }),
        named(format!("tables of Fascicle, SHA-256 {}", catalogue.sha256)),
    ];
    let own = catalogue.own_files.iter();
    sources.extend(
        own.map(|(name, sha256)| {
            named(format!("{name} of the operator's tables, SHA-256 {sha256}"))
        }),
    );
    sources
}

/// How the Provenance names one version of a session.
pub(super) fn session_version(session: Uuid, version: u32) -> String {
    format!("{session}/{version}")
}

fn agents(session: &Session) -> Vec<Agent<'_>> {
    let signer = session
        .performers
        .iter()
        .filter(|p| p.key == session.signed.by);
    let countersigner = session.performers.iter().filter(|p| {
        session
            .countersigned
            .as_ref()
            .is_some_and(|c| c.by == p.key)
    });
    let performers = session.performers.iter();
    let performers = performers.map(|p| ("performer", "Performer", p));
    let people = signer.map(|p| ("author", "Author", p));
    let people = people
        .chain(performers)
        .chain(countersigner.map(|p| ("attester", "Attester", p)));
    let mut agents: Vec<Agent<'_>> = people
        .map(|(code, display, performer)| Agent {
            kind: one_coding(PARTICIPANT, code, display),
            role: vec![CodeableConcept {
                coding: Vec::new(),
                text: Some(Words::Borrowed(&performer.role)),
            }],
            who: practitioner(performer),
            on_behalf_of: Some(logical("Organization", &performer.organisation)),
        })
        .collect();
    agents.push(Agent {
        kind: one_coding(PARTICIPANT, "assembler", "Assembler"),
        role: Vec::new(),
        who: Reference {
            kind: Some("Device".into()),
            display: Some(concat!("Fascicle ", env!("CARGO_PKG_VERSION")).into()),
            ..Reference::default()
        },
        on_behalf_of: None,
    });
    agents
}

fn one_coding(
    system: &'static str,
    code: &'static str,
    display: &'static str,
) -> CodeableConcept<'static> {
    let coding = Coding {
        system: system.into(),
        code: code.into(),
        display: display.into(),
    };
    CodeableConcept {
        coding: vec![coding],
        text: None,
    }
}
