//! What several sessions of one person come to: for a handover, and for a discharge.

use crate::base::private::Private;
use crate::examination::compare;
use crate::examination::compare::part::{EarlierSession, Part};
use crate::examination::measure::Measured;
use crate::fhir::coding::{Coded, sentence};
use crate::fhir::summary::compared::Counts;
use crate::fhir::summary::findings::{self, Order, Usual};
use crate::fhir::summary::words::{counted, day, of};
use crate::fhir::summary::{
    Examined, Line, Section, Summary, collected, passed_on, precautions, session,
};
use crate::tables::catalogue::rows::Kind;
use crate::tables::catalogue::{Catalogue, VERDICT};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What the sessions are collected for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum View {
    /// For whoever looks after the person next.
    Handover,
    /// For whoever looks after the person from now on: with what changed from first to last.
    Discharge,
}

/// Collects what the sessions of one person say, the earliest first; none of them withdrawn, each in
/// its latest version. `today` is the day on which a review date has passed or not.
pub fn collect(
    sessions: &[Examined<'_>],
    purged: usize,
    view: View,
    today: NaiveDate,
    catalogue: &Catalogue,
) -> Summary {
    let name = match view {
        View::Handover => "Handover",
        View::Discharge => "Discharge",
    };
    let test = sessions.iter().any(|one| one.session.test_data);
    let test = if test {
        " (test data: an invented person)"
    } else {
        ""
    };
    let title = format!("{name}, as of {}: {}{test}", day(today), extent(sessions));
    let usual = Usual::of(sessions);
    let mut sections = vec![precautions(sessions, today)];
    sections.extend(sessions.last().map(|last| {
        let title = format!("The last examination, {}", of(last));
        session::examination(last, title, &usual, catalogue)
    }));
    sections.extend(collected::section(
        sessions,
        "handling-step",
        today,
        catalogue,
    ));
    sections.push(passed_on::open_prompts(sessions));
    sections.extend(latest_found(sessions, &usual, catalogue));
    sections.push(not_tested(sessions, &usual, catalogue));
    if view == View::Discharge {
        sections.push(from_first_to_last(sessions, catalogue));
    }
    let last = ["conclusion", "priority", "goal", "recommendation", "told"];
    sections.extend(
        last.into_iter()
            .filter_map(|code| collected::section(sessions, code, today, catalogue)),
    );
    sections.push(about(sessions, purged));
    Summary {
        title: Private::new(title),
        sections,
    }
}

fn extent(sessions: &[Examined<'_>]) -> String {
    let examinations = counted(sessions.len(), "examination", "examinations");
    match (sessions.first(), sessions.last()) {
        (Some(first), Some(last)) if sessions.len() > 1 => {
            format!("{examinations} from {} to {}", of(first), of(last))
        }
        (Some(only), _) => format!("{examinations} on {}", of(only)),
        (None, _) => examinations,
    }
}

/// The latest statement of each precaution, those that stand before those that were lifted.
fn precautions(sessions: &[Examined<'_>], today: NaiveDate) -> Section {
    let mut latest: BTreeMap<Uuid, (&Examined<'_>, &Coded)> = BTreeMap::new();
    for one in sessions {
        let carried = |id: Uuid| {
            let mut stated = one.session.precautions.iter();
            stated.any(|it| it.id == id && it.carried)
        };
        for coded in one.coded.iter().filter(|it| it.kind == Kind::Precaution) {
            // What a purged session stated is known by having been carried over.
            if carried(coded.id) {
                latest.entry(coded.id).or_insert((one, coded));
            } else {
                latest.insert(coded.id, (one, coded));
            }
        }
    }
    let mut lines: Vec<(bool, Line)> = Vec::new();
    for (one, coded) in latest.into_values().filter(|(_, coded)| !coded.withdrawn) {
        let mut stated = one.session.precautions.iter();
        let Some(stated) = stated.find(|it| it.id == coded.id) else {
            continue;
        };
        let stands = stated.stands_on(today);
        let passed = |at: Option<NaiveDate>| stands && at.is_some_and(|at| at < today);
        let mut words = precautions::in_words(coded);
        if stated.carried {
            words.extend([
                " Stated before ",
                &of(one),
                ", in a session whose content is no longer kept in this place.",
            ]);
        } else {
            words.extend([" Stated on ", &of(one), "."]);
        }
        if passed(stated.review) {
            words
                .push_str(" Its review date has passed: it holds until somebody lifts it by name.");
        }
        if passed(stated.end) {
            words.push_str(" Its end date has passed: it holds until somebody lifts it by name.");
        }
        lines.push((!stands, Line::about(one.session, coded, words)));
    }
    lines.sort_by(|a, b| (a.0, &a.1.words).cmp(&(b.0, &b.1.words)));
    let mut lines: Vec<Line> = lines.into_iter().map(|(_, line)| line).collect();
    if lines.is_empty() {
        let last = sessions.last().filter(|one| one.session.none_known);
        lines.push(Line::plain(match last {
            Some(last) => format!("Asked and looked up on {}: none is known.", of(last)),
            None => "None is kept here.".to_owned(),
        }));
    }
    Section::new("precautions", "Precautions", lines)
}

/// One statement about a site, with the session it stands in.
#[derive(Clone, Copy)]
struct Dated<'a> {
    one: &'a Examined<'a>,
    coded: &'a Coded,
    measured: Option<&'a Measured>,
}

impl Dated<'_> {
    fn examined(&self) -> bool {
        self.measured.is_none_or(Measured::examined)
    }
}

/// What tells one examined thing from another: its name, and the position of the body.
type Thing = (String, String);

/// Every thing that was examined or left out, with all that was said of it, the earliest first.
fn things<'a>(
    sessions: &'a [Examined<'a>],
    catalogue: &Catalogue,
) -> BTreeMap<Thing, Vec<Dated<'a>>> {
    let mut things: BTreeMap<Thing, Vec<Dated<'a>>> = BTreeMap::new();
    for one in sessions {
        let by_id = findings::findings_of(one);
        let coded = one.coded.iter().filter(|coded| !coded.withdrawn);
        for coded in coded.filter(|coded| findings::is_about_the_body(coded.kind)) {
            let position = coded.finding.as_ref().map(|finding| &finding.position);
            let position = position.cloned().unwrap_or_default();
            let thing = (findings::name(coded, catalogue), position);
            let measured = by_id.get(&coded.id).copied();
            things.entry(thing).or_default().push(Dated {
                one,
                coded,
                measured,
            });
        }
    }
    things
}

fn line(told: &Dated<'_>, usual: &Usual<'_>, catalogue: &Catalogue) -> Line {
    let words = findings::line(told.coded, told.measured, usual, catalogue);
    Line::about(
        told.one.session,
        told.coded,
        format!("{words} ({})", of(told.one)),
    )
}

/// What was found last of each thing, by region and side.
fn latest_found(
    sessions: &[Examined<'_>],
    usual: &Usual<'_>,
    catalogue: &Catalogue,
) -> Vec<Section> {
    let things = things(sessions, catalogue);
    let mut lines: BTreeMap<Order, (String, Line)> = BTreeMap::new();
    for told in things.values() {
        let Some(last) = told.iter().rev().find(|told| told.examined()) else {
            continue;
        };
        // Sides are named as the latest session of all names them, so that each has one heading.
        let session = sessions.last().map_or(last.one.session, |one| one.session);
        let heading = findings::heading(last.coded, session, catalogue);
        let place = findings::place(last.coded, session, catalogue);
        lines.insert(place, (heading, line(last, usual, catalogue)));
    }
    session::by_heading(lines.into_values())
}

/// What was left out last, unless it was examined since.
fn not_tested(sessions: &[Examined<'_>], usual: &Usual<'_>, catalogue: &Catalogue) -> Section {
    let things = things(sessions, catalogue);
    let left_out = things.values().filter_map(|told| told.last());
    let mut lines: BTreeMap<Order, Line> = BTreeMap::new();
    for told in left_out.filter(|told| !told.examined()) {
        let place = findings::place(told.coded, told.one.session, catalogue);
        lines.insert(place, line(told, usual, catalogue));
    }
    let mut lines: Vec<Line> = lines.into_values().collect();
    if lines.is_empty() {
        lines.push(Line::plain("Nothing is recorded as left out last time."));
    }
    Section::new("not-tested", "Not tested last time, and why", lines)
}

/// From the first to the last time a thing was examined.
fn from_first_to_last(sessions: &[Examined<'_>], catalogue: &Catalogue) -> Section {
    let things = things(sessions, catalogue);
    let mut counts = Counts::default();
    let mut lines: BTreeMap<Order, Line> = BTreeMap::new();
    for told in things.values() {
        let mut examined = told.iter().filter(|told| told.examined());
        let (Some(first), Some(last)) = (examined.next(), examined.next_back()) else {
            continue;
        };
        let place = findings::place(last.coded, last.one.session, catalogue);
        let found = |told: &Dated<'_>| {
            let found = told.measured.map(|it| sentence::value(it, catalogue));
            found.or_else(|| sentence::in_words(&told.coded.value))
        };
        let words = format!(
            "{}: from {} ({}) to {} ({}); {}.",
            findings::name(last.coded, catalogue),
            found(first).unwrap_or_default(),
            of(first.one),
            found(last).unwrap_or_default(),
            of(last.one),
            change(first, last, &mut counts, catalogue)
        );
        lines.insert(place, Line::about(last.one.session, last.coded, words));
    }
    let mut all = Vec::new();
    if !counts.is_empty() {
        all.extend(counts.lines("the first time", Vec::new()));
    }
    all.extend(lines.into_values());
    if all.is_empty() {
        all.push(Line::plain("Nothing was examined twice in the same way."));
    }
    Section::new("first-to-last", "From the first time to the last", all)
}

/// What a finding came to since the first time: higher, lower, within the error, or not judged.
fn change(
    first: &Dated<'_>,
    last: &Dated<'_>,
    counts: &mut Counts,
    catalogue: &Catalogue,
) -> String {
    let (Some(before), Some(after)) = (first.measured, last.measured) else {
        return "computed, so its parts are compared".to_owned();
    };
    let then = EarlierSession::of(first.one.session, vec![Part::of(before, first.one.session)]);
    let Some(comparison) = compare::since(last.one.session, after, &then, catalogue) else {
        return "not compared".to_owned();
    };
    counts.add(&comparison);
    let found = match &comparison.outcome {
        Err(reason) => return format!("not compared: {reason}"),
        Ok(found) => found,
    };
    let verdict = catalogue.word(VERDICT, found.verdict.code());
    let verdict = verdict.map(|row| row.label.as_str()).unwrap_or_default();
    let amount = found.amount.as_ref().filter(|it| !it.number.is_zero());
    let by = amount.map(|amount| {
        let unit = match amount.unit.as_str() {
            "{score}" => "point",
            unit => catalogue.unit_label(unit).unwrap_or(unit),
        };
        let way = if amount.number.is_negative() {
            "lower"
        } else {
            "higher"
        };
        let by = sentence::counted(amount.number.magnitude(), unit);
        format!("{way} by {by}, ")
    });
    match by {
        // The way is said once.
        Some(by) if found.verdict.is_beyond() => format!("{by}more than the error of measuring"),
        Some(by) => format!("{by}{verdict}"),
        None => verdict.to_owned(),
    }
}

fn about(sessions: &[Examined<'_>], purged: usize) -> Section {
    let counted = counted(sessions.len(), "examination", "examinations");
    let lines = [
        format!(
            "Put together by software from {counted} kept in this place, in fixed words; what others \
             recorded elsewhere is not in it, and withdrawn sessions are left out. Words in quotation \
             marks are those of the people named."
        ),
        "That something was delivered to a record does not mean that anybody has read it: what \
         matters is passed on in person."
            .to_owned(),
    ];
    let gone = (purged > 0).then(|| {
        let gone = crate::fhir::summary::words::counted(purged, "earlier session", "earlier sessions");
        format!(
            "The content of {gone} is no longer kept in this place and is not in it, but for precautions \
             that nobody has lifted; the record holds it."
        )
    });
    let traces = session::of_traces(sessions).map(str::to_owned);
    let lines = traces.into_iter().chain(gone).chain(lines);
    Section::new(
        "about",
        "About this summary",
        lines.map(Line::plain).collect(),
    )
}
