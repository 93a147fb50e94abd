//! What was compared in a session: with last time, and with the other side.

use crate::base::private::Private;
use crate::examination::compare::reason::NotCompared;
use crate::examination::compare::{Comparison, Rule};
use crate::fhir::summary::findings::{self, Order, Usual};
use crate::fhir::summary::words::{counted, day};
use crate::fhir::summary::{About, Examined, Line, Section};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many comparisons there were and what came of them.
#[derive(Debug, Default)]
pub(super) struct Counts {
    /// Findings that were set against another.
    compared: usize,
    /// Those of them for which an error of measuring is published.
    judged: usize,
    /// Differences of more than that error.
    beyond: usize,
    /// Differences of several steps of a scale, which no published error judges.
    steps: usize,
    /// Why others were not compared, with how many each.
    not_compared: BTreeMap<String, usize>,
}

impl Counts {
    pub(super) fn of<'a>(comparisons: impl Iterator<Item = &'a Comparison>) -> Self {
        let mut counts = Self::default();
        for one in comparisons {
            counts.add(one);
        }
        counts
    }

    pub(super) fn add(&mut self, one: &Comparison) {
        let count = match &one.outcome {
            Err(reason) => self.not_compared.entry(reason.to_string()).or_default(),
            Ok(found) => {
                let judged = !one.rows.is_empty();
                let beyond = found.verdict.is_beyond();
                self.judged = self.judged.saturating_add(usize::from(judged));
                self.beyond = self.beyond.saturating_add(usize::from(judged && beyond));
                self.steps = self.steps.saturating_add(usize::from(!judged && beyond));
                &mut self.compared
            }
        };
        *count = count.saturating_add(1);
    }

    pub(super) fn is_empty(&self) -> bool {
        self.compared == 0 && self.not_compared.is_empty()
    }

    /// In words, with how many differences chance alone would give: MDC95 is passed by 5 in 100
    /// repeats of an unchanged state, by what a 95 % limit means. `counted_only` are the statements
    /// that no line of their own tells of.
    pub(super) fn lines(&self, with: &str, counted_only: Vec<About>) -> Vec<Line> {
        if self.compared == 0 {
            // Of nothing no error of measuring is told: only why there is nothing.
            let words = format!("Nothing was compared with {with}: {}.", self.reasons());
            return vec![Line {
                about: counted_only,
                words: Private::new(words),
            }];
        }
        let compared = counted(self.compared, "finding was", "findings were");
        let judged = counted(self.judged, "comparison was", "comparisons were");
        let beyond = counted(self.beyond, "difference is", "differences are");
        let expected = by_chance(self.judged);
        let judged = if self.judged == 0 {
            "For none of them is an error of measuring published, so none is judged by one."
                .to_owned()
        } else {
            format!(
                "{judged} judged against a published error of measuring; {beyond} larger. Were \
                 nothing different, chance alone would still be expected to give {expected} of {} \
                 (1 in 20).",
                self.judged
            )
        };
        let steps = counted(self.steps, "finding differs", "findings differ");
        let steps = if self.steps == 0 {
            String::new()
        } else {
            format!(" {steps} by more than one step of a scale; no published error judges that.")
        };
        let words = format!("{compared} compared with {with}. {judged}{steps}");
        let mut lines = vec![Line {
            about: counted_only,
            words: Private::new(words),
        }];
        if !self.not_compared.is_empty() {
            lines.push(Line::plain(format!("Not compared: {}.", self.reasons())));
        }
        lines
    }

    /// Why others were not compared, with how many each.
    fn reasons(&self) -> String {
        let reasons = self.not_compared.iter();
        let reasons: Vec<String> = reasons
            .map(|(reason, count)| format!("{count} because {reason}"))
            .collect();
        reasons.join("; ")
    }
}

/// A twentieth of a count, in digits.
fn by_chance(count: usize) -> String {
    let hundredths = count.saturating_mul(5);
    let (whole, rest) = (hundredths / 100, hundredths % 100);
    let digits = format!("{whole}.{rest:02}");
    digits
        .trim_end_matches('0')
        .trim_end_matches('.')
        .to_owned()
}

/// What changed since last time by more than the error of measuring, or by several steps of a scale.
pub(super) fn changed(one: &Examined<'_>, catalogue: &Catalogue) -> Section {
    let changes = || of_rule(one, Rule::Change);
    let counts = Counts::of(changes());
    let lines = if counts.is_empty() {
        vec![Line::plain(
            "No earlier session that speaks of these findings was compared with.",
        )]
    } else {
        let (told, counted_only) = told(one, &[Rule::Change], catalogue);
        let mut lines = counts.lines(&since(changes()), counted_only);
        lines.extend(told);
        lines
    };
    Section::new(
        "changes",
        "Changed by more than the error of measuring",
        lines,
    )
}

/// What differs between the sides by more than the error of measuring, and the parts of a stretch
/// that are taken from the other side or a published range, or why one is not; nothing where there is
/// nothing of these.
pub(super) fn sides(one: &Examined<'_>, catalogue: &Catalogue) -> Option<Section> {
    let counts = Counts::of(of_rule(one, Rule::SideDifference));
    let rules = [
        Rule::SideDifference,
        Rule::FixedPart,
        Rule::FixedPartOfRange,
        Rule::DynamicShare,
    ];
    let (told, counted_only) = told(one, &rules, catalogue);
    let without = without_fixed_part(one);
    if counts.is_empty() && told.is_empty() && without.is_empty() {
        return None;
    }
    let mut lines = if counts.is_empty() {
        Vec::new()
    } else {
        counts.lines("the other side", counted_only)
    };
    lines.extend(told);
    lines.extend(without);
    Some(Section::new("sides", "Beside the other side", lines))
}

/// Why the fixed part of a stretch was not taken from the other side, where the record does not hold it.
fn without_fixed_part(one: &Examined<'_>) -> Vec<Line> {
    let mut by_reason: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for of_stretch in of_rule(one, Rule::FixedPart) {
        if let Err(reason) = &of_stretch.outcome
            && reason.answer().is_none()
        {
            let about = &of_stretch.about;
            let side = about.finding.side.word();
            let what = format!("{}, {side}", about.row.label);
            let words = if *reason == NotCompared::NoOther {
                "the other side has no finding of it".to_owned()
            } else {
                reason.to_string()
            };
            by_reason.entry(words).or_default().insert(what);
        }
    }
    let lines = by_reason.into_iter().map(|(reason, what)| {
        let what: Vec<String> = what.into_iter().collect();
        let what = what.join("; ");
        Line::plain(format!(
            "Not compared: for the fixed part, {what}, because {reason}."
        ))
    });
    lines.collect()
}

fn of_rule<'a>(one: &Examined<'a>, rule: Rule) -> impl Iterator<Item = &'a Comparison> + use<'a> {
    one.comparisons.iter().filter(move |it| it.rule == rule)
}

/// When last time was: of several findings it may be several days.
fn since<'a>(changes: impl Iterator<Item = &'a Comparison>) -> String {
    let days: BTreeSet<NaiveDate> = changes
        .filter_map(|one| Some(one.last_time.as_ref()?.instant.date_naive()))
        .collect();
    match (days.first(), days.last()) {
        (Some(first), Some(last)) if first != last => format!(
            "the last time each was examined, {} to {}",
            day(*first),
            day(*last)
        ),
        (Some(first), _) => day(*first),
        (None, _) => "last time".to_owned(),
    }
}

/// The lines of comparisons that a colleague reads, and the statements that are only counted: a
/// difference that is not beyond the error stands in the record, so that what differs is not lost
/// among it.
fn told(one: &Examined<'_>, rules: &[Rule], catalogue: &Catalogue) -> (Vec<Line>, Vec<About>) {
    let of_rules = one.comparisons.iter().filter(|it| rules.contains(&it.rule));
    let is_read: BTreeMap<Uuid, bool> = of_rules
        .map(|it| {
            let difference = matches!(it.rule, Rule::SideDifference | Rule::Change);
            let found = it.outcome.as_ref();
            let beyond = found.is_ok_and(|found| found.verdict.is_beyond());
            (it.id, !difference || beyond)
        })
        .collect();
    let usual = Usual::of(std::slice::from_ref(one));
    let mut lines: BTreeMap<Order, Line> = BTreeMap::new();
    let mut counted_only = Vec::new();
    for coded in one.coded.iter().filter(|it| it.kind == Kind::Comparison) {
        match is_read.get(&coded.id) {
            Some(true) => {
                let place = findings::place(coded, one.session, catalogue);
                let words = findings::line(coded, None, &usual, catalogue);
                lines.insert(place, Line::about(one.session, coded, words));
            }
            Some(false) => {
                let words = String::new();
                counted_only.extend(Line::about(one.session, coded, words).about);
            }
            None => {}
        }
    }
    counted_only.sort();
    (lines.into_values().collect(), counted_only)
}
