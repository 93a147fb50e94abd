#![cfg(test)]
//! No statement walks over a table that grows, on either engine and in the practice server, unless it
//! is listed here with the reason why the whole table is meant.

use crate::engine::{Engine, Store, postgres};
use crate::statements::{self, Statement, To};
use fascicle::base::clock::MachineClock;
use fascicle::practice::Practice;
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection as _, Row as _};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Tables that do not grow with what is kept: rows of the settings, one row, and what a parameter holds.
const SMALL: &[&str] = &[
    "target",
    "schema_use",
    "trail_end",
    "sqlite_master",
    "sqlite_sequence",
];

/// Statements that are meant to walk, with the reason.
const WALKS: &[(&str, &str)] = &[
    (
        "Outbox::events",
        "counts every row of the trail, for the metrics",
    ),
    (
        "Outbox::items_stored_as",
        "looks into every receipt, when a person asks whose a reference is",
    ),
    (
        "Outbox::items_wanted",
        "gives every delivery to whoever asks for all",
    ),
    (
        "Outbox::session_with",
        "looks into every record, when a person asks whose a resource is",
    ),
    ("Outbox::sessions", "gives every session"),
    (
        "Outbox::sources_of",
        "finds a session by its name alone, when a person purges it",
    ),
    (
        "Outbox::subjects_of",
        "finds a session by its name alone, when a person asks for its summary",
    ),
    (
        "Outbox::targets (counts)",
        "counts every delivery by its state",
    ),
    (
        "Outbox::to_alert",
        "walks the index of open deliveries, which does not grow with what was delivered",
    ),
    (
        "Outbox::urgent_open",
        "walks the index of open deliveries, which does not grow with what was delivered",
    ),
    ("moving::holds_end_of", "once, at the end of a move"),
    ("trail::last_hash", "reads the last row and stops"),
    (
        "turns::open",
        "looks for the last turn of each target in the whole trail",
    ),
    ("verify::items", "holds every delivery against the trail"),
];

/// Statements for which the planner of PostgreSQL takes a whole index while the store is empty, though
/// another index has what it asks for.
const WALKS_WHILE_EMPTY: &[&str] = &["Outbox::purge", "Outbox::kept_again (session)"];

/// Calls whose statement is put together, with the reason why that is no way past this test.
const MADE: &[(&str, &str)] = &[
    (
        "contents.rs: query_rows(&head)",
        "a move adds each row of each table",
    ),
    (
        "contents.rs: query(AssertSqlSafe(select))",
        "a move reads each table, a page after a key at a time",
    ),
    (
        "engine.rs: query(AssertSqlSafe(format!(\"{head}VALUES{}\",rows.join(\",\"))))",
        "the heads of added rows are read where they are written",
    ),
    (
        "engine.rs: query(self.sqlite)",
        "says what the calls before it were given",
    ),
    (
        "engine.rs: query(self.postgres)",
        "says what the calls before it were given",
    ),
    (
        "kept.rs: query(statement)",
        "its statements stand as named texts in the same file and are read there",
    ),
    (
        "kept.rs: query(statement)",
        "its statements stand as named texts in the same file and are read there",
    ),
    (
        "store.rs: raw_sql(include_str!(\"schema.sql\"))",
        "makes the tables of the practice server",
    ),
    (
        "store.rs: raw_sql(include_str!(\"indexes.sql\"))",
        "makes the indexes of the practice server where they are missing",
    ),
    (
        "store.rs: query(forget)",
        "the texts stand in the list before it and are read there",
    ),
    (
        "store.rs: query_as(sql)",
        "the texts of a question are read in question.rs",
    ),
];

#[test]
fn every_statement_has_a_name_and_is_a_text_this_test_can_read() {
    let (outbox, practice) = (
        statements::of("delivery/outbox"),
        statements::of("practice"),
    );

    assert_eq!(outbox.nameless, [""; 0]);
    assert_eq!(practice.nameless, [""; 0]);
    let mut made: Vec<String> = outbox.made;
    made.extend(practice.made);
    let listed: Vec<&str> = MADE.iter().map(|(call, _)| *call).collect();
    assert_eq!(made, listed);
    assert!(outbox.all.len() > 60 && practice.all.len() > 40);
}

#[tokio::test]
async fn no_statement_of_the_outbox_walks_a_table_that_grows_in_a_file() {
    let store = Store::new(Engine::Sqlite).await;
    let file = format!("sqlite://{}/fascicle.sqlite", store.address);

    let walks = sqlite_walks(&file, &statements::of("delivery/outbox").all).await;

    assert_listed(&walks, WALKS);
}

#[tokio::test]
async fn no_statement_of_the_practice_server_walks_a_table_that_grows() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("practice.sqlite");
    let practice = Practice::open(Some(&path), Arc::new(MachineClock)).await;
    let _open = practice.expect("a server");

    let walks = sqlite_walks(
        &format!("sqlite://{}", path.display()),
        &statements::of("practice").all,
    )
    .await;

    assert_listed(&walks, &[]);
}

#[tokio::test]
async fn a_practice_file_of_an_older_binary_gets_the_indexes_it_lacks_when_it_is_opened() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("practice.sqlite");
    let address = format!("sqlite://{}", path.display());
    let open = || async {
        let practice = Practice::open(Some(&path), Arc::new(MachineClock)).await;
        practice.expect("a server")
    };
    drop(open().await);
    let mut connection = sqlx::SqliteConnection::connect(&address)
        .await
        .expect("a connection");
    for statement in [
        "DROP INDEX token_by_value",
        "DROP INDEX token_by_system",
        "DROP INDEX link_to",
        "DROP INDEX span_by_low",
        "DROP INDEX span_by_high",
        "CREATE INDEX token_by_code ON token (code, parameter)",
        "CREATE INDEX link_by_id ON link (id, kind)",
    ] {
        let done = sqlx::query(statement).execute(&mut connection).await;
        done.expect("done");
    }

    let _open = open().await;

    let walks = sqlite_walks(&address, &statements::of("practice").all).await;
    assert_listed(&walks, &[]);
    let (left,): (i64,) = sqlx::query_as(
        "SELECT count(*) FROM sqlite_master WHERE name IN ('token_by_code', 'link_by_id')",
    )
    .fetch_one(&mut connection)
    .await
    .expect("a count");
    assert_eq!(left, 0);
}

#[tokio::test]
async fn no_statement_of_the_outbox_walks_a_table_that_grows_in_a_database() {
    if postgres().is_none() {
        return;
    }
    let store = Store::new(Engine::Postgres).await;
    let mut connection = store.connection().await;
    // Without the liberty to read a whole table, one is read only where no index serves; the plan is
    // that for any parameters.
    for setting in [
        "enable_seqscan = off",
        "plan_cache_mode = force_generic_plan",
    ] {
        let set = sqlx::raw_sql(AssertSqlSafe(format!("SET {setting}")));
        set.execute(&mut connection).await.expect("set");
    }
    let mut walks = BTreeMap::new();
    for statement in &statements::of("delivery/outbox").all {
        if statement.to == To::Sqlite || !has_plan(statement) {
            continue;
        }
        let plan = postgres_plan(&mut connection, statement).await;
        let mut steps = Vec::new();
        walked(&plan[0]["Plan"], false, &mut steps);
        if !steps.is_empty() {
            walks.insert(statement.name().to_owned(), steps);
        }
    }

    let listed = WALKS.iter().map(|(name, _)| name);
    let listed: Vec<&&str> = listed.chain(WALKS_WHILE_EMPTY).collect();
    walks.retain(|name, _| !listed.contains(&&name.as_str()));
    assert!(walks.is_empty(), "{walks:#?}");
}

fn assert_listed(walks: &BTreeMap<String, Vec<String>>, listed: &[(&str, &str)]) {
    let found: Vec<&String> = walks.keys().collect();
    let listed: Vec<&str> = listed.iter().map(|(name, _)| *name).collect();
    assert_eq!(found, listed, "{walks:#?}");
}

/// The steps that walk, by the name of the statement.
async fn sqlite_walks(address: &str, statements: &[Statement]) -> BTreeMap<String, Vec<String>> {
    let connection = sqlx::SqliteConnection::connect(address).await;
    let mut connection = connection.expect("a connection");
    let mut walks = BTreeMap::new();
    for statement in statements {
        if statement.to == To::Postgres || is_postgres_only(statement) || !has_plan(statement) {
            continue;
        }
        let plan = format!("EXPLAIN QUERY PLAN {}", statement.sql);
        let plan = sqlx::query(AssertSqlSafe(plan))
            .fetch_all(&mut connection)
            .await;
        let plan = plan.unwrap_or_else(|cause| panic!("{}: {cause}", statement.sql));
        let steps: Vec<String> = plan
            .iter()
            .map(|row| row.try_get("detail").expect("a step"))
            .collect();
        // What a part of the statement makes has the steps of that part.
        let made: Vec<&str> = steps
            .iter()
            .filter_map(|step| {
                let made = step.strip_prefix("CO-ROUTINE ");
                made.or_else(|| step.strip_prefix("MATERIALIZE "))
            })
            .collect();
        let walking = steps.iter().filter(|step| walks_here(step, &made));
        let steps: Vec<String> = walking.cloned().collect();
        if !steps.is_empty() {
            walks.insert(statement.name().to_owned(), steps);
        }
    }
    walks
}

/// "SCAN" is a walk over a table or index, "SEARCH" reads a part of it
/// (sqlite.org/eqp.html, section 1.1).
fn walks_here(step: &str, made: &[&str]) -> bool {
    let Some(what) = step.strip_prefix("SCAN ") else {
        return false;
    };
    let table = what.split(' ').next().unwrap_or_default();
    !SMALL.contains(&table)
        && !made.contains(&table)
        && !table.starts_with('(')
        && what != "CONSTANT ROW"
        && !what.contains("VIRTUAL TABLE")
}

/// A `PRAGMA` or a `VACUUM` has none.
fn has_plan(statement: &Statement) -> bool {
    let body = statement.sql.lines().nth(1).unwrap_or_default();
    statements::VERBS
        .iter()
        .any(|verb| format!("{} ", body.trim()).starts_with(verb))
}

/// Said in a file of one engine, or behind a look at which it is.
fn is_postgres_only(statement: &Statement) -> bool {
    ["FOR UPDATE", "clock_timestamp", "pg_", "trail_end"]
        .iter()
        .any(|word| statement.sql.contains(word))
}

async fn postgres_plan(connection: &mut sqlx::PgConnection, statement: &Statement) -> Value {
    let say = |text: String| sqlx::raw_sql(AssertSqlSafe(text));
    // A parameter that is only held against NULL tells no type: the store says that it is a text.
    let mut types: Vec<&str> = Vec::new();
    loop {
        let list = match types.join(", ") {
            none if none.is_empty() => none,
            some => format!("({some})"),
        };
        let prepare = format!("DEALLOCATE ALL; PREPARE asked{list} AS {}", statement.sql);
        let Err(refused) = say(prepare).execute(&mut *connection).await else {
            break;
        };
        let told = refused.to_string();
        let untyped = told.split("data type of parameter $").nth(1);
        let number = untyped.and_then(|rest| rest.split(' ').next()?.parse::<usize>().ok());
        let number = number.unwrap_or_else(|| panic!("{}: {refused}", statement.sql));
        types.resize(types.len().max(number), "unknown");
        types[number - 1] = "text";
    }
    let count = "SELECT coalesce(array_length(parameter_types, 1), 0) AS many \
                 FROM pg_prepared_statements WHERE name = 'asked'";
    let row = sqlx::raw_sql(count).fetch_one(&mut *connection).await;
    let many: i32 = row.expect("a row").try_get("many").expect("a count");
    let many = usize::try_from(many).expect("few");
    let given = if many == 0 {
        String::new()
    } else {
        format!("({})", vec!["NULL"; many].join(", "))
    };
    let plan = say(format!("EXPLAIN (FORMAT JSON) EXECUTE asked{given}"));
    let row = plan.fetch_one(connection).await.expect("a plan");
    let plan: String = row.try_get_unchecked(0).expect("a plan");
    serde_json::from_str(&plan).expect("JSON")
}

/// A step that reads a table without a condition of an index, unless it stops at the first rows.
fn walked(step: &Value, limited: bool, steps: &mut Vec<String>) {
    let kind = step["Node Type"].as_str().unwrap_or_default();
    let table = step["Relation Name"].as_str().unwrap_or_default();
    let limited = limited || kind == "Limit";
    let whole = match kind {
        "Seq Scan" => true,
        "Index Scan" | "Index Only Scan" | "Bitmap Index Scan" => {
            step["Index Cond"].is_null() && !limited
        }
        _ => false,
    };
    if whole && !SMALL.contains(&table) {
        steps.push(format!("{kind} {table} {}", step["Index Name"]));
    }
    for below in step["Plans"].as_array().into_iter().flatten() {
        walked(below, limited, steps);
    }
}
