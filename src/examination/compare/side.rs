//! One side beside the other.

use crate::examination::compare::part::{Pair, Part, closest, minus, pair};
use crate::examination::compare::reason::NotCompared;
use crate::examination::compare::{Amount, Comparison, Found, Rule, Table, error, tester};
use crate::examination::intake::draft::MoreAffectedSide;
use crate::examination::intake::parts::Side;
use crate::tables::catalogue::comparing::ErrorRow;

/// The side a difference is taken of, the side it is taken from, and how that is said.
pub(super) enum Sides {
    /// More affected, less affected.
    Known(Side, Side, &'static str),
    /// Neither side is the reference, and why.
    NoReference(NotCompared),
}

/// The less affected side is the person's own reference (common practice, no source).
pub(super) const fn sides(more_affected: MoreAffectedSide) -> Sides {
    match more_affected {
        MoreAffectedSide::Left => {
            let told = "left, the more affected side, less right";
            Sides::Known(Side::Left, Side::Right, told)
        }
        MoreAffectedSide::Right => {
            let told = "right, the more affected side, less left";
            Sides::Known(Side::Right, Side::Left, told)
        }
        MoreAffectedSide::Neither => {
            let told = "left less right; neither side is more affected";
            Sides::Known(Side::Left, Side::Right, told)
        }
        MoreAffectedSide::Both => Sides::NoReference(NotCompared::BothAffected),
        MoreAffectedSide::NotKnown => Sides::NoReference(NotCompared::SideNotKnown),
    }
}

/// The side difference of everything that was examined, or spoken of, on both sides.
pub(super) fn all(table: &Table<'_>) -> Vec<Comparison> {
    let sides = sides(table.session.more_affected);
    // Where neither side is the reference, each pair is told once.
    let (of, from) = match &sides {
        Sides::Known(of, from, _) => (*of, *from),
        Sides::NoReference(_) => (Side::Left, Side::Right),
    };
    let mut all = Vec::new();
    for (one, part) in table.standing.iter().filter(|(_, part)| part.side == of) {
        let Some(other) = closest(part, table.of(&part.row.measure, from)) else {
            continue;
        };
        let mut comparison = Comparison::new(Rule::SideDifference, one, &[part, other]);
        match &sides {
            Sides::Known(_, _, told) => {
                comparison.told.push((*told).to_owned());
                judged(&mut comparison, table, part, other);
            }
            Sides::NoReference(reason) => comparison.outcome = Err(reason.clone()),
        }
        all.push(comparison);
    }
    all
}

fn judged(comparison: &mut Comparison, table: &Table<'_>, part: &Part, other: &Part) {
    let tester = tester(part, other);
    let rows = [part, other].map(|one| table.error_row(one, tester));
    comparison.outcome =
        pair(part, other, table.catalogue).and_then(|pair| found(pair, rows[0], rows[1], part));
    if comparison.outcome.is_ok() {
        let rows: Vec<_> = rows.into_iter().flatten().collect();
        comparison.rows = table.used(&rows);
    }
}

/// What the first of a pair less the second comes to.
pub(super) fn found(
    pair: Pair,
    first: Option<&ErrorRow>,
    second: Option<&ErrorRow>,
    part: &Part,
) -> Result<Found, NotCompared> {
    match pair {
        Pair::Numbers(a, b) => {
            let difference = minus(a, b)?;
            let amount = Amount {
                number: difference,
                unit: part.unit().to_owned(),
            };
            Ok(Found {
                amount: Some(amount),
                verdict: error::judge(difference, first, second)?,
                range: None,
            })
        }
        Pair::Words([(a, place_a), (b, place_b)]) => {
            let difference = match (place_a, place_b) {
                (Some(a), Some(b)) => minus(a, b)?,
                (_, _) if a == b => crate::base::exact::Exact::ZERO,
                (_, _) => return Err(NotCompared::NoOrder),
            };
            Ok(Found {
                amount: None,
                verdict: error::judge_steps(difference, first)?,
                range: None,
            })
        }
    }
}
