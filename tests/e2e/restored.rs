#![cfg(test)]
//! A store that was put back from a backup: it does not know what it sent since.

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::figures::Figures;
use crate::server::{Holding, Server, reference, scenarios, version};
use std::fs;

scenarios!(what_was_sent_after_the_backup_is_found_and_not_sent_again);

/// The way of deploy/RUNBOOK.md, "Backup and restore".
fn what_was_sent_after_the_backup_is_found_and_not_sent_again(server: &Server) {
    let mut figures = Figures::new(server, "a restored store");
    let person = Person::known(server);
    let (before, after) = (person.session(), person.session());
    let site = Site::new(&server.base());
    let (before_file, after_file) = (site.document(&before), site.document(&after));
    let first = site.send(&[&before_file], 60).ended(0);
    let copy = backup(&site);
    site.send(&[&after_file], 60).ended(0);
    let there = versions(server, &person);
    assert_eq!(there.len(), 2 * OBSERVATIONS + 2);

    restore(&site, &copy);
    assert_eq!(site.queue().len(), 1);
    let again = site.send(&[&before_file], 60).ended(0);
    site.send(&[&after_file], 60).ended(0);

    assert_eq!(again.items(), first.items());
    assert_eq!(site.queue().len(), 2);
    assert_eq!(versions(server, &person), there);
    site.run("trail", &["--verify"]).ended(0);
    figures.round();
    figures.count(server, &person, &[&before, &after]);
    figures.told();
}

/// While it may be in use: a whole copy of one moment (source: <https://sqlite.org/lang_vacuum.html>).
fn backup(site: &Site) -> std::path::PathBuf {
    let copy = site.path("copy.sqlite");
    let address = format!("sqlite:{}", site.path("state/fascicle.sqlite").display());
    let statement = format!("VACUUM INTO '{}'", copy.display());
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    runtime.block_on(async {
        let pool = sqlx::SqlitePool::connect(&address).await.expect("opens");
        let statement = sqlx::AssertSqlSafe(statement);
        sqlx::query(statement).execute(&pool).await.expect("done");
        pool.close().await;
    });
    copy
}

fn restore(site: &Site, copy: &std::path::Path) {
    let store = site.path("state/fascicle.sqlite");
    for ending in ["-wal", "-shm"] {
        let beside = format!("{}{ending}", store.display());
        if fs::exists(&beside).expect("it can be asked") {
            fs::remove_file(&beside).expect("removed");
        }
    }
    fs::rename(copy, &store).expect("put back");
}

/// Every Observation and Provenance of a person and its version.
fn versions(server: &Server, person: &Person) -> Vec<(String, String)> {
    let holding = Holding::of(server, &person.reference, &[]);
    let all = holding.observations.iter().chain(&holding.provenances);
    let mut all: Vec<_> = all
        .map(|resource| (reference(resource), version(resource).to_owned()))
        .collect();
    all.sort();
    all
}
