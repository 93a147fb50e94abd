//! Having a record server judge invented findings without storing them.

use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::deliver::http::{Answer, Connection, issue_words};
use crate::fhir::record::fitted;
use crate::service::app::assess::Earlier;
use crate::service::app::checked::{Check, Readiness, plain};
use crate::service::app::encode::encode;
use crate::tables::catalogue::Catalogue;
use chrono::{DateTime, Utc};

const ABOUT: &str = "$validate";
/// An invented session, marked as test data.
const INVENTED: &str = include_str!("../../../fixtures/sessions/first.json");

/// Findings of one invented session as this target would get them: one with a number, one that was not
/// tested, and the first of what is left, so that each kind of value is judged.
pub(super) async fn dry_run(
    connection: &Connection,
    statement: &Node,
    now: DateTime<Utc>,
) -> Check {
    if !offered(statement) {
        return Check::other(
            ABOUT,
            Readiness::NotSaid,
            "the statement does not offer it for Observation, so nothing was tried",
            "deliver a session of an invented person to see whether findings are taken",
        );
    }
    let findings = findings(connection, now);
    let mut said = Vec::new();
    for finding in &findings {
        match connection.validate("Observation", finding).await {
            Ok(answer) => said.extend(objections(&answer)),
            Err(silence) => said.push(format!("no answer came ({})", silence.code())),
        }
    }
    said.sort();
    said.dedup();
    if findings.is_empty() {
        said.push("there is nothing to try with".to_owned());
    }
    match said.first() {
        None => Check::fine(
            ABOUT,
            format!(
                "{} invented findings, as this target would get them, were judged and found well; nothing \
                 was stored",
                findings.len()
            ),
        ),
        Some(first) => Check::other(
            ABOUT,
            Readiness::Warning,
            format!(
                "the server finds something to say of invented findings ({} in all), first: {}",
                said.len(),
                plain(first)
            ),
            "ask its keepers whether it refuses such content; what it lacks may be the profiles of \
             Fascicle (`fascicle catalogue pack`)",
        ),
    }
}

/// "operation" of a type or of the server as a whole (FHIR R4, capabilitystatement.html).
fn offered(statement: &Node) -> bool {
    let validates = |node: &Node| {
        let mut operations = node.items_of("operation").iter();
        operations.any(|one| one.text_of("name") == Some("validate"))
    };
    statement.items_of("rest").iter().any(|rest| {
        let of_observation = |one: &&Node| one.text_of("type") == Some("Observation");
        let mut resources = rest.items_of("resource").iter().filter(of_observation);
        validates(rest) || resources.any(validates)
    })
}

fn findings(connection: &Connection, now: DateTime<Utc>) -> Vec<Node> {
    let Ok(catalogue) = Catalogue::embedded() else {
        return Vec::new();
    };
    let Ok(encoded) = encode(INVENTED, &Earlier::default(), &catalogue, now) else {
        return Vec::new();
    };
    let Ok(record) = Node::parse(&encoded.checked.record().text()) else {
        return Vec::new();
    };
    let (record, _) = fitted::fit(&record, &connection.target().fitting);
    let resources = record.items_of("entry").iter();
    let findings = resources.filter_map(|entry| entry.member("resource"));
    // What refers to others cannot be judged alone: they are not there.
    let alone = findings.filter(|one| {
        one.text_of("resourceType") == Some("Observation")
            && ["hasMember", "derivedFrom", "device"]
                .iter()
                .all(|name| one.member(name).is_none())
    });
    let mut chosen: Vec<Node> = Vec::new();
    for value in ["valueQuantity", "dataAbsentReason", "valueCodeableConcept"] {
        let fits = |one: &&Node| one.member(value).is_some();
        chosen.extend(alone.clone().find(fits).cloned());
    }
    chosen
}

/// What the server objects to: "error" and "fatal" of its `OperationOutcome` (FHIR R4,
/// resource-operation-validate.html).
fn objections(answer: &Answer) -> Vec<String> {
    let body = answer.body.as_ref().map(Private::open);
    let Some(outcome) =
        body.filter(|body| body.text_of("resourceType") == Some("OperationOutcome"))
    else {
        return vec![format!(
            "it answers {} and no OperationOutcome",
            answer.status
        )];
    };
    let grave = |issue: &&Node| matches!(issue.text_of("severity"), Some("error" | "fatal"));
    let issues = outcome.items_of("issue").iter().filter(grave);
    let said = issues.map(|issue| {
        issue_words(issue)
            .unwrap_or("an error without words")
            .to_owned()
    });
    said.collect()
}
