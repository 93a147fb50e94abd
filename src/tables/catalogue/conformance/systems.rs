//! Code systems of our own: measures, sites, scales and word lists.

use crate::base::exact::Exact;
use crate::base::json::{Node, object, text};
use crate::tables::catalogue::axis::Axis;
use crate::tables::catalogue::conformance::header::{Header, number, title};
use crate::tables::catalogue::rows::{Measure, Scale};
use crate::tables::catalogue::scales::ScaleNote;
use crate::tables::catalogue::{CANONICAL, COMPARISONS, Catalogue};
use chrono::NaiveDate;

const ORDINAL_VALUE: &str = "http://hl7.org/fhir/StructureDefinition/ordinalValue";

/// "The date at which a concept was deprecated. Concepts that are deprecated but not inactive can still be
/// used, but their use is discouraged" (FHIR R4 4.0.1, codesystem-concept-properties.html).
const DEPRECATED: &str = "http://hl7.org/fhir/concept-properties#deprecated";

/// What the properties of a measure are called, and what they say.
const PROPERTIES: [(&str, &str); 6] = [
    ("kind", "Kind of finding; it decides which values are legal"),
    ("site", "Site of the body"),
    ("movement", "Movement in whose direction a value counts up"),
    ("mode", "Active or passive"),
    ("unit", "UCUM unit of a number"),
    (
        "sign",
        "How the movement runs along the axis of the joint plane: + with it, - against it",
    ),
];

pub(super) fn measure_system(catalogue: &Catalogue) -> Node {
    let properties = PROPERTIES.iter().map(|(code, description)| {
        object([
            ("code", text(*code)),
            ("description", text(*description)),
            ("type", text("string")),
        ])
    });
    let concepts = catalogue.measures.values().map(|measure| {
        object([
            ("code", text(&measure.measure)),
            ("display", text(&measure.label)),
            ("property", Node::List(measure_properties(measure))),
        ])
    });
    let header = Header {
        kind: "CodeSystem",
        id: "measure",
        title: "Measures".to_owned(),
        description: "What is recorded at the bedside. Numbers are signed in the direction of \
                      the movement that the measure names."
            .to_owned(),
        copyright: None,
    };
    code_system(header, properties.collect(), concepts.collect())
}

fn measure_properties(measure: &Measure) -> Vec<Node> {
    let sign = measure.sign.map(|sign| match sign {
        Axis::With => "+",
        Axis::Against => "-",
    });
    let values = [
        Some(measure.kind.word()),
        measure.site.as_deref(),
        measure.movement.as_deref(),
        measure.mode.as_deref(),
        measure.unit.as_deref(),
        sign,
    ];
    let named = PROPERTIES.iter().zip(values);
    named
        .filter_map(|((code, _), value)| {
            value.map(|value| object([("code", text(*code)), ("valueString", text(value))]))
        })
        .collect()
}

pub(super) fn scale_system(catalogue: &Catalogue, scale: &Scale) -> Node {
    let note = catalogue.scale_notes.get(&scale.name);
    let concepts = scale.rows.iter().map(|row| {
        let mut members = Vec::new();
        members.extend(row.rank.map(|rank| ("extension", ordinal_value(rank))));
        members.push(("code", text(&row.code)));
        members.push(("display", text(&row.label)));
        members.extend(row.retired_on.map(|day| ("property", deprecated(day))));
        object(members)
    });
    let header = Header {
        kind: "CodeSystem",
        id: &scale.name,
        title: title(&scale.name),
        description: [
            &scale.purpose,
            &note.map(ScaleNote::told).unwrap_or_default(),
        ]
        .map(String::as_str)
        .join(" "),
        copyright: note.map(|note| note.copyright.clone()),
    };
    let retired = scale.rows.iter().any(|row| row.retired_on.is_some());
    let properties = retired.then(|| {
        object([
            ("code", text("deprecated")),
            ("uri", text(DEPRECATED)),
            (
                "description",
                text("Day from which nothing new is recorded with it"),
            ),
            ("type", text("dateTime")),
        ])
    });
    code_system(header, properties.into_iter().collect(), concepts.collect())
}

/// What was recorded with a word goes on to mean what it meant; nothing new is.
fn deprecated(day: NaiveDate) -> Node {
    Node::List(vec![object([
        ("code", text("deprecated")),
        ("valueDateTime", text(day.to_string())),
    ])])
}

/// The order of a grade stands in the code system only: an instance carries no number for it.
fn ordinal_value(rank: Exact) -> Node {
    Node::List(vec![object([
        ("url", text(ORDINAL_VALUE)),
        ("valueDecimal", number(rank)),
    ])])
}

/// Our own codes of the sites, each with its side: no site is uncodable.
pub(super) fn site_system(catalogue: &Catalogue) -> Node {
    let concepts = catalogue.sites.values().flat_map(|site| {
        site.sides.words().iter().filter_map(|side| {
            let code = Catalogue::site_code(side, &site.site);
            let display = catalogue.site_display(&code)?;
            Some(object([("code", text(code)), ("display", text(display))]))
        })
    });
    let header = Header {
        kind: "CodeSystem",
        id: "site",
        title: "Sites".to_owned(),
        description: "Sites of the body with their side.".to_owned(),
        copyright: None,
    };
    code_system(header, Vec::new(), concepts.collect())
}

/// Our own codes of comparisons: which comparison, and of which measure.
pub(super) fn comparison_system(catalogue: &Catalogue) -> Node {
    let codes = COMPARISONS.iter().flat_map(|(kind, _)| {
        let measures = catalogue.measures.keys();
        measures.map(move |measure| format!("{kind}.{measure}"))
    });
    let concepts = codes.filter_map(|code| {
        let display = catalogue.comparison_display(&code)?;
        Some(object([("code", text(code)), ("display", text(display))]))
    });
    let header = Header {
        kind: "CodeSystem",
        id: "comparison",
        title: "Comparisons".to_owned(),
        description:
            "What findings are set beside, each with its measure, so that the comparisons \
                      of two measures are never taken for one."
                .to_owned(),
        copyright: None,
    };
    code_system(header, Vec::new(), concepts.collect())
}

fn code_system(header: Header<'_>, properties: Vec<Node>, concepts: Vec<Node>) -> Node {
    let all = format!("{CANONICAL}/ValueSet/{}", header.id);
    let mut members = header.members();
    members.extend([
        ("caseSensitive", Node::Bool(true)),
        ("valueSet", text(all)),
        ("content", text("complete")),
        ("count", Node::Number(concepts.len().to_string())),
    ]);
    if !properties.is_empty() {
        members.push(("property", Node::List(properties)));
    }
    members.push(("concept", Node::List(concepts)));
    object(members)
}
