#![cfg(test)]
//! Signing in with what a file holds.

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::http::Response;
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;

scenarios!(
    without_a_sign_in_no_secret_is_sent,
    every_request_carries_the_secret_of_the_file,
    a_wrong_secret_keeps_the_session_until_the_file_is_right,
    a_secret_that_everybody_may_read_is_not_sent,
);

/// Right and wrong contents of a file for a sign-in, and the header of the right one.
fn cases() -> [(&'static str, &'static str, &'static str, String); 2] {
    let basic = BASE64_STANDARD.encode("ward:invented:word");
    [
        (
            "--basic-file",
            "ward:invented:word\n",
            "ward:other",
            format!("Basic {basic}"),
        ),
        (
            "--bearer-file",
            "invented-token\n",
            "other-token",
            "Bearer invented-token".to_owned(),
        ),
    ]
}

fn without_a_sign_in_no_secret_is_sent(server: &Server) {
    let person = Person::known(server);
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
    let site = Site::new(&proxy.base());

    site.send(&[&site.document(&person.session())], 60).ended(0);

    let log = proxy.log();
    assert!(
        log.iter()
            .all(|logged| logged.request.header("authorization").is_none())
    );
}

fn every_request_carries_the_secret_of_the_file(server: &Server) {
    for (option, right, _, header) in cases() {
        let person = Person::known(server);
        let document = person.session();
        let proxy = guarded(server, &header);
        let mut site = Site::new(&proxy.base());
        let secret = site.file("secret", right);
        site.sign_in = vec![option.to_owned(), secret];

        site.send(&[&site.document(&document)], 60).ended(0);

        let holding = Holding::of(server, &person.reference, &[document.instrument()]);
        assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
        let log = proxy.log();
        let all = log.iter();
        let said = |value: &str| value == header;
        assert!(
            all.clone()
                .all(|one| one.request.header("authorization").is_some_and(said))
        );
    }
}

fn a_wrong_secret_keeps_the_session_until_the_file_is_right(server: &Server) {
    for (option, right, wrong, header) in cases() {
        let person = Person::known(server);
        let document = person.session();
        let proxy = guarded(server, &header);
        let mut site = Site::new(&proxy.base());
        let secret = site.file("secret", wrong);
        site.sign_in = vec![option.to_owned(), secret];

        let run = site.send(&[&site.document(&document)], 1).ended(4);
        assert_eq!(run.item().text_of("state"), Some("queued"));
        assert_eq!(run.item().text_of("reason"), Some("target.sign-in"));
        assert!(!run.text.contains("other"), "{}", run.text);
        assert_eq!(proxy.writes(), 0);

        site.file("secret", right);
        site.send(&[], 60).ended(0);
        let holding = Holding::of(server, &person.reference, &[document.instrument()]);
        assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    }
}

/// A proxy that lets in only who says the secret.
fn guarded(server: &Server, header: &str) -> Proxy {
    let header = header.to_owned();
    Proxy::new(&server.host, move |request, _| {
        if request.header("authorization") == Some(header.as_str()) {
            Act::Pass
        } else {
            Act::Answer(Response::new(401, &[("www-authenticate", "Basic")], "{}"))
        }
    })
}

fn a_secret_that_everybody_may_read_is_not_sent(server: &Server) {
    for (option, right, _, header) in cases() {
        let person = Person::known(server);
        let document = person.session();
        let proxy = guarded(server, &header);
        let mut site = Site::new(&proxy.base());
        let secret = site.file("secret", right);
        site.sign_in = vec![option.to_owned(), secret.clone()];
        let mode = |mode| {
            let mode = std::os::unix::fs::PermissionsExt::from_mode(mode);
            std::fs::set_permissions(&secret, mode).expect("its mode");
        };

        mode(0o644);
        let held = site.send(&[&site.document(&document)], 1).ended(4);
        assert_eq!(held.item().text_of("reason"), Some("target.secret"));
        assert!(proxy.log().is_empty());

        mode(0o640);
        site.send(&[], 60).ended(0);
        assert!(!proxy.log().is_empty());
    }
}
