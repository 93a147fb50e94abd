//! What a reason code means, and what can be done.

/// A sentence for a reason code; the code itself where there is none.
pub fn sentence(reason: &str) -> &str {
    let known = SENTENCES.iter().find(|(code, _)| reason.starts_with(code));
    known.map_or(reason, |(_, sentence)| sentence)
}

/// Longer codes before those they begin with.
const SENTENCES: &[(&str, &str)] = &[
    (
        "attempt.cut-off",
        "the attempt took too long and was cut off before its lease ended",
    ),
    (
        "duplicate.found",
        "the record server holds several resources under one identifier: its keepers have to \
         merge them, then release",
    ),
    (
        "encounter.in-error",
        "the record server marks the encounter as entered in error: correct the session by a further \
         version that names another, or have the mark looked at, then release",
    ),
    (
        "encounter.not-found",
        "the record server does not know the encounter exactly once: have it entered there; release \
         names it by its identifier where it is still not known",
    ),
    (
        "encounter.other-person",
        "the encounter belongs to another person at the record server: make sure who was examined, \
         then correct the session by a further version",
    ),
    (
        "entry.too-large",
        "one resource alone is larger than most_bytes lets through: raise it where the server takes \
         more, then release",
    ),
    (
        "guard.real-document",
        "the session is not marked as test data and this target is for tests: nothing was sent; \
         drop it, or correct the purpose of the target and release",
    ),
    (
        "guard.test-document",
        "the session is marked as test data and this target is in production: nothing was sent; \
         drop it, or correct the purpose of the target and release",
    ),
    (
        "guard.test-person",
        "the record server marks this person as test data and this target is in production: \
         nothing was sent; drop it, or have the mark looked at",
    ),
    (
        "held.changed-since",
        "somebody changed it at the record server since it was delivered: look at both, then \
         release to put the correction in its place, or drop",
    ),
    (
        "held.other-content",
        "the record server holds other content under the same identifier: look at both; release \
         leaves it as it is there",
    ),
    (
        "held.other-person",
        "the record server holds it for another person: withdraw the session and send a new one",
    ),
    (
        "instrument.busy",
        "another worker is creating the same instrument",
    ),
    (
        "person.birth-date-missing",
        "the record server holds no birth date to compare with: make sure who it is, then release",
    ),
    (
        "person.birth-date",
        "the birth date differs: correct the document or the record, then release",
    ),
    (
        "person.family-name",
        "the family name differs: make sure who it is, then release",
    ),
    (
        "person.inactive",
        "the record of this person is marked as not in use",
    ),
    (
        "person.not-found",
        "the record server knows nobody by this identifier",
    ),
    (
        "person.replaced",
        "the record of this person was replaced by another",
    ),
    (
        "person.several",
        "the record server knows several people by this identifier",
    ),
    (
        "person.unreadable",
        "the record server's answer about the person cannot be read",
    ),
    (
        "practitioner.not-found",
        "the record server does not know a performer exactly once: have them entered there; release \
         names them by their identifier where they are still not known",
    ),
    (
        "read-back.",
        "it was sent, but could not be read back yet; it is looked for again",
    ),
    (
        "record.newer",
        "what is kept of the session was written by a newer release: a node of that release takes it, or \
         this one after its upgrade",
    ),
    (
        "record.unreadable",
        "what is kept of the session does not read: its words name the row; put it right from a copy of the \
         store, or report this",
    ),
    (
        "target.as-batch",
        "the record server took a transaction apart; it is looked for, and what is missing is sent \
         again: set mode to batch, so that nothing is expected to be whole",
    ),
    (
        "target.no-answer",
        "the answer was lost; it is looked for before anything is sent again",
    ),
    (
        "target.refused-",
        "the record server refused the content: correct it by a further version",
    ),
    (
        "target.secret",
        "a file with a secret or a header cannot be read, or others than its owner and group may read it",
    ),
    (
        "target.sign-in",
        "the record server did not accept the sign-in",
    ),
    (
        "target.token-insecure",
        "tokens would be asked for in the clear while the record server is reached by TLS",
    ),
    (
        "target.token-key",
        "the key of the sign-in cannot be read or used, or everybody may read it",
    ),
    (
        "target.token-refused",
        "the authorization server gives us no token",
    ),
    (
        "target.token-undiscovered",
        "the record server does not say where tokens are given",
    ),
    (
        "target.token-unreachable",
        "the authorization server cannot be reached",
    ),
    (
        "target.token-unreadable",
        "what the authorization server answers is no token",
    ),
    ("target.unreachable", "the record server cannot be reached"),
    ("target.answer-", "the record server could not take it now"),
    (
        "unknown.too-often",
        "the record server failed many times and nobody knows what it stored: look there, then \
         release",
    ),
    (
        "visibility.window",
        "its last attempt may still show at the record server; it is looked for",
    ),
];

#[cfg(test)]
mod tests {
    use super::sentence;

    #[test]
    fn a_longer_code_is_not_read_as_the_shorter_one_it_begins_with() {
        assert!(sentence("person.birth-date-missing").contains("no birth date"));
        assert!(sentence("target.answer-500").contains("could not take it"));
        assert_eq!(sentence("something.else"), "something.else");
    }
}
