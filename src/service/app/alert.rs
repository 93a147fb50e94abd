//! Alerting somebody of what is urgent and not delivered, and of duplicates.

use crate::base::clock::Clock;
use crate::base::code::reason::Reason;
use crate::base::json::{Node, object, text};
use crate::delivery::deliver::webhook::Webhook;
use crate::delivery::outbox::alarm::DUPLICATE;
use crate::delivery::outbox::offer::Key;
use crate::delivery::outbox::{Item, Outbox, OutboxError};
use crate::service::app::key::key_of;
use crate::service::app::shown::number;
use crate::service::app::urgent::age;
use crate::service::config::alerts::Alerts;
use chrono::TimeDelta;
use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use uuid::Uuid;

/// How long between two looks; an alert is late by so much at most.
const LOOK_AGAIN: Duration = Duration::from_secs(5);

/// Looks for what is urgent and held, and tells of it: a line of the log, and the webhook of the site.
#[derive(Debug, Clone)]
pub struct Alerting {
    /// The store.
    pub outbox: Outbox,
    /// When and how.
    pub alerts: Alerts,
    /// The time.
    pub clock: Arc<dyn Clock>,
}

impl Alerting {
    /// Tells of everything that is to be told now; gives how many. What the webhook did not take is
    /// told again at the next look; `logged` holds what stands in the log already.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn once(&self, logged: &mut BTreeSet<Uuid>) -> Result<usize, OutboxError> {
        let now = self.clock.now();
        let after = TimeDelta::from_std(self.alerts.after).unwrap_or(TimeDelta::MAX);
        let mut told = 0_usize;
        for item in self.outbox.to_alert(now - after).await? {
            if logged.insert(item.id) {
                self.log(&item);
            }
            let how = match &self.alerts.webhook {
                None => "log",
                Some(webhook) => match webhook.tell(&alert(&item)).await {
                    Ok(()) => "webhook",
                    Err(cause) => {
                        tracing::error!(item = %item.id, error = %cause, "an alert did not arrive");
                        continue;
                    }
                },
            };
            self.outbox.alerted(&item, how, self.clock.now()).await?;
            logged.remove(&item.id);
            told = told.saturating_add(1);
        }
        Ok(told)
    }

    fn log(&self, item: &Item) {
        tracing::error!(
            item = %item.id,
            target = %item.target,
            session = %item.session,
            version = item.version,
            state = item.state.word(),
            reason = item.reason.as_ref().map(ToString::to_string).unwrap_or_default(),
            urgent = item.urgent.join(","),
            waits = age(item.accepted_at, self.clock.now()),
            "{}",
            what(item)
        );
    }

    /// Looks until it is told to stop.
    pub async fn until_stopped(&self, mut stop: watch::Receiver<bool>) {
        let mut logged = BTreeSet::new();
        while !*stop.borrow_and_update() {
            if let Err(cause) = self.once(&mut logged).await {
                tracing::error!(error = %cause, "the store failed");
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK_AGAIN) => {}
                changed = stop.changed() => if changed.is_err() { return },
            }
        }
    }
}

/// How often it is tried to tell of a refusal: nothing of it is kept, so a service that ends forgets it.
const MOST_TRIES: u32 = 60;

/// How many refusals are remembered as told of.
const MOST_REMEMBERED: usize = 1000;

/// Refusals of something urgent that the webhook was told of since the service began.
#[derive(Debug, Default)]
pub struct Refusals {
    told: Mutex<BTreeSet<String>>,
}

impl Refusals {
    /// Tells the webhook in the background that a document with something urgent was refused; once for
    /// each version of a session with the same urgent things, however often it is sent.
    pub fn tell(&self, webhook: &Webhook, document: &str, urgent: &[String]) {
        if urgent.is_empty() {
            return;
        }
        let Some(key) = key_of(document) else {
            return;
        };
        let alert = refused(&key, urgent);
        {
            let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
            if told.len() >= MOST_REMEMBERED {
                told.clear();
            }
            if !told.insert(alert.compact()) {
                return;
            }
        }
        let webhook = webhook.clone();
        tokio::spawn(async move {
            for _ in 0..MOST_TRIES {
                match webhook.tell(&alert).await {
                    Ok(()) => return,
                    Err(cause) => {
                        tracing::error!(session = %key.session, error = %cause, "an alert did not arrive");
                    }
                }
                tokio::time::sleep(LOOK_AGAIN).await;
            }
        });
    }
}

/// What an alert says of a document that was refused.
fn refused(key: &Key, urgent: &[String]) -> Node {
    let urgent = urgent.iter().map(|code| text(code.clone()));
    object([
        ("event", text("urgent-refused")),
        (
            "what",
            text(
                "something urgent was refused, and nothing of it is kept: whoever sent it has to mend it, and to \
                 tell the treating team by telephone or in person",
            ),
        ),
        ("session", text(key.session.to_string())),
        ("version", number(key.version)),
        ("urgent", Node::List(urgent.collect())),
    ])
}

fn what(item: &Item) -> &'static str {
    if item.urgent.is_empty() {
        "the record server holds a thing twice: somebody has to look at it"
    } else {
        "something urgent is not delivered: tell the treating team by telephone or in person"
    }
}

/// What an alert says: our own identities and codes, nothing about a person.
pub fn alert(item: &Item) -> Node {
    let event = match item.reason.as_ref().map(Reason::code) {
        _ if !item.urgent.is_empty() => "urgent-not-delivered",
        Some(DUPLICATE) => "duplicate-found",
        Some(_) | None => "look",
    };
    let mut members = vec![
        ("event", text(event)),
        ("what", text(what(item))),
        ("item", text(item.id.to_string())),
        ("target", text(item.target.clone())),
        ("session", text(item.session.to_string())),
        ("version", number(item.version)),
        ("state", text(item.state.word())),
        ("accepted_at", text(item.accepted_at.to_rfc3339())),
    ];
    let urgent = item.urgent.iter().map(|code| text(code.clone()));
    members.push(("urgent", Node::List(urgent.collect())));
    if let Some(reason) = &item.reason {
        members.push(("reason", text(reason.to_string())));
        members.push(("meaning", text(reason.sentence())));
    }
    object(members)
}
