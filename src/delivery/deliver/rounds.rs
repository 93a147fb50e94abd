//! Sending what is left: look, send what refers to nothing that is missing, look again, until the
//! server holds everything. A session that fits into one transaction is one round.

use crate::base::code::Code;
use crate::base::code::reason::Reason;
use crate::base::private::Private;
use crate::delivery::deliver::answer::{self, Meaning, Read};
use crate::delivery::deliver::early::{Early, Worker, later, unknown};
use crate::delivery::deliver::http::{Answer, server_words};
use crate::delivery::deliver::look::{Look, Seen, Sent};
use crate::delivery::deliver::plan::{self, NoPart, Part};
use crate::delivery::deliver::retry;
use crate::delivery::deliver::send::{self, References, Step, Way};
use crate::delivery::deliver::unanswered::Silence;
use crate::delivery::outbox::{Leased, Outcome};
use crate::examination::intake::kept::NotRead;
use crate::fhir::record::fitted::LeftOut;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, Ordering};

/// How far an attempt came, readable when it was cut off.
#[derive(Debug, Default)]
pub(super) struct Progress {
    /// True while something may be stored that was not seen yet.
    open: AtomicBool,
    /// True once something of this attempt was stored.
    stored: AtomicBool,
    /// True where the server answered and it is our own wait that ended the attempt.
    answered: AtomicBool,
}

impl Progress {
    pub(super) fn is_open(&self) -> bool {
        self.open.load(Ordering::SeqCst)
    }

    pub(super) fn has_stored(&self) -> bool {
        self.stored.load(Ordering::SeqCst)
    }

    pub(super) fn was_answered(&self) -> bool {
        self.answered.load(Ordering::SeqCst)
    }

    fn set_open(&self, open: bool) {
        self.open.store(open, Ordering::SeqCst);
    }

    fn note(&self, read: &Read) {
        if read.some_stored || read.meaning == Meaning::Stored {
            self.stored.store(true, Ordering::SeqCst);
        }
    }
}

/// What came of one request.
enum Ended {
    Stored,
    /// The server takes less at once; the limit is known now.
    Halve,
    Over(Outcome),
}

/// Sends what is left of a record until the server holds all of it.
pub(super) struct Sender<'a> {
    pub(super) worker: &'a Worker<'a>,
    pub(super) progress: &'a Progress,
    pub(super) leased: Leased,
    pub(super) left_out: LeftOut,
    /// True once a request of this attempt left.
    pub(super) begun: bool,
}

impl Sender<'_> {
    pub(super) async fn all(
        mut self,
        look: &Look<'_>,
        references: &References,
    ) -> Result<Outcome, Early> {
        let connection = self.worker.connection;
        let mut seen = look.at(connection, references).await?;
        let mut stored: BTreeSet<String> = BTreeSet::new();
        let mut requests = 0_u32;
        loop {
            let mut steps = seen.steps(look, &self.leased)?;
            // What a server made of a correction is told as drift, and never sent in a circle.
            steps.retain(|step| !stored.contains(step.full_url()));
            if steps.is_empty() {
                let sent = Sent {
                    steps: stored.len(),
                    requests,
                    left_out: self.left_out,
                };
                return Ok(seen.delivered(look, &sent));
            }
            if let Some(outcome) = self.too_early(&steps) {
                self.progress.answered.store(true, Ordering::SeqCst);
                return Ok(outcome);
            }
            let before = stored.len();
            for part in self.round(&steps)? {
                match self.one(&part).await? {
                    Ended::Stored => {
                        requests = requests.saturating_add(1);
                        stored.extend(part.steps.iter().map(|step| step.full_url().to_owned()));
                    }
                    Ended::Halve => break,
                    Ended::Over(outcome) => return Ok(outcome),
                }
            }
            if stored.len() > before {
                seen = look.back(connection, references).await?;
                if !shows(&seen, look, &stored) {
                    let outcome = unknown(self.worker, &self.leased, Code::ReadBackMissing, None);
                    return Ok(outcome);
                }
                self.progress.set_open(false);
            }
        }
    }

    fn round(&self, steps: &[Step]) -> Result<Vec<Part>, Early> {
        let connection = self.worker.connection;
        let sending = &connection.target().sending;
        plan::round(steps, sending, connection.learned().limit()).map_err(|none| match none {
            NoPart::Circle => {
                let why = NotRead::Lacks("an order in which nothing names what comes later");
                Early::Unread(self.leased.record.unread(why))
            }
            NoPart::TooLarge(name, bytes) => Early::Outcome(Outcome::Refused {
                reason: Code::EntryTooLarge.into(),
                words: Private::new(format!("{name} alone has {bytes} bytes")),
            }),
        })
    }

    /// A server may take a while to show what it stored: what is not seen is not created again before
    /// that time has passed since the last request of an earlier attempt left.
    fn too_early(&self, steps: &[Step]) -> Option<Outcome> {
        if self.begun {
            return None;
        }
        let (worker, leased) = (self.worker, &self.leased);
        let creates = steps.iter().any(|step| matches!(step, Step::Create(..)));
        let since = leased.sent_before.filter(|_| creates)?;
        // Whoever sent it was cut off within its lease, even if a clock jumped since.
        let visibility = worker.connection.target().visibility;
        let shows = since + visibility.max(worker.lease.whole);
        // What is known of the attempt before stays told.
        let reason = leased.item.reason.clone();
        (worker.clock.now() < shows).then(|| Outcome::Unknown {
            reason: reason.unwrap_or(Code::VisibilityWindow.into()),
            words: leased.item.words.clone(),
            due_at: shows,
        })
    }

    /// One request; it leaves only under the lease.
    async fn one(&mut self, part: &Part) -> Result<Ended, Early> {
        let worker = self.worker;
        let now = worker.clock.now();
        let safe = self.leased.until - worker.lease.margin;
        let first = !self.begun;
        let ours = now < safe
            && worker
                .outbox
                .about_to_send(&self.leased, first, now)
                .await?;
        // The store may have taken its time over the answer, or this process was held up meanwhile.
        if !ours || worker.clock.now() >= safe {
            let outcome = later(worker, &self.leased, Code::AttemptCutOff, None);
            return Ok(Ended::Over(outcome));
        }
        if first {
            self.leased.sends = self.leased.sends.saturating_add(1);
        }
        (self.begun, self.leased.sent_before) = (true, Some(now));
        let was_open = self.progress.is_open();
        self.progress.set_open(true);
        let answer = match self.ask(part).await {
            Ok(answer) => answer,
            Err(silence @ (Silence::Unreachable | Silence::Secret | Silence::NoToken(_))) => {
                self.progress.set_open(was_open);
                return Err(silence.into());
            }
            Err(silence @ (Silence::NoAnswer | Silence::TooLarge)) => {
                let outcome = unknown(worker, &self.leased, silence.code(), None);
                return Ok(Ended::Over(outcome));
            }
        };
        let read = answer::read(&answer, part.way, part.steps.len());
        self.progress.note(&read);
        let ended = self.ended(part, &answer, &read);
        if matches!(ended, Ended::Halve) {
            self.progress.set_open(was_open);
        }
        Ok(ended)
    }

    async fn ask(&self, part: &Part) -> Result<Answer, Silence> {
        let connection = self.worker.connection;
        let [step] = part.steps.as_slice() else {
            return connection
                .bundle(&send::bundle(part.way, &part.steps))
                .await;
        };
        match (part.way, step) {
            (Way::Transaction | Way::Batch, _) => {
                connection
                    .bundle(&send::bundle(part.way, &part.steps))
                    .await
            }
            (Way::Single, Step::Create(_, kind, condition, resource)) => {
                let condition = condition.as_deref();
                connection.create(kind, condition, resource).await
            }
            (Way::Single, Step::Replace(_, reference, version, _)) => {
                let version = version.as_deref().map(send::if_match);
                let version = version.as_deref();
                connection.replace(reference, version, &step.body()).await
            }
        }
    }

    fn ended(&self, part: &Part, answer: &Answer, read: &Read) -> Ended {
        let (worker, leased) = (self.worker, &self.leased);
        let status = read.status;
        let words = || read.words.clone().unwrap_or_else(|| server_words(answer));
        Ended::Over(match read.meaning {
            Meaning::Stored => return Ended::Stored,
            Meaning::TooLarge if part.steps.len() > 1 => {
                worker
                    .connection
                    .learned()
                    .takes_at_most(part.steps.len().div_ceil(2));
                return Ended::Halve;
            }
            Meaning::Refused | Meaning::TooLarge => Outcome::Refused {
                reason: Reason::answered(Code::TargetRefused, status),
                words: words(),
            },
            Meaning::NotNow => Outcome::Later {
                reason: Reason::answered(Code::TargetAnswer, status),
                due_at: again(worker, leased, answer),
            },
            Meaning::SignIn => Outcome::Later {
                reason: Code::TargetSignIn.into(),
                due_at: again(worker, leased, answer),
            },
            Meaning::Unknown => {
                let reason = if read.as_batch {
                    Code::TargetAsBatch.into()
                } else {
                    Reason::answered(Code::TargetAnswer, status)
                };
                unknown(worker, leased, reason, Some((answer, words())))
            }
        })
    }
}

fn again(worker: &Worker<'_>, leased: &Leased, answer: &Answer) -> DateTime<Utc> {
    let now = worker.clock.now();
    let wait = answer.retry_after.as_deref();
    let wait = wait.and_then(|text| retry::retry_after(text, now));
    retry::next(leased.item.attempts, wait, worker.random, now)
}

/// True where everything that was stored can be seen.
fn shows(seen: &Seen, look: &Look<'_>, stored: &BTreeSet<String>) -> bool {
    stored.iter().all(|url| seen.shows(look, url))
}
