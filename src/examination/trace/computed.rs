//! What the trace of a fast stretch shows, beside the slow one and beside what was felt.

use crate::base::exact::Exact;
use crate::examination::finding::derived_identity;
use crate::examination::measure::{Measured, Value, side_of_neutral};
use crate::examination::trace::Outcome;
use crate::examination::trace::motion::Motion;
use crate::examination::trace::parameters::Parameters;
use crate::examination::trace::rounded::{HUNDREDTH, TENTH, exact};
use crate::examination::trace::traced::{Computed, Numbers, Traced, row_of, same_way};
use crate::examination::trace::verdict::{Verdict, verdict};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;

/// The trace of the slow stretch made in the same way that went furthest.
fn slow<'a>(fast: &Traced, each: &'a [Traced]) -> Option<(&'a Traced, &'a Motion)> {
    let standing = each.iter().filter(|one| {
        one.source.like.row.kind == Kind::StretchSlow
            && !one.source.trace.withdrawn
            && same_way(&one.source.like, &fast.source.like)
    });
    standing
        .filter_map(|one| Some((one, one.motion.as_ref().ok()?)))
        .max_by(|(_, a), (_, b)| a.furthest.degrees.total_cmp(&b.furthest.degrees))
}

pub(super) fn computed(
    one: &Traced,
    each: &[Traced],
    findings: &[Measured],
    catalogue: &Catalogue,
    parameters: &Parameters,
) -> Option<Computed> {
    let trace = &one.source.trace;
    if one.source.like.row.kind != Kind::StretchFast || trace.withdrawn {
        return None;
    }
    let row = row_of(Kind::TraceCatch, &one.source.like.row, catalogue)?;
    let slow = slow(one, each);
    let verdict = match &one.motion {
        Ok(motion) => verdict(motion, slow.map(|(_, motion)| motion), parameters),
        Err(reasons) => Verdict::undetermined(reasons.clone()),
    };
    let turn = if one.source.lengthens { 1.0 } else { -1.0 };
    let caught = verdict.outcome == Outcome::Catch;
    let at = verdict.stop.as_ref().filter(|_| caught).map(|stop| stop.at);
    let angle = at.and_then(|at| exact(turn * at.degrees, TENTH));
    let numbers = match &one.motion {
        Ok(motion) => numbers(motion, &verdict, turn, parameters),
        Err(_) => Numbers::default(),
    };
    let ended = |motion: &Motion| exact(turn * motion.furthest.degrees, TENTH);
    Some(Computed {
        id: derived_identity("trace-catch", &[&trace.id.to_string()]),
        row: row.clone(),
        slow: slow.map(|(slow, motion)| (slow.source.trace.id, ended(motion))),
        angle,
        differs: differs(one, &verdict, angle, findings, catalogue),
        numbers,
        verdict,
    })
}

fn numbers(motion: &Motion, verdict: &Verdict, turn: f64, parameters: &Parameters) -> Numbers {
    let stop = verdict.stop.as_ref();
    let caught = stop.filter(|_| verdict.outcome == Outcome::Catch);
    let angle = |degrees: f64| exact(turn * degrees, TENTH);
    Numbers {
        peak_velocity: exact(motion.peak_velocity, TENTH),
        mean_velocity: exact(motion.mean_velocity, TENTH),
        excursion: exact(motion.excursion, TENTH),
        onset: angle(motion.onset.degrees),
        peak: angle(motion.peak.degrees),
        end: angle(motion.stop.degrees),
        cut_off: exact(motion.cut_off.hertz, HUNDREDTH),
        sharpness: stop.and_then(|stop| exact(stop.sharpness, HUNDREDTH)),
        gate: stop.and_then(|stop| exact(stop.gate, HUNDREDTH)),
        late_by: caught.and_then(|_| exact(parameters.lateness * motion.peak_velocity, TENTH)),
        random_error: caught.and_then(|stop| exact(motion.random_error(&stop.at), TENTH)),
    }
}

/// How what was computed differs from what was felt at the same stretch. Both stay as they are.
fn differs(
    one: &Traced,
    verdict: &Verdict,
    angle: Option<Exact>,
    findings: &[Measured],
    catalogue: &Catalogue,
) -> Option<String> {
    let felt = felt(one, findings)?;
    let computed = match (verdict.outcome, angle) {
        (Outcome::Catch, Some(angle)) => Some(angle),
        (Outcome::NoCatch, _) => None,
        (Outcome::Catch | Outcome::NotDeterminable, _) => return None,
    };
    let said = |angle: Exact| side_of_neutral(angle, &felt.row);
    match (&felt.value, computed) {
        (Value::NoCatch, Some(angle)) => Some(format!(
            "no catch was felt, and one was computed at {}",
            said(angle)
        )),
        (Value::Word(_), None) => Some("a catch was felt, and none was computed".to_owned()),
        (Value::Angle(_), computed) => {
            let reached = felt.reached()?.degrees();
            let Some(angle) = computed else {
                let felt = said(reached);
                return Some(format!("a catch was felt at {felt}, and none was computed"));
            };
            let most = catalogue.trace_parameters.get("felt-difference")?;
            let apart = angle.minus(reached).ok()?.magnitude();
            (apart > *most).then(|| {
                format!(
                    "a catch was felt at {}, and computed at {}",
                    said(reached),
                    said(angle)
                )
            })
        }
        (
            Value::Word(_)
            | Value::Grade(_)
            | Value::Amount(_)
            | Value::Relative(_)
            | Value::NoCatch
            | Value::NotTested(_),
            _,
        ) => None,
    }
}

/// The finding of the same stretch: the one the trace names, or the one made in the same way.
fn felt<'a>(one: &Traced, findings: &'a [Measured]) -> Option<&'a Measured> {
    let trace = &one.source.trace;
    let like = &one.source.like;
    let mut standing = findings.iter().filter(|finding| !finding.finding.withdrawn);
    match trace.finding {
        Some(id) => standing.find(|finding| finding.finding.id == id),
        None => standing.find(|finding| {
            finding.row.measure == like.row.measure
                && finding.finding.side == trace.side
                && finding.finding.position == trace.position
                && finding.finding.neighbour == trace.neighbour
                && finding.finding.repeat == trace.repeat
        }),
    }
}
