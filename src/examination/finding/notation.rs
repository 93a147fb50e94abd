//! A joint plane in three numbers, each an angle from neutral zero.
//!
//! The middle number is 0 where the joint passes through neutral; where it does not, the 0 stands on
//! the side that is not reached, and the middle number says how near it comes: `Flexion/Extension
//! 150-20-0` bends to 150 and lacks 20 of extension
//! (fernlehrgang-heilpraktiker.com/forum/thread-2865). Two equal numbers beside a 0 say that the
//! joint is fixed there (sportgesundheit.eu/neutral-null-methode.html). No order of the directions
//! binds everybody (ziff.de/ziff-lexikon/neutral-null-methode), so none is ever guessed.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::Notation;
use crate::examination::finding::identity::derive;
use crate::examination::intake::draft::{FindingDraft, NotationDraft, ValueDraft};

/// What is said of the ends of a plane, in the order of its numbers.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// The two ends, each signed in its own direction: lacking 20 is -20.
    Arc(Exact, Exact),
    /// Fixed at an angle on the side of one direction.
    Fixed(Exact, Place),
}

impl std::fmt::Debug for Ends {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("[private]")
    }
}

/// Which of the two directions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The direction of the first number.
    First,
    /// The direction of the last number.
    Last,
}

/// Three numbers as written: the letter of an SFTR plane, where one stands before them, and the ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Numbers {
    /// `S`, `F`, `T` or `R`.
    pub letter: Option<char>,
    /// What they say, whichever directions are meant.
    pub ends: Ends,
}

/// Why a text is no plane in three numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Not three plain numbers, or two of which one is 0.
    Form,
    /// None of the three is 0: nobody can say on which side of neutral the joint moves.
    NoZero,
    /// The middle number is not 0, and both others are.
    NoDirection,
    /// The joint would end before it begins.
    NoArc,
}

impl Fault {
    /// What is wrong, after the text.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Form => "is no plane in three numbers",
            Self::NoZero => "has no 0: it does not say on which side of neutral the joint moves",
            Self::NoDirection => {
                "says where the movement begins, and in no direction where it ends"
            }
            Self::NoArc => "ends before it begins",
        }
    }
}

/// Reads three numbers, such as `0-20-150`, `5/0/140` or `S 15-0-120`; two where one of them is 0 say
/// where a joint is fixed.
///
/// # Errors
/// [`Fault`].
pub fn read(text: &str) -> Result<Numbers, Fault> {
    let text = text.trim();
    let letter = text.chars().next().filter(|first| "SFTR".contains(*first));
    let digits = text.trim_start_matches(['S', 'F', 'T', 'R']);
    if letter.is_some() && text.len().saturating_sub(digits.len()) > 1 {
        return Err(Fault::Form);
    }
    let digits = digits.trim_start_matches([':', ' ']);
    let numbers: Vec<Exact> = digits
        .split(['-', '\u{2013}', '/'])
        .map(|part| Exact::parse(part.trim().trim_end_matches('°').trim_end()))
        .collect::<Result<_, _>>()
        .map_err(|_no_number| Fault::Form)?;
    let ends = match numbers.as_slice() {
        [first, middle, last] => three(*first, *middle, *last)?,
        [first, last] if last.is_zero() => Ends::Fixed(*first, Place::First),
        [first, last] if first.is_zero() => Ends::Fixed(*last, Place::Last),
        _ => return Err(Fault::Form),
    };
    Ok(Numbers { letter, ends })
}

fn three(first: Exact, middle: Exact, last: Exact) -> Result<Ends, Fault> {
    match (first.is_zero(), middle.is_zero(), last.is_zero()) {
        // Nothing moves to either side of neutral.
        (true, true, true) => Ok(Ends::Fixed(first, Place::First)),
        (_, true, _) => Ok(Ends::Arc(first, last)),
        (false, false, false) => Err(Fault::NoZero),
        (true, false, true) => Err(Fault::NoDirection),
        (true, false, false) if last == middle => Ok(Ends::Fixed(last, Place::Last)),
        (false, false, true) if first == middle => Ok(Ends::Fixed(first, Place::First)),
        (true, false, false) if last > middle => Ok(Ends::Arc(middle.negated(), last)),
        (false, false, true) if first > middle => Ok(Ends::Arc(first, middle.negated())),
        (true, false, false) | (false, false, true) => Err(Fault::NoArc),
    }
}

/// Writes ends as three numbers; nothing where the numbers would be read as something else.
pub fn write(ends: &Ends) -> Option<String> {
    let text = match ends {
        Ends::Fixed(at, Place::First) => format!("{at}-{at}-0"),
        Ends::Fixed(at, Place::Last) => format!("0-{at}-{at}"),
        Ends::Arc(first, last) if first.is_negative() => format!("0-{}-{last}", first.magnitude()),
        Ends::Arc(first, last) if last.is_negative() => format!("{first}-{}-0", last.magnitude()),
        Ends::Arc(first, last) => format!("{first}-0-{last}"),
    };
    let same = |read: &Ends| match (read, ends) {
        (Ends::Fixed(a, _), Ends::Fixed(b, _)) => a == b,
        (read, ends) => read == ends,
    };
    read(&text)
        .is_ok_and(|numbers| same(&numbers.ends))
        .then_some(text)
}

/// What the ends say when the numbers stand in this order of directions.
pub fn reading(ends: &Ends, first: &str, last: &str) -> String {
    let one = |angle: Exact, direction: &str| {
        if angle.is_negative() {
            format!("lacks {} of {direction}", angle.magnitude())
        } else {
            format!("{direction} to {angle}")
        }
    };
    let said = match ends {
        Ends::Fixed(at, Place::First) => format!("fixed at {at} of {first}"),
        Ends::Fixed(at, Place::Last) => format!("fixed at {at} of {last}"),
        Ends::Arc(a, b) => format!("{}, {}", one(*a, first), one(*b, last)),
    };
    format!("as {first}/{last}: {said}")
}

/// One finding of the document as the findings it says: two for a plane whose directions are named.
///
/// A plane whose directions are not named stays as it is, for the tables to show its readings.
pub(super) fn spread(
    draft: &FindingDraft,
    path: &str,
    problems: &mut Problems,
) -> Vec<(FindingDraft, Option<Notation>)> {
    let as_it_is = || vec![(draft.clone(), None)];
    let value = draft.value.as_ref().filter(|value| only_notation(value));
    let Some((value, notation)) = value.and_then(|value| Some((value, value.notation.as_ref()?)))
    else {
        return as_it_is();
    };
    let path = format!("{path}/value/notation");
    let numbers = match read(&notation.text) {
        Ok(numbers) => numbers,
        Err(fault) => {
            let what = format!("{} {}", notation.text, fault.words());
            let hint = "write three plain numbers of which one is 0, such as 5-0-140, 0-20-150 where \
                        20 is lacking, or 0-30-30 where the joint is fixed at 30";
            problems.error(Code::NotationText, &format!("{path}/text"), what, hint);
            return Vec::new();
        }
    };
    if notation.order.is_none() {
        return as_it_is();
    }
    let Some((first, last)) = directions(notation) else {
        let order = notation.order.as_deref().unwrap_or_default();
        let what = format!("{order} names no two directions");
        let hint = "name the direction of the first number, a slash, and that of the last, such as \
                    extension/flexion";
        problems.error(Code::NotationOrder, &format!("{path}/order"), what, hint);
        return Vec::new();
    };
    [(Place::First, first, last), (Place::Last, last, first)]
        .into_iter()
        .map(|(place, direction, other)| {
            let measure = |direction: &str| format!("{}.{direction}", draft.measure);
            let finding = FindingDraft {
                measure: measure(direction),
                value: Some(one_end(value, &numbers.ends, place, first, last)),
                id: draft
                    .id
                    .as_deref()
                    .map(|id| derive(&["notation", id, direction]).to_string()),
                ..draft.clone()
            };
            let notation = Notation {
                other: measure(other),
                place,
                numbers,
            };
            (finding, Some(notation))
        })
        .collect()
}

/// Every field is named, so that one that is added is not dropped when the plane is taken apart.
fn only_notation(value: &ValueDraft) -> bool {
    let ValueDraft {
        notation: _,
        unit: _,
        beyond_neutral,
        lacks,
        fixed_at,
        direction,
        grade,
        grade_version,
        word,
        sensation,
        score,
        amount,
        relative,
        no_catch,
    } = value;
    let others = [
        beyond_neutral,
        lacks,
        fixed_at,
        direction,
        grade,
        grade_version,
        word,
        sensation,
        score,
        amount,
        relative,
    ];
    no_catch.is_none() && others.iter().all(|other| other.is_none())
}

fn directions(notation: &NotationDraft) -> Option<(&str, &str)> {
    let (first, last) = notation.order.as_deref()?.split_once('/')?;
    let (first, last) = (first.trim(), last.trim());
    let named = !first.is_empty() && !last.is_empty() && !last.contains('/') && first != last;
    named.then_some((first, last))
}

/// The name of the movement alone: the position of the arm may follow it in the key of a measure.
fn movement(direction: &str) -> String {
    let end = direction.split('.').next().unwrap_or(direction);
    end.to_owned()
}

fn one_end(value: &ValueDraft, ends: &Ends, place: Place, first: &str, last: &str) -> ValueDraft {
    let unit = value.unit.clone();
    let end = match (ends, place) {
        (Ends::Fixed(at, side), _) => {
            let direction = if *side == Place::First { first } else { last };
            return ValueDraft {
                fixed_at: Some(at.to_string()),
                direction: Some(movement(direction)),
                unit,
                ..ValueDraft::default()
            };
        }
        (Ends::Arc(end, _), Place::First) | (Ends::Arc(_, end), Place::Last) => end,
    };
    let digits = Some(end.magnitude().to_string());
    let (beyond_neutral, lacks) = if end.is_negative() {
        (None, digits)
    } else {
        (digits, None)
    };
    ValueDraft {
        beyond_neutral,
        lacks,
        unit,
        ..ValueDraft::default()
    }
}

#[cfg(test)]
mod tests {
    use super::{Ends, Fault, Place, read, reading, write};
    use crate::base::exact::Exact;

    fn exact(text: &str) -> Exact {
        Exact::parse(text).expect("digits")
    }

    fn arc(first: &str, last: &str) -> Ends {
        Ends::Arc(exact(first), exact(last))
    }

    fn ends(text: &str) -> Ends {
        read(text).expect("it reads").ends
    }

    /// Source: fernlehrgang-heilpraktiker.com/forum/thread-2865: a knee that bends to 150 and goes 5
    /// beyond straight is 150-0-5 as flexion/extension and 5-0-150 as extension/flexion; one that
    /// bends between 20 and 150 is 150-20-0 as flexion/extension; extension/flexion 10/10/0 is stiff
    /// at 10 of extension.
    #[test]
    fn the_examples_of_a_published_explanation_are_read_as_it_reads_them() {
        assert!(ends("150-0-5") == arc("150", "5"));
        assert!(ends("5-0-150") == arc("5", "150"));
        assert!(ends("150-20-0") == arc("150", "-20"));
        assert!(ends("10/10/0") == Ends::Fixed(exact("10"), Place::First));
    }

    /// Source: fizjoterapeuty.pl/fizjoterapia/kinezyterapia/sftr.html: hip S 15-0-120 is 15 of
    /// extension and 120 of flexion; its norm is printed without the letter.
    #[test]
    fn the_example_of_sftr_is_read_with_its_letter() {
        let numbers = read("S 15-0-120").expect("it reads");

        assert!(numbers.ends == arc("15", "120") && numbers.letter == Some('S'));
        assert!(ends("15-0-125") == arc("15", "125"));
    }

    /// Source: sportgesundheit.eu/neutral-null-methode.html: hip, extension/flexion, 10 - 0 - 130 on
    /// the right, 0 - 10 - 90 on the left; "Kann ein Gelenk jedoch nur in einer Richtung bewegt
    /// werden, z. B. bei Kontrakturen, so steht die 0 am Anfang oder am Ende"; two equal numbers
    /// before or after the 0 for an ankylosis.
    #[test]
    fn a_contracture_has_its_zero_outside_and_an_ankylosis_two_equal_numbers() {
        assert!(ends("10 - 0 - 130") == arc("10", "130"));
        assert!(ends("0 - 10 - 90") == arc("-10", "90"));
        assert!(ends("0-30-30") == Ends::Fixed(exact("30"), Place::Last));
        assert!(ends("30-30-0") == Ends::Fixed(exact("30"), Place::First));
    }

    /// Source: lexikon-orthopaedie.com, Neutral-0-Methode: hip, extension/flexion, 10°/0°/130°;
    /// karteikarte.com/en/lesson/12860: 0°/30°/100° where neutral is not reached.
    #[test]
    fn signs_of_degree_and_slashes_are_the_same_numbers() {
        assert!(ends("10°/0°/130°") == arc("10", "130"));
        assert!(ends("0°/30°/100°") == arc("-30", "100"));
    }

    #[test]
    fn two_numbers_say_where_a_joint_is_fixed() {
        assert!(ends("50-0") == Ends::Fixed(exact("50"), Place::First));
        assert!(ends("0-50") == Ends::Fixed(exact("50"), Place::Last));
        assert!(ends("0-0-0") == Ends::Fixed(exact("0"), Place::First));
    }

    #[test]
    fn what_says_no_plane_is_refused_with_its_reason() {
        for (text, fault) in [
            ("5-10-140", Fault::NoZero),
            ("0-20-0", Fault::NoDirection),
            ("0-20-10", Fault::NoArc),
            ("10-20-0", Fault::NoArc),
            ("-5-0-140", Fault::Form),
            ("20-140", Fault::Form),
            ("SS 5-0-140", Fault::Form),
            ("5-0-140-0", Fault::Form),
            ("5-0-1e2", Fault::Form),
            ("", Fault::Form),
            ("S", Fault::Form),
        ] {
            assert_eq!(read(text).err(), Some(fault), "{text}");
        }
    }

    #[test]
    fn both_readings_can_be_shown() {
        let ends = ends("0-20-150");

        assert_eq!(
            reading(&ends, "extension", "flexion"),
            "as extension/flexion: lacks 20 of extension, flexion to 150"
        );
        assert_eq!(
            reading(&ends, "flexion", "extension"),
            "as flexion/extension: lacks 20 of flexion, extension to 150"
        );
    }

    #[test]
    fn ends_that_would_be_read_as_something_else_are_not_written() {
        assert_eq!(write(&arc("-20", "20")), None);
        assert_eq!(write(&arc("0", "0")), None);
        assert_eq!(write(&arc("-20", "10")), None);
        assert_eq!(write(&arc("-20", "150")).as_deref(), Some("0-20-150"));
        assert_eq!(write(&arc("12.50", "0")).as_deref(), Some("12.50-0-0"));
    }
}
