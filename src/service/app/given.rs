//! A session as it was given: as a document, or as rows of a sheet.

use crate::base::code::Code;
use crate::base::code::meaning::Severity;
use crate::base::problem::{Problem, Problems};
use crate::delivery::outbox::{Outbox, OutboxError};
use crate::examination::intake::sheet;
use crate::examination::intake::sheet::rows::Rows;
use crate::examination::measure::Value;
use crate::service::app::assess::Earlier;
use crate::service::app::beside::Inlined;
use crate::service::app::encode::{self, Encoded, Held};
use crate::service::app::submit::{self, Intake, Submitted};
use crate::tables::catalogue::Catalogue;
use chrono::{DateTime, Utc};

/// The text of a session document, and where it stood in a sheet.
#[derive(Clone)]
pub struct Given {
    /// The text of the document.
    pub text: String,
    /// Where its parts stood in a sheet, if it came from one.
    pub rows: Option<Rows>,
    told: Vec<Problem>,
}

impl std::fmt::Debug for Given {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Given [private]")
    }
}

impl Given {
    /// A document.
    pub const fn document(text: String) -> Self {
        Self {
            text,
            rows: None,
            told: Vec::new(),
        }
    }

    /// A document with the files that its traces name inside, and what is wrong with them.
    pub fn with_files(document: Inlined) -> Self {
        Self {
            text: document.text,
            rows: None,
            told: document.problems,
        }
    }

    /// Rows of a sheet.
    pub fn rows(session: sheet::rows::Session) -> Self {
        Self {
            text: session.text,
            rows: Some(session.rows),
            told: session.told,
        }
    }

    /// Takes it the whole pure way.
    ///
    /// # Errors
    /// [`Held`] with every problem of the cells, of the files and of the document.
    pub fn encode(
        &self,
        earlier: &Earlier,
        catalogue: &Catalogue,
        now: DateTime<Utc>,
    ) -> Result<Encoded, Held> {
        match encode::encode(&self.text, earlier, catalogue, now) {
            Ok(encoded) if self.any_error() => Err(self.held(encoded.told)),
            Ok(mut encoded) => {
                let mut told = Problems::new();
                told.take(std::mem::take(&mut encoded.told));
                told.take(self.told.iter().cloned());
                told.take(self.plus_lost(&encoded, catalogue));
                encoded.told = told.sorted();
                Ok(encoded)
            }
            Err(held) => Err(self.held(held.problems)),
        }
    }

    /// Accepts it for delivery to the targets that the routes say; nothing is stored where a cell is wrong.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn submit(
        &self,
        outbox: &Outbox,
        intake: Intake<'_>,
        now: DateTime<Utc>,
    ) -> Result<Submitted, OutboxError> {
        if self.rows.is_none() && self.told.is_empty() {
            return submit::submit_to(outbox, intake, &self.text, now).await;
        }
        let catalogue = intake.catalogue;
        let mut notes = self.told.clone();
        match encode::encode(&self.text, &Earlier::default(), catalogue, now) {
            Err(held) if self.any_error() => return Ok(Submitted::Held(self.held(held.problems))),
            Ok(encoded) if self.any_error() => {
                return Ok(Submitted::Held(self.held(encoded.told)));
            }
            Ok(encoded) => notes.extend(self.plus_lost(&encoded, catalogue)),
            // The store knows what may let it pass, or what else stands in the way.
            Err(_held) => {}
        }
        let mut submitted = submit::submit_to(outbox, intake, &self.text, now).await?;
        match &mut submitted {
            Submitted::Accepted { told, .. } => told.extend(notes),
            Submitted::Held(held) => held.problems.extend(notes),
        }
        Ok(submitted)
    }

    fn any_error(&self) -> bool {
        let is_error = |problem: &Problem| problem.severity == Severity::Error;
        self.told.iter().any(is_error)
    }

    /// What the cells show stands in place of what the document shows at the same field.
    fn held(&self, problems: Vec<Problem>) -> Held {
        let at = |told: &Problem, path: &str| {
            let below = path.strip_prefix(&told.path);
            !told.path.is_empty()
                && below.is_some_and(|below| matches!(below.get(..1), None | Some("/")))
        };
        let mut all = Problems::new();
        all.take(self.told.iter().cloned());
        all.take(problems.into_iter().filter(|problem| {
            let mut errors = self
                .told
                .iter()
                .filter(|told| told.severity == Severity::Error);
            !errors.any(|told| at(told, &problem.path))
        }));
        Held::new(all.sorted())
    }

    /// A grade that has a brother with a plus may have lost its own: a spreadsheet turns what looks
    /// like a sum into a number. Told once a session, and not where another plus survived.
    fn plus_lost(&self, encoded: &Encoded, catalogue: &Catalogue) -> Option<Problem> {
        let rows = self.rows.as_ref()?;
        let grade = |value: &Value| match value {
            Value::Grade(grade) => Some(grade.clone()),
            Value::Angle(_)
            | Value::Word(_)
            | Value::Amount(_)
            | Value::Relative(_)
            | Value::NoCatch
            | Value::NotTested(_) => None,
        };
        let grades = || {
            let all = encoded.measured.iter();
            all.filter_map(|one| Some((one, grade(&one.value)?)))
        };
        if grades().any(|(_, grade)| grade.ends_with('+')) {
            return None;
        }
        let bare = |path: &str| {
            let mut bare = rows.bare_grades.iter();
            bare.any(|(index, _)| path == format!("/findings/{index}"))
        };
        let (one, grade) = grades().find(|(one, grade)| {
            let list = one.row.scale.as_deref().unwrap_or_default();
            bare(&one.finding.path) && catalogue.word(list, &format!("{grade}+")).is_some()
        })?;
        let mut problems = Problems::new();
        let what = format!("{grade}: could a spreadsheet have taken the plus from {grade}+?");
        let hint =
            "look at the grades of this sheet; an apostrophe before a grade keeps it as text";
        let path = format!("{}/value/grade", one.finding.path);
        problems.note(Code::CsvPlusLost, &path, what, hint);
        problems.sorted().pop()
    }
}
