//! Resources contained in another (references.html#contained).

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::Problems;
use std::collections::{BTreeMap, BTreeSet};

/// The types of the contained resources by their local references.
pub(super) fn contained(node: &Node) -> BTreeMap<String, String> {
    let each = node.items_of("contained").iter();
    each.filter_map(|one| {
        let (id, kind) = one.text_of("id").zip(one.text_of("resourceType"))?;
        Some((format!("#{id}"), kind.to_owned()))
    })
    .collect()
}

/// The rules of `DomainResource` on what is contained.
pub(super) fn held(node: &Node, path: &str, problems: &mut Problems) {
    let mut named = BTreeSet::new();
    local(node, &mut named);
    for (index, one) in node.items_of("contained").iter().enumerate() {
        let path = format!("{path}/contained/{index}");
        // "dom-2: If the resource is contained in another resource, it SHALL NOT contain nested
        // Resources"
        if one.member("contained").is_some() {
            let what = "a contained resource contains others".to_owned();
            problems.error(
                Code::FhirDom2,
                &path,
                what,
                "contain all of them in the outer resource",
            );
        }
        // "dom-3: … it SHALL be referred to from elsewhere in the resource or SHALL refer to the
        // containing resource"
        let id = one.text_of("id").unwrap_or_default();
        let mut own = BTreeSet::new();
        local(one, &mut own);
        if !named.contains(format!("#{id}").as_str()) && !own.contains("#") {
            let what = "nothing refers to this contained resource".to_owned();
            problems.error(
                Code::FhirDom3,
                &path,
                what,
                "refer to it by its id, or leave it out",
            );
        }
        let meta = |member: &str| one.at(&["meta", member]).is_some();
        // "dom-4: … it SHALL NOT have a meta.versionId or a meta.lastUpdated"
        if meta("versionId") || meta("lastUpdated") {
            let what = "a contained resource has no version of its own".to_owned();
            problems.error(
                Code::FhirDom4,
                &path,
                what,
                "remove versionId and lastUpdated",
            );
        }
        // "dom-5: … it SHALL NOT have a security label"
        if meta("security") {
            let what = "a contained resource has no security label of its own".to_owned();
            problems.error(Code::FhirDom5, &path, what, "label the outer resource");
        }
    }
}

/// Every text that may refer to something inside the same resource.
fn local<'a>(node: &'a Node, found: &mut BTreeSet<&'a str>) {
    for (_, member) in node.members() {
        if let Some(text) = member.text().filter(|text| text.starts_with('#')) {
            found.insert(text);
        }
        local(member, found);
    }
    for item in node.items() {
        if let Some(text) = item.text().filter(|text| text.starts_with('#')) {
            found.insert(text);
        }
        local(item, found);
    }
}
