#![cfg(test)]
//! A transaction that never reaches the server, while the worker that sent it goes on working.

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};

scenarios!(a_swallowed_transaction_is_sent_once_more_after_its_window);

fn a_swallowed_transaction_is_sent_once_more_after_its_window(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let proxy = Proxy::new(&server.host, |request, transactions| {
        if request.transaction() && transactions == 1 {
            Act::HoldRequest
        } else {
            Act::Pass
        }
    });
    let site = Site::hasty(&proxy.base());

    let child = site.start(&[&site.document(&document)], 60);
    assert!(proxy.holds(), "the transaction is held");
    proxy.let_go();
    let ended = child.wait_with_output().expect("the worker ends");

    assert_eq!(ended.status.code(), Some(0));
    let sent = proxy.transactions();
    assert_eq!(sent.len(), 2);
    // The lease of the hasty site, which is longer than its visibility.
    let between = sent[1].at - sent[0].at;
    assert!(between.as_millis() >= 1900, "{between:?}");
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
}
