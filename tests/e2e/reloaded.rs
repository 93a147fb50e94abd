#![cfg(test)]
//! SIGHUP: the service reads its configuration anew while it runs.
#![expect(
    clippy::disallowed_methods,
    reason = "the configuration and the log are read as an operator does"
)]

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::server::{Holding, Server, scenarios};
use crate::service::{OLD, Service, tokens};
use fascicle::base::json::Node;
use std::time::Duration;

scenarios!(
    a_target_that_is_added_gets_what_is_sent_from_then_on,
    a_configuration_with_a_fault_is_told_and_not_used,
);

/// Waits until the log holds something.
fn logged(site: &Site, words: &str) -> String {
    for _ in 0..300 {
        let log = std::fs::read_to_string(site.path("log")).expect("a log");
        if log.contains(words) {
            return log;
        }
        std::thread::park_timeout(Duration::from_millis(100));
    }
    panic!(
        "{}",
        std::fs::read_to_string(site.path("log")).expect("a log")
    );
}

fn targets(service: &Service, person: &Person) -> Vec<String> {
    let text = person.session().json.to_string();
    let answer = service.ask("POST", "/v1/sessions", OLD, &text);
    assert_eq!(answer.status, 202, "{}", answer.body);
    let node = Node::parse(&answer.body).expect("JSON");
    let items = node.items_of("items").iter();
    let targets = items.filter_map(|item| item.text_of("target").map(str::to_owned));
    targets.collect()
}

fn a_target_that_is_added_gets_what_is_sent_from_then_on(server: &Server) {
    let region = Server::practice();
    let site = Site::with_target(&server.base(), "");
    tokens(&site, OLD);
    let service = Service::start_with(&site, &["--log", "info"]);
    let (before, after) = (Person::known(server), Person::known(server));
    let there = after.put(&region, |_| {});
    assert_eq!(targets(&service, &before), ["record"]);

    let base = region.base();
    site.add_settings(&format!(
        "[[target]]\nname = 'region'\nbase = '{base}'\nvisibility_seconds = 1\n"
    ));
    service.signal("-HUP");
    logged(&site, "the configuration was read anew");
    assert_eq!(targets(&service, &after), ["record", "region"]);
    service.drained(OLD);

    for person in [&before, &after] {
        let held = Holding::of(server, &person.reference, &[]);
        assert_eq!(held.observations.len(), OBSERVATIONS);
    }
    let held = Holding::of(&region, &there, &[]);
    assert_eq!(held.observations.len(), OBSERVATIONS);
    service.signal("-TERM");
    assert_eq!(service.ended(), Some(0));
}

fn a_configuration_with_a_fault_is_told_and_not_used(server: &Server) {
    let site = Site::with_target(&server.base(), "");
    tokens(&site, OLD);
    let service = Service::start_with(&site, &["--log", "info"]);
    let config = site.path("fascicle.toml");
    let sound = std::fs::read_to_string(&config).expect("a configuration");
    let elsewhere = site.path("elsewhere").display().to_string();
    let state = site.path("state").display().to_string();
    let faults = [
        (format!("colour = 'red'\n{sound}"), "unknown field `colour`"),
        (
            sound.replace("127.0.0.1:0", "127.0.0.1:1"),
            "state, the address under [serve] and [traces] need a restart",
        ),
        (
            sound.replace(&state, &elsewhere),
            "state, the address under [serve] and [traces] need a restart",
        ),
        (
            sound.replace(
                "name = 'record'\nbase = 'http",
                "name = 'record'\nbase = 'https",
            ),
            "stands for another record server",
        ),
    ];

    for (text, told) in faults {
        assert_ne!(text, sound);
        std::fs::write(site.path("log"), "").expect("an empty log");
        std::fs::write(&config, text).expect("a configuration");
        service.signal("-HUP");
        let log = logged(&site, "is not used: all goes on as it was");
        assert!(log.contains(told), "{told}: {log}");
    }
    let person = Person::known(server);
    assert_eq!(targets(&service, &person), ["record"]);
    service.drained(OLD);

    let held = Holding::of(server, &person.reference, &[]);
    assert_eq!(held.observations.len(), OBSERVATIONS);
    assert!(!site.path("elsewhere").exists());
}
