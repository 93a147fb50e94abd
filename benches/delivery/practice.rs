//! How long the practice server takes for a search and a transaction when it holds 1,000 and 1,000,000
//! resources.
//!
//! The rows are written straight into a file of its schema, one person with 45 Observations after the
//! other; then both servers are asked in turn, in process.

use crate::server::Person;
use crate::{Aim, Ratio, Size, median};
use axum::body::{Body, to_bytes};
use axum::http::Request;
use fascicle::base::clock::MachineClock;
use fascicle::practice::Practice;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::tables::catalogue::Catalogue;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;
use tower::ServiceExt as _;

/// One person and their Observations.
const TOGETHER: usize = 46;

/// What is asked, and as what it stands in the table.
const SEARCHES: [(&str, &str); 5] = [
    ("44 identifiers", ""),
    ("a person and a day", "patient=p-3&date=2020-01-01"),
    (
        "a person and a code",
        "patient=p-3&code=urn:bench:code%7Cc-7",
    ),
    ("a tag of its own", "_tag=urn:bench:tag%7Ct-99"),
    ("a target of links", "subject=Patient/p-3"),
];

pub(crate) async fn measured(size: Size) -> Vec<Ratio> {
    let (few, many) = (1_000, size.of(20_000, 1_000_000));
    let goes = size.of(10, 60);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let small = holding(&folder.path().join("few.sqlite"), few).await;
    let large = holding(&folder.path().join("many.sqlite"), many).await;
    let catalogue = Catalogue::embedded().expect("sound tables");
    let mut table = Vec::new();
    for (what, query) in SEARCHES {
        let query = match query {
            "" => identifiers(),
            query => query.to_owned(),
        };
        let ask = || search(&query);
        table.push(compared(what, (&small, &large), (few, many), goes, ask).await);
    }
    let ask = || transaction(&catalogue);
    table.push(
        compared(
            "a transaction of 46",
            (&small, &large),
            (few, many),
            goes,
            ask,
        )
        .await,
    );
    table
}

async fn compared(
    what: &str,
    (small, large): (&axum::Router, &axum::Router),
    (few, many): (usize, usize),
    goes: usize,
    ask: impl Fn() -> Request<Body>,
) -> Ratio {
    let (mut of_small, mut of_large) = (Vec::new(), Vec::new());
    for go in 0..=goes {
        let times = (answered(small, ask()).await, answered(large, ask()).await);
        // The first go prepares the statements.
        if go > 0 {
            of_small.push(times.0);
            of_large.push(times.1);
        }
    }
    let (of_small, of_large) = (median(of_small), median(of_large));
    Ratio {
        what: format!("practice, {what}: {many} held / {few}"),
        ours: format!("{:.2} ms", of_large * 1000.0),
        other: format!("{:.2} ms", of_small * 1000.0),
        came_to: of_large / of_small,
        aim: Aim::AtMost(1.5),
    }
}

/// How long an answer takes, in seconds.
async fn answered(server: &axum::Router, request: Request<Body>) -> f64 {
    let began = Instant::now();
    let answer = server.clone().oneshot(request).await.expect("an answer");
    let status = answer.status();
    let body = to_bytes(answer.into_body(), usize::MAX)
        .await
        .expect("a body");
    let took = began.elapsed().as_secs_f64();
    assert!(
        status.is_success(),
        "{status}: {}",
        String::from_utf8_lossy(&body)
    );
    assert!(
        !body.windows(9).any(|part| part == b"\"total\":0"),
        "it finds nothing"
    );
    took
}

fn identifiers() -> String {
    let values: Vec<String> = (1..45)
        .map(|number| format!("urn:bench%7Ci-{number}"))
        .collect();
    format!("identifier={}&_count=200", values.join(","))
}

fn search(query: &str) -> Request<Body> {
    Request::post("/fhir/Observation/_search")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(query.to_owned()))
        .expect("a request")
}

fn transaction(catalogue: &Catalogue) -> Request<Body> {
    let document = Person::unknown().session();
    let now = "2026-11-25T00:00:00Z".parse().expect("a time");
    let encoded = encode(&document, &Earlier::default(), catalogue, now).expect("it holds");
    Request::post("/fhir")
        .header("content-type", "application/fhir+json")
        .body(Body::from(encoded.checked.record().text()))
        .expect("a request")
}

/// A server that holds so many resources.
async fn holding(path: &Path, resources: usize) -> axum::Router {
    let open = || async {
        let practice = Practice::open(Some(path), Arc::new(MachineClock)).await;
        practice.expect("a server")
    };
    drop(open().await);
    let began = Instant::now();
    let pool = sqlx::SqlitePool::connect(&format!("sqlite://{}", path.display())).await;
    let pool = pool.expect("a store");
    for statement in rows(resources) {
        let said = sqlx::query(sqlx::AssertSqlSafe(statement))
            .execute(&pool)
            .await;
        said.expect("rows");
    }
    pool.close().await;
    println!(
        "practice: {resources} held in {} s",
        began.elapsed().as_secs()
    );
    open().await.router()
}

/// Resources, versions and index rows, as the server writes them.
fn rows(resources: usize) -> Vec<String> {
    let all = format!(
        "WITH RECURSIVE n(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM n WHERE n < {}),
         r AS (SELECT n, n / {TOGETHER} AS person, n % {TOGETHER} = 0 AS is_person FROM n)",
        resources - 1
    );
    let observation = "FROM r WHERE NOT is_person";
    let link = |parameter: &str| {
        format!(
            "INSERT INTO link {all} SELECT n + 1, '{parameter}', 'Patient', 'p-' || person {observation}"
        )
    };
    let token = |parameter: &str, system: &str, code: &str, whose: &str| {
        format!("INSERT INTO token {all} SELECT n + 1, '{parameter}', '{system}', {code} {whose}")
    };
    vec![
        format!(
            "INSERT INTO resource {all} SELECT n + 1, iif(is_person, 'Patient', 'Observation'),
               iif(is_person, 'p-' || person, 'o-' || n), 1, 0 FROM r"
        ),
        format!(
            "INSERT INTO version {all} SELECT n + 1, 1, '2026-11-25T00:00:00.000Z', 'POST',
               iif(is_person, '{{\"resourceType\":\"Patient\",\"id\":\"p-' || person || '\"}}',
                 '{{\"resourceType\":\"Observation\",\"id\":\"o-' || n || '\",\"status\":\"final\"}}')
             FROM r"
        ),
        token("identifier", "urn:bench", "'i-' || n", "FROM r"),
        token("_tag", "urn:bench:tag", "'t-' || n", "FROM r"),
        token("code", "urn:bench:code", "'c-' || (n % 50)", observation),
        link("subject"),
        link("patient"),
        link("any"),
        // A minute after the other from 2020 on.
        format!(
            "INSERT INTO span {all} SELECT n + 1, 'date', 1577836800000 + n * 60000,
               1577836801000 + n * 60000 {observation}"
        ),
    ]
}
