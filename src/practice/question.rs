//! What a search asks the database: one statement for each form of a condition.
//!
//! Owns: the statements of searches, each by the index that serves its form. In: a condition.
//! Out: a [`Question`]. Never: one statement for several forms, because `?3 IS NULL OR ...` keeps
//! every index unused, and the cost of a question then grows with all that the tables hold.

use crate::practice::kind::Kind;
use crate::practice::span::Span;

/// A condition as statements.
#[derive(Debug)]
pub(super) struct Question {
    /// Asks all resources of the type `?1`.
    pub(super) of_all: &'static str,
    /// Asks the resources whose numbers stand in the JSON array `?1`.
    pub(super) of_some: &'static str,
    /// The parameters from `?2` on.
    pub(super) values: Vec<Value>,
}

/// A value of a parameter.
#[derive(Debug)]
pub(super) enum Value {
    /// A text.
    Text(String),
    /// A time in milliseconds.
    Number(i64),
}

/// Both statements of a condition on rows of a table. The database keeps no statistics here, so each
/// says itself by which index it goes: that of the condition, or that of the resources given.
macro_rules! on {
    ($table:literal, $index:literal, $condition:literal) => {
        (
            concat!(
                "-- Question::of_all\nSELECT q.resource FROM ",
                $table,
                " AS q INDEXED BY ",
                $index,
                " CROSS JOIN resource AS r ON r.number = q.resource WHERE r.kind = ?1 AND ",
                $condition
            ),
            concat!(
                "-- Question::of_some\nSELECT q.resource FROM json_each(?1) AS one CROSS JOIN ",
                $table,
                " AS q INDEXED BY ",
                $table,
                "_by_resource ON q.resource = one.value WHERE ",
                $condition
            ),
        )
    };
}

impl Question {
    /// The question that a condition asks.
    pub(super) fn of(wanted: &Match) -> Self {
        let ((of_all, of_some), values) = match wanted {
            Match::Id(id) => (BY_ID, vec![Value::Text(id.clone())]),
            Match::Token(token) => token_is(token),
            Match::Link(link) => link_to(link),
            Match::Date(parameter, how, span) => compare(parameter, *how, *span),
        };
        Self {
            of_all,
            of_some,
            values,
        }
    }
}

type Condition = ((&'static str, &'static str), Vec<Value>);

const BY_ID: (&str, &str) = (
    "-- Question::of_all\nSELECT number FROM resource WHERE kind = ?1 AND id = ?2 AND deleted = 0",
    "-- Question::of_some\nSELECT r.number FROM json_each(?1) AS one \
     CROSS JOIN resource AS r ON r.number = one.value WHERE r.id = ?2 AND r.deleted = 0",
);

/// FHIR R4 (4.0.1), search.html#token: `[code]` is of any system, `|[code]` of none, and
/// `[system]|` is any code of it.
fn token_is(token: &Token) -> Condition {
    let texts = |texts: &[&str]| {
        let texts = texts.iter().map(|text| Value::Text((*text).to_owned()));
        texts.collect()
    };
    let parameter = token.parameter;
    match (token.system.as_deref(), token.code.as_deref()) {
        (None, code) => (
            on!(
                "token",
                "token_by_value",
                "q.code = ?3 AND q.parameter = ?2"
            ),
            texts(&[parameter, code.unwrap_or_default()]),
        ),
        (Some(""), code) => (
            on!(
                "token",
                "token_by_value",
                "q.code = ?3 AND q.parameter = ?2 AND coalesce(q.system, '') = ''"
            ),
            texts(&[parameter, code.unwrap_or_default()]),
        ),
        (Some(system), None) => (
            on!(
                "token",
                "token_by_system",
                "q.system = ?3 AND q.parameter = ?2"
            ),
            texts(&[parameter, system]),
        ),
        (Some(system), Some(code)) => (
            on!(
                "token",
                "token_by_value",
                "q.code = ?4 AND q.parameter = ?2 AND q.system = ?3"
            ),
            texts(&[parameter, system, code]),
        ),
    }
}

fn link_to(link: &Link) -> Condition {
    let mut values = vec![
        Value::Text(link.parameter.to_owned()),
        Value::Text(link.id.clone()),
    ];
    let asked = match link.kind.map(Kind::name) {
        None => on!("link", "link_to", "q.id = ?3 AND q.parameter = ?2"),
        Some(kind) => {
            values.push(Value::Text(kind.to_owned()));
            on!(
                "link",
                "link_to",
                "q.id = ?3 AND q.parameter = ?2 AND q.kind = ?4"
            )
        }
    };
    (asked, values)
}

/// FHIR R4 (4.0.1), search.html#prefix, with a span that ends before `high` and is never empty.
fn compare(parameter: &str, how: Comparator, Span { low, high }: Span) -> Condition {
    let (asked, bounds) = match how {
        // "the range of the search value fully contains the range of the target value"
        Comparator::Equal => (
            on!(
                "span",
                "span_by_low",
                "q.parameter = ?2 AND q.low >= ?3 AND q.low < ?4 AND q.high <= ?4"
            ),
            vec![low, high],
        ),
        // "the range above the search value intersects ... with the range of the target value"
        Comparator::Greater => (
            on!("span", "span_by_high", "q.parameter = ?2 AND q.high > ?3"),
            vec![high],
        ),
        // What lies within ends after `low`; what ends before it is neither.
        Comparator::GreaterOrEqual => (
            on!(
                "span",
                "span_by_high",
                "q.parameter = ?2 AND q.high > ?3 AND (q.high > ?4 OR q.low >= ?3)"
            ),
            vec![low, high],
        ),
        Comparator::Less => (
            on!("span", "span_by_low", "q.parameter = ?2 AND q.low < ?3"),
            vec![low],
        ),
        Comparator::LessOrEqual => (
            on!(
                "span",
                "span_by_low",
                "q.parameter = ?2 AND q.low < ?4 AND (q.low < ?3 OR q.high <= ?4)"
            ),
            vec![low, high],
        ),
        // "the range of the search value does not overlap with the range of the target value,
        // and the range above the search value contains the range of the target value"
        Comparator::StartsAfter => (
            on!("span", "span_by_low", "q.parameter = ?2 AND q.low >= ?3"),
            vec![high],
        ),
        Comparator::EndsBefore => (
            on!("span", "span_by_high", "q.parameter = ?2 AND q.high <= ?3"),
            vec![low],
        ),
    };
    let bounds = bounds.into_iter().map(Value::Number);
    let parameter = Value::Text(parameter.to_owned());
    (asked, std::iter::once(parameter).chain(bounds).collect())
}

/// The prefix of a date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Comparator {
    /// `eq`, or no prefix
    Equal,
    /// `gt`
    Greater,
    /// `ge`
    GreaterOrEqual,
    /// `lt`
    Less,
    /// `le`
    LessOrEqual,
    /// `sa`
    StartsAfter,
    /// `eb`
    EndsBefore,
}

/// A token that is looked for.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Token {
    /// The search parameter.
    pub(super) parameter: &'static str,
    /// The system; empty for "no system", `None` for any.
    pub(super) system: Option<String>,
    /// The code; `None` for any.
    pub(super) code: Option<String>,
}

/// A link that is looked for.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Link {
    /// The search parameter.
    pub(super) parameter: &'static str,
    /// The type; `None` for any.
    pub(super) kind: Option<Kind>,
    /// The id.
    pub(super) id: String,
}

/// One condition.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Match {
    /// `_id`
    Id(String),
    /// A code or identifier.
    Token(Token),
    /// A reference.
    Link(Link),
    /// A date.
    Date(&'static str, Comparator, Span),
}

impl Match {
    /// How much of a large store it may find; the number is an order and no count.
    pub(super) fn breadth(&self) -> u8 {
        match self {
            Self::Id(_) => 0,
            Self::Token(token) if token.code.is_some() && token.parameter == "identifier" => 1,
            Self::Link(_) => 2,
            Self::Token(token) if token.code.is_some() => 3,
            Self::Token(_) => 4,
            Self::Date(..) => 5,
        }
    }
}
