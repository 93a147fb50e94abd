//! Whether what was done stayed within the precautions.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::{Outcome, Precaution, Session};
use crate::examination::measure::{Measured, Value, prompts};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::{Kind, Measure, PrecautionEffect};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// The region of `sites.csv` that crosses all others.
const ANYWHERE: &str = "skin by dermatome";

/// Asks about precautions whose review or end has passed: they hold until a named person lifts
/// them.
pub(super) fn overdue(session: &Session, problems: &mut Problems) {
    let day = session.start.instant.date_naive();
    for precaution in session.precautions.iter().filter(|p| p.stands_on(day)) {
        for (date, field) in [(precaution.review, "review"), (precaution.end, "end")] {
            past(date, day, precaution, field, problems);
        }
    }
}

fn past(
    date: Option<NaiveDate>,
    day: NaiveDate,
    precaution: &Precaution,
    field: &str,
    problems: &mut Problems,
) {
    if let Some(date) = date.filter(|date| *date < day) {
        let what = format!(
            "precaution {}: the {field} date {date} has passed and nobody has lifted it",
            precaution.id
        );
        let hint = "it still holds: ask whoever set it, then lift it by name or give a new date";
        let path = format!("{}/{field}", precaution.path);
        problems.caution(Code::PrecautionOverdue, &path, what, hint);
    }
}

/// Asks about a result that a precaution forbids, and tells a reason that no precaution bears out.
pub(super) fn within(
    one: &Measured,
    session: &Session,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let day = session.start.instant.date_naive();
    let here: Vec<&Precaution> = session
        .precautions
        .iter()
        .filter(|precaution| precaution.stands_on(day) && touches(precaution, one, catalogue))
        .collect();
    if let Value::NotTested(reason) = &one.value {
        if reason == "precaution" && here.is_empty() {
            let what = "left out because of a precaution, but none is listed here".to_owned();
            let hint = "list the precaution with its site and side, or give another reason";
            let path = format!("{}/not_tested/reason", one.finding.path);
            problems.error(Code::NotTestedPrecaution, &path, what, hint);
        }
        return;
    }
    for precaution in here {
        let effects = &catalogue.precaution_effects;
        if effects
            .iter()
            .any(|effect| forbids(effect, precaution, one, catalogue))
        {
            let what = format!(
                "{} was done though precaution {} on the {} {} says {}",
                one.row.label,
                precaution.id,
                precaution.side.word(),
                precaution.site,
                precaution.limit
            );
            let hint = prompts::hint(Code::PrecautionForbids, catalogue);
            let (code, path) = (Code::PrecautionForbids, &one.finding.path);
            problems.caution_by(&cause(precaution), code, path, what, &hint);
        }
    }
}

/// A precaution and what of it forbids, in one text that differs wherever it does.
fn cause(precaution: &Precaution) -> String {
    let movement = precaution.movement.as_deref();
    let angle = precaution.angle.map(|angle| angle.to_string());
    format!(
        "{} {} {} {} {movement:?} {angle:?}",
        precaution.id,
        precaution.side.word(),
        precaution.site,
        precaution.limit
    )
}

/// A precaution reaches its own site, every movement within the same region of the body (what
/// bends the ankle stretches the calf), every movement of a muscle that crosses its site, and
/// every stretch of a muscle that moves a joint of its region (the hamstrings lie on the thigh and
/// move the knee).
///
/// A dermatome lies in no one region, so nobody can tell from a table whether it crosses the site of
/// a precaution: whatever is done on it is asked about, and so is everything on the side of a
/// dermatome that is protected itself.
fn touches(precaution: &Precaution, one: &Measured, catalogue: &Catalogue) -> bool {
    let region = |site: &str| catalogue.sites.get(site).map(|site| site.region.as_str());
    let near = |site: &str| region(site) == region(&precaution.site);
    let crosses = one.row.neighbour.as_deref() == Some(precaution.site.as_str());
    let moved = moved_joint(&one.row);
    let anywhere = |site: &str| region(site) == Some(ANYWHERE);
    let site = one.row.site.as_deref();
    if precaution.side == one.finding.side
        && site.is_some_and(|site| anywhere(site) != anywhere(&precaution.site))
    {
        return true;
    }
    precaution.side == one.finding.side
        && one.row.site.as_deref().is_some_and(|site| {
            site == precaution.site
                || (moves(&one.row) && (crosses || near(site) || moved.is_some_and(near)))
        })
}

/// The joint of an axis, such as the knee of `knee.sagittal`.
fn moved_joint(row: &Measure) -> Option<&str> {
    let (joint, _) = row.axis.as_deref()?.split_once('.')?;
    Some(joint)
}

/// Touching or asking moves nothing.
const fn moves(row: &Measure) -> bool {
    row.mode.is_some()
}

fn forbids(
    effect: &PrecautionEffect,
    precaution: &Precaution,
    one: &Measured,
    catalogue: &Catalogue,
) -> bool {
    let names = |wanted: &str, given: Option<&str>| wanted == "any" || given == Some(wanted);
    if effect.limit != precaution.limit
        || !names(&effect.kind, Some(one.row.kind.word()))
        || !names(&effect.mode, one.row.mode.as_deref())
    {
        return false;
    }
    match effect.forbids.as_str() {
        "no" => false,
        "end" => moves(&one.row) && to_the_end(one),
        "beyond" => in_limited_plane(precaution, &one.row, catalogue) && beyond(precaution, one),
        _ => moves(&one.row) || same_skin(precaution, &one.row, catalogue),
    }
}

/// What moves nothing is reached at its own site, and where a dermatome makes that impossible to tell.
fn same_skin(precaution: &Precaution, row: &Measure, catalogue: &Catalogue) -> bool {
    let region = |site: &str| catalogue.sites.get(site).map(|site| site.region.as_str());
    let site = row.site.as_deref();
    Some(precaution.site.as_str()) == site
        || region(&precaution.site) == Some(ANYWHERE)
        || site.and_then(region) == Some(ANYWHERE)
}

/// A limit of flexion at the hip says nothing of flexion at the knee. Where no measure of the site
/// itself has the limited movement, nobody can tell which joint is meant, so every joint counts.
fn in_limited_plane(precaution: &Precaution, row: &Measure, catalogue: &Catalogue) -> bool {
    let Some(movement) = &precaution.movement else {
        return true;
    };
    let of_movement =
        |row: &&Measure| [&row.movement, &row.opposite].contains(&&Some(movement.clone()));
    let planes: BTreeSet<&Option<String>> = catalogue
        .measures
        .values()
        .filter(|row| row.axis.is_some() && row.site.as_ref() == Some(&precaution.site))
        .filter(of_movement)
        .map(|row| &row.axis)
        .collect();
    planes.is_empty() || planes.contains(&row.axis)
}

/// Carried through to the end of the movement; where nothing says how it ended, nobody can tell that it
/// was not.
fn to_the_end(one: &Measured) -> bool {
    match &one.finding.outcome {
        Outcome::Found(_, Some(ending)) => ending.how == "end-of-range",
        // The recording of a stretch has no ending of its own.
        Outcome::Found(_, None) | Outcome::NotTested(_) => true,
    }
}

/// Past the stated angle. A bound counts, because the limb was there; words under an angle are
/// asked about, because nobody can tell; and the end of the opposite movement counts as well:
/// plantarflexion that lacks 12 ended at 12 degrees of dorsiflexion.
fn beyond(precaution: &Precaution, one: &Measured) -> bool {
    let Some(limit) = precaution.angle else {
        return true;
    };
    let in_limited_movement: Option<Exact> = match one.angle() {
        None => return one.row.kind == Kind::Range,
        Some(angle) if precaution.movement == one.row.movement => Some(angle.degrees()),
        Some(angle) if precaution.movement == one.row.opposite => Some(angle.degrees().negated()),
        Some(_) => None,
    };
    in_limited_movement.is_some_and(|angle| angle > limit)
}

#[cfg(test)]
mod tests {
    use crate::tables::catalogue::Catalogue;
    use std::collections::BTreeSet;

    #[test]
    fn for_each_limit_and_each_moving_measure_a_row_says_whether_it_is_asked_about() {
        let catalogue = Catalogue::embedded().expect("tables");
        let moving: BTreeSet<(&str, &str)> = catalogue
            .measures
            .values()
            .filter(|row| row.kind.is_entered())
            .filter_map(|row| Some((row.kind.word(), row.mode.as_deref()?)))
            .collect();

        for limit in &catalogue.scales["precaution-limit"].rows {
            for (kind, mode) in &moving {
                let rows = catalogue.precaution_effects.iter().filter(|row| {
                    row.limit == limit.code
                        && (row.kind == "any" || row.kind == *kind)
                        && (row.mode == "any" || row.mode == *mode)
                });
                assert_eq!(rows.count(), 1, "{} {kind} {mode}", limit.code);
            }
        }
    }
}
