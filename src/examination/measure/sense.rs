//! Whether the findings of one session make sense beside each other and within the precautions.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::Session;
use crate::examination::intake::draft::{Consent, DocumentVersion};
use crate::examination::measure::way::Way;
use crate::examination::measure::{Measured, Reached, Value, precautions, prompts, shoulder};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;

/// Adds what makes no sense, or asks for a person who cleared it.
pub fn check(
    session: &Session,
    measured: &[Measured],
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    // A withdrawn session says only that it must not be used; nobody is asked about its content.
    if session.withdrawn {
        return;
    }
    // In the first form of the document the question was asked whatever had been done.
    let done = session.form == DocumentVersion::Session1
        || session.traces.iter().any(|one| !one.withdrawn)
        || measured
            .iter()
            .any(|one| one.examined() && !one.finding.withdrawn);
    if session.consent == Consent::No && done {
        let what = "findings are recorded though consent was not given".to_owned();
        let hint = "correct it, or confirm with the reason the record needs them";
        problems.caution(Code::ConsentRefused, "/session/consent/given", what, hint);
    }
    precautions::overdue(session, problems);
    for one in measured.iter().filter(|one| !one.finding.withdrawn) {
        stretch(one, catalogue, problems);
        shoulder::past(one, measured, session, catalogue, problems);
        precautions::within(one, session, catalogue, problems);
    }
    prompts::answers(session, measured, catalogue, problems);
    active_against_passive(measured, catalogue, problems);
    both_ends(measured, problems);
    slow_against_fast(measured, catalogue, problems);
    catch_against_grade(measured, catalogue, problems);
}

/// True when two findings stand and were made in the same way, whatever the side, so that they may
/// be set against each other: site, axis, how other parts were held, positions, the condition it was
/// felt in, method, kind of instrument.
pub fn comparable(a: &Measured, b: &Measured) -> bool {
    !a.finding.withdrawn && !b.finding.withdrawn && Way::of(a).differs(&Way::of(b)).is_none()
}

fn stretch(one: &Measured, catalogue: &Catalogue, problems: &mut Problems) {
    let Some(stretch) = &one.finding.stretch else {
        return;
    };
    let path = format!("{}/stretch", one.finding.path);
    let slow = stretch.speed == "V1";
    if slow != (one.row.kind == Kind::StretchSlow) {
        let what = format!(
            "{} is done at another speed than {}",
            one.row.measure, stretch.speed
        );
        let hint = "the slow stretch is V1, the fast one V2 or V3";
        problems.error(Code::StretchSpeed, &format!("{path}/speed"), what, hint);
    }
    let highest = catalogue.plausibility.get("fast-velocity-high");
    if let (Some(velocity), Some(highest)) = (stretch.velocity, highest)
        && velocity > *highest
    {
        let what = format!("{velocity} degrees per second is faster than a hand stretches");
        let hint = "correct it, or confirm it with a reason";
        problems.caution(
            Code::StretchVelocity,
            &format!("{path}/velocity"),
            what,
            hint,
        );
    }
    let grade = stretch.quality.as_ref().map(|(_, grade)| grade.as_str());
    quality(one, grade, &path, problems);
}

/// Quality 0 and 1 say that there is no clear catch; 2 and more that there is one.
fn quality(one: &Measured, quality: Option<&str>, path: &str, problems: &mut Problems) {
    if one.row.kind != Kind::StretchFast {
        return;
    }
    let path = format!("{path}/quality");
    let none_felt = quality.map(|quality| matches!(quality, "0" | "1"));
    match (&one.value, none_felt) {
        (Value::Angle(_) | Value::Word(_) | Value::NoCatch, None) => {
            let what = "the quality of the reaction is missing".to_owned();
            let hint = "add quality with its quality_version";
            problems.error(Code::StretchQuality, &path, what, hint);
        }
        (Value::Word(_), Some(true)) => {
            let what = "says that no clear catch was felt, yet says where it was".to_owned();
            let hint = "give no_catch: true, or quality 2 or more";
            problems.error(Code::StretchCatch, &path, what, hint);
        }
        (Value::Angle(angle), Some(true)) if angle.reached().is_some() => {
            let what = "says that no clear catch was felt, yet gives its angle".to_owned();
            let hint = "give no_catch: true, or quality 2 or more";
            problems.error(Code::StretchCatch, &path, what, hint);
        }
        (Value::NoCatch, Some(false)) => {
            let what = "says that a catch was felt, yet gives no angle".to_owned();
            let hint = "give the angle of the catch, or quality 0 or 1";
            problems.error(Code::StretchCatch, &path, what, hint);
        }
        _ => {}
    }
}

/// Active range beyond passive by more than the error: turned round, or another position.
fn active_against_passive(measured: &[Measured], catalogue: &Catalogue, problems: &mut Problems) {
    let Some(limit) = catalogue.plausibility.get("active-beyond-passive") else {
        return;
    };
    for active in measured.iter().filter(|one| mode(one) == Some("active")) {
        let passive = measured.iter().filter(|one| {
            mode(one) == Some("passive")
                && one.row.kind == Kind::Range
                && one.row.movement == active.row.movement
                && same_side(one, active)
                && comparable(one, active)
        });
        for passive in passive {
            let (Some(a), Some(p)) = (active.reached(), passive.reached()) else {
                continue;
            };
            if by_more_than(a, p, *limit) {
                let what = format!(
                    "active {} is beyond passive {} by more than {limit} degrees",
                    a.degrees(),
                    p.degrees()
                );
                let hint = "look for turned-round values or another position, or confirm it";
                problems.caution(
                    Code::RangeActiveBeyondPassive,
                    &active.finding.path,
                    what,
                    hint,
                );
            }
        }
    }
}

/// The two ends of one movement leave an arc between them: lacking 5 in one direction and 30 in the
/// other cannot both be the end.
fn both_ends(measured: &[Measured], problems: &mut Problems) {
    for (index, one) in measured.iter().enumerate() {
        let other_end = measured.iter().take(index).filter(|other| {
            mode(one).is_some()
                && mode(other) == mode(one)
                && other.row.movement == one.row.opposite
                && same_side(other, one)
                && comparable(other, one)
        });
        for other in other_end {
            let (Some(a), Some(b)) = (one.reached(), other.reached()) else {
                continue;
            };
            if a.degrees().plus(b.degrees()).is_ok_and(Exact::is_negative) {
                let what = format!(
                    "{} at {} and {} at {} leave no movement between them",
                    other.row.label,
                    b.degrees(),
                    one.row.label,
                    a.degrees()
                );
                let hint = "look for turned-round directions; a fixed joint is written fixed_at";
                problems.caution(Code::RangeNoArc, &one.finding.path, what, hint);
            }
        }
    }
}

/// A catch past the end of the slow stretch, or a fast stretch that was the slower one.
fn slow_against_fast(measured: &[Measured], catalogue: &Catalogue, problems: &mut Problems) {
    let Some(limit) = catalogue.plausibility.get("catch-beyond-slow-end") else {
        return;
    };
    for fast in measured
        .iter()
        .filter(|one| one.row.kind == Kind::StretchFast)
    {
        let slow = measured.iter().filter(|one| {
            one.row.kind == Kind::StretchSlow && same_side(one, fast) && comparable(one, fast)
        });
        for slow in slow {
            let velocity = |one: &Measured| one.finding.stretch.as_ref().and_then(|s| s.velocity);
            if let (Some(f), Some(s)) = (velocity(fast), velocity(slow))
                && f <= s
            {
                let what = format!("the fast stretch at {f} is not faster than the slow at {s}");
                let path = format!("{}/stretch/velocity", fast.finding.path);
                problems.caution(
                    Code::StretchOrder,
                    &path,
                    what,
                    "correct one, or confirm it",
                );
            }
            if let (Some(r1), Some(r2)) = (fast.reached(), slow.reached())
                && by_more_than(r1, r2, *limit)
            {
                let what = format!(
                    "the catch at {} lies past the slow end at {}",
                    r1.degrees(),
                    r2.degrees()
                );
                let hint = "look for turned-round values, or confirm it";
                problems.caution(Code::StretchCatchBeyondEnd, &fast.finding.path, what, hint);
            }
        }
    }
}

/// A catch in a muscle that was graded as showing none. The two are moved at different speeds, so
/// both may be so, and somebody is asked.
fn catch_against_grade(measured: &[Measured], catalogue: &Catalogue, problems: &mut Problems) {
    let lowest = |one: &Measured| match (&one.value, &one.row.scale) {
        (Value::Grade(grade), Some(list)) => catalogue
            .word(list, grade)
            .and_then(|row| row.rank)
            .is_some_and(Exact::is_zero),
        _ => false,
    };
    let catches = |one: &&Measured| {
        one.row.kind == Kind::StretchFast && one.reached().is_some() && !one.finding.withdrawn
    };
    for fast in measured.iter().filter(catches) {
        let graded = measured.iter().find(|one| {
            lowest(one)
                && !one.finding.withdrawn
                && one.row.site == fast.row.site
                && same_side(one, fast)
                && one.finding.neighbour == fast.finding.neighbour
        });
        if let Some(graded) = graded {
            let what = format!("{}: a catch, yet {} is 0", fast.row.label, graded.row.label);
            let hint = "look for turned-round sides or values, or confirm it: the fast stretch is \
                        faster than the graded one";
            problems.caution(Code::StretchCatchAtZero, &fast.finding.path, what, hint);
        }
    }
}

fn same_side(a: &Measured, b: &Measured) -> bool {
    a.finding.side == b.finding.side
}

fn mode(one: &Measured) -> Option<&str> {
    one.row
        .mode
        .as_deref()
        .filter(|_| one.row.kind == Kind::Range)
}

fn by_more_than(a: Reached, b: Reached, limit: Exact) -> bool {
    a.degrees()
        .minus(b.degrees())
        .is_ok_and(|over| over > limit)
}
