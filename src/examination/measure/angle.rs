//! Angles: their sign, their bounds, and whether they are the end of a movement.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::{Ending, Finding, Instrument, Said};
use crate::examination::measure::amount::unit_fits;
use crate::examination::measure::{Angle, Extent};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Measure;

/// Finest decimals a bedside reading carries without being asked about.
const USUAL_DECIMALS: u32 = 1;

/// Reads an angle, signed in the direction of the movement the measure names.
pub(super) fn of(
    said: &Said,
    ending: Option<&Ending>,
    row: &Measure,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<Angle> {
    let (degrees, unit, fixed) = match said {
        Said::Beyond(digits, unit) => (*digits, unit, false),
        Said::Lacks(digits, unit) => (digits.negated(), unit, false),
        Said::Fixed(digits, direction, unit) => {
            (toward(*digits, direction, row, path, problems)?, unit, true)
        }
        Said::Unordered(_)
        | Said::Grade(..)
        | Said::Word(_)
        | Said::Sensation(_)
        | Said::Score(..)
        | Said::Amount(..)
        | Said::Relative(_)
        | Said::NoCatch => return None,
    };
    unit_fits(unit.as_deref(), row, path, problems)?;
    bounds(degrees, row, path, catalogue, problems)?;
    let carried_through = ending.is_some_and(|ending| ending.how == "end-of-range");
    if fixed {
        fixed_fits(carried_through, row, path, problems)?;
    }
    let extent = if carried_through {
        Extent::Reached
    } else {
        Extent::AtLeast
    };
    Some(Angle {
        degrees,
        extent,
        fixed,
    })
}

/// That a joint is fixed shows when it is moved by hand and does not give; a movement that was
/// stopped by anything else shows nothing of it.
fn fixed_fits(
    carried_through: bool,
    row: &Measure,
    path: &str,
    problems: &mut Problems,
) -> Option<()> {
    let path = format!("{path}/fixed_at");
    if row.mode.as_deref() != Some("passive") {
        let what = format!(
            "{}: only a passive movement shows that a joint is fixed",
            row.measure
        );
        let hint = "write it as a passive range, or give the active angle that was reached";
        problems.error(Code::ValueFixedActive, &path, what, hint);
        return None;
    }
    if !carried_through {
        let what = "a movement that was stopped does not show that the joint is fixed".to_owned();
        let hint = "ended with how end-of-range, or the angle that was reached as a bound";
        problems.error(Code::ValueFixedStopped, &path, what, hint);
        return None;
    }
    Some(())
}

/// The signed angle of a joint fixed on the side of a named movement.
fn toward(
    digits: Exact,
    direction: &str,
    row: &Measure,
    path: &str,
    problems: &mut Problems,
) -> Option<Exact> {
    if row.movement.as_deref() == Some(direction) {
        return Some(digits);
    }
    if row.opposite.as_deref() == Some(direction) {
        return Some(digits.negated());
    }
    let what = format!("{direction} is no movement in the plane of {}", row.measure);
    let hint = format!(
        "write {} or {}",
        row.movement.as_deref().unwrap_or("the movement"),
        row.opposite.as_deref().unwrap_or("its opposite")
    );
    problems.error(
        Code::ValueDirection,
        &format!("{path}/direction"),
        what,
        &hint,
    );
    None
}

fn bounds(
    degrees: Exact,
    row: &Measure,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<()> {
    let magnitude = degrees.magnitude();
    let limit = |check: &str| catalogue.plausibility.get(check).copied();
    if limit("impossible-angle").is_some_and(|most| magnitude > most) {
        let what = format!("{}: {degrees} degrees is no angle of a joint", row.measure);
        problems.error(
            Code::AngleImpossible,
            path,
            what,
            "correct the digits or the unit",
        );
        return None;
    }
    let outside = row.ask_below.is_some_and(|low| degrees < low)
        || row.ask_above.is_some_and(|high| degrees > high);
    if outside {
        let what = format!(
            "{}: {degrees} degrees is beyond what is usually seen",
            row.measure
        );
        let hint = "correct it, or confirm it with a reason";
        problems.caution(Code::AngleUnusual, path, what, hint);
    }
    let radians = limit("radians").is_some_and(|least| magnitude < least);
    if radians && !magnitude.is_zero() && magnitude.decimals() >= 2 {
        let what = format!("{degrees}: could this be radians?");
        let hint = "give degrees, or confirm that these are degrees";
        problems.caution(Code::AngleRadians, path, what, hint);
    }
    Some(())
}

/// Tells digits that the instrument cannot show; they are kept.
pub(super) fn finer_than_instrument(
    finding: &Finding,
    angle: &Angle,
    unit: &str,
    instrument: Option<&Instrument>,
    problems: &mut Problems,
) {
    let allowed = instrument
        .filter(|instrument| instrument.unit == unit)
        .map_or(USUAL_DECIMALS, |instrument| {
            instrument.resolution.decimals()
        });
    if angle.degrees().decimals() > allowed {
        let what = format!("{} is finer than the instrument shows", angle.degrees());
        let hint = "the digits are kept as written; an average says so in its note";
        problems.note(
            Code::AngleFiner,
            &format!("{}/value", finding.path),
            what,
            hint,
        );
    }
}
