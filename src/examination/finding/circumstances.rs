//! What may change a finding from one day to the next.

use crate::base::code::Code;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::items::keys_once;
use crate::examination::finding::{Written, times};
use crate::examination::intake::circumstances::{
    CircumstancesDraft, EarlierStrokeDraft, InjectionDraft, MedicineDraft, NoneKnown, SplintDraft,
};
use crate::examination::intake::parts::Side;
use chrono::{DateTime, NaiveDate, Utc};

const AT: &str = "/session/circumstances";

/// Circumstances of a session; what is empty was not said.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Circumstances {
    /// A word of `handedness`.
    pub handedness: Option<String>,
    /// Earlier strokes in words, with year, month or day where known.
    pub earlier_strokes: Vec<(Private<String>, Option<String>)>,
    /// Medicines in words, with the time of the last dose where known.
    pub medicines: Vec<(Private<String>, Option<Written>)>,
    /// Injections into muscles.
    pub injections: Vec<Injection>,
    /// Splints.
    pub splints: Vec<Splint>,
    /// A word of `alertness`.
    pub alertness: Option<String>,
    /// A word of `ability-to-answer`.
    pub ability_to_answer: Option<String>,
    /// What was asked and looked up, and none is known.
    pub none_known: Vec<NoneKnown>,
}

/// An injection into a muscle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Injection {
    /// What, in words.
    pub words: Private<String>,
    /// Site of the muscle.
    pub muscle: String,
    /// Side.
    pub side: Side,
    /// Day.
    pub on: NaiveDate,
}

/// A splint.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Splint {
    /// Site.
    pub site: String,
    /// Side.
    pub side: Side,
    /// A word of `splint-worn`.
    pub worn: String,
}

pub(super) fn of(
    draft: Option<&CircumstancesDraft>,
    times: &times::Times,
    now: DateTime<Utc>,
    problems: &mut Problems,
) -> Circumstances {
    let Some(draft) = draft else {
        return Circumstances::default();
    };
    none_known_fits(draft, problems);
    let splints = draft.splints.iter().flatten();
    let worn: Vec<String> = splints
        .map(|splint| format!("{} {}", splint.side.word(), splint.site))
        .collect();
    let worn = worn.iter().map(String::as_str).enumerate();
    keys_once(&format!("{AT}/splints"), worn, problems);
    Circumstances {
        handedness: draft.handedness.clone(),
        earlier_strokes: each(draft.earlier_strokes.as_deref(), |index, stroke| {
            earlier_stroke(index, stroke, times, problems)
        }),
        medicines: each(draft.medicines.as_deref(), |index, medicine| {
            one_medicine(index, medicine, times, now, problems)
        }),
        injections: each(draft.injections.as_deref(), |index, injection| {
            one_injection(index, injection, times, problems)
        }),
        splints: each(draft.splints.as_deref(), |_, splint| {
            Some(one_splint(splint))
        }),
        alertness: draft.alertness.clone(),
        ability_to_answer: draft.ability_to_answer.clone(),
        none_known: draft.none_known.clone().unwrap_or_default(),
    }
}

fn each<D, T>(drafts: Option<&[D]>, mut read: impl FnMut(usize, &D) -> Option<T>) -> Vec<T> {
    let drafts = drafts.unwrap_or_default().iter().enumerate();
    drafts
        .filter_map(|(index, draft)| read(index, draft))
        .collect()
}

/// "None known" and a list of what is known cannot both hold.
fn none_known_fits(draft: &CircumstancesDraft, problems: &mut Problems) {
    for (index, said) in draft.none_known.iter().flatten().enumerate() {
        let listed = match said {
            NoneKnown::EarlierStrokes => draft.earlier_strokes.is_some(),
            NoneKnown::Medicines => draft.medicines.is_some(),
            NoneKnown::Injections => draft.injections.is_some(),
            NoneKnown::Splints => draft.splints.is_some(),
        };
        let earlier = draft.none_known.iter().flatten().take(index);
        if earlier.into_iter().any(|other| other == said) {
            let what = format!("{} stands here already", said.list());
            let path = format!("{AT}/none_known/{index}");
            problems.error(Code::ListTwice, &path, what, "keep one of them");
        }
        if listed {
            let list = said.list();
            let what = format!(
                "says that no {} are known, and lists some",
                list.replace('_', " ")
            );
            let path = format!("{AT}/none_known/{index}");
            let hint = format!("remove it here, or remove {list}");
            problems.error(Code::CircumstancesBoth, &path, what, &hint);
        }
    }
}

fn earlier_stroke(
    index: usize,
    draft: &EarlierStrokeDraft,
    times: &times::Times,
    problems: &mut Problems,
) -> Option<(Private<String>, Option<String>)> {
    if let Some(on) = &draft.on {
        let path = format!("{AT}/earlier_strokes/{index}/on");
        let whole = match on.len() {
            4 => format!("{on}-01-01"),
            7 => format!("{on}-01"),
            _ => on.clone(),
        };
        let day = times::day(&whole, &path, problems)?;
        not_after_the_session(day, times, &path, problems);
    }
    Some((Private::new(draft.words.clone()), draft.on.clone()))
}

fn one_medicine(
    index: usize,
    draft: &MedicineDraft,
    times: &times::Times,
    now: DateTime<Utc>,
    problems: &mut Problems,
) -> Option<(Private<String>, Option<Written>)> {
    let words = Private::new(draft.words.clone());
    if draft.last_dose == "not known" {
        return Some((words, None));
    }
    let path = format!("{AT}/medicines/{index}/last_dose");
    let dose = times::instant(&draft.last_dose, &path, problems)?;
    times::not_in_the_future(&dose, &path, now, problems);
    if dose.instant > times.end.instant {
        let what = format!("{} is after the end of the examination", dose.text);
        let hint = "give the last dose before or during the examination";
        problems.error(Code::CircumstancesTime, &path, what, hint);
    }
    Some((words, Some(dose)))
}

fn one_injection(
    index: usize,
    draft: &InjectionDraft,
    times: &times::Times,
    problems: &mut Problems,
) -> Option<Injection> {
    let path = format!("{AT}/injections/{index}/on");
    let on = times::day(&draft.on, &path, problems)?;
    not_after_the_session(on, times, &path, problems);
    Some(Injection {
        words: Private::new(draft.words.clone()),
        muscle: draft.muscle.clone(),
        side: draft.side,
        on,
    })
}

fn not_after_the_session(
    day: NaiveDate,
    times: &times::Times,
    path: &str,
    problems: &mut Problems,
) {
    if day > times.end.instant.date_naive() {
        let what = format!("{day} is after the examination");
        problems.error(Code::CircumstancesTime, path, what, "correct the day");
    }
}

fn one_splint(draft: &SplintDraft) -> Splint {
    Splint {
        site: draft.site.clone(),
        side: draft.side,
        worn: draft.worn.clone(),
    }
}
