//! What people said in their own words over several sessions: a later session that does not speak of a
//! thing does not take it back.

use crate::examination::finding::own_words::{Says, Statement};
use crate::fhir::coding::statements::role_of;
use crate::fhir::summary::words::{day, of, one_line};
use crate::fhir::summary::{Examined, Line, Section, own_words, passed_on};
use crate::tables::catalogue::Catalogue;
use chrono::NaiveDate;

/// One statement with the session it was last made in.
#[derive(Clone, Copy)]
struct Dated<'a> {
    one: &'a Examined<'a>,
    statement: &'a Statement,
}

/// All statements of one kind that stand, those of the latest session first, each with its day.
pub(super) fn section(
    sessions: &[Examined<'_>],
    code: &'static str,
    today: NaiveDate,
    catalogue: &Catalogue,
) -> Option<Section> {
    let mut standing = standing(sessions, code);
    let latest = standing.first()?.one.session.id;
    if code == "priority" {
        standing.retain(|said| said.one.session.id == latest);
    }
    let lines = standing.iter().filter_map(|said| {
        let one = said.one;
        let mut coded = one.coded.iter();
        let coded = coded.find(|it| it.role == "statement" && it.id == said.statement.id)?;
        let about = passed_on::about(said.statement, one, sessions, catalogue);
        let words = own_words::line(said.statement, one.session, about.as_deref(), Some(today));
        let words = words + &when(said, &standing);
        Some(Line::about(one.session, coded, words))
    });
    let lines: Vec<Line> = lines.collect();
    Some(Section::new(code, title(code), lines))
}

fn title(code: &str) -> &'static str {
    let titles = own_words::SECTIONS.into_iter();
    let of_one = titles.into_iter().find(|(key, _)| *key == code);
    match code {
        "conclusion" => "Conclusions of the therapists, the latest first",
        _ => of_one.map_or("", |(_, title)| title),
    }
}

/// The latest word on each thing. What was said again under its identity, or in the same words to the
/// same people, stands once; what was withdrawn under its identity is gone.
fn standing<'a>(sessions: &'a [Examined<'a>], code: &str) -> Vec<Dated<'a>> {
    let mut standing: Vec<Dated<'a>> = Vec::new();
    for one in sessions {
        let statements = one.session.statements.iter();
        for statement in statements.filter(|it| it.says.key() == code) {
            standing.retain(|earlier| {
                let elsewhere = earlier.one.session.id != one.session.id;
                let again = !statement.withdrawn && says_again(earlier.statement, statement);
                earlier.statement.id != statement.id && !(elsewhere && again)
            });
            if !statement.withdrawn {
                standing.push(Dated { one, statement });
            }
        }
    }
    // The sort keeps the order of a document.
    standing.sort_by_key(|said| std::cmp::Reverse(said.one.session.start.instant));
    standing
}

fn says_again(earlier: &Statement, later: &Statement) -> bool {
    let same_people = match (&earlier.says, &later.says) {
        (Says::Recommendation { to: then }, Says::Recommendation { to: now }) => {
            one_line(then.open()) == one_line(now.open())
        }
        // Each time somebody was told is a time of its own, and a conclusion is of its own day.
        (Says::Told { .. } | Says::Conclusion, _) => false,
        (
            Says::Priority
            | Says::Goal { .. }
            | Says::HandlingStep { .. }
            | Says::Recommendation { .. },
            _,
        ) => true,
    };
    same_people && one_line(earlier.words.open()) == one_line(later.words.open())
}

/// The day on which something was last said. Handling is a list: a step that the latest list leaves out
/// was taken back by nobody, and somebody has to ask.
fn when(said: &Dated<'_>, standing: &[Dated<'_>]) -> String {
    let on = of(said.one);
    match said.statement.says {
        Says::Told { .. } => String::new(),
        Says::Conclusion => {
            let signed = &said.one.session.signed;
            format!(" ({}, {on})", role_of(&signed.by, said.one.session))
        }
        Says::HandlingStep { .. } => {
            let latest = standing.first().map(|latest| latest.one.session);
            let later = latest.filter(|latest| latest.id != said.one.session.id);
            later.map_or_else(
                || format!(" ({on})"),
                |later| {
                    let later = day(later.start.instant.date_naive());
                    format!(" ({on}; not repeated on {later}, and withdrawn by nobody)")
                },
            )
        }
        Says::Priority | Says::Goal { .. } | Says::Recommendation { .. } => format!(" ({on})"),
    }
}
