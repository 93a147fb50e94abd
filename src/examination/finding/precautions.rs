//! What limits the examination, as stated.

use crate::base::code::Code;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::items::{keys_once, readable, uuid};
use crate::examination::finding::{Precaution, times, value};
use crate::examination::intake::draft::{Draft, PrecautionDraft};
use chrono::{DateTime, Utc};

pub(super) fn precautions_are_stated(draft: &Draft, problems: &mut Problems) {
    let hint = "list each precaution, or write no_precautions: asked and looked up, none known";
    match (draft.precautions.is_empty(), draft.no_precautions.is_some()) {
        (true, false) => {
            let what = "nothing is said about precautions".to_owned();
            problems.error(Code::PrecautionsUnsaid, "/precautions", what, hint);
        }
        (false, true) => {
            let what = "lists precautions and says that none is known".to_owned();
            problems.error(Code::PrecautionsBoth, "/no_precautions", what, hint);
        }
        (true, true) | (false, false) => {}
    }
}

pub(super) fn precautions(draft: &Draft, problems: &mut Problems) -> Vec<Precaution> {
    keys_once(
        "/precautions",
        readable(&draft.precautions).map(|(index, precaution)| (index, precaution.id.as_str())),
        problems,
    );
    readable(&draft.precautions)
        .filter_map(|(index, precaution)| {
            one_precaution(precaution, &format!("/precautions/{index}"), problems)
        })
        .collect()
}

pub(super) fn one_precaution(
    draft: &PrecautionDraft,
    path: &str,
    problems: &mut Problems,
) -> Option<Precaution> {
    let mut optional_day = |text: &Option<String>, field: &str| {
        text.as_ref()
            .and_then(|text| times::day(text, &format!("{path}/{field}"), problems))
    };
    let set = Some(draft.set.clone()).filter(|set| set != "not known");
    let set = optional_day(&set, "set");
    let review = optional_day(&draft.review, "review");
    let end = optional_day(&draft.end, "end");
    let lifted_on = draft.lifted.as_ref().map(|lifted| lifted.on.clone());
    let lifted_on = optional_day(&lifted_on, "lifted/on");
    let angle = match &draft.angle {
        Some(text) => Some(value::digits(text, &format!("{path}/angle"), problems)?),
        None => None,
    };
    let lifted = draft.lifted.as_ref().zip(lifted_on);
    precaution_holds_together(draft, path, problems);
    Some(Precaution {
        path: path.to_owned(),
        id: uuid(&draft.id, &format!("{path}/id"), problems)?,
        site: draft.site.clone(),
        side: draft.side,
        status: draft.status.clone(),
        source: draft.source.clone(),
        limit: draft.limit.clone(),
        movement: draft.movement.clone(),
        angle,
        reason: Private::new(draft.reason.clone()),
        set,
        review,
        end,
        lifted: lifted.map(|(lifted, on)| (Private::new(lifted.by.clone()), on)),
        carried: false,
    })
}

fn precaution_holds_together(draft: &PrecautionDraft, path: &str, problems: &mut Problems) {
    if (draft.status == "lifted") != draft.lifted.is_some() {
        let what = "the status and the person who lifted it do not agree".to_owned();
        let hint =
            "with status lifted say in lifted who did it and on which day, else leave it out";
        problems.error(Code::PrecautionLifted, path, what, hint);
    }
    let beyond = draft.limit == "no-movement-beyond";
    if draft.movement.is_some() != beyond || draft.angle.is_some() != beyond {
        let what = "a limit by angle needs movement and angle, any other limit has neither";
        let hint = "give movement and angle with no-movement-beyond; where the angle is unknown \
                    write limit-unknown";
        problems.error(Code::PrecautionAngle, path, what.to_owned(), hint);
    }
}

/// The days of a precaution against each other, the examination and now.
pub(super) fn days_fit(
    precautions: &[Precaution],
    times: &times::Times,
    now: DateTime<Utc>,
    problems: &mut Problems,
) {
    let examined = times.start.instant.date_naive();
    for precaution in precautions {
        let path = &precaution.path;
        let mut refuse = |field: &str, what: String| {
            let hint = "correct the day";
            problems.error(Code::PrecautionDays, &format!("{path}/{field}"), what, hint);
        };
        if let Some(set) = precaution.set.filter(|set| *set > examined) {
            refuse("set", format!("set on {set}, after the examination"));
        }
        if let (Some(set), Some(end)) = (precaution.set, precaution.end)
            && end < set
        {
            refuse("end", format!("ends on {end}, before it was set"));
        }
        let lifted = precaution.lifted.as_ref().map(|(_, on)| *on);
        if let Some(on) = lifted.filter(|on| *on > now.date_naive()) {
            refuse(
                "lifted/on",
                format!("lifted on {on}, which lies in the future"),
            );
        }
        if let (Some(set), Some(on)) = (precaution.set, lifted)
            && on < set
        {
            refuse("lifted/on", format!("lifted on {on}, before it was set"));
        }
    }
}
