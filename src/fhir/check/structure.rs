//! A resource from anywhere against the definitions: what the official schema cannot say.
//!
//! The schema of R4 requires no primitive, gives an object no JSON type, puts patterns on numbers
//! (where they say nothing), and knows no choice, no reference and no null beside an extension.

use crate::base::code::Code;
use crate::base::json::{Node, pointer_step};
use crate::base::problem::Problems;
use crate::fhir::check::definitions::{Definitions, Element, Type, definitions};
use crate::fhir::check::options::{SHORT, shortened};
use crate::fhir::check::{bundle, inside, invariants, narrative, primitive, schema};
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// What references of a resource can lead to without asking a server: names, and the types there.
#[derive(Debug, Default, Clone)]
pub(super) struct Around {
    /// `#id` of the resources contained in the root.
    pub(super) contained: Rc<BTreeMap<String, String>>,
    /// Full addresses of the entries of the Bundle, shared by all that are in it.
    pub(super) entries: Rc<BTreeMap<String, String>>,
    /// The resource is itself contained in another.
    pub(super) nested: bool,
}

/// Holds one resource, and those in it, against R4.
pub(super) fn resource(node: &Node, path: &str, around: &Around, problems: &mut Problems) {
    let Some(kind) = known_kind(node, path, problems) else {
        return;
    };
    let mut around = around.clone();
    if !around.nested {
        around.contained = Rc::new(inside::contained(node));
        inside::held(node, path, problems);
    }
    if kind == "Bundle" {
        around.entries = Rc::new(bundle::addresses(node));
        bundle::held(node, path, problems);
    }
    let told = schema::resource(node, kind, path, problems);
    let mut walk = Walk {
        definitions: definitions(),
        told,
        around: &around,
        problems,
    };
    walk.object(node, kind, path);
    invariants::held(kind, node, path, walk.problems);
}

fn known_kind<'a>(node: &'a Node, path: &str, problems: &mut Problems) -> Option<&'a str> {
    let named = node.text_of("resourceType");
    if let Some(kind) = named.filter(|kind| definitions().is_resource(kind)) {
        return Some(kind);
    }
    let what = named.map_or_else(
        || "names no resource type".to_owned(),
        |kind| format!("{kind} is no resource of R4"),
    );
    let hint = "give resourceType, the name of one resource of FHIR R4 (resourcelist.html)";
    let path = format!("{path}/resourceType");
    problems.error(Code::FhirResourceType, &path, what, hint);
    None
}

struct Walk<'a> {
    definitions: &'static Definitions,
    /// Paths of which the schema told already: one fault is one problem.
    told: BTreeSet<String>,
    around: &'a Around,
    problems: &'a mut Problems,
}

/// One value of an element, and the `_name` beside it.
struct ElementValue<'a> {
    element: &'a Element,
    kind: &'a Type,
    path: String,
    beside: String,
    in_list: bool,
}

impl Walk<'_> {
    /// Holds the members of an object against the elements of a type, or of an element.
    fn object(&mut self, node: &Node, of: &str, path: &str) {
        let elements = self.definitions.elements_of(of);
        let mut known: BTreeSet<&str> = BTreeSet::new();
        for element in elements {
            let mut found: BTreeMap<&str, &Type> = BTreeMap::new();
            for (key, _) in node.members() {
                let name = key.strip_prefix('_').unwrap_or(key);
                if let Some(kind) = element.type_of(name) {
                    found.insert(name, kind);
                    known.insert(key);
                }
            }
            self.count(element, &found, path);
            for (key, kind) in found {
                self.member(node, element, (key, kind), path);
            }
        }
        for (key, _) in node.members() {
            let own =
                key == "resourceType" && !of.contains('.') && self.definitions.is_resource(of);
            if !own && !known.contains(key.as_ref()) {
                let path = format!("{path}/{}", pointer_step(key));
                let what = format!("{key} is no element of {of}");
                self.error(
                    Code::FhirElement,
                    &path,
                    what,
                    "remove it or correct its name",
                );
            }
        }
    }

    fn count(&mut self, element: &Element, found: &BTreeMap<&str, &Type>, path: &str) {
        if found.is_empty() && element.required {
            let name = element.name;
            let what = format!("{name} is missing");
            let hint = format!("add it: {} stands at least once in R4", element.path);
            self.error(Code::FhirRequired, &format!("{path}/{name}"), what, &hint);
        }
        if found.len() > 1 {
            // "a choice of types … only one of the types" (formats.html#choice)
            let what = format!("{} values where one is allowed", found.len());
            let hint = format!(
                "keep one of {}",
                found.keys().copied().collect::<Vec<_>>().join(", ")
            );
            self.error(Code::FhirOneValue, path, what, &hint);
        }
    }

    fn member(&mut self, node: &Node, element: &Element, named: (&str, &Type), path: &str) {
        let (key, kind) = named;
        let beside_key = format!("_{key}");
        let (value, beside) = (node.member(key), node.member(&beside_key));
        let place = |step: String, in_list| ElementValue {
            element,
            kind,
            path: format!("{path}/{}{step}", pointer_step(key)),
            beside: format!("{path}/{}{step}", pointer_step(&beside_key)),
            in_list,
        };
        if !element.many {
            self.single(value, beside, &place(String::new(), false));
            return;
        }
        let whole = place(String::new(), true);
        for (list, at) in [(value, &whole.path), (beside, &whole.beside)] {
            match list {
                Some(Node::List(items)) if items.is_empty() => {
                    // "Arrays cannot be empty" (json.html)
                    self.error(Code::FhirEmpty, at, "an empty array".to_owned(), EMPTY);
                }
                None | Some(Node::List(_)) => {}
                Some(Node::Null) => self.error(Code::FhirNull, at, NULL.to_owned(), EMPTY),
                Some(Node::Bool(_) | Node::Number(_) | Node::Text(_) | Node::Object(_)) => {
                    let what = format!("{key} may stand several times: it is an array in JSON");
                    self.error(Code::FhirType, at, what, "put it in an array");
                }
            }
        }
        let items = |list: Option<&Node>| list.map_or(0, |list| list.items().len());
        for index in 0..items(value).max(items(beside)) {
            let (value, beside) = (item_of(value, index), item_of(beside, index));
            self.single(value, beside, &place(format!("/{index}"), true));
        }
    }

    fn single(&mut self, value: Option<&Node>, beside: Option<&Node>, place: &ElementValue<'_>) {
        // "null … used to fill out both arrays so that the id and/or extension are aligned with the
        // matching value" (json.html)
        let said = |node: Option<&Node>| node.is_some_and(|node| *node != Node::Null);
        if value == Some(&Node::Null) && !(place.in_list && said(beside)) {
            self.error(Code::FhirNull, &place.path, NULL.to_owned(), EMPTY);
        }
        if beside == Some(&Node::Null) && !(place.in_list && said(value)) {
            self.error(Code::FhirNull, &place.beside, NULL.to_owned(), EMPTY);
        }
        if let Some(value) = value.filter(|value| **value != Node::Null) {
            self.value(value, place);
        }
        let Some(beside) = beside.filter(|beside| **beside != Node::Null) else {
            return;
        };
        if Definitions::is_primitive(place.kind.name) {
            self.complex(beside, "Element", "Element", &place.beside);
        } else {
            let what = "only a primitive value has extensions beside it".to_owned();
            self.error(
                Code::FhirElement,
                &place.beside,
                what,
                "put the extension into the object",
            );
        }
    }

    fn value(&mut self, node: &Node, place: &ElementValue<'_>) {
        let path = place.path.as_str();
        if self.told.contains(path) {
            return;
        }
        match (place.kind.name, node) {
            (_, Node::List(_)) => {
                let what = format!("{} stands once: it is no array", place.element.name);
                self.error(
                    Code::FhirType,
                    path,
                    what,
                    "write the one value without brackets",
                );
            }
            (_, Node::Text(text)) if text.trim().is_empty() => {
                // "Strings SHALL NOT be empty" (datatypes.html#string)
                self.error(Code::FhirEmpty, path, "an empty string".to_owned(), EMPTY);
            }
            ("Resource", Node::Object(_)) => {
                let around = Around {
                    nested: place.element.name == "contained",
                    ..self.around.clone()
                };
                resource(node, path, &around, self.problems);
            }
            ("xhtml", Node::Text(text)) => narrative::held(text, path, self.problems),
            (kind, _) if Definitions::is_primitive(kind) => {
                primitive::value(kind, node, path, self.problems);
                self.bound(node, place);
            }
            ("BackboneElement" | "Element", _) => {
                self.complex(node, place.element.path, place.element.path, path);
            }
            (kind, _) => {
                let of = kind.strip_prefix('#').unwrap_or(kind);
                self.complex(node, of, of, path);
                // "sqty-1: The comparator is not used on a SimpleQuantity"
                if place.kind.simple && node.member("comparator").is_some() {
                    let path = format!("{path}/comparator");
                    let what = "this quantity has no comparator".to_owned();
                    self.error(Code::FhirSqty1, &path, what, "remove it");
                }
                if kind == "Reference" {
                    self.reference(node, place.kind, path);
                }
                self.bound(node, place);
            }
        }
    }

    fn complex(&mut self, node: &Node, of: &str, rules: &str, path: &str) {
        if self.told.contains(path) {
            return;
        }
        let Node::Object(members) = node else {
            let what = format!("this is no {of}: it is an object in JSON");
            self.error(
                Code::FhirType,
                path,
                what,
                "write it as an object with its elements",
            );
            return;
        };
        if members.is_empty() {
            self.error(Code::FhirEmpty, path, "an empty object".to_owned(), EMPTY);
            return;
        }
        // "ele-1: All FHIR elements must have a @value or children"; an id is not counted
        if members.iter().all(|(key, _)| key == "id") {
            let what = "has an id and nothing else".to_owned();
            self.error(Code::FhirEle1, path, what, EMPTY);
            return;
        }
        self.object(node, of, path);
        invariants::held(rules, node, path, self.problems);
    }

    /// A reference leads to a resource of a type that its element allows, and a local one to one
    /// that is contained.
    fn reference(&mut self, node: &Node, kind: &Type, path: &str) {
        let Some(reference) = node.text_of("reference") else {
            return;
        };
        let path = format!("{path}/reference");
        let to = if reference.starts_with('#') {
            let to = self.around.contained.get(reference).map(String::as_str);
            // "ref-1: SHALL have a contained resource if a local reference is provided"
            if to.is_none() && reference != "#" {
                let what = format!("{reference} is no resource contained here");
                self.error(Code::FhirRef1, &path, what, "contain it, or correct its id");
            }
            to
        } else {
            let entry = self.around.entries.get(reference).map(String::as_str);
            entry.or_else(|| type_in(reference, self.definitions))
        };
        if let Some(to) = to
            && !kind.targets.is_empty()
            && !kind.targets.contains(&to)
        {
            let what = format!("leads to a {to}");
            let hint = format!("this element leads to {}", kind.targets.join(", "));
            self.error(Code::FhirReference, &path, what, &hint);
        }
    }

    /// "required: To be conformant, the concept in this element SHALL be from the specified value
    /// set" (terminologies.html#required)
    fn bound(&mut self, node: &Node, place: &ElementValue<'_>) {
        let Some(name) = place.element.list else {
            return;
        };
        let list = self.definitions.list(name);
        let coded = |coding: &Node| {
            let (system, code) = (coding.text_of("system"), coding.text_of("code"));
            list.iter().any(|(of, codes)| {
                system == Some(*of) && code.is_some_and(|code| codes.contains(code))
            })
        };
        let held = match (place.kind.name, node) {
            ("CodeableConcept", Node::Object(_)) => {
                node.items_of("coding").iter().any(coded) || extended(node)
            }
            ("Coding", Node::Object(_)) => coded(node) || extended(node),
            (_, Node::Text(text)) => list.iter().any(|(_, codes)| codes.contains(text.as_str())),
            (_, _) => true,
        };
        if !held {
            let what = format!("no code of the value set {name}");
            let known = list.iter().flat_map(|(_, codes)| codes.iter().copied());
            let known = known.take(SHORT + 1);
            let hint = format!("use one of {}", shortened(&known.collect::<Vec<_>>()));
            self.error(Code::FhirCode, &place.path, what, &hint);
        }
    }

    fn error(&mut self, code: Code, path: &str, what: String, hint: &str) {
        if schema::note(&mut self.told, path.to_owned()) {
            // Each code is named where the rule stands.
            self.problems.error(code, path, what, hint);
        }
    }
}

fn item_of(list: Option<&Node>, index: usize) -> Option<&Node> {
    list.and_then(|list| list.items().get(index))
}

const EMPTY: &str = "leave out what says nothing (json.html)";
const NULL: &str = "null stands for nothing";

fn extended(node: &Node) -> bool {
    !node.items_of("extension").is_empty()
}

/// The type a literal reference names: `[type]/[id]`, relative or at the end of an address, a
/// version may follow (references.html#literal).
fn type_in<'a>(reference: &'a str, definitions: &Definitions) -> Option<&'a str> {
    let whole = reference.split(['?', '#', '|']).next().unwrap_or_default();
    let whole = whole.split("/_history/").next().unwrap_or_default();
    let (before, _id) = whole.rsplit_once('/')?;
    let kind = before.rsplit('/').next()?;
    definitions.is_resource(kind).then_some(kind)
}

impl Element {
    /// The type an element has under this JSON name; nothing when the name is another's.
    fn type_of(&self, key: &str) -> Option<&Type> {
        if !self.choice {
            return (key == self.name).then(|| self.types.first()).flatten();
        }
        let rest = key.strip_prefix(self.name)?;
        self.types.iter().find(|kind| {
            let mut letters = kind.name.chars();
            letters.next().map(|c| c.to_ascii_uppercase()) == rest.chars().next()
                && letters.as_str() == rest.get(1..).unwrap_or_default()
        })
    }
}
