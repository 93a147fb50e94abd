//! What may be recorded for a measure that has a unit.

use crate::base::exact::Exact;
use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::header::{coding, number};
use crate::tables::catalogue::rows::{Kind, Measure, Relation};
use crate::tables::catalogue::{Catalogue, UCUM};

/// One definition for each measure that has a unit.
pub(super) fn all(catalogue: &Catalogue) -> impl Iterator<Item = Node> {
    let measures = catalogue.measures.values();
    measures.filter_map(|measure| definition(catalogue, measure))
}

fn definition(catalogue: &Catalogue, measure: &Measure) -> Option<Node> {
    let unit = measure.unit.as_deref()?;
    let label = catalogue.unit_label(unit).unwrap_or(unit);
    let published = catalogue.codes_of(&measure.measure);
    let published = published.filter(|row| row.relation == Relation::Equivalent);
    let mut codings: Vec<Node> = published
        .map(|row| coding(&row.system, &row.code, &row.display))
        .collect();
    let own = Catalogue::system_of("measure");
    codings.push(coding(&own, &measure.measure, &measure.label));
    let unit = object([
        ("coding", Node::List(vec![coding(UCUM, unit, label)])),
        ("text", text(label)),
    ]);
    // A trace is samples of its unit.
    let sampled = measure.kind == Kind::Trace;
    let mut types = vec![text(if sampled { "SampledData" } else { "Quantity" })];
    types.extend(measure.scale.as_ref().map(|_| text("CodeableConcept")));
    let mut members = vec![
        ("resourceType", text("ObservationDefinition")),
        ("id", text(&measure.measure)),
        ("code", object([("coding", Node::List(codings))])),
        ("permittedDataType", Node::List(types)),
        ("multipleResultsAllowed", Node::Bool(true)),
        ("preferredReportName", text(&measure.label)),
        (
            "quantitativeDetails",
            object([("customaryUnit", unit.clone()), ("unit", unit)]),
        ),
    ];
    let intervals = intervals(catalogue, measure);
    if !intervals.is_empty() {
        members.push(("qualifiedInterval", Node::List(intervals)));
    }
    members.extend(measure.scale.as_ref().map(|scale| {
        let reference = text(format!("ValueSet/{scale}"));
        ("validCodedValueSet", object([("reference", reference)]))
    }));
    Some(object(members))
}

/// Beyond an absolute interval a value is refused; beyond the other one a person is asked.
fn intervals(catalogue: &Catalogue, measure: &Measure) -> Vec<Node> {
    let unit = measure.unit.as_deref().unwrap_or_default();
    let label = catalogue.unit_label(unit).unwrap_or(unit);
    let quantity = |value: Exact| {
        object([
            ("value", number(value)),
            ("unit", text(label)),
            ("system", text(UCUM)),
            ("code", text(unit)),
        ])
    };
    let range = |(low, high): (Exact, Exact)| {
        let range = object([("low", quantity(low)), ("high", quantity(high))]);
        ("range", range)
    };
    let bounds = measure.ask_below.zip(measure.ask_above);
    let impossible = catalogue.plausibility.get("impossible-angle");
    let (refused, asked) = if measure.axis.is_some() {
        (impossible.map(|most| (most.negated(), *most)), bounds)
    } else if measure.kind == Kind::Score {
        (bounds, None)
    } else {
        (None, bounds)
    };
    let refused = refused.map(|bounds| object([("category", text("absolute")), range(bounds)]));
    let condition = "beyond these bounds a person is asked";
    let asked = asked.map(|bounds| object([range(bounds), ("condition", text(condition))]));
    refused.into_iter().chain(asked).collect()
}
