#![cfg(test)]
//! What was delivered is found by those who look for it.

use crate::binary::Site;
use crate::document::Person;
use crate::server::{Server, scenarios};
use fascicle::tables::catalogue::CANONICAL;

scenarios!(a_finding_is_found_by_person_code_and_date);

fn a_finding_is_found_by_person_code_and_date(server: &Server) {
    let person = Person::known(server);
    let site = Site::new(&server.base());
    site.send(&[&site.document(&person.session())], 60).ended(0);
    let found = |code: &str, date: &str| {
        let patient = &person.reference;
        let system = format!("{CANONICAL}/CodeSystem/measure");
        let query = format!("Observation?patient={patient}&code={system}%7C{code}&date={date}");
        server.found(&query).len()
    };

    // Two sides, with the knee straight and bent.
    assert_eq!(found("range.passive.ankle.dorsiflexion", "ge2026-10-19"), 4);
    assert_eq!(found("range.passive.ankle.dorsiflexion", "lt2026-10-19"), 0);
    assert_eq!(found("range.passive.ankle.dorsiflexion", "gt2026-10-19"), 0);
    assert_eq!(found("stretch.dynamic.calf", "2026-10-19"), 1);
    assert_eq!(found("tone.modified-ashworth.calf", "ge2026-10-19"), 2);
}
