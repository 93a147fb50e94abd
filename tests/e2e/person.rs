#![cfg(test)]
//! The person gate: nothing is sent while it is not sure whose record it is.

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use serde_json::json;

scenarios!(
    each_doubt_about_the_person_waits_with_its_reason_and_nothing_is_sent,
    another_family_name_passes_once_a_person_released_it,
);

fn each_doubt_about_the_person_waits_with_its_reason_and_nothing_is_sent(server: &Server) {
    let several = Person::known(server);
    several.put(server, |_| {});
    let successor = Person::known(server).reference;
    let cases = [
        ("person.not-found", Person::unknown()),
        ("person.several", several),
        (
            "person.birth-date",
            Person::with(server, |p| p["birthDate"] = json!("1958-03-15")),
        ),
        (
            "person.inactive",
            Person::with(server, |p| p["active"] = json!(false)),
        ),
        (
            "person.replaced",
            Person::with(server, |p| {
                let other = json!({ "reference": successor });
                p["link"] = json!([{ "type": "replaced-by", "other": other }]);
            }),
        ),
        ("person.family-name", other_family(server)),
    ];
    for (reason, person) in cases {
        let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
        let site = Site::new(&proxy.base());

        let run = site.send(&[&site.document(&person.session())], 60).ended(5);

        assert_eq!(run.item().text_of("reason"), Some(reason));
        assert_eq!(run.item().text_of("state"), Some("waiting"));
        let queue = site.run("queue", &[]).ended(0);
        assert!(queue.text.contains(reason), "{}", queue.text);
        assert!(!queue.text.contains("Testperson"), "{}", queue.text);
        assert_eq!(proxy.writes(), 0, "{reason}");
    }
}

fn another_family_name_passes_once_a_person_released_it(server: &Server) {
    let person = other_family(server);
    let document = person.session();
    let site = Site::new(&server.base());
    let item = site.send(&[&site.document(&document)], 60).ended(5).item();
    let item = item.text_of("item").expect("an item");

    site.run(
        "queue",
        &[
            "--release",
            item,
            "--by",
            "the therapist on duty",
            "--why",
            "name changed, seen on paper",
        ],
    )
    .ended(0);
    site.send(&[], 60).ended(0);

    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    assert_eq!(
        site.events(&document.session())[4..],
        ["released", "sending", "delivered"]
    );
}

fn other_family(server: &Server) -> Person {
    Person::with(server, |patient| {
        patient["name"][0]["family"] = json!("Beispielmensch");
    })
}
