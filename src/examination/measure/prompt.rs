//! One prompt: what somebody is asked to look at.

use crate::base::exact::Exact;
use crate::examination::intake::parts::Side;
use crate::examination::measure::{Measured, Value};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::cautions::{CautionKind, Urgent};
use uuid::Uuid;

/// A prompt that is shown and delivered with its findings.
#[derive(Clone, PartialEq, Eq)]
pub struct Prompt {
    /// Code: a row of `cautions.csv`.
    pub code: String,
    /// The findings that raise it, the one it is about first.
    pub findings: Vec<Uuid>,
    /// JSON Pointer of the finding it is about.
    pub path: String,
    /// The side it is about: of two calves the larger one.
    pub side: Side,
    /// True when it is to reach the treating team at once.
    pub urgent: bool,
    /// What is told, in words.
    pub wording: String,
    /// What to do, and what comes before it.
    pub to_do: String,
}

impl std::fmt::Debug for Prompt {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{} [private]", self.code)
    }
}

impl Prompt {
    /// The whole prompt in words, as it stands beside its findings.
    pub fn told(&self) -> String {
        format!("prompt to look: {}; {}", self.wording, self.to_do)
    }
}

/// A prompt of a row that says so; a row that waits for a person is asked elsewhere.
pub(super) fn prompt(
    code: &str,
    findings: &[&Measured],
    detail: &str,
    catalogue: &Catalogue,
) -> Option<Prompt> {
    let row = catalogue.cautions.get(code)?;
    let about = findings.first()?;
    (row.asked == CautionKind::Prompt).then(|| Prompt {
        code: code.to_owned(),
        findings: findings.iter().map(|one| one.finding.id).collect(),
        path: about.finding.path.clone(),
        side: about.finding.side,
        urgent: row.urgent == Urgent::Yes,
        wording: format!("{} ({detail})", row.wording),
        to_do: row.hint(),
    })
}

pub(super) fn amount(value: &Value) -> Option<Exact> {
    match value {
        Value::Amount(number) => Some(*number),
        Value::Angle(_)
        | Value::Word(_)
        | Value::Grade(_)
        | Value::Relative(_)
        | Value::NoCatch
        | Value::NotTested(_) => None,
    }
}
