//! The summary of one session.

use crate::base::private::Private;
use crate::examination::finding::Session;
use crate::examination::intake::draft::{Consent, MoreAffectedSide};
use crate::fhir::coding::statements::role_of;
use crate::fhir::coding::{Coded, CodedValue, sentence};
use crate::fhir::summary::asked::{A_PROMPT, prompt};
use crate::fhir::summary::findings::{
    self, Order, Usual, findings_of, is_about_the_body, standing,
};
use crate::fhir::summary::title::title;
use crate::fhir::summary::words::{capital, day, one_line, partial, quoted};
use crate::fhir::summary::{
    Examined, Line, Section, Summary, compared, own_words, passed_on, precautions,
};
use crate::tables::catalogue::rows::Kind;
use crate::tables::catalogue::{Catalogue, VISIT};
use std::collections::BTreeMap;

pub(super) fn summary(one: &Examined<'_>, catalogue: &Catalogue) -> Summary {
    let session = one.session;
    let title = title(session);
    if session.withdrawn {
        let words = "This session was withdrawn: everything in it was entered in error and is not \
                     to be used.";
        let lines = vec![Line::plain(words)];
        return Summary {
            title: Private::new(title),
            sections: vec![Section::new("in-error", "Withdrawn", lines)],
        };
    }
    let usual = Usual::of(std::slice::from_ref(one));
    let mut sections = vec![precautions::section(one, catalogue)];
    sections.extend(urgent(one));
    sections.push(examination(one, "The examination", &usual, catalogue));
    sections.extend(found(one, &usual, catalogue));
    sections.push(not_tested(one, &usual, catalogue));
    sections.extend(compared::sides(one, catalogue));
    sections.push(compared::changed(one, catalogue));
    sections.push(prompts(one));
    sections.extend(said(one, catalogue));
    sections.extend(circumstances(one));
    sections.extend(in_error(one, catalogue));
    sections.push(about(one));
    Summary {
        title: Private::new(title),
        sections,
    }
}

/// What was examined, by region and side.
fn found(one: &Examined<'_>, usual: &Usual<'_>, catalogue: &Catalogue) -> Vec<Section> {
    let mut lines: BTreeMap<Order, (String, Line)> = BTreeMap::new();
    let by_id = findings_of(one);
    for coded in standing(one).filter(|coded| is_about_the_body(coded.kind)) {
        let measured = by_id.get(&coded.id).copied();
        if measured.is_some_and(|measured| !measured.examined()) {
            continue;
        }
        let words = findings::line(coded, measured, usual, catalogue);
        let heading = findings::heading(coded, one.session, catalogue);
        let line = Line::about(one.session, coded, words);
        lines.insert(
            findings::place(coded, one.session, catalogue),
            (heading, line),
        );
    }
    by_heading(lines.into_values())
}

/// One section for each heading, in the order in which they come.
pub(super) fn by_heading(lines: impl Iterator<Item = (String, Line)>) -> Vec<Section> {
    let mut sections: Vec<Section> = Vec::new();
    for (heading, line) in lines {
        match sections.last_mut() {
            Some(section) if section.title == heading => section.lines.push(line),
            Some(_) | None => sections.push(Section::new("findings", heading, vec![line])),
        }
    }
    sections
}

/// Everything that was left out, with its reason: none of it is ever left out here.
fn not_tested(one: &Examined<'_>, usual: &Usual<'_>, catalogue: &Catalogue) -> Section {
    let mut lines: BTreeMap<Order, Line> = BTreeMap::new();
    let by_id = findings_of(one);
    for coded in standing(one).filter(|coded| is_about_the_body(coded.kind)) {
        let measured = by_id.get(&coded.id).copied();
        let measured = measured.filter(|measured| !measured.examined());
        if measured.is_some() {
            let words = findings::line(coded, measured, usual, catalogue);
            let place = findings::place(coded, one.session, catalogue);
            lines.insert(place, Line::about(one.session, coded, words));
        }
    }
    let mut lines: Vec<Line> = lines.into_values().collect();
    if lines.is_empty() {
        lines.push(Line::plain("Nothing was recorded as left out."));
    }
    Section::new("not-tested", "Not tested, and why", lines)
}

/// What is to reach the treating team at once, before everything that was found.
fn urgent(one: &Examined<'_>) -> Option<Section> {
    let prompts = prompts_where(one, true);
    if prompts.is_empty() {
        return None;
    }
    let head = "Each asks somebody to look today and is no diagnosis; local policy and the treating team come \
                first. Tell the treating team by telephone or in person, whatever was delivered.";
    let mut lines = vec![Line::plain(head)];
    lines.extend(prompts);
    let title = "To reach the treating team at once";
    Some(Section::new("urgent-prompts", title, lines))
}

fn prompts_where(one: &Examined<'_>, urgent: bool) -> Vec<Line> {
    let prompts = one.prompts.iter().filter(|prompt| prompt.urgent == urgent);
    let mut lines: Vec<Line> = prompts
        .map(|prompt| Line::plain(self::prompt(prompt, one)))
        .collect();
    lines.sort_by(|a, b| a.words.cmp(&b.words));
    lines
}

fn prompts(one: &Examined<'_>) -> Section {
    let mut lines = vec![Line::plain(if one.prompts.is_empty() {
        "No check raised one. That is no finding: local policy and the treating team come first."
    } else {
        A_PROMPT
    })];
    lines.extend(prompts_where(one, false));
    if one.prompts.iter().any(|prompt| prompt.urgent) {
        lines.push(Line::plain("Those that are urgent stand at the top."));
    }
    Section::new("prompts", "Prompts to look", lines)
}

fn said(one: &Examined<'_>, catalogue: &Catalogue) -> Vec<Section> {
    let section = |(code, title): (&'static str, &str)| {
        let statements = one.session.statements.iter();
        let statements = statements.filter(|it| it.says.key() == code && !it.withdrawn);
        let lines: Vec<Line> = statements
            .filter_map(|statement| {
                let mut coded = standing(one);
                let coded = coded.find(|it| it.role == "statement" && it.id == statement.id)?;
                let about = passed_on::about(statement, one, std::slice::from_ref(one), catalogue);
                let words = own_words::line(statement, one.session, about.as_deref(), None);
                Some(Line::about(one.session, coded, words))
            })
            .collect();
        let title = own_words::heading(code, title, one.session);
        (!lines.is_empty()).then(|| Section::new(code, title, lines))
    };
    own_words::SECTIONS
        .into_iter()
        .filter_map(section)
        .collect()
}

/// What every line below is read with: who examined, which side is the more affected, consent, and what
/// holds where a line says nothing else.
pub(super) fn examination(
    one: &Examined<'_>,
    title: impl Into<String>,
    usual: &Usual<'_>,
    catalogue: &Catalogue,
) -> Section {
    let session = one.session;
    let side = match session.more_affected {
        MoreAffectedSide::Left => "left",
        MoreAffectedSide::Right => "right",
        MoreAffectedSide::Both => "both alike",
        MoreAffectedSide::Neither => "neither",
        MoreAffectedSide::NotKnown => "not known",
    };
    let consent = match session.consent {
        Consent::Yes => "given",
        Consent::No => "not given",
        Consent::BySomebodyEntitled => "given by somebody entitled to",
    };
    let performers = session.performers.iter();
    let performers: Vec<String> = performers.map(|one| role_of(&one.key, session)).collect();
    let lines = [
        format!("Examined by: {}.", performers.join(", ")),
        format!("More affected side: {side}."),
        format!("Consent: {consent}; {}.", quoted(&session.consent_how)),
    ];
    let lines = lines
        .into_iter()
        .chain(visit(session, catalogue))
        .chain(usual.in_words(catalogue));
    Section::new("examination", title, of_the_panel(lines, one))
}

/// What became of the visit, and of the stay, where either is out of the ordinary.
fn visit(session: &Session, catalogue: &Catalogue) -> Vec<String> {
    let said = session.visit.as_ref().map(|visit| {
        let word = catalogue.word(VISIT, &visit.outcome);
        let outcome = word.map_or(visit.outcome.as_str(), |row| row.label.as_str());
        format!("{}: {}.", capital(outcome), quoted(&visit.reason))
    });
    let moved = session.encounter_at_end.as_ref().map(|_| {
        "Moved to another stay during the examination: what was found belongs to the one in which it began."
            .to_owned()
    });
    said.into_iter().chain(moved).collect()
}

/// Lines about the session as a whole.
fn of_the_panel(lines: impl IntoIterator<Item = String>, one: &Examined<'_>) -> Vec<Line> {
    let panel = standing(one).find(|coded| coded.kind == Kind::Panel);
    let lines = lines.into_iter().map(|words| match panel {
        Some(panel) => Line::about(one.session, panel, words),
        None => Line::plain(words),
    });
    lines.collect()
}

/// What else holds for the day as a whole.
fn circumstances(one: &Examined<'_>) -> Option<Section> {
    let session = one.session;
    let mut lines = Vec::new();
    if let Some((words, onset)) = &session.condition {
        let onset = onset.as_deref().map(partial);
        let onset = onset.map(|onset| format!("; onset: {onset}"));
        lines.push(format!(
            "Condition: {}{}.",
            quoted(words),
            onset.unwrap_or_default()
        ));
    }
    let panel = standing(one).find(|coded| coded.kind == Kind::Panel);
    // The visit stands among what the examination is read with.
    let of_visit = ["visit-outcome", "visit-reason"];
    let parts = panel.iter().flat_map(|panel| &panel.parts);
    for (part, value) in parts.filter(|(part, _)| {
        findings::own_code(part, "component").is_none_or(|code| !of_visit.contains(&code))
    }) {
        let name = capital(&one_line(part.text.as_deref().unwrap_or_default()));
        let words = match value {
            CodedValue::Day(date) => Some(day(*date)),
            CodedValue::Words(words) => Some(quoted(words)),
            CodedValue::When(written) => Some(partial(written)),
            CodedValue::Amount(_)
            | CodedValue::Concept(_)
            | CodedValue::Absent(_)
            | CodedValue::Count(_)
            | CodedValue::Samples(_)
            | CodedValue::Members => sentence::in_words(value),
        };
        lines.extend(words.map(|words| format!("{name}: {words}.")));
    }
    for none in &session.circumstances.none_known {
        let list = capital(&none.list().replace('_', " "));
        lines.push(format!("{list}: asked and looked up, none known."));
    }
    let lines = of_the_panel(lines, one);
    (!lines.is_empty()).then(|| Section::new("circumstances", "The day of the examination", lines))
}

/// What a correction withdrew: named, and not repeated.
fn in_error(one: &Examined<'_>, catalogue: &Catalogue) -> Option<Section> {
    let mut lines: BTreeMap<Order, Line> = BTreeMap::new();
    for coded in one.coded.iter().filter(|coded| coded.withdrawn) {
        let name = findings::name(coded, catalogue);
        let words = format!("{name}: entered in error, not to be used.");
        let place = findings::place(coded, one.session, catalogue);
        lines.insert(place, Line::about(one.session, coded, words));
    }
    let lines: Vec<Line> = lines.into_values().collect();
    let title = "Withdrawn, not to be used";
    (!lines.is_empty()).then(|| Section::new("in-error", title, lines))
}

/// How far what was computed from traces may be trusted, where something was.
pub(super) fn of_traces(sessions: &[Examined<'_>]) -> Option<&'static str> {
    let computed = |coded: &Coded| matches!(coded.kind, Kind::TraceCatch | Kind::TraceLine);
    sessions
        .iter()
        .any(|one| standing(one).any(computed))
        .then_some(
            "What was computed from traces of stretches comes from rules that were not validated on \
             patients; it never takes the place of what was felt.",
        )
}

/// What a reader may not take it for.
fn about(one: &Examined<'_>) -> Section {
    let traces = of_traces(std::slice::from_ref(one));
    let lines = [
        "Put together by software from the signed findings, in fixed words: it adds nothing to them \
         and judges nothing. Words in quotation marks are those of the people named.",
        "That it stands in a record does not mean that anybody has read it: what matters is passed \
         on in person.",
    ];
    Section::new(
        "about",
        "About this summary",
        traces.into_iter().chain(lines).map(Line::plain).collect(),
    )
}
