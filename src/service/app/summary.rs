//! The summary of what is kept: one session, or all of one person for a handover or a discharge.

use crate::base::json::{Node, object, text};
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::read::OfSubject;
use crate::delivery::outbox::{Outbox, OutboxError};
use crate::examination::compare::Comparison;
use crate::examination::compare::part::EarlierSession;
use crate::examination::finding::{Precaution, Session};
use crate::examination::intake::kept::NotRead;
use crate::examination::measure::Measured;
use crate::fhir::coding::Coded;
use crate::fhir::record::identifier_of;
use crate::fhir::summary::across::{View, collect};
use crate::fhir::summary::{Examined, Line, Prompt, Summary, of_session};
use crate::service::app::earlier;
use crate::service::app::encode::{Earlier, carry, confirm};
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
pub enum Asked {
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
) -> Result<Asked, OutboxError> {
    let subjects = outbox.subjects_of(session).await?;
    let [subject] = subjects.as_slice() else {
        return Ok(if subjects.is_empty() {
            Asked::NotKept
        } else {
            Asked::SeveralPeople
        });
    };
    let of_person = outbox.of_subject(subject).await?;
    let purged = of_person.purged.len();
    let sessions = again(&of_person, catalogue)?;
    let (of_it, standing): (Vec<&Again>, Vec<&Again>) = (
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
            [] if of_person.purged.contains(&session) => Asked::Purged,
            [] => Asked::NotKept,
            [one, ..] => Asked::Summary(of_session(&one.examined(), catalogue)),
        },
        Wanted::Person(_) if standing.is_empty() && purged > 0 => Asked::Purged,
        Wanted::Person(_) if standing.is_empty() => Asked::AllWithdrawn,
        Wanted::Person(view) => {
            let examined: Vec<Examined<'_>> = standing.iter().map(|one| one.examined()).collect();
            Asked::Summary(collect(&examined, purged, (view, today), catalogue))
        }
    })
}

/// A kept session, understood once more.
struct Again {
    session: Session,
    measured: Vec<Measured>,
    coded: Vec<Coded>,
    comparisons: Vec<Comparison>,
    prompts: Vec<Prompt>,
}

impl Again {
    /// Where the first finding stands that the tables do not know: a summary without it would be read
    /// as if it were whole.
    fn not_measured(&self) -> Option<String> {
        let mut findings = self.session.findings.iter();
        let known = |id| self.measured.iter().any(|one| one.finding.id == id);
        let missing = findings.find(|finding| !known(finding.id));
        missing.map(|finding| finding.path.clone())
    }

    fn examined(&self) -> Examined<'_> {
        Examined {
            session: &self.session,
            measured: &self.measured,
            coded: &self.coded,
            comparisons: &self.comparisons,
            prompts: &self.prompts,
        }
    }
}

/// Takes kept documents the pure way once more, the earliest first; each held when it was accepted. What
/// purged sessions state of precautions stood before them.
fn again(of_person: &OfSubject, catalogue: &Catalogue) -> Result<Vec<Again>, Unread> {
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
        if let Some(path) = one.not_measured() {
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
    mut session: Session,
    standing: &[Precaution],
    before: &[EarlierSession],
    catalogue: &Catalogue,
) -> Again {
    let mut told_before = Problems::new();
    let earlier = Earlier {
        precautions: standing.to_vec(),
        ..Earlier::default()
    };
    carry(&mut session, &earlier, &mut told_before);
    crate::examination::finding::own_words::again(&session, &mut told_before);
    let measured = crate::examination::measure::measure(&session, catalogue, &mut told_before);
    crate::examination::measure::sense::check(&session, &measured, catalogue, &mut told_before);
    let raised = crate::examination::measure::prompts::of(
        &session,
        &measured,
        &earlier::last_time(before),
        catalogue,
    );
    let mut prompts = crate::fhir::summary::raised(&raised, catalogue);
    prompts.extend(confirm(&mut session, &mut told_before));
    prompts.extend(no_longer_raised(&session, &prompts));
    let comparisons = crate::examination::compare::all(&session, &measured, before, catalogue);
    let recorded = crate::examination::measure::traces::traces(
        &session,
        &measured,
        catalogue,
        &mut told_before,
    );
    let traces = crate::examination::trace::session::traces(
        &recorded,
        &measured,
        catalogue,
        &mut told_before,
    );
    let mut coded =
        crate::fhir::coding::code(&session, &measured, &comparisons, &traces, catalogue);
    crate::fhir::coding::prompts::attach(&mut coded, &raised);
    Again {
        session,
        measured,
        coded,
        comparisons,
        prompts,
    }
}

/// A caution that was confirmed and that the tables of today do not raise stays a prompt: with other
/// tables it was one, and nobody has answered it since.
fn no_longer_raised(session: &Session, raised: &[Prompt]) -> Vec<Prompt> {
    let confirmations = session.confirmations.iter();
    let is_raised = |code: &str, path: &str| {
        raised
            .iter()
            .any(|prompt| prompt.code == code && prompt.path == path)
    };
    confirmations
        .filter(|one| !is_raised(&one.code, &one.path))
        .map(|one| {
            let by = session.performers.iter().find(|it| it.key == one.by);
            let role = by.map(|by| by.role.clone()).unwrap_or_default();
            let what = format!("a caution named {}", one.code);
            Prompt {
                code: one.code.clone(),
                path: one.path.clone(),
                what: Private::new(what),
                to_do: None,
                urgent: false,
                confirmed: Some((role, one.reason.clone())),
            }
        })
        .collect()
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
