//! Identities that a writer left out, derived so that the same text gives the same ones.

use crate::examination::intake::draft::FindingDraft;
use uuid::Uuid;

/// Namespace of everything we derive (RFC 9562, section 5.5). Drawn once, never changed.
const NAMESPACE: Uuid = Uuid::from_u128(0x6d0f_3c5e_2a41_4b7c_9e83_51c7_f2a9_0b64);

/// A name-based UUID over parts; each part is preceded by its length, so that no two lists of
/// parts run together.
pub(crate) fn derive(parts: &[&str]) -> Uuid {
    let mut name = String::new();
    for part in parts {
        name.extend([&part.len().to_string(), ":", part]);
    }
    Uuid::new_v5(&NAMESPACE, name.as_bytes())
}

/// What tells one finding of a session from another.
pub(super) fn key(finding: &FindingDraft, body_position: &str) -> Vec<String> {
    let neighbour = finding.neighbour.as_ref();
    vec![
        finding.measure.clone(),
        finding.side.word().to_owned(),
        finding
            .position
            .clone()
            .unwrap_or_else(|| body_position.to_owned()),
        neighbour.map(|n| n.joint.clone()).unwrap_or_default(),
        neighbour.map(|n| n.position.clone()).unwrap_or_default(),
        finding.condition.clone().unwrap_or_default(),
        finding.repeat.unwrap_or(1).to_string(),
    ]
}

/// The identity of a finding: its own, or one derived from session and key.
pub(super) fn of_finding(finding: &FindingDraft, session: Uuid, body_position: &str) -> Uuid {
    let given = finding
        .id
        .as_deref()
        .and_then(|id| Uuid::parse_str(id).ok());
    given.unwrap_or_else(|| {
        let session = session.to_string();
        let key = key(finding, body_position);
        let mut parts = vec!["finding", session.as_str()];
        parts.extend(key.iter().map(String::as_str));
        derive(&parts)
    })
}

#[cfg(test)]
mod tests {
    use super::derive;

    #[test]
    fn parts_do_not_run_together() {
        assert_ne!(derive(&["ab", "c"]), derive(&["a", "bc"]));
        assert_eq!(derive(&["ab", "c"]), derive(&["ab", "c"]));
    }
}
