//! Holding the trail against itself and against the deliveries, as they stood at one instant.

use crate::delivery::outbox::engine::{Transaction, query};
use crate::delivery::outbox::trail::{hash, last_given, read};
use crate::delivery::outbox::{Outbox, OutboxError, State, TrailRow, columns};
use std::collections::BTreeMap;

/// Rows read at a time: the trail of years is never in memory at once.
const AT_A_TIME: i64 = 1000;

/// What came of holding the trail.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Verified {
    /// What does not fit, each in a sentence; nothing when everything does.
    pub faults: Vec<String>,
    /// Rows that were held.
    pub rows: i64,
    /// Hash of the last of them.
    pub last_hash: Option<String>,
}

/// What is known of the trail once its rows went by.
#[derive(Default)]
struct Passed {
    rows: i64,
    last_number: i64,
    last_hash: String,
    first_break: Option<i64>,
    found: bool,
    of_item: BTreeMap<String, String>,
    of_target: BTreeMap<String, String>,
}

impl Passed {
    fn row(&mut self, row: TrailRow, expected: Option<&str>) {
        if self.first_break.is_none() && hash(&self.last_hash, &row) != row.sha256 {
            self.first_break = Some(row.number);
        }
        self.rows = self.rows.saturating_add(1);
        self.last_number = row.number;
        self.found = self.found || expected == Some(row.sha256.as_str());
        let of_session = row.of_session();
        self.last_hash = row.sha256;
        if TELLS_ONLY.contains(&row.event.as_str()) {
            return;
        }
        if let Some(item) = row.item {
            self.of_item.insert(item, row.event);
        } else if let Some(target) = row.target.filter(|_| !of_session) {
            self.of_target.insert(target, row.event);
        }
    }
}

impl Outbox {
    /// Holds the trail against itself and against the deliveries. Everything is read in one
    /// transaction, so that a delivery in between looks like no forgery.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn verify_trail(&self, expected: Option<&str>) -> Result<Verified, OutboxError> {
        let mut snapshot = self.snapshot().await?;
        let passed = pass(&mut snapshot, expected).await?;
        let mut faults = Vec::new();
        faults.extend(
            passed
                .first_break
                .map(|number| format!("row {number} does not follow from those before")),
        );
        let given = last_given(&mut snapshot).await?;
        if passed.last_number != given {
            faults.push(format!("row {given} was written and is missing"));
        }
        if let Some(hash) = expected.filter(|_| !passed.found) {
            faults.push(format!("no row has the hash {hash}"));
        }
        faults.extend(items(&mut snapshot, &passed).await?);
        faults.extend(targets(&mut snapshot, &passed).await?);
        Ok(Verified {
            faults,
            rows: passed.rows,
            last_hash: (passed.rows > 0).then_some(passed.last_hash),
        })
    }
}

async fn pass(snapshot: &mut Transaction, expected: Option<&str>) -> Result<Passed, OutboxError> {
    let mut passed = Passed::default();
    loop {
        let page = query(
            "-- verify::pass
             SELECT number, at, event, item, target, source, session, version, detail, sha256
             FROM trail WHERE number > $1 ORDER BY number LIMIT $2",
        )
        .bind(passed.last_number)
        .bind(AT_A_TIME)
        .fetch_all(&mut *snapshot)
        .await?;
        if page.is_empty() {
            return Ok(passed);
        }
        for row in &page {
            passed.row(read(row)?, expected);
        }
    }
}

async fn items(snapshot: &mut Transaction, passed: &Passed) -> Result<Vec<String>, OutboxError> {
    let items = query(
        "-- verify::items
         SELECT id, state FROM item ORDER BY id",
    )
    .fetch_all(&mut *snapshot)
    .await?;
    let mut faults = Vec::new();
    for row in &items {
        let id: String = row.try_get("id")?;
        let state = columns::state(row.try_get("state")?)?;
        let last = passed.of_item.get(&id);
        if last.is_none_or(|event| !tells(event, state)) {
            let state = state.word();
            faults.push(format!(
                "item {id} is {state} and its last row says otherwise"
            ));
        }
    }
    Ok(faults)
}

async fn targets(snapshot: &mut Transaction, passed: &Passed) -> Result<Vec<String>, OutboxError> {
    let targets = query(
        "-- verify::targets
         SELECT name, coalesce((SELECT paused FROM target_decision
                                WHERE target_decision.target = target.name
                                ORDER BY number DESC LIMIT 1), FALSE) AS paused
         FROM target ORDER BY name",
    )
    .fetch_all(&mut *snapshot)
    .await?;
    let mut faults = Vec::new();
    for row in &targets {
        let (name, stopped): (String, bool) = (row.try_get("name")?, row.try_get("paused")?);
        let told = passed
            .of_target
            .get(&name)
            .is_some_and(|event| event == "paused");
        if told != stopped {
            let is = if told { "is not" } else { "is" };
            faults.push(format!(
                "target {name} {is} paused and its last row says otherwise"
            ));
        }
    }
    Ok(faults)
}

/// Events that tell of something and change no state.
const TELLS_ONLY: [&str; 3] = ["alerted", "breaker-opened", "breaker-closed"];

/// True when an event is the last that leads to a state.
fn tells(event: &str, state: State) -> bool {
    match state {
        State::Queued => matches!(event, "queued" | "released"),
        State::Unknown => matches!(event, "unknown" | "released"),
        State::Sending | State::Delivered | State::Refused | State::Waiting | State::Dropped => {
            event == state.word()
        }
    }
}
