#![cfg(test)]
//! Something urgent is held: it is marked, somebody is alerted, and a page can be printed. Nothing reads
//! "delivered" as "seen".
#![expect(
    clippy::disallowed_methods,
    reason = "the page that is printed is read back"
)]

use crate::binary::Site;
use crate::document::{Document, Person};
use crate::http::Response;
use crate::proxy::{Act, Proxy};
use crate::server::{Server, scenarios};
use crate::service::{Service, tokens};
use crate::tls::{Tls, Tunnel};
use serde_json::json;
use std::os::unix::fs::PermissionsExt as _;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

const TOKEN: &str = "0123456789abcdef0123456789abcdef";

scenarios!(
    a_new_precaution_that_waits_for_a_person_is_urgent_and_can_be_printed,
    a_precaution_that_was_known_before_is_not_urgent_again,
    somebody_is_alerted_once_and_learns_nothing_about_the_person,
    what_was_delivered_is_never_told_as_seen,
    what_is_refused_and_urgent_is_told_to_whoever_sent_it,
    the_webhook_is_told_of_what_was_refused_and_urgent_by_its_own_authority,
);

/// A pager behind TLS of the hospital's own authority, reached through the hospital's proxy.
fn the_webhook_is_told_of_what_was_refused_and_urgent_by_its_own_authority(server: &Server) {
    let asked = AtomicUsize::new(0);
    let pager = Proxy::new("127.0.0.1:9", move |_, _| {
        // The first alert is lost: it comes again.
        let first = asked.fetch_add(1, Ordering::SeqCst) == 0;
        Act::Answer(Response::new(if first { 503 } else { 204 }, &[], ""))
    });
    let host = pager.base();
    let host = host.trim_start_matches("http://").split('/').next();
    let tls = Tls::before(host.expect("a host"));
    let tunnel = Tunnel::for_whom("ward:word");
    let site = Site::with_target(&server.base(), "");
    tokens(&site, TOKEN);
    let (ca, secret) = (
        site.file("ca.pem", &tls.authority),
        site.file("proxy.secret", "ward:word"),
    );
    site.add_settings(&format!(
        "[alerts]\nwebhook = 'https://localhost:{}/alerts'\nwebhook_ca_file = '{ca}'\n\
         webhook_proxy = 'http://{}'\nwebhook_proxy_secret_file = '{secret}'",
        tls.address.port(),
        tunnel.address
    ));
    let service = Service::start(&site);
    let person = Person::known(server);
    let mut document = person.session();
    document.json["findings"][0]["method"] = json!("guessing");
    let text = document.json.to_string();

    for _ in 0..3 {
        let answer = service.ask("POST", "/v1/sessions", TOKEN, &text);
        assert_eq!(answer.status, 422);
    }
    for _ in 0..300 {
        if pager.log().len() > 1 {
            break;
        }
        std::thread::park_timeout(Duration::from_millis(100));
    }

    let log = pager.log();
    assert_eq!(log.len(), 2, "lost once, then told once");
    let told = &log[1].request.body;
    for part in ["urgent-refused", "precaution.new", &document.session()] {
        assert!(told.contains(part), "{part}: {told}");
    }
    for part in [person.value.as_str(), "Testperson", "1958", "ankle"] {
        assert!(!told.contains(part), "{part}: {told}");
    }
    assert!(!tunnel.asked().is_empty());

    site.file("ca.pem", "no certificate");
    let wrong = site.run("serve", &[]).ended(1);
    let said = "the webhook: the file of ca_file does not hold a certificate";
    assert!(wrong.text.contains(said), "{}", wrong.text);
}

/// A document with a precaution that nobody knew, and a fault elsewhere: nothing of it is kept.
fn what_is_refused_and_urgent_is_told_to_whoever_sent_it(server: &Server) {
    let site = Site::with_target(&server.base(), "");
    tokens(&site, TOKEN);
    let service = Service::start(&site);
    let person = Person::known(server);
    let mut document = person.session();
    document.json["findings"][0]["method"] = json!("guessing");
    let mut without = document.clone();
    without.json["precautions"] = json!([]);
    without.json["no_precautions"] = json!("asked and looked up, none known");

    let text = document.json.to_string();
    let answer = service.ask("POST", "/v1/sessions", TOKEN, &text);
    let calm = service.ask("POST", "/v1/sessions", TOKEN, &without.json.to_string());
    let sent = site.send(&[&site.document(&document)], 2).ended(1);

    assert_eq!((answer.status, calm.status), (422, 422));
    for part in ["\"urgent\":[\"precaution.new\"]", "tell the treating team"] {
        assert!(answer.body.contains(part), "{part}: {}", answer.body);
        assert!(!calm.body.contains(part), "{part}: {}", calm.body);
    }
    assert!(sent.text.contains("\"urgent\""), "{}", sent.text);
    let log = std::fs::read_to_string(site.path("log")).expect("a log");
    assert_eq!(
        log.matches("something urgent was refused").count(),
        1,
        "{log}"
    );
    assert!(
        log.contains(&document.session()) && !log.contains(&person.value),
        "{log}"
    );
    assert!(site.queue().is_empty());
}

fn a_new_precaution_that_waits_for_a_person_is_urgent_and_can_be_printed(server: &Server) {
    let site = Site::hasty_with(&server.base(), "");
    let person = Person::unknown();
    let item = site
        .send(&[&site.document(&person.session())], 60)
        .ended(5)
        .item();

    let urgent = item
        .items_of("urgent")
        .iter()
        .filter_map(|code| code.text());
    assert!(
        urgent.collect::<Vec<_>>().contains(&"precaution.new"),
        "{}",
        item.compact()
    );
    let queue = site.run("queue", &[]).text;
    assert!(queue.contains("URGENT (precaution.new"), "{queue}");
    assert!(
        queue.contains("not delivered for 0 min: tell the treating team"),
        "{queue}"
    );

    let id = item.text_of("item").expect("an id");
    let page = site.path("sheet.html");
    let arguments = ["--sheet", id, "--out", page.to_str().expect("UTF-8")];
    site.run("queue", &arguments).ended(0);
    let text = std::fs::read_to_string(&page).expect("a page");
    for part in [
        "Not in the record",
        "a precaution that was not known before",
        "<td>Testperson</td>",
        "<td>1958-03-14</td>",
        &person.value,
        "fixation of an ankle fracture in 2025",
        "the record server knows nobody by this identifier",
        "To whom",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    let mode = std::fs::metadata(&page)
        .expect("a page")
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o600);
    let again = site.run("queue", &arguments).ended(1);
    assert!(again.text.contains("cannot be written"), "{}", again.text);
}

fn a_precaution_that_was_known_before_is_not_urgent_again(server: &Server) {
    let site = Site::hasty_with(&server.base(), "");
    let person = Person::known(server);
    let (first, mut second) = (person.session(), person.session());
    // Without what raises prompts.
    second.json["findings"]
        .as_array_mut()
        .expect("findings")
        .truncate(1);
    second.json["findings"][0]["id"] = json!(uuid::Uuid::new_v4());

    let first = site.send(&[&site.document(&first)], 60).ended(0).item();
    let second = site.send(&[&site.document(&second)], 60).ended(0).item();

    let known = |item: &fascicle::base::json::Node| {
        let mut codes = item
            .items_of("urgent")
            .iter()
            .filter_map(|code| code.text());
        codes.any(|code| code == "precaution.new")
    };
    assert_eq!([known(&first), known(&second)], [true, false]);
}

fn somebody_is_alerted_once_and_learns_nothing_about_the_person(server: &Server) {
    let asked = AtomicUsize::new(0);
    let pager = Proxy::new("127.0.0.1:9", move |_, _| {
        // The first alert is lost: it comes again.
        let status = if asked.fetch_add(1, Ordering::SeqCst) == 0 {
            503
        } else {
            204
        };
        Act::Answer(Response::new(status, &[], ""))
    });
    let site = Site::with_target(&server.base(), "");
    tokens(&site, TOKEN);
    let secret = site.file("pager.token", "a-secret-of-the-pager\n");
    let webhook = pager.base();
    site.add_settings(&format!(
        "[alerts]\nwebhook = '{webhook}'\nwebhook_token_file = '{secret}'"
    ));
    let person = Person::unknown();
    let document = person.session();
    let service = Service::start(&site);

    let text = document.json.to_string();
    assert_eq!(
        service.ask("POST", "/v1/sessions", TOKEN, &text).status,
        202
    );
    let alerted = || {
        site.events(&document.session())
            .iter()
            .any(|event| event == "alerted")
    };
    for _ in 0..300 {
        if alerted() {
            break;
        }
        std::thread::park_timeout(Duration::from_millis(100));
    }

    assert!(alerted());
    told_once(&pager, &person, &document);
    let metrics = service.ask("GET", "/v1/metrics", TOKEN, "").body;
    let count = "fascicle_queue_urgent_items{target=\"record\",state=\"waiting\"} 1";
    assert!(metrics.contains(count), "{metrics}");
    assert!(metrics.contains("fascicle_trail_rows_total{event=\"alerted\",target=\"record\"} 1"));
    site.run("trail", &["--verify"]).ended(0);
}

fn told_once(pager: &Proxy, person: &Person, document: &Document) {
    let log = pager.log();
    assert_eq!(log.len(), 2, "lost once, then told once");
    let told = &log[1].request;
    assert_eq!(
        told.header("authorization"),
        Some("Bearer a-secret-of-the-pager")
    );
    for part in [
        "urgent-not-delivered",
        "precaution.new",
        "person.not-found",
        &document.session(),
    ] {
        assert!(told.body.contains(part), "{part}: {}", told.body);
    }
    for part in [
        person.value.as_str(),
        "Testperson",
        "1958",
        "ankle",
        "fracture",
    ] {
        assert!(!told.body.contains(part), "{part}: {}", told.body);
    }
}

fn what_was_delivered_is_never_told_as_seen(server: &Server) {
    let site = Site::hasty_with(&server.base(), "");
    let person = Person::known(server);
    let item = site
        .send(&[&site.document(&person.session())], 60)
        .ended(0)
        .item();

    let queue = site.run("queue", &["--all"]).text;
    let id = item.text_of("item").expect("an id");
    let page = site.path("sheet.html");
    site.run(
        "queue",
        &["--sheet", id, "--out", page.to_str().expect("UTF-8")],
    )
    .ended(0);

    assert!(
        queue.contains("that does not mean that anybody has seen it"),
        "{queue}"
    );
    assert!(
        queue.contains("nobody is known to have seen it; tell the treating team"),
        "{queue}"
    );
    let text = std::fs::read_to_string(&page).expect("a page");
    assert!(
        text.contains("In the record, and perhaps not seen"),
        "{text}"
    );
}
