//! What will and will not work with a record server: reading only, no store, nothing is written.

use crate::app::sign_in::{self, SIGN_IN};
use crate::app::statement;
use crate::clock::Clock;
use crate::deliver::http::{Answer, Cause, Connection, Silence, Unanswered, server_words};
use crate::deliver::smart::NoToken;
use crate::deliver::{HeaderFrom, Proxy, Purpose, Target};
use crate::private::Private;
use std::net::IpAddr;

/// How a line ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// It will work.
    Fine,
    /// It will work, and somebody should look at it.
    Warning,
    /// It will not work.
    No,
    /// The server does not tell.
    NotSaid,
}

impl Mark {
    /// The word for people and machines.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Fine => "ok",
            Self::Warning => "warning",
            Self::No => "no",
            Self::NotSaid => "not said",
        }
    }
}

/// One thing that will or will not work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What it is about.
    pub about: &'static str,
    /// How it stands.
    pub mark: Mark,
    /// A sentence.
    pub what: String,
    /// What to change; nothing where all is well.
    pub change: Option<String>,
}

impl Line {
    /// A line of something that works.
    pub fn fine(about: &'static str, what: impl Into<String>) -> Self {
        Self {
            about,
            mark: Mark::Fine,
            what: what.into(),
            change: None,
        }
    }

    /// A line of something to look at.
    pub fn other(
        about: &'static str,
        mark: Mark,
        what: impl Into<String>,
        change: impl Into<String>,
    ) -> Self {
        Self {
            about,
            mark,
            what: what.into(),
            change: Some(change.into()),
        }
    }
}

/// What was seen of one target.
#[derive(Debug, Clone)]
pub struct Looked {
    /// Its name.
    pub name: String,
    /// Its base address.
    pub base: Private<String>,
    /// Whether it answered at all.
    pub answered: bool,
    /// Line by line.
    pub lines: Vec<Line>,
}

const STATEMENT: &str = "statement";

/// Asks a record server for its statement, and looks for a record that nobody has.
///
/// Many servers show their statement to anybody, so only a search tells whether the sign-in works;
/// it is the search with which a delivery begins, for an identifier that is never given.
pub async fn look(connection: &Connection, clock: &dyn Clock) -> Looked {
    let target = connection.target();
    let mut lines = settings(target);
    match connection.token().await {
        Ok(token) => lines.extend(token.as_ref().map(sign_in::granted)),
        Err(why) => {
            lines.push(sign_in::no_token(why));
            return Looked {
                name: target.name.clone(),
                base: target.base.clone(),
                answered: why != NoToken::Unreachable,
                lines,
            };
        }
    }
    let asked_at = clock.now();
    let asked = connection.metadata().await;
    let answered = match asked {
        Ok(answer) => {
            let took_ms = (clock.now() - asked_at).num_milliseconds();
            lines.push(Line::fine(
                "reachable",
                format!("it answers, in {took_ms} ms"),
            ));
            of_answer(connection, &answer, &mut lines).await;
            true
        }
        Err(unanswered) => {
            lines.push(of_silence(unanswered));
            // The secret is ours to mend; nothing was asked of the server.
            unanswered.silence == Silence::Secret
        }
    };
    Looked {
        name: target.name.clone(),
        base: target.base.clone(),
        answered,
        lines,
    }
}

async fn of_answer(connection: &Connection, answer: &Answer, lines: &mut Vec<Line>) {
    let sign_in = &connection.target().sign_in;
    let statement = answer.body.as_ref().map(Private::open);
    match (answer.status, statement) {
        (401 | 403, _) => lines.push(sign_in::refused(answer.status, sign_in)),
        (200..=299, Some(statement)) => {
            lines.push(sign_in::works(connection).await);
            lines.extend(statement::read(statement, connection.target().report));
        }
        (200..=299, None) => lines.push(Line::other(
            STATEMENT,
            Mark::No,
            "what answers at metadata is not JSON",
            "check the base address, and have application/fhir+json turned on",
        )),
        (300..=399, _) => lines.push(Line::other(
            STATEMENT,
            Mark::No,
            format!(
                "the server answers {} and points to another address, which is not followed",
                answer.status
            ),
            "use the address it points to as the base address",
        )),
        _ => lines.push(Line::other(
            STATEMENT,
            Mark::No,
            plain(server_words(answer).open()),
            "check the base address: it is the part before /metadata, often ending in /fhir",
        )),
    }
}

fn of_silence(unanswered: Unanswered) -> Line {
    if unanswered.silence == Silence::Secret {
        return Line::other(
            SIGN_IN,
            Mark::No,
            "a file with a secret or a header cannot be read, so nothing was asked",
            "check its path, that this user may read it, and that it holds plain text",
        );
    }
    let (what, change) = match unanswered.cause {
        Cause::Name => (
            "its name is not known here",
            "check the spelling of the base address, and DNS",
        ),
        Cause::Refused => (
            "nothing listens there",
            "check host and port, and that the server runs",
        ),
        Cause::Certificate => (
            "its certificate is not trusted, or is not for this name",
            "have the server send a certificate with its whole chain, from an authority this machine trusts, or name the authority in ca_file",
        ),
        Cause::Tls => (
            "it does not speak TLS as it should",
            "check that the port is the one for https, and that TLS 1.2 or 1.3 is on",
        ),
        Cause::Slow => (
            "no answer came in time",
            "check firewalls on the way, or raise timeout_seconds",
        ),
        Cause::Other => (
            "no answer came",
            "check host, port, proxy and firewalls on the way",
        ),
    };
    Line::other("reachable", Mark::No, what, change)
}

/// What can be said from the settings alone.
fn settings(target: &Target) -> Vec<Line> {
    let mut lines = vec![way(target.base.open(), target.ca_file.is_some())];
    match &target.proxy {
        Proxy::Environment => {}
        Proxy::Direct => lines.push(Line::fine(
            "proxy",
            "none, whatever the environment of the process says",
        )),
        Proxy::Through(address, secret) => {
            let how = if secret.is_some() {
                "with a name and password from a file"
            } else {
                "without a sign-in of its own"
            };
            lines.push(Line::fine("proxy", format!("through {address}, {how}")));
        }
    }
    if !target.headers.is_empty() {
        let named = target.headers.iter().map(|(name, from)| match from {
            HeaderFrom::Text(_) => name.clone(),
            HeaderFrom::File(_) => format!("{name} (from a file)"),
        });
        let named: Vec<String> = named.collect();
        let what = format!("every request carries {}", named.join(", "));
        lines.push(Line::fine("headers", what));
    }
    lines.push(purpose(target.purpose));
    if target.report {
        let what = "the summary of each session is delivered as a DiagnosticReport";
        lines.push(Line::fine("report", what));
    }
    if target.paused {
        lines.push(Line::other(
            "paused",
            Mark::Warning,
            "the settings pause it: what is accepted is kept, and nothing is sent",
            "take paused out of the settings to let it go on",
        ));
    }
    lines
}

fn purpose(purpose: Purpose) -> Line {
    const ABOUT: &str = "purpose";
    match purpose {
        Purpose::Production => Line::fine(
            ABOUT,
            "production: test data, and people the server marks as test data, are kept off",
        ),
        Purpose::Test => Line::fine(
            ABOUT,
            "test: only sessions that are marked as test data are sent",
        ),
        Purpose::NotSaid => Line::other(
            ABOUT,
            Mark::NotSaid,
            "nothing keeps test data off it, and nothing keeps real people off it",
            "set purpose to production or test in the configuration",
        ),
    }
}

/// What can be said of the way to a server from its address alone.
fn way(base: &str, private_authority: bool) -> Line {
    const ABOUT: &str = "way";
    let Some(rest) = base.strip_prefix("http://") else {
        return Line::fine(
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
        return Line::fine(ABOUT, "plain http that does not leave this machine");
    }
    Line::other(
        ABOUT,
        Mark::Warning,
        "plain http to another machine: findings and secrets can be read and changed on the way",
        "use an address that begins with https://",
    )
}

/// Words of a server as a terminal may show them.
pub(super) fn plain(words: &str) -> String {
    let shown = words.chars().filter(|c| !c.is_control());
    shown.take(80).collect()
}

#[cfg(test)]
mod tests {
    use super::{Mark, way};

    #[test]
    fn plain_http_is_warned_of_where_it_leaves_the_machine() {
        for (base, mark) in [
            ("https://record.hospital.example/fhir", Mark::Fine),
            ("http://127.0.0.1:8080/fhir", Mark::Fine),
            ("http://[::1]:8080/fhir", Mark::Fine),
            ("http://localhost/fhir", Mark::Fine),
            ("http://localhost.hospital.example/fhir", Mark::Warning),
            ("http://10.0.0.7:8080/fhir", Mark::Warning),
            ("http://127.0.0.1.example/fhir", Mark::Warning),
        ] {
            assert_eq!(way(base, false).mark, mark, "{base}");
        }
    }
}
