#![cfg(test)]
//! A store in a folder of its own, and documents sent to it.

use crate::document::{catalogue, lines, now};
use fascicle::base::json::Node;
use fascicle::delivery::outbox::Outbox;
use fascicle::service::app::submit::{Submitted, submit};

/// A store that is gone with the value.
pub(crate) struct Store {
    pub(crate) outbox: Outbox,
    _folder: tempfile::TempDir,
}

/// How many sessions, deliveries and rows of the trail a store holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Held {
    pub(crate) sessions: usize,
    pub(crate) items: usize,
    pub(crate) trail: usize,
}

impl Store {
    pub(crate) async fn open() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let outbox = Outbox::open(folder.path()).await.expect("a store");
        Self {
            outbox,
            _folder: folder,
        }
    }

    /// Submits for one target; what was told, as an error when it was not accepted.
    pub(crate) async fn submit(&self, document: &Node) -> Result<Vec<String>, Vec<String>> {
        self.submit_text(&document.compact()).await
    }

    pub(crate) async fn submit_text(&self, text: &str) -> Result<Vec<String>, Vec<String>> {
        let targets = ["ward".to_owned()];
        let submitted = submit(&self.outbox, catalogue(), &targets, text, now()).await;
        match submitted.expect("the store answers") {
            Submitted::Accepted { told, .. } => Ok(lines(&told)),
            Submitted::Held(held) => Err(lines(&held.problems)),
        }
    }

    pub(crate) async fn holds(&self) -> Held {
        let trail = self.outbox.trail(None).await.expect("the trail");
        Held {
            sessions: self.sessions().await.len(),
            items: self.outbox.items(false).await.expect("the items").len(),
            trail: trail.len(),
        }
    }

    /// The records kept, the earliest first.
    pub(crate) async fn sessions(&self) -> Vec<Node> {
        let kept = self.outbox.sessions().await.expect("the sessions");
        kept.iter()
            .map(|kept| Node::parse(kept.record.as_it_stands().open()).expect("a record is JSON"))
            .collect()
    }
}
