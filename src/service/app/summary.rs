//! The summary of what is kept: one session, or all of one person for a handover or a discharge.

use crate::base::json::{Node, object, text};
use crate::base::problem::Problems;
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::read::OfSubject;
use crate::delivery::outbox::{Outbox, OutboxError};
use crate::examination::compare::part::EarlierSession;
use crate::examination::finding::{Precaution, Session};
use crate::examination::intake::kept::NotRead;
use crate::fhir::record::identifier_of;
use crate::fhir::summary::across::{View, collect};
use crate::fhir::summary::{Examined, Line, Summary, of_session};
use crate::service::app::assess::{Assessed, Earlier, assess};
use crate::service::app::confirmed::Confirming;
use crate::service::app::earlier;
use crate::service::app::kept::stated_precaution;
use crate::service::app::words::understood;
use crate::tables::catalogue::Catalogue;
use chrono::NaiveDate;
use uuid::Uuid;

/// Which summary is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// Of the session that is named, in its latest version.
    Session,
    /// Of all sessions of the person.
    Person(View),
}

impl Wanted {
    /// Every one, in the order in which they are told.
    pub const ALL: [Self; 3] = [
        Self::Session,
        Self::Person(View::Handover),
        Self::Person(View::Discharge),
    ];

    /// The word of the interface.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Session => "session",
            Self::Person(View::Handover) => "handover",
            Self::Person(View::Discharge) => "discharge",
        }
    }

    /// The one of a word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|wanted| wanted.word() == word)
    }
}

/// What came of asking for a summary.
#[derive(Debug, Clone)]
pub enum SummaryAnswer {
    /// It.
    Summary(Summary),
    /// No session of this name is kept here.
    NotKept,
    /// Sessions of several people have this name; nobody's findings may stand under another's.
    SeveralPeople,
    /// Every session of the person was withdrawn.
    AllWithdrawn,
    /// The content of the session, or of every session of its person, was purged.
    Purged,
}

/// The summary of a session, or of the sessions of its person. The person is named by one of their
/// sessions, so that no identifier of a person stands on a command line or in an address.
///
/// # Errors
/// [`OutboxError`] when the store does not answer.
pub async fn kept(
    outbox: &Outbox,
    catalogue: &Catalogue,
    session: Uuid,
    wanted: Wanted,
    today: NaiveDate,
) -> Result<SummaryAnswer, OutboxError> {
    let subjects = outbox.subjects_of(session).await?;
    let [subject] = subjects.as_slice() else {
        return Ok(if subjects.is_empty() {
            SummaryAnswer::NotKept
        } else {
            SummaryAnswer::SeveralPeople
        });
    };
    let of_person = outbox.of_subject(subject).await?;
    let purged = of_person.purged.len();
    let sessions = again(&of_person, catalogue)?;
    let (of_it, standing): (Vec<&Assessed>, Vec<&Assessed>) = (
        sessions
            .iter()
            .filter(|one| one.session.id == session)
            .collect(),
        sessions
            .iter()
            .filter(|one| !one.session.withdrawn)
            .collect(),
    );
    Ok(match wanted {
        Wanted::Session => match of_it.as_slice() {
            [] if of_person.purged.contains(&session) => SummaryAnswer::Purged,
            [] => SummaryAnswer::NotKept,
            [one, ..] => SummaryAnswer::Summary(of_session(&one.examined(), catalogue)),
        },
        Wanted::Person(_) if standing.is_empty() && purged > 0 => SummaryAnswer::Purged,
        Wanted::Person(_) if standing.is_empty() => SummaryAnswer::AllWithdrawn,
        Wanted::Person(view) => {
            let examined: Vec<Examined<'_>> = standing.iter().map(|one| one.examined()).collect();
            SummaryAnswer::Summary(collect(&examined, purged, view, today, catalogue))
        }
    })
}

/// Where the first finding stands that the tables do not know: a summary without it would be read as if
/// it were whole.
fn not_measured(one: &Assessed) -> Option<String> {
    let mut findings = one.session.findings.iter();
    let known = |id| one.measured.iter().any(|it| it.finding.id == id);
    let missing = findings.find(|finding| !known(finding.id));
    missing.map(|finding| finding.path.clone())
}

/// Takes kept documents the pure way once more, the earliest first; each held when it was accepted. What
/// purged sessions state of precautions stood before them.
fn again(of_person: &OfSubject, catalogue: &Catalogue) -> Result<Vec<Assessed>, Unread> {
    let mut standing: Vec<Precaution> = Vec::new();
    for stated in &of_person.precautions {
        let stated = stated_precaution(stated)?;
        standing.retain(|earlier| earlier.id != stated.id);
        standing.push(stated);
    }
    let mut before: Vec<EarlierSession> = Vec::new();
    let mut sessions = Vec::new();
    for document in &of_person.documents {
        let session = document.read(understood)?;
        let one = once_more(session, &standing, &before, catalogue);
        if let Some(path) = not_measured(&one) {
            return Err(document.unread(NotRead::Tables { path }));
        }
        if !one.session.withdrawn {
            for stated in one.session.precautions.iter().filter(|it| !it.carried) {
                standing.retain(|earlier| earlier.id != stated.id);
                let stands = stated.lifted.is_none() && stated.status != "entered-in-error";
                standing.extend(stands.then(|| stated.clone()));
            }
            before.insert(0, earlier::of_session(&one.session, &one.measured));
            before.truncate(earlier::SESSIONS);
        }
        sessions.push(one);
    }
    Ok(sessions)
}

fn once_more(
    session: Session,
    standing: &[Precaution],
    before: &[EarlierSession],
    catalogue: &Catalogue,
) -> Assessed {
    let mut told_before = Problems::new();
    crate::examination::finding::own_words::again(&session, &mut told_before);
    let earlier = Earlier {
        precautions: standing.to_vec(),
        sessions: before.to_vec(),
        ..Earlier::default()
    };
    let confirming = Confirming::Before;
    let (assessed, _told_before) = assess(session, &earlier, confirming, told_before, catalogue);
    assessed
}

/// A summary for machines: its sections, each line with the identifiers of what it tells of.
pub fn shown(summary: &Summary) -> Node {
    let sections = summary.sections.iter().map(|section| {
        let lines = section.lines.iter().map(line);
        object([
            ("code", text(section.code)),
            ("title", text(section.title.clone())),
            ("lines", Node::List(lines.collect())),
        ])
    });
    object([
        ("title", text(summary.title.open().clone())),
        ("sections", Node::List(sections.collect())),
        ("text", text(summary.text())),
    ])
}

fn line(line: &Line) -> Node {
    let about = line.about.iter().map(|one| {
        let identifier = identifier_of(&one.source, one.session, one.id, one.role);
        text(format!("urn:uuid:{identifier}"))
    });
    object([
        ("words", text(line.words.open().clone())),
        ("about", Node::List(about.collect())),
    ])
}
