//! Confirmations held against the cautions they confirm.

use crate::base::code::Code;
use crate::base::code::meaning::Severity;
use crate::base::private::Private;
use crate::base::problem::{Problem, Problems};
use crate::examination::finding::{Confirmation, Performer, Session};
use crate::fhir::summary;
use std::collections::BTreeSet;

/// How confirmations are held against cautions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Confirming {
    /// By code, path and mark: of a document that is to be accepted.
    ByMark,
    /// By code and path: they were judged when the document was accepted, and are not judged again.
    Before,
}

/// A caution that a named person confirmed becomes a note that says so; one confirmation serves one
/// caution, or all of one cause, and a confirmation of nothing is told. What was confirmed stays a prompt
/// to look.
pub(super) fn confirm(
    session: &mut Session,
    confirming: Confirming,
    problems: &mut Problems,
) -> Vec<summary::Prompt> {
    let mut prompts = Vec::new();
    let performers = &session.performers;
    let confirmations = &mut session.confirmations;
    let mut covers: Vec<Covers> = confirmations.iter().map(|_| Covers::Nothing).collect();
    let raised: BTreeSet<String> = problems
        .cautions()
        .iter()
        .map(|one| one.mark.clone())
        .collect();
    problems.refine(|mut problem| {
        let found = (problem.severity == Severity::Caution)
            .then(|| {
                covering(
                    &problem,
                    confirmations,
                    &covers,
                    (confirming == Confirming::Before).then_some(&raised),
                )
            })
            .flatten();
        let place = found.and_then(|at| Some((confirmations.get_mut(at)?, covers.get_mut(at)?)));
        if let Some((confirmation, covers)) = place {
            // Words that were meant for one caution are not put under others.
            *covers = if confirmation.mark == problem.mark {
                Covers::of(&problem)
            } else {
                Covers::One
            };
            let by = performers.iter().find(|one| one.key == confirmation.by);
            let role = by.map(|by| by.role.clone()).unwrap_or_default();
            let before = confirmation.what.take();
            let before = before.map(|before| format!("{}; ", before.open()));
            let what = before.unwrap_or_default() + &problem.what;
            confirmation.what = Some(Private::new(what));
            prompts.push(answered(&problem, role, confirmation));
            problem.severity = Severity::Note;
            problem.hint = format!(
                "confirmed by {} at {}: {}",
                confirmation.by,
                confirmation.at.text,
                confirmation.reason.open()
            );
        }
        Some(problem)
    });
    let idle = confirmations.iter().zip(&covers);
    for (confirmation, _) in idle.filter(|(_, covers)| **covers == Covers::Nothing) {
        if confirming == Confirming::Before {
            prompts.push(no_longer_raised(confirmation, performers));
            continue;
        }
        let what = format!(
            "no caution {} at {} carries the mark {}",
            confirmation.code, confirmation.path, confirmation.mark
        );
        let hint = "take code, path and mark from the caution as it is printed now, or remove it";
        problems.error(Code::ConfirmationIdle, &confirmation.at_path, what, hint);
    }
    prompts
}

/// A caution that was answered, as a prompt to look.
fn answered(problem: &Problem, role: String, confirmation: &Confirmation) -> summary::Prompt {
    summary::Prompt {
        code: problem.code.word().to_owned(),
        path: problem.path.clone(),
        what: Private::new(problem.what.clone()),
        to_do: None,
        urgent: false,
        confirmed: Some((role, confirmation.reason.clone())),
    }
}

/// What a confirmation was found to cover.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Covers {
    Nothing,
    One,
    /// All cautions of this cause.
    Cause(String),
}

impl Covers {
    fn of(problem: &Problem) -> Self {
        if problem.cause.is_empty() {
            Self::One
        } else {
            Self::Cause(problem.cause.clone())
        }
    }
}

/// The confirmation that covers a caution: its own before one that covers others of its cause. With the
/// marks that are raised, of a document that is kept.
fn covering(
    problem: &Problem,
    confirmations: &[Confirmation],
    covers: &[Covers],
    raised_before: Option<&BTreeSet<String>>,
) -> Option<usize> {
    let find = |fits: &dyn Fn(&Confirmation, &Covers) -> bool| {
        let mut both = confirmations.iter().zip(covers);
        both.position(|(one, covers)| one.code == problem.code.word() && fits(one, covers))
    };
    let free = |covers: &Covers| *covers == Covers::Nothing;
    let here = |one: &Confirmation| one.path == problem.path;
    let marked = |one: &Confirmation| one.mark == problem.mark;
    let caused = !problem.cause.is_empty();
    let own = find(&|one, covers| free(covers) && here(one) && marked(one));
    let of_cause = || {
        let same = |one: &Confirmation, covers: &Covers| {
            marked(one) && (free(covers) || *covers == Covers::of(problem))
        };
        let found = caused.then(|| find(&same));
        found.flatten()
    };
    // A document that is kept was judged by the tables of its day, so its marks may be of then; one that
    // is raised today belongs to that caution.
    let before = || {
        let raised = raised_before?;
        find(&|one, covers| free(covers) && here(one) && !raised.contains(&one.mark))
    };
    own.or_else(of_cause).or_else(before)
}

/// A caution that was confirmed and that the tables of today do not raise stays a prompt: with other
/// tables it was one, and nobody has answered it since.
fn no_longer_raised(one: &Confirmation, performers: &[Performer]) -> summary::Prompt {
    let by = performers.iter().find(|it| it.key == one.by);
    let role = by.map(|by| by.role.clone()).unwrap_or_default();
    summary::Prompt {
        code: one.code.clone(),
        path: one.path.clone(),
        what: Private::new(format!("a caution named {}", one.code)),
        to_do: None,
        urgent: false,
        confirmed: Some((role, one.reason.clone())),
    }
}
