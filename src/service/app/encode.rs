//! From the text of a session document to a checked record: the whole pure middle of the house.

use crate::base::code::Code;
use crate::base::code::meaning::Answer;
use crate::base::code::meaning::Severity;
use crate::base::private::Private;
use crate::base::problem::{Problem, Problems};
use crate::examination::compare::Comparison;
use crate::examination::compare::part::EarlierSession;
use crate::examination::finding::own_words::Says;
use crate::examination::finding::{Confirmation, Precaution, Session};
use crate::examination::measure::Measured;
use crate::examination::measure::prompts::Prompt;
use crate::examination::trace::session::Traces;
use crate::fhir::check::Checked;
use crate::fhir::coding::Coded;
use crate::fhir::record::amend::VersionBefore;
use crate::fhir::summary::{self, Examined, Summary};
use crate::service::app::earlier;
use crate::tables::catalogue::{Catalogue, sha256_hex};
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;

/// What earlier sessions hand on.
#[derive(Debug, Clone, Default)]
pub struct Earlier {
    /// Precautions of the person that nobody has lifted.
    pub precautions: Vec<Precaution>,
    /// The version before, when this is a later version of one session.
    pub version_before: VersionBefore,
    /// Sessions of the person before this one, the latest first.
    pub sessions: Vec<EarlierSession>,
}

/// A session document that holds.
#[derive(Debug)]
pub struct Encoded {
    /// The checked record.
    pub checked: Checked,
    /// The session as understood.
    pub session: Session,
    /// Its findings in their measures.
    pub measured: Vec<Measured>,
    /// Prompts that the findings raise.
    pub prompts: Vec<Prompt>,
    /// What its findings came to beside each other, beside tables and beside earlier sessions.
    pub comparisons: Vec<Comparison>,
    /// The traces, and what was computed from them.
    pub traces: Traces,
    /// All its statements under their codes.
    pub coded: Vec<Coded>,
    /// What a colleague reads.
    pub summary: Summary,
    /// The document with keys sorted and without white space.
    pub canonical: String,
    /// Notes, and cautions that were confirmed.
    pub told: Vec<Problem>,
}

/// What stands in the way of a document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// Everything found, in the order of paths.
    pub problems: Vec<Problem>,
    /// Codes of what is urgent in it, as far as it was understood; filled where it was to be kept.
    pub urgent: Vec<String>,
}

impl Held {
    /// Held for these reasons.
    pub const fn new(problems: Vec<Problem>) -> Self {
        Self {
            problems,
            urgent: Vec::new(),
        }
    }

    /// What the service answers: of everything that stands in the way what decides first.
    pub fn answer(&self) -> Answer {
        let answers = self.problems.iter().map(|one| match one.severity {
            Severity::Error => one.code.meaning().answer,
            Severity::Caution => Answer::WaitsForConfirmation,
            Severity::Note => Answer::Told,
        });
        answers.min().unwrap_or(Answer::DoesNotHold)
    }

    /// True when nothing but unconfirmed cautions stands in the way.
    pub fn waits_for_confirmation(&self) -> bool {
        self.problems
            .iter()
            .all(|problem| problem.severity != Severity::Error)
    }
}

/// Takes a document the whole pure way.
///
/// # Errors
/// [`Held`] with every problem at once, when an error stands or a caution is not confirmed.
pub fn encode(
    text: &str,
    earlier: &Earlier,
    catalogue: &Catalogue,
    now: DateTime<Utc>,
) -> Result<Encoded, Held> {
    let held = |problems: Problems| Held::new(problems.sorted());
    let mut problems = Problems::new();
    let read = crate::examination::intake::read(text, &mut problems);
    let session = read
        .draft
        .map(|draft| crate::examination::finding::understand(&draft, now, &mut problems));
    let (Some(mut session), Some(canonical)) = (session, read.canonical) else {
        return Err(held(problems));
    };
    carry(&mut session, earlier, &mut problems);
    let measured = crate::examination::measure::measure(&session, catalogue, &mut problems);
    crate::examination::measure::sense::check(&session, &measured, catalogue, &mut problems);
    in_notation(&session, &mut problems);
    let traces = traced(&session, &measured, catalogue, &mut problems);
    let last_time = earlier::last_time(&earlier.sessions);
    let prompts =
        crate::examination::measure::prompts::of(&session, &measured, &last_time, catalogue);
    crate::examination::measure::prompts::tell(&prompts, &mut problems);
    told_prompts(&session, &prompts, &mut problems);
    let mut to_look = summary::raised(&prompts, catalogue);
    to_look.extend(confirm(&mut session, &mut problems));
    let comparisons =
        crate::examination::compare::all(&session, &measured, &earlier.sessions, catalogue);
    let mut coded =
        crate::fhir::coding::code(&session, &measured, &comparisons, &traces, catalogue);
    crate::fhir::coding::prompts::attach(&mut coded, &prompts);
    let examined = Examined {
        session: &session,
        measured: &measured,
        coded: &coded,
        comparisons: &comparisons,
        prompts: &to_look,
    };
    let summary = summary::of_session(&examined, catalogue);
    let record = match crate::fhir::record::build(&session, &coded, &summary, catalogue) {
        Ok(record) => record,
        Err(cause) => return Err(no_record(&cause, problems)),
    };
    let record = crate::fhir::record::amend::settle(record, &earlier.version_before, &mut problems);
    if problems.any_error() || problems.any_caution() {
        return Err(held(problems));
    }
    let checked = crate::fhir::check::check(record).map_err(Held::new)?;
    let told = problems.sorted();
    Ok(Encoded {
        checked,
        session,
        measured,
        prompts,
        comparisons,
        traces,
        coded,
        summary,
        canonical,
        told,
    })
}

/// Our own types do not serialise.
fn no_record(cause: &dyn std::fmt::Display, mut problems: Problems) -> Held {
    let what = format!("a resource does not serialise: {cause}");
    problems.error(Code::RecordJson, "", what, "report this");
    Held::new(problems.sorted())
}

fn traced(
    session: &Session,
    measured: &[Measured],
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Traces {
    let recorded =
        crate::examination::measure::traces::traces(session, measured, catalogue, problems);
    crate::examination::trace::session::traces(&recorded, measured, catalogue, problems)
}

/// A precaution stays until a named person lifts it, whether a later session speaks of it or not.
pub(super) fn carry(session: &mut Session, earlier: &Earlier, problems: &mut Problems) {
    for precaution in &earlier.precautions {
        if session
            .precautions
            .iter()
            .any(|stated| stated.id == precaution.id)
        {
            continue;
        }
        if session.none_known {
            let what = "says that none is known, but an earlier one was never lifted".to_owned();
            let hint = "state it again, or with status lifted, by whom and on which day";
            problems.error(Code::PrecautionsStillActive, "/no_precautions", what, hint);
        } else {
            let what = "an earlier precaution that was not lifted is carried over".to_owned();
            let hint = "state it again, or with status lifted, by whom and on which day";
            problems.note(Code::PrecautionCarried, "/precautions", what, hint);
        }
        let path = "/precautions".to_owned();
        session.precautions.push(Precaution {
            path,
            carried: true,
            ..precaution.clone()
        });
    }
}

/// What is told of the value of a direction stands at the plane it was written in.
fn in_notation(session: &Session, problems: &mut Problems) {
    let planes = session.findings.iter().filter(|one| one.notation.is_some());
    let values: BTreeSet<String> = planes.map(|one| format!("{}/value", one.path)).collect();
    problems.refine(|mut problem| {
        let part = problem.path.rsplit_once('/').map(|(part, _)| part);
        let told = values.contains(&problem.path) || part.is_some_and(|part| values.contains(part));
        if told && !problem.path.ends_with("/value/unit") {
            let path = part
                .filter(|part| values.contains(*part))
                .unwrap_or(&problem.path);
            problem.path = format!("{path}/notation");
        }
        Some(problem)
    });
}

/// The mark of a caution: a confirmation names it, so that it confirms this caution about this
/// content and no other, whatever moves in the document.
pub fn mark(problem: &Problem) -> String {
    let parts = [problem.code.word(), &problem.path, &problem.what];
    let mut mark = sha256_hex(parts.join("\n").as_bytes());
    mark.truncate(8);
    mark
}

/// What was passed on about a prompt of this session names one that there is.
fn told_prompts(session: &Session, prompts: &[Prompt], problems: &mut Problems) {
    let named = session.statements.iter().filter_map(|one| match &one.says {
        Says::Told {
            prompt: Some(prompt),
            ..
        } if !one.withdrawn && prompt.session.is_none_or(|of| of == session.id) => {
            Some((&one.path, prompt))
        }
        Says::Told { .. }
        | Says::Conclusion
        | Says::Priority
        | Says::Goal { .. }
        | Says::HandlingStep { .. }
        | Says::Recommendation { .. } => None,
    });
    for (path, prompt) in named {
        let is_it = |one: &Prompt| one.code == prompt.code && one.path == prompt.path;
        if prompts.iter().any(is_it) || problems.has_caution(&prompt.code, &prompt.path) {
            continue;
        }
        let what = format!("no prompt {} at {}", prompt.code, prompt.path);
        let hint = "take code and path from the prompt as it is printed now, or name its session";
        problems.error(Code::ToldPrompt, &format!("{path}/prompt"), what, hint);
    }
}

/// A caution that a named person confirmed becomes a note that says so; one confirmation serves one
/// caution, and a confirmation of nothing is told. What was confirmed stays a prompt to look.
pub(super) fn confirm(session: &mut Session, problems: &mut Problems) -> Vec<summary::Prompt> {
    let mut prompts = Vec::new();
    let performers = &session.performers;
    let mut left: Vec<Option<&mut Confirmation>> =
        session.confirmations.iter_mut().map(Some).collect();
    problems.refine(|mut problem| {
        if problem.severity == Severity::Caution {
            let same = |c: &Confirmation| {
                c.code == problem.code.word() && c.path == problem.path && c.mark == mark(&problem)
            };
            let found = left
                .iter_mut()
                .find(|slot| slot.as_deref().is_some_and(same));
            if let Some(confirmation) = found.and_then(Option::take) {
                let by = performers.iter().find(|one| one.key == confirmation.by);
                let role = by.map(|by| by.role.clone()).unwrap_or_default();
                confirmation.what = Some(Private::new(problem.what.clone()));
                prompts.push(summary::Prompt {
                    code: problem.code.word().to_owned(),
                    path: problem.path.clone(),
                    what: Private::new(problem.what.clone()),
                    to_do: None,
                    urgent: false,
                    confirmed: Some((role, confirmation.reason.clone())),
                });
                problem.severity = Severity::Note;
                problem.hint = format!(
                    "confirmed by {} at {}: {}",
                    confirmation.by,
                    confirmation.at.text,
                    confirmation.reason.open()
                );
            }
        }
        Some(problem)
    });
    for confirmation in left.into_iter().flatten() {
        let what = format!(
            "no caution {} at {} carries the mark {}",
            confirmation.code, confirmation.path, confirmation.mark
        );
        let hint = "take code, path and mark from the caution as it is printed now, or remove it";
        problems.error(Code::ConfirmationIdle, &confirmation.at_path, what, hint);
    }
    prompts
}

#[cfg(test)]
mod tests {
    use super::{Earlier, encode};
    use crate::tables::catalogue::Catalogue;

    #[test]
    fn the_first_demo_session_holds_and_has_every_part() {
        let catalogue = Catalogue::embedded().expect("sound tables");
        let now = "2026-11-20T00:00:00Z".parse().expect("a time");
        let text = include_str!("../../../fixtures/sessions/first.json");

        let encoded = encode(text, &Earlier::default(), &catalogue, now).expect("holds");

        let record = encoded.checked.record();
        let count = |kind: &str| record.entries.iter().filter(|e| e.kind == kind).count();
        // 27 findings, one dynamic component, seven side differences, one precaution, seven
        // statements, the panel.
        assert_eq!(
            (count("Observation"), count("Device"), count("Provenance")),
            (44, 1, 1)
        );
        assert_eq!(count("DiagnosticReport"), 1);
    }
}
