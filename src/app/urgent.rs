//! What of a session is to reach the treating team at once, whatever becomes of its delivery.

use crate::app::encode::Encoded;
use crate::json::Node;
use crate::outbox::accept::Before;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeSet;

/// A precaution that nobody knew before.
pub const NEW_PRECAUTION: &str = "precaution.new";

/// The codes of what is urgent: a precaution that stands and that no session before stated, and the
/// prompts that `cautions.csv` calls urgent. A session that is withdrawn has none.
pub fn of(encoded: &Encoded, before: &Before) -> Vec<String> {
    if encoded.session.withdrawn {
        return Vec::new();
    }
    let known = known(before);
    let precautions = encoded.session.precautions.iter();
    let is_new = precautions.filter(|one| !one.carried).any(|one| {
        one.lifted.is_none()
            && one.status != "entered-in-error"
            && !known.contains(&one.id.to_string())
    });
    let prompts = encoded.prompts.iter().filter(|prompt| prompt.urgent);
    let codes: BTreeSet<String> = prompts.map(|prompt| prompt.code.clone()).collect();
    let new = is_new.then(|| NEW_PRECAUTION.to_owned());
    new.into_iter().chain(codes).collect()
}

/// Precautions of sessions before, and of the version before of this one.
fn known(before: &Before) -> BTreeSet<String> {
    let mut known = BTreeSet::new();
    let stated = before.precautions.iter();
    let stated = stated.filter_map(|text| Node::parse(text).ok());
    let document = before.version.as_ref();
    let document = document.and_then(|(document, _)| Node::parse(document).ok());
    let of_document = document.iter().flat_map(|one| one.items_of("precautions"));
    for precaution in stated.chain(of_document.cloned()) {
        known.extend(precaution.text_of("id").map(str::to_owned));
    }
    known
}

/// How long something waits, in words that grow with it.
pub fn age(since: DateTime<Utc>, now: DateTime<Utc>) -> String {
    let waited = (now - since).max(TimeDelta::zero());
    let (days, hours) = (waited.num_days(), waited.num_hours());
    let minutes = waited.num_minutes();
    if days > 0 {
        format!("{days} d {} h", hours - days * 24)
    } else if hours > 0 {
        format!("{hours} h {} min", minutes - hours * 60)
    } else {
        format!("{minutes} min")
    }
}

#[cfg(test)]
mod tests {
    use super::age;
    use chrono::{DateTime, TimeDelta, Utc};

    #[test]
    fn an_age_is_told_in_the_two_words_that_matter() {
        let now: DateTime<Utc> = "2026-11-25T08:00:00Z".parse().expect("a time");

        let told =
            [59, 90, 3_660, 90_000].map(|seconds| age(now - TimeDelta::seconds(seconds), now));

        assert_eq!(told, ["0 min", "1 min", "1 h 1 min", "1 d 1 h"]);
        assert_eq!(age(now + TimeDelta::days(1), now), "0 min");
    }
}
