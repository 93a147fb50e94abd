//! What is shown of deliveries, problems and the trail to machines: the same words on the command
//! line and over HTTP.

use crate::base::json::{Node, object, text};
use crate::base::problem::Problem;
use crate::delivery::outbox::kept::KeptText;
use crate::delivery::outbox::{Item, LeftAlone, TargetHeld, TrailRow};
use crate::examination::intake::sheet::rows::Rows;
use crate::service::app::assess::mark;
use crate::service::app::words::Behind;

/// A count as a number.
pub fn number(count: impl Into<i128>) -> Node {
    Node::Number(count.into().to_string())
}

/// One delivery.
pub fn item(item: &Item) -> Node {
    let mut members = vec![
        ("item", text(item.id.to_string())),
        ("target", text(item.target.clone())),
        ("number", number(item.number)),
        ("session", text(item.session.to_string())),
        ("version", number(item.version)),
        ("state", text(item.state.word())),
        ("attempts", number(item.attempts)),
        ("not_before", text(item.due_at.to_rfc3339())),
        ("accepted_at", text(item.accepted_at.to_rfc3339())),
    ];
    if let Some(reason) = &item.reason {
        members.push(("reason", text(reason.to_string())));
        members.push(("meaning", text(reason.sentence())));
    }
    if !item.urgent.is_empty() {
        let codes = item.urgent.iter().map(|code| text(code.clone()));
        members.push(("urgent", Node::List(codes.collect())));
    }
    let words = item.words.as_ref();
    members.extend(words.map(|words| ("words", text(words.open().clone()))));
    members.extend(item.behind.map(|head| ("behind", text(head.to_string()))));
    let decided = item.decided.as_ref();
    members.extend(decided.map(|decided| ("decided", text(decided.open().clone()))));
    match item.receipt.as_ref().map(KeptText::node) {
        Some(Ok(receipt)) => members.push(("receipt", receipt)),
        Some(Err(unread)) => members.push(("unread", text(unread.to_string()))),
        None => {}
    }
    object(members)
}

/// Several deliveries.
pub fn items(items: &[Item]) -> Node {
    Node::List(items.iter().map(item).collect())
}

/// The problems of a document, each with the mark a confirmation has to carry, and with row and
/// column where the document came from a sheet.
pub fn problems(problems: &[Problem], rows: Option<&Rows>) -> Node {
    let problems = problems.iter().map(|problem| {
        let mut members = vec![
            ("severity", text(problem.severity.word())),
            ("code", text(problem.code.word())),
            ("path", text(problem.path.clone())),
            ("what", text(problem.what.clone())),
            ("hint", text(problem.hint.clone())),
            ("mark", text(mark(problem))),
        ];
        if problem.more > 0 {
            members.push(("more", number(problem.more)));
        }
        if let Some(place) = rows.and_then(|rows| rows.place(&problem.path)) {
            members.push(("row", number(place.row)));
            members.extend(place.column.map(|column| ("column", text(column))));
        }
        object(members)
    });
    Node::List(problems.collect())
}

/// One row of the trail. A row about a target as such has no session.
pub fn trail_row(row: &TrailRow) -> Node {
    let optional = |value: &Option<String>| value.clone().map_or(Node::Null, text);
    let some = |value: &str| {
        if row.of_session() {
            text(value)
        } else {
            Node::Null
        }
    };
    let version = if row.of_session() {
        number(row.version)
    } else {
        Node::Null
    };
    let detail = Node::parse(&row.detail);
    // A row that was tampered with is shown as it stands; `--verify` tells of it.
    let detail = detail.unwrap_or_else(|_no_json| text(row.detail.clone()));
    object([
        ("number", number(row.number)),
        ("at", text(row.at.clone())),
        ("event", text(row.event.clone())),
        ("item", optional(&row.item)),
        ("target", optional(&row.target)),
        ("source", some(&row.source)),
        ("session", some(&row.session)),
        ("version", version),
        ("detail", detail),
        ("sha256", text(row.sha256.clone())),
    ])
}

/// One target as the store knows it.
pub fn target(held: &TargetHeld, left_alone: Option<&LeftAlone>) -> Node {
    let counts = held
        .counts
        .iter()
        .map(|(state, count)| (state.word(), number(*count)));
    let mut members = vec![
        ("target", text(held.name.clone())),
        ("paused", Node::Bool(held.paused.is_some())),
        ("items", object(counts)),
    ];
    let oldest = held.oldest_open.map(|at| text(at.to_rfc3339()));
    members.push(("oldest_open", oldest.unwrap_or(Node::Null)));
    members.extend(left_alone.map(|left| {
        let left = object([
            ("since", text(left.since.to_rfc3339())),
            ("failures", number(left.failures)),
            ("reason", text(left.reason.to_string())),
            ("meaning", text(left.reason.sentence())),
        ]);
        ("left_alone", left)
    }));
    let paused = held.paused.as_ref();
    members.extend(paused.map(|words| ("decided", text(words.open().clone()))));
    object(members)
}

/// What stands behind one Observation: what was captured, what was sent, and the table rows.
pub fn behind(found: &Behind) -> Node {
    let captured = found.captured.as_ref().map(|one| one.open().clone());
    let rows = found.rows.iter().map(|row| {
        object([
            ("table", text(row.table.clone())),
            ("row", text(row.key.clone())),
            ("says", text(row.says.clone())),
            ("source", text(row.source.clone())),
            ("locator", text(row.locator.clone())),
        ])
    });
    object([
        ("source", text(found.kept.source.clone())),
        ("session", text(found.kept.session.to_string())),
        ("version", number(found.kept.version)),
        ("accepted_at", text(found.kept.accepted_at.to_rfc3339())),
        ("captured", captured.unwrap_or(Node::Null)),
        ("sent", found.resource.open().clone()),
        ("rows", Node::List(rows.collect())),
        ("items", items(&found.items)),
    ])
}
