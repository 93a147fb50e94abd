//! What a result is to remind people of. A prompt is to look, and never a diagnosis.
//!
//! Each is a row of `cautions.csv`, which words it and says what to do, whether it waits for a
//! person, and whether it is to reach the treating team at once.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::Session;
use crate::examination::intake::parts::Side;
use crate::examination::measure::prompt::{Prompt, amount, prompt};
use crate::examination::measure::way::Way;
use crate::examination::measure::{Measured, Value, pain};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::cautions::{Caution, CautionSign};
use crate::tables::catalogue::parts::in_family;
use crate::tables::catalogue::rows::Kind;
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// A finding of the session before, as far as a prompt needs it.
#[derive(Debug, Clone)]
pub struct Before {
    /// Its measure.
    pub measure: String,
    /// Its side.
    pub side: Side,
    /// In which way it was found.
    pub way: Way,
    /// What was found.
    pub value: Value,
    /// The list its word or grade is of.
    pub scale: Option<String>,
    /// UCUM unit of its number.
    pub unit: Option<String>,
}

/// Every prompt that the findings of a session raise, by themselves and beside those of last time.
///
/// `last_time` holds what was found in the session before of the same person, where it is known. The
/// order of the findings changes nothing.
pub fn of(
    session: &Session,
    measured: &[Measured],
    last_time: &[Before],
    catalogue: &Catalogue,
) -> Vec<Prompt> {
    if session.withdrawn {
        return Vec::new();
    }
    let standing: Vec<&Measured> = measured
        .iter()
        .filter(|one| !one.finding.withdrawn)
        .collect();
    let mut prompts = signs(&standing, catalogue);
    prompts.extend(pain::risen(&standing, catalogue));
    for one in &standing {
        prompts.extend(larger_calf(one, &standing, catalogue));
        for before in last_time.iter().filter(|before| again(before, one)) {
            prompts.extend(grown_calf(one, before, catalogue));
            prompts.extend(tone(one, before, catalogue));
        }
    }
    // Several repeats of last time say one thing, and the order of a document says nothing.
    prompts.sort_by(|a, b| (&a.code, a.side, &a.findings).cmp(&(&b.code, b.side, &b.findings)));
    prompts.dedup_by(|a, b| a.code == b.code && a.findings == b.findings);
    prompts
}

/// Tells each prompt where it is shown.
pub fn tell(prompts: &[Prompt], problems: &mut Problems) {
    for prompt in prompts {
        let what = format!("{}: {}", prompt.code, prompt.wording);
        problems.note(Code::PromptRaised, &prompt.path, what, &prompt.to_do);
    }
}

/// Asks about results that need an answer, of a person who is recorded as giving none.
pub(super) fn answers(
    session: &Session,
    measured: &[Measured],
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let said = &session.circumstances;
    let silent = [
        ("alertness", "not-rousable", &said.alertness),
        ("ability_to_answer", "none", &said.ability_to_answer),
    ];
    let silent = silent
        .into_iter()
        .find_map(|(field, word, said)| (said.as_deref() == Some(word)).then_some((field, word)));
    let Some((field, word)) = silent else {
        return;
    };
    let needs = |one: &&Measured| {
        one.examined()
            && !one.finding.withdrawn
            && met(one, catalogue).any(|sign| sign.caution == Code::AnswersDoubtful.word())
    };
    let labels: Vec<&str> = measured
        .iter()
        .filter(needs)
        .map(|one| one.row.label.as_str())
        .collect();
    if !labels.is_empty() {
        let field_words = field.replace('_', " ");
        let what = format!(
            "{field_words} is {word}, yet there are results of {}",
            labels.join(", ")
        );
        let path = format!("/session/circumstances/{field}");
        let hint = hint(Code::AnswersDoubtful, catalogue);
        problems.caution(Code::AnswersDoubtful, &path, what, &hint);
    }
}

/// What to do about a caution, as its row says.
pub(super) fn hint(code: Code, catalogue: &Catalogue) -> String {
    let row = catalogue.cautions.get(code.word());
    row.map_or_else(
        || "correct it, or confirm it with a reason".to_owned(),
        Caution::hint,
    )
}

/// The place of a word or grade in the order of its list.
pub(super) fn rank(one: &Measured, catalogue: &Catalogue) -> Option<Exact> {
    place(&one.value, one.scale.as_deref(), catalogue)
}

fn place(value: &Value, scale: Option<&str>, catalogue: &Catalogue) -> Option<Exact> {
    catalogue.word(scale?, coded(value)?)?.rank
}

fn coded(value: &Value) -> Option<&str> {
    match value {
        Value::Word(word) | Value::Grade(word) => Some(word),
        Value::Angle(_)
        | Value::Amount(_)
        | Value::Relative(_)
        | Value::NoCatch
        | Value::NotTested(_) => None,
    }
}

fn met<'a>(one: &'a Measured, catalogue: &'a Catalogue) -> impl Iterator<Item = &'a CautionSign> {
    let signs = catalogue.caution_signs.iter();
    signs.filter(|sign| sign.is_met(&one.row.measure, coded(&one.value)))
}

/// Results that raise a prompt by themselves: one prompt for all of a side.
fn signs(standing: &[&Measured], catalogue: &Catalogue) -> Vec<Prompt> {
    let mut raised: BTreeMap<(&str, Side), Vec<&Measured>> = BTreeMap::new();
    for one in standing.iter().filter(|one| one.examined()) {
        for sign in met(one, catalogue) {
            let side = one.finding.side;
            raised.entry((&sign.caution, side)).or_default().push(one);
        }
    }
    let prompts = raised
        .into_iter()
        .filter_map(|((code, side), mut findings)| {
            findings.sort_by_key(|one| (&one.row.label, one.finding.id));
            let labels: Vec<&str> = findings.iter().map(|one| one.row.label.as_str()).collect();
            let detail = format!("{}: {}", side.word(), labels.join(", "));
            prompt(code, &findings, &detail, catalogue)
        });
    prompts.collect()
}

/// True when a finding is the same as one of last time: measure, side, neighbouring joint, unit and
/// version of the scale.
fn again(before: &Before, now: &Measured) -> bool {
    before.measure == now.row.measure
        && before.side == now.finding.side
        && before.way.neighbour == now.finding.neighbour
        && before.unit == now.unit
        && before.scale == now.scale
}

/// What keeps two findings apart that a prompt sets beside each other, in words. A prompt is raised all the
/// same: that something differs explains it perhaps, and people have to know of both.
fn apart(one: &Way, other: &Way) -> String {
    let differs = one.differs(other);
    differs.map_or_else(String::new, |differs| {
        format!("; not found in the same way: {}", differs.words())
    })
}

const CALF: &str = "girth.calf";

/// How two numbers stand to each other once a limit is taken off: the limit in the unit of both.
fn over(high: &Value, low: &Value, limit: &str, catalogue: &Catalogue) -> Option<Ordering> {
    let limit = catalogue.plausibility.get(limit)?;
    let difference = amount(high)?.minus(amount(low)?).ok()?;
    Some(difference.cmp(limit))
}

fn with_unit(value: &Value, unit: &str) -> String {
    let number = amount(value).map(|number| number.to_string());
    format!("{} {unit}", number.unwrap_or_default())
}

/// A calf that measures much more than the other one, told of the larger side.
fn larger_calf(one: &Measured, all: &[&Measured], catalogue: &Catalogue) -> Option<Prompt> {
    if !in_family(&one.row.measure, CALF) {
        return None;
    }
    let other = all.iter().find(|other| {
        let other_side = other.finding.side != one.finding.side;
        other_side
            && other.row.measure == one.row.measure
            && other.unit == one.unit
            && other.finding.repeat == one.finding.repeat
    })?;
    let unit = one.unit.as_deref()?;
    let limit = format!("calf-larger.{unit}");
    let larger = over(&one.value, &other.value, &limit, catalogue) == Some(Ordering::Greater);
    let detail = format!(
        "{} {} and {} {}{}",
        one.finding.side.word(),
        with_unit(&one.value, unit),
        other.finding.side.word(),
        with_unit(&other.value, unit),
        apart(&Way::of(one), &Way::of(other))
    );
    larger.then(|| prompt(Code::CalfLarger.word(), &[one, other], &detail, catalogue))?
}

/// A calf that measures more than last time.
fn grown_calf(one: &Measured, before: &Before, catalogue: &Catalogue) -> Option<Prompt> {
    if !in_family(&one.row.measure, CALF) {
        return None;
    }
    let unit = one.unit.as_deref()?;
    let limit = format!("calf-grown.{unit}");
    let grown = over(&one.value, &before.value, &limit, catalogue).is_some_and(Ordering::is_ge);
    let detail = format!(
        "{} {}, last time {}{}",
        one.finding.side.word(),
        with_unit(&one.value, unit),
        with_unit(&before.value, unit),
        apart(&Way::of(one), &before.way)
    );
    grown.then(|| prompt(Code::CalfGrown.word(), &[one], &detail, catalogue))?
}

/// A grade of tone some steps above the one of last time.
fn tone(one: &Measured, before: &Before, catalogue: &Catalogue) -> Option<Prompt> {
    if one.row.kind != Kind::Grade || !in_family(&one.row.measure, "tone") {
        return None;
    }
    let limit = catalogue.plausibility.get("tone-risen")?;
    let then = place(&before.value, before.scale.as_deref(), catalogue)?;
    let steps = rank(one, catalogue)?.minus(then).ok()?;
    let detail = format!(
        "{} {}: last time {}, now {}{}",
        one.finding.side.word(),
        one.row.label,
        coded(&before.value)?,
        coded(&one.value)?,
        apart(&Way::of(one), &before.way)
    );
    (steps >= *limit).then(|| prompt(Code::ToneRisen.word(), &[one], &detail, catalogue))?
}
