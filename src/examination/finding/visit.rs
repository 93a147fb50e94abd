//! Who examined what, in which stay, and what became of the visit.

use crate::base::code::Code;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::performers::must_be_performer;
use crate::examination::finding::{Finding, Outcome, Performer};
use crate::examination::intake::draft::{
    DocumentVersion, Draft, FindingDraft, IdentifierDraft, SessionDraft,
};

/// What became of a visit at which not everything was examined.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Visit {
    /// A word of `visit-outcome`.
    pub outcome: String,
    /// Why, in words.
    pub reason: Private<String>,
}

/// Who examined one thing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Examiner {
    /// A key of the performers.
    pub key: String,
    /// Role and identifier, where several examined and a reader has to be told who this was.
    pub told: Option<Private<String>>,
}

/// How something was felt beside something else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Compared {
    /// Beside what: a word of `sensation-reference`.
    pub beside: String,
    /// How: a word of `sensation-compared`.
    pub felt: String,
}

/// What became of the visit, as stated.
pub(super) fn of(session: &SessionDraft) -> Option<Visit> {
    session.visit.as_ref().map(|visit| Visit {
        outcome: visit.outcome.clone(),
        reason: Private::new(visit.reason.clone()),
    })
}

/// The examiner of a finding: the one it names, or the sole performer. Of several who are not named
/// nobody knows, and the first form of the document could name none.
pub(super) fn examiner(
    draft: &FindingDraft,
    path: &str,
    form: DocumentVersion,
    performers: &[Performer],
    problems: &mut Problems,
) -> Option<Examiner> {
    if let Some(key) = &draft.examiner {
        let path = format!("{path}/examiner");
        must_be_performer(key, &path, performers, problems);
        let named = performers.iter().find(|one| one.key == *key);
        let told = named.map(|one| format!("{} {}", one.role, one.identifier.value.open()));
        let several = performers.len() > 1;
        return Some(Examiner {
            key: key.clone(),
            told: told.filter(|_| several).map(Private::new),
        });
    }
    match performers {
        [one] if form > DocumentVersion::Session1 => Some(Examiner {
            key: one.key.clone(),
            told: None,
        }),
        _ => None,
    }
}

/// Of several examiners who are not named nobody knows who found what.
fn unnamed(draft: &Draft, findings: &[Finding], performers: &[Performer], problems: &mut Problems) {
    if draft.fascicle == DocumentVersion::Session1 || performers.len() < 2 {
        return;
    }
    let mut unnamed = findings
        .iter()
        .filter(|one| one.examiner.is_none() && !one.withdrawn);
    if let Some(first) = unnamed.next() {
        let others = unnamed.count();
        let what = format!(
            "{} examined, and nothing says who examined this and {others} more",
            performers.len()
        );
        let hint = "name the examiner; without one, all of them are named";
        problems.note(
            Code::ExaminerUnsaid,
            &format!("{}/examiner", first.path),
            what,
            hint,
        );
    }
}

/// The stay everything belongs to, and the stay at the end where that is another.
pub(super) fn stays<'a>(
    session: &'a SessionDraft,
    problems: &mut Problems,
) -> (Option<&'a IdentifierDraft>, Option<&'a IdentifierDraft>) {
    let (Some(start), end) = (&session.encounter_at_start, &session.encounter) else {
        return (session.encounter.as_ref(), None);
    };
    let path = "/session/encounter_at_start";
    match end {
        None => {
            let what = "says in which stay it began, and not in which it ended".to_owned();
            let hint = "add encounter with the stay at the end; where the person was not moved, write \
                        encounter alone";
            problems.error(Code::EncounterEnd, path, what, hint);
        }
        Some(end) if end.system == start.system && end.value == start.value => {
            let what = "the stay at the start and the one at the end are the same".to_owned();
            let hint = "remove encounter_at_start: it is for a person who was moved";
            problems.error(Code::EncounterSame, path, what, hint);
        }
        Some(_) => {}
    }
    (Some(start), end.as_ref())
}

/// A visit at which nothing was examined says why, and one that was refused has no result.
pub(super) fn holds_together(
    draft: &Draft,
    findings: &[Finding],
    performers: &[Performer],
    problems: &mut Problems,
) {
    unnamed(draft, findings, performers, problems);
    let Some(visit) = &draft.session.visit else {
        // The first form has no empty list: its schema has told it.
        if draft.findings.is_empty() && draft.fascicle > DocumentVersion::Session1 {
            let what = "nothing was found, and nothing says why".to_owned();
            let hint = "add findings, or say in session.visit what became of the visit, and why";
            problems.error(Code::FindingsUnsaid, "/findings", what, hint);
        }
        return;
    };
    if visit.outcome == "broken-off" {
        return;
    }
    let found = |one: &&Finding| !one.withdrawn && matches!(one.outcome, Outcome::Found(..));
    if let Some(one) = findings.iter().find(found) {
        let what = format!("the visit was {}, yet something was found", visit.outcome);
        let hint = "write broken-off where some of it was done, or remove the result";
        problems.error(Code::VisitFound, &one.path, what, hint);
    }
    let recorded = draft.traces.iter().flatten();
    if recorded.into_iter().any(|one| !one.withdrawn) {
        let what = format!(
            "the visit was {}, yet a stretch was recorded",
            visit.outcome
        );
        let hint = "write broken-off where some of it was done, or remove the recording";
        problems.error(Code::VisitFound, "/traces", what, hint);
    }
}
