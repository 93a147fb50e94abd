//! Traces of stretches in their measures.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::traces::Trace;
use crate::examination::finding::{Finding, Outcome, Session};
use crate::examination::measure::{
    Angle, Extent, Measured, Value, known_word, precautions, side_fits, way,
};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::axis::Axis;
use crate::tables::catalogue::rows::{Kind, Measure};

/// Longest text of samples, in characters: a string of FHIR has at most 1024 * 1024
/// (FHIR R4 4.0.1, datatypes.html#string).
const MOST_CHARACTERS: usize = 1024 * 1024;

/// A trace in its measure.
#[derive(Debug, Clone)]
pub struct MeasuredTrace {
    /// The trace.
    pub trace: Trace,
    /// The angles, signed in the direction of the movement the stretch names.
    pub angles: Private<Vec<Exact>>,
    /// True when that movement lengthens the muscle.
    pub lengthens: bool,
    /// The stretch as a finding would state it: its site, side, positions and instrument, and the
    /// furthest angle as a bound, because the limb was there.
    pub like: Measured,
}

/// Joins each trace with the row of its stretch, adding every problem; one that has none is left
/// out.
pub fn traces(
    session: &Session,
    measured: &[Measured],
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Vec<MeasuredTrace> {
    let most = most(catalogue, "traces-most");
    if session.traces.len() > most {
        let what = format!(
            "{} traces are more than one session has",
            session.traces.len()
        );
        let hint = format!("record {most} at most");
        problems.error(Code::TraceSize, "/traces", what, &hint);
        return Vec::new();
    }
    let traces = session.traces.iter();
    traces
        .filter_map(|trace| one(trace, session, measured, catalogue, problems))
        .collect()
}

/// The most of something a session may hold; without a row, none.
fn most(catalogue: &Catalogue, parameter: &str) -> usize {
    let row = catalogue.trace_parameters.get(parameter);
    row.and_then(|row| row.to_string().parse().ok())
        .unwrap_or_default()
}

fn one(
    trace: &Trace,
    session: &Session,
    measured: &[Measured],
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<MeasuredTrace> {
    let path = &trace.path;
    let stretch = |row: &&Measure| matches!(row.kind, Kind::StretchSlow | Kind::StretchFast);
    let Some(row) = catalogue.measures.get(&trace.measure).filter(stretch) else {
        let what = format!("{} is no stretch", trace.measure);
        let hint =
            "use a key of profiles/measures.csv that begins with stretch.slow or stretch.fast";
        problems.error(Code::TraceMeasure, &format!("{path}/measure"), what, hint);
        return None;
    };
    let finding = stand_in(trace);
    if let Some(site) = &row.site {
        side_fits(site, trace.side, path, catalogue, problems);
    }
    way::neighbour_fits(&finding, row, problems);
    words(trace, session, catalogue, problems);
    speed(trace, row, problems);
    belongs(trace, measured, problems);
    if !unit_and_size(trace, catalogue, problems) {
        return None;
    }
    let angles = signed(trace, row, catalogue, problems)?;
    let furthest = angles.iter().max().copied()?;
    let instruments = session.instruments.iter();
    let mut instrument = instruments.filter(|one| one.key == trace.instrument);
    let site = row.site.as_deref().unwrap_or_default();
    let lengthens = catalogue.stretch_signs.get(site).copied();
    let like = Measured {
        finding,
        row: row.clone(),
        value: Value::Angle(Angle {
            degrees: furthest,
            extent: Extent::AtLeast,
            fixed: false,
        }),
        instrument: instrument.next().cloned(),
        scale: None,
        unit: row.unit.clone(),
    };
    if !trace.withdrawn && !session.withdrawn {
        precautions::within(&like, session, catalogue, problems);
    }
    Some(MeasuredTrace {
        trace: trace.clone(),
        angles: Private::new(angles),
        lengthens: lengthens.is_none_or(|way: Axis| Some(way) == row.sign),
        like,
    })
}

/// What a finding of the same stretch shares with its trace.
fn stand_in(trace: &Trace) -> Finding {
    Finding {
        path: trace.path.clone(),
        id: trace.id,
        measure: trace.measure.clone(),
        side: trace.side,
        position: trace.position.clone(),
        neighbour: trace.neighbour.clone(),
        outcome: Outcome::NotTested(String::new()),
        notation: None,
        end_feel: None,
        pain_during: None,
        stretch: None,
        condition: None,
        parts: Vec::new(),
        method: String::new(),
        instrument: Some(trace.instrument.clone()),
        examiner: None,
        compared: None,
        repeat: trace.repeat,
        at: trace.at.clone(),
        note: trace.note.clone(),
        withdrawn: trace.withdrawn,
    }
}

fn words(trace: &Trace, session: &Session, catalogue: &Catalogue, problems: &mut Problems) {
    let path = &trace.path;
    let mut known = |list: &str, word: &str, field: &str| {
        known_word(catalogue, list, word, &format!("{path}/{field}"), problems);
    };
    known("stretch-speed", &trace.speed, "speed");
    if trace.position != session.body_position {
        known("body-position", &trace.position, "position");
    }
    if let Some((_, position)) = &trace.neighbour {
        known("neighbour-position", position, "neighbour/position");
    }
}

fn speed(trace: &Trace, row: &Measure, problems: &mut Problems) {
    let known = matches!(trace.speed.as_str(), "V1" | "V2" | "V3");
    if known && (trace.speed == "V1") != (row.kind == Kind::StretchSlow) {
        let what = format!(
            "{} is done at another speed than {}",
            row.measure, trace.speed
        );
        let hint = "the slow stretch is V1, the fast one V2 or V3";
        problems.error(
            Code::TraceSpeed,
            &format!("{}/speed", trace.path),
            what,
            hint,
        );
    }
}

/// The finding a trace belongs to is of the same stretch and side.
fn belongs(trace: &Trace, measured: &[Measured], problems: &mut Problems) {
    let Some(id) = trace.finding else { return };
    let found = measured.iter().find(|one| one.finding.id == id);
    let same =
        |one: &Measured| one.finding.measure == trace.measure && one.finding.side == trace.side;
    if !found.is_some_and(same) {
        let what = match found {
            Some(one) => format!(
                "belongs to {} {}, which is another stretch",
                one.finding.side.word(),
                one.finding.measure
            ),
            None => format!("no finding has the id {id}"),
        };
        let hint = "name the id of the finding of the same stretch and side, or leave it out";
        problems.error(
            Code::TraceFinding,
            &format!("{}/finding", trace.path),
            what,
            hint,
        );
    }
}

fn unit_and_size(trace: &Trace, catalogue: &Catalogue, problems: &mut Problems) -> bool {
    let path = &trace.path;
    if trace.angle_unit != "deg" {
        let what = format!("angles in {} are not converted", trace.angle_unit);
        let hint = "give the angles in deg";
        problems.error(Code::TraceUnit, &format!("{path}/angle_unit"), what, hint);
        return false;
    }
    let angles = trace.angles.open();
    let most = most(catalogue, "samples-most");
    let written = angles.iter().map(|angle| angle.to_string().len());
    let characters = written.fold(0_usize, |sum, one| {
        sum.saturating_add(one).saturating_add(1)
    });
    if angles.len() > most || characters > MOST_CHARACTERS {
        let what = format!("{} samples are more than one stretch has", angles.len());
        let hint =
            format!("cut the recording to the stretch: {most} samples at most, of few digits");
        problems.error(Code::TraceSize, &format!("{path}/angles"), what, &hint);
        return false;
    }
    true
}

/// The angles in the direction of the movement the stretch names; none of them impossible.
fn signed(
    trace: &Trace,
    row: &Measure,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<Vec<Exact>> {
    let path = &trace.path;
    let positive = Some(&trace.positive);
    let turned = positive == row.opposite.as_ref();
    if !turned && positive != row.movement.as_ref() {
        let ways = [&row.movement, &row.opposite].map(|way| way.clone().unwrap_or_default());
        let what = format!("{} is no movement of this stretch", trace.positive);
        let hint = format!(
            "write {}: the one in which the angle grows",
            ways.join(" or ")
        );
        problems.error(
            Code::TracePositive,
            &format!("{path}/positive"),
            what,
            &hint,
        );
        return None;
    }
    let angles = trace.angles.open();
    if let Some(most) = catalogue.plausibility.get("impossible-angle") {
        let impossible = |angle: &&Exact| angle.magnitude() > *most;
        let first = angles.iter().position(|angle| impossible(&angle));
        if let Some(first) = first {
            let number = angles.iter().filter(impossible).count();
            let what =
                format!("{number} angles are beyond {most} degrees, the first is number {first}");
            let hint = "look at the unit, the zero of the instrument and its wiring";
            problems.error(
                Code::TraceAngle,
                &format!("{path}/angles/{first}"),
                what,
                hint,
            );
            return None;
        }
    }
    let turn = |angle: &Exact| if turned { angle.negated() } else { *angle };
    Some(angles.iter().map(turn).collect())
}
