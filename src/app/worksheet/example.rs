//! An example of each measure: a finding of an invented person, taken the whole way.

use crate::app::encode::{Earlier, encode};
use crate::app::worksheet::Examples;
use crate::catalogue::Catalogue;
use crate::catalogue::rows::{Kind, Measure};
use crate::json::{Node, text};
use chrono::{DateTime, Utc};

/// A session of an invented person with every measure of ours.
const EVERY: &str = include_str!("../../../fixtures/sessions/every-measure.json");

/// What of an Observation is shown: what a build team has to map.
const SHOWN: [&str; 6] = [
    "code",
    "valueQuantity",
    "valueCodeableConcept",
    "dataAbsentReason",
    "bodySite",
    "component",
];

/// The example of each measure, or why there is none.
pub(super) fn all(catalogue: &Catalogue) -> Examples {
    let every = Node::parse(EVERY).unwrap_or(Node::Null);
    let measures = catalogue.measures.values();
    measures
        .map(|row| (row.measure.clone(), example(catalogue, row, &every)))
        .collect()
}

fn example(catalogue: &Catalogue, row: &Measure, every: &Node) -> Result<(String, Node), String> {
    let findings = match row.kind {
        Kind::Derived => pair(catalogue, row, every),
        Kind::Panel | Kind::Precaution => first(every),
        Kind::Range
        | Kind::StretchSlow
        | Kind::StretchFast
        | Kind::Word
        | Kind::Grade
        | Kind::Score
        | Kind::Amount => alike(catalogue, row, every),
    };
    if findings.is_empty() {
        return Err("no finding of this kind to show".to_owned());
    }
    let document = document(every, findings, row.kind == Kind::Precaution);
    let signed = every.at(&["session", "signed", "at"]).and_then(Node::text);
    let signed = signed.and_then(|at| DateTime::parse_from_rfc3339(at).ok());
    let now = signed.map_or(DateTime::<Utc>::MIN_UTC, |at| at.to_utc());
    let encoded = encode(&document.compact(), &Earlier::default(), catalogue, now);
    let encoded = encoded.map_err(|held| {
        let first = held.problems.first();
        first.map_or_else(String::new, |problem| problem.what.clone())
    })?;
    let own = Catalogue::system_of("measure");
    let is_it = |resource: &Node| {
        let codings = resource.at(&["code", "coding"]).map(Node::items);
        codings.unwrap_or_default().iter().any(|coding| {
            coding.text_of("system") == Some(&own) && coding.text_of("code") == Some(&row.measure)
        })
    };
    let entries = &encoded.checked.record().entries;
    let found = entries.iter().find(|entry| is_it(&entry.resource));
    let found = found.ok_or_else(|| "nothing was emitted".to_owned())?;
    Ok((words(&found.resource), part(&found.resource)))
}

/// Findings of the measure, or of one that is like it in all that matters for its form.
fn alike(catalogue: &Catalogue, row: &Measure, every: &Node) -> Vec<Node> {
    let findings = every.items_of("findings");
    let key_of = |finding: &Node| finding.text_of("measure").unwrap_or_default().to_owned();
    let tested = |finding: &&Node| finding.member("value").is_some();
    let same = findings.iter().filter(tested);
    if let Some(found) = same.clone().find(|one| key_of(one) == row.measure) {
        return vec![found.clone()];
    }
    let site = row.site.as_ref().and_then(|key| catalogue.sites.get(key));
    let like = same.clone().find(|finding| {
        let other = catalogue.measures.get(&key_of(finding));
        other.is_some_and(|other| {
            let sides = other.site.as_ref().and_then(|key| catalogue.sites.get(key));
            (other.kind, &other.unit, &other.scale, &other.neighbour)
                == (row.kind, &row.unit, &row.scale, &row.neighbour)
                && sides.map(|site| site.sides) == site.map(|site| site.sides)
        })
    });
    let like = like.map(|finding| {
        let mut finding = finding.clone();
        finding.set("measure", text(row.measure.clone()));
        finding
    });
    like.into_iter().collect()
}

/// A slow and a fast stretch of the muscle, from which the measure is computed.
fn pair(catalogue: &Catalogue, row: &Measure, every: &Node) -> Vec<Node> {
    let of = |kind: Kind| {
        let mut findings = every.items_of("findings").iter();
        findings.find(|finding| {
            let key = finding.text_of("measure").unwrap_or_default();
            let other = catalogue.measures.get(key);
            let fits = |other: &Measure| {
                other.kind == kind && other.site == row.site && other.held == row.held
            };
            other.is_some_and(fits)
                && finding.text_of("side") == Some("right")
                && finding.member("value").is_some()
        })
    };
    let pair = [of(Kind::StretchSlow), of(Kind::StretchFast)];
    pair.into_iter().flatten().cloned().collect()
}

fn first(every: &Node) -> Vec<Node> {
    let score = |finding: &&Node| finding.at(&["value", "score"]).is_some();
    let first = every.items_of("findings").iter().find(score);
    first.into_iter().cloned().collect()
}

/// The session with these findings only.
fn document(every: &Node, findings: Vec<Node>, with_precautions: bool) -> Node {
    let mut document = every.clone();
    if !with_precautions {
        document.set("precautions", Node::List(Vec::new()));
        document.set("no_precautions", text("asked and looked up, none known"));
    }
    if let Some(session) = document.member_mut("session") {
        session.remove("confirmations");
    }
    document.set("findings", Node::List(findings));
    document
}

fn part(resource: &Node) -> Node {
    let members = resource.members().iter();
    let shown = members.filter(|(key, _)| SHOWN.contains(&key.as_ref()));
    Node::Object(shown.cloned().collect())
}

fn words(resource: &Node) -> String {
    if let Some(quantity) = resource.member("valueQuantity") {
        let number = match quantity.member("value") {
            Some(Node::Number(digits)) => digits.as_str(),
            _ => "",
        };
        let part = |key| quantity.text_of(key).unwrap_or_default();
        return format!("{} {number} {}", part("comparator"), part("unit"))
            .trim()
            .to_owned();
    }
    let said = |key: &str| resource.at(&[key, "text"]).and_then(Node::text);
    let said = said("valueCodeableConcept").or(said("dataAbsentReason"));
    said.unwrap_or("its members have the values").to_owned()
}
