//! Our own rules, where an Observation carries a measure of ours, whoever wrote it.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::json::Node;
use crate::base::problem::Problems;
use crate::tables::catalogue::rows::{Kind, Measure, Relation, Sides};
use crate::tables::catalogue::{Catalogue, RELATIVE, SNOMED, UCUM};

const FIX: &str = "see the row of this measure in profiles/measures.csv";

/// Holds an Observation against the row of its measure; false when it carries none of ours.
pub(super) fn observation(
    node: &Node,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> bool {
    let Some(code) = own_code(node.member("code"), "measure") else {
        return false;
    };
    let Some(row) = catalogue.measures.get(&code) else {
        let what = format!("{code} is no measure of profiles/measures.csv");
        problems.error(Code::MeasureUnknown, &format!("{path}/code"), what, FIX);
        return true;
    };
    displays(node, path, catalogue, problems);
    published(node, row, path, catalogue, problems);
    site(node, row, path, catalogue, problems);
    quantity(node, row, path, catalogue, problems);
    word(node, row, path, catalogue, problems);
    ending(node, row, path, problems);
    true
}

/// The code a concept carries in one of our own code systems.
fn own_code(concept: Option<&Node>, list: &str) -> Option<String> {
    let system = Catalogue::system_of(list);
    let codings = concept?.items_of("coding").iter();
    let own = codings.filter(|coding| coding.text_of("system") == Some(system.as_str()));
    own.into_iter()
        .find_map(|coding| coding.text_of("code"))
        .map(str::to_owned)
}

/// A code that stands before ours is what many readers take, so it has to mean the same; and a code
/// that the tables give is missed by those who look for it.
fn published(
    node: &Node,
    row: &Measure,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let path = format!("{path}/code");
    let own = Catalogue::system_of("measure");
    let codings = node
        .member("code")
        .map(|concept| concept.items_of("coding"))
        .unwrap_or_default();
    let given: Vec<(&str, &str)> = codings
        .iter()
        .filter_map(|coding| coding.text_of("system").zip(coding.text_of("code")))
        .collect();
    let comparison = Catalogue::system_of("comparison");
    let before = given.iter().take_while(|(system, _)| *system != own);
    // Our own code of a comparison names its measure; whether it is known is told with its display.
    for (system, code) in before.filter(|(system, _)| *system != comparison) {
        let mut rows = catalogue.codes_of(&row.measure);
        let told = rows.find(|one| one.system == *system && one.code == *code);
        match told.map(|one| one.relation) {
            Some(Relation::Equivalent) => {}
            Some(Relation::Wider | Relation::Absent | Relation::Position) => {
                let what =
                    format!("{code} of {system} stands first and says less than the measure");
                let hint = "put it after our code: who reads the first one would mix measures";
                problems.error(Code::CodeWiderFirst, &path, what, hint);
            }
            None => {
                let what = format!("{code} of {system} stands first and is not in the tables");
                let hint = "if it means the same, add it to your map of codes; if not, put it last";
                problems.note(Code::CodeFirstUnknown, &path, what, hint);
            }
        }
    }
    for wanted in catalogue.codes_of(&row.measure) {
        if !given.contains(&(wanted.system.as_str(), wanted.code.as_str())) {
            let what = format!("{} of {} is missing", wanted.code, wanted.system);
            let hint = "it was written with other tables; the code of our own says what was found";
            problems.note(Code::CodeMissing, &path, what, hint);
        }
    }
}

/// A display of ours that differs is told: somebody may have changed what a code seems to mean.
fn displays(node: &Node, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    let parts = node.items_of("component").iter();
    let concepts = [
        node.member("code"),
        node.member("valueCodeableConcept"),
        node.member("method"),
        node.member("bodySite"),
    ];
    let concepts = concepts.into_iter().flatten().chain(
        parts
            .flat_map(|part| [part.member("code"), part.member("valueCodeableConcept")])
            .flatten(),
    );
    for coding in concepts.flat_map(|concept| concept.items_of("coding")) {
        let (Some(system), Some(code)) = (coding.text_of("system"), coding.text_of("code")) else {
            continue;
        };
        let Some(list) = system.strip_prefix(&Catalogue::system_of("")) else {
            continue;
        };
        let label = match list {
            "measure" => catalogue.measures.get(code).map(|row| row.label.clone()),
            "site" => catalogue.site_display(code),
            "comparison" => catalogue.comparison_display(code),
            list => catalogue.word(list, code).map(|row| row.label.clone()),
        };
        match (label, coding.text_of("display")) {
            (None, _) => {
                let what = format!("{code} is not in the list {list}");
                problems.error(Code::WordUnknown, path, what, "use a code of profiles/");
            }
            (Some(label), Some(display)) if label != display => {
                let what = format!("{code} is shown as {display}, the table says {label}");
                problems.note(
                    Code::CodeDisplay,
                    path,
                    what,
                    "the code counts, not the display",
                );
            }
            (Some(_), _) => {}
        }
    }
}

fn site(node: &Node, row: &Measure, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    let Some(site) = row.site.as_ref().and_then(|site| catalogue.sites.get(site)) else {
        return;
    };
    let path = format!("{path}/bodySite");
    let codings = node
        .member("bodySite")
        .map(|concept| concept.items_of("coding"));
    let given: Vec<(&str, &str)> = codings
        .unwrap_or_default()
        .iter()
        .filter_map(|coding| coding.text_of("system").zip(coding.text_of("code")))
        .collect();
    let own_system = Catalogue::system_of("site");
    let coded = |side: &str, published: Option<&String>| {
        let own = Catalogue::site_code(side, &site.site);
        let thing = format!("site/{own}");
        let mut equivalent = catalogue
            .codes_of(&thing)
            .filter(|row| row.relation == Relation::Equivalent);
        given.contains(&(own_system.as_str(), own.as_str()))
            || published.is_some_and(|code| given.contains(&(SNOMED, code.as_str())))
            || equivalent.any(|row| given.contains(&(row.system.as_str(), row.code.as_str())))
    };
    if site.sides == Sides::Middle {
        if !coded("middle", site.unsided_code.as_ref()) {
            let what = format!("{} is not said of the {}", row.measure, site.label);
            problems.error(Code::SiteSide, &path, what, "give the body structure");
        }
        return;
    }
    let left = coded("left", site.left_code.as_ref());
    let right = coded("right", site.right_code.as_ref());
    if !left && !right {
        let what = format!("{} is said of no side of the {}", row.measure, site.label);
        problems.error(Code::SiteSide, &path, what, "give the sided body structure");
    }
    let text = node
        .at(&["bodySite", "text"])
        .and_then(Node::text)
        .unwrap_or_default();
    let says = |side: &str| {
        text.split_whitespace()
            .any(|word| word.eq_ignore_ascii_case(side))
    };
    if (left && (right || says("right"))) || (right && says("left")) {
        let what = "codes and words name different sides".to_owned();
        problems.error(
            Code::SiteSidesDiffer,
            &path,
            what,
            "find out which side was examined",
        );
    }
}

/// The row whose unit a number has, and whether that unit is the one of a share: a comparison has
/// the unit of the measure compared.
fn counted<'a>(
    node: &Node,
    row: &'a Measure,
    catalogue: &'a Catalogue,
) -> Option<(&'a Measure, bool)> {
    if row.kind != Kind::Comparison {
        return Some((row, false));
    }
    let code = own_code(node.member("code"), "comparison")?;
    let (kind, measure) = code.split_once('.')?;
    Some((catalogue.measures.get(measure)?, kind == "dynamic-share"))
}

fn quantity(
    node: &Node,
    row: &Measure,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let path = format!("{path}/valueQuantity");
    let Some(quantity) = node.member("valueQuantity") else {
        return;
    };
    let counted = counted(node, row, catalogue);
    let customary = match counted {
        Some((_, true)) => Some("1"),
        Some((of, false)) => of.unit.as_deref(),
        None => None,
    };
    let (Some((of, share)), Some(customary)) = (counted, customary) else {
        let what = format!("{} has no number", row.measure);
        problems.error(Code::ValueKind, &path, what, FIX);
        return;
    };
    let wanted = quantity.text_of("code").unwrap_or_default();
    let bounds = if share {
        (wanted == customary).then_some((None, None))
    } else {
        catalogue.bounds_in(of, wanted)
    };
    let Some((low, high)) = bounds.filter(|_| quantity.text_of("system") == Some(UCUM)) else {
        let what = format!("{} is given in UCUM {customary}", row.measure);
        problems.error(Code::UnitMeasure, &path, what, FIX);
        return;
    };
    // A difference may lie anywhere, whatever the bounds of what was compared.
    let [low, high] = [low, high].map(|bound| bound.filter(|_| row.kind != Kind::Comparison));
    let Some(Node::Number(digits)) = quantity.member("value") else {
        return;
    };
    let Ok(value) = Exact::parse(digits) else {
        return;
    };
    let most = catalogue.plausibility.get("impossible-angle");
    let impossible = wanted == "deg" && most.is_some_and(|most| value.magnitude() > *most);
    let outside = low.is_some_and(|low| value < low) || high.is_some_and(|high| value > high);
    if impossible || (outside && row.kind == Kind::Score) {
        let what = format!("{value} {wanted} is impossible for {}", row.measure);
        problems.error(
            Code::ValueImpossible,
            &path,
            what,
            "find out what was measured",
        );
    } else if outside {
        let what = format!("{value} {wanted} is beyond what is usually seen");
        problems.caution(
            Code::AngleUnusual,
            &path,
            what,
            "find out what was measured",
        );
    }
}

fn word(node: &Node, row: &Measure, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    let path = format!("{path}/valueCodeableConcept");
    let Some(concept) = node.member("valueCodeableConcept") else {
        return;
    };
    let compared = own_code(Some(concept), RELATIVE);
    if compared.is_some_and(|code| catalogue.word(RELATIVE, &code).is_some()) {
        return;
    }
    let Some(list) = &row.scale else {
        let what = format!("{} has no word as its value", row.measure);
        problems.error(Code::ValueKind, &path, what, FIX);
        return;
    };
    let known = catalogue.lists_of(row).any(|list| {
        own_code(Some(concept), list).is_some_and(|code| catalogue.word(list, &code).is_some())
    });
    if !known {
        let what = format!("the value is no code of the list {list}");
        problems.error(Code::ValueList, &path, what, "use a code of its list");
    }
}

/// How the movement ended stands beside every range and stretch that has a value, and a bound is
/// marked as one.
fn ending(node: &Node, row: &Measure, path: &str, problems: &mut Problems) {
    if !row.kind.has_ending() || node.member("dataAbsentReason").is_some() {
        return;
    }
    let ending = node.items_of("component").iter().find_map(|part| {
        let named = own_code(part.member("code"), "component")? == "ending";
        named.then(|| own_code(part.member("valueCodeableConcept"), "ending"))?
    });
    let bound = node
        .at(&["valueQuantity", "comparator"])
        .and_then(Node::text)
        == Some(">=");
    match ending.as_deref() {
        None => {
            let what = "does not say how the movement ended".to_owned();
            problems.error(Code::EndingMissing, path, what, "add the component ending");
        }
        Some("end-of-range") if bound => {
            let what = "ended at the end of range, yet is marked as a bound".to_owned();
            problems.error(Code::EndingBound, path, what, "remove the comparator");
        }
        Some(how) if how != "end-of-range" && !bound && node.member("valueQuantity").is_some() => {
            let what = format!("ended by {how}, yet is not marked as a bound");
            problems.error(Code::EndingBound, path, what, "add the comparator >=");
        }
        Some(_) => {}
    }
}
