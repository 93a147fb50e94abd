//! What FHIR R4 (4.0.1) says of each type: its elements, how often each stands, of which types, and
//! the codes of its required bindings.
//!
//! Read from `profiles/r4/elements.csv` and `codes.csv`, which `tests/conformance/tables` writes from
//! the official definitions.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

/// One element of a type.
#[derive(Debug)]
pub(super) struct Element {
    /// Path in the definitions, such as `Observation.component.value[x]`.
    pub(super) path: &'static str,
    /// Name, without the `[x]` of a choice.
    pub(super) name: &'static str,
    /// Its JSON name carries the name of its type.
    pub(super) choice: bool,
    /// It has to be there.
    pub(super) required: bool,
    /// It is a list.
    pub(super) many: bool,
    /// The types it may have.
    pub(super) types: Vec<Type>,
    /// The list of codes it is bound to.
    pub(super) list: Option<&'static str>,
}

/// A type an element may have.
#[derive(Debug)]
pub(super) struct Type {
    /// Name of a type, or `#` and the path whose children it has.
    pub(super) name: &'static str,
    /// A quantity that has no comparator.
    pub(super) simple: bool,
    /// For a reference, the resources it may lead to; any when empty.
    pub(super) targets: Vec<&'static str>,
}

/// The definitions of R4.
#[derive(Debug, Default)]
pub(super) struct Definitions {
    /// What a type, or an element with children of its own, is made from.
    bases: BTreeMap<&'static str, &'static str>,
    /// The elements of a type, or of an element, without those of what it is made from.
    elements: BTreeMap<&'static str, Vec<Element>>,
    /// The codes of a list, by system.
    lists: BTreeMap<&'static str, Vec<(&'static str, BTreeSet<&'static str>)>>,
}

/// The definitions, read once.
pub(super) fn definitions() -> &'static Definitions {
    static DEFINITIONS: LazyLock<Definitions> = LazyLock::new(|| {
        let mut read = Definitions::default();
        for row in rows(include_str!("../../../profiles/r4/elements.csv")) {
            read.element(&row);
        }
        for row in rows(include_str!("../../../profiles/r4/codes.csv")) {
            if let [list, system, codes] = *row {
                let codes = codes.split(' ').collect();
                read.lists.entry(list).or_default().push((system, codes));
            }
        }
        read
    });
    &DEFINITIONS
}

/// The cells of each row; no cell of these tables holds a comma, and a test counts what is read.
pub(super) fn rows(text: &'static str) -> impl Iterator<Item = Vec<&'static str>> {
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| line.split(',').collect())
}

impl Definitions {
    fn element(&mut self, row: &[&'static str]) {
        let [path, min, max, types, list] = *row else {
            return;
        };
        let types: Vec<Type> = types.split(' ').map(Type::read).collect();
        if let [made_from] = types.as_slice()
            && (!path.contains('.') || matches!(made_from.name, "BackboneElement" | "Element"))
        {
            self.bases.insert(path, made_from.name);
        }
        if let Some((parent, name)) = path.rsplit_once('.') {
            let single = name.strip_suffix("[x]");
            self.elements.entry(parent).or_default().push(Element {
                path,
                name: single.unwrap_or(name),
                choice: single.is_some(),
                required: min != "0",
                many: max == "*",
                types,
                list: (list != "none").then_some(list),
            });
        }
    }

    /// The elements of a type or of an element with children, those of what it is made from first.
    pub(super) fn elements_of(&self, of: &str) -> Vec<&Element> {
        let mut chain = vec![of];
        while let Some(base) = chain.last().and_then(|last| self.bases.get(last)) {
            chain.push(base);
        }
        let chain = chain.into_iter().rev();
        chain
            .filter_map(|of| self.elements.get(of))
            .flatten()
            .collect()
    }

    /// True for the name of a resource that can be sent.
    pub(super) fn is_resource(&self, name: &str) -> bool {
        let base = self.bases.get(name).copied();
        let abstract_ones = ["DomainResource", "MetadataResource"];
        matches!(base, Some("DomainResource" | "Resource")) && !abstract_ones.contains(&name)
    }

    /// How many resources can be sent.
    #[cfg(test)]
    pub(super) fn resources(&self) -> usize {
        let names = self.bases.keys();
        names.filter(|name| self.is_resource(name)).count()
    }

    /// True for a type whose values are one JSON string, number or boolean.
    pub(super) fn is_primitive(name: &str) -> bool {
        name.starts_with(|c: char| c.is_ascii_lowercase())
    }

    /// The codes of a list, by system.
    pub(super) fn list(&self, name: &str) -> &[(&'static str, BTreeSet<&'static str>)] {
        self.lists.get(name).map_or(&[], Vec::as_slice)
    }
}

impl Type {
    fn read(text: &'static str) -> Self {
        let (name, targets) = text.split_once('(').unwrap_or((text, ""));
        let targets = targets.trim_end_matches(')').split('|');
        // The one profile on a data type that base R4 uses; in JSON it is a Quantity.
        let simple = name == "SimpleQuantity";
        Self {
            name: if simple { "Quantity" } else { name },
            simple,
            targets: targets
                .filter(|target| !target.is_empty() && *target != "Resource")
                .collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{definitions, rows};

    #[test]
    fn every_row_is_read() {
        let read = definitions();
        let lines = rows(include_str!("../../../profiles/r4/elements.csv")).count();

        let elements: usize = read.elements.values().map(Vec::len).sum();
        let types = read.bases.keys().filter(|of| !of.contains('.')).count();

        assert_eq!(elements + types, lines);
        for element in read.elements.values().flatten() {
            for one in &element.types {
                let known = one.name.strip_prefix('#').map_or_else(
                    || read.bases.contains_key(one.name),
                    |path| read.elements.contains_key(path),
                );
                assert!(known, "{}: {}", element.path, one.name);
            }
            if let Some(list) = element.list {
                assert!(!read.list(list).is_empty(), "{list}");
            }
        }
        assert!(read.is_resource("Observation") && read.is_resource("Bundle"));
        assert!(!read.is_resource("DomainResource") && !read.is_resource("Quantity"));
    }
}
