#![cfg(test)]
//! Two processes at the same instant on one state folder.

use crate::binary::{Run, Site};
use crate::document::{Document, Person};
use crate::figures::Figures;
use crate::server::{Server, rounds, scenarios};
use uuid::Uuid;

scenarios!(
    one_document_sent_by_two_processes_is_accepted_once,
    two_sessions_of_one_person_keep_their_order,
    two_people_share_one_instrument,
);

fn one_document_sent_by_two_processes_is_accepted_once(server: &Server) {
    let mut figures = Figures::new(server, "one document, two processes");
    for _ in 0..rounds(3, 50) {
        let person = Person::known(server);
        let document = person.session();
        let site = Site::new(&server.base());
        let file = site.document(&document);

        let [one, two] = at_once(&site, [&file, &file]);

        let before = [&one, &two].map(accepted_before);
        let accepted_once =
            before == [Some(true), Some(false)] || before == [Some(false), Some(true)];
        if (one.code, two.code) != (Some(0), Some(0)) || !accepted_once {
            figures.fault(format!(
                "{:?} {} {:?} {}",
                one.code, one.text, two.code, two.text
            ));
        } else if one.items() != two.items() {
            figures.fault(format!("two receipts: {} {}", one.text, two.text));
        }
        figures.round();
        figures.count(server, &person, &[&document]);
        figures.order(&site);
    }
    figures.told();
}

fn two_sessions_of_one_person_keep_their_order(server: &Server) {
    let mut figures = Figures::new(server, "two sessions of one person, two processes");
    for _ in 0..rounds(2, 20) {
        let person = Person::known(server);
        let (one, mut two) = (person.session(), person.session());
        two.measured_with(&one.instrument());
        let site = Site::new(&server.base());

        both_arrive(&mut figures, &site, [&one, &two]);

        figures.round();
        figures.count(server, &person, &[&one, &two]);
        figures.order(&site);
    }
    figures.told();
}

fn two_people_share_one_instrument(server: &Server) {
    let mut figures = Figures::new(server, "two people, one instrument, two processes");
    for _ in 0..rounds(2, 20) {
        let people = [Person::known(server), Person::known(server)];
        let instrument = format!("GON-{}", Uuid::new_v4());
        let [one, two] = people.each_ref().map(|person| {
            let mut session = person.session();
            session.measured_with(&instrument);
            session
        });
        let site = Site::new(&server.base());

        both_arrive(&mut figures, &site, [&one, &two]);

        figures.round();
        for (person, session) in people.iter().zip([&one, &two]) {
            figures.count(server, person, &[session]);
        }
    }
    figures.told();
}

fn both_arrive(figures: &mut Figures, site: &Site, documents: [&Document; 2]) {
    let files = documents.map(|document| site.document(document));
    for run in at_once(site, files.each_ref()) {
        if run.code != Some(0) {
            figures.fault(format!("{:?} {}", run.code, run.text));
        }
    }
}

/// Starts a process for each file, the second while the first is starting.
fn at_once(site: &Site, files: [&String; 2]) -> [Run; 2] {
    let started = files.map(|file| site.start(&[file], 60));
    started.map(|child| Run::of(child.wait_with_output()))
}

fn accepted_before(run: &Run) -> Option<bool> {
    let told = run.text.contains("\"accepted_before\": true");
    let new = run.text.contains("\"accepted_before\": false");
    (told != new).then_some(told)
}
