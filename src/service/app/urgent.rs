//! What of a session is to reach the treating team at once, whatever becomes of its delivery.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::offer::Before;
use crate::examination::finding::Session;
use crate::examination::measure::prompt::Prompt;
use crate::service::app::assess::Earlier;
use crate::service::app::earlier::last_time;
use crate::service::app::encode::Encoded;
use crate::service::app::kept::stated_precaution;
use crate::service::app::words;
use crate::tables::catalogue::Catalogue;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A precaution that nobody knew before.
pub const NEW_PRECAUTION: Code = Code::PrecautionNew;

/// The codes of what is urgent: a precaution that stands and that no session before stated, and the
/// prompts that `cautions.csv` calls urgent. A session that is withdrawn has none.
///
/// # Errors
/// [`Unread`] when what was known before does not read.
pub fn of(encoded: &Encoded, before: &Before) -> Result<Vec<String>, Unread> {
    codes(&encoded.session, &encoded.prompts, before)
}

/// The same of a document that is held, as far as it is understood: nothing of it is kept, so whoever
/// sent it has to be told at once.
///
/// # Errors
/// [`Unread`] when what was known before does not read.
pub fn of_held(
    text: &str,
    earlier: &Earlier,
    before: &Before,
    catalogue: &Catalogue,
    now: DateTime<Utc>,
) -> Result<Vec<String>, Unread> {
    let mut told_before = Problems::new();
    let read = crate::examination::intake::read(text, &mut told_before);
    let Some(draft) = read.draft else {
        return Ok(Vec::new());
    };
    let session = crate::examination::finding::understand(&draft, now, &mut told_before);
    let measured = crate::examination::measure::measure(&session, catalogue, &mut told_before);
    let last_time = last_time(&earlier.sessions);
    let prompts =
        crate::examination::measure::prompts::of(&session, &measured, &last_time, catalogue);
    codes(&session, &prompts, before)
}

fn codes(session: &Session, prompts: &[Prompt], before: &Before) -> Result<Vec<String>, Unread> {
    if session.withdrawn {
        return Ok(Vec::new());
    }
    let known = known(before)?;
    let precautions = session.precautions.iter();
    let is_new = precautions.filter(|one| !one.carried).any(|one| {
        one.lifted.is_none() && one.status != "entered-in-error" && !known.contains(&one.id)
    });
    let prompts = prompts.iter().filter(|prompt| prompt.urgent);
    let codes: BTreeSet<String> = prompts.map(|prompt| prompt.code.clone()).collect();
    let new = is_new.then(|| NEW_PRECAUTION.word().to_owned());
    Ok(new.into_iter().chain(codes).collect())
}

/// Precautions of sessions before, and of the version before of this one.
fn known(before: &Before) -> Result<BTreeSet<Uuid>, Unread> {
    let mut known = BTreeSet::new();
    for stated in &before.precautions {
        known.insert(stated_precaution(stated)?.id);
    }
    if let Some((document, _)) = &before.version {
        let session = document.read(words::understood)?;
        known.extend(session.precautions.iter().map(|one| one.id));
    }
    Ok(known)
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
