//! The examination as a questionnaire: by region, site, measure and side.
//!
//! Its link ids are made of our keys, which are never renamed, so answers stay readable.

use crate::base::exact::Exact;
use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::header::{
    Header, LOINC_NOTICE, SNOMED_NOTICE, coding, number,
};
use crate::tables::catalogue::rows::{Kind, Measure, Relation, Scale, Site};
use crate::tables::catalogue::{CANONICAL, Catalogue, QUALITY_LISTS, UCUM};
use std::collections::BTreeMap;

const UNIT: &str = "http://hl7.org/fhir/StructureDefinition/questionnaire-unit";
const UNIT_OPTION: &str = "http://hl7.org/fhir/StructureDefinition/questionnaire-unitOption";
const LEAST: &str = "http://hl7.org/fhir/StructureDefinition/minValue";
const MOST: &str = "http://hl7.org/fhir/StructureDefinition/maxValue";

/// The grades of the quality of a fast stretch that mean that no catch was met.
const NO_CATCH: [&str; 2] = ["0", "1"];

/// The questionnaire.
pub(super) fn examination(catalogue: &Catalogue) -> Node {
    let header = Header {
        kind: "Questionnaire",
        id: "examination",
        title: "Neurological physiotherapy examination".to_owned(),
        description: "Bedside findings by region of the body, both sides beside each other. What \
                      was not tested is answered with its reason, never left as zero. Numbers count \
                      up in the direction of the movement; minus is short of neutral."
            .to_owned(),
        copyright: Some(format!("{LOINC_NOTICE} {SNOMED_NOTICE}")),
    };
    let mut members = header.members();
    members.push(("subjectType", Node::List(vec![text("Patient")])));
    let mut items = vec![
        question("session.start", "dateTime", "Start of the examination"),
        question("session.end", "dateTime", "End of the examination"),
        choice("session.position", "Position of the body", "body-position"),
        question(
            "precautions.none-known",
            "boolean",
            "Precautions were asked about and looked up, and none is known",
        ),
        precaution(),
    ];
    for (region, sites) in regions(catalogue) {
        let key = region.replace(' ', "-");
        let examined = format!("region.{key}.examined");
        items.push(question(
            &examined,
            "boolean",
            &format!("Was the {region} examined?"),
        ));
        let sites = sites.into_iter().filter_map(|one| site(catalogue, one));
        let group = group(&format!("region.{key}"), region, sites.collect());
        items.push(with(
            group,
            [(
                "enableWhen",
                Node::List(vec![is(&examined, Node::Bool(true))]),
            )],
        ));
    }
    members.push(("item", Node::List(items)));
    object(members)
}

/// The sites that have measures, by region.
fn regions(catalogue: &Catalogue) -> BTreeMap<&str, Vec<&Site>> {
    let mut regions: BTreeMap<&str, Vec<&Site>> = BTreeMap::new();
    for site in catalogue.sites.values() {
        if of_site(catalogue, site).next().is_some() {
            regions.entry(&site.region).or_default().push(site);
        }
    }
    regions
}

/// What is asked about a site: what is computed or said of the whole session is not.
fn of_site<'a>(catalogue: &'a Catalogue, site: &'a Site) -> impl Iterator<Item = &'a Measure> {
    let measures = catalogue.measures.values();
    measures.filter(|measure| {
        let asked = measure.kind.is_entered();
        asked && measure.site.as_deref() == Some(&site.site)
    })
}

fn site(catalogue: &Catalogue, site: &Site) -> Option<Node> {
    let sides = site.sides.words();
    let measures = of_site(catalogue, site).map(|one| measure(catalogue, one, sides));
    let measures: Vec<Node> = measures.collect();
    let id = format!("site.{}", site.site);
    (!measures.is_empty()).then(|| group(&id, &site.label, measures))
}

fn measure(catalogue: &Catalogue, row: &Measure, sides: &[&str]) -> Node {
    let mut items = vec![choice(
        &format!("{}.method", row.measure),
        "Method",
        "method",
    )];
    items.extend(row.neighbour.as_ref().map(|joint| {
        let asked = format!("Position of the {joint}");
        choice(
            &format!("{}.neighbour", row.measure),
            &asked,
            "neighbour-position",
        )
    }));
    items.extend(sides.iter().map(|side| of_side(catalogue, row, side)));
    let published = |relation: Relation| {
        let rows = catalogue.codes_of(&row.measure);
        let rows = rows.filter(move |one| one.relation == relation);
        rows.map(|one| coding(&one.system, &one.code, &one.display))
    };
    let own = coding(&Catalogue::system_of("measure"), &row.measure, &row.label);
    let codes = published(Relation::Equivalent)
        .chain([own])
        .chain(published(Relation::Wider));
    let codes = Node::List(codes.collect());
    with(group(&row.measure, &row.label, items), [("code", codes)])
}

fn of_side(catalogue: &Catalogue, row: &Measure, side: &str) -> Node {
    let id = |part: &str| format!("{}.{side}.{part}", row.measure);
    let mut items = Vec::new();
    let mut answers = Vec::new();
    if row.kind == Kind::StretchFast {
        items.push(choice(
            &id("speed"),
            "Speed of the stretch",
            "stretch-speed",
        ));
        let asked = "Quality of the reaction";
        items.push(choice(&id("quality"), asked, "stretch-quality"));
    }
    if let Some(unit) = row.unit.as_deref() {
        let mut value = number_question(catalogue, row, &id("value"), unit);
        if row.kind == Kind::StretchFast {
            value = with(value, no_catch(&id("quality")));
        }
        answers.push(id("value"));
        items.push(value);
    }
    if let Some(scale) = row
        .scale
        .as_ref()
        .and_then(|name| catalogue.scales.get(name))
    {
        let word = if answers.is_empty() {
            let word = question(&id("word"), "choice", "In words");
            with(word, [("answerOption", options(catalogue, row, scale))])
        } else {
            // Words in the place of a number are one list for many measures.
            let instead = Node::List(vec![unanswered(&id("value"))]);
            let word = choice(&id("word"), "In words", &scale.name);
            with(word, [("enableWhen", instead)])
        };
        answers.push(id("word"));
        items.push(word);
    }
    items.extend(parts(catalogue, row, &id));
    if row.kind.has_ending() {
        let ended = choice(&id("ended"), "How the movement ended", "ending");
        let answered = has_answer(&id("value"), true);
        items.push(with(ended, [("enableWhen", Node::List(vec![answered]))]));
    }
    let reason = choice(
        &id("not-tested"),
        "Not tested, because",
        "not-tested-reason",
    );
    let none = answers.iter().map(|answer| unanswered(answer));
    let none: Vec<Node> = none.collect();
    let all = (none.len() > 1).then(|| ("enableBehavior", text("all")));
    items.push(with(with(reason, [("enableWhen", Node::List(none))]), all));
    group(&format!("{}.{side}", row.measure), side, items)
}

/// An angle may not be impossible; points may not leave their scale.
fn number_question(catalogue: &Catalogue, row: &Measure, id: &str, unit: &str) -> Node {
    let label = catalogue.unit_label(unit).unwrap_or(unit);
    let further: Vec<&str> = catalogue
        .unit_choices_of(row)
        .map(|choice| choice.unit.as_str())
        .collect();
    if !further.is_empty() {
        let units = [unit].into_iter().chain(further).map(|unit| {
            let label = catalogue.unit_label(unit).unwrap_or(unit);
            object([
                ("url", text(UNIT_OPTION)),
                ("valueCoding", coding(UCUM, unit, label)),
            ])
        });
        let number = question(id, "quantity", "How much, in one of these units");
        return with(number, [("extension", Node::List(units.collect()))]);
    }
    let (kind, asked) = if row.kind == Kind::Score {
        ("integer", "Points".to_owned())
    } else {
        let toward = row.movement.as_deref().unwrap_or("the movement");
        let asked = format!("{label}s of {toward} beyond neutral; minus is short of neutral");
        (
            "decimal",
            if row.axis.is_some() {
                asked
            } else {
                label.to_owned()
            },
        )
    };
    let impossible = catalogue.plausibility.get("impossible-angle").copied();
    let bounds = if row.axis.is_some() {
        impossible.map(|most| (most.negated(), most))
    } else {
        // Beyond the bounds of an amount a person is asked, and a form cannot ask.
        let bounds = row.ask_below.zip(row.ask_above);
        bounds.filter(|_| row.kind == Kind::Score)
    };
    let value = if kind == "integer" {
        "valueInteger"
    } else {
        "valueDecimal"
    };
    let bound = |url: &str, at: Exact| object([("url", text(url)), (value, number(at))]);
    let mut extensions = vec![object([
        ("url", text(UNIT)),
        ("valueCoding", coding(UCUM, unit, label)),
    ])];
    if let Some((least, most)) = bounds {
        extensions.extend([bound(LEAST, least), bound(MOST, most)]);
    }
    let mut item = vec![("extension", Node::List(extensions))];
    item.extend([
        ("linkId", text(id)),
        ("text", text(asked)),
        ("type", text(kind)),
    ]);
    object(item)
}

/// Without a catch there is no angle of one.
fn no_catch(quality: &str) -> [(&'static str, Node); 2] {
    let grades = QUALITY_LISTS
        .iter()
        .flat_map(|list| NO_CATCH.map(|grade| (*list, grade)));
    let none = grades.map(|(list, grade)| {
        let grade = [
            ("system", text(Catalogue::system_of(list))),
            ("code", text(grade)),
        ];
        object([
            ("question", text(quality)),
            ("operator", text("!=")),
            ("answerCoding", object(grade)),
        ])
    });
    [
        ("enableWhen", Node::List(none.collect())),
        ("enableBehavior", text("all")),
    ]
}

fn precaution() -> Node {
    let date = |id: &str, asked: &str| question(id, "date", asked);
    let items = vec![
        choice("precaution.site", "Site and side", "site"),
        choice("precaution.limit", "What it limits", "precaution-limit"),
        choice("precaution.source", "Who set it", "precaution-source"),
        choice(
            "precaution.status",
            "Whether it stands",
            "precaution-status",
        ),
        question("precaution.reason", "text", "Why"),
        date("precaution.set", "Set on"),
        date("precaution.review", "To be reviewed on"),
    ];
    let stated = object([
        ("question", text("precautions.none-known")),
        ("operator", text("!=")),
        ("answerBoolean", Node::Bool(true)),
    ]);
    with(
        group(
            "precaution",
            "Precaution that limits the examination",
            items,
        ),
        [
            ("enableWhen", Node::List(vec![stated])),
            ("repeats", Node::Bool(true)),
        ],
    )
}

fn question(id: &str, kind: &str, asked: &str) -> Node {
    object([
        ("linkId", text(id)),
        ("text", text(asked)),
        ("type", text(kind)),
    ])
}

/// A question that is answered with a word of a list that many questions share.
fn choice(id: &str, asked: &str, list: &str) -> Node {
    let list = text(format!("{CANONICAL}/ValueSet/{list}"));
    with(question(id, "choice", asked), [("answerValueSet", list)])
}

fn group(id: &str, label: &str, items: Vec<Node>) -> Node {
    let group = question(id, "group", label);
    with(group, [("item", Node::List(items))])
}

fn with(item: Node, more: impl IntoIterator<Item = (&'static str, Node)>) -> Node {
    let mut item = item;
    for (key, value) in more {
        item.set(key, value);
    }
    item
}

fn is(question: &str, answer: Node) -> Node {
    object([
        ("question", text(question)),
        ("operator", text("=")),
        ("answerBoolean", answer),
    ])
}

fn unanswered(question: &str) -> Node {
    has_answer(question, false)
}

fn has_answer(question: &str, there: bool) -> Node {
    object([
        ("question", text(question)),
        ("operator", text("exists")),
        ("answerBoolean", Node::Bool(there)),
    ])
}

/// The words of a scale; those of its other versions after it, each in a code system of its own.
fn options(catalogue: &Catalogue, row: &Measure, scale: &Scale) -> Node {
    let lists = catalogue.lists_of(row);
    let lists = lists.filter_map(|name| catalogue.scales.get(name));
    let lists = [scale].into_iter().chain(lists.skip(1));
    let options = lists.flat_map(|scale| {
        let system = Catalogue::system_of(&scale.name);
        let words = scale.rows.iter();
        words.map(move |row| object([("valueCoding", coding(&system, &row.code, &row.label))]))
    });
    Node::List(options.collect())
}

/// The parts that a finding may have beside its value.
fn parts(catalogue: &Catalogue, row: &Measure, id: &dyn Fn(&str) -> String) -> Vec<Node> {
    let parts = catalogue.parts_of(row).filter_map(|part| {
        let id = id(&part.part);
        let asked = &catalogue.word("component", &part.part)?.label;
        match (&part.list, &part.unit) {
            (Some(list), _) => Some(choice(&id, asked, list)),
            (None, Some(unit)) => {
                let label = catalogue.unit_label(unit).unwrap_or(unit);
                let unit = object([
                    ("url", text(UNIT)),
                    ("valueCoding", coding(UCUM, unit, label)),
                ]);
                let number = question(&id, "decimal", &format!("{asked} ({label})"));
                let number = with(number, [("extension", Node::List(vec![unit]))]);
                Some(number)
            }
            (None, None) => None,
        }
    });
    parts.collect()
}
