//! What a document is about, before it is read whole.

use crate::base::json::Node;
use crate::delivery::outbox::offer::Key;
use crate::tables::catalogue::sha256_hex;
use chrono::DateTime;
use uuid::Uuid;

/// The identifier of a person or instrument as the store knows it: only its hash.
pub fn subject_of(system: &str, value: &str) -> String {
    sha256_hex(format!("{}:{system}|{value}", system.len()).as_bytes())
}

/// What a document is about, as the store asks it.
pub fn key_of(text: &str) -> Option<Key> {
    let node = Node::parse(text).ok()?;
    let session = node.member("session")?;
    let identifier = node.at(&["patient", "identifier"])?;
    let Node::Number(version) = session.member("version")? else {
        return None;
    };
    let start = session.at(&["performed", "start"]).and_then(Node::text)?;
    let start = DateTime::parse_from_rfc3339(start).ok()?;
    Some(Key {
        source: session.text_of("source")?.to_owned(),
        session: Uuid::parse_str(session.text_of("id")?).ok()?,
        version: version.parse().ok()?,
        subject: subject_of(identifier.text_of("system")?, identifier.text_of("value")?),
        document_sha256: sha256_hex(node.canonical().as_bytes()),
        examined_at: start.timestamp_millis(),
        withdrawn: session.member("withdrawn") == Some(&Node::Bool(true)),
    })
}
