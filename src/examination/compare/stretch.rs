//! A slow and a fast stretch of one muscle: dynamic part, fixed part, share.

use crate::base::exact::Exact;
use crate::examination::compare::part::{Part, closest, minus, number, pair};
use crate::examination::compare::reason::NotCompared;
use crate::examination::compare::side::{Sides, sides};
use crate::examination::compare::{
    Amount, Comparison, Found, Rule, Table, Verdict, error, reference, tester,
};
use crate::examination::measure::{Measured, Value};
use crate::tables::catalogue::rows::{Kind, Measure};

/// Digits of a share after the point.
const SHARE_DIGITS: u32 = 2;

pub(super) fn all(table: &Table<'_>) -> Vec<Comparison> {
    let slow = table
        .standing
        .iter()
        .filter(|(_, part)| part.row.kind == Kind::StretchSlow);
    let mut all = Vec::new();
    for (slow, part) in slow {
        let fixed = fixed_part(table, slow, part);
        let measures = table.catalogue.measures.values().filter(|row| {
            row.kind == Kind::StretchFast
                && (&row.site, &row.axis, &row.held)
                    == (&part.row.site, &part.row.axis, &part.row.held)
        });
        let fast = measures.flat_map(|row| table.of(&row.measure, part.side));
        for fast in fast.filter(|fast| goes_with(part, fast)) {
            let dynamic = dynamic_part(table, slow, part, fast);
            if let Some((Some(other), fixed)) = &fixed {
                all.extend(share(table, &dynamic, fixed, part, fast, other));
            }
            all.push(dynamic);
        }
        if let Some((_, fixed)) = fixed {
            if fixed.outcome.is_err() {
                all.extend(fixed_part_of_range(table, slow, part));
            }
            all.push(fixed);
        }
    }
    all
}

/// The same muscle of the same side, stretched in the same position, where both were measured in the
/// same way as well.
fn goes_with(slow: &Part, fast: &Part) -> bool {
    let measured = |part: &Part| matches!(part.value, Value::Angle(_));
    let differs = if measured(slow) && measured(fast) {
        slow.way.differs(&fast.way)
    } else {
        slow.way.differs_in_place(&fast.way)
    };
    differs.is_none()
}

/// The number that measures the muscle: both angles are signed along the movement their measure
/// names; a difference runs in the direction in which the muscle lengthens.
fn lengthening(
    table: &Table<'_>,
    row: &Measure,
    more: Exact,
    less: Exact,
) -> Result<Exact, NotCompared> {
    let site = row.site.as_deref().unwrap_or_default();
    let lengthens = table.catalogue.stretch_signs.get(site);
    let lengthens = lengthens.ok_or(NotCompared::NoStretchSign)?;
    if Some(*lengthens) == row.sign {
        minus(more, less)
    } else {
        minus(less, more)
    }
}

/// R2-R1: R1 is the angle of the catch at V2 or V3, R2 the end of range at V1 (Boyd and Graham 1999,
/// Eur J Neurol 6(S4):S23).
fn dynamic_part(table: &Table<'_>, one: &Measured, slow: &Part, fast: &Part) -> Comparison {
    let mut comparison = Comparison::new(Rule::DynamicPart, one, &[slow, fast]);
    let part =
        number(&slow.value).and_then(|r2| lengthening(table, &slow.row, r2, number(&fast.value)?));
    judged(&mut comparison, table, part, slow, fast);
    comparison
}

/// The fixed part: the end of the slow stretch on the other side less that on this side, signed, so
/// that more range than on the other side shows as well. Beside it the finding of the other side;
/// where there is none, or neither side is the reference, it says so. Nothing for the side that is
/// the reference itself.
fn fixed_part<'a>(
    table: &Table<'a>,
    one: &Measured,
    slow: &Part,
) -> Option<(Option<&'a Part>, Comparison)> {
    let without = |reason| {
        let mut comparison = Comparison::new(Rule::FixedPart, one, &[slow]);
        comparison.outcome = Err(reason);
        Some((None, comparison))
    };
    let (affected, reference, told) = match sides(table.session.more_affected) {
        Sides::Known(of, from, told) => (of, from, told),
        Sides::NoReference(reason) => return without(reason),
    };
    if slow.side != affected {
        return None;
    }
    let Some(other) = closest(slow, table.of(&slow.row.measure, reference)) else {
        return without(NotCompared::NoOther);
    };
    let mut comparison = Comparison::new(Rule::FixedPart, one, &[other, slow]);
    let reference = told.split(", ").next().unwrap_or_default();
    comparison
        .told
        .push(format!("{reference}, beside the other side"));
    let part = pair(other, slow, table.catalogue).and_then(|_numbers| {
        lengthening(
            table,
            &slow.row,
            number(&other.value)?,
            number(&slow.value)?,
        )
    });
    judged(&mut comparison, table, part, other, slow);
    Some((Some(other), comparison))
}

/// The fixed part where the other side gives none: the nearer end of a published range less the end
/// of the slow stretch, signed in the same way; within the range it is no number. Nothing where no
/// table of the site has a row for this very stretch: the range of the joint is none of a muscle that
/// crosses two, or is held short.
///
/// A rule of our own. No share is taken of it: the end of a range of other people has no error of
/// measuring that belongs to this person.
fn fixed_part_of_range(table: &Table<'_>, one: &Measured, slow: &Part) -> Option<Comparison> {
    let beside = reference::against(table, one, slow)?;
    let mut comparison = Comparison::new(Rule::FixedPartOfRange, one, &[slow]);
    comparison.rows = beside.rows;
    comparison.outcome = beside.outcome.and_then(|found| {
        let end = number(&slow.value)?;
        let range = found.range.as_ref().map(|(range, _)| *range);
        let nearer = match (found.verdict, range) {
            (Verdict::BelowRange, Some(range)) => Some(range.low()),
            (Verdict::AboveRange, Some(range)) => Some(range.high()),
            (_, _) => None,
        };
        let number = nearer.map(|nearer| lengthening(table, &slow.row, nearer, end));
        Ok(Found {
            amount: number.transpose()?.map(|number| Amount {
                number,
                unit: slow.unit().to_owned(),
            }),
            verdict: found.verdict,
            range: None,
        })
    });
    Some(comparison)
}

/// The dynamic share: the dynamic part over the dynamic and the fixed part, of which the whole has to
/// be larger than its error, and neither part below zero. The whole is the end of the slow stretch on
/// the other side less the catch, so its error is that of these two. Nothing where the fixed part is
/// no answer itself.
///
/// A rule of our own: no published cut-off is known.
fn share(
    table: &Table<'_>,
    dynamic: &Comparison,
    fixed: &Comparison,
    slow: &Part,
    fast: &Part,
    other: &Part,
) -> Option<Comparison> {
    let parts = [&dynamic.outcome, &fixed.outcome].map(|outcome| match outcome {
        Ok(found) => found
            .amount
            .as_ref()
            .map_or(Err(NotCompared::OnlyWords), |a| Ok(a.number)),
        Err(reason) => Err(reason.clone()),
    });
    let not_an_answer = |part: &Result<Exact, NotCompared>| {
        part.as_ref().is_err_and(|reason| reason.answer().is_none())
    };
    if parts.iter().any(not_an_answer) {
        return None;
    }
    let mut comparison = Comparison::new(Rule::DynamicShare, &dynamic.about, &[slow, fast, other]);
    comparison.told.clone_from(&fixed.told);
    let tester = tester(other, fast);
    let rows = [other, fast].map(|part| table.error_row(part, tester));
    let [dynamic, fixed] = parts;
    comparison.outcome = dynamic.and_then(|dynamic| {
        let fixed = fixed?;
        if dynamic.is_negative() || fixed.is_negative() {
            return Err(NotCompared::NegativePart);
        }
        let whole = dynamic.plus(fixed).map_err(|_digits| NotCompared::Digits)?;
        let [Some(first), Some(second)] = rows else {
            return Err(NotCompared::NoPublishedError);
        };
        let beyond = error::beyond(whole, first, second);
        if !beyond.map_err(|_digits| NotCompared::Digits)? {
            return Err(NotCompared::WithinError);
        }
        let share = dynamic.ratio(whole, SHARE_DIGITS);
        Ok(Found {
            amount: Some(Amount {
                number: share.map_err(|_digits| NotCompared::Digits)?,
                unit: "1".to_owned(),
            }),
            verdict: Verdict::Higher,
            range: None,
        })
    });
    let rows: Vec<_> = rows.into_iter().flatten().collect();
    comparison.rows = table.used(&rows);
    Some(comparison)
}

fn judged(
    comparison: &mut Comparison,
    table: &Table<'_>,
    part: Result<Exact, NotCompared>,
    first: &Part,
    second: &Part,
) {
    let tester = tester(first, second);
    let rows = [first, second].map(|part| table.error_row(part, tester));
    comparison.outcome = part.and_then(|number| {
        Ok(Found {
            amount: Some(Amount {
                number,
                unit: first.unit().to_owned(),
            }),
            verdict: error::judge(number, rows[0], rows[1])?,
            range: None,
        })
    });
    if comparison.outcome.is_ok() {
        let rows: Vec<_> = rows.into_iter().flatten().collect();
        comparison.rows = table.used(&rows);
    }
}
