#![cfg(test)]
//! What the store promises, on both engines with the same tests.
//!
//! They run on `SQLite` always. Where `FASCICLE_POSTGRES` holds the address of a PostgreSQL server whose
//! user may make databases, they run there as well, each in a database of its own; with
//! `FASCICLE_REQUIRE_REAL=1` they must. `tests/postgres/run` starts one.

mod between;
mod contract;
mod engine;
mod generations;
mod kept;
mod moving;
mod plans;
mod postgres_only;
mod purge;
mod statements;

#[path = "../support/days.rs"]
mod days;
#[path = "../support/document.rs"]
#[expect(dead_code, reason = "the other suites use the rest of it")]
mod document;
