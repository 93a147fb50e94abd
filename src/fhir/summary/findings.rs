//! A finding in one line: site and side, measure, what tells it from the same measure done
//! otherwise, what was found.

use crate::examination::finding::{Outcome, Session};
use crate::examination::intake::draft::MoreAffectedSide;
use crate::examination::intake::parts::Side;
use crate::examination::measure::Measured;
use crate::fhir::coding::traces::{UNVALIDATED, UNVALIDATED_LINE};
use crate::fhir::coding::{Coded, CodedRange, CodedValue, Concept, comparison, sentence};
use crate::fhir::summary::Examined;
use crate::fhir::summary::words::{capital, one_line, partial, quoted};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Parts that stand beside the name of the measure, and parts that the value says already.
const BESIDE: [&str; 3] = ["neighbour-position", "condition", "repeat"];
const SAID: [&str; 2] = ["joint-state", "comparison-rule"];

/// Parts of a trace and of what was computed from it that a colleague reads; samples and parameters
/// stay in the record.
const OF_A_TRACE: [&str; 5] = [
    "stretch-speed",
    "trace-late-by",
    "trace-random-error",
    "trace-accepted",
    "trace-accepted-by",
];

/// Where a statement stands among others, whatever the order of the document.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Order {
    pub(super) region: String,
    pub(super) side: u8,
    site: String,
    name: String,
}

/// The place of a statement; what has no site of the body stands before what has one.
pub(super) fn place(one: &Coded, session: &Session, catalogue: &Catalogue) -> Order {
    let (side, place) = side_and_place(one).unwrap_or_default();
    let row = catalogue.sites.get(&place);
    Order {
        region: row.map(|row| row.region.clone()).unwrap_or_default(),
        side: rank(&side, session.more_affected),
        site: place,
        name: format!("{}\u{1f}{}", name(one, catalogue), one.id),
    }
}

/// The more affected side is told first; where neither is, right goes before left.
fn rank(side: &str, more_affected: MoreAffectedSide) -> u8 {
    let left_first = more_affected == MoreAffectedSide::Left;
    match side {
        "right" => u8::from(left_first),
        "left" => u8::from(!left_first),
        _ => 2,
    }
}

/// Side and site of a statement, from the code of ours.
fn side_and_place(one: &Coded) -> Option<(String, String)> {
    let own = own_code(one.body_site.as_ref()?, "site")?;
    let (side, place) = own.split_once('.')?;
    Some((side.to_owned(), place.to_owned()))
}

/// The heading under which a statement stands.
pub(super) fn heading(one: &Coded, session: &Session, catalogue: &Catalogue) -> String {
    let Some((side, place)) = side_and_place(one) else {
        return "Findings".to_owned();
    };
    let region = catalogue.sites.get(&place);
    let region = capital(region.map_or(place.as_str(), |row| row.region.as_str()));
    let affected = match (side.as_str(), session.more_affected) {
        ("left", MoreAffectedSide::Left) | ("right", MoreAffectedSide::Right) => {
            ", the more affected side"
        }
        ("left", MoreAffectedSide::Right) | ("right", MoreAffectedSide::Left) => {
            ", the less affected side"
        }
        (_, _) => "",
    };
    if side == Side::Middle.word() {
        format!("Findings: {region}")
    } else {
        format!("Findings: {region}, {side}{affected}")
    }
}

/// Site and side, measure, and what tells it from the same measure done otherwise.
pub(super) fn name(one: &Coded, catalogue: &Catalogue) -> String {
    // A comparison is named by itself, and moved as what was compared.
    let compared = own_code(&one.code, "comparison").and_then(|code| code.split_once('.'));
    let measure = compared.map(|(_, measure)| measure);
    let measure = measure.or_else(|| own_code(&one.code, "measure"));
    let row = measure.and_then(|code| catalogue.measures.get(code));
    let itself = || one.code.text.clone().unwrap_or_default();
    let label = match (compared, row) {
        (None, Some(row)) => row.label.clone(),
        (Some(_), _) | (None, None) => itself(),
    };
    let whole = one.body_site.as_ref().and_then(|site| site.text.as_ref());
    let named = side_and_place(one).and_then(|(side, place)| {
        let place = catalogue.sites.get(&place)?;
        // The name of the measure may tell the place already; the side it never tells.
        label.contains(&place.label).then_some(side)
    });
    let mut name = match (named.as_deref(), whole) {
        (Some("middle"), _) | (None, None) => capital(&label),
        (Some(side), _) => format!("{}: {label}", capital(side)),
        (None, Some(whole)) => format!("{}: {label}", capital(whole)),
    };
    let mode = row.and_then(|row| row.mode.as_deref());
    // A reader has to know who moved the limb; most names say so.
    let unsaid = mode.filter(|mode| !label.split(' ').any(|word| word == *mode));
    name.extend(unsaid.into_iter().flat_map(|mode| [", ", mode]));
    for (part, value) in &one.parts {
        let code = own_code(part, "component").unwrap_or_default();
        if let (true, Some(words)) = (BESIDE.contains(&code), sentence::in_words(value)) {
            let repeat = if code == "repeat" { "repeat " } else { "" };
            name.extend([", ", repeat, &words]);
        }
    }
    name
}

/// What holds for every line that says nothing else, so that it is said once.
#[derive(Debug, Clone, Copy)]
pub(super) struct Usual<'a> {
    position: &'a str,
    /// How most numbers were found, where that holds for more than one.
    method: Option<&'a str>,
}

impl<'a> Usual<'a> {
    /// Of these examinations; the position is that of the last.
    pub(super) fn of(sessions: &[Examined<'a>]) -> Self {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        let coded = sessions.iter().flat_map(|one| one.coded);
        for method in coded.filter(|one| !one.withdrawn).filter_map(method) {
            let count = counts.entry(method).or_default();
            *count = count.saturating_add(1);
        }
        // Of two that are as frequent the one that comes first by name.
        let most = counts.into_iter().rev().max_by_key(|(_, count)| *count);
        let last = sessions.last().map(|one| one.session);
        Self {
            position: last.map_or("", |session| &session.body_position),
            method: most
                .filter(|(_, count)| *count > 1)
                .map(|(method, _)| method),
        }
    }

    /// It in words, one line each.
    pub(super) fn in_words(&self, catalogue: &Catalogue) -> Vec<String> {
        let position = position(self.position, catalogue);
        let method = self.method.iter();
        let method =
            method.map(|method| format!("Method of numbers unless said otherwise: {method}."));
        let position = format!("Position unless said otherwise: {position}.");
        std::iter::once(position).chain(method).collect()
    }
}

fn position<'a>(code: &'a str, catalogue: &'a Catalogue) -> &'a str {
    let word = catalogue.word("body-position", code);
    word.map_or(code, |word| word.label.as_str())
}

/// How a number was found, which decides what it may be set against; what was computed stands beside it.
fn method(one: &Coded) -> Option<&str> {
    let number = matches!(one.value, CodedValue::Amount(_)) && one.kind.is_entered();
    let method = one.method.as_ref().filter(|_| number);
    method.and_then(|method| method.text.as_deref())
}

/// The whole line of a statement about a site.
pub(super) fn line(
    one: &Coded,
    measured: Option<&Measured>,
    usual: &Usual<'_>,
    catalogue: &Catalogue,
) -> String {
    let found = measured
        .map(|measured| sentence::value(measured, catalogue))
        .or_else(|| of_an_instrument(one, catalogue))
        .or_else(|| share(one))
        .or_else(|| sentence::in_words(&one.value))
        .unwrap_or_default();
    let mut line = format!("{}: {found}", name(one, catalogue));
    for (part, value) in &one.parts {
        line.push_str(&beside(one, part, value, &found));
    }
    line.extend(why(measured).map(|why| format!("; reason given: {why}")));
    let said = one.interpretation.iter();
    let said = said.filter_map(|said| said.text.as_deref());
    let said = said.map(|said| comparison::beside_in_words(said).to_owned());
    for words in said.chain(one.ranges.iter().map(range)) {
        line.extend(["; ", &one_line(&words)]);
    }
    let other = one
        .finding
        .as_ref()
        .map(|finding| finding.position.as_str());
    if let Some(other) = other.filter(|other| *other != usual.position) {
        line.extend(["; position: ", position(other, catalogue)]);
    }
    if let Some(other) = method(one).filter(|other| Some(*other) != usual.method) {
        line.extend(["; method: ", other]);
    }
    let examiner = measured.and_then(|_| sentence::examined_by(one));
    line.extend(examiner.iter().flat_map(|by| ["; ", by]));
    match measured {
        // Prompts stand beside a finding as notes of the software; a summary has a place for them.
        Some(measured) => {
            let note = measured.finding.note.as_ref().map(quoted);
            line.extend(note.iter().flat_map(|note| ["; note: ", note]));
        }
        None => line.push_str(&not_by_hand(one)),
    }
    line.push_str(&judged_by(one));
    line.push('.');
    line
}

/// A published range in words; its table and row stand in the resource.
fn range(one: &CodedRange) -> String {
    sentence::range(&CodedRange {
        text: comparison::range_in_words(&one.text).to_owned(),
        ..one.clone()
    })
}

/// A part of a statement in words, where a colleague reads it.
fn beside(one: &Coded, part: &Concept, value: &CodedValue, found: &str) -> String {
    let code = own_code(part, "component").unwrap_or_default();
    let technical = of_a_trace(one.kind) && !is_read_of_a_trace(one, code);
    let verdict = code == "comparison-verdict" && matches!(one.value, CodedValue::Concept(_));
    if BESIDE.contains(&code) || SAID.contains(&code) || technical || verdict {
        return String::new();
    }
    let label = part.text.as_deref().unwrap_or_default();
    let words = match (code, value) {
        ("ending", CodedValue::Concept(how)) => ending(how, found),
        ("pain-during", CodedValue::Amount(pain)) => Some(format!("{} of 10", pain.value)),
        ("trace-late-by" | "trace-random-error", value) => return uncertain(code, value),
        // What a result was judged by stands behind the result.
        ("comparison-row", _) => return String::new(),
        ("comparison-verdict", CodedValue::Concept(verdict)) => {
            let words = verdict.text.as_deref().unwrap_or_default();
            return format!("; {words}");
        }
        (_, CodedValue::When(at)) => Some(partial(at)),
        (_, value) => sentence::in_words(value).map(|words| one_line(&words)),
    };
    words.map_or_else(String::new, |words| format!("; {label}: {words}"))
}

/// The rows that a comparison was judged by, in words.
fn judged_by(one: &Coded) -> String {
    let rows = one.parts.iter().filter_map(|(part, value)| {
        let row = own_code(part, "component") == Some("comparison-row");
        let CodedValue::Words(words) = value else {
            return None;
        };
        row.then(|| one_line(comparison::row_in_words(words.open())))
    });
    rows.fold(String::new(), |words, row| words + "; judged by: " + &row)
}

/// True for a part of a trace that a colleague reads: a reason only where there is nothing else.
fn is_read_of_a_trace(one: &Coded, code: &str) -> bool {
    let nothing = matches!(one.value, CodedValue::Absent(_));
    OF_A_TRACE.contains(&code) || (code == "trace-reason" && nothing)
}

/// How far a computed catch may be off, in words.
fn uncertain(code: &str, value: &CodedValue) -> String {
    let Some(degrees) = sentence::in_words(value) else {
        return String::new();
    };
    if code == "trace-late-by" {
        format!("; uncertainty: expected to lie {degrees} too late in the stretch")
    } else {
        format!("; by chance it may lie {degrees} either way (two standard deviations)")
    }
}

/// What a trace showed, without its samples and numbers.
fn of_an_instrument(one: &Coded, catalogue: &Catalogue) -> Option<String> {
    match (&one.value, one.kind) {
        (CodedValue::Samples(_), _) => Some("recorded by an instrument".to_owned()),
        (CodedValue::Amount(angle), Kind::TraceCatch) => {
            let row = catalogue.measures.get(own_code(&one.code, "measure")?)?;
            Some(sentence::caught_at(angle.value, row))
        }
        (CodedValue::Amount(_), Kind::TraceLine) => {
            Some("a line through the catches; its numbers stand in the record".to_owned())
        }
        (_, _) => None,
    }
}

/// Where something comes from that nobody found by hand, and whether anybody stands by it.
fn not_by_hand(one: &Coded) -> String {
    if one.kind == Kind::Comparison {
        let notes = one.notes.iter();
        let notes = notes.filter_map(|note| comparison::note_in_words(note.open()));
        return notes.fold(String::new(), |words, note| words + "; " + &one_line(note));
    }
    if !of_a_trace(one.kind) {
        return "; computed from other findings".to_owned();
    }
    let mut words = String::new();
    if one.preliminary {
        words.push_str("; computed by software and not yet accepted by a therapist");
    } else if one.kind != Kind::Trace {
        words.push_str("; computed by software");
    }
    for note in &one.notes {
        // Beside a trace stands what a person noted. How far a rule may be trusted is said once, at the
        // end.
        match (one.kind, note.open().as_str()) {
            (Kind::Trace, _) => words.extend(["; note: ", &quoted(note)]),
            (_, UNVALIDATED | UNVALIDATED_LINE) => {}
            (_, note) => words.extend(["; ", &one_line(note)]),
        }
    }
    words
}

/// A share, which is a number of nothing.
fn share(one: &Coded) -> Option<String> {
    let CodedValue::Amount(amount) = &one.value else {
        return None;
    };
    (one.role == "dynamic-share").then(|| format!("a share of {}", amount.value))
}

const fn of_a_trace(kind: Kind) -> bool {
    matches!(kind, Kind::Trace | Kind::TraceCatch | Kind::TraceLine)
}

/// How a movement ended, unless it was carried through, which a reader takes for granted, or the value
/// says it already.
fn ending(how: &Concept, found: &str) -> Option<String> {
    let system = Catalogue::system_of("ending");
    let own = how.codes.iter().find(|code| code.system == system)?;
    let said = own.code == "end-of-range" || found.contains(&own.display);
    (!said).then(|| own.display.clone())
}

/// Why a movement was taken no further, in the words of whoever moved it.
fn why(measured: Option<&Measured>) -> Option<String> {
    match &measured?.finding.outcome {
        Outcome::Found(_, Some(ending)) => ending.why.as_ref().map(quoted),
        Outcome::Found(_, None) | Outcome::NotTested(_) => None,
    }
}

/// The code of ours in a concept.
pub(super) fn own_code<'a>(concept: &'a Concept, list: &str) -> Option<&'a str> {
    let system = Catalogue::system_of(list);
    let mut codes = concept.codes.iter();
    codes
        .find(|code| code.system == system)
        .map(|code| code.code.as_str())
}

/// Statements of a kind that stand.
pub(super) fn standing<'a>(one: &Examined<'a>) -> impl Iterator<Item = &'a Coded> + use<'a> {
    one.coded.iter().filter(|coded| !coded.withdrawn)
}

/// The findings in their measures, by their identity.
pub(super) fn findings_of<'a>(one: &Examined<'a>) -> BTreeMap<Uuid, &'a Measured> {
    let measured = one.measured.iter();
    measured.map(|one| (one.finding.id, one)).collect()
}

pub(super) const fn is_about_the_body(kind: Kind) -> bool {
    !matches!(
        kind,
        Kind::Panel | Kind::Precaution | Kind::Statement | Kind::Comparison
    )
}
