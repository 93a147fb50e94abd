//! Which values a measure may have.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::{Ending, Finding, Instrument, Outcome, Said};
use crate::examination::intake::parts::Side;
use crate::examination::measure::amount::{amount_unit, unit_fits, usual_amount};
use crate::examination::measure::{Value, angle, known_word};
use crate::tables::catalogue::rows::{Kind, Measure};
use crate::tables::catalogue::{Catalogue, RELATIVE, SENSATION};

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
        (Kind::Word, Said::Sensation(word)) if catalogue.sensation_of(row).is_some() => {
            let path = format!("{path}/sensation");
            let known = known_word(catalogue, SENSATION, word, &path, problems);
            known.then(|| Value::Word(word.clone()))
        }
        (Kind::Grade, Said::Grade(grade, version)) => {
            hint_at_half(grade, row, &path, problems)?;
            graded(grade, version.as_deref(), row, &path, catalogue, problems).map(Value::Grade)
        }
        (Kind::Score, Said::Score(score, unit)) => {
            if unit.is_some() {
                unit_fits(unit.as_deref(), row, &path, problems)?;
            }
            points(*score, row, &path, problems).map(Value::Amount)
        }
        (Kind::Amount, Said::Amount(amount, unit)) => {
            let unit = amount_unit(unit.as_deref(), row, &path, catalogue, problems)?;
            usual_amount(*amount, unit, row, &path, catalogue, problems).map(Value::Amount)
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
        problems.error(Code::InstrumentMissing, &path, what, hint);
    }
    if !measured && finding.instrument.is_some() && !matches!(value, Value::NotTested(_)) {
        let what = format!(
            "an instrument has no meaning with method {}",
            finding.method
        );
        problems.error(
            Code::InstrumentStray,
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
            Code::StretchMissing,
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
                Code::PartStray,
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
        problems.caution(Code::EndFeelBound, &path, what, hint);
    }
}

fn ending_fits(finding: &Finding, row: &Measure, ending: Option<&Ending>, problems: &mut Problems) {
    let path = format!("{}/ended", finding.path);
    match (row.kind.has_ending(), ending) {
        (true, None) => {
            let what = "does not say how the movement ended".to_owned();
            let hint = "add ended with how: end-of-range, stopped-on-purpose, pain, guarding or \
                        instrument-limit";
            problems.error(Code::EndingMissing, &path, what, hint);
        }
        (false, Some(_)) => {
            let what = format!("ended has no meaning for {}", row.measure);
            problems.error(Code::EndingStray, &path, what, "remove it");
        }
        (true, Some(ending)) if ending.how == "stopped-on-purpose" && ending.because.is_none() => {
            let what = "stopped on purpose, but why is missing".to_owned();
            let hint = "add because with a code of not-tested-reason, and why in words if need be";
            problems.error(Code::EndingBecause, &path, what, hint);
        }
        (true, Some(ending)) if ending.how == "end-of-range" && ending.because.is_some() => {
            let what = "carried through to the end, yet says why it was taken no further";
            let path = format!("{path}/because");
            problems.error(Code::EndingStray, &path, what.to_owned(), "remove because");
        }
        (true, Some(_)) | (false, None) => {}
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

/// The list that the word or grade of a finding is of.
pub(super) fn list_of<'a>(
    finding: &Finding,
    row: &'a Measure,
    catalogue: &'a Catalogue,
) -> Option<&'a str> {
    let scale = row.scale.as_deref()?;
    if let Outcome::Found(Said::Sensation(_), _) = &finding.outcome {
        return catalogue.sensation_of(row).or(Some(scale));
    }
    let Outcome::Found(Said::Grade(_, Some(version)), _) = &finding.outcome else {
        return Some(scale);
    };
    let mut versions = catalogue.versions_of(scale);
    let named = versions.find(|row| row.version == *version);
    Some(named.map_or(scale, |row| row.list.as_str()))
}

/// A grade of the scale, or of the version that is declared: the versions of a scale share signs
/// that another reader would take for errors.
fn graded(
    grade: &str,
    version: Option<&str>,
    row: &Measure,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<String> {
    let scale = row.scale.as_deref().unwrap_or_default();
    let path_of_version = format!("{path}/grade_version");
    let versions = || catalogue.versions_of(scale);
    let Some(version) = version else {
        let in_another = versions().find(|other| catalogue.word(&other.list, grade).is_some());
        let of_scale = catalogue.word(scale, grade).is_some();
        if let Some(other) = in_another.filter(|_| !of_scale) {
            let what = format!("{grade} is a grade of the version {} only", other.version);
            let hint = format!("declare grade_version {}", other.version);
            problems.error(Code::GradeVersion, &path_of_version, what, &hint);
            return None;
        }
        return listed(grade, "grade", row, path, catalogue, problems);
    };
    let Some(other) = versions().find(|other| other.version == version) else {
        let known: Vec<&str> = versions().map(|other| other.version.as_str()).collect();
        let what = format!("{} has no version {version}", row.measure);
        let hint = if known.is_empty() {
            "remove grade_version".to_owned()
        } else {
            format!("write {} or leave it out", known.join(" or "))
        };
        problems.error(Code::GradeVersion, &path_of_version, what, &hint);
        return None;
    };
    let path = format!("{path}/grade");
    known_word(catalogue, &other.list, grade, &path, problems).then(|| grade.to_owned())
}

/// `1.5` stands for `1+` in some number series; only a declared import may say so.
fn hint_at_half(grade: &str, row: &Measure, path: &str, problems: &mut Problems) -> Option<()> {
    if row.scale.as_deref() == Some("modified-ashworth") && grade == "1.5" {
        let what = "1.5 is no grade of the modified Ashworth scale".to_owned();
        problems.error(
            Code::GradeHalf,
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
    problems.error(Code::ScoreRange, &format!("{path}/score"), what, hint);
    None
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
        problems.error(Code::ValueRelative, &path, what, "say what was found");
        return None;
    }
    known_word(catalogue, RELATIVE, word, &path, problems).then(|| word.to_owned())
}

fn whole_zero_to_ten(pain: Exact, path: &str, problems: &mut Problems) {
    let ten = Exact::parse("10").unwrap_or(Exact::ZERO);
    if pain.decimals() > 0 || pain > ten {
        let what = format!("{pain} is not a whole number from 0 to 10");
        problems.error(
            Code::ScoreRange,
            path,
            what,
            "write 0 to 10, or leave it out",
        );
    }
}

fn wrong_kind(said: &Said, row: &Measure, path: &str, problems: &mut Problems) {
    let given = match said {
        Said::Beyond(..) | Said::Lacks(..) | Said::Fixed(..) => "an angle",
        Said::Unordered(_) => "a plane",
        Said::Grade(..) => "a grade",
        Said::Word(_) => "a word",
        Said::Sensation(_) => "a sensation",
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
        Kind::Derived
        | Kind::Trace
        | Kind::TraceCatch
        | Kind::TraceLine
        | Kind::Comparison
        | Kind::Precaution
        | Kind::Statement
        | Kind::Panel => "nothing: it is not entered by hand",
    };
    let what = format!("{given} is no value of {}", row.measure);
    problems.error(Code::ValueKind, path, what, &format!("give {wanted}"));
}
