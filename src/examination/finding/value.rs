//! What a value says, and how a movement ended.

use crate::base::code::Code;
use crate::base::exact::{Exact, NotExact};
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::items::keys_once;
use crate::examination::finding::notation::read;
use crate::examination::finding::{Ending, Outcome, Part, Said, Stretch};
use crate::examination::intake::draft::{FindingDraft, PartDraft, StretchDraft, ValueDraft};

/// Reads the outcome of a finding: a value with its ending, or a reason for not testing.
pub(super) fn outcome(
    finding: &FindingDraft,
    path: &str,
    problems: &mut Problems,
) -> Option<Outcome> {
    match (&finding.value, &finding.not_tested) {
        (Some(_), Some(_)) => {
            problems.error(
                Code::OutcomeBoth,
                path,
                "says both a value and that it was not tested".to_owned(),
                "keep the one that holds",
            );
            None
        }
        (None, None) => {
            problems.error(
                Code::OutcomeMissing,
                path,
                "says neither a value nor why it was not tested".to_owned(),
                "add value, or not_tested with a reason; not tested is never zero or empty",
            );
            None
        }
        (None, Some(not_tested)) => {
            refuse_ending_of_untested(finding, path, problems);
            Some(Outcome::NotTested(not_tested.reason.clone()))
        }
        (Some(value), None) => {
            let said = said(value, &format!("{path}/value"), problems);
            let ending = finding.ended.as_ref().map(|ended| Ending {
                how: ended.how.clone(),
                because: ended.because.clone(),
                why: ended.why.clone().map(Private::new),
            });
            Some(Outcome::Found(said?, ending))
        }
    }
}

/// Reads the parts beside a value; each is there once and says one thing.
pub(super) fn parts(drafts: &[PartDraft], path: &str, problems: &mut Problems) -> Vec<Part> {
    let names = drafts.iter().map(|draft| draft.part.as_str());
    keys_once(path, names.enumerate(), problems);
    let parts = drafts.iter().enumerate().filter_map(|(index, draft)| {
        let path = format!("{path}/{index}");
        let said = match (&draft.amount, &draft.word) {
            (Some(text), None) => {
                let amount = digits(text, &format!("{path}/amount"), problems)?;
                Said::Amount(amount, draft.unit.clone())
            }
            (None, Some(word)) => Said::Word(word.clone()),
            (Some(_), Some(_)) | (None, None) => {
                let what = format!("{}: says nothing, or two things at once", draft.part);
                problems.error(Code::PartOne, &path, what, "give amount with unit, or word");
                return None;
            }
        };
        Some(Part {
            name: draft.part.clone(),
            said,
        })
    });
    parts.collect()
}

/// Reads speed, velocity and quality of a stretch.
pub(super) fn stretch(
    stretch: &StretchDraft,
    path: &str,
    problems: &mut Problems,
) -> Option<Stretch> {
    let velocity = match &stretch.velocity {
        Some(text) => Some(digits(text, &format!("{path}/velocity"), problems)?),
        None => None,
    };
    let quality = match (&stretch.quality, stretch.quality_version) {
        (Some(quality), Some(version)) => Some((version, quality.clone())),
        (None, None) => None,
        (Some(_), None) => {
            let what = "the version of the quality is missing: the highest grades differ";
            let hint = "add quality_version 0-4 or 0-5";
            let path = format!("{path}/quality_version");
            problems.error(Code::StretchQualityVersion, &path, what.to_owned(), hint);
            return None;
        }
        (None, Some(_)) => {
            let what = "a version of the quality, but no quality".to_owned();
            let hint = "add quality, or remove quality_version";
            problems.error(Code::StretchQuality, &format!("{path}/quality"), what, hint);
            return None;
        }
    };
    Some(Stretch {
        speed: stretch.speed.clone(),
        velocity,
        quality,
    })
}

/// Reads digits, refusing what cannot be held exactly.
pub(super) fn digits(text: &str, path: &str, problems: &mut Problems) -> Option<Exact> {
    match Exact::parse(text) {
        Ok(exact) => Some(exact),
        Err(NotExact::Pattern) => {
            let what = format!("{text} is no plain decimal number");
            let hint = "write digits with a point, such as 12.5; no sign, exponent or unit";
            problems.error(Code::NumberForm, path, what, hint);
            None
        }
        Err(NotExact::Digits) => {
            let what = format!("{text} has more digits than can be kept exactly");
            let hint = "write the digits the instrument shows";
            problems.error(Code::NumberDigits, path, what, hint);
            None
        }
    }
}

fn refuse_ending_of_untested(finding: &FindingDraft, path: &str, problems: &mut Problems) {
    if finding.ended.is_some() {
        problems.error(
            Code::OutcomeEnding,
            &format!("{path}/ended"),
            "was not tested, yet says how it ended".to_owned(),
            "remove ended, or give the value that was reached as a bound",
        );
    }
}

fn said(value: &ValueDraft, path: &str, problems: &mut Problems) -> Option<Said> {
    let given: Vec<&str> = [
        ("beyond_neutral", value.beyond_neutral.is_some()),
        ("lacks", value.lacks.is_some()),
        ("fixed_at", value.fixed_at.is_some()),
        ("grade", value.grade.is_some()),
        ("word", value.word.is_some()),
        ("sensation", value.sensation.is_some()),
        ("score", value.score.is_some()),
        ("amount", value.amount.is_some()),
        ("relative", value.relative.is_some()),
        ("no_catch", value.no_catch.is_some()),
        ("notation", value.notation.is_some()),
    ]
    .into_iter()
    .filter_map(|(name, present)| present.then_some(name))
    .collect();
    let [only] = given.as_slice() else {
        let what = if given.is_empty() {
            "says nothing".to_owned()
        } else {
            format!("says {} things at once: {}", given.len(), given.join(", "))
        };
        let hint = "give exactly one of beyond_neutral, lacks, fixed_at, grade, word, score, \
                    amount, relative, no_catch, notation";
        problems.error(Code::ValueOne, path, what, hint);
        return None;
    };
    refuse_strays(value, only, path, problems);
    one(value, path, problems)
}

fn one(value: &ValueDraft, path: &str, problems: &mut Problems) -> Option<Said> {
    let unit = value.unit.clone();
    if let Some(text) = &value.beyond_neutral {
        return angle(text, &format!("{path}/beyond_neutral"), problems)
            .map(|exact| Said::Beyond(exact, unit));
    }
    if let Some(text) = &value.lacks {
        return angle(text, &format!("{path}/lacks"), problems)
            .map(|exact| Said::Lacks(exact, unit));
    }
    if let Some(text) = &value.fixed_at {
        let exact = angle(text, &format!("{path}/fixed_at"), problems)?;
        let Some(direction) = value.direction.clone() else {
            let what = "says where the joint is fixed but not on which side of neutral".to_owned();
            let hint = "add direction with the name of the movement, such as plantarflexion";
            problems.error(Code::ValueDirection, path, what, hint);
            return None;
        };
        return Some(Said::Fixed(exact, direction, unit));
    }
    if let Some(text) = &value.score {
        return digits(text, &format!("{path}/score"), problems)
            .map(|points| Said::Score(points, unit));
    }
    if let Some(text) = &value.amount {
        return digits(text, &format!("{path}/amount"), problems)
            .map(|amount| Said::Amount(amount, unit));
    }
    if let Some(word) = &value.relative {
        return Some(Said::Relative(word.clone()));
    }
    if let Some(word) = &value.word {
        return Some(Said::Word(word.clone()));
    }
    if let Some(word) = &value.sensation {
        return Some(Said::Sensation(word.clone()));
    }
    if let Some(grade) = &value.grade {
        return Some(Said::Grade(grade.clone(), value.grade_version.clone()));
    }
    if let Some(written) = &value.notation {
        // What does not read was told when the plane was taken apart.
        return read(&written.text).ok().map(Said::Unordered);
    }
    if value.no_catch == Some(true) {
        return Some(Said::NoCatch);
    }
    let what = "no_catch: false says nothing".to_owned();
    let hint = "give the angle of the catch, or no_catch: true";
    problems.error(Code::ValueNoCatch, &format!("{path}/no_catch"), what, hint);
    None
}

/// An angle without its sign: the field names the direction, so a sign would say it twice.
fn angle(text: &str, path: &str, problems: &mut Problems) -> Option<Exact> {
    if text.starts_with(['-', '+']) {
        let what = format!("{text} carries a sign: lack of a movement, or beyond neutral?");
        let hint = "write lacks with the digits, or beyond_neutral with the digits";
        problems.error(Code::ValueSign, path, what, hint);
        return None;
    }
    digits(text, path, problems)
}

fn refuse_strays(value: &ValueDraft, only: &str, path: &str, problems: &mut Problems) {
    let has_unit = matches!(
        only,
        "beyond_neutral" | "lacks" | "fixed_at" | "score" | "amount" | "notation"
    );
    let strays = [
        ("unit", value.unit.is_some() && !has_unit),
        (
            "grade_version",
            value.grade_version.is_some() && only != "grade",
        ),
        ("direction", value.direction.is_some() && only != "fixed_at"),
    ];
    for (name, stray) in strays {
        if stray {
            let what = format!("{name} has no meaning beside {only}");
            problems.error(
                Code::ValueStray,
                &format!("{path}/{name}"),
                what,
                "remove it",
            );
        }
    }
}
