//! Parts of a finding beside its value.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::finding::{Finding, Outcome, Part, Said};
use crate::examination::measure::{amount, known_word};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Measure;

/// Adds what is wrong with the parts of a finding: each belongs to its measure, and what is absent
/// or was not tested has none.
pub(super) fn fit(
    finding: &Finding,
    row: &Measure,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let nothing = match &finding.outcome {
        Outcome::NotTested(_) => true,
        Outcome::Found(Said::Word(word), _) => word == "absent",
        Outcome::Found(Said::Amount(number, _), _) => number.is_zero(),
        Outcome::Found(..) => false,
    };
    for (index, part) in finding.parts.iter().enumerate() {
        let path = format!("{}/parts/{index}", finding.path);
        if nothing {
            let what = format!("{}: nothing was there to have it", part.name);
            problems.error(Code::PartStray, &path, what, "remove it");
        }
        one(part, row, &path, catalogue, problems);
    }
}

fn one(part: &Part, row: &Measure, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    let known = catalogue.parts_of(row).find(|one| one.part == part.name);
    let Some(known) = known else {
        let what = format!("{} is no part of {}", part.name, row.measure);
        let all: Vec<&str> = catalogue
            .parts_of(row)
            .map(|one| one.part.as_str())
            .collect();
        let hint = if all.is_empty() {
            "remove it".to_owned()
        } else {
            format!("use {}", all.join(", "))
        };
        problems.error(Code::PartUnknown, &format!("{path}/part"), what, &hint);
        return;
    };
    match (&part.said, &known.list, &known.unit) {
        (Said::Word(word), Some(list), _) => {
            known_word(catalogue, list, word, &format!("{path}/word"), problems);
        }
        (Said::Amount(number, unit), _, Some(wanted)) => {
            let fits = amount::unit_is(unit.as_deref(), wanted, path, problems);
            let at = format!("{path}/amount");
            if fits.is_some()
                && amount::whole_enough(*number, wanted, &at, catalogue, problems).is_some()
            {
                let most = catalogue.plausibility.get("impossible-angle");
                if wanted == "deg" && most.is_some_and(|most| *number > *most) {
                    let what = format!("{number} degrees is no angle of a joint");
                    problems.error(
                        Code::AngleImpossible,
                        &at,
                        what,
                        "correct the digits or the unit",
                    );
                }
            }
        }
        (_, list, _) => {
            let wanted = if list.is_some() {
                "a word"
            } else {
                "an amount with its unit"
            };
            let what = format!("{} of {} says something else", part.name, row.measure);
            problems.error(Code::ValueKind, path, what, &format!("give {wanted}"));
        }
    }
}
