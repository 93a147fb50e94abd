//! A statement in words: what is read aloud, and what stands in the narrative of its resource.

use crate::base::exact::Exact;
use crate::base::private::Private;
use crate::examination::finding::{Ending, Outcome};
use crate::examination::measure::{Extent, Measured, Value, side_of_neutral};
use crate::fhir::coding::{Coded, CodedRange, CodedValue};
use crate::tables::catalogue::rows::{Kind, Measure};
use crate::tables::catalogue::{Catalogue, RELATIVE};

/// What was found, in words that need no sign.
pub fn value(one: &Measured, catalogue: &Catalogue) -> String {
    let list = one.scale.as_deref().unwrap_or_default();
    let label = |list: &str, code: &str| {
        catalogue
            .word(list, code)
            .map_or_else(|| code.to_owned(), |row| row.label.clone())
    };
    match &one.value {
        Value::Angle(angle) if one.row.kind == Kind::StretchFast && angle.reached().is_some() => {
            caught_at(angle.degrees(), &one.row)
        }
        Value::Angle(angle) => {
            let place = |short| place(angle.degrees(), &one.row, short);
            match (angle.fixed, angle.extent()) {
                (true, _) => format!("fixed at {}", place("neutral not reached")),
                (false, Extent::Reached) => place("neutral not reached"),
                // A movement that was stopped says nothing of what could have been reached.
                (false, Extent::AtLeast) => format!(
                    "end not reached: {} at {}",
                    ending(one, catalogue),
                    place("before neutral")
                ),
            }
        }
        Value::Word(code) => label(list, code),
        Value::Grade(code) => format!("grade {code}: {}", label(list, code)),
        Value::Amount(points) if one.row.kind == Kind::Score => format!("{points} of 10"),
        Value::Amount(number) => {
            let unit = one.unit.as_deref().unwrap_or_default();
            let unit = catalogue.unit_label(unit).unwrap_or(unit);
            counted(*number, unit)
        }
        Value::Relative(code) => label(RELATIVE, code),
        Value::NoCatch => "no catch".to_owned(),
        Value::NotTested(reason) => {
            format!("not tested: {}", label("not-tested-reason", reason))
        }
    }
}

/// Where a catch lies. It is a position on the way of the stretch and no end of a movement, so a catch
/// before neutral does not say that neutral is out of reach.
pub fn caught_at(degrees: Exact, row: &Measure) -> String {
    format!("a catch at {}", side_of_neutral(degrees, row))
}

/// Where an angle lies, on which side of neutral, named by movement; `short` says what it means to
/// lie before neutral.
fn place(degrees: Exact, row: &Measure, short: &str) -> String {
    let place = side_of_neutral(degrees, row);
    if degrees.is_negative() {
        format!("{place}, {short}")
    } else {
        place
    }
}

fn ending(one: &Measured, catalogue: &Catalogue) -> String {
    match &one.finding.outcome {
        Outcome::Found(_, Some(Ending { how, .. })) => catalogue
            .word("ending", how)
            .map(|row| row.label.clone())
            .unwrap_or_default(),
        Outcome::Found(_, None) | Outcome::NotTested(_) => String::new(),
    }
}

/// A number with its unit; a minus sign is too easily missed, so it is a word.
pub fn counted(number: Exact, unit: &str) -> String {
    let digits = number.magnitude().to_string();
    let minus = if number.is_negative() { "minus " } else { "" };
    // "degree per second" counts its first word.
    let (first, rest) = unit.split_once(' ').unwrap_or((unit, ""));
    let many = if digits == "1" || first.is_empty() {
        ""
    } else if first.ends_with("ch") {
        "es"
    } else {
        "s"
    };
    let gap = if rest.is_empty() { "" } else { " " };
    format!("{minus}{digits} {first}{many}{gap}{rest}")
}

/// The whole of a statement in words. `found` stands for its value where that needs more than its
/// codes: an angle is signed in the direction of its movement, and a reader cannot see which.
pub(super) fn whole(one: &Coded, found: Option<String>) -> Private<String> {
    let mut sentences = Vec::new();
    if one.withdrawn {
        sentences.push("entered in error, not to be used".to_owned());
    }
    // A comparison is named by its measure; its own code of the measures says only which rule.
    let own = ["comparison", "measure"].map(Catalogue::system_of);
    let named = |system: &String| one.code.codes.iter().find(|code| code.system == *system);
    let display = own.iter().find_map(named);
    let what = display.map(|code| code.display.clone());
    let what = what.or_else(|| one.code.text.clone()).unwrap_or_default();
    let site = one.body_site.as_ref().and_then(|site| site.text.clone());
    sentences.push(site.map_or_else(|| what.clone(), |site| format!("{site}: {what}")));
    sentences.extend(found.or_else(|| in_words(&one.value)));
    let named = one.parts.iter().filter_map(|(name, part)| {
        let name = name.text.as_deref()?;
        Some(format!("{name}: {}", in_words(part)?))
    });
    sentences.extend(named);
    sentences.extend(
        one.interpretation
            .iter()
            .filter_map(|said| said.text.clone()),
    );
    sentences.extend(one.ranges.iter().map(range));
    let further = [("position", &one.position), ("method", &one.method)];
    sentences.extend(further.into_iter().filter_map(|(name, concept)| {
        let text = concept.as_ref()?.text.as_deref()?;
        Some(format!("{name}: {text}"))
    }));
    sentences.extend(examined_by(one));
    sentences.extend(
        one.notes
            .iter()
            .map(|note| format!("note: {}", note.open())),
    );
    Private::new(
        sentences
            .iter()
            .map(|words| sentence(words))
            .collect::<Vec<_>>()
            .join(" "),
    )
}

/// Who examined it, where several did.
pub fn examined_by(one: &Coded) -> Option<String> {
    let examiner = one.finding.as_ref()?.examiner.as_ref()?;
    let told = examiner.told.as_ref()?;
    Some(format!("examined by: {}", told.open()))
}

/// A published range in words, with the group it describes.
pub fn range(one: &CodedRange) -> String {
    format!(
        "published range: {} to {}; {}",
        one.low.value,
        counted(one.high.value, &one.high.unit),
        one.text
    )
}

/// A value in words that carry its unit; nothing where its members have the values.
pub fn in_words(value: &CodedValue) -> Option<String> {
    match value {
        CodedValue::Amount(amount) => {
            let at_least = if amount.at_least { "at least " } else { "" };
            Some(format!("{at_least}{}", counted(amount.value, &amount.unit)))
        }
        CodedValue::Concept(concept) | CodedValue::Absent(concept) => concept.text.clone(),
        CodedValue::Count(count) => Some(count.to_string()),
        CodedValue::Day(day) => Some(day.to_string()),
        CodedValue::When(written) => Some(written.clone()),
        CodedValue::Words(words) => Some(words.open().clone()),
        CodedValue::Samples(samples) => {
            let degrees = samples.degrees.open();
            let (low, high) = (degrees.iter().min()?, degrees.iter().max()?);
            Some(format!(
                "{} samples, one every {}, from {} to {}",
                degrees.len(),
                counted(samples.period, "millisecond"),
                counted(*low, "degree"),
                counted(*high, "degree")
            ))
        }
        CodedValue::Members => None,
    }
}

/// A sentence begins with a capital letter and ends.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(char::to_uppercase);
    let mut sentence: String = first.into_iter().flatten().chain(letters).collect();
    if !sentence.ends_with(['.', '!', '?']) {
        sentence.push('.');
    }
    sentence
}

#[cfg(test)]
mod tests {
    use super::{counted, sentence};
    use crate::base::exact::Exact;

    #[test]
    fn a_number_is_read_with_its_unit_and_its_minus() {
        let told = |digits: &str, unit: &str| counted(Exact::parse(digits).expect("digits"), unit);

        assert_eq!(told("1", "degree"), "1 degree");
        assert_eq!(told("-12.50", "degree"), "minus 12.50 degrees");
        assert_eq!(told("320", "degree per second"), "320 degrees per second");
        assert_eq!(sentence("knee straight"), "Knee straight.");
        assert_eq!(sentence("Held?"), "Held?");
    }
}
