//! The invariants of R4 that say which elements stand together: one row each in
//! `profiles/r4/together.csv`.

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::Problems;
use crate::fhir::check::definitions;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// What has to be there. A name that ends in `[x]` is a choice.
enum Rule {
    /// At least one of these.
    AtLeast(Vec<&'static str>),
    /// Exactly one of these.
    One(Vec<&'static str>),
    /// At most one of these.
    Most(Vec<&'static str>),
    /// The first never without the second.
    Needs(&'static str, &'static str),
}

use Rule::{AtLeast, Most, Needs, One};

/// The problem and the rule of each row, by type or element.
type Rules = BTreeMap<&'static str, Vec<(Code, Rule)>>;

fn rules() -> &'static Rules {
    static RULES: LazyLock<Rules> = LazyLock::new(|| {
        let mut rules = Rules::new();
        for row in definitions::rows(TABLE) {
            if let [of, problem, rule, names] = *row {
                let names: Vec<&str> = names.split(' ').collect();
                let rule = match (rule, names.as_slice()) {
                    ("needs", [first, second]) => Needs(first, second),
                    ("one", _) => One(names),
                    ("most", _) => Most(names),
                    (_, _) => AtLeast(names),
                };
                // A row whose word is no code is still held; the test below names it.
                let code = Code::of(problem).unwrap_or(Code::FhirElement);
                rules.entry(of).or_default().push((code, rule));
            }
        }
        rules
    });
    &RULES
}

const TABLE: &str = include_str!("../../../profiles/r4/together.csv");

/// Tells which of these rules an object of a type, or of an element, breaks.
pub(super) fn held(of: &str, node: &Node, path: &str, problems: &mut Problems) {
    for (code, rule) in rules().get(of).into_iter().flatten() {
        if let Some((what, hint)) = broken(rule, node) {
            problems.error(*code, path, what, &hint);
        }
    }
}

fn broken(rule: &Rule, node: &Node) -> Option<(String, String)> {
    let there = |names: &[&'static str]| -> Vec<&'static str> {
        let names = names.iter().copied();
        names.filter(|name| stands(name, node)).collect()
    };
    match rule {
        AtLeast(names) => there(names).is_empty().then(|| {
            let names = names.join(", ");
            (
                format!("has none of {names}"),
                format!("add one of {names}"),
            )
        }),
        One(names) => (there(names).len() != 1).then(|| {
            let what = match there(names).as_slice() {
                [] => format!("has none of {}", names.join(", ")),
                found => format!("has {} together", found.join(" and ")),
            };
            (what, format!("give exactly one of {}", names.join(", ")))
        }),
        Most(names) => (there(names).len() > 1).then(|| {
            let found = there(names).join(" and ");
            (
                format!("has {found} together"),
                "keep one of them".to_owned(),
            )
        }),
        Needs(first, second) => (stands(first, node) && !stands(second, node)).then(|| {
            let what = format!("has {first} without {second}");
            (what, format!("add {second}, or leave {first} out"))
        }),
    }
}

/// True when an element is there, or an extension in its place.
fn stands(name: &str, node: &Node) -> bool {
    let choice = name.strip_suffix("[x]");
    node.members().iter().any(|(key, _)| {
        let key = key.strip_prefix('_').unwrap_or(key);
        choice.map_or(key == name, |name| {
            let rest = key.strip_prefix(name);
            rest.is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_uppercase()))
        })
    })
}

#[cfg(test)]
mod tests {
    use super::{Rule, TABLE, held, rules};
    use crate::base::code::Code;
    use crate::base::json::{Node, object, text};
    use crate::base::problem::Problems;
    use crate::fhir::check::definitions::{definitions, rows};
    use std::collections::BTreeSet;

    /// The codes told of an object of a type that has these elements.
    fn told(of: &str, names: &[&str]) -> Vec<Code> {
        let members = names
            .iter()
            .map(|name| (name.replace("[x]", "Code"), text("x")));
        let mut problems = Problems::new();
        held(of, &object(members), "", &mut problems);
        problems
            .sorted()
            .into_iter()
            .map(|problem| problem.code)
            .collect()
    }

    #[test]
    fn the_word_of_every_row_is_a_code() {
        let words: Vec<&str> = rows(TABLE).map(|row| row[1]).collect();

        let unknown: Vec<&&str> = words
            .iter()
            .filter(|word| Code::of(word).is_none())
            .collect();

        assert!(words.len() > 70);
        assert!(unknown.is_empty(), "{unknown:?} are no codes");
    }

    #[test]
    fn every_row_names_elements_of_its_type_and_breaks_where_it_should() {
        let every = rules().iter();
        let every =
            every.flat_map(|(of, rows)| rows.iter().map(move |(code, rule)| (of, code, rule)));
        assert_eq!(every.clone().count(), rows(TABLE).count());
        for (of, code, rule) in every {
            let known = definitions().elements_of(of);
            let known: BTreeSet<String> = known
                .iter()
                .map(|one| format!("{}{}", one.name, if one.choice { "[x]" } else { "" }))
                .collect();
            let (breaks, holds): (Vec<Vec<&str>>, Vec<Vec<&str>>) = match rule {
                Rule::AtLeast(names) => {
                    (vec![vec![]], names.iter().map(|one| vec![*one]).collect())
                }
                Rule::One(names) => (
                    vec![vec![], names[..2].to_vec()],
                    names.iter().map(|one| vec![*one]).collect(),
                ),
                Rule::Most(names) => (
                    vec![names[..2].to_vec()],
                    names.iter().map(|one| vec![*one]).collect(),
                ),
                Rule::Needs(first, second) => (
                    vec![vec![*first]],
                    vec![vec![*first, *second], vec![*second], vec![]],
                ),
            };
            for names in &breaks {
                assert!(told(of, names).contains(code), "{of} {code}: {names:?}");
            }
            for names in &holds {
                let both = rules()[of]
                    .iter()
                    .filter(|(other, _)| other == code)
                    .count()
                    > 1;
                assert!(
                    both || !told(of, names).contains(code),
                    "{of} {code}: {names:?}"
                );
                for name in names {
                    assert!(known.contains(*name), "{of} has no {name}: {known:?}");
                }
            }
        }
    }

    #[test]
    fn an_extension_in_the_place_of_an_element_counts() {
        let beside = object([
            ("data", text("x")),
            ("_contentType", Node::Object(Vec::new())),
        ]);
        let mut problems = Problems::new();

        held("Attachment", &beside, "", &mut problems);

        assert!(problems.is_empty());
    }
}
