#![cfg(test)]
//! The built binary against a record server it does not know from inside.
//!
//! Every scenario runs against `fascicle practice`, started as a process of its own. Where
//! `FASCICLE_RECORD_SERVER` holds the base address of a real server, the same scenario runs against
//! that one too; with `FASCICLE_REQUIRE_REAL=1` it must. `FASCICLE_FULL=1` plays all rounds of the
//! scenarios that are about chance; their figures are shown with `--nocapture`.
//!
//! Where `FASCICLE_POSTGRES` names a PostgreSQL server, two nodes share a database of it (`nodes`).
//!
//! A failure is made by holding a request in a proxy and acting while it is held, never by waiting
//! for a while and hoping.

mod binary;
mod correction;
mod digits;
mod document;
mod earlier;
mod every;
mod faults;
mod figures;
mod foreign;
mod found;
mod http;
mod kept;
mod killed;
mod kills;
mod lagging;
mod late;
mod left_alone;
mod lost_answer;
mod nodes;
mod overload;
mod parties;
mod person;
mod postgres;
mod proxy;
mod purged;
mod random;
mod refused;
mod reloaded;
mod report;
mod restored;
mod routed;
mod sending;
mod server;
mod service;
mod sign_in;
mod smart;
mod statement;
mod swallowed;
mod tls;
mod together;
mod twice;
mod upgraded;
mod urgent;
mod way;

#[path = "../support/facts.rs"]
mod facts;
#[path = "../support/sessions.rs"]
mod sessions;
