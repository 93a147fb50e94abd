#![cfg(test)]
//! The binary is killed while the proxy holds it at a chosen point, and started again.

use crate::binary::Site;
use crate::document::Person;
use crate::figures::Figures;
use crate::http::Request;
use crate::proxy::{Act, Proxy};
use crate::server::{Server, rounds, scenarios};
use std::sync::atomic::{AtomicBool, Ordering};

scenarios!(
    before_the_instrument_is_known,
    before_the_transaction_reaches_the_server,
    while_the_transaction_is_written,
    before_the_answer_arrives,
    before_the_commit,
);

/// Rounds that run beside each other: most of a round waits for a lease to end.
const BESIDE: usize = 3;

/// Where the binary is held when it is killed.
#[derive(Debug, Clone, Copy)]
enum Point {
    Instrument,
    Request,
    Half,
    Answer,
    ReadBack,
}

fn before_the_instrument_is_known(server: &Server) {
    rounds_of(
        server,
        Point::Instrument,
        "killed before the instrument is known",
    );
}

fn before_the_transaction_reaches_the_server(server: &Server) {
    rounds_of(
        server,
        Point::Request,
        "killed before the transaction arrives",
    );
}

fn while_the_transaction_is_written(server: &Server) {
    rounds_of(
        server,
        Point::Half,
        "killed with half of the transaction sent",
    );
}

fn before_the_answer_arrives(server: &Server) {
    rounds_of(
        server,
        Point::Answer,
        "killed before the answer is passed on",
    );
}

fn before_the_commit(server: &Server) {
    rounds_of(server, Point::ReadBack, "killed before the commit");
}

fn rounds_of(server: &Server, point: Point, name: &str) {
    let mut figures = Figures::new(server, name);
    let all = rounds(1, 20);
    std::thread::scope(|scope| {
        let beside: Vec<_> = (0..BESIDE.min(all))
            .map(|first| {
                scope.spawn(move || {
                    let mut figures = Figures::new(server, "");
                    for _ in (first..all).step_by(BESIDE) {
                        round(&mut figures, server, point);
                    }
                    figures
                })
            })
            .collect();
        for rounds in beside {
            figures.add(rounds.join().expect("rounds that end"));
        }
    });
    figures.told();
}

fn round(figures: &mut Figures, server: &Server, point: Point) {
    let person = Person::known(server);
    let (one, two) = (person.session(), person.session());
    let held = AtomicBool::new(false);
    let proxy = Proxy::new(&server.host, move |request, transactions| {
        let here = at(point, request, transactions) && !held.swap(true, Ordering::SeqCst);
        if here { hold(point) } else { Act::Pass }
    });
    let site = Site::hasty(&proxy.base());
    let files = [&one, &two].map(|document| site.document(document));

    let mut child = site.start(&[&files[0], &files[1]], 60);
    let reached = proxy.holds();
    child.kill().expect("a child to kill");
    child.wait().expect("a killed child");
    proxy.let_go();
    // On a busy machine several attempts end with their short lease before one arrives.
    let settled = site.send(&[], 180);

    if !reached {
        figures.fault("the point was not reached".to_owned());
    }
    if settled.code != Some(0) {
        figures.fault(format!("{:?} {}", settled.code, settled.text));
    }
    figures.round();
    figures.count(server, &person, &[&one, &two]);
    figures.order(&site);
}

fn at(point: Point, request: &Request, transactions: usize) -> bool {
    match point {
        Point::Instrument => request.method == "POST" && request.path.ends_with("/Device"),
        Point::Request | Point::Half | Point::Answer => request.transaction(),
        Point::ReadBack => transactions == 1 && request.looks(),
    }
}

const fn hold(point: Point) -> Act {
    match point {
        Point::Request => Act::HoldRequest,
        Point::Half => Act::HoldHalf,
        Point::Instrument | Point::Answer | Point::ReadBack => Act::HoldAnswer,
    }
}
