//! Looking for a record at the server: what is there, what is left to send, what came of it.

use crate::base::code::Code;
use crate::base::json::{Node, object, text};
use crate::base::private::Private;
use crate::delivery::deliver::compare::{self, Drift};
use crate::delivery::deliver::early::Early;
use crate::delivery::deliver::gate;
use crate::delivery::deliver::held::{self, Found, Held, Trouble};
use crate::delivery::deliver::http::Connection;
use crate::delivery::deliver::send::{self, References, Step};
use crate::delivery::outbox::{Leased, Outcome};
use crate::fhir::record::REPORT;
use crate::fhir::record::fitted::LeftOut;

const OBSERVATION: &str = "Observation";

/// What has to be looked for.
pub(super) struct Look<'a> {
    /// Entries that carry an identifier of ours, with their type: Observations, and a report.
    identified: Vec<(&'static str, &'a str, &'a Node)>,
    panel: &'a str,
    provenance: Option<(&'a str, &'a Node)>,
    session_version: String,
}

/// What was seen.
pub(super) struct Seen {
    pub(super) found: Found,
    provenance: Option<Held>,
    references: References,
}

/// What an attempt sent.
pub(super) struct Sent {
    /// Resources that were stored.
    pub(super) steps: usize,
    /// Requests that carried them.
    pub(super) requests: u32,
    /// What the target does not get.
    pub(super) left_out: LeftOut,
}

impl<'a> Look<'a> {
    pub(super) fn new(leased: &Leased, record: &'a Node) -> Self {
        let entries = record
            .items_of("entry")
            .iter()
            .filter_map(|entry| Some((entry.text_of("fullUrl")?, entry.member("resource")?)));
        let of = |kind: &'static str| {
            entries
                .clone()
                .filter(move |(_, resource)| resource.text_of("resourceType") == Some(kind))
        };
        let is_panel = |resource: &Node| !resource.items_of("hasMember").is_empty();
        let panel = of("Observation").find(|(_, resource)| is_panel(resource));
        let identified = [REPORT, "Observation"].into_iter();
        Self {
            identified: identified
                .flat_map(|kind| of(kind).map(move |(url, resource)| (kind, url, resource)))
                .collect(),
            panel: panel.map(|(url, _)| url).unwrap_or_default(),
            provenance: of("Provenance").next(),
            session_version: format!("{}/{}", leased.item.session, leased.item.version),
        }
    }

    /// Looks before anything was sent.
    pub(super) async fn at(
        &self,
        connection: &Connection,
        references: &References,
    ) -> Result<Seen, Trouble> {
        let observations = held::find(connection, OBSERVATION, &self.wanted(OBSERVATION)).await?;
        self.seen(connection, references, observations, Vec::new())
            .await
    }

    /// Reads back what was sent.
    pub(super) async fn back(
        &self,
        connection: &Connection,
        references: &References,
    ) -> Result<Seen, Trouble> {
        let wanted = self.wanted(OBSERVATION);
        let (observations, provenances) =
            held::observations_with_provenances(connection, &wanted).await?;
        self.seen(connection, references, observations, provenances)
            .await
    }

    fn wanted(&self, kind: &str) -> Vec<(String, String)> {
        let of_kind = self.identified.iter().filter(|(of, _, _)| *of == kind);
        let system = crate::fhir::record::URI_SYSTEM;
        of_kind
            .map(|(_, url, _)| (system.to_owned(), (*url).to_owned()))
            .collect()
    }

    async fn seen(
        &self,
        connection: &Connection,
        references: &References,
        observations: Found,
        provenances: Vec<Node>,
    ) -> Result<Seen, Trouble> {
        let system = crate::fhir::record::URI_SYSTEM;
        let reports = held::find(connection, REPORT, &self.wanted(REPORT)).await?;
        let both = observations.into_iter().chain(reports);
        let found: Found = both
            .filter_map(|(key, held)| Some((key.strip_prefix(system)?.get(1..)?.to_owned(), held)))
            .collect();
        let given = held::provenance_of(&provenances, &self.session_version)?;
        let provenance = match (given, found.get(self.panel)) {
            (Some(given), _) => Some(given),
            (None, Some(panel)) => {
                held::provenance(connection, &panel.reference, &self.session_version).await?
            }
            (None, None) => None,
        };
        let mut references = references.clone();
        references.extend(
            found
                .iter()
                .map(|(url, held)| (url.clone(), held.reference.clone())),
        );
        Ok(Seen {
            found,
            provenance,
            references,
        })
    }
}

impl Seen {
    /// True where one of its resources, by full URL, is there.
    pub(super) fn shows(&self, look: &Look<'_>, url: &str) -> bool {
        let is_provenance = look.provenance.is_some_and(|(name, _)| name == url);
        self.found.contains_key(url) || (is_provenance && self.provenance.is_some())
    }

    /// What is left to send: what is missing is created; what a correction changes is replaced.
    ///
    /// What lies under our identifiers and says something else, though we never sent it there, is
    /// for a person: another store, another person, or somebody's own amendment.
    pub(super) fn steps(&self, look: &Look<'_>, leased: &Leased) -> Result<Vec<Step>, Early> {
        let mut steps = Vec::new();
        let before = match &leased.receipt_before {
            Some(receipt) => Some(receipt.node()?),
            None => None,
        };
        for (kind, url, resource) in &look.identified {
            let resolved = send::resolve(resource, &self.references);
            let Some(held) = self.found.get(*url) else {
                let condition =
                    crate::fhir::record::if_none_exist(crate::fhir::record::URI_SYSTEM, url);
                let kind = (*kind).to_owned();
                steps.push(Step::Create(
                    (*url).to_owned(),
                    kind,
                    Some(condition),
                    resolved,
                ));
                continue;
            };
            let drift = compare::drift(&resolved, &held.resource);
            if !compare::other_content(&drift) {
                continue;
            }
            stop_at_foreign(url, held, &drift, leased, before.as_ref())?;
            if leased.item.version > 1 {
                let (reference, version) = (held.reference.clone(), held.version.clone());
                steps.push(Step::Replace(
                    (*url).to_owned(),
                    reference,
                    version,
                    resolved,
                ));
            }
        }
        if let (None, Some((url, resource))) = (&self.provenance, look.provenance) {
            let resolved = send::resolve(resource, &self.references);
            let (kind, condition) = (
                "Provenance".to_owned(),
                crate::fhir::record::tagged(resource),
            );
            steps.push(Step::Create(url.to_owned(), kind, condition, resolved));
        }
        Ok(steps)
    }

    /// The receipt: where everything lies, and what the server holds otherwise than it was sent.
    pub(super) fn delivered(&self, look: &Look<'_>, sent: &Sent) -> Outcome {
        let mut resources = Vec::new();
        let mut drifts = Vec::new();
        for (_, url, resource) in &look.identified {
            let Some(held) = self.found.get(*url) else {
                continue;
            };
            resources.push(receipt_row(url, held));
            let resolved = send::resolve(resource, &self.references);
            drifts.extend(drift_rows(url, &compare::drift(&resolved, &held.resource)));
        }
        if let (Some(held), Some((url, resource))) = (&self.provenance, look.provenance) {
            resources.push(receipt_row(url, held));
            let resolved = send::resolve(resource, &self.references);
            drifts.extend(drift_rows(url, &compare::drift(&resolved, &held.resource)));
        }
        let mut receipt = object([
            ("sent", Node::Number(sent.steps.to_string())),
            ("resources", Node::List(resources)),
            ("drift", Node::List(drifts)),
        ]);
        if sent.requests > 1 {
            // What belongs together did not go together: that is told.
            receipt.set("requests", Node::Number(sent.requests.to_string()));
        }
        if !sent.left_out.is_empty() {
            let counts = sent.left_out.iter();
            let counts = counts.map(|(name, count)| (*name, Node::Number(count.to_string())));
            receipt.set("left_out", object(counts));
        }
        Outcome::Delivered {
            receipt: receipt.compact(),
        }
    }
}

/// Stops where what is held is not what we sent.
fn stop_at_foreign(
    url: &str,
    held: &Held,
    drift: &[Drift],
    leased: &Leased,
    receipt_before: Option<&Node>,
) -> Result<(), Early> {
    let stop = |code: Code, words: &str| {
        if gate::lets_pass(code, &leased.confirmed) {
            return Ok(());
        }
        Err(Early::Outcome(Outcome::Waiting {
            reason: code.into(),
            words: Private::new(format!("{}: {words}", held.reference)),
        }))
    };
    if drift.iter().any(|one| one.path.starts_with("/subject")) {
        return Err(Early::Outcome(Outcome::Waiting {
            reason: Code::HeldOtherPerson.into(),
            words: Private::new(format!("{} belongs to another person", held.reference)),
        }));
    }
    // After a transaction of ours left, a difference may be what the server made of it.
    if leased.sent_before.is_some() {
        return Ok(());
    }
    match leased.item.version {
        1 => stop(
            Code::HeldOtherContent,
            "holds other content under our identifier",
        ),
        _ if version_before(receipt_before, url)
            .is_some_and(|before| Some(before) != held.version) =>
        {
            stop(
                Code::HeldChangedSince,
                "was changed by somebody since it was delivered",
            )
        }
        _ => Ok(()),
    }
}

/// The version a resource had when the version before of the session was delivered.
fn version_before(receipt: Option<&Node>, url: &str) -> Option<String> {
    let row = receipt?
        .items_of("resources")
        .iter()
        .find(|row| row.text_of("full_url") == Some(url))?;
    row.text_of("version").map(str::to_owned)
}

fn receipt_row(url: &str, held: &Held) -> Node {
    let mut row = vec![
        ("full_url", text(url)),
        ("reference", text(held.reference.clone())),
    ];
    row.extend(
        held.version
            .clone()
            .map(|version| ("version", text(version))),
    );
    object(row)
}

fn drift_rows<'a>(url: &'a str, drifts: &'a [Drift]) -> impl Iterator<Item = Node> + 'a {
    drifts.iter().map(move |drift| {
        object([
            ("full_url", text(url)),
            ("path", text(drift.path.clone())),
            ("kind", text(drift.kind)),
        ])
    })
}
