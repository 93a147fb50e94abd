//! How long a worker takes to claim the next session with 1,000 and with 1,000,000 queued.
//!
//! The rows are written straight into a store of our schema, four sessions of each person; then claims and
//! ends of attempts alternate between the two stores, and the claims are timed.

use crate::stores::{Empty, Kind};
use crate::{Aim, Ratio, Size, median};
use fascicle::base::clock::{Clock as _, MachineClock};
use fascicle::delivery::outbox::{LeaseLength, Outbox, Outcome};
use std::time::{Duration, Instant};

const TARGET: &str = "record";
const OF_ONE_PERSON: usize = 4;

pub(crate) async fn measured(size: Size) -> Vec<Ratio> {
    let (few, many) = (1_000, size.of(20_000, 1_000_000));
    let claims = size.of(20, 300);
    let mut table = Vec::new();
    for kind in crate::stores::kinds() {
        let (short, long) = (queued(&kind, few).await, queued(&kind, many).await);
        let (mut of_short, mut of_long) = (Vec::new(), Vec::new());
        for claim in 0..=claims {
            let times = (claimed(&short.1).await, claimed(&long.1).await);
            if claim > 0 {
                of_short.push(times.0);
                of_long.push(times.1);
            }
        }
        let (of_short, of_long) = (median(of_short), median(of_long));
        table.push(Ratio {
            what: format!("{}: claim with {many} queued / {few}", kind.name()),
            ours: format!("{:.2} ms", of_long * 1000.0),
            other: format!("{:.2} ms", of_short * 1000.0),
            came_to: of_long / of_short,
            aim: Aim::AtMost(1.5),
        });
        short.1.close().await;
        long.1.close().await;
    }
    table
}

/// Claims and ends an attempt; how long the claim took, in seconds.
async fn claimed(outbox: &Outbox) -> f64 {
    let lease = LeaseLength {
        whole: Duration::from_mins(1),
        margin: Duration::from_secs(5),
    };
    let now = MachineClock.now();
    let began = Instant::now();
    let leased = outbox.claim(TARGET, lease, now).await.expect("it answers");
    let took = began.elapsed().as_secs_f64();
    let leased = leased.expect("one is due");
    let outcome = Outcome::Delivered {
        receipt: "{}".to_owned(),
    };
    let kept = outbox.finish(&leased, &outcome, MachineClock.now()).await;
    assert!(kept.expect("it answers"));
    took
}

/// A store with so many sessions queued.
async fn queued(kind: &Kind, sessions: usize) -> (Empty, Outbox) {
    let new = kind.empty().await;
    let outbox = Outbox::open_at(&new.place()).await.expect("a store");
    outbox.bind_target(TARGET, "none").await.expect("bound");
    outbox.close().await;
    let began = Instant::now();
    match kind {
        Kind::Sqlite => {
            let pool = sqlx::SqlitePool::connect(&format!("sqlite://{}", new.file())).await;
            let pool = pool.expect("a store");
            for statement in sqlite(sessions) {
                let said = sqlx::query(sqlx::AssertSqlSafe(statement))
                    .execute(&pool)
                    .await;
                said.expect("rows");
            }
            pool.close().await;
        }
        Kind::Postgres(_) => {
            let pool = sqlx::PgPool::connect(&new.address).await.expect("a store");
            for statement in postgres(sessions) {
                let said = sqlx::query(sqlx::AssertSqlSafe(statement))
                    .execute(&pool)
                    .await;
                said.expect("rows");
            }
            pool.close().await;
        }
    }
    let took = began.elapsed().as_secs();
    println!("claims, {}: {sessions} queued in {took} s", kind.name());
    let outbox = Outbox::open_at(&new.place()).await.expect("a store");
    (new, outbox)
}

fn sqlite(sessions: usize) -> [String; 3] {
    let all = format!(
        "WITH RECURSIVE n(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM n WHERE n < {})",
        sessions - 1
    );
    rows(
        &all,
        "FROM n",
        sessions,
        "printf('00000000-0000-4000-8000-%012x', n)",
        "FALSE",
    )
}

fn postgres(sessions: usize) -> [String; 4] {
    let from = format!("FROM generate_series(0, {}) AS n", sessions - 1);
    let id = "'00000000-0000-4000-8000-' || lpad(to_hex(n), 12, '0')";
    let [session, lane, item] = rows("", &from, sessions, id, "FALSE");
    // As the server does by itself after a while.
    [session, lane, item, "ANALYZE".to_owned()]
}

/// Sessions, lanes and items; the first of every person came in before the second of any.
fn rows(all: &str, from: &str, sessions: usize, id: &str, no: &str) -> [String; 3] {
    let people = sessions / OF_ONE_PERSON;
    let subject = format!("'person ' || (n % {people})");
    [
        format!(
            "{all} INSERT INTO session (source, id, version, subject, document, document_sha256, record,
               accepted_at, examined_at, withdrawn)
             SELECT 'bench', {id}, 1, {subject}, '{{}}', 'none', '{{}}', '2026-11-01T08:00:00.000Z', n, {no}
             {from}"
        ),
        format!(
            "{all} INSERT INTO lane (target, subject, next_number)
             SELECT '{TARGET}', {subject}, {} {from} WHERE n < {people}",
            OF_ONE_PERSON + 1
        ),
        format!(
            "{all} INSERT INTO item (id, target, subject, number, source, session, version, state, attempts,
               due_at, sends)
             SELECT {id}, '{TARGET}', {subject}, n / {people} + 1, 'bench', {id}, 1, 'queued', 0, n, 0
             {from}"
        ),
    ]
}
