//! One assessment for what is sent and what is told: measured, held against sense, confirmed, compared, coded.

use crate::base::code::Code;
use crate::base::code::meaning::Severity;
use crate::base::problem::{Problem, Problems};
use crate::examination::compare::part::EarlierSession;
use crate::examination::compare::{self, Comparison};
use crate::examination::finding::own_words::Says;
use crate::examination::finding::traces::Trace;
use crate::examination::finding::{Finding, Outcome, Precaution, Said, Session};
use crate::examination::measure::prompt::Prompt;
use crate::examination::measure::{self, Measured};
use crate::examination::trace::{self, session::Traces};
use crate::fhir::coding::{self, Coded};
use crate::fhir::record::amend::VersionBefore;
use crate::fhir::summary::{self, Examined};
use crate::service::app::confirmed::{Confirming, confirm};
use crate::service::app::earlier;
use crate::tables::catalogue::{Catalogue, sha256_hex};
use std::collections::{BTreeMap, BTreeSet};

/// What earlier sessions hand on.
#[derive(Debug, Clone, Default)]
pub struct Earlier {
    /// Precautions of the person that nobody has lifted.
    pub precautions: Vec<Precaution>,
    /// The version before, when this is a later version of one session.
    pub version_before: VersionBefore,
    /// Sessions of the person before this one, the latest first.
    pub sessions: Vec<EarlierSession>,
}

/// A session as far as it can be assessed: measured, held against sense, compared and coded. What is
/// accepted and what is kept both go this way, so that they say the same.
#[derive(Debug)]
pub(super) struct Assessed {
    pub(super) session: Session,
    pub(super) measured: Vec<Measured>,
    pub(super) prompts: Vec<Prompt>,
    pub(super) to_look: Vec<summary::Prompt>,
    pub(super) comparisons: Vec<Comparison>,
    pub(super) traces: Traces,
    pub(super) coded: Vec<Coded>,
}

impl Assessed {
    pub(super) fn examined(&self) -> Examined<'_> {
        Examined {
            session: &self.session,
            measured: &self.measured,
            coded: &self.coded,
            comparisons: &self.comparisons,
            prompts: &self.to_look,
        }
    }
}

/// Assesses a session, against what earlier ones hand on.
pub(super) fn assess(
    mut session: Session,
    earlier: &Earlier,
    confirming: Confirming,
    mut problems: Problems,
    catalogue: &Catalogue,
) -> (Assessed, Problems) {
    carry(&mut session, earlier, &mut problems);
    let measured = measure::measure(&session, catalogue, &mut problems);
    measure::sense::check(&session, &measured, catalogue, &mut problems);
    in_notation(&session, &mut problems);
    let recorded = measure::traces::traces(&session, &measured, catalogue, &mut problems);
    let traces = trace::session::traces(&recorded, &measured, catalogue, &mut problems);
    let prompts = {
        let last_time = earlier::last_time(&earlier.sessions);
        measure::prompts::of(&session, &measured, &last_time, catalogue)
    };
    measure::prompts::tell(&prompts, &mut problems);
    told_prompts(&session, &prompts, &mut problems);
    give_marks(&session, &mut problems);
    let mut to_look = summary::raised(&prompts, catalogue);
    to_look.extend(confirm(&mut session, confirming, &mut problems));
    let comparisons = compare::all(&session, &measured, &earlier.sessions, catalogue);
    let mut coded = coding::code(&session, &measured, &comparisons, &traces, catalogue);
    coding::prompts::attach(&mut coded, &prompts);
    let assessed = Assessed {
        session,
        measured,
        prompts,
        to_look,
        comparisons,
        traces,
        coded,
    };
    (assessed, problems)
}

/// Gives each caution its mark: a hash over the session, the caution, and every finding that it is told
/// of with what was found. Whatever of it changes, the confirmation ends. Cautions of one cause are told
/// of all their findings together, so they have one mark, and one confirmation covers them.
fn give_marks(session: &Session, problems: &mut Problems) {
    let mut together: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for caution in problems
        .cautions()
        .iter()
        .filter(|one| !one.cause.is_empty())
    {
        let paths = together.entry(caution.cause.clone()).or_default();
        paths.insert(caution.path.clone());
    }
    problems.refine(|mut problem| {
        if problem.severity == Severity::Caution {
            let alone = BTreeSet::from([problem.path.clone()]);
            let paths = together.get(&problem.cause).unwrap_or(&alone);
            problem.mark = mark_of(session, &problem, paths);
            if paths.len() > 1 {
                let all: Vec<&str> = paths.iter().map(String::as_str).collect();
                let all = all.join(", ");
                problem
                    .hint
                    .push_str("; one confirmation of this mark covers ");
                problem.hint.push_str(&all);
            }
        }
        Some(problem)
    });
}

fn mark_of(session: &Session, problem: &Problem, paths: &BTreeSet<String>) -> String {
    let touches = |path: &str| {
        paths.iter().any(|told| {
            let rest = told.strip_prefix(path);
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        })
    };
    let findings = session.findings.iter();
    let findings = findings.filter(|one| touches(&one.path));
    let together = !problem.cause.is_empty();
    let mut values: Vec<[String; 2]> = findings
        .map(|one| {
            // The words of a caution of its own say what was examined; those of a cause do not.
            let what = if together {
                examined(one)
            } else {
                String::new()
            };
            [one.id.to_string(), what + &content(one)]
        })
        .collect();
    let traces = session.traces.iter().filter(|one| touches(&one.path));
    values.extend(traces.map(|one| [one.id.to_string(), recorded(one)]));
    values.sort();
    let code = problem.code.word().to_owned();
    let parts = if problem.cause.is_empty() {
        [code, problem.path.clone(), problem.what.clone()]
    } else {
        // Where its findings stand is no part of it: another order of them says the same.
        [code, String::new(), problem.cause.clone()]
    };
    let all = std::iter::once(session.id.to_string()).chain(parts);
    let all: Vec<String> = all.chain(values.into_iter().flatten()).collect();
    let mut hashed = String::new();
    for part in all {
        // Each with its length, so that no two lists are written alike.
        hashed.push_str(&part.len().to_string());
        hashed.push(':');
        hashed.push_str(&part);
    }
    let mut mark = sha256_hex(hashed.as_bytes());
    mark.truncate(8);
    mark
}

/// What was recorded of a stretch, in one text that differs wherever it does.
fn recorded(trace: &Trace) -> String {
    let angles = trace.angles.open().iter().map(ToString::to_string);
    let angles: Vec<String> = angles.collect();
    let (measure, side, positive) = (&trace.measure, trace.side.word(), &trace.positive);
    format!("{measure} {side} {positive} {}", angles.join(" "))
}

/// What was examined, and how, in one text that differs wherever it does.
fn examined(finding: &Finding) -> String {
    let optional = |text: &Option<String>| text.clone().unwrap_or_default();
    let neighbour = finding.neighbour.clone().unwrap_or_default();
    let parts = [
        finding.measure.clone(),
        finding.side.word().to_owned(),
        finding.position.clone(),
        neighbour.0,
        neighbour.1,
        optional(&finding.condition),
        finding.method.clone(),
    ];
    parts.join(" ") + ": "
}

/// What a finding says: what was found, and how that was felt beside something else. Who examined it
/// and the shorthand it came from are no part of it: they change nothing that was found.
fn content(finding: &Finding) -> String {
    let found = found(&finding.outcome);
    match &finding.compared {
        Some(compared) => format!("{found} beside {} {}", compared.beside, compared.felt),
        None => found,
    }
}

/// What was found, in one text that differs wherever it does.
fn found(outcome: &Outcome) -> String {
    let plain = |kind: &str, words: &[&str]| format!("{kind} {}", words.join(" "));
    let optional = |text: &Option<String>| text.clone().unwrap_or_default();
    match outcome {
        Outcome::NotTested(reason) => plain("not-tested", &[reason]),
        Outcome::Found(said, ending) => {
            let said = match said {
                Said::Beyond(angle, unit) => {
                    plain("beyond", &[&angle.to_string(), &optional(unit)])
                }
                Said::Lacks(angle, unit) => plain("lacks", &[&angle.to_string(), &optional(unit)]),
                Said::Fixed(angle, side, unit) => {
                    plain("fixed", &[&angle.to_string(), side, &optional(unit)])
                }
                Said::Unordered(numbers) => format!("unordered {numbers:?}"),
                Said::Grade(grade, version) => plain("grade", &[grade, &optional(version)]),
                Said::Word(word) => plain("word", &[word]),
                Said::Sensation(word) => plain("sensation", &[word]),
                Said::Score(score, unit) => plain("score", &[&score.to_string(), &optional(unit)]),
                Said::Amount(amount, unit) => {
                    plain("amount", &[&amount.to_string(), &optional(unit)])
                }
                Said::Relative(word) => plain("relative", &[word]),
                Said::NoCatch => "no-catch".to_owned(),
            };
            let ending = ending.as_ref().map_or("", |ending| ending.how.as_str());
            format!("{said} {ending}")
        }
    }
}

/// A precaution stays until a named person lifts it, whether a later session speaks of it or not.
fn carry(session: &mut Session, earlier: &Earlier, problems: &mut Problems) {
    for precaution in &earlier.precautions {
        if session
            .precautions
            .iter()
            .any(|stated| stated.id == precaution.id)
        {
            continue;
        }
        if session.none_known {
            let what = "says that none is known, but an earlier one was never lifted".to_owned();
            let hint = "state it again, or with status lifted, by whom and on which day";
            problems.error(Code::PrecautionsStillActive, "/no_precautions", what, hint);
        } else {
            let what = "an earlier precaution that was not lifted is carried over".to_owned();
            let hint = "state it again, or with status lifted, by whom and on which day";
            problems.note(Code::PrecautionCarried, "/precautions", what, hint);
        }
        let path = "/precautions".to_owned();
        session.precautions.push(Precaution {
            path,
            carried: true,
            ..precaution.clone()
        });
    }
}

/// What is told of the value of a direction stands at the plane it was written in.
fn in_notation(session: &Session, problems: &mut Problems) {
    let planes = session.findings.iter().filter(|one| one.notation.is_some());
    let values: BTreeSet<String> = planes.map(|one| format!("{}/value", one.path)).collect();
    problems.refine(|mut problem| {
        let part = problem.path.rsplit_once('/').map(|(part, _)| part);
        let told = values.contains(&problem.path) || part.is_some_and(|part| values.contains(part));
        if told && !problem.path.ends_with("/value/unit") {
            let path = part
                .filter(|part| values.contains(*part))
                .unwrap_or(&problem.path);
            problem.path = format!("{path}/notation");
        }
        Some(problem)
    });
}

/// The mark of a problem as it is printed. That of a caution names session, caution and what was found,
/// so that a confirmation confirms this content and no other; anything else has one to be told apart by.
pub fn mark(problem: &Problem) -> String {
    if !problem.mark.is_empty() {
        return problem.mark.clone();
    }
    let parts = [problem.code.word(), &problem.path, &problem.what];
    let mut mark = sha256_hex(parts.join("\n").as_bytes());
    mark.truncate(8);
    mark
}

/// What was passed on about a prompt of this session names one that there is.
fn told_prompts(session: &Session, prompts: &[Prompt], problems: &mut Problems) {
    let named = session.statements.iter().filter_map(|one| match &one.says {
        Says::Told {
            prompt: Some(prompt),
            ..
        } if !one.withdrawn && prompt.session.is_none_or(|of| of == session.id) => {
            Some((&one.path, prompt))
        }
        Says::Told { .. }
        | Says::Conclusion
        | Says::Priority
        | Says::Goal { .. }
        | Says::HandlingStep { .. }
        | Says::Recommendation { .. } => None,
    });
    for (path, prompt) in named {
        let is_it = |one: &Prompt| one.code == prompt.code && one.path == prompt.path;
        if prompts.iter().any(is_it) || problems.has_caution(&prompt.code, &prompt.path) {
            continue;
        }
        let what = format!("no prompt {} at {}", prompt.code, prompt.path);
        let hint = "take code and path from the prompt as it is printed now, or name its session";
        problems.error(Code::ToldPrompt, &format!("{path}/prompt"), what, hint);
    }
}
