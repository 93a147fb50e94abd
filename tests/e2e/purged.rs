#![cfg(test)]
//! Content whose time is over goes, by the command line, and the record server keeps what it has.

use crate::binary::Site;
use crate::correction::corrected;
use crate::document::{OBSERVATIONS, Person};
use crate::server::{Holding, Server, scenarios};

scenarios!(what_was_purged_is_gone_here_and_stands_at_the_server);

fn what_was_purged_is_gone_here_and_stands_at_the_server(server: &Server) {
    let site = Site::hasty_with(&server.base(), "");
    site.add_settings("[retention]\nafter_days = 1");
    let person = Person::known(server);
    let document = person.session();
    let session = document.session();
    site.send(&[&site.document(&document)], 60).ended(0);
    let held = Holding::of(server, &person.reference, &[]);
    let name = held.observations[0].text_of("id").expect("an id");
    let name = format!("Observation/{name}");
    site.run("trail", &["--words", &name]).ended(0);
    let by = ["--by", "A. Ward", "--why", "asked for in writing"];
    let purge = [&["--purge", &session][..], &by].concat();

    let due = site.run("store", &["--purge-due", "--dry-run"]).ended(0);
    let none = site.run("store", &["--purge-due"]).ended(0);
    let gone = site.run("store", &purge).ended(0);

    let told = "0 sessions accepted 1 day ago or earlier";
    assert!(due.text.contains(told), "{}", due.text);
    assert!(
        none.text.contains("the content of 0 sessions was purged"),
        "{}",
        none.text
    );
    assert!(
        gone.text.contains("the content of 1 version"),
        "{}",
        gone.text
    );
    for (command, arguments, told) in [
        ("store", &purge[..], "its content was purged before"),
        (
            "trail",
            &["--words", &name],
            "whose content was purged since",
        ),
        (
            "summary",
            &["--of", &session],
            "the record server has what was sent",
        ),
    ] {
        let run = site.run(command, arguments).ended(1);
        assert!(run.text.contains(told), "{told}: {}", run.text);
    }
    site.run("trail", &["--verify"]).ended(0);
    let trail = site.run("trail", &["--session", &session]).ended(0);
    assert!(trail.text.contains("purged"), "{}", trail.text);
    let corrected = site.document(&corrected(&document));
    let refused = site.send(&[&corrected], 5).ended(1);
    assert!(refused.text.contains("session.purged"), "{}", refused.text);
    let held = Holding::of(server, &person.reference, &[]);
    assert_eq!(held.observations.len(), OBSERVATIONS);
}
