//! What an answer to a request that was to store something means.

use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::deliver::http::{Answer, outcome_words};
use crate::delivery::deliver::send::Way;

/// What an answer means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meaning {
    /// Every entry was stored.
    Stored,
    /// Not now; try later.
    NotNow,
    /// Signing in did not work.
    SignIn,
    /// Nobody knows.
    Unknown,
    /// More than the server takes at once; nothing was stored.
    TooLarge,
    /// The content was refused.
    Refused,
}

/// An answer, read whole.
#[derive(Debug, Clone)]
pub(super) struct Read {
    pub(super) meaning: Meaning,
    /// The status that decided: of the answer, or of one of its entries.
    pub(super) status: u16,
    /// What the server said of the entry that decided.
    pub(super) words: Option<Private<String>>,
    /// True where entries of it were stored, whatever became of the others.
    pub(super) some_stored: bool,
    /// True where a transaction was answered as if each entry stood for itself.
    pub(super) as_batch: bool,
}

/// Classifies the answer to a transaction of so many entries.
///
/// An answer that is no transaction-response, or one whose entries are not all stored, is no success:
/// some servers answer a transaction with the meaning of a batch. 409 and 412 come from somebody
/// who wrote at the same time, so they are settled by searching.
pub fn meaning(answer: &Answer, steps: usize) -> Meaning {
    read(answer, Way::Transaction, steps).meaning
}

pub(super) fn read(answer: &Answer, way: Way, steps: usize) -> Read {
    let plain = |meaning| Read {
        meaning,
        status: answer.status,
        words: None,
        some_stored: false,
        as_batch: false,
    };
    match (answer.status, way) {
        (200 | 201, Way::Single) => plain(Meaning::Stored),
        (200..=299, Way::Transaction | Way::Batch) => entries(answer, way, steps),
        // What is no FHIR does not come from the record server: something on the way does not know the
        // address, and no content was looked at.
        (404 | 405 | 410, _) if !says_why(answer) => plain(Meaning::NotNow),
        (413, _) => plain(Meaning::TooLarge),
        (status, _) => plain(of_status(status)),
    }
}

fn says_why(answer: &Answer) -> bool {
    let body = answer.body.as_ref().map(Private::open);
    body.and_then(|body| body.text_of("resourceType")) == Some("OperationOutcome")
}

const fn of_status(status: u16) -> Meaning {
    match status {
        401 | 403 => Meaning::SignIn,
        425 | 429 => Meaning::NotNow,
        // A gateway may say 408 after it has passed the request on, as it may 503 below.
        408 | 409 | 412 => Meaning::Unknown,
        400..=499 => Meaning::Refused,
        _ => Meaning::Unknown,
    }
}

/// "one entry for each entry in the request, in the same order, with the outcome of processing the
/// entry" (FHIR R4, http.html#transaction-response): each is read, and the worst decides.
fn entries(answer: &Answer, way: Way, steps: usize) -> Read {
    let unknown = Read {
        meaning: Meaning::Unknown,
        status: answer.status,
        words: None,
        some_stored: false,
        as_batch: false,
    };
    let body = answer.body.as_ref().map(Private::open);
    let bundle = body.filter(|body| body.text_of("resourceType") == Some("Bundle"));
    let Some(bundle) = bundle else {
        return unknown;
    };
    let as_batch = match (bundle.text_of("type"), way) {
        (Some("transaction-response"), Way::Transaction) => false,
        (Some("batch-response"), Way::Transaction | Way::Batch | Way::Single) => true,
        _ => return unknown,
    };
    let entries = bundle.items_of("entry");
    let some_stored = entries.iter().any(|one| of_entry(one).0 == Meaning::Stored);
    let worst = entries.iter().enumerate().map(|(at, one)| {
        let (meaning, status) = of_entry(one);
        (meaning, at, status, one)
    });
    let worst = worst.max_by_key(|(meaning, at, ..)| (*meaning, usize::MAX - at));
    let Some((meaning, at, status, entry)) = worst.filter(|_| entries.len() == steps) else {
        return Read {
            some_stored,
            ..unknown
        };
    };
    let as_batch = as_batch && way == Way::Transaction;
    Read {
        // What was promised whole was not, so what the server holds of it is looked for.
        meaning: if as_batch && meaning != Meaning::Refused {
            Meaning::Unknown
        } else {
            meaning
        },
        status,
        words: (meaning != Meaning::Stored).then(|| words(entry, at, status, as_batch)),
        some_stored,
        as_batch,
    }
}

fn of_entry(entry: &Node) -> (Meaning, u16) {
    let status = entry.at(&["response", "status"]).and_then(Node::text);
    // "The status code … SHALL start with a 3 digit HTTP code (e.g. 404)" (FHIR R4, Bundle).
    let status = status.and_then(|status| status.get(..3)?.parse().ok());
    match status {
        Some(status @ 200..=299) => (Meaning::Stored, status),
        // One entry cannot be halved.
        Some(413) => (Meaning::Refused, 413),
        Some(status) => (of_status(status), status),
        None => (Meaning::Unknown, 0),
    }
}

fn words(entry: &Node, at: usize, status: u16, as_batch: bool) -> Private<String> {
    let outcome = entry.at(&["response", "outcome"]);
    let said = outcome.and_then(outcome_words);
    let said = said.unwrap_or_else(|| "it gave no reason".to_owned());
    let how = if as_batch {
        "the server answered a transaction as a batch, so parts of it may be stored; "
    } else {
        ""
    };
    let number = at.saturating_add(1);
    Private::new(format!("{how}entry {number} was answered {status}: {said}"))
}

#[cfg(test)]
mod tests {
    use super::{Meaning, meaning, read};
    use crate::delivery::deliver::http::Answer;
    use crate::delivery::deliver::send::Way;

    fn answer(status: u16, body: &str) -> Answer {
        Answer::read(status, body.as_bytes().to_vec(), None).expect("an answer of usual size")
    }

    fn response(kind: &str, statuses: &[&str]) -> String {
        let entries = statuses.iter().map(|status| {
            format!(
                r#"{{"response":{{"status":"{status}","outcome":{{"issue":[{{"diagnostics":"why"}}]}}}}}}"#
            )
        });
        let entries: Vec<String> = entries.collect();
        format!(
            r#"{{"resourceType":"Bundle","type":"{kind}","entry":[{}]}}"#,
            entries.join(",")
        )
    }

    #[test]
    fn answers_mean_what_the_standard_says_and_doubt_is_unknown() {
        let whole = response("transaction-response", &["201 Created"]);
        let batch = response("batch-response", &["201 Created"]);
        let part = response("transaction-response", &["429 Too Many Requests"]);
        let outcome = r#"{"resourceType":"OperationOutcome"}"#;
        let cases = [
            (answer(200, &whole), Meaning::Stored),
            (answer(200, &batch), Meaning::Unknown),
            (answer(200, &part), Meaning::NotNow),
            (
                answer(200, &whole.replace("Bundle", "Basic")),
                Meaning::Unknown,
            ),
            (
                answer(200, &whole.replace("201 Created", "no")),
                Meaning::Unknown,
            ),
            (answer(200, "<html>"), Meaning::Unknown),
            (answer(202, ""), Meaning::Unknown),
            (answer(302, ""), Meaning::Unknown),
            (answer(400, "{}"), Meaning::Refused),
            (answer(401, ""), Meaning::SignIn),
            (answer(403, outcome), Meaning::SignIn),
            (answer(404, ""), Meaning::NotNow),
            (answer(404, outcome), Meaning::Refused),
            (answer(409, "{}"), Meaning::Unknown),
            (answer(412, "{}"), Meaning::Unknown),
            (answer(413, ""), Meaning::TooLarge),
            (answer(422, "{}"), Meaning::Refused),
            (answer(429, ""), Meaning::NotNow),
            (answer(500, "{}"), Meaning::Unknown),
            (answer(502, ""), Meaning::Unknown),
            (answer(503, ""), Meaning::Unknown),
            (answer(504, ""), Meaning::Unknown),
        ];
        for (answer, expected) in cases {
            assert_eq!(meaning(&answer, 1), expected, "{}", answer.status);
        }
    }

    #[test]
    fn an_answer_with_too_few_or_too_many_entries_is_unknown() {
        let two = response("transaction-response", &["201", "201"]);

        assert_eq!(meaning(&answer(200, &two), 3), Meaning::Unknown);
        assert_eq!(meaning(&answer(200, &two), 1), Meaning::Unknown);
        assert_eq!(meaning(&answer(200, &two), 2), Meaning::Stored);
    }

    #[test]
    fn every_entry_is_read_and_the_worst_decides() {
        let batch = |statuses: &[&str]| {
            let answer = answer(200, &response("batch-response", statuses));
            let read = read(&answer, Way::Batch, statuses.len());
            (read.meaning, read.status, read.some_stored)
        };

        assert_eq!(batch(&["201", "200 OK"]), (Meaning::Stored, 201, true));
        assert_eq!(batch(&["201", "422", "500"]), (Meaning::Refused, 422, true));
        assert_eq!(batch(&["500", "503"]), (Meaning::Unknown, 500, false));
        assert_eq!(batch(&["201", "429"]), (Meaning::NotNow, 429, true));
        assert_eq!(batch(&["413", "201"]), (Meaning::Refused, 413, true));
    }

    #[test]
    fn a_transaction_that_was_taken_apart_is_told_with_the_entry_that_failed() {
        let answer = answer(200, &response("batch-response", &["201", "422"]));

        let read = read(&answer, Way::Transaction, 2);

        assert!(read.as_batch && read.some_stored);
        assert_eq!(read.meaning, Meaning::Refused);
        let words = read.words.expect("words");
        assert!(words.open().contains("as a batch"), "{}", words.open());
        assert!(words.open().ends_with("entry 2 was answered 422: why"));
    }

    #[test]
    fn one_resource_is_stored_by_its_status_alone() {
        let single = |status| read(&answer(status, ""), Way::Single, 1).meaning;

        let told = [200, 201, 202, 204, 412, 422].map(single);

        assert_eq!(
            told,
            [
                Meaning::Stored,
                Meaning::Stored,
                Meaning::Unknown,
                Meaning::Unknown,
                Meaning::Unknown,
                Meaning::Refused
            ]
        );
    }
}
