//! From the text of a session document to a checked record: the whole pure middle of the house.

use crate::base::code::Code;
use crate::base::code::meaning::{Answer, Severity};
use crate::base::problem::{Problem, Problems};
use crate::examination::compare::Comparison;
use crate::examination::finding::Session;
use crate::examination::measure::Measured;
use crate::examination::measure::prompt::Prompt;
use crate::examination::trace::session::Traces;
use crate::fhir::check::Checked;
use crate::fhir::coding::Coded;
use crate::fhir::summary::{self, Summary};
use crate::service::app::assess::{Assessed, Earlier, assess};
use crate::service::app::confirmed::Confirming;
use crate::tables::catalogue::Catalogue;
use chrono::{DateTime, Utc};

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
    let (Some(session), Some(canonical)) = (session, read.canonical) else {
        return Err(held(problems));
    };
    let confirming = Confirming::ByMark;
    let (assessed, mut problems) = assess(session, earlier, confirming, problems, catalogue);
    let summary = summary::of_session(&assessed.examined(), catalogue);
    let Assessed {
        session,
        measured,
        prompts,
        comparisons,
        traces,
        coded,
        ..
    } = assessed;
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

#[cfg(test)]
mod tests {
    use super::encode;
    use crate::service::app::assess::Earlier;
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
