//! One line through the catches of each muscle.

use crate::examination::finding::derived_identity;
use crate::examination::trace::dependence::{StraightLine, line};
use crate::examination::trace::parameters::Parameters;
use crate::examination::trace::rounded::{TEN_THOUSANDTH, TENTH, exact};
use crate::examination::trace::traced::{Computed, Dependence, Traced, row_of, same_way};
use crate::examination::trace::{Outcome, Reason};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;

/// One line for each muscle of which two and more fast stretches were recorded in the same way.
pub(super) fn lines(
    each: &[Traced],
    catalogue: &Catalogue,
    parameters: &Parameters,
) -> Vec<Dependence> {
    let fast: Vec<(&Traced, &Computed)> = each
        .iter()
        .filter_map(|one| Some((one, one.computed.as_ref()?)))
        .collect();
    let mut groups: Vec<Vec<(&Traced, &Computed)>> = Vec::new();
    for (one, computed) in fast {
        let like = |group: &&mut Vec<(&Traced, &Computed)>| {
            let first = group.first();
            first.is_some_and(|(first, _)| same_way(&first.source.like, &one.source.like))
        };
        match groups.iter_mut().find(like) {
            Some(group) => group.push((one, computed)),
            None => groups.push(vec![(one, computed)]),
        }
    }
    let several = groups.into_iter().filter(|group| group.len() > 1);
    several
        .filter_map(|group| dependence(&group, catalogue, parameters))
        .collect()
}

fn dependence(
    group: &[(&Traced, &Computed)],
    catalogue: &Catalogue,
    parameters: &Parameters,
) -> Option<Dependence> {
    let (first, _) = group.first()?;
    let row = row_of(Kind::TraceLine, &first.source.like.row, catalogue)?;
    let caught: Vec<(&Traced, f64, f64)> = group
        .iter()
        .filter(|(_, computed)| computed.verdict.outcome == Outcome::Catch)
        .filter_map(|(one, computed)| {
            let motion = one.motion.as_ref().ok()?;
            let at = computed.verdict.stop.as_ref()?.at;
            Some((*one, motion.peak_velocity, at.degrees))
        })
        .collect();
    let points: Vec<(f64, f64)> = caught.iter().map(|(_, v, a)| (*v, *a)).collect();
    let turn = if first.source.lengthens { 1.0 } else { -1.0 };
    let rounded = |line: StraightLine| {
        let slope = exact(turn * line.slope, TEN_THOUSANDTH).ok_or(Reason::SpeedsAlike)?;
        let angle = exact(turn * line.intercept, TENTH).ok_or(Reason::SpeedsAlike)?;
        let catches = u32::try_from(line.catches).map_err(|_many| Reason::SpeedsAlike)?;
        Ok((slope, angle, catches))
    };
    let ids: Vec<String> = group.iter().map(|(_, one)| one.id.to_string()).collect();
    let ids: Vec<&str> = ids.iter().map(String::as_str).collect();
    Some(Dependence {
        id: derived_identity("trace-line", &ids),
        row: row.clone(),
        from: group.iter().map(|(_, computed)| computed.id).collect(),
        result: line(&points, parameters).and_then(rounded),
        like: first.source.like.clone(),
        accepted: caught
            .iter()
            .all(|(one, _, _)| one.source.trace.accepted.is_some())
            && !caught.is_empty(),
    })
}
