//! An example of each measure: a finding of an invented person, taken the whole way.

use crate::base::json::{Node, text};
use crate::service::app::assess::Earlier;
use crate::service::app::earlier::of_session;
use crate::service::app::encode::encode;
use crate::service::app::worksheet::row::Examples;
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::{Kind, Measure};
use chrono::{DateTime, Utc};

/// A session of an invented person with every measure of ours.
const EVERY: &str = include_str!("../../../../fixtures/sessions/every-measure.json");

/// A session of the same person with traces of every muscle.
const TRACES: &str = include_str!("../../../../fixtures/sessions/every-trace.json");

/// What of an Observation is shown: what a build team has to map.
const SHOWN: [&str; 7] = [
    "code",
    "valueQuantity",
    "valueCodeableConcept",
    "valueSampledData",
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
        Kind::Trace | Kind::TraceCatch | Kind::TraceLine => {
            return shown(catalogue, row, &traces(catalogue, row));
        }
        Kind::Derived => pair(catalogue, row, every),
        Kind::Comparison => both_sides(catalogue, every),
        Kind::Panel | Kind::Precaution | Kind::Statement => first(every),
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
    shown(
        catalogue,
        row,
        &document(every, findings, row.kind == Kind::Precaution),
    )
}

/// What a document becomes of a measure.
fn shown(catalogue: &Catalogue, row: &Measure, document: &Node) -> Result<(String, Node), String> {
    let signed = document
        .at(&["session", "signed", "at"])
        .and_then(Node::text);
    let signed = signed.and_then(|at| DateTime::parse_from_rfc3339(at).ok());
    let now = signed.map_or(DateTime::<Utc>::MIN_UTC, |at| at.to_utc());
    let encoded = |earlier: &Earlier| {
        let encoded = encode(&document.compact(), earlier, catalogue, now);
        encoded.map_err(|held| {
            let first = held.problems.first();
            first.map_or_else(String::new, |problem| problem.what.clone())
        })
    };
    let mut earlier = Earlier::default();
    if row.kind == Kind::Comparison {
        // Found once before as now, so that a change has an example as well.
        let before = encoded(&earlier)?;
        earlier.sessions = vec![of_session(&before.session, &before.measured)];
    }
    let encoded = encoded(&earlier)?;
    let own = Catalogue::system_of("measure");
    let is_it = |resource: &Node| {
        let codings = resource.at(&["code", "coding"]).map(Node::items);
        codings.unwrap_or_default().iter().any(|coding| {
            coding.text_of("system") == Some(&own) && coding.text_of("code") == Some(&row.measure)
        })
    };
    let entries = &encoded.checked.record().entries;
    let found = entries.iter().find(|entry| is_it(&entry.resource));
    let found = found.ok_or(match row.measure.as_str() {
        "comparison.fixed-part-range" => "sent only where a site has a range of that very stretch",
        _other => "nothing was emitted",
    })?;
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

/// The session with the traces of the muscle of a measure only.
fn traces(catalogue: &Catalogue, row: &Measure) -> Node {
    let mut document = Node::parse(TRACES).unwrap_or(Node::Null);
    let same = |trace: &&Node| {
        let key = trace.text_of("measure").unwrap_or_default();
        let other = catalogue.measures.get(key);
        other.is_some_and(|other| other.site == row.site && other.held == row.held)
    };
    let traces = document.items_of("traces").iter().filter(same).cloned();
    let traces = traces.collect();
    document.set("traces", Node::List(traces));
    document
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

/// The stretches of one muscle on both sides, from which every comparison within a session is made.
fn both_sides(catalogue: &Catalogue, every: &Node) -> Vec<Node> {
    let site = |finding: &Node| {
        let row = catalogue.measures.get(finding.text_of("measure")?)?;
        let stretch = matches!(row.kind, Kind::StretchSlow | Kind::StretchFast);
        let measured = finding.at(&["value", "unit"]).is_some();
        (stretch && measured).then(|| (row.site.clone(), row.held.clone()))
    };
    let findings = every.items_of("findings");
    let Some(first) = findings.iter().find_map(site) else {
        return Vec::new();
    };
    let of_it = findings
        .iter()
        .filter(|finding| site(finding) == Some(first.clone()));
    of_it.cloned().collect()
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
