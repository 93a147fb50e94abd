//! Traces of stretches, and what was computed from them, under their codes.

use crate::base::exact::Exact;
use crate::base::private::Private;
use crate::examination::compare::part::Input;
use crate::examination::finding::traces::Trace;
use crate::examination::finding::{Finding, Session, Signature};
use crate::examination::measure::Measured;
use crate::examination::trace::session::Traces;
use crate::examination::trace::traced::{Computed, Dependence, Traced};
use crate::examination::trace::{Outcome, Reason};
use crate::fhir::coding::{
    Amount, Code, Coded, CodedValue, Concept, amount, body_site, measure_concept, parts, sentence,
    word,
};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Measure;
use uuid::Uuid;

/// How far what was computed from a trace may be trusted.
pub const UNVALIDATED: &str = "computed from the trace by a rule that was not validated on patients; it \
     never takes the place of what was felt";

/// How far a line through computed catches may be trusted.
pub const UNVALIDATED_LINE: &str =
    "computed from traces by a rule that was not validated on patients";

/// Every trace, each followed by what was computed from it, and the lines through several.
pub(super) fn all(session: &Session, traces: &Traces, catalogue: &Catalogue) -> Vec<Coded> {
    let mut coded = Vec::new();
    for one in &traces.each {
        coded.push(trace(one, catalogue));
        coded.extend(
            one.computed
                .as_ref()
                .map(|computed| catch(one, computed, session, catalogue)),
        );
    }
    coded.extend(traces.lines.iter().map(|one| line(one, catalogue)));
    coded
}

type Part = (Concept, CodedValue);

/// What every statement about a stretch has in common.
struct About<'a> {
    id: Uuid,
    role: &'static str,
    row: &'a Measure,
    like: &'a Measured,
    method: &'a str,
}

impl About<'_> {
    fn coded(self, value: CodedValue, catalogue: &Catalogue) -> Coded {
        let like = self.like;
        let site = like.row.site.as_deref();
        let text = if self.row.unit.as_deref() == Some("deg") {
            // Every sample and every catch is a position on the way, and no end of a movement.
            let toward = |movement: &Option<String>| {
                let movement = movement.as_deref().unwrap_or_default();
                movement.replace('-', " ")
            };
            format!(
                "{}; a position in degrees of {}, with a minus in degrees of {}",
                self.row.label,
                toward(&self.row.movement),
                toward(&self.row.opposite)
            )
        } else {
            self.row.label.clone()
        };
        Coded {
            id: self.id,
            role: self.role,
            kind: self.row.kind,
            code: measure_concept(catalogue, &self.row.measure, text),
            value,
            body_site: site.and_then(|site| body_site(catalogue, site, like.finding.side)),
            position: Some(word(catalogue, "body-position", &like.finding.position)),
            method: Some(word(catalogue, "trace-method", self.method)),
            parts: parts::neighbour(like, catalogue).into_iter().collect(),
            ranges: Vec::new(),
            interpretation: None,
            derived_from: Vec::new(),
            notes: Vec::new(),
            // What was computed was not measured by the instrument itself.
            finding: Some(Finding {
                note: None,
                instrument: None,
                ..like.finding.clone()
            }),
            withdrawn: false,
            preliminary: false,
            told: Private::default(),
        }
    }
}

fn part(name: &str, value: CodedValue, catalogue: &Catalogue) -> Part {
    (word(catalogue, "component", name), value)
}

fn concept(list: &str, code: &str, catalogue: &Catalogue) -> CodedValue {
    CodedValue::Concept(word(catalogue, list, code))
}

fn number(value: Exact, unit: &str, catalogue: &Catalogue) -> CodedValue {
    let number: Amount = amount(value, false, unit, catalogue);
    CodedValue::Amount(number)
}

fn trace(one: &Traced, catalogue: &Catalogue) -> Coded {
    let trace = &one.source.trace;
    let about = About {
        id: trace.id,
        role: "trace",
        row: &one.row,
        like: &one.source.like,
        method: "instrumented-stretch",
    };
    let mut coded = about.coded(CodedValue::Samples(one.samples.clone()), catalogue);
    let sampling = if one.samples.resampled {
        "resampled"
    } else {
        "even"
    };
    let speed = concept("stretch-speed", &trace.speed, catalogue);
    coded.parts.push(part("stretch-speed", speed, catalogue));
    let sampling = concept("trace-sampling", sampling, catalogue);
    coded
        .parts
        .push(part("trace-sampling", sampling, catalogue));
    coded.parts.extend(repeated(trace, catalogue));
    coded.notes = trace.note.iter().cloned().collect();
    coded.finding = Some(Finding {
        note: None,
        ..one.source.like.finding.clone()
    });
    coded.withdrawn = trace.withdrawn;
    coded.told = sentence::whole(&coded, None);
    coded
}

/// Which of several stretches at one speed it was.
fn repeated(trace: &Trace, catalogue: &Catalogue) -> Option<Part> {
    (trace.repeat > 1).then(|| part("repeat", CodedValue::Count(trace.repeat), catalogue))
}

/// A catch that was computed: beside what was felt, never in its place.
fn catch(one: &Traced, computed: &Computed, session: &Session, catalogue: &Catalogue) -> Coded {
    let trace = &one.source.trace;
    let about = About {
        id: computed.id,
        role: "trace-catch",
        row: &computed.row,
        like: &one.source.like,
        method: "largest-deceleration",
    };
    let value = match (computed.verdict.outcome, computed.angle) {
        (Outcome::Catch, Some(angle)) => number(angle, "deg", catalogue),
        (outcome, _) => CodedValue::Absent(no_value(outcome)),
    };
    let mut coded = about.coded(value, catalogue);
    let speed = concept("stretch-speed", &trace.speed, catalogue);
    coded.parts.push(part("stretch-speed", speed, catalogue));
    coded.parts.extend(repeated(trace, catalogue));
    coded.parts.extend(verdict(computed, catalogue));
    coded.parts.extend(numbers(computed, catalogue));
    if let Some(accepted) = &trace.accepted {
        coded
            .parts
            .extend(accepted_by(accepted, session, catalogue));
    }
    coded.derived_from = vec![Input::Here(trace.id)];
    coded
        .derived_from
        .extend(computed.slow.as_ref().map(|(id, _)| Input::Here(*id)));
    coded.notes.push(Private::new(UNVALIDATED.to_owned()));
    let differs = computed.differs.iter();
    coded
        .notes
        .extend(differs.map(|words| Private::new(words.clone())));
    coded.preliminary = trace.accepted.is_none();
    let caught = |angle| sentence::caught_at(angle, &computed.row);
    coded.told = sentence::whole(&coded, computed.angle.map(caught));
    coded
}

/// Why there is no angle, in the standard codes.
fn no_value(outcome: Outcome) -> Concept {
    let (code, display, text) = match outcome {
        Outcome::NoCatch => (
            "not-applicable",
            "Not Applicable",
            "no catch in the trace, so there is no angle of a catch",
        ),
        Outcome::Catch | Outcome::NotDeterminable => {
            ("unknown", "Unknown", "not determinable from the trace")
        }
    };
    Concept {
        codes: vec![Code {
            system: "http://terminology.hl7.org/CodeSystem/data-absent-reason".to_owned(),
            code: code.to_owned(),
            display: display.to_owned(),
        }],
        text: Some(text.to_owned()),
    }
}

fn verdict(computed: &Computed, catalogue: &Catalogue) -> Vec<Part> {
    let verdict = &computed.verdict;
    let outcome = concept("trace-outcome", verdict.outcome.word(), catalogue);
    let mut parts = vec![part("trace-outcome", outcome, catalogue)];
    parts.extend(verdict.reasons.iter().map(|reason| why(*reason, catalogue)));
    if verdict.outcome == Outcome::Catch {
        let release = if verdict.release { "present" } else { "absent" };
        let release = concept("presence", release, catalogue);
        parts.push(part("trace-release", release, catalogue));
        let beats = u32::try_from(verdict.beats).unwrap_or(u32::MAX);
        let beats = CodedValue::Count(beats);
        parts.push(part("trace-clonus-beats", beats, catalogue));
    }
    parts
}

fn why(reason: Reason, catalogue: &Catalogue) -> Part {
    let reason = concept("trace-reason", reason.word(), catalogue);
    part("trace-reason", reason, catalogue)
}

fn numbers(computed: &Computed, catalogue: &Catalogue) -> Vec<Part> {
    let numbers = &computed.numbers;
    let slow_end = computed.slow.as_ref().and_then(|(_, end)| *end);
    let listed = [
        ("stretch-velocity", numbers.peak_velocity, "deg/s"),
        ("trace-mean-velocity", numbers.mean_velocity, "deg/s"),
        ("trace-excursion", numbers.excursion, "deg"),
        ("trace-onset-angle", numbers.onset, "deg"),
        ("trace-peak-angle", numbers.peak, "deg"),
        ("trace-end-angle", numbers.end, "deg"),
        ("trace-slow-end", slow_end, "deg"),
        ("trace-cut-off", numbers.cut_off, "Hz"),
        ("trace-sharpness", numbers.sharpness, "1"),
        ("trace-gate", numbers.gate, "1"),
        ("trace-late-by", numbers.late_by, "deg"),
        ("trace-random-error", numbers.random_error, "deg"),
    ];
    listed
        .into_iter()
        .filter_map(|(name, value, unit)| {
            let value = number(value?, unit, catalogue);
            Some(part(name, value, catalogue))
        })
        .collect()
}

fn accepted_by(accepted: &Signature, session: &Session, catalogue: &Catalogue) -> [Part; 2] {
    let by = session.performers.iter().find(|one| one.key == accepted.by);
    let by = by.map_or_else(
        || accepted.by.clone(),
        |one| format!("{} ({})", one.key, one.role),
    );
    [
        ("trace-accepted", CodedValue::When(accepted.at.text.clone())),
        ("trace-accepted-by", CodedValue::Words(Private::new(by))),
    ]
    .map(|(name, value)| part(name, value, catalogue))
}

fn line(one: &Dependence, catalogue: &Catalogue) -> Coded {
    let about = About {
        id: one.id,
        role: "trace-line",
        row: &one.row,
        like: &one.like,
        method: "line-through-catches",
    };
    let value = match &one.result {
        Ok((slope, _, _)) => number(*slope, "s", catalogue),
        Err(_) => CodedValue::Absent(no_value(Outcome::NotDeterminable)),
    };
    let mut coded = about.coded(value, catalogue);
    match &one.result {
        Ok((_, intercept, catches)) => {
            let listed = [
                ("trace-outcome", concept("trace-outcome", "line", catalogue)),
                ("trace-intercept", number(*intercept, "deg", catalogue)),
                ("trace-catches", CodedValue::Count(*catches)),
            ];
            let listed = listed.map(|(name, value)| part(name, value, catalogue));
            coded.parts.extend(listed);
        }
        Err(reason) => {
            let outcome = concept("trace-outcome", "not-determinable", catalogue);
            coded.parts.push(part("trace-outcome", outcome, catalogue));
            coded.parts.push(why(*reason, catalogue));
        }
    }
    coded.derived_from = one.from.iter().copied().map(Input::Here).collect();
    coded.notes.push(Private::new(UNVALIDATED_LINE.to_owned()));
    coded.preliminary = !one.accepted;
    coded.told = sentence::whole(&coded, None);
    coded
}
