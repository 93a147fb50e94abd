//! What belongs together, as one guide.

use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::header::{DATED, Header};

/// The guide: every conformance resource, and every example with the profile it shows.
pub fn guide(conformance: &[Node], examples: &[Node]) -> Node {
    let header = Header {
        kind: "ImplementationGuide",
        id: "fascicle",
        title: "Bedside findings of neurological physiotherapy".to_owned(),
        description: "How the findings that Fascicle delivers look in FHIR R4: profiles, codes, \
                      maps, definitions of what is measured, a questionnaire, what a record server \
                      has to be able to do, and examples of invented people."
            .to_owned(),
        copyright: None,
    };
    let conformance = conformance.iter().map(|one| entry(one, false));
    let examples = examples.iter().map(|one| entry(one, true));
    let mut members = header.members();
    members.extend([
        ("date", text(DATED)),
        ("packageId", text("example.fascicle.bedside")),
        ("license", text("Apache-2.0")),
        ("fhirVersion", Node::List(vec![text("4.0.1")])),
        (
            "definition",
            object([(
                "resource",
                Node::List(conformance.chain(examples).collect()),
            )]),
        ),
    ]);
    object(members)
}

fn entry(resource: &Node, is_example: bool) -> Node {
    let part = |key| resource.text_of(key).unwrap_or_default();
    let reference = format!("{}/{}", part("resourceType"), part("id"));
    let titles = ["title", "name", "preferredReportName"];
    let title = titles.iter().find_map(|key| resource.text_of(key));
    let name = title.unwrap_or_else(|| part("id"));
    let profile = resource.at(&["meta", "profile"]).map(Node::items);
    let profile = profile.and_then(|profiles| profiles.first()?.text());
    let mut members = vec![
        ("reference", object([("reference", text(reference))])),
        ("name", text(name)),
    ];
    members.push(match profile.filter(|_| is_example) {
        Some(profile) => ("exampleCanonical", text(profile)),
        None => ("exampleBoolean", Node::Bool(is_example)),
    });
    object(members)
}
