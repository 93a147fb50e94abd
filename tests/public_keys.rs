#![cfg(test)]
//! `fascicle public-keys`, as hospital IT registers a client with it.

use fascicle::base::json::Node;
use rcgen::{KeyPair, PKCS_ECDSA_P256_SHA256, PKCS_ECDSA_P384_SHA384, SignatureAlgorithm};
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::process::Command;
use tempfile::TempDir;

const RSA: &str = include_str!("../fixtures/keys/smart-example-rs384.pem");

struct Keys {
    folder: TempDir,
}

impl Keys {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        Self { folder }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    fn file(&self, name: &str, text: &str, mode: u32) -> String {
        let path = self.path(name);
        fs::write(&path, text).expect("a file");
        fs::set_permissions(&path, fs::Permissions::from_mode(mode)).expect("rights");
        path
    }

    /// A configuration with a target for each key: its file, and its name where it has one.
    fn config(&self, keys: &[(&str, Option<&str>)]) -> String {
        let mut text =
            "state = 'none'\n[[target]]\nname = 'open'\nbase = 'https://h/fhir'\n".to_owned();
        for (number, (file, key_id)) in keys.iter().enumerate() {
            let named = key_id
                .map(|id| format!("key_id = '{id}'\n"))
                .unwrap_or_default();
            let target = format!(
                "[[target]]\nname = 't{number}'\nbase = 'https://h{number}/fhir'\nsign_in = 'smart'\n\
                 client_id = 'c'\nkey_file = '{file}'\n{named}"
            );
            text.push_str(&target);
        }
        self.file("fascicle.toml", &text, 0o644)
    }
}

/// The exit code, standard output and standard error.
fn public_keys(arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    let output = command.arg("public-keys").args(arguments).output();
    let output = output.expect("the binary runs");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

fn key_of(kind: &'static SignatureAlgorithm) -> String {
    KeyPair::generate_for(kind).expect("a key").serialize_pem()
}

/// The `kid` and `kty` of each key of a set.
fn named(set: &str) -> Vec<(String, String)> {
    let set = Node::parse(set).expect("JSON");
    let keys = set.member("keys").expect("keys").items();
    let part = |key: &Node, name: &str| key.text_of(name).expect("a part").to_owned();
    let named = keys.iter().map(|key| (part(key, "kid"), part(key, "kty")));
    named.collect()
}

#[test]
fn every_key_that_signs_is_shown_once_with_the_one_that_comes_and_nothing_private() {
    let keys = Keys::new();
    let rsa = keys.file("rsa.pem", RSA, 0o640);
    let next = keys.file("next.pem", &key_of(&PKCS_ECDSA_P384_SHA384), 0o600);
    let config = keys.config(&[(&rsa, Some("ours")), (&rsa, Some("ours"))]);

    let (code, set, _) = public_keys(&["--config", &config, &next]);
    let (_, alone, _) = public_keys(&[&next]);

    assert_eq!(code, Some(0));
    let named = named(&set);
    assert_eq!(named.len(), 2, "{set}");
    assert_eq!(named[0], ("ours".to_owned(), "RSA".to_owned()));
    assert_eq!(named[1].1, "EC");
    assert_eq!(named[1].0.len(), 43, "a thumbprint by SHA-256");
    assert!(alone.contains(&named[1].0), "{alone}");
    for private in ["\"d\"", "\"p\"", "\"q\"", "\"dp\"", "PRIVATE"] {
        assert!(!set.contains(private), "{set}");
    }
}

#[test]
fn one_key_that_cannot_be_shown_holds_the_whole_set_back_and_all_faults_are_told() {
    let keys = Keys::new();
    let rsa = keys.file("rsa.pem", RSA, 0o600);
    let curve = keys.file("curve.pem", &key_of(&PKCS_ECDSA_P384_SHA384), 0o600);
    let small = keys.file("small.pem", &key_of(&PKCS_ECDSA_P256_SHA256), 0o600);
    let open = keys.file("open.pem", RSA, 0o644);
    let config = keys.config(&[
        (&rsa, Some("ours")),
        (&curve, Some("ours")),
        (&open, None),
        (&keys.path("not-there.pem"), None),
    ]);

    let (code, set, told) = public_keys(&["--config", &config, &small]);

    assert_eq!((code, set.as_str()), (Some(1), ""), "{told}");
    for fault in [
        "key_file of target t1 has the key_id of another key",
        "key_file of target t2: its mode is 644",
        "key_file of target t3: it cannot be read",
        "KEY 1: it holds no private key",
    ] {
        assert!(told.contains(fault), "{fault}: {told}");
    }
}

#[test]
fn a_configuration_without_such_a_sign_in_says_so() {
    let keys = Keys::new();

    let (code, _, told) = public_keys(&["--config", &keys.config(&[])]);

    assert_eq!(code, Some(1));
    assert!(
        told.contains("no target of the configuration has sign_in = \"smart\""),
        "{told}"
    );
}
