//! Why the store does not take a document that holds, in words for whoever sent it.

use crate::base::code::Code;
use crate::base::problem::{Problem, Problems};
use crate::delivery::outbox::NotAccepted;

/// Others were in the way each time.
pub(super) fn contended() -> Vec<Problem> {
    let mut problems = Problems::new();
    problems.error(
        Code::SessionContended,
        "/patient/identifier",
        "others changed what is known of this person each time the document was to be kept"
            .to_owned(),
        "nothing was stored; send the same document again a little later",
    );
    problems.sorted()
}

/// It does not fit what was accepted before.
pub(super) fn by(reason: NotAccepted) -> Vec<Problem> {
    let mut problems = Problems::new();
    match reason {
        NotAccepted::OtherContent => problems.error(
            Code::SessionOtherContent,
            "/session/version",
            "this version was accepted before with other content".to_owned(),
            "a correction is the next version of the session; nothing is overwritten",
        ),
        NotAccepted::Version { expected } => problems.error(
            Code::SessionVersion,
            "/session/version",
            format!("version {expected} comes next"),
            "send the versions of a session in order",
        ),
        NotAccepted::OtherPerson => problems.error(
            Code::SessionOtherPerson,
            "/patient/identifier",
            "the version before belongs to another person".to_owned(),
            "withdraw that session, then send a new one with an id of its own",
        ),
        NotAccepted::Purged => problems.error(
            Code::SessionPurged,
            "/session/id",
            "the content of this session was purged when its time of keeping was over".to_owned(),
            "correct it at the record server, which has it; nothing here can be corrected or sent any more",
        ),
    }
    problems.sorted()
}
