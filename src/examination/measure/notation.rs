//! Planes in three numbers: whether the directions named belong together, and how they are written.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::notation::{Ends, Numbers, Place, reading, write};
use crate::examination::finding::{Finding, Notation};
use crate::examination::measure::{Extent, Measured};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::notation_order::OrderRow;
use crate::tables::catalogue::rows::{Kind, Measure};

/// Tells of a plane whose directions are not named, with what it says in either order.
pub(super) fn unordered(
    finding: &Finding,
    numbers: &Numbers,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let family = format!("{}.", finding.measure);
    let named = |row: &&Measure| row.opposite.is_some() && row.measure.starts_with(&family);
    let mut planes: Vec<(&str, &str)> = Vec::new();
    for row in catalogue.measures.values().filter(named) {
        let Some(first) = row.measure.strip_prefix(&family) else {
            continue;
        };
        let other = catalogue.measures.values().filter(named);
        let other = other
            .filter(|other| opposite(row, other))
            .min_by_key(|other| {
                // Of several the one with the longest common end: the arm is in the same position.
                std::cmp::Reverse(common_end(&row.measure, &other.measure))
            });
        let last = other.and_then(|other| other.measure.strip_prefix(&family));
        planes.extend(last.map(|last| (first, last)));
    }
    let path = format!("{}/value/notation/order", finding.path);
    if planes.is_empty() {
        let what = format!(
            "{} is not the name of a joint with its mode",
            finding.measure
        );
        let hint = "write the part that both directions share, such as range.passive.elbow";
        let path = format!("{}/measure", finding.path);
        problems.error(Code::NotationMeasure, &path, what, hint);
        return;
    }
    let letter = numbers.letter.map(String::from);
    let readings = planes.iter().filter(|(first, last)| {
        let published = catalogue.notation_orders.iter();
        let mut published = published.filter(|row| letter.is_some() && row.letter == letter);
        letter.is_none() || published.any(|row| same_pair(row, first, last))
    });
    let readings: Vec<String> = readings
        .map(|(first, last)| reading(&numbers.ends, first, last))
        .collect();
    let what = format!(
        "which number is which direction is not said; {}",
        readings.join("; or ")
    );
    let hint = "add order with the direction of the first number, a slash, and that of the last; \
                writers differ, so it is never guessed";
    problems.error(Code::NotationUnordered, &path, what, hint);
}

fn common_end(one: &str, other: &str) -> usize {
    let pairs = one.bytes().rev().zip(other.bytes().rev());
    pairs.take_while(|(a, b)| a == b).count()
}

fn opposite(one: &Measure, other: &Measure) -> bool {
    one.opposite == other.movement
        && one.movement == other.opposite
        && one.axis == other.axis
        && one.site == other.site
        && one.mode == other.mode
        && one.held == other.held
}

fn same_pair(row: &OrderRow, first: &str, last: &str) -> bool {
    let movement = |direction: &str| direction.split('.').next().unwrap_or_default().to_owned();
    let pair = [movement(first), movement(last)];
    pair == [row.first.clone(), row.last.clone()] || pair == [row.last.clone(), row.first.clone()]
}

/// Tells of two directions that lie in no plane together, and of a letter that says another order.
pub(super) fn fits(
    finding: &Finding,
    row: &Measure,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    // What is told of the plane is told once, of its first direction.
    let notation = finding.notation.as_ref();
    let Some(notation) = notation.filter(|notation| notation.place == Place::First) else {
        return;
    };
    let path = format!("{}/value/notation", finding.path);
    let other = catalogue.measures.get(&notation.other);
    let Some(other) = other.filter(|other| opposite(row, other)) else {
        let what = format!("{} and {} are no plane", row.measure, notation.other);
        let hint = "name the two directions of one plane, such as extension/flexion";
        problems.error(Code::NotationPlane, &format!("{path}/order"), what, hint);
        return;
    };
    letter_fits(notation, row, other, catalogue, &path, problems);
}

fn letter_fits(
    notation: &Notation,
    first: &Measure,
    last: &Measure,
    catalogue: &Catalogue,
    path: &str,
    problems: &mut Problems,
) {
    let Some(letter) = notation.numbers.letter else {
        return;
    };
    let word = |row: &Measure| row.movement.clone().unwrap_or_default();
    let (first, last) = (word(first), word(last));
    let letter = letter.to_string();
    let mut rows = catalogue.notation_orders.iter();
    let row =
        rows.find(|row| row.letter.as_deref() == Some(&letter) && same_pair(row, &first, &last));
    let path = format!("{path}/text");
    match row {
        Some(row) if row.first == first => {}
        Some(row) => {
            let ends = &notation.numbers.ends;
            let what = format!(
                "{letter} stands before {}/{}, and the order says the other way round; {}; or {}",
                row.first,
                row.last,
                reading(ends, &first, &last),
                reading(ends, &row.first, &row.last)
            );
            let hint = "remove the letter, or correct the order";
            problems.error(Code::NotationLetter, &path, what, hint);
        }
        None => {
            let what = format!("{letter} is not the plane of {first} and {last}");
            let hint = "remove the letter, or correct the directions";
            problems.error(Code::NotationLetter, &path, what, hint);
        }
    }
}

/// A plane as it is written in an order, or why it is not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plane {
    /// Side, joint, mode and position, in words.
    pub place: String,
    /// The directions in the order of the numbers.
    pub directions: String,
    /// The letter of the plane, in SFTR.
    pub letter: Option<String>,
    /// The three numbers; or what stands in the way.
    pub numbers: Result<String, &'static str>,
}

impl std::fmt::Display for Plane {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let letter = self.letter.as_ref().map(|letter| format!("{letter} "));
        let letter = letter.unwrap_or_default();
        write!(formatter, "{}, {}: ", self.place, self.directions)?;
        match &self.numbers {
            Ok(numbers) => write!(formatter, "{letter}{numbers}"),
            Err(why) => write!(formatter, "not written in three numbers: {why}"),
        }
    }
}

/// Every plane of which an angle was found, in the order of the findings.
///
/// `order` is a set of `notation_orders.csv`; a plane that it does not have is written in the set
/// `named`. The names of the directions always stand with the numbers.
pub fn planes(measured: &[Measured], order: &str, catalogue: &Catalogue) -> Vec<Plane> {
    let mut written = Vec::new();
    for (index, one) in measured.iter().enumerate() {
        let angle = one.row.kind == Kind::Range && one.angle().is_some() && !one.finding.withdrawn;
        let before = measured.iter().take(index);
        if !angle || before.clone().any(|other| same_plane(one, other)) {
            continue;
        }
        let other = measured
            .iter()
            .skip(index)
            .find(|other| same_plane(one, other));
        written.extend(plane(one, other, order, catalogue));
    }
    written
}

fn same_plane(one: &Measured, other: &Measured) -> bool {
    let alike = |a: &Finding, b: &Finding| {
        (a.side, &a.position, &a.neighbour, &a.condition, a.repeat)
            == (b.side, &b.position, &b.neighbour, &b.condition, b.repeat)
            && (&a.method, &a.instrument) == (&b.method, &b.instrument)
    };
    other.angle().is_some()
        && !other.finding.withdrawn
        && one.row.kind == other.row.kind
        && opposite(&one.row, &other.row)
        && alike(&one.finding, &other.finding)
}

fn plane(
    one: &Measured,
    other: Option<&Measured>,
    order: &str,
    catalogue: &Catalogue,
) -> Option<Plane> {
    let (movement, opposite) = (one.row.movement.as_ref()?, one.row.opposite.as_ref()?);
    let mut sets = [order, "named"].into_iter();
    let row = sets.find_map(|set| {
        let mut rows = catalogue.notation_orders.iter();
        rows.find(|row| row.order == set && same_pair(row, movement, opposite))
    });
    let (first, last) = row.map_or((movement, opposite), |row| (&row.first, &row.last));
    let (of_first, of_last) = if first == movement {
        (Some(one), other)
    } else {
        (other, Some(one))
    };
    let numbers = match (of_first, of_last) {
        (Some(first), Some(last)) => ends(first, last)
            .and_then(|ends| write(&ends).ok_or("the two ends leave no movement between them")),
        _ => Err("only one direction was found"),
    };
    Some(Plane {
        place: place(one, catalogue),
        directions: format!("{first}/{last}"),
        letter: row.and_then(|row| row.letter.clone()),
        numbers,
    })
}

fn ends(first: &Measured, last: &Measured) -> Result<Ends, &'static str> {
    let (Some(a), Some(b)) = (first.angle(), last.angle()) else {
        return Err("only one direction was found");
    };
    if a.extent() == Extent::AtLeast || b.extent() == Extent::AtLeast {
        return Err("a movement was stopped, so its angle is a bound");
    }
    match (a.fixed, b.fixed) {
        (false, false) => Ok(Ends::Arc(a.degrees(), b.degrees())),
        (true, true) if a.degrees() == b.degrees().negated() => {
            Ok(fixed_at(a.degrees(), b.degrees()))
        }
        (true, true) => Err("the joint is fixed at two angles"),
        (true, false) | (false, true) => Err("one direction says that the joint is fixed"),
    }
}

fn fixed_at(first: Exact, last: Exact) -> Ends {
    if first.is_negative() {
        Ends::Fixed(last, Place::Last)
    } else {
        Ends::Fixed(first, Place::First)
    }
}

fn place(one: &Measured, catalogue: &Catalogue) -> String {
    let site = one.row.site.as_deref().unwrap_or_default();
    let code = Catalogue::site_code(one.finding.side.word(), site);
    let site = catalogue.site_display(&code).unwrap_or(code);
    let mut words = vec![site, one.row.mode.clone().unwrap_or_default()];
    words.extend(one.row.held.clone());
    words.push(one.finding.position.clone());
    words.extend(
        one.finding
            .neighbour
            .as_ref()
            .map(|(joint, position)| format!("{joint} {position}")),
    );
    words.extend(one.finding.condition.clone());
    if one.finding.repeat > 1 {
        words.push(format!("repeat {}", one.finding.repeat));
    }
    words.join(", ")
}

/// The sets of orders there are.
pub fn orders(catalogue: &Catalogue) -> Vec<&str> {
    let mut orders: Vec<&str> = catalogue
        .notation_orders
        .iter()
        .map(|row| row.order.as_str())
        .collect();
    orders.dedup();
    orders
}
