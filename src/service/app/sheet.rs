//! The page somebody prints when a session is urgent and not delivered.

use crate::base::code::reason::Reason;
use crate::base::json::Node;
use crate::delivery::outbox::{Item, Outbox, OutboxError, State};
use crate::service::app::summary::{self, SummaryAnswer, Wanted};
use crate::service::app::urgent::{NEW_PRECAUTION, age};
use crate::tables::catalogue::Catalogue;
use chrono::{DateTime, Utc};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = "body{font:12pt/1.4 sans-serif;max-width:46em;margin:1em auto;padding:0 1em;\
    color:#000;background:#fff}h1{border:3px solid #000;padding:.3em}th{text-align:left;padding-right:1em;\
    vertical-align:top}.told td{border-bottom:1px solid #000;min-width:20em;height:2em}\
    @media print{body{margin:0}}";

/// The page of a delivery as HTML, or why there is none.
///
/// # Errors
/// [`OutboxError`] when the store does not answer.
pub async fn sheet(
    outbox: &Outbox,
    catalogue: &Catalogue,
    item: &Item,
    now: DateTime<Utc>,
) -> Result<Result<String, &'static str>, OutboxError> {
    let asked = summary::kept(
        outbox,
        catalogue,
        item.session,
        Wanted::Session,
        now.date_naive(),
    );
    Ok(match asked.await? {
        SummaryAnswer::Summary(summary) => {
            let document = outbox.document_of(item.id).await?;
            let document = document.ok_or(OutboxError::Row("the session of a delivery"))?;
            let about = About::of(&document.node()?);
            Ok(page(item, &about, &summary.xhtml(), catalogue, now))
        }
        SummaryAnswer::NotKept | SummaryAnswer::AllWithdrawn => {
            Err("the session of this delivery does not stand")
        }
        SummaryAnswer::Purged => {
            Err("the content of this session was purged; the record server has it")
        }
        SummaryAnswer::SeveralPeople => {
            Err("sessions of several people have this name, so nothing is put together of them")
        }
    })
}

fn page(
    item: &Item,
    about_whom: &About,
    summary: &str,
    catalogue: &Catalogue,
    now: DateTime<Utc>,
) -> String {
    let (head, about) = match item.state {
        State::Delivered => (
            "In the record, and perhaps not seen",
            "The record server holds this session. That does not mean that anybody has seen it.",
        ),
        State::Queued
        | State::Sending
        | State::Unknown
        | State::Refused
        | State::Waiting
        | State::Dropped => (
            "Not in the record: to be told by a person",
            "The record server was not seen to hold this session. Tell the treating team by telephone or in \
             person, and note it below.",
        ),
    };
    let reason = item.reason.as_ref().map(Reason::sentence);
    let rows = [
        ("Family name", about_whom.name.clone()),
        ("Born", about_whom.born.clone()),
        ("Identifier", about_whom.identifier.clone()),
        ("Urgent", urgent(item, catalogue)),
        ("Why", reason.unwrap_or("it is not its turn yet").to_owned()),
        ("Accepted", at(item.accepted_at)),
        ("Waits", age(item.accepted_at, now)),
        ("State", item.state.word().to_owned()),
        ("Printed", at(now)),
        (
            "Session",
            format!("{}, version {}", item.session, item.version),
        ),
    ];
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" {
            head {
                meta charset="utf-8"; meta name="viewport" content="width=device-width";
                title { "Session to be told by a person" } "\n"
                style { (PreEscaped(STYLE)) }
            }
            body { "\n"
                h1 { (head) } "\n"
                p { (about) } "\n"
                table { "\n" @for (name, value) in &rows { (row(name, value)) } } "\n"
                (PreEscaped(summary)) "\n"
                h2 { "Told" } "\n"
                table.told { "\n"
                    @for name in ["To whom", "By whom", "When", "Read back"] { (row(name, "")) }
                } "\n"
                p {
                    "Prompts are to look and never a diagnosis; local policy and the treating team come \
                     first."
                } "\n"
            }
        } "\n"
    };
    page.into_string()
}

fn row(name: &str, value: &str) -> Markup {
    html! { tr { th scope="row" { (name) } td { (value) } } "\n" }
}

/// What is urgent, in words.
fn urgent(item: &Item, catalogue: &Catalogue) -> String {
    if item.urgent.is_empty() {
        return "nothing that was recognised; read the whole page".to_owned();
    }
    let words = item.urgent.iter().map(|code| {
        if code == NEW_PRECAUTION.word() {
            return "a precaution that was not known before".to_owned();
        }
        let row = catalogue.cautions.get(code);
        row.map_or_else(|| code.clone(), |row| row.wording.clone())
    });
    words.collect::<Vec<_>>().join("; ")
}

/// Who it is about, as the document names the person: the page is told to somebody by a person, and a
/// finding that is told of another one can hurt both.
struct About {
    name: String,
    born: String,
    identifier: String,
}

impl About {
    fn of(document: &Node) -> Self {
        let of = |path: &[&str]| {
            let said = document.at(path).and_then(Node::text);
            said.unwrap_or("not in the document").to_owned()
        };
        Self {
            name: of(&["patient", "family_name"]),
            born: of(&["patient", "birth_date"]),
            identifier: of(&["patient", "identifier", "value"]),
        }
    }
}

fn at(time: DateTime<Utc>) -> String {
    time.format("%-d %B %Y at %H:%M UTC").to_string()
}
