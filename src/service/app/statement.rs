//! What a record server declares of itself, held against what Fascicle needs of it.

use crate::base::json::Node;
use crate::delivery::deliver::plan::Mode;
use crate::service::app::checked::{Check, Readiness, plain};
use crate::service::app::needs::{declared, of_kind, searches};
use crate::tables::catalogue::conformance::needs::{KINDS, REPORT};

/// Reads a statement, tolerantly: what it holds beyond this, and what it leaves out, is no fault.
///
/// A list that is absent says nothing. A list that is there and leaves a thing out is read as
/// saying that it does not work; the standard leaves that open.
///
/// `report` is true for a target to which reports are delivered; `mode` is how it is sent to.
pub fn read(statement: &Node, report: bool, mode: Mode) -> Vec<Check> {
    if statement.text_of("resourceType") != Some("CapabilityStatement") {
        return vec![Check::other(
            "statement",
            Readiness::No,
            "what answers at metadata is JSON, and no CapabilityStatement of FHIR",
            "check the base address: it is the part before /metadata, often ending in /fhir",
        )];
    }
    let mut lines = vec![software(statement), version(statement), format(statement)];
    let rest = server(statement);
    match mode {
        Mode::Transaction => lines.push(transaction(rest)),
        Mode::Batch => lines.push(batch(rest)),
        Mode::Single => {}
    }
    for kind in KINDS.into_iter().filter(|kind| report || *kind != REPORT) {
        of_kind(rest, kind, &mut lines);
    }
    lines.push(tag(rest));
    lines
}

/// The part of the statement in which it speaks as a server; one without a mode counts as that.
fn server(statement: &Node) -> Option<&Node> {
    let mut parts = statement.items_of("rest").iter();
    parts.find(|part| part.text_of("mode").is_none_or(|mode| mode == "server"))
}

fn software(statement: &Node) -> Check {
    let said = |key| statement.at(&["software", key]).and_then(Node::text);
    match (said("name"), said("version")) {
        (Some(name), Some(version)) => {
            Check::fine("software", format!("{} {}", plain(name), plain(version)))
        }
        (Some(name), None) => Check::other(
            "software",
            Readiness::NotSaid,
            format!("{}, without a version", plain(name)),
            "nothing; note the version yourself, so that a later change can be told",
        ),
        (None, _) => Check::other(
            "software",
            Readiness::NotSaid,
            "the statement names no software",
            "nothing; note product and version yourself, so that a later change can be told",
        ),
    }
}

fn version(statement: &Node) -> Check {
    const ABOUT: &str = "FHIR version";
    match statement.text_of("fhirVersion") {
        Some(version) if version == "4.0" || version.starts_with("4.0.") => {
            Check::fine(ABOUT, format!("{} is R4", plain(version)))
        }
        Some(version) => Check::other(
            ABOUT,
            Readiness::No,
            format!(
                "{} is not R4, and R4 (4.0.x) is what is sent",
                plain(version)
            ),
            "use the base address of the R4 service of this server",
        ),
        None => Check::other(
            ABOUT,
            Readiness::NotSaid,
            "the statement names no version; R4 (4.0.x) is what is sent",
            "ask the vendor whether this address is an R4 service",
        ),
    }
}

fn format(statement: &Node) -> Check {
    const ABOUT: &str = "format";
    let formats: Vec<&str> = statement
        .items_of("format")
        .iter()
        .filter_map(Node::text)
        .collect();
    if formats
        .iter()
        .any(|format| format.to_lowercase().contains("json"))
    {
        return Check::fine(ABOUT, "JSON is declared");
    }
    if formats.is_empty() {
        let what = "the statement lists no format; it came in JSON itself";
        return Check::other(
            ABOUT,
            Readiness::NotSaid,
            what,
            "nothing, unless a delivery is refused with 415",
        );
    }
    Check::other(
        ABOUT,
        Readiness::Warning,
        "JSON is not among the formats listed, though the statement came in JSON",
        "ask the vendor whether resources are taken as application/fhir+json",
    )
}

fn transaction(rest: Option<&Node>) -> Check {
    const ABOUT: &str = "transaction";
    match declared(rest, "interaction", "code") {
        Some(codes) if codes.contains(&"transaction") => {
            Check::fine(ABOUT, "a session can be stored whole or not at all")
        }
        Some(codes) => Check::other(
            ABOUT,
            Readiness::No,
            format!(
                "it is not among what the server declares for itself ({}); a session is sent as one \
                 transaction",
                plain(&codes.join(", "))
            ),
            "have transaction Bundles turned on at the base address, or set mode to batch or single",
        ),
        None => Check::other(
            ABOUT,
            Readiness::NotSaid,
            "the statement lists nothing for the server as a whole; a session is sent as one \
             transaction",
            "ask the vendor whether transaction Bundles are taken at the base address",
        ),
    }
}

fn batch(rest: Option<&Node>) -> Check {
    const ABOUT: &str = "batch";
    let declared = declared(rest, "interaction", "code");
    let known = declared.as_ref().map(|codes| codes.contains(&"batch"));
    let (readiness, what) = match known {
        Some(true) => return Check::fine(ABOUT, "a session can be sent in Bundles, wave by wave"),
        // Servers that take transactions were seen to take batches without declaring them.
        Some(false) => (
            Readiness::Warning,
            "it is not among what the server declares for itself, and mode is batch",
        ),
        None => (
            Readiness::NotSaid,
            "the statement lists nothing for the server as a whole, and mode is batch",
        ),
    };
    let change = "ask the vendor whether batch Bundles are taken, or set mode to single";
    Check::other(ABOUT, readiness, what, change)
}

/// `_tag` is a parameter of every resource (FHIR R4, search.html#all), so a statement need not
/// name it.
fn tag(rest: Option<&Node>) -> Check {
    const ABOUT: &str = "_tag";
    let resources = rest.map_or(&[][..], |rest| rest.items_of("resource"));
    let provenance = resources
        .iter()
        .find(|one| one.text_of("type") == Some("Provenance"));
    let named = provenance.and_then(|resource| searches(rest, resource));
    if named.is_some_and(|names| names.contains(&"_tag")) {
        return Check::fine(ABOUT, "Provenance declares it");
    }
    Check::other(
        ABOUT,
        Readiness::NotSaid,
        "a statement need not name this search parameter, so it cannot be seen here; a Provenance is \
         created under the condition of its tag",
        "deliver a session of an invented person; a refusal would name _tag",
    )
}

#[cfg(test)]
mod tests {
    use super::read;
    use crate::base::json::Node;
    use crate::delivery::deliver::plan::Mode;
    use crate::service::app::checked::{Check, Readiness};
    use crate::tables::catalogue::conformance::needs::KINDS;
    use crate::tables::catalogue::conformance::server;

    const FULL: &str = r#"{"resourceType":"CapabilityStatement","fhirVersion":"4.0.1",
        "software":{"name":"Invented","version":"1"},"format":["application/fhir+json"],
        "rest":[{"mode":"client"},{"mode":"server","interaction":[{"code":"transaction"}],
        "searchParam":[{"name":"_tag"}],"resource":[ALL]}]}"#;

    fn full() -> String {
        let interactions = ["create", "read", "update", "search-type"]
            .map(|code| format!(r#"{{"code":"{code}"}}"#))
            .join(",");
        let searches = ["identifier", "patient", "code", "date", "target"]
            .map(|name| format!(r#"{{"name":"{name}"}}"#))
            .join(",");
        let all = KINDS.map(|kind| {
            format!(
                r#"{{"type":"{kind}","interaction":[{interactions}],"conditionalCreate":true,"searchParam":[{searches}]}}"#
            )
        });
        FULL.replace("ALL", &all.join(","))
    }

    fn lines(text: &str) -> Vec<Check> {
        read(&Node::parse(text).expect("JSON"), true, Mode::Transaction)
    }

    /// What is not well, in the order told.
    fn not_fine(text: &str) -> Vec<(&'static str, Readiness)> {
        let lines = lines(text);
        let told = lines
            .iter()
            .filter(|line| line.readiness != Readiness::Fine);
        told.map(|line| {
            assert!(line.change.is_some(), "{line:?}");
            (line.about, line.readiness)
        })
        .collect()
    }

    #[test]
    fn a_full_statement_is_well_in_every_line() {
        assert_eq!(not_fine(&full()), []);
        assert_eq!(lines(&full()).len(), 13);
    }

    /// What is published as our requirements is all that `target` looks for.
    #[test]
    fn a_server_that_declares_our_requirements_is_well_in_every_line() {
        let mut statement = server::requirements();
        let software = r#"{"name":"Invented","version":"1"}"#;
        statement.set("software", Node::parse(software).expect("JSON"));

        assert_eq!(not_fine(&statement.compact()), []);
    }

    #[test]
    fn an_empty_statement_says_nothing_and_denies_nothing() {
        let told = not_fine(r#"{"resourceType":"CapabilityStatement"}"#);

        assert_eq!(told.len(), 13);
        assert!(
            told.iter()
                .all(|(_, readiness)| *readiness == Readiness::NotSaid)
        );
    }

    #[test]
    fn a_server_without_reports_is_well_unless_reports_are_delivered_to_it() {
        let without = full().replacen(r#""type":"DiagnosticReport""#, r#""type":"Group""#, 1);

        assert_eq!(not_fine(&without), [("DiagnosticReport", Readiness::No)]);
        let without = Node::parse(&without).expect("JSON");
        let lines = read(&without, false, Mode::Transaction);
        assert!(lines.iter().all(|line| line.readiness == Readiness::Fine));
    }

    #[test]
    fn another_version_of_fhir_will_not_work() {
        for version in ["4.3.0", "5.0.0", "3.0.2", "4.00"] {
            let text = full().replace("4.0.1", version);

            assert_eq!(not_fine(&text), [("FHIR version", Readiness::No)]);
        }
    }

    #[test]
    fn a_list_without_transaction_denies_it_and_no_list_does_not() {
        let list = r#""interaction":[{"code":"transaction"}],"#;
        let without = full().replacen("transaction", "batch", 1);
        let silent = full().replacen(list, "", 1);

        assert_eq!(not_fine(&without), [("transaction", Readiness::No)]);
        assert_eq!(not_fine(&silent), [("transaction", Readiness::NotSaid)]);
    }

    #[test]
    fn what_is_needed_of_the_server_as_a_whole_follows_from_the_mode() {
        let without = Node::parse(&full().replacen("transaction", "batch", 1)).expect("JSON");
        let none = |mode| {
            let lines = read(&without, true, mode);
            lines.iter().all(|line| line.readiness == Readiness::Fine)
        };

        let told = [Mode::Transaction, Mode::Batch, Mode::Single].map(none);

        assert_eq!(told, [false, true, true]);
        let silent = read(&Node::parse(&full()).expect("JSON"), true, Mode::Batch);
        let told = silent
            .iter()
            .find(|line| line.readiness == Readiness::Warning);
        assert_eq!(told.map(|line| line.about), Some("batch"));
    }

    #[test]
    fn what_delivery_rests_on_is_a_no_and_what_helps_is_a_warning() {
        let cases = [
            (r#"{"code":"create"},"#, "", ("Observation", Readiness::No)),
            (
                r#"{"code":"read"},"#,
                "",
                ("Observation", Readiness::Warning),
            ),
            (
                r#"{"name":"identifier"},"#,
                "",
                ("Observation", Readiness::No),
            ),
            (
                r#"{"name":"date"},"#,
                "",
                ("Observation", Readiness::Warning),
            ),
            (
                r#""conditionalCreate":true,"#,
                "",
                ("Observation", Readiness::NotSaid),
            ),
            (
                "Create\":true",
                "Create\":false",
                ("Observation", Readiness::No),
            ),
            (
                r#""type":"Device""#,
                r#""type":"Group""#,
                ("Device", Readiness::No),
            ),
            (
                r#""type":"Organization""#,
                r#""type":"Group""#,
                ("Organization", Readiness::Warning),
            ),
            (
                "application/fhir+json",
                "application/fhir+xml",
                ("format", Readiness::Warning),
            ),
            (r#"{"name":"_tag"}"#, "", ("_tag", Readiness::NotSaid)),
        ];
        for (from, to, expected) in cases {
            assert_eq!(
                not_fine(&full().replacen(from, to, 1)),
                [expected],
                "{from}"
            );
        }
    }

    #[test]
    fn what_is_no_statement_is_one_line() {
        assert_eq!(
            not_fine(r#"{"resourceType":"Bundle"}"#),
            [("statement", Readiness::No)]
        );
        assert_eq!(not_fine("[1]"), [("statement", Readiness::No)]);
    }

    #[test]
    fn words_of_a_server_do_not_steer_a_terminal() {
        let text = full().replace("Invented", "In\\u001b[2Jvented");

        assert_eq!(lines(&text)[0].what, "In[2Jvented 1");
    }
}
