//! Under which published codes.
//!
//! Owns: choosing codes for measure, site, side, method and words. In: measured findings. Out:
//! [`Coded`] findings. Never: builds a resource, guesses a code, puts a wider code first.

mod circumstances;
pub mod comparison;
mod parts;
pub mod prompts;
pub mod sentence;
pub mod statements;
pub mod traces;

use crate::base::exact::Exact;
use crate::base::private::Private;
use crate::examination::compare::part::Input;
use crate::examination::compare::{Comparison, Rule};
use crate::examination::finding::{Finding, Precaution, Session};
use crate::examination::intake::parts::Side;
use crate::examination::measure::{Extent, Measured, Value};
use crate::examination::trace::session::Traces;
use crate::examination::trace::traced::Samples;
use crate::tables::catalogue::rows::{CodeRow, Kind, Relation, Site};
use crate::tables::catalogue::{Catalogue, NOT_TESTED, RELATIVE, SNOMED, VISIT};
use uuid::Uuid;

/// A code with its system and display.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code {
    /// Code system.
    pub system: String,
    /// Code.
    pub code: String,
    /// Display as in the table.
    pub display: String,
}

/// A concept: codes that mean it, the closest first, and words.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Concept {
    /// The codes.
    pub codes: Vec<Code>,
    /// In words.
    pub text: Option<String>,
}

/// A quantity with its unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Amount {
    /// The number, digits kept.
    pub value: Exact,
    /// True when the true value is at least this.
    pub at_least: bool,
    /// Unit for people.
    pub unit: String,
    /// UCUM code.
    pub code: String,
}

/// What a finding or a part of it amounts to.
#[derive(Clone, PartialEq, Eq)]
pub enum CodedValue {
    /// A quantity.
    Amount(Amount),
    /// A concept.
    Concept(Concept),
    /// Nothing, and why.
    Absent(Concept),
    /// A whole number.
    Count(u32),
    /// A day.
    Day(chrono::NaiveDate),
    /// A year, month, day or instant as it was written.
    When(String),
    /// Words.
    Words(Private<String>),
    /// Evenly sampled degrees.
    Samples(Samples),
    /// No value of its own: its members have them.
    Members,
}

impl std::fmt::Debug for CodedValue {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("[private]")
    }
}

/// A published range beside a value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CodedRange {
    /// Its lower end.
    pub low: Amount,
    /// Its upper end.
    pub high: Amount,
    /// Completed years from which, and up to which, it holds.
    pub ages: (Option<u32>, Option<u32>),
    /// Table, row, version and what it describes, in words.
    pub text: String,
}

/// One statement under its codes.
#[derive(Debug, Clone)]
pub struct Coded {
    /// Identity.
    pub id: Uuid,
    /// What part it plays in the session: `finding`, `trace`, `trace-catch`, `trace-line`,
    /// `precaution`, `statement`, `panel`, or the name of a comparison.
    pub role: &'static str,
    /// Kind of measure.
    pub kind: Kind,
    /// What was observed.
    pub code: Concept,
    /// What came of it.
    pub value: CodedValue,
    /// Where, with side.
    pub body_site: Option<Concept>,
    /// Position of the body.
    pub position: Option<Concept>,
    /// How.
    pub method: Option<Concept>,
    /// Parts that are not the value.
    pub parts: Vec<(Concept, CodedValue)>,
    /// Published ranges it was held against.
    pub ranges: Vec<CodedRange>,
    /// How it lies beside the first of them.
    pub interpretation: Option<Concept>,
    /// What it was derived from.
    pub derived_from: Vec<Input>,
    /// Notes in words.
    pub notes: Vec<Private<String>>,
    /// The whole statement in words.
    pub told: Private<String>,
    /// The finding, for time and instrument.
    pub finding: Option<Finding>,
    /// True when it is withdrawn.
    pub withdrawn: bool,
    /// True for what was computed and nobody has accepted yet.
    pub preliminary: bool,
}

/// Codes a whole session: findings, derived results, precautions, statements, and the panel last.
pub fn code(
    session: &Session,
    measured: &[Measured],
    comparisons: &[Comparison],
    recorded: &Traces,
    catalogue: &Catalogue,
) -> Vec<Coded> {
    let examined = measured
        .iter()
        .any(|one| one.examined() && !one.finding.withdrawn)
        || session.traces.iter().any(|one| !one.withdrawn);
    let beside: Vec<&Comparison> = comparisons
        .iter()
        .filter(|one| one.rule == Rule::PublishedRange)
        .collect();
    let findings = measured.iter().map(|one| {
        let of_it = beside
            .iter()
            .filter(|other| other.about.finding.id == one.finding.id);
        let mut ranges = of_it.filter_map(|other| comparison::range(other, catalogue));
        finding(one, ranges.next(), catalogue)
    });
    let derived = comparisons
        .iter()
        .filter_map(|one| comparison::coded(one, catalogue));
    let precautions = session
        .precautions
        .iter()
        .map(|one| precaution(one, catalogue));
    let statements = session.statements.iter();
    let statements = statements.map(|one| statements::statement(one, session, catalogue));
    findings
        .chain(derived)
        .chain(traces::all(session, recorded, catalogue))
        .chain(precautions)
        .chain(statements)
        .chain([panel(session, examined, catalogue)])
        .collect()
}

/// The concept of a word of a list of ours: our code first, wider published codes after it.
pub fn word(catalogue: &Catalogue, list: &str, code: &str) -> Concept {
    let thing = format!("{list}/{code}");
    let label = catalogue
        .word(list, code)
        .map(|row| row.label.clone())
        .unwrap_or_default();
    let own = Code {
        system: Catalogue::system_of(list),
        code: code.to_owned(),
        display: label.clone(),
    };
    Concept {
        codes: around(catalogue, &thing, own),
        text: Some(label),
    }
}

/// Published codes that are equivalent go before ours, wider ones after it, so that a reader who
/// takes the first coding never merges two measures into one trend.
fn around(catalogue: &Catalogue, thing: &str, own: Code) -> Vec<Code> {
    let rows: Vec<&CodeRow> = catalogue.codes_of(thing).collect();
    let published = |relation: Relation| {
        let rows = rows.iter().filter(move |row| row.relation == relation);
        rows.map(|row| Code {
            system: row.system.clone(),
            code: row.code.clone(),
            display: row.display.clone(),
        })
    };
    published(Relation::Equivalent)
        .chain(published(Relation::Position))
        .chain([own])
        .chain(published(Relation::Wider))
        .collect()
}

fn measure_concept(catalogue: &Catalogue, measure: &str, text: String) -> Concept {
    let label = catalogue
        .measures
        .get(measure)
        .map(|row| row.label.clone())
        .unwrap_or_default();
    let own = Code {
        system: Catalogue::system_of("measure"),
        code: measure.to_owned(),
        display: label,
    };
    Concept {
        codes: around(catalogue, measure, own),
        text: Some(text),
    }
}

fn finding(one: &Measured, beside: Option<(CodedRange, Concept)>, catalogue: &Catalogue) -> Coded {
    let (range, interpretation) = beside.unzip();
    let row = &one.row;
    let text = if row.kind.has_ending() {
        format!(
            "{}; degrees beyond neutral, minus is short of neutral",
            row.label
        )
    } else {
        row.label.clone()
    };
    let mut coded = Coded {
        id: one.finding.id,
        role: "finding",
        kind: row.kind,
        code: measure_concept(catalogue, &row.measure, text),
        value: value(one, catalogue),
        body_site: row
            .site
            .as_deref()
            .and_then(|s| body_site(catalogue, s, one.finding.side)),
        position: Some(word(catalogue, "body-position", &one.finding.position)),
        method: Some(word(catalogue, "method", &one.finding.method)),
        parts: parts::of(one, catalogue),
        ranges: range.into_iter().collect(),
        interpretation,
        derived_from: Vec::new(),
        notes: one.finding.note.iter().cloned().collect(),
        finding: Some(one.finding.clone()),
        withdrawn: one.finding.withdrawn,
        preliminary: false,
        told: Private::default(),
    };
    coded.told = sentence::whole(&coded, Some(sentence::value(one, catalogue)));
    coded
}

fn value(one: &Measured, catalogue: &Catalogue) -> CodedValue {
    let list = one.scale.as_deref().unwrap_or_default();
    match &one.value {
        Value::Angle(angle) => CodedValue::Amount(amount(
            angle.degrees(),
            angle.extent() == Extent::AtLeast,
            one.row.unit.as_deref().unwrap_or_default(),
            catalogue,
        )),
        Value::Amount(number) => CodedValue::Amount(amount(
            *number,
            false,
            one.unit.as_deref().unwrap_or_default(),
            catalogue,
        )),
        Value::Word(code) | Value::Grade(code) => CodedValue::Concept(word(catalogue, list, code)),
        Value::Relative(code) => CodedValue::Concept(word(catalogue, RELATIVE, code)),
        Value::NoCatch => CodedValue::Absent(Concept {
            codes: vec![Code {
                system: "http://terminology.hl7.org/CodeSystem/data-absent-reason".to_owned(),
                code: "not-applicable".to_owned(),
                display: "Not Applicable".to_owned(),
            }],
            text: Some("no catch was met, so there is no angle of a catch".to_owned()),
        }),
        Value::NotTested(reason) => {
            let mut concept = absent(catalogue, NOT_TESTED, reason);
            concept.text = concept.text.map(|text| format!("not tested: {text}"));
            CodedValue::Absent(concept)
        }
    }
}

/// The standard reason first, then ours, which says why.
fn absent(catalogue: &Catalogue, list: &str, reason: &str) -> Concept {
    let thing = format!("{list}/{reason}");
    let mut concept = word(catalogue, list, reason);
    let standard = catalogue
        .codes_of(&thing)
        .filter(|row| row.relation == Relation::Absent);
    let standard = standard.map(|row| Code {
        system: row.system.clone(),
        code: row.code.clone(),
        display: row.display.clone(),
    });
    concept.codes.splice(0..0, standard);
    concept
}

fn amount(value: Exact, at_least: bool, code: &str, catalogue: &Catalogue) -> Amount {
    let unit = catalogue.unit_label(code).unwrap_or_default().to_owned();
    Amount {
        value,
        at_least,
        unit,
        code: code.to_owned(),
    }
}

fn body_site(catalogue: &Catalogue, key: &str, side: Side) -> Option<Concept> {
    let place: &Site = catalogue.sites.get(key)?;
    let [unsided, left, right] = place.published();
    let published = match side {
        Side::Left => left,
        Side::Right => right,
        Side::Middle => unsided,
    };
    let published = published.map(|(code, display)| Code {
        system: SNOMED.to_owned(),
        code: code.to_owned(),
        display: display.to_owned(),
    });
    let own = Catalogue::site_code(side.word(), key);
    let display = catalogue.site_display(&own)?;
    let thing = format!("site/{own}");
    let own = Code {
        system: Catalogue::system_of("site"),
        code: own,
        display: display.clone(),
    };
    let around = around(catalogue, &thing, own);
    Some(Concept {
        codes: published.into_iter().chain(around).collect(),
        text: Some(display),
    })
}

fn precaution(one: &Precaution, catalogue: &Catalogue) -> Coded {
    let label = "precaution that limits the examination".to_owned();
    let mut coded = Coded {
        id: one.id,
        role: "precaution",
        kind: Kind::Precaution,
        code: measure_concept(catalogue, "precaution", label),
        value: CodedValue::Concept(word(catalogue, "precaution-limit", &one.limit)),
        body_site: body_site(catalogue, &one.site, one.side),
        position: None,
        method: None,
        parts: parts::of_precaution(one, catalogue),
        ranges: Vec::new(),
        interpretation: None,
        derived_from: Vec::new(),
        notes: one
            .carried
            .then(|| Private::new("carried over from an earlier session, not lifted".to_owned()))
            .into_iter()
            .collect(),
        finding: None,
        withdrawn: one.status == "entered-in-error",
        preliminary: false,
        told: Private::default(),
    };
    coded.told = sentence::whole(&coded, None);
    coded
}

fn panel(session: &Session, examined: bool, catalogue: &Catalogue) -> Coded {
    let text = "neurological physiotherapy examination".to_owned();
    let mut coded = Coded {
        id: crate::examination::finding::derived_identity("panel", &[&session.id.to_string()]),
        role: "panel",
        kind: Kind::Panel,
        code: measure_concept(catalogue, "session.examination", text),
        value: match &session.visit {
            Some(visit) if !examined => {
                CodedValue::Absent(absent(catalogue, VISIT, &visit.outcome))
            }
            Some(_) | None => CodedValue::Members,
        },
        body_site: None,
        position: None,
        method: None,
        parts: circumstances::parts(session, catalogue),
        ranges: Vec::new(),
        interpretation: None,
        derived_from: Vec::new(),
        notes: parts::panel_notes(session),
        finding: None,
        withdrawn: session.withdrawn,
        preliminary: false,
        told: Private::default(),
    };
    coded.told = sentence::whole(&coded, None);
    coded
}
