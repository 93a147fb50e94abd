//! What people said in their own words about a session.

use crate::base::code::Code;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::around::Around;
use crate::examination::finding::items::{readable, uuid};
use crate::examination::finding::performers::must_be_performer;
use crate::examination::finding::{Session, Written, identity, times};
use crate::examination::intake::draft::Draft;
use crate::examination::intake::own_words::{
    GoalDraft, GoalStateDraft, HandlingStepDraft, ToldDraft,
};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use uuid::Uuid;

/// One thing a person said in their own words. Software fills none of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Statement {
    /// JSON Pointer of it.
    pub path: String,
    /// Identity, kept through every correction.
    pub id: Uuid,
    /// The words.
    pub words: Private<String>,
    /// What kind of statement it is, with what belongs to it.
    pub says: Says,
    /// True when a correction withdraws it.
    pub withdrawn: bool,
}

/// The kinds of statement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Says {
    /// What the therapist makes of the findings.
    Conclusion,
    /// What matters most to the person.
    Priority,
    /// What is to be reached.
    Goal {
        /// Day by which, where one was set.
        target: Option<NaiveDate>,
        /// With whom it was agreed.
        agreed_with: Private<String>,
        /// What became of it, where somebody says so.
        state: Option<GoalState>,
    },
    /// One step of handling.
    HandlingStep {
        /// Place in the order, from 1; withdrawn steps count no place.
        number: u32,
        /// Who wrote it: a key of the performers.
        author: String,
        /// Day it is to be reviewed.
        review: NaiveDate,
    },
    /// What is asked of somebody else.
    Recommendation {
        /// Of whom.
        to: Private<String>,
    },
    /// What was passed on.
    Told {
        /// The prompt it is about.
        prompt: Option<ToldPrompt>,
        /// To whom.
        to: Private<String>,
        /// When.
        at: Written,
        /// How.
        how: Private<String>,
    },
}

/// What became of a goal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GoalState {
    /// A word of `goal-state`.
    pub is: String,
    /// Day on which that was seen.
    pub on: NaiveDate,
    /// In words.
    pub words: Private<String>,
}

/// A prompt that somebody passed on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToldPrompt {
    /// Its code.
    pub code: String,
    /// Its path in the document of its session.
    pub path: String,
    /// The earlier session it stands in; nothing for the session that tells of it.
    pub session: Option<Uuid>,
}

impl Says {
    /// The last part of the key of its measure.
    pub const fn key(&self) -> &'static str {
        match self {
            Self::Conclusion => "conclusion",
            Self::Priority => "priority",
            Self::Goal { .. } => "goal",
            Self::HandlingStep { .. } => "handling-step",
            Self::Recommendation { .. } => "recommendation",
            Self::Told { .. } => "told",
        }
    }
}

/// Tells again what asks for confirmation among the statements of a session that is kept.
pub fn again(session: &Session, problems: &mut Problems) {
    let examined = session.start.instant.date_naive();
    for one in session.statements.iter().filter(|one| !one.withdrawn) {
        if let Says::HandlingStep { review, .. } = &one.says {
            overdue(*review, examined, &format!("{}/review", one.path), problems);
        }
    }
}

fn overdue(review: NaiveDate, examined: NaiveDate, path: &str, problems: &mut Problems) {
    if review < examined {
        let what = format!("the review date {review} of a step of handling has passed");
        let hint = "ask its author whether it still holds, then give a new date or withdraw it";
        problems.caution(Code::HandlingOverdue, path, what, hint);
    }
}

pub(super) fn of(draft: &Draft, around: &Around<'_>, problems: &mut Problems) -> Vec<Statement> {
    let mut read = Reading {
        around,
        problems,
        statements: Vec::new(),
    };
    if let Some(one) = &draft.conclusion {
        let common = Common::new("/conclusion", 0, one.id.as_ref(), &one.words, one.withdrawn);
        read.keep(&common, Some(Says::Conclusion));
    }
    if let Some(one) = &draft.priority {
        let common = Common::new("/priority", 0, one.id.as_ref(), &one.words, one.withdrawn);
        read.keep(&common, Some(Says::Priority));
    }
    for (index, one) in readable(&draft.goals) {
        let common = Common::new("/goals", index, one.id.as_ref(), &one.words, one.withdrawn);
        let says = read.goal(&common, one);
        read.keep(&common, says);
    }
    let mut number = 0_u32;
    for (index, one) in readable(&draft.handling) {
        number = number.saturating_add(u32::from(!one.withdrawn));
        let common = Common::new(
            "/handling",
            index,
            one.id.as_ref(),
            &one.words,
            one.withdrawn,
        );
        let says = read.step(&common, number, one);
        read.keep(&common, says);
    }
    for (index, one) in readable(&draft.recommendations) {
        let id = one.id.as_ref();
        let common = Common::new("/recommendations", index, id, &one.words, one.withdrawn);
        let to = Private::new(one.to.clone());
        read.keep(&common, Some(Says::Recommendation { to }));
    }
    for (index, one) in readable(&draft.told) {
        let common = Common::new("/told", index, one.id.as_ref(), &one.words, one.withdrawn);
        let says = read.told(&common, one);
        read.keep(&common, says);
    }
    read.each_once();
    read.statements
}

/// What every statement has.
struct Common<'a> {
    list: &'static str,
    index: usize,
    id: Option<&'a String>,
    words: &'a str,
    withdrawn: bool,
}

impl<'a> Common<'a> {
    const fn new(
        list: &'static str,
        index: usize,
        id: Option<&'a String>,
        words: &'a str,
        withdrawn: bool,
    ) -> Self {
        Self {
            list,
            index,
            id,
            words,
            withdrawn,
        }
    }

    fn path(&self) -> String {
        // Of these there is one.
        if matches!(self.list, "/conclusion" | "/priority") {
            self.list.to_owned()
        } else {
            format!("{}/{}", self.list, self.index)
        }
    }
}

struct Reading<'a> {
    around: &'a Around<'a>,
    problems: &'a mut Problems,
    statements: Vec<Statement>,
}

impl Reading<'_> {
    /// Keeps a statement whose parts were read; of any other, what is wrong was told.
    fn keep(&mut self, common: &Common<'_>, says: Option<Says>) {
        let path = common.path();
        let given = common
            .id
            .and_then(|id| uuid(id, &format!("{path}/id"), self.problems));
        let id = given.unwrap_or_else(|| {
            let session = self.around.session.to_string();
            let place = common.index.to_string();
            identity::derive(&["statement", &session, common.list, &place])
        });
        self.statements.extend(says.map(|says| Statement {
            path,
            id,
            words: Private::new(common.words.to_owned()),
            says,
            withdrawn: common.withdrawn,
        }));
    }

    fn goal(&mut self, common: &Common<'_>, draft: &GoalDraft) -> Option<Says> {
        let path = format!("{}/target", common.path());
        let target = match draft.target.as_str() {
            "not set" => None,
            day => Some(times::day(day, &path, self.problems)?),
        };
        let examined = self.around.times.start.instant.date_naive();
        let open = draft.state.is_none() && !common.withdrawn;
        if let Some(day) = target.filter(|day| *day < examined && open) {
            let what = format!("the day {day} lies before the examination");
            let hint = "say in the conclusion whether it was reached, or agree on a new day";
            self.problems
                .note(Code::GoalTargetPassed, &path, what, hint);
        }
        Some(Says::Goal {
            target,
            agreed_with: Private::new(draft.agreed_with.clone()),
            state: match &draft.state {
                None => None,
                Some(state) => Some(self.goal_state(common, state)?),
            },
        })
    }

    fn goal_state(&mut self, common: &Common<'_>, draft: &GoalStateDraft) -> Option<GoalState> {
        let path = format!("{}/state/on", common.path());
        let on = times::day(&draft.on, &path, self.problems)?;
        let signed = self.around.times.signed.instant.date_naive();
        if on > signed {
            let what = format!("{on} is after the signing");
            let hint = "give the day on which it was seen; the signature covers it";
            self.problems.error(Code::GoalState, &path, what, hint);
        }
        Some(GoalState {
            is: draft.is.clone(),
            on,
            words: Private::new(draft.words.clone()),
        })
    }

    fn step(
        &mut self,
        common: &Common<'_>,
        number: u32,
        draft: &HandlingStepDraft,
    ) -> Option<Says> {
        let path = common.path();
        let (author, performers) = (&draft.author, self.around.performers);
        must_be_performer(author, &format!("{path}/author"), performers, self.problems);
        let path = format!("{path}/review");
        let review = times::day(&draft.review, &path, self.problems)?;
        let examined = self.around.times.start.instant.date_naive();
        if !common.withdrawn {
            overdue(review, examined, &path, self.problems);
        }
        Some(Says::HandlingStep {
            number,
            author: author.clone(),
            review,
        })
    }

    fn told(&mut self, common: &Common<'_>, draft: &ToldDraft) -> Option<Says> {
        let path = common.path();
        let at_path = format!("{path}/at");
        let at = times::instant(&draft.at, &at_path, self.problems)?;
        times::not_in_the_future(&at, &at_path, self.around.now, self.problems);
        if at.instant > self.around.times.signed.instant {
            let what = format!("{} is after the signing", at.text);
            let hint = "the signature covers it: tell of it in the next version of the session";
            self.problems.error(Code::ToldTime, &at_path, what, hint);
        }
        let prompt = match &draft.prompt {
            None => None,
            Some(prompt) => Some(ToldPrompt {
                code: prompt.code.clone(),
                path: prompt.path.clone(),
                session: match &prompt.session {
                    None => None,
                    Some(id) => Some(uuid(id, &format!("{path}/prompt/session"), self.problems)?),
                },
            }),
        };
        Some(Says::Told {
            prompt,
            to: Private::new(draft.to.clone()),
            at,
            how: Private::new(draft.how.clone()),
        })
    }

    fn each_once(&mut self) {
        let mut seen = BTreeMap::new();
        for one in &self.statements {
            if let Some(first) = seen.insert(one.id, &one.path) {
                let what = format!("the same id as {first}");
                let hint = "give each an id of its own, or leave it out";
                self.problems.error(Code::ListTwice, &one.path, what, hint);
            }
        }
    }
}
