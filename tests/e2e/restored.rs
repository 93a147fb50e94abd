#![cfg(test)]
//! A store that was put back from a backup: it does not know what it sent since.

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::figures::Figures;
use crate::postgres;
use crate::server::{Holding, Server, reference, scenarios, version};
use std::fs;
use std::path::Path;
use std::process::Command;

scenarios!(
    what_was_sent_after_the_backup_is_found_and_not_sent_again,
    what_was_sent_after_the_backup_of_a_database_is_found_as_well,
);

/// The way of deploy/RUNBOOK.md, "Backup and restore".
fn what_was_sent_after_the_backup_is_found_and_not_sent_again(server: &Server) {
    let backup = |site: &Site, copy: &Path| {
        let copy = copy.display().to_string();
        site.run("store", &["--backup", &copy]).ended(0);
    };
    let restore = |site: Site, copy: &Path| {
        let store = site.path("state/fascicle.sqlite");
        for ending in ["-wal", "-shm"] {
            let beside = format!("{}{ending}", store.display());
            if fs::exists(&beside).expect("it can be asked") {
                fs::remove_file(&beside).expect("removed");
            }
        }
        fs::rename(copy, &store).expect("put back");
        site
    };
    played(
        server,
        "a restored store",
        Site::new(&server.base()),
        backup,
        restore,
    );
}

fn what_was_sent_after_the_backup_of_a_database_is_found_as_well(server: &Server) {
    let Some(shared) = postgres::shared() else {
        return;
    };
    let database = postgres::database(&shared);
    let done = |mut command: Command| {
        let output = command.output().expect("it runs");
        assert!(output.status.success(), "{output:?}");
    };
    let backup = |_: &Site, copy: &Path| {
        let mut dump = postgres::program("pg_dump");
        dump.arg("--format=custom")
            .arg("--file")
            .arg(copy)
            .arg(&database);
        done(dump);
    };
    let restore = |_: Site, copy: &Path| {
        let empty = postgres::database(&shared);
        let mut restore = postgres::program("pg_restore");
        restore
            .arg("--exit-on-error")
            .arg("--dbname")
            .arg(&empty)
            .arg(copy);
        done(restore);
        Site::hasty_on(&server.base(), &empty)
    };
    let site = Site::hasty_on(&server.base(), &database);
    played(server, "a restored database", site, backup, restore);
}

fn played(
    server: &Server,
    name: &str,
    site: Site,
    backup: impl Fn(&Site, &Path),
    restore: impl FnOnce(Site, &Path) -> Site,
) {
    let mut figures = Figures::new(server, name);
    let person = Person::known(server);
    let (before, after) = (person.session(), person.session());
    let folder = tempfile::tempdir().expect("a folder");
    let copy = folder.path().join("copy");
    let files = [&before, &after].map(|document| {
        let file = folder.path().join(document.session());
        fs::write(&file, document.json.to_string()).expect("a file");
        file.display().to_string()
    });
    let first = site.send(&[&files[0]], 60).ended(0);
    backup(&site, &copy);
    site.send(&[&files[1]], 60).ended(0);
    let there = versions(server, &person);
    assert_eq!(there.len(), 2 * OBSERVATIONS + 2);

    let site = restore(site, &copy);
    assert_eq!(site.queue().len(), 1);
    let again = site.send(&[&files[0]], 60).ended(0);
    site.send(&[&files[1]], 60).ended(0);

    assert_eq!(again.items(), first.items());
    assert_eq!(site.queue().len(), 2);
    assert_eq!(versions(server, &person), there);
    site.run("trail", &["--verify"]).ended(0);
    figures.round();
    figures.count(server, &person, &[&before, &after]);
    figures.told();
}

/// Every Observation and Provenance of a person and its version.
pub(crate) fn versions(server: &Server, person: &Person) -> Vec<(String, String)> {
    let holding = Holding::of(server, &person.reference, &[]);
    let all = holding.observations.iter().chain(&holding.provenances);
    let mut all: Vec<_> = all
        .map(|resource| (reference(resource), version(resource).to_owned()))
        .collect();
    all.sort();
    all
}
