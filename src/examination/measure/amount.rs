//! Numbers with a unit: the unit, its dimension, and how far a number may go.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::{Finding, Outcome, Said};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Measure;

/// Tells a unit that is not the one of the row.
pub(super) fn unit_fits(
    unit: Option<&str>,
    row: &Measure,
    path: &str,
    problems: &mut Problems,
) -> Option<()> {
    unit_is(
        unit,
        row.unit.as_deref().unwrap_or_default(),
        path,
        problems,
    )
}

/// Tells a unit that is missing, is none, or is another one than is wanted.
pub(super) fn unit_is(
    unit: Option<&str>,
    wanted: &str,
    path: &str,
    problems: &mut Problems,
) -> Option<()> {
    let path = format!("{path}/unit");
    let Some(unit) = unit else {
        let what = "the unit is missing".to_owned();
        problems.error(
            Code::UnitMissing,
            &path,
            what,
            &format!("write unit {wanted}"),
        );
        return None;
    };
    if unit == wanted {
        return Some(());
    }
    if octofhir_ucum::validate(unit).is_err() {
        let what = format!("{unit} is no UCUM code");
        problems.error(Code::UnitUcum, &path, what, &format!("write unit {wanted}"));
    } else if octofhir_ucum::is_comparable(unit, wanted).unwrap_or(false) {
        let what = format!("{unit} is not converted: the result would not be exact");
        problems.error(
            Code::UnitConversion,
            &path,
            what,
            &format!("give the number in {wanted}"),
        );
    } else {
        let what = format!("{unit} is of another dimension than {wanted}");
        problems.error(
            Code::UnitDimension,
            &path,
            what,
            &format!("write unit {wanted}"),
        );
    }
    None
}

/// The unit of an amount: the one of the row, or a further one of its family.
pub(super) fn amount_unit<'a>(
    unit: Option<&'a str>,
    row: &'a Measure,
    path: &str,
    catalogue: &'a Catalogue,
    problems: &mut Problems,
) -> Option<&'a str> {
    let mut choices = catalogue.unit_choices_of(row);
    if let Some(choice) = choices.find(|choice| Some(choice.unit.as_str()) == unit) {
        return Some(&choice.unit);
    }
    unit_fits(unit, row, path, problems)?;
    unit
}

/// A number with a unit: never negative, no finer than its unit allows, and outside the bounds of
/// its row a person is asked.
pub(super) fn usual_amount(
    amount: Exact,
    unit: &str,
    row: &Measure,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<Exact> {
    let path = format!("{path}/amount");
    whole_enough(amount, unit, &path, catalogue, problems)?;
    let (low, high) = catalogue.bounds_in(row, unit)?;
    if low.is_some_and(|low| amount < low) || high.is_some_and(|high| amount > high) {
        let what = format!(
            "{}: {amount} {unit} is beyond what is usually seen",
            row.measure
        );
        let hint = "correct it, or confirm it with a reason";
        problems.caution(Code::AmountUnusual, &path, what, hint);
    }
    Some(amount)
}

/// Less than nothing is no amount, and half a beat is none either.
pub(super) fn whole_enough(
    amount: Exact,
    unit: &str,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<()> {
    if amount.is_negative() {
        let what = format!("{amount} is less than nothing");
        problems.error(Code::AmountNegative, path, what, "correct the digits");
        return None;
    }
    let most = catalogue.counted_units.get(unit);
    if most.is_some_and(|most| amount.decimals() > *most) {
        let label = catalogue.unit_label(unit).unwrap_or(unit);
        let what = format!("{amount} is finer than a {label} is counted");
        problems.error(Code::AmountDecimals, path, what, "correct the digits");
        return None;
    }
    Some(())
}

/// The unit that the number of a finding is in.
pub(super) fn unit_of<'a>(finding: &'a Finding, row: &'a Measure) -> Option<&'a str> {
    match &finding.outcome {
        Outcome::Found(Said::Amount(_, Some(unit)), _) => Some(unit),
        Outcome::Found(..) | Outcome::NotTested(_) => row.unit.as_deref(),
    }
}
