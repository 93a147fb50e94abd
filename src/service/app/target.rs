//! What will and will not work with a record server: reading only, no store, nothing is written.

use crate::base::clock::Clock;
use crate::base::private::Private;
use crate::delivery::deliver::cause::Cause;
use crate::delivery::deliver::http::{Answer, Connection, server_words};
use crate::delivery::deliver::smart::NoToken;
use crate::delivery::deliver::unanswered::{Silence, Unanswered};
use crate::service::app::checked::{Check, Readiness, plain};
use crate::service::app::sign_in::{self, SIGN_IN};
use crate::service::app::{as_set, dry_run, statement};

/// What was seen of one target.
#[derive(Debug, Clone)]
pub struct Looked {
    /// Its name.
    pub name: String,
    /// Its base address.
    pub base: Private<String>,
    /// Whether it answered at all.
    pub answered: bool,
    /// What was looked at, line by line.
    pub lines: Vec<Check>,
}

const STATEMENT: &str = "statement";

/// Asks a record server for its statement, looks for a record that nobody has, and has it judge
/// invented findings where it offers to. Nothing is stored by any of it.
///
/// Many servers show their statement to anybody, so only a search tells whether the sign-in works;
/// it is the search with which a delivery begins, for an identifier that is never given.
pub async fn look(connection: &Connection, clock: &dyn Clock) -> Looked {
    let target = connection.target();
    let mut lines = as_set::lines(target);
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
            lines.push(Check::fine(
                "reachable",
                format!("it answers, in {took_ms} ms"),
            ));
            of_answer(connection, &answer, clock, &mut lines).await;
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

async fn of_answer(
    connection: &Connection,
    answer: &Answer,
    clock: &dyn Clock,
    lines: &mut Vec<Check>,
) {
    let target = connection.target();
    let sign_in = &target.sign_in;
    let statement = answer.body.as_ref().map(Private::open);
    match (answer.status, statement) {
        (401 | 403, _) => lines.push(sign_in::refused(answer.status, sign_in)),
        (200..=299, Some(statement)) => {
            lines.push(sign_in::works(connection).await);
            let mode = target.sending.mode;
            lines.extend(statement::read(statement, target.report, mode));
            lines.push(dry_run::dry_run(connection, statement, clock.now()).await);
        }
        (200..=299, None) => lines.push(Check::other(
            STATEMENT,
            Readiness::No,
            "what answers at metadata is not JSON",
            "check the base address, and have application/fhir+json turned on",
        )),
        (300..=399, _) => lines.push(Check::other(
            STATEMENT,
            Readiness::No,
            format!(
                "the server answers {} and points to another address, which is not followed",
                answer.status
            ),
            "use the address it points to as the base address",
        )),
        _ => lines.push(Check::other(
            STATEMENT,
            Readiness::No,
            plain(server_words(answer).open()),
            "check the base address: it is the part before /metadata, often ending in /fhir",
        )),
    }
}

fn of_silence(unanswered: Unanswered) -> Check {
    if unanswered.silence == Silence::Secret {
        return Check::other(
            SIGN_IN,
            Readiness::No,
            "a file with a secret or a header cannot be read, or is no secret, so nothing was asked",
            "check its path, that this user may read it and nobody but its owner and group (chmod 640), and that \
             it holds plain text",
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
        Cause::Large => (
            "it answered with more than is read: 32 MiB, or a million values",
            "check that the base address is that of the record server, and what stands before it",
        ),
        Cause::Other => (
            "no answer came",
            "check host, port, proxy and firewalls on the way",
        ),
    };
    Check::other("reachable", Readiness::No, what, change)
}
