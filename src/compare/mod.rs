//! Setting findings beside each other.
//!
//! Owns: the dynamic component R2-R1, side difference, comparison with a published range, change
//! since an earlier session. In: measured findings, and rows of the tables. Out: a difference, or
//! why there is none. Never: takes a bound, a word or a finding made in another way; judges
//! better or worse.

use crate::catalogue::Catalogue;
use crate::catalogue::rows::{ErrorRow, Kind, Measure, ReferenceRow};
use crate::exact::Exact;
use crate::finding::{Identifier, Session};
use crate::measure::sense::comparable;
use crate::measure::{Measured, Reached, Value};
use uuid::Uuid;

/// Why two findings are not set against each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotCompared {
    /// At least one movement was stopped before its end.
    #[error("a movement that was stopped before its end is only a bound")]
    Bound,
    /// At least one is no angle.
    #[error("a word, a grade or nothing measured is never compared with a number")]
    NoNumber,
    /// Side, position, neighbouring joint, instrument or method differ, or were not recorded.
    #[error("made in another way: side, position, neighbouring joint, instrument or method differ")]
    OtherWay,
    /// The joint does not move.
    #[error("the joint is fixed")]
    Fixed,
    /// At least one was withdrawn.
    #[error("the finding was withdrawn")]
    Withdrawn,
    /// The table has no row for it.
    #[error("no published figure for it")]
    NoRow,
    /// The difference cannot be held exactly.
    #[error("more digits than can be held exactly")]
    Digits,
}

/// A difference between two angles, in degrees.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// The signed difference.
    pub degrees: Exact,
    /// The rule that made it.
    pub rule: &'static str,
}

/// The dynamic component of a stretch, with the two findings it comes from.
#[derive(Debug, Clone)]
pub struct Dynamic {
    /// Identity, derived from both findings.
    pub id: Uuid,
    /// Its row of the measures.
    pub row: Measure,
    /// The end of the slow stretch.
    pub slow: Uuid,
    /// The catch of the fast stretch.
    pub fast: Uuid,
    /// R2-R1 in the direction in which the muscle lengthens.
    pub difference: Difference,
    /// The finding whose side, position and neighbouring joint it shares.
    pub like: Measured,
}

/// The dynamic component of every matched pair of a slow and a fast stretch.
///
/// R1 is the angle of the catch at V2 or V3, R2 the end of range at V1; the dynamic component is
/// R2-R1 (Boyd and Graham 1999, Eur J Neurol 6(S4):S23).
pub fn dynamics(measured: &[Measured], catalogue: &Catalogue) -> Vec<Dynamic> {
    let standing = |one: &&Measured| !one.finding.withdrawn;
    let mut found = Vec::new();
    for slow in measured
        .iter()
        .filter(standing)
        .filter(|m| m.row.kind == Kind::StretchSlow)
    {
        let fast = measured
            .iter()
            .filter(standing)
            .filter(|m| m.row.kind == Kind::StretchFast);
        let same_side = |fast: &&Measured| fast.finding.side == slow.finding.side;
        for fast in fast.filter(same_side).filter(|fast| comparable(slow, fast)) {
            let Ok(difference) = dynamic(slow, fast, catalogue) else {
                continue;
            };
            let row = catalogue.measures.values().find(|row| {
                row.kind == Kind::Derived
                    && row.site == slow.row.site
                    && row.axis == slow.row.axis
                    && row.held == slow.row.held
            });
            let Some(row) = row else { continue };
            let parts = [slow.finding.id.to_string(), fast.finding.id.to_string()];
            let [slow_id, fast_id] = &parts;
            found.push(Dynamic {
                id: crate::finding::derived_identity("dynamic", &[slow_id, fast_id]),
                row: row.clone(),
                slow: slow.finding.id,
                fast: fast.finding.id,
                difference,
                like: slow.clone(),
            });
        }
    }
    found
}

/// R2-R1 of one pair.
///
/// # Errors
/// [`NotCompared`] unless both stretches ended as intended.
pub fn dynamic(
    slow: &Measured,
    fast: &Measured,
    catalogue: &Catalogue,
) -> Result<Difference, NotCompared> {
    let (r2, r1) = (ended(slow)?, ended(fast)?);
    let site = slow.row.site.as_deref().unwrap_or_default();
    let lengthens = catalogue
        .stretch_signs
        .get(site)
        .ok_or(NotCompared::NoRow)?;
    // Both angles are signed along the movement their measure names; the difference runs in the
    // direction in which the muscle lengthens.
    let with_movement = Some(*lengthens) == slow.row.sign;
    let degrees = if with_movement {
        minus(r2, r1)?
    } else {
        minus(r1, r2)?
    };
    Ok(Difference {
        degrees,
        rule: "r2-minus-r1/1",
    })
}

/// Left less right of two findings made in the same way, in the direction of the movement.
///
/// # Errors
/// [`NotCompared`] with the reason.
pub fn side_difference(left: &Measured, right: &Measured) -> Result<Difference, NotCompared> {
    let (l, r) = (ended(left)?, ended(right)?);
    if left.row.measure != right.row.measure
        || left.finding.side == right.finding.side
        || !comparable(left, right)
    {
        return Err(NotCompared::OtherWay);
    }
    let degrees = minus(l, r)?;
    Ok(Difference {
        degrees,
        rule: "left-minus-right/1",
    })
}

/// What a published range says about one person's angle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Against {
    /// Key of the row of `reference_ranges.csv`.
    pub row: String,
    /// Below, within or above.
    pub place: Place,
}

/// Where an angle lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Below the range.
    Below,
    /// Within the range.
    Within,
    /// Above the range.
    Above,
}

/// An angle against a row of published ranges that is switched on for its measure.
///
/// # Errors
/// [`NotCompared`] with the reason.
pub fn reference(one: &Measured, rows: &[ReferenceRow]) -> Result<Against, NotCompared> {
    let angle = ended(one)?.degrees();
    let row = rows
        .iter()
        .find(|row| row.measure == one.row.measure && row.used == "on");
    let row = row.ok_or(NotCompared::NoRow)?;
    let place = match (row.low, row.high) {
        (Some(low), _) if angle < low => Place::Below,
        (_, Some(high)) if angle > high => Place::Above,
        (_, _) => Place::Within,
    };
    Ok(Against {
        row: row.key.clone(),
        place,
    })
}

/// A change since an earlier session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Later less earlier.
    pub degrees: Exact,
    /// What it means beside the error of measuring.
    pub meaning: Meaning,
}

/// What a change means. Never better or worse: that is for the therapist to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// Higher by more than the error of the row.
    Higher(String),
    /// Lower by more than the error of the row.
    Lower(String),
    /// Within the error of the row.
    WithinError(String),
    /// No published error for this way of measuring.
    NotJudged,
}

/// The change of an angle since an earlier session of the same person.
///
/// Strictly more than MDC95 counts, because MDC95 is the largest change that error explains.
///
/// # Errors
/// [`NotCompared`] with the reason.
pub fn change(
    earlier: (&Measured, &Session),
    later: (&Measured, &Session),
    rows: &[ErrorRow],
) -> Result<Change, NotCompared> {
    let (before, earlier_session) = earlier;
    let (after, later_session) = later;
    let (then, now) = (ended(before)?, ended(after)?);
    if before.row.measure != after.row.measure
        || before.finding.side != after.finding.side
        || !comparable(before, after)
    {
        return Err(NotCompared::OtherWay);
    }
    let degrees = minus(now, then)?;
    let same_tester = signer(earlier_session) == signer(later_session);
    let tester = if same_tester { "same" } else { "different" };
    let row = rows.iter().find(|row| {
        row.measure == after.row.measure
            && row.position == after.finding.position
            && row.method == after.finding.method
            && row.tester == tester
    });
    Ok(Change {
        degrees,
        meaning: meaning(degrees, row),
    })
}

fn signer(session: &Session) -> Option<&Identifier> {
    let by = &session.signed.by;
    session
        .performers
        .iter()
        .find(|p| p.key == *by)
        .map(|performer| &performer.identifier)
}

fn meaning(degrees: Exact, row: Option<&ErrorRow>) -> Meaning {
    match row {
        None => Meaning::NotJudged,
        Some(row) if degrees.magnitude() <= row.mdc95 => Meaning::WithinError(row.key.clone()),
        Some(row) if degrees.is_negative() => Meaning::Lower(row.key.clone()),
        Some(row) => Meaning::Higher(row.key.clone()),
    }
}

fn ended(one: &Measured) -> Result<Reached, NotCompared> {
    if one.finding.withdrawn {
        return Err(NotCompared::Withdrawn);
    }
    match &one.value {
        Value::Angle(angle) if angle.fixed => Err(NotCompared::Fixed),
        Value::Angle(angle) => angle.reached().ok_or(NotCompared::Bound),
        Value::Word(_)
        | Value::Grade(_)
        | Value::Amount(_)
        | Value::Relative(_)
        | Value::NoCatch
        | Value::NotTested(_) => Err(NotCompared::NoNumber),
    }
}

fn minus(a: Reached, b: Reached) -> Result<Exact, NotCompared> {
    a.degrees()
        .minus(b.degrees())
        .map_err(|_digits| NotCompared::Digits)
}
