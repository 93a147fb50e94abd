#![cfg(test)]
//! The server stores a transaction, and its answer never arrives.

use crate::binary::Site;
use crate::document::Person;
use crate::figures::Figures;
use crate::proxy::{Act, Proxy};
use crate::server::{Server, rounds, scenarios};
use fascicle::base::json::Node;

scenarios!(a_lost_answer_is_settled_by_searching);

fn a_lost_answer_is_settled_by_searching(server: &Server) {
    let mut figures = Figures::new(server, "lost answer");
    for _ in 0..rounds(2, 20) {
        let person = Person::known(server);
        let document = person.session();
        let proxy = Proxy::new(&server.host, |request, _| {
            if request.transaction() {
                Act::LoseAnswer
            } else {
                Act::Pass
            }
        });
        let site = Site::new(&proxy.base());

        let item = site.send(&[&site.document(&document)], 60).ended(0).item();

        assert_eq!(proxy.transactions().len(), 1);
        assert_eq!(
            site.events(&document.session()),
            [
                "accepted",
                "queued",
                "sending",
                "unknown",
                "sending",
                "delivered"
            ]
        );
        let sent = item.at(&["receipt", "sent"]);
        assert_eq!(sent, Some(&Node::Number("0".to_owned())));
        figures.round();
        figures.count(server, &person, &[&document]);
        figures.order(&site);
    }
    figures.told();
}
