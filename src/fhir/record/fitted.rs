//! A record as one target is to have it: fewer elements, other words for units, another order of
//! codes. Nothing here changes what is stated; what is left out is counted, so that it can be told.

use crate::base::json::{Node, text};
use crate::fhir::record::status::Status;
use crate::tables::catalogue::{CANONICAL, UCUM};
use std::collections::BTreeMap;

/// Elements of an Observation that may be left out without changing what it states, and without
/// breaking the profile it claims. Everything else always travels: without `bodySite` left would
/// read as right, without `component` or `comparator` a bound as a range.
pub const MAY_BE_LEFT_OUT: [&str; 5] = ["device", "extension", "method", "note", "text"];

/// In a recorded trace and what was computed from it, these say how it was recorded and computed.
const OF_A_TRACE: [&str; 2] = ["device", "method"];

/// What a target wants otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Fitting {
    /// Those of [`MAY_BE_LEFT_OUT`] that the target does not get.
    pub without: Vec<&'static str>,
    /// Words for units, by UCUM code; for people only.
    pub unit_texts: BTreeMap<String, String>,
    /// Code systems in the order in which they are to stand; those not named stand behind them.
    pub coding_order: Vec<String>,
    /// True where what was not tested has the status `cancelled` instead of `final`.
    pub cancelled: bool,
}

impl Fitting {
    /// True where the record is sent as it was made.
    pub fn changes_nothing(&self) -> bool {
        *self == Self::default()
    }
}

/// How many resources came without an element, by its name.
pub type LeftOut = BTreeMap<&'static str, u32>;

/// The record of a target: the same entries, identifiers and statements.
pub fn fit(record: &Node, fitting: &Fitting) -> (Node, LeftOut) {
    let mut record = record.clone();
    let mut left_out = LeftOut::new();
    if fitting.changes_nothing() {
        return (record, left_out);
    }
    if let Some(entries) = record.member_mut("entry") {
        for entry in entries.items_mut() {
            let Some(resource) = entry.member_mut("resource") else {
                continue;
            };
            if resource.text_of("resourceType") == Some("Observation") {
                observation(resource, fitting, &mut left_out);
            }
            dress(resource, fitting);
        }
    }
    (record, left_out)
}

fn observation(resource: &mut Node, fitting: &Fitting, left_out: &mut LeftOut) {
    let profiles = resource.at(&["meta", "profile"]).map(Node::items);
    let trace = profiles.unwrap_or_default().iter().any(|profile| {
        let name = profile.text().and_then(|one| one.rsplit('/').next());
        name.is_some_and(|name| name.starts_with("trace"))
    });
    for element in &fitting.without {
        if resource.member(element).is_some() && !(trace && OF_A_TRACE.contains(element)) {
            resource.remove(element);
            counted(left_out, element);
        }
    }
    if fitting.cancelled && Status::of(resource) == Some(Status::Final) && not_tested(resource) {
        // "cancelled: The observation is unavailable because the measurement was not started or not
        // completed" (FHIR R4, valueset-observation-status.html). A correction stays one.
        Status::Cancelled.set(resource);
    }
}

/// Takes a party out of what names it: the stay of an Observation or a report, one of their performers.
/// The Provenance goes on naming who signed.
pub fn leave_out(record: &mut Node, kind: &str, system: &str, value: &str, left: &mut LeftOut) {
    let Some(entries) = record.member_mut("entry") else {
        return;
    };
    let named = |reference: &Node| {
        let identifier = reference.member("identifier");
        let said = |key| identifier.and_then(|one| one.text_of(key));
        reference.text_of("type") == Some(kind)
            && said("system") == Some(system)
            && said("value") == Some(value)
    };
    for entry in entries.items_mut() {
        let Some(resource) = entry.member_mut("resource") else {
            continue;
        };
        if resource.member("encounter").is_some_and(named) {
            resource.remove("encounter");
            counted(left, "encounter");
        }
        let performers = resource.items_of("performer");
        if performers.iter().any(named) {
            let others = performers.iter().filter(|one| !named(one)).cloned();
            let others: Vec<Node> = others.collect();
            if others.is_empty() {
                resource.remove("performer");
            } else {
                resource.set("performer", Node::List(others));
            }
            counted(left, "performer");
        }
    }
}

fn counted(left: &mut LeftOut, element: &'static str) {
    let count = left.entry(element).or_default();
    *count = count.saturating_add(1);
}

/// "not-performed: The value is not available because the observation procedure (test, etc.) was not
/// performed" (FHIR R4, codesystem-data-absent-reason.html).
fn not_tested(resource: &Node) -> bool {
    let reasons = resource.at(&["dataAbsentReason", "coding"]);
    let mut reasons = reasons.map_or(&[][..], Node::items).iter();
    reasons.any(|coding| coding.text_of("code") == Some("not-performed"))
}

fn dress(node: &mut Node, fitting: &Fitting) {
    if let Some(Node::List(codings)) = node.member_mut("coding") {
        in_order(codings, &fitting.coding_order);
    }
    if node.text_of("system") == Some(UCUM)
        && node.member("unit").is_some()
        && let Some(code) = node.text_of("code")
        && let Some(words) = fitting.unit_texts.get(code)
    {
        node.set("unit", text(words.clone()));
    }
    match node {
        Node::Object(members) => {
            let members = members.iter_mut();
            members.for_each(|(_, member)| dress(member, fitting));
        }
        Node::List(items) => items.iter_mut().for_each(|item| dress(item, fitting)),
        Node::Null | Node::Bool(_) | Node::Number(_) | Node::Text(_) => {}
    }
}

/// Codes that say the same as ours stand at or before it, wider ones behind it; only the former
/// change places, so that a reader of the first code never merges two measures into one.
fn in_order(codings: &mut [Node], order: &[String]) {
    let ours = |coding: &Node| {
        let system = coding.text_of("system");
        system.is_some_and(|system| system.starts_with(CANONICAL))
    };
    let Some(own) = codings.iter().position(ours) else {
        return;
    };
    let rank = |coding: &Node| {
        let system = coding.text_of("system").unwrap_or_default();
        let known = order.iter().position(|one| one == system);
        known.unwrap_or(order.len())
    };
    if let Some(same) = codings.get_mut(..=own) {
        same.sort_by_key(rank);
    }
}

#[cfg(test)]
mod tests {
    use super::{Fitting, LeftOut, fit, leave_out};
    use crate::base::json::Node;
    use std::collections::BTreeMap;

    const OURS: &str = "https://fascicle.example/fhir/CodeSystem/measure";

    fn record() -> Node {
        let text = format!(
            r#"{{"entry":[{{"resource":{{"resourceType":"Observation","status":"final",
              "code":{{"coding":[{{"system":"http://loinc.org","code":"1"}},
                {{"system":"{OURS}","code":"a"}},{{"system":"http://snomed.info/sct","code":"2"}}]}},
              "valueQuantity":{{"value":12.50,"unit":"degree","system":"http://unitsofmeasure.org",
                "code":"deg"}},"note":[{{"text":"n"}}],"method":{{"text":"m"}},"bodySite":{{}}}}}},
            {{"resource":{{"resourceType":"Observation","status":"final","dataAbsentReason":
              {{"coding":[{{"code":"not-performed"}}]}}}}}},
            {{"resource":{{"resourceType":"Observation","status":"corrected","dataAbsentReason":
              {{"coding":[{{"code":"not-performed"}}]}}}}}},
            {{"resource":{{"resourceType":"Observation","status":"final","method":{{}},
              "meta":{{"profile":["https://fascicle.example/fhir/StructureDefinition/trace-line"]}},
              "dataAbsentReason":{{"coding":[{{"code":"not-applicable"}}]}}}}}}]}}"#
        );
        Node::parse(&text).expect("JSON")
    }

    fn resource(record: &Node, number: usize) -> Node {
        let entry = &record.items_of("entry")[number];
        entry.member("resource").expect("a resource").clone()
    }

    #[test]
    fn a_target_without_wishes_gets_the_record_as_it_was_made() {
        let (same, left_out) = fit(&record(), &Fitting::default());

        assert_eq!(same.compact(), record().compact());
        assert!(left_out.is_empty());
    }

    #[test]
    fn what_is_left_out_is_counted_and_a_trace_keeps_how_it_was_made() {
        let fitting = Fitting {
            without: vec!["method", "note"],
            ..Fitting::default()
        };

        let (fitted, left_out) = fit(&record(), &fitting);

        let told: Vec<_> = left_out.into_iter().collect();
        assert_eq!(told, [("method", 1), ("note", 1)]);
        let first = resource(&fitted, 0);
        assert!(first.member("note").is_none() && first.member("bodySite").is_some());
        assert!(resource(&fitted, 3).member("method").is_some());
    }

    #[test]
    fn a_party_is_left_out_where_it_is_named_and_stays_in_the_provenance() {
        let party = |kind: &str, value: &str| {
            format!(r#"{{"type":"{kind}","identifier":{{"system":"s","value":"{value}"}}}}"#)
        };
        let (one, two) = (party("Practitioner", "1"), party("Practitioner", "2"));
        let stay = party("Encounter", "1");
        let text = format!(
            r#"{{"entry":[{{"resource":{{"performer":[{one},{two}],"encounter":{stay}}}}},
              {{"resource":{{"performer":[{one}]}}}},
              {{"resource":{{"agent":[{{"who":{one}}}]}}}}]}}"#
        );
        let mut record = Node::parse(&text).expect("JSON");
        let mut left = LeftOut::new();

        leave_out(&mut record, "Practitioner", "s", "1", &mut left);

        assert_eq!(left.get("performer"), Some(&2));
        let performers = resource(&record, 0).items_of("performer").to_vec();
        assert_eq!(performers, [Node::parse(&two).expect("JSON")]);
        assert!(resource(&record, 0).member("encounter").is_some());
        assert!(resource(&record, 1).member("performer").is_none());
        assert!(resource(&record, 2).compact().contains("Practitioner"));
        leave_out(&mut record, "Encounter", "s", "1", &mut left);
        assert!(resource(&record, 0).member("encounter").is_none());
        assert_eq!(left.get("encounter"), Some(&1));
    }

    #[test]
    fn a_wider_code_never_comes_before_ours_whatever_the_order() {
        let order = |systems: &[&str]| {
            let fitting = Fitting {
                coding_order: systems.iter().map(|one| (*one).to_owned()).collect(),
                ..Fitting::default()
            };
            let first = resource(&fit(&record(), &fitting).0, 0);
            let codings = first.at(&["code", "coding"]).expect("codes").items();
            let codes = codings.iter().filter_map(|one| one.text_of("code"));
            codes.collect::<Vec<_>>().concat()
        };

        assert_eq!(order(&[OURS]), "a12");
        assert_eq!(order(&["http://snomed.info/sct", OURS]), "a12");
        assert_eq!(order(&["http://loinc.org"]), "1a2");
    }

    #[test]
    fn a_unit_gets_the_words_of_the_target_and_the_number_keeps_its_digits() {
        let fitting = Fitting {
            unit_texts: BTreeMap::from([("deg".to_owned(), "°".to_owned())]),
            ..Fitting::default()
        };

        let first = resource(&fit(&record(), &fitting).0, 0);

        let quantity = first.member("valueQuantity").expect("a value").compact();
        assert!(
            quantity.contains(r#""value":12.50,"unit":"°""#),
            "{quantity}"
        );
    }

    #[test]
    fn only_what_was_not_tested_and_never_corrected_is_cancelled() {
        let fitting = Fitting {
            cancelled: true,
            ..Fitting::default()
        };

        let (fitted, _) = fit(&record(), &fitting);

        let status = |number| {
            resource(&fitted, number)
                .text_of("status")
                .map(str::to_owned)
        };
        let all: Vec<_> = (0..4).filter_map(status).collect();
        assert_eq!(all, ["final", "cancelled", "corrected", "final"]);
    }
}
