//! How it gets there: the durable store and the attempts.

pub mod deliver;
pub mod outbox;
