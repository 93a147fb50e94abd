#![cfg(test)]
//! Signing in by SMART Backend Services, at an authorization server that looks at what it is given.
#![expect(
    clippy::disallowed_methods,
    reason = "an authorization server knows what time it is"
)]

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::http::{Request, Response};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use fascicle::base::json::Node;
use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode, decode_header};
use rcgen::{KeyPair, PKCS_ECDSA_P384_SHA384};
use std::collections::{BTreeMap, BTreeSet};
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt as _;
use std::sync::{Arc, Mutex};
use std::time::{SystemTime, UNIX_EPOCH};

scenarios!(
    a_signed_assertion_gets_a_token_and_one_token_serves_a_whole_delivery,
    a_token_that_is_withdrawn_is_asked_for_anew_once,
    a_token_without_a_life_is_used_for_one_request,
    a_refused_client_waits_until_its_key_is_right,
    what_is_not_granted_is_told,
    a_token_of_unknown_lifetime_is_told,
);

const RSA: &str = include_str!("../../fixtures/keys/smart-example-rs384.pem");
/// The public numbers of that key, from the worked example of the guide.
const RSA_N: &str = "wJq2RHIA-7RT6q4go7wjcbHdW7ck7Kz22A8wf-kN7Wi5CWvhFG2_Y7nQp1lDpb2IKMQr-Q4n_vgJ6d5rWPspJpSPY7iffUK4ipQCEbzID5DJ6fQMBZOfCTXyxkuMh3jYGKEF3Ziw2oxbM1H9j-eJAPtrj5stUG6kVoXowegdox-bSjWP0iI5PnkwUNzcekLMug4M3LRluEQgGR9O_BAML6-w3igZ_rZA_gunyrLAMbfmCVaceW5ohLp679kyM7U6W2gDK_NbkDKcINUakVmPeoG5h8RzgGzvGrySR0k0VDFiZv60Ua07DqHTeDGH9e4NV07AECae-oykIj5NDCs3pw";

/// An authorization server and a guard in front of a record server.
struct Guarded {
    proxy: Proxy,
    given: Arc<Mutex<Given>>,
}

/// What it gave so far.
#[derive(Default)]
struct Given {
    tokens: usize,
    seen: BTreeSet<String>,
    requests: usize,
}

/// How it behaves.
#[derive(Clone, Copy)]
struct Ways {
    /// What stands in the answer after the token.
    answer: &'static str,
    /// From this request on, the first token is worth nothing.
    withdrawn_at: usize,
}

const USUAL: Ways = Ways {
    answer: r#","expires_in":300"#,
    withdrawn_at: usize::MAX,
};

impl Guarded {
    fn new(server: &Server, algorithm: Algorithm, key: DecodingKey, ways: Ways) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let base = format!("http://{}/fhir", listener.local_addr().expect("an address"));
        let given: Arc<Mutex<Given>> = Arc::default();
        let shared = Arc::clone(&given);
        let proxy = Proxy::on(&listener, &server.host, move |request, _| {
            let mut given = shared.lock().expect("no panic inside");
            let endpoint = format!("{base}/token");
            if request.path.ends_with("/.well-known/smart-configuration") {
                assert_eq!(request.header("authorization"), None);
                let body = format!(r#"{{"token_endpoint":"{endpoint}"}}"#);
                return Act::Answer(Response::new(200, &[], &body));
            }
            if request.path.ends_with("/token") {
                return Act::Answer(match given.look_at(request, &endpoint, algorithm, &key) {
                    Ok(()) => {
                        given.tokens += 1;
                        let token = format!("token-{}", given.tokens);
                        let answer = ways.answer;
                        let body = format!(
                            r#"{{"access_token":"{token}","token_type":"bearer"{answer}}}"#
                        );
                        Response::new(200, &[], &body)
                    }
                    Err(why) => Response::new(400, &[], &format!(r#"{{"error":"{why}"}}"#)),
                });
            }
            given.requests += 1;
            let lowest = usize::from(given.requests >= ways.withdrawn_at) + 1;
            let said = request.header("authorization").unwrap_or_default();
            let number = said
                .strip_prefix("Bearer token-")
                .and_then(|n| n.parse().ok());
            if number.is_some_and(|number: usize| number >= lowest && number <= given.tokens) {
                Act::Pass
            } else {
                Act::Answer(Response::new(401, &[], "{}"))
            }
        });
        Self { proxy, given }
    }

    fn tokens(&self) -> usize {
        self.given.lock().expect("no panic inside").tokens
    }

    fn site(&self, key: &str) -> Site {
        let site = Site::with_target(
            &self.proxy.base(),
            "sign_in = 'smart'\nclient_id = 'fascicle at the ward'\nkey_id = 'invented-key'\n\
             key_file = 'KEY'",
        );
        let path = site.file("key.pem", key);
        secret(&site);
        let settings = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
        site.file("fascicle.toml", &settings.replace("KEY", &path));
        site
    }
}

/// Only its owner may read the key.
fn secret(site: &Site) {
    let own = std::fs::Permissions::from_mode(0o600);
    std::fs::set_permissions(site.path("key.pem"), own).expect("rights");
}

impl Given {
    /// Sources: RFC 7523, section 3; SMART App Launch 2.2.0, client-confidential-asymmetric.html,
    /// "Authenticating to the Token endpoint", and backend-services.html, "Obtain access token".
    fn look_at(
        &mut self,
        request: &Request,
        endpoint: &str,
        algorithm: Algorithm,
        key: &DecodingKey,
    ) -> Result<(), &'static str> {
        let form: BTreeMap<String, String> = request
            .body
            .split('&')
            .filter_map(|pair| pair.split_once('='))
            .map(|(name, value)| (name.to_owned(), plain(value)))
            .collect();
        let said = |name: &str| form.get(name).map_or("", String::as_str);
        if said("grant_type") != "client_credentials" {
            return Err("unsupported_grant_type");
        }
        let scopes: Vec<&str> = said("scope").split(' ').collect();
        if !scopes.contains(&"system/Observation.crus") {
            return Err("invalid_scope");
        }
        let kind = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";
        let assertion = said("client_assertion");
        let mut rules = Validation::new(algorithm);
        rules.set_audience(&[endpoint]);
        rules.set_issuer(&["fascicle at the ward"]);
        rules.set_required_spec_claims(&["iss", "sub", "aud", "exp"]);
        let claims = decode::<BTreeMap<String, serde_json::Value>>(assertion, key, &rules);
        let header = decode_header(assertion);
        let (Ok(claims), Ok(header)) = (claims, header) else {
            return Err("invalid_client");
        };
        let claims = claims.claims;
        let now = SystemTime::now().duration_since(UNIX_EPOCH);
        let now = now.expect("after 1970").as_secs();
        let fresh = claims["exp"]
            .as_u64()
            .is_some_and(|exp| exp > now && exp <= now + 300);
        let new = claims["jti"]
            .as_str()
            .is_some_and(|id| self.seen.insert(id.to_owned()));
        let whole = said("client_assertion_type") == kind
            && header.kid.as_deref() == Some("invented-key")
            && header.typ.as_deref() == Some("JWT")
            && claims["sub"] == claims["iss"];
        if fresh && new && whole {
            Ok(())
        } else {
            Err("invalid_client")
        }
    }
}

/// Without its percent-encoding.
fn plain(value: &str) -> String {
    let mut bytes = value.bytes();
    let mut plain = Vec::new();
    while let Some(byte) = bytes.next() {
        if byte == b'%' {
            let digits = [bytes.next(), bytes.next()].map(|digit| digit.expect("two digits"));
            let digits = std::str::from_utf8(&digits).expect("digits");
            plain.push(u8::from_str_radix(digits, 16).expect("digits"));
        } else {
            plain.push(byte);
        }
    }
    String::from_utf8(plain).expect("text")
}

fn rsa() -> DecodingKey {
    DecodingKey::from_rsa_components(RSA_N, "AQAB").expect("a key")
}

/// A new key of the curve, and its public part.
fn curve() -> (String, DecodingKey) {
    let key = KeyPair::generate_for(&PKCS_ECDSA_P384_SHA384).expect("a key");
    let public = DecodingKey::from_ec_pem(key.public_key_pem().as_bytes()).expect("a key");
    (key.serialize_pem(), public)
}

fn a_signed_assertion_gets_a_token_and_one_token_serves_a_whole_delivery(server: &Server) {
    let (pem, public) = curve();
    for (key, algorithm, public) in [
        (RSA.to_owned(), Algorithm::RS384, rsa()),
        (pem, Algorithm::ES384, public),
    ] {
        let guarded = Guarded::new(server, algorithm, public, USUAL);
        let site = guarded.site(&key);
        let person = Person::known(server);

        site.send(&[&site.document(&person.session())], 60).ended(0);

        let held = Holding::of(server, &person.reference, &[]);
        assert_eq!(held.observations.len(), OBSERVATIONS);
        assert_eq!(guarded.tokens(), 1);
        let lines = site.run("target", &[]).text;
        assert!(
            lines.contains("the authorization server gives one"),
            "{lines}"
        );
    }
}

/// Nothing is stored twice by the request that is repeated.
fn a_token_that_is_withdrawn_is_asked_for_anew_once(server: &Server) {
    for withdrawn_at in 1..12 {
        let ways = Ways {
            withdrawn_at,
            ..USUAL
        };
        let guarded = Guarded::new(server, Algorithm::RS384, rsa(), ways);
        let site = guarded.site(RSA);
        let person = Person::known(server);

        site.send(&[&site.document(&person.session())], 60).ended(0);

        let held = Holding::of(server, &person.reference, &[]);
        assert_eq!(held.observations.len(), OBSERVATIONS);
        let all = guarded.given.lock().expect("no panic inside").requests;
        let wanted = if withdrawn_at <= all { 2 } else { 1 };
        assert_eq!(guarded.tokens(), wanted, "{withdrawn_at} of {all}");
    }
}

fn a_token_without_a_life_is_used_for_one_request(server: &Server) {
    let ways = Ways {
        answer: "",
        ..USUAL
    };
    let guarded = Guarded::new(server, Algorithm::RS384, rsa(), ways);
    let site = guarded.site(RSA);
    let person = Person::known(server);

    site.send(&[&site.document(&person.session())], 60).ended(0);

    let requests = guarded.given.lock().expect("no panic inside").requests;
    assert_eq!(guarded.tokens(), requests);
}

fn a_refused_client_waits_until_its_key_is_right(server: &Server) {
    let (wrong, _) = curve();
    let guarded = Guarded::new(server, Algorithm::RS384, rsa(), USUAL);
    let site = guarded.site(&wrong);
    let person = Person::known(server);
    let told = |words: &str| {
        let lines = site.run("target", &[]).text;
        assert!(lines.contains(words), "{lines}");
    };

    let run = site.send(&[&site.document(&person.session())], 1).ended(4);
    assert_eq!(run.item().text_of("state"), Some("queued"));
    assert_eq!(run.item().text_of("reason"), Some("target.token-refused"));
    told("refuses one: invalid_client");
    site.file("key.pem", "no key at all");
    told("the key of key_file cannot sign");
    site.file("key.pem", RSA);
    let all = std::fs::Permissions::from_mode(0o644);
    std::fs::set_permissions(site.path("key.pem"), all).expect("rights");
    told("the key of key_file cannot sign");
    assert_eq!(guarded.proxy.writes(), guarded.token_requests());

    secret(&site);
    site.send(&[], 60).ended(0);
    let held = Holding::of(server, &person.reference, &[]);
    assert_eq!(held.observations.len(), OBSERVATIONS);
}

impl Guarded {
    fn token_requests(&self) -> usize {
        let log = self.proxy.log();
        let asked = log
            .iter()
            .filter(|one| one.request.path.ends_with("/token"));
        asked.count()
    }
}

fn a_token_of_unknown_lifetime_is_told(server: &Server) {
    let ways = Ways {
        answer: r#","expires_in":"300""#,
        ..USUAL
    };
    let guarded = Guarded::new(server, Algorithm::RS384, rsa(), ways);
    let site = guarded.site(RSA);

    let lines = site.run("target", &["--json"]).text;

    let told = "without saying for how many seconds";
    assert!(lines.contains(told), "{lines}");
}

fn what_is_not_granted_is_told(server: &Server) {
    let ways = Ways {
        answer: r#","expires_in":300,"scope":"system/Observation.crus system/Patient.rs""#,
        ..USUAL
    };
    let guarded = Guarded::new(server, Algorithm::RS384, rsa(), ways);
    let site = guarded.site(RSA);

    let lines = site.run("target", &["--json"]).text;

    let lines = Node::parse(&lines).expect("JSON").compact();
    assert!(
        lines.contains("without system/Practitioner.rs system/Organization.rs"),
        "{lines}"
    );
}
