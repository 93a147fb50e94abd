//! Traces of stretches as they were meant.

use crate::base::code::Code;
use crate::base::exact::{Exact, NotExact};
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::around::Around;
use crate::examination::finding::items::{keys_once, readable, uuid};
use crate::examination::finding::performers::must_be_performer;
use crate::examination::finding::{Finding, Instrument, Performer, Signature, Written, times};
use crate::examination::intake::draft::Draft;
use crate::examination::intake::parts::{Side, SignatureDraft};
use crate::examination::intake::trace_csv::signed;
use crate::examination::intake::traces::{TimeUnit, TraceDraft};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// The angle of one stretch against time.
#[derive(Debug, Clone)]
pub struct Trace {
    /// JSON Pointer of it.
    pub path: String,
    /// Identity, kept through every correction.
    pub id: Uuid,
    /// A key of the measures: a slow or fast stretch.
    pub measure: String,
    /// Side.
    pub side: Side,
    /// Position of the body.
    pub position: String,
    /// Neighbouring joint and its position.
    pub neighbour: Option<(String, String)>,
    /// A word of `stretch-speed`.
    pub speed: String,
    /// UCUM unit of the angles.
    pub angle_unit: String,
    /// Unit of the times.
    pub time_unit: TimeUnit,
    /// The movement in which the angles count upward.
    pub positive: String,
    /// The angles as recorded.
    pub angles: Private<Vec<Exact>>,
    /// When each was recorded.
    pub timing: Private<Timing>,
    /// Key of an instrument.
    pub instrument: String,
    /// The finding of the same stretch.
    pub finding: Option<Uuid>,
    /// Number of the repeat.
    pub repeat: u32,
    /// When, if not during the whole session.
    pub at: Option<Written>,
    /// Who accepted what is computed from it.
    pub accepted: Option<Signature>,
    /// In words.
    pub note: Option<Private<String>>,
    /// True when a correction withdraws it.
    pub withdrawn: bool,
}

/// When the samples of a trace were recorded, in its unit of time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Timing {
    /// One after the other at this period, above zero.
    Period(Exact),
    /// At these times, strictly increasing, one for each angle.
    Stamps(Vec<Exact>),
}

/// How many faulty samples of one trace are told one by one.
const TOLD: usize = 100;

/// The traces of a document; one that cannot be understood is left out and has been told.
pub(super) fn of(draft: &Draft, around: &Around<'_>, problems: &mut Problems) -> Vec<Trace> {
    let ids = readable(&draft.traces).map(|(index, trace)| (index, trace.id.as_str()));
    keys_once("/traces", ids, problems);
    let traces: Vec<Trace> = readable(&draft.traces)
        .filter_map(|(index, trace)| {
            let path = format!("/traces/{index}");
            names(
                trace,
                &path,
                around.performers,
                around.instruments,
                problems,
            );
            let body_position = &draft.session.body_position;
            let one = one(trace, &path, body_position, problems)?;
            accepted_in_between(&one, around.times, problems);
            Some(one)
        })
        .collect();
    apart_from_findings(&traces, around.findings, problems);
    not_in_the_future(&traces, around.now, problems);
    traces
}

/// Every person and instrument a trace names is listed.
fn names(
    trace: &TraceDraft,
    path: &str,
    performers: &[Performer],
    instruments: &[Instrument],
    problems: &mut Problems,
) {
    if let Some(accepted) = &trace.accepted {
        let path = format!("{path}/accepted/by");
        must_be_performer(&accepted.by, &path, performers, problems);
    }
    let key = &trace.instrument;
    if !instruments.iter().any(|instrument| instrument.key == *key) {
        let what = format!("{key} is no key of instruments");
        let path = format!("{path}/instrument");
        let hint = "name one of the instruments";
        problems.error(Code::ReferenceInstrument, &path, what, hint);
    }
}

fn one(
    draft: &TraceDraft,
    path: &str,
    body_position: &str,
    problems: &mut Problems,
) -> Option<Trace> {
    let samples = samples(draft, path, problems);
    let at = match &draft.at {
        Some(text) => Some(times::instant(text, &format!("{path}/at"), problems)?),
        None => None,
    };
    let accepted = match &draft.accepted {
        Some(signature) => Some(accepted(signature, path, problems)?),
        None => None,
    };
    let finding = match &draft.finding {
        Some(id) => Some(uuid(id, &format!("{path}/finding"), problems)?),
        None => None,
    };
    let (angles, timing) = samples?;
    Some(Trace {
        path: path.to_owned(),
        id: uuid(&draft.id, &format!("{path}/id"), problems)?,
        measure: draft.measure.clone(),
        side: draft.side,
        position: draft
            .position
            .clone()
            .unwrap_or_else(|| body_position.to_owned()),
        neighbour: draft
            .neighbour
            .as_ref()
            .map(|n| (n.joint.clone(), n.position.clone())),
        speed: draft.speed.clone(),
        angle_unit: draft.angle_unit.clone(),
        time_unit: draft.time_unit,
        positive: draft.positive.clone(),
        angles: Private::new(angles),
        timing: Private::new(timing),
        instrument: draft.instrument.clone(),
        finding,
        repeat: draft.repeat.unwrap_or(1),
        at,
        accepted,
        note: draft.note.clone().map(Private::new),
        withdrawn: draft.withdrawn,
    })
}

fn accepted(signature: &SignatureDraft, path: &str, problems: &mut Problems) -> Option<Signature> {
    let at = times::instant(&signature.at, &format!("{path}/accepted/at"), problems)?;
    Some(Signature {
        by: signature.by.clone(),
        at,
    })
}

/// What is computed is accepted after the examination began, and the signature covers it.
fn accepted_in_between(trace: &Trace, within: &times::Times, problems: &mut Problems) {
    let Some(accepted) = &trace.accepted else {
        return;
    };
    let at = accepted.at.instant;
    if at < within.start.instant || at > within.signed.instant {
        let what = format!("{} is not between start and signing", accepted.at.text);
        let hint = "a result is accepted by whoever looks at it, and the signature covers it";
        let path = format!("{}/accepted/at", trace.path);
        problems.error(Code::TraceAccepted, &path, what, hint);
    }
}

/// A trace and a finding are different statements, so they have different identities.
fn apart_from_findings(traces: &[Trace], findings: &[Finding], problems: &mut Problems) {
    for trace in traces {
        if let Some(finding) = findings.iter().find(|finding| finding.id == trace.id) {
            let what = format!("has the id of {}", finding.path);
            let hint = "give the trace an id of its own, and name the finding in its field finding";
            problems.error(Code::TraceId, &format!("{}/id", trace.path), what, hint);
        }
    }
}

fn samples(
    draft: &TraceDraft,
    path: &str,
    problems: &mut Problems,
) -> Option<(Vec<Exact>, Timing)> {
    let written = match (&draft.angles, &draft.file) {
        (Some(written), None) => written,
        (None, Some(_)) => {
            let what = "a file beside the document is read by commands only".to_owned();
            let hint = "put its samples inline as angles and times";
            problems.error(Code::TraceFile, &format!("{path}/file"), what, hint);
            return None;
        }
        (Some(_), Some(_)) | (None, None) => {
            let what = "give either angles or a file, and not both".to_owned();
            let hint = "angles holds the samples inline; file names a CSV beside the document";
            problems.error(Code::TraceSamples, path, what, hint);
            return None;
        }
    };
    let angles = decimals(written, &format!("{path}/angles"), problems);
    let timing = timing(draft, written.len(), path, problems);
    Some((angles?, timing?))
}

fn timing(
    draft: &TraceDraft,
    angles: usize,
    path: &str,
    problems: &mut Problems,
) -> Option<Timing> {
    let mut told = |field: &str, what: String, hint: &str| {
        problems.error(Code::TraceTimes, &format!("{path}{field}"), what, hint);
    };
    match (&draft.period, &draft.times) {
        (Some(_), Some(_)) | (None, None) => {
            let what = "give either a period or times, and not both".to_owned();
            told("", what, "times holds one time for each angle");
            None
        }
        (Some(period), None) => match Exact::parse(period) {
            Ok(period) if !period.is_zero() => Some(Timing::Period(period)),
            Ok(_) | Err(_) => {
                let what = format!("{period} is no time from one sample to the next");
                told("/period", what, "write a time above zero with few digits");
                None
            }
        },
        (None, Some(times)) if times.len() != angles => {
            let what = format!("{} times for {angles} angles", times.len());
            told("/times", what, "write one time for each angle");
            None
        }
        (None, Some(written)) => {
            let path = format!("{path}/times");
            let times = decimals(written, &path, problems)?;
            increasing(&times, &path, problems).then_some(Timing::Stamps(times))
        }
    }
}

fn increasing(times: &[Exact], path: &str, problems: &mut Problems) -> bool {
    let pairs = times.iter().zip(times.iter().skip(1)).zip(1_usize..);
    let mut back = pairs.filter(|((before, after), _)| after <= before);
    let mut held = true;
    for ((before, after), index) in back.by_ref().take(TOLD) {
        held = false;
        let what = format!("{after} does not come after {before}");
        let hint = "times strictly increase; a recording that was put together is several traces";
        problems.error(Code::TraceOrder, &format!("{path}/{index}"), what, hint);
    }
    held
}

/// Reads digits, telling every text that is none; nothing when one was told.
fn decimals(written: &[String], path: &str, problems: &mut Problems) -> Option<Vec<Exact>> {
    let mut read = Vec::with_capacity(written.len());
    let mut faults = 0_usize;
    for (index, text) in written.iter().enumerate() {
        match signed(text) {
            Ok(exact) => read.push(exact),
            Err(fault) => {
                faults = faults.saturating_add(1);
                if faults <= TOLD {
                    tell(fault, text, &format!("{path}/{index}"), problems);
                }
            }
        }
    }
    (faults == 0).then_some(read)
}

fn tell(fault: NotExact, text: &str, path: &str, problems: &mut Problems) {
    match fault {
        NotExact::Pattern => {
            let what = format!("{text} is no plain decimal number");
            let hint = "write digits with a point, such as -12.5; no exponent or unit";
            problems.error(Code::NumberForm, path, what, hint);
        }
        NotExact::Digits => {
            let what = format!("{text} has more digits than can be kept exactly");
            let hint = "write the digits the instrument shows";
            problems.error(Code::NumberDigits, path, what, hint);
        }
    }
}

/// Traces lie in the past, like everything else of a session.
fn not_in_the_future(traces: &[Trace], now: DateTime<Utc>, problems: &mut Problems) {
    for trace in traces {
        if let Some(time) = &trace.at {
            times::not_in_the_future(time, &format!("{}/at", trace.path), now, problems);
        }
    }
}
