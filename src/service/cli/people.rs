//! The invented people of the demo, whom a practice server has to know before a session arrives.

use crate::base::json::Node;
use crate::delivery::deliver::http::Connection;
use anyhow::{Context, bail};

const PEOPLE: [&str; 2] = [
    include_str!("../../../fixtures/people/test-0001.json"),
    include_str!("../../../fixtures/people/test-0002.json"),
];

/// Creates each of them on a practice server that does not know them yet. Fascicle itself creates
/// nobody on a record server.
pub(super) async fn put(connection: &Connection) -> anyhow::Result<Vec<String>> {
    let mut names = Vec::new();
    for person in PEOPLE {
        let person = Node::parse(person)?;
        let identifier = person.items_of("identifier").first();
        let identifier = identifier.context("the person is known")?;
        let of = |key| identifier.text_of(key).context("the identifier is whole");
        let (system, value) = (of("system")?, of("value")?);
        let condition = crate::fhir::record::if_none_exist(system, value);
        let answer = connection
            .create("Patient", Some(&condition), &person)
            .await?;
        // 200: a file of resources that is used again knows them already.
        if !matches!(answer.status, 200 | 201) {
            let status = answer.status;
            bail!("the practice server answered {status} to an invented person");
        }
        names.push(value.to_owned());
    }
    Ok(names)
}
