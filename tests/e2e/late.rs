#![cfg(test)]
//! A transaction that reaches the server after its sender was killed, started again and settled
//! the session without it: later than the visibility of the target allows for.

use crate::binary::Site;
use crate::correction::{corrected, corrected_once};
use crate::document::{Document, OBSERVATIONS, Person};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};

scenarios!(
    a_late_correction_changes_nothing,
    a_late_transaction_adds_nothing,
);

fn a_late_correction_changes_nothing(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let proxy = late(server, 2);
    let site = Site::hasty(&proxy.base());
    site.send(&[&site.document(&first)], 60).ended(0);

    killed_settled_and_late(&site, &proxy, &corrected(&first));

    corrected_once(server, &person, &first);
}

/// In R4 a Provenance has no identifier, but its tag makes its creation conditional: a late
/// transaction finds every statement and the Provenance as well, and adds nothing.
fn a_late_transaction_adds_nothing(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let proxy = late(server, 1);
    let site = Site::hasty(&proxy.base());

    killed_settled_and_late(&site, &proxy, &document);

    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    assert_eq!(holding.loose_ends(server), Vec::<String>::new());
}

/// A proxy that lets one transaction arrive late.
fn late(server: &Server, number: usize) -> Proxy {
    Proxy::new(&server.host, move |request, transactions| {
        if request.transaction() && transactions == number {
            Act::HoldThenForward
        } else {
            Act::Pass
        }
    })
}

fn killed_settled_and_late(site: &Site, proxy: &Proxy, document: &Document) {
    let mut child = site.start(&[&site.document(document)], 60);
    assert!(proxy.holds(), "the transaction is held");
    child.kill().expect("a child to kill");
    child.wait().expect("a killed child");
    site.send(&[], 60).ended(0);
    proxy.let_go();
    assert!(proxy.holds(), "the late transaction was answered");
}
