//! One attempt at one item.

use crate::base::code::Code;
use crate::base::code::meaning::Sign;
use crate::base::code::reason::Reason;
use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::deliver::early::{Early, Worker, later, unknown};
use crate::delivery::deliver::held::Trouble;
use crate::delivery::deliver::look::Look;
use crate::delivery::deliver::parties::{self, instruments, person};
use crate::delivery::deliver::rounds::{Progress, Sender};
use crate::delivery::deliver::send::References;
use crate::delivery::deliver::{guard, retry};
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::{Leased, OutboxError, Outcome};
use crate::examination::intake::kept::NotRead;
use crate::fhir::record::{REPORT, entries_of, fitted, without_report};

/// Makes one attempt, cut off before the lease ends.
///
/// Before anything is sent the server is searched for what it already holds; what is there is
/// never created again. After sending, everything is read back. Beside the outcome stands what it says
/// of the target as such.
///
/// # Errors
/// [`OutboxError`] when the store fails; the item stays in sending and becomes unknown with the
/// end of its lease.
pub async fn attempt(
    worker: &Worker<'_>,
    leased: &mut Leased,
) -> Result<(Outcome, Sign), OutboxError> {
    let progress = Progress::default();
    let left = (leased.until - worker.clock.now())
        .to_std()
        .unwrap_or_default();
    let left = left.saturating_sub(worker.lease.margin);
    let outcome = match tokio::time::timeout(left, Box::pin(work(worker, leased, &progress))).await
    {
        Ok(Ok(outcome)) => outcome,
        Ok(Err(early)) => end(early, worker, leased, progress.is_open())?,
        Err(_cut_off) if progress.is_open() => unknown(worker, leased, Code::AttemptCutOff, None),
        Err(_cut_off) => later(worker, leased, Code::AttemptCutOff, None),
    };
    let sign = if progress.was_answered() {
        Sign::Works
    } else {
        sign_of(&outcome)
    };
    if progress.has_stored() {
        // Part of it is there: what the server made of it is not somebody else's, and it may take a
        // while to show.
        leased.sent_before = Some(worker.clock.now());
    }
    Ok((outcome, sign))
}

/// What the outcome of an attempt says about the target.
fn sign_of(outcome: &Outcome) -> Sign {
    match outcome {
        Outcome::Delivered { .. } => Sign::Works,
        Outcome::Refused { reason, .. }
        | Outcome::Unknown { reason, .. }
        | Outcome::Later { reason, .. }
        | Outcome::Waiting { reason, .. } => reason.sign(),
    }
}

fn end(
    early: Early,
    worker: &Worker<'_>,
    leased: &Leased,
    sent: bool,
) -> Result<Outcome, OutboxError> {
    Ok(match early {
        Early::Store(error) => return Err(error),
        Early::Outcome(outcome) => outcome,
        Early::Stopped(stopped) => Outcome::Waiting {
            reason: stopped.code().into(),
            words: Private::new(stopped.words().to_owned()),
        },
        Early::Kept(kept) => Outcome::Waiting {
            reason: kept.code().into(),
            words: Private::new(kept.words().to_owned()),
        },
        Early::Unread(unread) => does_not_read(&unread, worker, leased),
        // Mostly it is over at once; where its answer is missing, it takes as long as a server may.
        Early::InstrumentBusy => {
            let attempts = leased.item.attempts.min(6);
            later(worker, leased, Code::InstrumentBusy, Some(attempts))
        }
        Early::Trouble(Trouble::Several(key)) => Outcome::Waiting {
            reason: Code::DuplicateFound.into(),
            words: Private::new(format!(
                "the record server holds several resources as {key}"
            )),
        },
        // Looking failed after sending: only the answer is missing.
        Early::Trouble(_) if sent => unknown(worker, leased, Code::ReadBackFailed, None),
        Early::Trouble(Trouble::Silence(silence)) => later(worker, leased, silence.code(), None),
        Early::Trouble(Trouble::Answer(answer)) => {
            let reason = if matches!(answer.status, 401 | 403) {
                Code::TargetSignIn.into()
            } else {
                Reason::answered(Code::TargetAnswer, answer.status)
            };
            let now = worker.clock.now();
            let wait = answer
                .retry_after
                .and_then(|text| retry::retry_after(&text, now));
            let due_at = retry::next(leased.item.attempts, wait, worker.random, now);
            Outcome::Later { reason, due_at }
        }
    })
}

/// A person has to look at what does not read. What a newer release wrote is left to a node that reads
/// it, or to this one after its upgrade.
fn does_not_read(unread: &Unread, worker: &Worker<'_>, leased: &Leased) -> Outcome {
    match unread.why {
        NotRead::Newer { .. } => later(worker, leased, Code::RecordNewer, None),
        NotRead::NoForm { .. }
        | NotRead::Syntax { .. }
        | NotRead::Json
        | NotRead::Shape { .. }
        | NotRead::OtherForm { .. }
        | NotRead::Empty { .. }
        | NotRead::Meaning { .. }
        | NotRead::Tables { .. }
        | NotRead::Lacks(_)
        | NotRead::Column(_) => Outcome::Waiting {
            reason: Code::RecordUnreadable.into(),
            words: Private::new(unread.to_string()),
        },
    }
}

async fn work(worker: &Worker<'_>, leased: &Leased, progress: &Progress) -> Result<Outcome, Early> {
    // Whole, so that no entry is passed over further on.
    leased.record.read(|_form, text| entries_of(text))?;
    let record = leased.record.node()?;
    let before = match &leased.receipt_before {
        Some(receipt) => Some(receipt.node()?),
        None => None,
    };
    let before = before.as_ref();
    let record = if wants_report(worker, before, &record) {
        record
    } else {
        without_report(&record)
    };
    let target = worker.connection.target();
    guard::record(target.purpose, &record).map_err(Early::Kept)?;
    let (mut record, mut left_out) = fitted::fit(&record, &target.fitting);
    let mut references = References::new();
    person(worker, leased, &record, &mut references).await?;
    parties::others(worker, leased, &mut record, &mut references, &mut left_out).await?;
    instruments(worker, leased, &record, &mut references).await?;
    let look = Look::new(leased, &record);
    let sender = Sender {
        worker,
        progress,
        leased: leased.clone(),
        left_out,
        begun: false,
    };
    sender.all(&look, &references).await
}

/// A target has the report when its settings say so; one that got it with the version before gets the
/// correction as well, whatever they say now, so that no old summary stays behind as if it stood.
fn wants_report(worker: &Worker<'_>, before: Option<&Node>, record: &Node) -> bool {
    let mut entries = record.items_of("entry").iter();
    let report = entries.find(|entry| {
        let kind = entry.at(&["resource", "resourceType"]).and_then(Node::text);
        kind == Some(REPORT)
    });
    let name = report.and_then(|entry| entry.text_of("fullUrl"));
    let had = before.is_some_and(|receipt| {
        let mut rows = receipt.items_of("resources").iter();
        rows.any(|row| row.text_of("full_url") == name)
    });
    worker.connection.target().report || had
}
