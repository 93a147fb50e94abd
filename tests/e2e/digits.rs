#![cfg(test)]
//! A number keeps the digits it was written with, all the way.

use crate::binary::Site;
use crate::document::{Document, Person};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use fascicle::base::json::Node;
use serde_json::json;

scenarios!(
    digits_stay_as_they_were_written,
    digits_that_a_server_drops_are_reported,
);

/// Place of the finding, key of the value, as written, as sent.
const WRITTEN: [(usize, &str, &str, &str); 5] = [
    (0, "lacks", "0.5", "-0.5"),
    (1, "beyond_neutral", "12.50", "12.50"),
    (2, "beyond_neutral", "0", "0"),
    (4, "beyond_neutral", "5", "5"),
    (5, "beyond_neutral", "5.0", "5.0"),
];

fn digits_stay_as_they_were_written(server: &Server) {
    let person = Person::known(server);
    let document = written(&person);
    let site = Site::new(&server.base());
    let file = site.document(&document);

    let encoded = crate::binary::encode(&file).json();
    let item = site.send(&[&file], 60).ended(0).item();

    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    let receipt = item.member("receipt").expect("a receipt");
    for (index, key, written, sent) in WRITTEN {
        // Instruments stand first in the Bundle, then the findings in their order.
        let entry = &encoded.items_of("entry")[index + 1];
        let urn = entry.text_of("fullUrl").expect("a full URL");
        let resource = entry.member("resource").expect("a resource");
        assert_eq!(number(resource), sent);
        let words = site
            .run("trail", &["--words", urn, "--json"])
            .ended(0)
            .json();
        let captured = words.at(&["captured", "value"]).expect("what was captured");
        assert_eq!(captured.text_of(key), Some(written));
        assert_eq!(number(words.member("sent").expect("what was sent")), sent);
        let told = drifts(receipt).contains(&(urn.to_owned(), "digits".to_owned()));
        let held = number(holding.observation(urn));
        assert!(
            held == sent || told,
            "{sent} became {held} and nobody was told"
        );
    }
}

fn digits_that_a_server_drops_are_reported(server: &Server) {
    let person = Person::known(server);
    let document = written(&person);
    let proxy = Proxy::new(&server.host, |request, _| {
        if request.looks() {
            Act::Rewrite("12.50,", "12.5,")
        } else {
            Act::Pass
        }
    });
    let site = Site::new(&proxy.base());

    let item = site.send(&[&site.document(&document)], 60).ended(0).item();

    let drifts = drifts(item.member("receipt").expect("a receipt"));
    let kinds: Vec<&str> = drifts.iter().map(|(_, kind)| kind.as_str()).collect();
    assert_eq!(kinds, ["digits"]);
    let queue = site.run("queue", &["--all"]).ended(0);
    assert!(
        queue.text.contains("/valueQuantity/value: digits"),
        "{}",
        queue.text
    );
    assert_eq!(proxy.transactions().len(), 1);
}

fn written(person: &Person) -> Document {
    let mut document = person.session();
    document.json["instruments"][0]["resolution"] = json!("0.01");
    for (index, key, written, _) in WRITTEN {
        document.json["findings"][index]["value"] = json!({ key: written, "unit": "deg" });
    }
    document
}

fn number(resource: &Node) -> String {
    let value = resource.at(&["valueQuantity", "value"]);
    value.map(Node::compact).unwrap_or_default()
}

/// Full URL and kind of each drift of a receipt.
fn drifts(receipt: &Node) -> Vec<(String, String)> {
    let of = |drift: &Node, key: &str| drift.text_of(key).unwrap_or_default().to_owned();
    let drifts = receipt.items_of("drift").iter();
    drifts
        .map(|drift| (of(drift, "full_url"), of(drift, "kind")))
        .collect()
}
