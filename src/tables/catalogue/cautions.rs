//! Cautions and prompts as the tables word them.

use crate::base::code::Code;
use crate::base::code::meaning::Severity;
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::parts::in_family;
use serde::Deserialize;

/// Whether a caution waits for a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CautionKind {
    /// Nothing is sent before a named person confirms it.
    Confirm,
    /// It is shown, and delivered with its findings.
    Prompt,
}

/// Whether it is to reach the treating team at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Urgent {
    /// At once.
    Yes,
    /// With everything else.
    No,
}

/// One row of `cautions.csv`: a prompt to look, and never a diagnosis.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Caution {
    /// Code.
    pub caution: String,
    /// Whether it waits for a person.
    pub asked: CautionKind,
    /// Whether it is to reach the treating team at once.
    pub urgent: Urgent,
    /// When it is raised, in words.
    pub when: String,
    /// What is told.
    pub wording: String,
    /// What to do.
    pub to_do: String,
    /// What comes before it.
    pub defers: String,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
}

/// One row of `caution_signs.csv`: a result that raises a caution by itself.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct CautionSign {
    /// The caution.
    pub caution: String,
    /// Beginning of the keys of its measures.
    pub family: String,
    /// The word or grade, or `any`.
    pub value: String,
}

/// The value of a sign that any result is.
const ANY: &str = "any";

impl Caution {
    /// What to do, and what comes before it.
    pub fn hint(&self) -> String {
        format!("{}; {}", self.to_do, self.defers)
    }
}

impl CautionSign {
    /// True for a result of a measure: the word or grade it has, where it has one.
    pub fn is_met(&self, measure: &str, value: Option<&str>) -> bool {
        in_family(measure, &self.family) && (self.value == ANY || value == Some(&self.value))
    }
}

/// What is wrong with a row of `cautions.csv`, beside the rules that raise it.
fn of_row(row: &Caution, signs: &[CautionSign]) -> Option<String> {
    let word = &row.caution;
    let signed = || signs.iter().any(|sign| sign.caution == *word);
    match (Code::of(word), row.asked) {
        (Some(code), CautionKind::Prompt) if code.is_a_prompt() => None,
        (Some(code), CautionKind::Confirm) if is_a_caution(code) => None,
        (Some(code), CautionKind::Confirm) if code.is_a_prompt() => {
            Some(format!("{word} waits for nobody: asked is prompt"))
        }
        (Some(code), CautionKind::Prompt) if is_a_caution(code) => {
            Some(format!("{word} waits for a person: asked is confirm"))
        }
        (Some(_), _) => Some(format!("{word} is the code of something else")),
        // A site may add a prompt of its own that a result raises by itself.
        (None, CautionKind::Prompt) if signed() => None,
        (None, _) => Some(format!(
            "nothing raises {word}: no rule of ours, and as a prompt no row of caution_signs.csv"
        )),
    }
}

fn is_a_caution(code: Code) -> bool {
    code.meaning().severity == Some(Severity::Caution)
}

/// Every fault, with its table and the beginning of its row.
pub(super) fn faults(catalogue: &Catalogue) -> Vec<(&'static str, String, String)> {
    let rows = catalogue.cautions.values();
    let mut faults: Vec<_> = rows
        .filter_map(|row| {
            let what = of_row(row, &catalogue.caution_signs)?;
            Some(("cautions.csv", row.caution.clone(), what))
        })
        .collect();
    for sign in &catalogue.caution_signs {
        let mut fault = |what: String| {
            let key = [sign.caution.as_str(), &sign.family, &sign.value].join(",");
            faults.push(("caution_signs.csv", key, what));
        };
        if !catalogue.cautions.contains_key(&sign.caution) {
            fault(format!("{} is not in cautions.csv", sign.caution));
        }
        let measures = catalogue.measures.values();
        let family = measures.filter(|row| in_family(&row.measure, &sign.family));
        let mut known = false;
        for row in family {
            let mut lists = catalogue.lists_of(row);
            known |=
                sign.value == ANY || lists.any(|list| catalogue.word(list, &sign.value).is_some());
        }
        if !known {
            let what = format!("{} is no value of {}", sign.value, sign.family);
            fault(what);
        }
    }
    faults
}
