//! Earlier findings of a person that a record server holds.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::json::Node;
use crate::base::private::Private;
use crate::base::problem::{Problem, Problems};
use crate::delivery::deliver::gate::{self, Expected, Stopped};
use crate::delivery::deliver::held::matches;
use crate::delivery::deliver::http::Connection;
use crate::delivery::deliver::unanswered::Silence;
use crate::examination::compare::part::{EarlierSession, Input, Part};
use crate::examination::finding::{Identifier, Written};
use crate::examination::intake::parts::Side;
use crate::examination::measure::way::{Way, has_scale};
use crate::examination::measure::{Angle, Extent, Value};
use crate::fhir::record::status::Status;
use crate::fhir::record::{URI_SYSTEM, percent};
use crate::service::app::key::key_of;
use crate::tables::catalogue::rows::{Kind, Measure};
use crate::tables::catalogue::{Catalogue, NOT_TESTED};
use chrono::DateTime;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// Measures asked for in one search.
const AT_ONCE: usize = 10;
/// Observations of one answer: more are told, because a part of them would not be the latest.
const MOST: usize = 500;

/// Why nothing earlier is known from a record server.
#[derive(Debug)]
pub enum NotFound {
    /// The document does not say whose it is, or when.
    Document,
    /// The person is not known there exactly once, with the same birth date.
    Person(Stopped),
    /// No answer.
    Silence(Silence),
    /// An answer with this status that is no whole answer to a search.
    Answer(u16),
}

impl fmt::Display for NotFound {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Document => formatter.write_str("the document does not say whose it is, or when"),
            Self::Person(stopped) => write!(formatter, "{}: {}", stopped.code(), stopped.words()),
            Self::Silence(silence) => formatter.write_str(silence.code().word()),
            Self::Answer(status) => write!(
                formatter,
                "an answer {status} that is not the whole answer to a search"
            ),
        }
    }
}

impl std::error::Error for NotFound {}

impl From<Silence> for NotFound {
    fn from(silence: Silence) -> Self {
        Self::Silence(silence)
    }
}

/// What a record server holds of earlier findings.
#[derive(Debug)]
pub struct Found {
    /// By the examination they belong to, the latest first.
    pub sessions: Vec<EarlierSession>,
    /// How many do not read, so that nothing was compared with them.
    pub unread: usize,
}

impl Found {
    /// What is to be told of those that do not read; nothing where all do.
    pub fn words(&self) -> Option<String> {
        let count = self.unread;
        (count > 0).then(|| {
            let (findings, compared) = match count {
                1 => ("finding", "was not compared"),
                _ => ("findings", "were not compared"),
            };
            format!("holds {count} earlier {findings} that cannot be read and {compared}")
        })
    }

    /// The sessions of a record server, and the note on those that do not read.
    pub(super) fn told_of(self, target: &str) -> (Vec<EarlierSession>, Option<Problem>) {
        let mut problems = Problems::new();
        if let Some(words) = self.words() {
            let what = format!("record server {target} {words}");
            let hint =
                "look at what it holds of this person: somebody else may have changed it there";
            problems.note(Code::EarlierUnread, "/session", what, hint);
        }
        (self.sessions, problems.sorted().pop())
    }
}

/// The findings of the same person before this document that carry one of its measures, by the
/// examination they belong to, the latest first. The person is found as for a delivery, and the site
/// is compared here, because R4 has no search for it.
///
/// # Errors
/// [`NotFound`] when the server does not tell.
pub async fn sessions(
    connection: &Connection,
    text: &str,
    catalogue: &Catalogue,
) -> Result<Found, NotFound> {
    let document = Node::parse(text).map_err(|_unreadable| NotFound::Document)?;
    let key = key_of(text).ok_or(NotFound::Document)?;
    let person = person(connection, &document).await?;
    let start = document.at(&["session", "performed", "start"]);
    let start = start.and_then(Node::text).ok_or(NotFound::Document)?;
    let measures: BTreeSet<&str> = document
        .items_of("findings")
        .iter()
        .filter_map(|finding| finding.text_of("measure"))
        .filter(|measure| catalogue.measures.contains_key(*measure))
        .collect();
    let measures: Vec<&str> = measures.into_iter().collect();
    let system = Catalogue::system_of("measure");
    let mut found = Vec::new();
    for some in measures.chunks(AT_ONCE) {
        let codes: Vec<String> = some.iter().map(|code| format!("{system}|{code}")).collect();
        let form = format!(
            "subject={}&code={}&date=lt{}&_count={MOST}",
            percent(&person),
            percent(&codes.join(",")),
            percent(start)
        );
        found.extend(search(connection, "Observation", &form).await?);
    }
    let instruments = instruments(connection, &found).await?;
    let mut sessions: BTreeMap<i64, EarlierSession> = BTreeMap::new();
    let mut unread: usize = 0;
    for resource in &found {
        if Status::of(resource).is_some_and(|status| !status.stands()) {
            continue;
        }
        let Some((start, part)) = part(resource, &instruments, catalogue) else {
            unread = unread.saturating_add(1);
            continue;
        };
        let at = start.instant.timestamp_millis();
        if at >= key.examined_at {
            continue;
        }
        let session = sessions.entry(at).or_insert_with(|| EarlierSession {
            start,
            circumstances: None,
            parts: Vec::new(),
        });
        session.parts.push(part);
    }
    Ok(Found {
        sessions: sessions.into_values().rev().collect(),
        unread,
    })
}

async fn search(connection: &Connection, kind: &str, form: &str) -> Result<Vec<Node>, NotFound> {
    let answer = connection.search(kind, form).await?;
    matches(answer, kind).map_err(|answer| NotFound::Answer(answer.status))
}

async fn person(connection: &Connection, document: &Node) -> Result<String, NotFound> {
    let patient = document.member("patient").ok_or(NotFound::Document)?;
    let identifier = patient.member("identifier").ok_or(NotFound::Document)?;
    let (system, value) = (identifier.text_of("system"), identifier.text_of("value"));
    let (system, value) = system.zip(value).ok_or(NotFound::Document)?;
    let written = |name: &str| {
        patient
            .text_of(name)
            .map(|text| Private::new(text.to_owned()))
    };
    let expected = Expected {
        birth_date: written("birth_date").ok_or(NotFound::Document)?,
        family_name: written("family_name"),
    };
    let form = format!("identifier={}%7C{}", percent(system), percent(value));
    let answer = connection.search("Patient", &form).await?;
    let body = answer.body.as_ref().map(Private::open);
    let bundle = body.filter(|_| answer.status == 200);
    let bundle = bundle.ok_or(NotFound::Answer(answer.status))?;
    gate::person(bundle, system, value, &expected, &[]).map_err(NotFound::Person)
}

/// The kinds of the instruments that Observations refer to, by `Device/id`.
async fn instruments(
    connection: &Connection,
    found: &[Node],
) -> Result<BTreeMap<String, String>, NotFound> {
    let named = found
        .iter()
        .filter_map(|one| one.at(&["device", "reference"])?.text());
    let ids: BTreeSet<&str> = named
        .filter_map(|reference| reference.rsplit('/').next())
        .collect();
    let mut kinds = BTreeMap::new();
    let ids: Vec<&str> = ids.into_iter().collect();
    for some in ids.chunks(AT_ONCE) {
        let form = format!("_id={}", percent(&some.join(",")));
        for device in search(connection, "Device", &form).await? {
            let name = device.items_of("deviceName").first();
            let name = name.and_then(|name| name.text_of("name"));
            if let Some((id, name)) = device.text_of("id").zip(name) {
                kinds.insert(id.to_owned(), name.to_owned());
            }
        }
    }
    Ok(kinds)
}

fn examiner(resource: &Node) -> Option<Identifier> {
    let [one] = resource.items_of("performer") else {
        return None;
    };
    let identifier = one.member("identifier")?;
    Some(Identifier {
        system: identifier.text_of("system")?.to_owned(),
        value: Private::new(identifier.text_of("value")?.to_owned()),
    })
}

/// A finding of ours as the server holds it; nothing for what does not read.
fn part(
    resource: &Node,
    instruments: &BTreeMap<String, String>,
    catalogue: &Catalogue,
) -> Option<(Written, Part)> {
    Status::of(resource)?;
    let row = catalogue
        .measures
        .get(own(resource.member("code"), "measure")?)?;
    let place = own(resource.member("bodySite"), "site")?;
    let (sided, _) = place.split_once('.')?;
    let side = [Side::Left, Side::Right, Side::Middle]
        .into_iter()
        .find(|one| one.word() == sided)?;
    let at = resource
        .text_of("effectiveDateTime")
        .or_else(|| resource.at(&["effectivePeriod", "start"])?.text())?;
    let start = Written {
        text: at.to_owned(),
        instant: DateTime::parse_from_rfc3339(at).ok()?,
    };
    let ours = resource.items_of("identifier").iter();
    let mut ours = ours.filter(|one| one.text_of("system") == Some(URI_SYSTEM));
    let urn = ours.find_map(|one| one.text_of("value"))?;
    let part = Part {
        input: Input::Earlier(urn.to_owned()),
        value: value(resource, row, catalogue)?,
        way: way(resource, row, instruments, catalogue)?,
        examiner: examiner(resource),
        row: row.clone(),
        side,
        withdrawn: false,
    };
    Some((start, part))
}

fn way(
    resource: &Node,
    row: &Measure,
    instruments: &BTreeMap<String, String>,
    catalogue: &Catalogue,
) -> Option<Way> {
    let mut position = resource.items_of("extension").iter();
    let position =
        position.find_map(|one| own(one.member("valueCodeableConcept"), "body-position"));
    let device = resource.at(&["device", "reference"]).and_then(Node::text);
    let device = device.and_then(|device| instruments.get(device.rsplit('/').next()?));
    let neighbour = component(resource, "neighbour-position");
    let neighbour =
        neighbour.and_then(|one| own(one.member("valueCodeableConcept"), "neighbour-position"));
    let condition = component(resource, "condition");
    let condition = condition.and_then(|one| own(one.member("valueCodeableConcept"), "condition"));
    let repeat = component(resource, "repeat").and_then(|one| one.member("valueInteger"));
    let concept = resource.member("valueCodeableConcept");
    let list = word(concept, row, catalogue).map(|(list, _)| list);
    let unit = resource.at(&["valueQuantity", "code"]).and_then(Node::text);
    Some(Way {
        place: [row.site.clone(), row.axis.clone(), row.held.clone()],
        position: position?.to_owned(),
        neighbour: row.neighbour.clone().zip(neighbour.map(str::to_owned)),
        condition: condition.map(str::to_owned),
        method: own(resource.member("method"), "method")?.to_owned(),
        instrument: device.cloned(),
        repeat: repeat.map_or(Some(1), |repeat| repeat.compact().parse().ok())?,
        scale: list.filter(|_| has_scale(row.kind)).map(str::to_owned),
        unit: unit.map(str::to_owned),
    })
}

/// A word of a list of the measure, with the list.
fn word<'a>(
    concept: Option<&'a Node>,
    row: &'a Measure,
    catalogue: &'a Catalogue,
) -> Option<(&'a str, &'a str)> {
    let mut lists = catalogue.lists_of(row);
    lists.find_map(|list| Some((list, own(concept, list)?)))
}

fn value(resource: &Node, row: &Measure, catalogue: &Catalogue) -> Option<Value> {
    let absent = resource.member("dataAbsentReason");
    if let Some(reason) = own(absent, NOT_TESTED) {
        return Some(Value::NotTested(reason.to_owned()));
    }
    if absent.is_some() {
        return Some(Value::NoCatch);
    }
    let concept = resource.member("valueCodeableConcept");
    if concept.is_some() {
        if let Some(word) = own(concept, crate::tables::catalogue::RELATIVE) {
            return Some(Value::Relative(word.to_owned()));
        }
        let (_, word) = word(concept, row, catalogue)?;
        let word = word.to_owned();
        return Some(if row.kind == Kind::Grade {
            Value::Grade(word)
        } else {
            Value::Word(word)
        });
    }
    let quantity = resource.member("valueQuantity")?;
    // A unit the measure does not have is no number of it.
    catalogue.bounds_in(row, quantity.text_of("code")?)?;
    let Node::Number(digits) = quantity.member("value")? else {
        return None;
    };
    let number = Exact::parse(digits).ok()?;
    if row.axis.is_none() {
        return Some(Value::Amount(number));
    }
    let extent = match quantity.text_of("comparator") {
        None => Extent::Reached,
        Some(_) => Extent::AtLeast,
    };
    let state = component(resource, "joint-state");
    let state = state.and_then(|one| own(one.member("valueCodeableConcept"), "joint-state"));
    Some(Value::Angle(Angle::of_record(
        number,
        extent,
        state == Some("fixed"),
    )))
}

fn component<'a>(resource: &'a Node, name: &str) -> Option<&'a Node> {
    let mut components = resource.items_of("component").iter();
    components.find(|one| own(one.member("code"), "component") == Some(name))
}

/// The code of one of our lists in a concept.
fn own<'a>(concept: Option<&'a Node>, list: &str) -> Option<&'a str> {
    let system = Catalogue::system_of(list);
    let codings = concept?.items_of("coding").iter();
    let mut own = codings.filter(|coding| coding.text_of("system") == Some(system.as_str()));
    own.find_map(|coding| coding.text_of("code"))
}
