//! The conformance resources of `profiles/fhir/` agree with the tables and with each other.
#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]

use fascicle::base::json::Node;
use fascicle::tables::catalogue::{CANONICAL, Catalogue, conformance};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Kinds that are generated from the tables; the others are written by hand.
const GENERATED: [&str; 8] = [
    "CapabilityStatement",
    "CodeSystem",
    "ConceptMap",
    "ImplementationGuide",
    "NamingSystem",
    "ObservationDefinition",
    "Questionnaire",
    "ValueSet",
];

#[test]
fn the_generated_resources_are_the_committed_ones() {
    let folder = root("profiles/fhir");
    let catalogue = Catalogue::embedded().expect("the embedded tables");
    let mut made: BTreeMap<String, Node> = conformance::resources(&catalogue).into_iter().collect();
    let written = resources(&folder);
    let mut conformance: Vec<Node> = made.values().cloned().collect();
    conformance.extend(profiles(&written).map(|(_, profile)| profile.clone()));
    let examples = resources(&folder.join("examples")).into_iter();
    let examples: Vec<Node> = examples.map(|(_, example)| example).collect();
    let guide = conformance::guide::guide(&conformance, &examples);
    made.insert("ImplementationGuide-fascicle.json".to_owned(), guide);
    let made: BTreeMap<String, String> = made
        .into_iter()
        .map(|(name, resource)| (name, resource.pretty()))
        .collect();
    let committed = files(&folder).into_iter().filter(|name| is_generated(name));
    let committed: BTreeMap<String, String> = committed
        .map(|name| (name.clone(), read(&folder.join(&name))))
        .collect();

    if std::env::var_os("UPDATE_EXPECT").is_some() {
        rewrite(&folder, &made, &committed);
        return;
    }

    let names: BTreeSet<&String> = made.keys().chain(committed.keys()).collect();
    let stale: Vec<_> = names
        .into_iter()
        .filter(|name| made.get(*name) != committed.get(*name))
        .collect();
    assert!(
        stale.is_empty(),
        "stale: {stale:#?}\nhint: UPDATE_EXPECT=1 cargo test --test profiles the_generated"
    );
}

#[test]
fn file_name_id_and_address_of_every_resource_agree() {
    let folder = root("profiles/fhir");
    let mut faults = Vec::new();

    for (name, resource) in resources(&folder) {
        let kind = resource.text_of("resourceType").unwrap_or_default();
        let id = resource.text_of("id").unwrap_or_default();
        if name != format!("{kind}-{id}.json") {
            faults.push(format!("profiles/fhir/{name}:1: holds {kind}/{id}"));
        }
        let url = format!("{CANONICAL}/{kind}/{id}");
        // In R4 these two have no address.
        let without = matches!(kind, "NamingSystem" | "ObservationDefinition");
        if !without && resource.text_of("url") != Some(&url) {
            faults.push(format!("profiles/fhir/{name}:1: its url is not {url}"));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn profiles_build_on_r4_or_on_each_other_and_name_only_what_exists() {
    let resources = resources(&root("profiles/fhir"));
    let known: BTreeSet<&str> = resources
        .iter()
        .filter_map(|(_, resource)| resource.text_of("url"))
        .collect();
    let mut faults = Vec::new();

    for (name, profile) in profiles(&resources) {
        let mut told = |what: String| faults.push(format!("profiles/fhir/{name}:1: {what}"));
        if profile.text_of("fhirVersion") != Some("4.0.1") {
            told("its fhirVersion is not 4.0.1".to_owned());
        }
        if profile.text_of("version") != Some(env!("CARGO_PKG_VERSION")) {
            told("its version is not the one of the package".to_owned());
        }
        let mut named = Vec::new();
        canonicals(profile, &mut named);
        for address in named {
            if !known.contains(address) {
                told(format!("{address} does not exist"));
            }
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn the_questionnaire_asks_about_every_measure_and_names_only_what_exists() {
    let resources = resources(&root("profiles/fhir"));
    let of = |name: &str| {
        let found = resources.iter().find(|(file, _)| file == name);
        &found.expect("a resource").1
    };
    let known: BTreeSet<&str> = resources
        .iter()
        .filter_map(|(_, resource)| resource.text_of("url"))
        .collect();
    let catalogue = Catalogue::embedded().expect("the embedded tables");
    let mut asked = BTreeMap::new();
    let mut faults = Vec::new();

    questions(
        of("Questionnaire-examination.json"),
        &mut asked,
        &mut faults,
    );

    for item in asked.values() {
        let lists = item.text_of("answerValueSet").into_iter();
        faults.extend(
            lists
                .filter(|list| !known.contains(list))
                .map(str::to_owned),
        );
        for condition in item.items_of("enableWhen") {
            let question = condition.text_of("question").unwrap_or_default();
            if !asked.contains_key(question) {
                faults.push(format!("{question} is asked nowhere"));
            }
        }
    }
    for (key, row) in &catalogue.measures {
        let computed = !row.kind.is_entered();
        let site = row.site.as_ref().and_then(|site| catalogue.sites.get(site));
        for side in site.map_or(&[][..], |site| site.sides.words()) {
            let not_tested = format!("{key}.{side}.not-tested");
            if !computed && !asked.contains_key(not_tested.as_str()) {
                faults.push(format!("{not_tested} is asked nowhere"));
            }
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

/// The questions by link id; one that stands twice is a fault.
fn questions<'a>(
    node: &'a Node,
    asked: &mut BTreeMap<&'a str, &'a Node>,
    faults: &mut Vec<String>,
) {
    for item in node.items_of("item") {
        let id = item.text_of("linkId").unwrap_or_default();
        if asked.insert(id, item).is_some() {
            faults.push(format!("{id} stands twice"));
        }
        questions(item, asked, faults);
    }
}

#[test]
fn the_guide_lists_every_resource_and_every_example() {
    let folder = root("profiles/fhir");
    let all = resources(&folder);
    let guide = all
        .iter()
        .find(|(name, _)| name == "ImplementationGuide-fascicle.json");
    let definition = guide.expect("the guide").1.member("definition");
    let listed: BTreeSet<String> = definition
        .map(|definition| definition.items_of("resource"))
        .unwrap_or_default()
        .iter()
        .filter_map(|one| one.at(&["reference", "reference"])?.text())
        .map(str::to_owned)
        .collect();

    let examples = resources(&folder.join("examples"));
    let there: BTreeSet<String> = all
        .iter()
        .filter(|(name, _)| !name.starts_with("ImplementationGuide-"))
        .chain(&examples)
        .map(|(_, one)| {
            let part = |key| one.text_of(key).unwrap_or_default();
            format!("{}/{}", part("resourceType"), part("id"))
        })
        .collect();

    let differ: Vec<_> = listed.symmetric_difference(&there).collect();
    assert!(differ.is_empty(), "{differ:#?}");
}

#[test]
fn every_code_a_profile_fixes_stands_in_its_code_system() {
    let catalogue = Catalogue::embedded().expect("the embedded tables");
    let mut faults = Vec::new();

    for (name, profile) in profiles(&resources(&root("profiles/fhir"))) {
        let mut codings = Vec::new();
        own_codings(profile, &mut codings);
        for (list, code) in codings {
            if catalogue.word(list, code).is_none() {
                faults.push(format!("profiles/fhir/{name}:1: {list} has no {code}"));
            }
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn every_profile_says_why_it_builds_on_its_parent() {
    let told = read(&root("profiles/fhir/README.md"));
    let mut faults = Vec::new();

    for (name, profile) in profiles(&resources(&root("profiles/fhir"))) {
        let id = profile.text_of("id").unwrap_or_default();
        let parent = profile.text_of("baseDefinition").unwrap_or_default();
        let parent = parent.rsplit('/').next().unwrap_or_default();
        let row = format!("| {id} | {parent} | ");
        let reason = told.lines().find_map(|line| line.strip_prefix(&row));
        if reason.is_none_or(|reason| reason.len() < 20) {
            faults.push(format!("profiles/fhir/README.md: no {row}… for {name}"));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn every_profile_has_an_example_and_at_least_two_mutants() {
    let resources = resources(&root("profiles/fhir"));
    let concrete: BTreeSet<String> = profiles(&resources)
        .filter(|(_, profile)| profile.member("abstract") == Some(&Node::Bool(false)))
        .filter_map(|(_, profile)| profile.text_of("url").map(str::to_owned))
        .collect();
    let mut faults = Vec::new();
    let mut shown = BTreeSet::new();
    let mut broken: BTreeMap<String, usize> = BTreeMap::new();

    for (folder, mutants) in [
        ("profiles/fhir/examples", false),
        ("tests/conformance/profile-mutants", true),
    ] {
        for (name, resource) in self::resources(&root(folder)) {
            let claimed = claimed(&resource);
            let Some(profile) = concrete.get(claimed.as_str()) else {
                faults.push(format!("{folder}/{name}:1: {claimed} is no profile"));
                continue;
            };
            let short = profile.rsplit('/').next().unwrap_or_default();
            if mutants && !name.starts_with(&format!("{short}-")) {
                faults.push(format!("{folder}/{name}:1: breaks {short}"));
            }
            if !is_test_data(&resource) {
                faults.push(format!("{folder}/{name}:1: is not marked as test data"));
            }
            if mutants {
                let count = broken.entry(claimed).or_default();
                *count = count.saturating_add(1);
            } else {
                shown.insert(claimed);
            }
        }
    }
    for profile in &concrete {
        if !shown.contains(profile) {
            faults.push(format!("{profile}: has no example"));
        }
        if broken.get(profile).is_none_or(|count| *count < 2) {
            faults.push(format!("{profile}: has fewer than two mutants"));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn files_written_by_hand_are_laid_out_like_the_others() {
    let mut faults = Vec::new();

    for folder in ["profiles/fhir", "profiles/fhir/examples"] {
        for (name, resource) in resources(&root(folder)) {
            if read(&root(folder).join(&name)) != resource.pretty() {
                faults.push(format!("{folder}/{name}:1: is laid out in another way"));
            }
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|cause| panic!("{}: {cause}", path.display()))
}

/// Names of the JSON files of a folder, sorted.
fn files(folder: &Path) -> BTreeSet<String> {
    fs::read_dir(folder)
        .unwrap_or_else(|cause| panic!("{}: {cause}", folder.display()))
        .filter_map(|entry| entry.expect("an entry").file_name().into_string().ok())
        .filter(|name| Path::new(name).extension().is_some_and(|end| end == "json"))
        .collect()
}

fn resources(folder: &Path) -> Vec<(String, Node)> {
    let read = |name: String| {
        let resource = Node::parse(&read(&folder.join(&name)));
        let resource = resource.unwrap_or_else(|cause| panic!("{name}: {cause}"));
        (name, resource)
    };
    files(folder).into_iter().map(read).collect()
}

fn is_generated(name: &str) -> bool {
    let kind = name.split('-').next().unwrap_or_default();
    GENERATED.contains(&kind)
}

fn rewrite(folder: &Path, made: &BTreeMap<String, String>, committed: &BTreeMap<String, String>) {
    for name in committed.keys().filter(|name| !made.contains_key(*name)) {
        fs::remove_file(folder.join(name)).expect("a stale file goes");
    }
    for (name, text) in made {
        fs::write(folder.join(name), text).expect("a file is written");
    }
}

fn profiles(resources: &[(String, Node)]) -> impl Iterator<Item = (&str, &Node)> {
    resources
        .iter()
        .filter(|(_, resource)| resource.text_of("resourceType") == Some("StructureDefinition"))
        .map(|(name, resource)| (name.as_str(), resource))
}

/// Every address of ours of a profile or value set that a resource names.
fn canonicals<'a>(node: &'a Node, found: &mut Vec<&'a str>) {
    for key in ["baseDefinition", "valueSet"] {
        let ours = node.text_of(key).filter(|url| url.starts_with(CANONICAL));
        found.extend(ours);
    }
    for child in children(node) {
        canonicals(child, found);
    }
}

/// Every coding of one of our lists, as list and code.
fn own_codings<'a>(node: &'a Node, found: &mut Vec<(&'a str, &'a str)>) {
    let list = node
        .text_of("system")
        .and_then(|system| system.strip_prefix(CANONICAL))
        .and_then(|path| path.strip_prefix("/CodeSystem/"));
    if let (Some(list), Some(code)) = (list, node.text_of("code")) {
        found.push((list, code));
    }
    for child in children(node) {
        own_codings(child, found);
    }
}

fn children(node: &Node) -> impl Iterator<Item = &Node> {
    let members = node.members().iter().map(|(_, member)| member);
    members.chain(node.items())
}

fn claimed(resource: &Node) -> String {
    let profiles = resource.at(&["meta", "profile"]);
    let first = profiles.and_then(|profiles| profiles.items().first());
    first.and_then(Node::text).unwrap_or_default().to_owned()
}

fn is_test_data(resource: &Node) -> bool {
    let tags = resource.at(&["meta", "tag"]).map_or(&[][..], Node::items);
    tags.iter().any(|tag| tag.text_of("code") == Some("HTEST"))
}

#[test]
fn the_package_has_every_resource_of_the_folder_and_always_the_same_bytes() {
    use fascicle::tables::catalogue::{embedded_profiles, package};
    let folder = root("profiles/fhir");
    let catalogue = Catalogue::embedded().expect("the embedded tables");

    let packed = package::files(&catalogue).expect("the profiles are JSON");
    let bytes = package::packed(&packed).expect("bytes");

    let names: BTreeSet<String> = packed
        .iter()
        .filter_map(|(path, _)| path.strip_prefix("package/"))
        .filter(|name| !matches!(*name, "package.json" | ".index.json"))
        .map(str::to_owned)
        .collect();
    assert_eq!(names, files(&folder));
    for (name, text) in embedded_profiles() {
        assert_eq!(read(&folder.join(name)), *text, "{name}");
    }
    assert_eq!(package::packed(&packed).expect("bytes"), bytes);
}
