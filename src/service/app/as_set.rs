//! What can be said of a target from its settings alone.

use crate::delivery::deliver::plan::{Mode, Sending};
use crate::delivery::deliver::{HeaderFrom, Proxy, Purpose, Target, Unmatched};
use crate::fhir::record::fitted::Fitting;
use crate::service::app::checked::{Check, Readiness};
use std::net::IpAddr;

/// What can be said from the settings alone.
pub(super) fn lines(target: &Target) -> Vec<Check> {
    let mut lines = vec![way(target.base.open(), target.ca_file.is_some())];
    match &target.proxy {
        Proxy::Environment => {}
        Proxy::Direct => lines.push(Check::fine(
            "proxy",
            "none, whatever the environment of the process says",
        )),
        Proxy::Through(address, secret) => {
            let how = if secret.is_some() {
                "with a name and password from a file"
            } else {
                "without a sign-in of its own"
            };
            lines.push(Check::fine("proxy", format!("through {address}, {how}")));
        }
    }
    if !target.headers.is_empty() {
        let named = target.headers.iter().map(|(name, from)| match from {
            HeaderFrom::Text(_) => name.clone(),
            HeaderFrom::File(_) => format!("{name} (from a file)"),
        });
        let named: Vec<String> = named.collect();
        let what = format!("every request carries {}", named.join(", "));
        lines.push(Check::fine("headers", what));
    }
    lines.push(purpose(target.purpose));
    lines.extend(sending(&target.sending));
    lines.extend(fitting(&target.fitting));
    lines.extend(unmatched("encounter", target.encounters));
    lines.extend(unmatched("performer", target.practitioners));
    if target.report {
        let what = "the summary of each session is delivered as a DiagnosticReport";
        lines.push(Check::fine("report", what));
    }
    if target.paused {
        lines.push(Check::other(
            "paused",
            Readiness::Warning,
            "the settings pause it: what is accepted is kept, and nothing is sent",
            "take paused out of the settings to let it go on",
        ));
    }
    lines
}

/// How a session travels; what is not whole is said to be.
fn sending(sending: &Sending) -> Vec<Check> {
    const ABOUT: &str = "mode";
    let mut lines = Vec::new();
    match sending.mode {
        Mode::Transaction => {}
        Mode::Batch => lines.push(Check::other(
            ABOUT,
            Readiness::Warning,
            "batch: a session is sent in waves, what others refer to first; between them a reader sees \
             a part of it",
            "set mode to transaction where the server takes transactions",
        )),
        Mode::Single => lines.push(Check::other(
            ABOUT,
            Readiness::Warning,
            "single: every resource is a request of its own; until the last a reader sees a part of \
             the session",
            "set mode to transaction where the server takes transactions",
        )),
    }
    let entries = sending.most_entries.map(|most| format!("{most} entries"));
    let bytes = sending.most_bytes.map(|most| format!("{most} bytes"));
    let limits: Vec<String> = entries.into_iter().chain(bytes).collect();
    if !limits.is_empty() {
        lines.push(Check::fine(
            "limits",
            format!(
                "at most {} at once; a session beyond that is taken apart, what others refer to first, \
                 and its receipt says so",
                limits.join(" and ")
            ),
        ));
    }
    lines
}

/// What is done with whom the server does not know, where it is not the usual.
fn unmatched(about: &'static str, unmatched: Unmatched) -> Option<Check> {
    match unmatched {
        Unmatched::Identifier => None,
        Unmatched::LeftOut => Some(Check::other(
            about,
            Readiness::Warning,
            "findings do not name one that the server does not know; each receipt counts them",
            "leave the key out of the settings to have it named by its identifier",
        )),
        Unmatched::Held => Some(Check::fine(
            about,
            "a session with one that the server does not know waits for a person",
        )),
    }
}

/// What the target gets otherwise than it was made.
fn fitting(fitting: &Fitting) -> Vec<Check> {
    let mut lines = Vec::new();
    if !fitting.without.is_empty() {
        lines.push(Check::other(
            "elements",
            Readiness::Warning,
            format!(
                "this target does not get {} of Observations; what is stated stays whole, and each \
                 receipt counts what was left out",
                fitting.without.join(", ")
            ),
            "name them in elements where the server takes them",
        ));
    }
    if !fitting.unit_texts.is_empty() {
        let texts = fitting.unit_texts.iter();
        let texts: Vec<String> = texts
            .map(|(code, text)| format!("{code} as {text}"))
            .collect();
        let what = format!("shown with texts of its own: {}", texts.join(", "));
        lines.push(Check::fine("units", what));
    }
    if !fitting.coding_order.is_empty() {
        let what = format!(
            "in this order, a wider one never before ours: {}",
            fitting.coding_order.join(", ")
        );
        lines.push(Check::fine("codes", what));
    }
    if fitting.cancelled {
        let what = "has the status cancelled, with its reason; a correction to it says corrected";
        lines.push(Check::fine("not tested", what));
    }
    lines
}

fn purpose(purpose: Purpose) -> Check {
    const ABOUT: &str = "purpose";
    match purpose {
        Purpose::Production => Check::fine(
            ABOUT,
            "production: test data, and people the server marks as test data, are kept off",
        ),
        Purpose::Test => Check::fine(
            ABOUT,
            "test: only sessions that are marked as test data are sent",
        ),
        Purpose::NotSaid => Check::other(
            ABOUT,
            Readiness::NotSaid,
            "nothing keeps test data off it, and nothing keeps real people off it",
            "set purpose to production or test in the configuration",
        ),
    }
}

/// What can be said of the way to a server from its address alone.
fn way(base: &str, private_authority: bool) -> Check {
    const ABOUT: &str = "way";
    let Some(rest) = base.strip_prefix("http://") else {
        return Check::fine(
            ABOUT,
            if private_authority {
                "TLS; the certificate is checked against the authorities of ca_file, and no others"
            } else {
                "TLS; the certificate is checked against the known authorities"
            },
        );
    };
    let authority = rest.split('/').next().unwrap_or_default();
    let host = match authority.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => authority.split(':').next().unwrap_or_default(),
    };
    let address: Option<IpAddr> = host.parse().ok();
    if host.eq_ignore_ascii_case("localhost") || address.is_some_and(|one| one.is_loopback()) {
        return Check::fine(ABOUT, "plain http that does not leave this machine");
    }
    Check::other(
        ABOUT,
        Readiness::Warning,
        "plain http to another machine: findings and secrets can be read and changed on the way",
        "use an address that begins with https://",
    )
}

#[cfg(test)]
mod tests {
    use super::{Readiness, way};

    #[test]
    fn plain_http_is_warned_of_where_it_leaves_the_machine() {
        for (base, readiness) in [
            ("https://record.hospital.example/fhir", Readiness::Fine),
            ("http://127.0.0.1:8080/fhir", Readiness::Fine),
            ("http://[::1]:8080/fhir", Readiness::Fine),
            ("http://localhost/fhir", Readiness::Fine),
            ("http://localhost.hospital.example/fhir", Readiness::Warning),
            ("http://10.0.0.7:8080/fhir", Readiness::Warning),
            ("http://127.0.0.1.example/fhir", Readiness::Warning),
        ] {
            assert_eq!(way(base, false).readiness, readiness, "{base}");
        }
    }
}
