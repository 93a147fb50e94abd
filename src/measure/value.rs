//! Which values a measure may have.

use crate::catalogue::rows::{Kind, Measure};
use crate::catalogue::{Catalogue, RELATIVE};
use crate::exact::Exact;
use crate::finding::{Ending, Finding, Instrument, Outcome, Said};
use crate::intake::draft::Side;
use crate::measure::{Value, angle, known_word};
use crate::problem::Problems;

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
            angle::of(said, ending, row, &path, catalogue, problems).map(Value::Angle)
        }
        (Kind::Range | Kind::StretchFast | Kind::Word | Kind::Amount, Said::Word(word))
            if row.scale.is_some() =>
        {
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
            points(*score, row, &path, problems).map(Value::Amount)
        }
        (Kind::Amount, Said::Amount(amount, unit)) => {
            unit_fits(unit.as_deref(), row, &path, problems)?;
            usual_amount(*amount, row, &path, problems).map(Value::Amount)
        }
        (Kind::Range | Kind::Word | Kind::Grade | Kind::Amount, Said::Relative(word)) => {
            only_compared(word, finding, &path, catalogue, problems).map(Value::Relative)
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
    let goniometry = matches!(value, Value::Angle(_)) && finding.method == "goniometry";
    let measured = goniometry || (row.kind == Kind::Amount && matches!(value, Value::Amount(_)));
    if goniometry && finding.instrument.is_none() {
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
        angle::finer_than_instrument(finding, angle, unit, instrument, problems);
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

/// What an end feels like is known only where the end was reached, unless the end feel itself says
/// what stopped the movement.
pub(super) fn end_feel_fits(finding: &Finding, catalogue: &Catalogue, problems: &mut Problems) {
    let (Some(end_feel), Outcome::Found(_, Some(ending))) = (&finding.end_feel, &finding.outcome)
    else {
        return;
    };
    let stopped_by = catalogue.end_feel_endings.get(end_feel);
    if ending.how != "end-of-range" && stopped_by != Some(&ending.how) {
        let what = format!(
            "{end_feel} is how an end feels, and the movement was stopped before its end ({})",
            ending.how
        );
        let hint = "remove end_feel, correct how it ended, or confirm it with a reason";
        let path = format!("{}/end_feel", finding.path);
        problems.caution("end-feel.bound", &path, what, hint);
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
        (true, Some(ending)) if ending.how == "stopped-on-purpose" && ending.because.is_none() => {
            let what = "stopped on purpose, but why is missing".to_owned();
            let hint = "add because with a code of not-tested-reason, and why in words if need be";
            problems.error("ending.because", &path, what, hint);
        }
        (true, Some(ending)) if ending.how == "end-of-range" && ending.because.is_some() => {
            let what = "carried through to the end, yet says why it was taken no further";
            let path = format!("{path}/because");
            problems.error("ending.stray", &path, what.to_owned(), "remove because");
        }
        (true, Some(_)) | (false, None) => {}
    }
}

pub(super) fn unit_fits(
    unit: Option<&str>,
    row: &Measure,
    path: &str,
    problems: &mut Problems,
) -> Option<()> {
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
            &format!("give the number in {wanted}"),
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

/// A number with a unit: never negative, and outside the bounds of its row a person is asked.
fn usual_amount(
    amount: Exact,
    row: &Measure,
    path: &str,
    problems: &mut Problems,
) -> Option<Exact> {
    let path = format!("{path}/amount");
    if amount.is_negative() {
        let what = format!("{amount} is less than nothing");
        problems.error("amount.negative", &path, what, "correct the digits");
        return None;
    }
    let outside = row.ask_below.is_some_and(|low| amount < low)
        || row.ask_above.is_some_and(|high| amount > high);
    if outside {
        let unit = row.unit.as_deref().unwrap_or_default();
        let what = format!(
            "{}: {amount} {unit} is beyond what is usually seen",
            row.measure
        );
        let hint = "correct it, or confirm it with a reason";
        problems.caution("amount.unusual", &path, what, hint);
    }
    Some(amount)
}

/// Only a comparison with the other side: there has to be another side.
fn only_compared(
    word: &str,
    finding: &Finding,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<String> {
    let path = format!("{path}/relative");
    if finding.side == Side::Middle {
        let what = "compared with the other side, but there is none".to_owned();
        problems.error("value.relative", &path, what, "say what was found");
        return None;
    }
    known_word(catalogue, RELATIVE, word, &path, problems).then(|| word.to_owned())
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
        Said::Unordered(_) => "a plane",
        Said::Grade(_) => "a grade",
        Said::Word(_) => "a word",
        Said::Score(..) => "points",
        Said::Amount(..) => "an amount",
        Said::Relative(_) => "a comparison",
        Said::NoCatch => "no catch",
    };
    let wanted = match row.kind {
        Kind::Range => "an angle, a word or relative",
        Kind::StretchSlow => "an angle",
        Kind::StretchFast => "the angle of the catch, its part of the range, or no_catch",
        Kind::Word => "a word or relative",
        Kind::Grade => "a grade or relative",
        Kind::Score => "a score",
        Kind::Amount => "an amount with its unit, a word or relative",
        Kind::Derived | Kind::Precaution | Kind::Panel => "nothing: it is not entered by hand",
    };
    let what = format!("{given} is no value of {}", row.measure);
    problems.error("value.kind", path, what, &format!("give {wanted}"));
}
