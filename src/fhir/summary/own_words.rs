//! What people said in their own words, under the name of whoever signs.

use crate::examination::finding::Session;
use crate::examination::finding::own_words::{Says, Statement};
use crate::fhir::coding::statements::role_of;
use crate::fhir::summary::words::{day, moment, one_line, quoted};
use chrono::NaiveDate;

/// The sections of own words in the order in which they are told: code and heading.
pub(super) const SECTIONS: [(&str, &str); 6] = [
    ("conclusion", "Conclusion of the therapist"),
    (
        "priority",
        "What matters most to the person, in their words",
    ),
    ("goal", "Goals"),
    ("handling-step", "Handling, step by step"),
    ("recommendation", "Recommendations"),
    ("told", "Passed on"),
];

/// The heading of a section; a conclusion stands under the name of whoever signed.
pub(super) fn heading(code: &str, title: &str, session: &Session) -> String {
    if code == "conclusion" {
        format!("{title} ({})", role_of(&session.signed.by, session))
    } else {
        title.to_owned()
    }
}

/// A statement in one line. `prompt` is the prompt it answers, in the words of the prompt; `today` the
/// day against which a review date has passed.
pub(super) fn line(
    one: &Statement,
    session: &Session,
    prompt: Option<&str>,
    today: Option<NaiveDate>,
) -> String {
    let words = quoted(&one.words);
    let overdue = |date: NaiveDate, passed: &'static str| {
        if today.is_some_and(|today| date < today) {
            passed
        } else {
            ""
        }
    };
    match &one.says {
        Says::Conclusion | Says::Priority => words,
        Says::Goal {
            target,
            agreed_with,
            state,
        } => {
            let by = target.map_or_else(
                || "no day was set".to_owned(),
                |target| {
                    let open = state.is_none();
                    let passed = if open {
                        overdue(target, ", which has passed")
                    } else {
                        ""
                    };
                    format!("to be reached by {}{passed}", day(target))
                },
            );
            let agreed = one_line(agreed_with.open());
            let state = state.as_ref().map(|state| {
                let is = state.is.replace('-', " ");
                format!("; {is}, on {}: {}", day(state.on), quoted(&state.words))
            });
            let state = state.unwrap_or_default();
            format!("{words}; {by}; agreed with: {agreed}{state}.")
        }
        Says::HandlingStep {
            number,
            author,
            review,
        } => {
            let author = role_of(author, session);
            let passed = overdue(*review, ", which has passed: ask whether it still holds");
            let review = day(*review);
            format!(
                "Step {number}: {words}; written by {author}; to be reviewed on {review}{passed}."
            )
        }
        Says::Recommendation { to } => format!("To {}: {words}.", one_line(to.open())),
        Says::Told { to, at, how, .. } => {
            let (to, how) = (one_line(to.open()), one_line(how.open()));
            let answers = prompt.map(|prompt| format!("; because of the prompt: {prompt}"));
            let answers = answers.unwrap_or_default();
            format!(
                "{words}; told to {to}, on {}; how: {how}{answers}.",
                moment(at)
            )
        }
    }
}
