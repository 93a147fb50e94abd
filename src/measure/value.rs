//! Which values a measure may have.

use crate::catalogue::Catalogue;
use crate::catalogue::rows::{Kind, Measure};
use crate::exact::Exact;
use crate::finding::{Ending, Finding, Instrument, Outcome, Said};
use crate::measure::{Angle, Extent, Value, known_word};
use crate::problem::Problems;

/// Finest decimals a bedside reading carries without being asked about.
const USUAL_DECIMALS: u32 = 1;

/// Reads the value of a finding in its measure.
pub(super) fn of(
    finding: &Finding,
    row: &Measure,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<Value> {
    let path = format!("{}/value", finding.path);
    let (said, ending) = match &finding.outcome {
        Outcome::NotTested(reason) => return Some(Value::NotTested(reason.clone())),
        Outcome::Found(said, ending) => (said, ending.as_ref()),
    };
    ending_fits(finding, row, ending, problems);
    match (row.kind, said) {
        (Kind::Range | Kind::StretchSlow | Kind::StretchFast, said)
            if matches!(said, Said::Beyond(..) | Said::Lacks(..) | Said::Fixed(..)) =>
        {
            angle(said, ending, row, &path, catalogue, problems).map(Value::Angle)
        }
        (Kind::Range | Kind::Word, Said::Word(word)) => {
            listed(word, "word", row, &path, catalogue, problems).map(Value::Word)
        }
        (Kind::Grade, Said::Grade(grade)) => {
            hint_at_half(grade, row, &path, problems)?;
            listed(grade, "grade", row, &path, catalogue, problems).map(Value::Grade)
        }
        (Kind::Score, Said::Score(score, unit)) => {
            if unit.is_some() {
                unit_fits(unit.as_deref(), row, &path, problems)?;
            }
            points(*score, row, &path, problems).map(Value::Score)
        }
        (Kind::StretchFast, Said::NoCatch) => Some(Value::NoCatch),
        (_, said) => {
            wrong_kind(said, row, &path, problems);
            None
        }
    }
}

/// An instrument belongs to a measured angle, and to nothing else.
pub(super) fn instrument_fits(
    finding: &Finding,
    row: &Measure,
    instrument: Option<&Instrument>,
    value: &Value,
    problems: &mut Problems,
) {
    let path = format!("{}/instrument", finding.path);
    let measured = matches!(value, Value::Angle(_)) && finding.method == "goniometry";
    if measured && finding.instrument.is_none() {
        let what = "measured, but with which instrument is missing".to_owned();
        let hint = "name an instrument, or write method visual-estimate";
        problems.error("instrument.missing", &path, what, hint);
    }
    if !measured && finding.instrument.is_some() && !matches!(value, Value::NotTested(_)) {
        let what = format!(
            "an instrument has no meaning with method {}",
            finding.method
        );
        problems.error(
            "instrument.stray",
            &path,
            what,
            "remove it, or correct the method",
        );
    }
    if let (Value::Angle(angle), Some(unit)) = (value, &row.unit) {
        finer_than_instrument(finding, angle, unit, instrument, problems);
    }
}

/// Parts that belong to some kinds of finding only.
pub(super) fn parts_fit(finding: &Finding, row: &Measure, problems: &mut Problems) {
    let stretch = matches!(row.kind, Kind::StretchSlow | Kind::StretchFast);
    let examined = matches!(finding.outcome, Outcome::Found(..));
    if stretch && examined && finding.stretch.is_none() {
        let what = "the speed of the stretch is missing".to_owned();
        let hint = "add stretch with speed V1, V2 or V3";
        problems.error(
            "stretch.missing",
            &format!("{}/stretch", finding.path),
            what,
            hint,
        );
    }
    let strays = [
        ("stretch", finding.stretch.is_some() && !stretch),
        (
            "end_feel",
            finding.end_feel.is_some() && !row.kind.has_ending(),
        ),
    ];
    for (field, stray) in strays {
        if stray {
            let what = format!("{field} has no meaning for {}", row.measure);
            problems.error(
                "part.stray",
                &format!("{}/{field}", finding.path),
                what,
                "remove it",
            );
        }
    }
    if let Some(pain) = finding.pain_during {
        whole_zero_to_ten(pain, &format!("{}/pain_during", finding.path), problems);
    }
}

fn ending_fits(finding: &Finding, row: &Measure, ending: Option<&Ending>, problems: &mut Problems) {
    let path = format!("{}/ended", finding.path);
    match (row.kind.has_ending(), ending) {
        (true, None) => {
            let what = "does not say how the movement ended".to_owned();
            let hint = "add ended with how: end-of-range, stopped-on-purpose, pain, guarding or \
                        instrument-limit";
            problems.error("ending.missing", &path, what, hint);
        }
        (false, Some(_)) => {
            let what = format!("ended has no meaning for {}", row.measure);
            problems.error("ending.stray", &path, what, "remove it");
        }
        (true, Some(Ending { how, why: None })) if how == "stopped-on-purpose" => {
            let what = "stopped on purpose, but why is missing".to_owned();
            problems.error("ending.why", &path, what, "add why in words");
        }
        (true, Some(_)) | (false, None) => {}
    }
}

fn angle(
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
        Said::Grade(_) | Said::Word(_) | Said::Score(..) | Said::NoCatch => return None,
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
        problems.error("value.fixed-active", &path, what, hint);
        return None;
    }
    if !carried_through {
        let what = "a movement that was stopped does not show that the joint is fixed".to_owned();
        let hint = "ended with how end-of-range, or the angle that was reached as a bound";
        problems.error("value.fixed-stopped", &path, what, hint);
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
    problems.error("value.direction", &format!("{path}/direction"), what, &hint);
    None
}

fn unit_fits(unit: Option<&str>, row: &Measure, path: &str, problems: &mut Problems) -> Option<()> {
    let path = format!("{path}/unit");
    let wanted = row.unit.as_deref().unwrap_or_default();
    let Some(unit) = unit else {
        let what = "the unit is missing".to_owned();
        problems.error("unit.missing", &path, what, &format!("write unit {wanted}"));
        return None;
    };
    if unit == wanted {
        return Some(());
    }
    if octofhir_ucum::validate(unit).is_err() {
        let what = format!("{unit} is no UCUM code");
        problems.error("unit.ucum", &path, what, &format!("write unit {wanted}"));
    } else if octofhir_ucum::is_comparable(unit, wanted).unwrap_or(false) {
        let what = format!("{unit} is not converted: the result would not be exact");
        problems.error(
            "unit.conversion",
            &path,
            what,
            &format!("give the angle in {wanted}"),
        );
    } else {
        let what = format!("{unit} is of another dimension than {wanted}");
        problems.error(
            "unit.dimension",
            &path,
            what,
            &format!("write unit {wanted}"),
        );
    }
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
            "angle.impossible",
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
        problems.caution("angle.unusual", path, what, hint);
    }
    let radians = limit("radians").is_some_and(|least| magnitude < least);
    if radians && !magnitude.is_zero() && magnitude.decimals() >= 2 {
        let what = format!("{degrees}: could this be radians?");
        let hint = "give degrees, or confirm that these are degrees";
        problems.caution("angle.radians", path, what, hint);
    }
    Some(())
}

fn finer_than_instrument(
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
            "angle.finer",
            &format!("{}/value", finding.path),
            what,
            hint,
        );
    }
}

fn listed(
    word: &str,
    field: &str,
    row: &Measure,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<String> {
    let list = row.scale.as_deref().unwrap_or_default();
    known_word(catalogue, list, word, &format!("{path}/{field}"), problems).then(|| word.to_owned())
}

/// `1.5` stands for `1+` in some number series; only a declared import may say so.
fn hint_at_half(grade: &str, row: &Measure, path: &str, problems: &mut Problems) -> Option<()> {
    if row.scale.as_deref() == Some("modified-ashworth") && grade == "1.5" {
        let what = "1.5 is no grade of the modified Ashworth scale".to_owned();
        problems.error(
            "grade.half",
            &format!("{path}/grade"),
            what,
            "write 1+ if that is meant",
        );
        return None;
    }
    Some(())
}

fn points(score: Exact, row: &Measure, path: &str, problems: &mut Problems) -> Option<Exact> {
    let inside = row.ask_below.is_none_or(|low| score >= low)
        && row.ask_above.is_none_or(|high| score <= high);
    if score.decimals() == 0 && inside {
        return Some(score);
    }
    let what = format!("{score} is not a whole number from 0 to 10");
    let hint = "write 0 to 10; a person who cannot answer is not_tested";
    problems.error("score.range", &format!("{path}/score"), what, hint);
    None
}

fn whole_zero_to_ten(pain: Exact, path: &str, problems: &mut Problems) {
    let ten = Exact::parse("10").unwrap_or(Exact::ZERO);
    if pain.decimals() > 0 || pain > ten {
        let what = format!("{pain} is not a whole number from 0 to 10");
        problems.error("score.range", path, what, "write 0 to 10, or leave it out");
    }
}

fn wrong_kind(said: &Said, row: &Measure, path: &str, problems: &mut Problems) {
    let given = match said {
        Said::Beyond(..) | Said::Lacks(..) | Said::Fixed(..) => "an angle",
        Said::Grade(_) => "a grade",
        Said::Word(_) => "a word",
        Said::Score(..) => "points",
        Said::NoCatch => "no catch",
    };
    let wanted = match row.kind {
        Kind::Range => "an angle or a word",
        Kind::StretchSlow => "an angle",
        Kind::StretchFast => "the angle of the catch, or no_catch",
        Kind::Word => "a word",
        Kind::Grade => "a grade",
        Kind::Score => "a score",
        Kind::Derived | Kind::Precaution | Kind::Panel => "nothing: it is not entered by hand",
    };
    let what = format!("{given} is no value of {}", row.measure);
    problems.error("value.kind", path, what, &format!("give {wanted}"));
}
