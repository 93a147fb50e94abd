//! The conformance resources as a FHIR package.
//!
//! "Each FHIR package is a tarball (tar in gzip) that contains a package folder that contains: a
//! package.json file that describes the package; 0 or more FHIR resources in JSON format; … an
//! .index.json file … that contains key information from the JSON resources for quick access"
//! (hl7.org/fhir/packages.html). The same tables give the same bytes: no time and no user stands in
//! them.

use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::{self, guide};
use crate::tables::catalogue::{CANONICAL, Catalogue, embedded};
use flate2::{Compression, GzBuilder};
use std::collections::BTreeMap;
use std::io;

/// The name of the package: an organisation, a dot, and what it is for (packages.html, name).
pub const NAME: &str = "example.fascicle.bedside";

/// Its files by their paths, `package/package.json` first.
///
/// # Errors
/// When a profile that came with the binary is no JSON.
pub fn files(catalogue: &Catalogue) -> Result<Vec<(String, String)>, crate::base::json::NotJson> {
    let mut resources: BTreeMap<String, Node> =
        conformance::resources(catalogue).into_iter().collect();
    for (name, profile) in embedded::PROFILES {
        resources.insert((*name).to_owned(), Node::parse(profile)?);
    }
    let all: Vec<Node> = resources.values().cloned().collect();
    let guide = guide::guide(&all, &[]);
    resources.insert("ImplementationGuide-fascicle.json".to_owned(), guide);
    let index = resources
        .iter()
        .map(|(name, resource)| entry(name, resource));
    let index = object([
        ("index-version", Node::Number("2".to_owned())),
        ("files", Node::List(index.collect())),
    ]);
    let mut files = vec![
        ("package/package.json".to_owned(), manifest().pretty()),
        ("package/.index.json".to_owned(), index.pretty()),
    ];
    files.extend(
        resources
            .into_iter()
            .map(|(name, resource)| (format!("package/{name}"), resource.pretty())),
    );
    Ok(files)
}

fn manifest() -> Node {
    let words = |words: &[&str]| Node::List(words.iter().map(|word| text(*word)).collect());
    object([
        ("name", text(NAME)),
        ("version", text(env!("CARGO_PKG_VERSION"))),
        ("canonical", text(CANONICAL)),
        (
            "url",
            text(format!("{CANONICAL}/ImplementationGuide/fascicle")),
        ),
        (
            "title",
            text("Bedside findings of neurological physiotherapy"),
        ),
        (
            "description",
            text(
                "Profiles, code systems, value sets, maps and definitions of what Fascicle delivers",
            ),
        ),
        ("type", text("IG")),
        ("license", text("Apache-2.0")),
        ("author", text("the authors of Fascicle")),
        ("fhirVersions", words(&["4.0.1"])),
        (
            "keywords",
            words(&["FHIR", "physiotherapy", "rehabilitation"]),
        ),
        (
            "dependencies",
            object([("hl7.fhir.r4.core", text("4.0.1"))]),
        ),
    ])
}

/// What the index says of a resource: the parts it has of these.
fn entry(name: &str, resource: &Node) -> Node {
    let parts = [
        "resourceType",
        "id",
        "url",
        "version",
        "kind",
        "type",
        "supplements",
        "content",
    ];
    let told = parts.iter().filter_map(|part| {
        let said = resource.text_of(part)?;
        Some((*part, text(said)))
    });
    object([("filename", text(name))].into_iter().chain(told))
}

/// The package as it is published: tar in gzip.
///
/// # Errors
/// None that bytes in memory give.
pub fn packed(files: &[(String, String)]) -> io::Result<Vec<u8>> {
    let gzip = GzBuilder::new()
        .mtime(0)
        .write(Vec::new(), Compression::best());
    let mut tar = tar::Builder::new(gzip);
    tar.mode(tar::HeaderMode::Deterministic);
    for (path, text) in files {
        let mut header = tar::Header::new_ustar();
        header.set_size(u64::try_from(text.len()).map_err(io::Error::other)?);
        header.set_mode(0o644);
        header.set_mtime(0);
        header.set_uid(0);
        header.set_gid(0);
        tar.append_data(&mut header, path, text.as_bytes())?;
    }
    tar.into_inner()?.finish()
}
