#![cfg(test)]
//! What `fascicle target` says of a record server.

use crate::binary::Run;
use crate::http::Response;
use crate::proxy::{Act, Proxy};
use crate::server::{Server, scenarios};
use fascicle::base::json::Node;
use std::process::Command;

scenarios!(
    a_server_that_takes_deliveries_is_said_to_and_nothing_is_written,
    another_version_of_fhir_is_said_with_what_to_change,
    a_missing_transaction_is_said,
    a_sign_in_that_does_not_work_is_said,
    a_statement_open_to_all_does_not_stand_for_a_sign_in,
    what_is_no_json_is_said,
);

fn target(arguments: &[&str]) -> Run {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    command
        .arg("target")
        .args(arguments)
        .env("NO_PROXY", "127.0.0.1")
        .env("no_proxy", "127.0.0.1");
    Run::of(command.output())
}

/// The lines that are marked so, of the only target.
fn marked(run: &Run, mark: &str) -> Vec<String> {
    let targets = run.json();
    let lines = targets.items()[0].items_of("lines").iter();
    lines
        .filter(|line| line.text_of("mark") == Some(mark))
        .map(Node::compact)
        .collect()
}

fn only_no(run: &Run, about: &str) -> String {
    let no = marked(run, "no");
    assert_eq!(no.len(), 1, "{no:#?}");
    assert!(
        no[0].contains(&format!(r#""about":"{about}""#)),
        "{}",
        no[0]
    );
    assert!(no[0].contains(r#""change":"#), "{}", no[0]);
    no[0].clone()
}

fn a_server_that_takes_deliveries_is_said_to_and_nothing_is_written(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);

    let run = target(&["--to", &proxy.base(), "--json"]).ended(0);
    let words = target(&["--to", &proxy.base()]).ended(0);

    assert_eq!(marked(&run, "no"), Vec::<String>::new());
    assert!(marked(&run, "ok").len() >= 9, "{}", run.text);
    assert_eq!(proxy.writes(), 0);
    assert!(
        words.text.contains("\n  ok        transaction "),
        "{}",
        words.text
    );
    assert!(words.text.contains(" ok, "), "{}", words.text);
    assert!(words.text.lines().all(|line| line.chars().count() <= 100));
}

fn another_version_of_fhir_is_said_with_what_to_change(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Rewrite("4.0.1", "5.0.0"));

    let run = target(&["--to", &proxy.base(), "--json"]).ended(1);

    assert!(only_no(&run, "FHIR version").contains("5.0.0 is not R4"));
}

fn a_missing_transaction_is_said(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| {
        Act::Rewrite("\"transaction\"", "\"batch\"")
    });

    let run = target(&["--to", &proxy.base(), "--json"]).ended(1);

    only_no(&run, "transaction");
}

fn a_sign_in_that_does_not_work_is_said(server: &Server) {
    let proxy = Proxy::new(&server.host, |request, _| {
        match request.header("authorization") {
            Some("Bearer right") => Act::Pass,
            Some(_) => Act::Answer(Response::new(403, &[], "{}")),
            None => Act::Answer(Response::new(401, &[("www-authenticate", "Bearer")], "{}")),
        }
    });
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("token");
    let file = file.to_str().expect("UTF-8");
    let base = proxy.base();
    let with_token = ["--to", &base, "--bearer-file", file, "--json"];

    let none = target(&["--to", &base, "--json"]).ended(1);
    let unread = target(&with_token).ended(1);
    std::fs::write(file, "wrong\n").expect("a file");
    let open = target(&with_token).ended(1);
    let owners = std::os::unix::fs::PermissionsExt::from_mode(0o600);
    std::fs::set_permissions(file, owners).expect("its mode");
    let wrong = target(&with_token).ended(1);
    std::fs::write(file, "right\n").expect("a file");
    let right = target(&with_token).ended(0);

    assert!(only_no(&none, "sign-in").contains("none is set (401)"));
    assert!(only_no(&unread, "sign-in").contains("cannot be read"));
    assert!(only_no(&open, "sign-in").contains("is no secret"));
    assert!(only_no(&wrong, "sign-in").contains("forbids it (403)"));
    assert!(!wrong.text.contains("wrong"), "{}", wrong.text);
    assert_eq!(marked(&right, "no"), Vec::<String>::new());
}

fn a_statement_open_to_all_does_not_stand_for_a_sign_in(server: &Server) {
    let proxy = Proxy::new(&server.host, |request, _| {
        if request.path.ends_with("/metadata") {
            Act::Pass
        } else {
            Act::Answer(Response::new(401, &[], "{}"))
        }
    });

    let run = target(&["--to", &proxy.base(), "--json"]).ended(1);

    only_no(&run, "sign-in");
}

fn what_is_no_json_is_said(server: &Server) {
    let proxy = Proxy::new(&server.host, |_, _| {
        Act::Answer(Response::new(200, &[], "<html>sign in here</html>"))
    });

    let run = target(&["--to", &proxy.base(), "--json"]).ended(1);

    only_no(&run, "statement");
}

#[test]
fn every_target_of_a_configuration_is_looked_at_and_one_that_does_not_answer_is_code_4() {
    let server = Server::practice();
    // A port that was free a moment ago, and on which nobody listens.
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let closed = listener.local_addr().expect("an address");
    drop(listener);
    let folder = tempfile::tempdir().expect("a folder");
    let config = folder.path().join("fascicle.toml");
    let state = folder.path().join("state");
    let text = format!(
        "state = '{}'\n[[target]]\nname = 'ward'\nbase = '{}'\n[[target]]\nname = 'away'\nbase = 'http://{closed}/fhir'\n",
        state.display(),
        server.base()
    );
    std::fs::write(&config, text).expect("a file");

    let run = target(&["--json", "--config", config.to_str().expect("UTF-8")]).ended(4);

    let targets = run.json();
    let [ward, away] = targets.items() else {
        panic!("{}", run.text)
    };
    assert_eq!(ward.member("answered"), Some(&Node::Bool(true)));
    assert_eq!(away.member("answered"), Some(&Node::Bool(false)));
    assert!(
        away.compact().contains("nothing listens there"),
        "{}",
        run.text
    );
    assert!(!state.exists(), "no store is opened");
}

#[test]
fn a_port_that_does_not_speak_tls_is_told_apart_from_one_where_nobody_listens() {
    let server = Server::practice();
    let base = format!("https://{}/fhir", server.host);

    let run = target(&["--to", &base, "--json"]).ended(4);

    assert!(only_no(&run, "reachable").contains("does not speak TLS"));
}
