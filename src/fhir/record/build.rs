//! Building the resources of a session.

use crate::base::exact::Exact;
use crate::base::json::tree::{NoTree, tree};
use crate::base::private::Private;
use crate::examination::compare::part::Input;
use crate::examination::finding::{self, Instrument, Performer, Session};
use crate::examination::trace::session::Samples;
use crate::fhir::coding::{Amount, Code, Coded, CodedRange, CodedValue, Concept};
use crate::fhir::record::r4::{
    Agent, Annotation, CodeableConcept, Coding, Component, Device, DeviceName, Effective, Entity,
    Extension, Identifier, Meta, Narrative, Observation, ObservationValue, Period, Provenance,
    Quantity, Range, Reference, ReferenceRange, Resource, SampledData,
};
use crate::fhir::record::status::Status;
use crate::fhir::record::{Entry, REPORT, Record, URI_SYSTEM, identifier_of, report};
use crate::fhir::summary::Summary;
use crate::tables::catalogue::rows::Kind;
use crate::tables::catalogue::{CANONICAL, Catalogue, UCUM};
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

pub(super) fn entry(
    full_url: String,
    kind: &'static str,
    identifier: Option<(String, Private<String>)>,
    path: Option<String>,
    resource: &Resource,
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
            name: instrument.kind.clone(),
            kind: "user-friendly-name",
        }],
        note: vec![Annotation {
            text: format!("resolution {} {}", instrument.resolution, instrument.unit),
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

fn observation(session: &Session, one: &Named<'_>, all: &[Named<'_>]) -> Observation {
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
            system: URI_SYSTEM.to_owned(),
            value: urn.clone(),
        }],
        status: Status::first(session.withdrawn || one.withdrawn, one.preliminary).code(),
        category: vec![category("exam", "Exam"), category("therapy", "Therapy")],
        code: concept(&one.code),
        subject: subject(session),
        encounter: encounter(session),
        effective: effective(session, one),
        issued: session.signed.at.text.clone(),
        performer: session.performers.iter().map(practitioner).collect(),
        value: value(&one.value),
        interpretation: one.interpretation.iter().map(concept).collect(),
        note: notes(one),
        body_site: one.body_site.as_ref().map(concept),
        method: one.method.as_ref().map(concept),
        device: device.map(|device| literal("Device", device_urn(device))),
        reference_range: one.ranges.iter().map(reference_range).collect(),
        has_member: members(one, all),
        derived_from: sources(one, all),
        component: one.parts.iter().filter_map(component).collect(),
    }
}

/// "The contents of the html element are an XHTML fragment" (FHIR R4, narrative.html): words of a
/// person go in as text, never as markup.
fn narrative(one: &Coded) -> Narrative {
    let words = partial_escape(one.told.open());
    Narrative {
        status: "generated",
        div: format!("<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>{words}</p></div>"),
    }
}

fn body_position(position: &Concept) -> Extension {
    Extension {
        url: BODY_POSITION,
        value_codeable_concept: concept(position),
    }
}

fn component((code, part): &(Concept, CodedValue)) -> Option<Component> {
    value(part).map(|value| Component {
        code: concept(code),
        value,
    })
}

/// A panel has every other statement of the session as a member.
fn members(one: &Coded, all: &[Named<'_>]) -> Vec<Reference> {
    let of_panel = all
        .iter()
        .filter(|other| one.kind == Kind::Panel && other.coded.kind != Kind::Panel);
    of_panel
        .map(|other| literal("Observation", other.urn.clone()))
        .collect()
}

/// What it was derived from: a member of this record, or an Observation of an earlier one, of which
/// only its identifier is known here.
fn sources(one: &Coded, all: &[Named<'_>]) -> Vec<Reference> {
    let source = |input: &Input| match input {
        Input::Here(id) => {
            let other = all.iter().find(|other| other.coded.id == *id)?;
            Some(literal("Observation", other.urn.clone()))
        }
        Input::Earlier(urn) => Some(Reference {
            kind: Some("Observation".to_owned()),
            identifier: Some(Identifier {
                system: URI_SYSTEM.to_owned(),
                value: urn.clone(),
            }),
            ..Reference::default()
        }),
    };
    one.derived_from.iter().filter_map(source).collect()
}

fn reference_range(range: &CodedRange) -> ReferenceRange {
    let years = |years: u32| Quantity {
        value: Exact::from(years),
        comparator: None,
        unit: "year".to_owned(),
        system: UCUM.to_owned(),
        code: "a".to_owned(),
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
        text: range.text.clone(),
    }
}

pub(super) fn meta(session: &Session, profile: &str) -> Meta {
    let tag = session.test_data.then(|| Coding {
        system: "http://terminology.hl7.org/CodeSystem/v3-ActReason".to_owned(),
        code: "HTEST".to_owned(),
        display: "test health data".to_owned(),
    });
    Meta {
        profile: vec![format!("{CANONICAL}/StructureDefinition/{profile}")],
        tag: tag.into_iter().collect(),
    }
}

fn category(code: &str, display: &str) -> CodeableConcept {
    let coding = Coding {
        system: CATEGORY.to_owned(),
        code: code.to_owned(),
        display: display.to_owned(),
    };
    CodeableConcept {
        coding: vec![coding],
        text: None,
    }
}

pub(super) fn concept(concept: &Concept) -> CodeableConcept {
    CodeableConcept {
        coding: concept.codes.iter().map(coding).collect(),
        text: concept.text.clone(),
    }
}

fn coding(code: &Code) -> Coding {
    Coding {
        system: code.system.clone(),
        code: code.code.clone(),
        display: code.display.clone(),
    }
}

pub(super) fn literal(kind: &str, reference: String) -> Reference {
    Reference {
        reference: Some(reference),
        kind: Some(kind.to_owned()),
        ..Reference::default()
    }
}

fn logical(kind: &str, identifier: &finding::Identifier) -> Reference {
    Reference {
        kind: Some(kind.to_owned()),
        identifier: Some(plain_identifier(identifier)),
        ..Reference::default()
    }
}

fn plain_identifier(identifier: &finding::Identifier) -> Identifier {
    Identifier {
        system: identifier.system.clone(),
        value: identifier.value.open().clone(),
    }
}

pub(super) fn subject(session: &Session) -> Reference {
    logical("Patient", &session.patient.identifier)
}

pub(super) fn encounter(session: &Session) -> Option<Reference> {
    let encounter = session.encounter.as_ref()?;
    Some(logical("Encounter", encounter))
}

pub(super) fn practitioner(performer: &Performer) -> Reference {
    logical("Practitioner", &performer.identifier)
}

fn effective(session: &Session, one: &Coded) -> Effective {
    match one.finding.as_ref().and_then(|finding| finding.at.as_ref()) {
        Some(at) => Effective::EffectiveDateTime(at.text.clone()),
        None => Effective::EffectivePeriod(performed(session)),
    }
}

pub(super) fn performed(session: &Session) -> Period {
    Period {
        start: session.start.text.clone(),
        end: session.end.text.clone(),
    }
}

fn value(value: &CodedValue) -> Option<ObservationValue> {
    Some(match value {
        CodedValue::Amount(amount) => ObservationValue::ValueQuantity(quantity(amount)),
        CodedValue::Concept(found) => ObservationValue::ValueCodeableConcept(concept(found)),
        CodedValue::Absent(reason) => ObservationValue::DataAbsentReason(concept(reason)),
        CodedValue::Count(count) => ObservationValue::ValueInteger(*count),
        CodedValue::Day(day) => ObservationValue::ValueDateTime(day.to_string()),
        CodedValue::When(written) => ObservationValue::ValueDateTime(written.clone()),
        CodedValue::Words(words) => ObservationValue::ValueString(words.open().clone()),
        CodedValue::Samples(samples) => ObservationValue::ValueSampledData(sampled(samples)),
        CodedValue::Members => return None,
    })
}

/// "The values, separated by a single space"; "the length of time between sampling times, measured
/// in milliseconds" (FHIR R4 4.0.1, datatypes.html#SampledData).
fn sampled(samples: &Samples) -> SampledData {
    let degrees = samples.degrees.open().iter();
    let data: Vec<String> = degrees.map(ToString::to_string).collect();
    SampledData {
        origin: Quantity {
            value: Exact::ZERO,
            comparator: None,
            unit: "degree".to_owned(),
            system: UCUM.to_owned(),
            code: "deg".to_owned(),
        },
        period: samples.period,
        dimensions: 1,
        data: data.join(" "),
    }
}

fn quantity(amount: &Amount) -> Quantity {
    Quantity {
        value: amount.value,
        comparator: amount.at_least.then_some(">="),
        unit: amount.unit.clone(),
        system: UCUM.to_owned(),
        code: amount.code.clone(),
    }
}

fn notes(one: &Coded) -> Vec<Annotation> {
    one.notes
        .iter()
        .map(|note| Annotation {
            text: note.open().clone(),
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
        system: URI_SYSTEM.to_owned(),
        // Not the full URL: a server writes its own address in the place of that.
        code: urn(finding::derived_identity(
            "provenance-tag",
            &[&session.source, &id, &version],
        )),
        display: "version of a session".to_owned(),
    });
    let provenance = Provenance {
        meta,
        target: all
            .iter()
            .map(|one| literal("Observation", one.urn.clone()))
            .chain([literal(REPORT, report::urn_of_report(session))])
            .collect(),
        occurred_period: performed(session),
        recorded: session.signed.at.text.clone(),
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
fn made_from(session: &Session, catalogue: &Catalogue) -> Vec<Entity> {
    let source = |what| Entity {
        role: "source",
        what,
    };
    let named = |display: String| {
        source(Reference {
            display: Some(display),
            ..Reference::default()
        })
    };
    let mut sources = vec![
        source(Reference {
            identifier: Some(Identifier {
                system: session.source.clone(),
                value: session_version(session.id, session.version),
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

fn agents(session: &Session) -> Vec<Agent> {
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
    let mut agents: Vec<Agent> = people
        .map(|(code, display, performer)| Agent {
            kind: one_coding(PARTICIPANT, code, display),
            role: vec![CodeableConcept {
                coding: Vec::new(),
                text: Some(performer.role.clone()),
            }],
            who: practitioner(performer),
            on_behalf_of: Some(logical("Organization", &performer.organisation)),
        })
        .collect();
    agents.push(Agent {
        kind: one_coding(PARTICIPANT, "assembler", "Assembler"),
        role: Vec::new(),
        who: Reference {
            kind: Some("Device".to_owned()),
            display: Some(format!("Fascicle {}", env!("CARGO_PKG_VERSION"))),
            ..Reference::default()
        },
        on_behalf_of: None,
    });
    agents
}

fn one_coding(system: &str, code: &str, display: &str) -> CodeableConcept {
    let coding = Coding {
        system: system.to_owned(),
        code: code.to_owned(),
        display: display.to_owned(),
    };
    CodeableConcept {
        coding: vec![coding],
        text: None,
    }
}
