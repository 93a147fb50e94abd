#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]
//! How a target is reached and what is kept off it: proxy, headers, private authority, pause, purpose.

use crate::binary::{Run, Site};
use crate::document::{OBSERVATIONS, Person};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use crate::tls::{Tls, Tunnel};
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use fascicle::delivery::deliver::cause::Cause;
use fascicle::delivery::deliver::http::Connection;
use fascicle::service::config::Settings;
use serde_json::json;
use std::os::unix::fs::PermissionsExt as _;

scenarios!(
    every_request_goes_through_the_proxy_with_its_secret,
    every_request_carries_the_fixed_headers,
    a_private_authority_is_trusted_and_the_known_ones_are_not,
    a_server_that_asks_for_a_certificate_gets_ours,
    a_new_authority_is_trusted_without_a_restart,
    a_paused_target_keeps_what_is_accepted_and_sends_it_when_it_goes_on,
    test_data_is_kept_off_a_production_target,
    what_is_not_marked_as_test_data_is_kept_off_a_test_target,
);

fn arrived(server: &Server, person: &Person) -> usize {
    Holding::of(server, &person.reference, &[])
        .observations
        .len()
}

/// Source: RFC 9112, section 3.2.2: "a client MUST send the target URI in absolute-form" to a proxy.
fn every_request_goes_through_the_proxy_with_its_secret(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
    let address = proxy.base().replace("/fhir", "");
    let site = Site::with_target(
        &server.base(),
        &format!("proxy = '{address}'\nproxy_secret_file = 'SECRET'"),
    );
    let secret = site.file("secret", "ward:invented:word\n");
    let settings = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
    site.file("fascicle.toml", &settings.replace("SECRET", &secret));
    let person = Person::known(server);

    site.send(&[&site.document(&person.session())], 60).ended(0);

    let log = proxy.log();
    assert!(!log.is_empty());
    let basic = format!("Basic {}", BASE64_STANDARD.encode("ward:invented:word"));
    for logged in &log {
        assert!(
            logged.request.path.starts_with(&server.base()),
            "{}",
            logged.request.path
        );
        assert_eq!(
            logged.request.header("proxy-authorization"),
            Some(basic.as_str())
        );
    }
    assert_eq!(arrived(server, &person), OBSERVATIONS);
    let lines = site.run("target", &[]).text;
    assert!(
        lines.contains("  proxy  ") && lines.contains(&address),
        "{lines}"
    );
    assert!(!lines.contains("invented:word"), "{lines}");
}

fn every_request_carries_the_fixed_headers(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
    let site = Site::with_target(
        &proxy.base(),
        "headers = {X-Ward = 'neuro 7'}\nheader_files = {X-Api-Key = 'KEY'}",
    );
    let key = site.file("key", "first\n");
    let settings = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
    site.file("fascicle.toml", &settings.replace("KEY", &key));
    let person = Person::known(server);

    site.send(&[&site.document(&person.session())], 60).ended(0);

    let log = proxy.log();
    assert!(log.len() > 3);
    for logged in &log {
        assert_eq!(logged.request.header("x-ward"), Some("neuro 7"));
        assert_eq!(logged.request.header("x-api-key"), Some("first"));
    }
    let lines = site.run("target", &[]).text;
    assert!(lines.contains("X-Ward, X-Api-Key (from a file)"), "{lines}");
    std::fs::remove_file(site.path("key")).expect("removed");
    let held = site.send(&[&site.document(&person.session())], 1).ended(4);
    assert_eq!(held.item().text_of("reason"), Some("target.secret"));
}

fn a_private_authority_is_trusted_and_the_known_ones_are_not(server: &Server) {
    let tls = Tls::before(&server.host);
    let other = Tls::before(&server.host);
    let base = format!("https://localhost:{}/fhir", tls.address.port());
    let tunnel = Tunnel::for_whom("ward:word");
    let settings = |authority: &str| {
        let site = Site::with_target(&base, "");
        let ca = site.file("ca.pem", authority);
        let secret = site.file("secret", "ward:word");
        let text = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
        let more = format!(
            "ca_file = '{ca}'\nproxy = 'http://{}'\nproxy_secret_file = '{secret}'\n",
            tunnel.address
        );
        site.file("fascicle.toml", &(text + &more));
        site
    };
    let person = Person::known(server);

    let trusted = settings(&tls.authority);
    let stranger = settings(&other.authority);
    let nothing = settings("no certificate");

    trusted
        .send(&[&trusted.document(&person.session())], 60)
        .ended(0);
    assert_eq!(arrived(server, &person), OBSERVATIONS);
    let asked = tunnel.asked();
    assert!(!asked.is_empty());
    let expected = format!("CONNECT localhost:{} true", tls.address.port());
    assert!(asked.iter().all(|one| *one == expected), "{asked:?}");
    let told = stranger.run("target", &[]).ended(4).text;
    assert!(told.contains("its certificate is not trusted"), "{told}");
    stranger
        .send(&[&stranger.document(&person.session())], 1)
        .ended(4);
    let told = nothing.run("target", &[]).ended(1).text;
    assert!(
        told.contains("the file of ca_file does not hold a certificate"),
        "{told}"
    );
    let lines = trusted.run("target", &[]).text;
    assert!(lines.contains("authorities of ca_file"), "{lines}");
}

fn a_server_that_asks_for_a_certificate_gets_ours(server: &Server) {
    let (tls, certificate, key) = Tls::mutual(&server.host);
    let base = format!("https://localhost:{}/fhir", tls.address.port());
    let settings = |certificate: &str, mode: u32| {
        let site = Site::with_target(&base, "proxy = 'none'");
        let ca = site.file("ca.pem", &tls.authority);
        let text = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
        let own = site.file("client.pem", certificate);
        let key = site.file("client.key", &key);
        std::fs::set_permissions(&key, std::fs::Permissions::from_mode(mode)).expect("rights");
        let ours = format!("client_certificate_file = '{own}'\nclient_key_file = '{key}'\n");
        let ours = if certificate.is_empty() { "" } else { &ours };
        site.file("fascicle.toml", &format!("{text}ca_file = '{ca}'\n{ours}"));
        site
    };
    let person = Person::known(server);
    let told = |site: &Site, code: i32| site.run("target", &[]).ended(code).text;

    let known = settings(&certificate, 0o600);
    let nobody = settings("", 0o600);

    known
        .send(&[&known.document(&person.session())], 60)
        .ended(0);
    assert_eq!(arrived(server, &person), OBSERVATIONS);
    nobody
        .send(&[&nobody.document(&person.session())], 1)
        .ended(4);
    let open = told(&settings(&certificate, 0o644), 1);
    assert!(open.contains("nobody but its owner may write it"), "{open}");
    let wrong = told(&settings("no certificate", 0o600), 1);
    assert!(wrong.contains("does not hold a certificate"), "{wrong}");
}

fn a_new_authority_is_trusted_without_a_restart(server: &Server) {
    let (old, new) = (Tls::before(&server.host), Tls::before(&server.host));
    let base = format!("https://localhost:{}/fhir", new.address.port());
    let site = Site::with_target(&base, "proxy = 'none'");
    let ca = site.file("ca.pem", &old.authority);
    let text = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
    let settings = Settings::read(&format!("{text}ca_file = '{ca}'\n")).expect("settings");
    let target = settings.targets.into_iter().next().expect("a target");
    let connection = Connection::new(target).expect("a client");
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let asked = || {
        let answer = runtime.block_on(connection.metadata());
        answer
            .map(|answer| answer.status)
            .map_err(|none| none.cause)
    };

    assert_eq!(asked(), Err(Cause::Certificate));
    site.file("ca.pem", "half of a certi");
    assert_eq!(asked(), Err(Cause::Certificate));
    site.file("ca.pem", &format!("{}{}", old.authority, new.authority));
    assert_eq!(asked(), Ok(200));
}

fn a_paused_target_keeps_what_is_accepted_and_sends_it_when_it_goes_on(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
    let site = Site::with_target(&proxy.base(), "");
    let person = Person::known(server);
    let who = ["--by", "A. Ward", "--why", "upgrade of the server"];
    let decide = |flag: &str, target: &str| -> Run {
        site.run("queue", &[&[flag, target], who.as_slice()].concat())
    };

    decide("--pause", "record").ended(0);
    let kept = site.send(&[&site.document(&person.session())], 30).ended(4);

    assert_eq!(kept.item().text_of("state"), Some("queued"));
    assert!(
        proxy.log().is_empty(),
        "something was asked of a paused target"
    );
    let shown = site.run("queue", &[]).text;
    assert!(
        shown.contains("target record: paused by A. Ward"),
        "{shown}"
    );
    decide("--pause", "record").ended(1);
    let unknown = decide("--resume", "elsewhere").ended(1).text;
    assert!(unknown.contains("it knows: record"), "{unknown}");
    decide("--resume", "record").ended(0);
    site.send(&[], 60).ended(0);
    assert_eq!(arrived(server, &person), OBSERVATIONS);
    let trail = site.run("trail", &["--target", "record"]).text;
    assert!(
        trail.contains(" paused to record ") && trail.contains(" resumed to record "),
        "{trail}"
    );
    assert!(!trail.contains("A. Ward"), "{trail}");
    site.run("trail", &["--verify"]).ended(0);
    let settings = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
    site.file("fascicle.toml", &(settings + "paused = true\n"));
    let asked = proxy.log().len();
    site.send(&[&site.document(&person.session())], 30).ended(4);
    assert_eq!(proxy.log().len(), asked, "the settings pause it as well");
}

fn test_data_is_kept_off_a_production_target(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
    let site = Site::with_target(&proxy.base(), "purpose = 'production'");
    let marked = Person::known(server);
    let plain = Person::with(server, |patient| {
        patient.as_object_mut().expect("a Patient").remove("meta");
    });
    let labelled = Person::with(server, |patient| {
        patient["meta"] = json!({"security": [{
            "system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST"}]});
    });
    let real = |person: &Person| {
        let mut document = person.session();
        document.json["test_data"] = json!(false);
        site.document(&document)
    };

    let test = site.send(&[&site.document(&plain.session())], 60).ended(5);
    assert_eq!(test.item().text_of("reason"), Some("guard.test-document"));
    assert!(proxy.log().is_empty(), "test data made a request");
    for person in [&marked, &labelled] {
        let held = site.send(&[&real(person)], 60).ended(5);
        assert_eq!(held.item().text_of("reason"), Some("guard.test-person"));
        let item = held.item().text_of("item").expect("an id").to_owned();
        let release = ["--release", &item, "--by", "A. Ward", "--why", "sure"];
        site.run("queue", &release).ended(0);
        // Nobody can confirm it away.
        site.send(&[], 60).ended(5);
        assert_eq!(arrived(server, person), 0);
    }
    assert_eq!(proxy.writes(), 0);
    let other = Site::with_target(&proxy.base(), "purpose = 'production'");
    other.send(&[&real(&plain)], 60).ended(0);
    assert_eq!(arrived(server, &plain), OBSERVATIONS);
    let lines = site.run("target", &[]).text;
    assert!(lines.contains("production: test data"), "{lines}");
}

fn what_is_not_marked_as_test_data_is_kept_off_a_test_target(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
    let site = Site::with_target(&proxy.base(), "purpose = 'test'");
    let person = Person::known(server);
    let mut real = person.session();
    real.json["test_data"] = json!(false);

    let held = site.send(&[&site.document(&real)], 60).ended(5);

    assert_eq!(held.item().text_of("reason"), Some("guard.real-document"));
    assert!(proxy.log().is_empty(), "a real person made a request");
    let drop = held.item().text_of("item").expect("an id").to_owned();
    site.run(
        "queue",
        &["--drop", &drop, "--by", "A. Ward", "--why", "wrong target"],
    )
    .ended(0);
    site.send(&[&site.document(&person.session())], 60).ended(0);
    assert_eq!(arrived(server, &person), OBSERVATIONS);
}
