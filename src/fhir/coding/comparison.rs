//! What findings set beside each other came to, under its codes.

use crate::base::private::Private;
use crate::examination::compare::{Comparison, Found, RowUsed, Rule, Verdict};
use crate::examination::finding::Finding;
use crate::fhir::coding::{
    Code, Coded, CodedRange, CodedValue, Concept, absent, amount, body_site, measure_concept,
    parts, sentence, word,
};
use crate::tables::catalogue::comparing::ReferenceRow;
use crate::tables::catalogue::rows::Kind;
use crate::tables::catalogue::{Catalogue, NO_RESULT, VERDICT};

/// Statuses of a result beside a range, as FHIR names them.
const INTERPRETATION: &str = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation";

/// A comparison as a statement of its own, where it has a number, a verdict or an answer why not.
/// One beside a published range stands in the finding itself.
pub(super) fn coded(one: &Comparison, catalogue: &Catalogue) -> Option<Coded> {
    let value = match &one.outcome {
        Ok(found) => value(found, catalogue),
        Err(reason) if of_stretches(one.rule) => {
            CodedValue::Absent(absent(catalogue, NO_RESULT, reason.answer()?))
        }
        Err(_) => return None,
    };
    let (role, kind, code) = named(one, catalogue)?;
    let like = &one.about;
    let site = like.row.site.as_deref();
    let mut coded = Coded {
        id: one.id,
        role,
        kind,
        code,
        value,
        body_site: site.and_then(|site| body_site(catalogue, site, like.finding.side)),
        position: Some(word(catalogue, "body-position", &like.finding.position)),
        method: Some(word(catalogue, "method", &like.finding.method)),
        parts: components(one, catalogue),
        ranges: Vec::new(),
        interpretation: None,
        derived_from: one.inputs.clone(),
        notes: notes(one),
        finding: Some(Finding {
            note: None,
            instrument: None,
            ..like.finding.clone()
        }),
        withdrawn: false,
        preliminary: false,
        told: Private::default(),
    };
    let share = match (&one.outcome, one.rule) {
        (Ok(found), Rule::DynamicShare) => found
            .amount
            .as_ref()
            .map(|amount| format!("a share of {}", amount.number)),
        (Ok(_) | Err(_), _) => None,
    };
    coded.told = sentence::whole(&coded, share);
    Some(coded)
}

const fn of_stretches(rule: Rule) -> bool {
    matches!(
        rule,
        Rule::DynamicPart | Rule::FixedPart | Rule::FixedPartOfRange | Rule::DynamicShare
    )
}

fn value(found: &Found, catalogue: &Catalogue) -> CodedValue {
    match &found.amount {
        Some(one) => CodedValue::Amount(amount(one.number, false, &one.unit, catalogue)),
        None => CodedValue::Concept(word(catalogue, VERDICT, found.verdict.code())),
    }
}

/// Role, kind and code. The first coding names the rule and the measure, so that a server that reads
/// it alone never joins the changes of two measures into one trend.
fn named(one: &Comparison, catalogue: &Catalogue) -> Option<(&'static str, Kind, Concept)> {
    let measure = &one.about.row;
    let of = |kind: &str| {
        let code = format!("{kind}.{}", measure.measure);
        let display = catalogue.comparison_display(&code)?;
        let mut concept =
            measure_concept(catalogue, &format!("comparison.{kind}"), display.clone());
        concept.codes.insert(
            0,
            Code {
                system: Catalogue::system_of("comparison"),
                code,
                display,
            },
        );
        Some(concept)
    };
    Some(match one.rule {
        Rule::DynamicPart => {
            let row = catalogue.measures.values().find(|row| {
                row.kind == Kind::Derived
                    && row.site == measure.site
                    && row.axis == measure.axis
                    && row.held == measure.held
            })?;
            let code = measure_concept(catalogue, &row.measure, row.label.clone());
            ("dynamic", Kind::Derived, code)
        }
        Rule::FixedPart => ("fixed-part", Kind::Comparison, of("fixed-part")?),
        Rule::FixedPartOfRange => (
            "fixed-part-range",
            Kind::Comparison,
            of("fixed-part-range")?,
        ),
        Rule::DynamicShare => ("dynamic-share", Kind::Comparison, of("dynamic-share")?),
        Rule::SideDifference => ("side-difference", Kind::Comparison, of("side-difference")?),
        Rule::Change => ("change", Kind::Comparison, of("change")?),
        Rule::PublishedRange => return None,
    })
}

fn components(one: &Comparison, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let part = |name: &str| word(catalogue, "component", name);
    let words = |text: String| CodedValue::Words(Private::new(text));
    let mut parts: Vec<_> = parts::neighbour(&one.about, catalogue)
        .into_iter()
        .collect();
    parts.push((part("comparison-rule"), words(one.rule.code().to_owned())));
    for row in &one.rows {
        parts.push((part("comparison-row"), words(row_named(row))));
    }
    if let Ok(found) = &one.outcome
        && one.rule != Rule::DynamicShare
    {
        let mut verdict = word(catalogue, VERDICT, found.verdict.code());
        verdict.text = Some(verdict_in_words(one.rule, found.verdict, catalogue));
        parts.push((part("comparison-verdict"), CodedValue::Concept(verdict)));
    }
    parts
}

/// What a comparison came to, in words. A part of a stretch is an amount of degrees: it is larger than
/// the error or not, and higher than nothing.
pub fn verdict_in_words(rule: Rule, verdict: Verdict, catalogue: &Catalogue) -> String {
    let part = matches!(rule, Rule::DynamicPart | Rule::FixedPart);
    if part && verdict == Verdict::Higher {
        "larger than the error of measuring".to_owned()
    } else if part && verdict == Verdict::Lower {
        "below zero by more than the error of measuring".to_owned()
    } else {
        let row = catalogue.word(VERDICT, verdict.code());
        row.map(|row| row.label.clone()).unwrap_or_default()
    }
}

/// The words of a row that was used, without the names of its table and itself.
pub fn row_in_words(named: &str) -> &str {
    named.split_once(": ").map_or(named, |(_, words)| words)
}

/// The words of a published range, without the names of table, row and rule.
pub fn range_in_words(ranged: &str) -> &str {
    let words = row_in_words(ranged);
    words
        .rsplit_once("; rule ")
        .map_or(words, |(words, _)| words)
}

/// How a finding lies beside a published range, without the name of the table.
pub fn beside_in_words(said: &str) -> &str {
    said.split_once(", table ").map_or(said, |(words, _)| words)
}

/// What belongs to a comparison, without the rule that computed it.
pub fn note_in_words(note: &str) -> Option<&str> {
    match note.strip_prefix("computed by rule ") {
        Some(ruled) => ruled.split_once("; ").map(|(_, words)| words),
        None => Some(note),
    }
}

/// A row by table and key, with the publication behind it.
fn row_named(row: &RowUsed) -> String {
    format!(
        "{}/{}: {} ({}, {})",
        row.table, row.key, row.says, row.title, row.version
    )
}

fn notes(one: &Comparison) -> Vec<Private<String>> {
    let mut told = format!("computed by rule {}: {}", one.rule.code(), one.rule.words());
    for more in &one.told {
        told.extend(["; ", more]);
    }
    vec![Private::new(told)]
}

/// The published range a finding was held against, and how it lies beside it.
pub(super) fn range(one: &Comparison, catalogue: &Catalogue) -> Option<(CodedRange, Concept)> {
    let found = one.outcome.as_ref().ok()?;
    let (range, row) = found.range.as_ref()?;
    let quantity = |number| amount(number, false, &row.unit, catalogue);
    let coded = CodedRange {
        low: quantity(range.low()),
        high: quantity(range.high()),
        ages: (row.age_from, row.age_to),
        text: ranged(row, one.rows.first()),
    };
    let mut concept = word(catalogue, VERDICT, found.verdict.code());
    // A range describes a group, so "normal" is never said of this person.
    let standard = match found.verdict {
        Verdict::AboveRange => Some(("H", "High")),
        Verdict::BelowRange => Some(("L", "Low")),
        Verdict::WithinRange
        | Verdict::Higher
        | Verdict::Lower
        | Verdict::WithinError
        | Verdict::NoDifference
        | Verdict::NotJudged
        | Verdict::StepHigher
        | Verdict::StepLower
        | Verdict::SeveralStepsHigher
        | Verdict::SeveralStepsLower => None,
    };
    concept.codes.extend(standard.map(|(code, display)| Code {
        system: INTERPRETATION.to_owned(),
        code: code.to_owned(),
        display: display.to_owned(),
    }));
    concept.text = concept
        .text
        .map(|text| format!("{text}, table {}", row.table));
    Some((coded, concept))
}

fn ranged(row: &ReferenceRow, used: Option<&RowUsed>) -> String {
    let (title, version) = used.map_or(("", ""), |used| (&used.title, &used.version));
    format!(
        "table {}, row {}: {}, {}; {title}, {version}; it describes a group and not this person; \
         rule {}",
        row.table,
        row.key,
        row.statistic.words(),
        row.label,
        Rule::PublishedRange.code()
    )
}
