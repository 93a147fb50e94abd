//! Published codes of our concepts.

use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::header::{Header, LOINC_NOTICE, SNOMED_NOTICE};
use crate::tables::catalogue::rows::{Relation, Sides};
use crate::tables::catalogue::{Catalogue, SNOMED};
use std::collections::BTreeMap;

/// The map, a group for each pair of systems.
pub(super) fn published_codes(catalogue: &Catalogue) -> Node {
    // Elements of a group in the order of our codes; each may have several targets.
    let mut groups: BTreeMap<(String, &str), BTreeMap<String, Vec<Node>>> = BTreeMap::new();
    for row in &catalogue.codes {
        let (list, code) = row.thing.split_once('/').unwrap_or(("measure", &row.thing));
        let target = object([
            ("code", text(&row.code)),
            ("display", text(&row.display)),
            ("equivalence", text(equivalence(row.relation))),
        ]);
        let group = groups.entry((Catalogue::system_of(list), row.system.as_str()));
        let targets = group.or_default().entry(code.to_owned()).or_default();
        targets.push(target);
    }
    for (code, published, display) in sites(catalogue) {
        let group = groups.entry((Catalogue::system_of("site"), SNOMED));
        let target = object([
            ("code", text(published)),
            ("display", text(display)),
            ("equivalence", text("equivalent")),
        ]);
        let elements = group.or_default();
        elements.entry(code).or_default().push(target);
    }
    let groups = groups.into_iter().map(|((source, target), elements)| {
        let elements = elements
            .into_iter()
            .map(|(code, targets)| object([("code", text(code)), ("target", Node::List(targets))]));
        object([
            ("source", text(source)),
            ("target", text(target)),
            ("element", Node::List(elements.collect())),
        ])
    });
    let header = Header {
        kind: "ConceptMap",
        id: "published-codes",
        title: "Published codes".to_owned(),
        description: "Published codes of our concepts. An equivalent code goes before ours, a \
                      wider one after it; relatedto says that the table does not say how wide."
            .to_owned(),
        copyright: Some(format!("{LOINC_NOTICE} {SNOMED_NOTICE}")),
    };
    let mut members = header.members();
    members.push(("group", Node::List(groups.collect())));
    object(members)
}

/// Code of ours, published code and display of every site that has one for its side.
fn sites(catalogue: &Catalogue) -> impl Iterator<Item = (String, &str, &str)> {
    catalogue.sites.values().flat_map(|site| {
        let [unsided, left, right] = site.published();
        let published = match site.sides {
            Sides::Both => vec![left, right],
            Sides::Middle => vec![unsided],
        };
        let sides = site.sides.words().iter().zip(published);
        sides.filter_map(|(side, published)| {
            let (code, display) = published?;
            Some((Catalogue::site_code(side, &site.site), code, display))
        })
    })
}

/// How the target stands to ours (hl7.org/fhir/R4/valueset-concept-map-equivalence.html).
const fn equivalence(relation: Relation) -> &'static str {
    match relation {
        Relation::Equivalent => "equivalent",
        Relation::Wider => "wider",
        // The table names the standard reason or position and does not say how it stands to ours.
        Relation::Absent | Relation::Position => "relatedto",
    }
}
