//! What a person should look at in a trace.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::trace::traced::Traced;
use crate::examination::trace::{Outcome, Reason};

pub(super) fn tell(one: &Traced, problems: &mut Problems) {
    let trace = &one.source.trace;
    let path = &trace.path;
    if trace.withdrawn {
        return;
    }
    if one.samples.resampled {
        let what = "sampled unevenly: what is sent is interpolated at even times".to_owned();
        let hint = "the samples as recorded are kept with the session";
        problems.note(Code::TraceResampled, &format!("{path}/times"), what, hint);
    }
    let reasons = one
        .computed
        .as_ref()
        .map(|computed| &computed.verdict.reasons);
    let reasons = reasons.or_else(|| one.motion.as_ref().err());
    if reasons.is_some_and(|reasons| reasons.contains(&Reason::WrongDirection)) {
        let what = "the angle runs in the direction in which the muscle shortens".to_owned();
        let hint = "look for a turned-round positive, side or muscle, or confirm it";
        problems.caution(
            Code::TraceDirection,
            &format!("{path}/positive"),
            what,
            hint,
        );
    }
    let Some(computed) = &one.computed else {
        nothing_to_accept(one, problems);
        return;
    };
    if computed.verdict.outcome == Outcome::NotDeterminable {
        let words = computed.verdict.reasons.iter().map(|reason| reason.word());
        let words: Vec<&str> = words.collect();
        let what = format!("nothing can be told of a catch: {}", words.join(", "));
        let hint = "what was felt stands; the reasons are explained in trace-reason.csv";
        problems.note(Code::TraceNotDeterminable, path, what, hint);
        nothing_to_accept(one, problems);
    }
    if let Some(differs) = &computed.differs {
        let hint =
            "both are kept: what was felt is the finding, what was computed stands beside it";
        problems.note(Code::TraceDiffers, path, differs.clone(), hint);
    }
}

fn nothing_to_accept(one: &Traced, problems: &mut Problems) {
    if one.source.trace.accepted.is_some() {
        let what = "accepted, yet nothing was computed that could be accepted".to_owned();
        let path = format!("{}/accepted", one.source.trace.path);
        problems.error(Code::TraceNothingAccepted, &path, what, "remove accepted");
    }
}
