//! Prompts in words.

use crate::examination::measure::Measured;
use crate::fhir::summary::words::{capital, one_line, quoted};
use crate::fhir::summary::{Examined, Prompt};

/// What is said once at the head of all prompts.
pub(super) const A_PROMPT: &str = "A prompt asks somebody to look and is no diagnosis; local policy and the \
     treating team come first.";

/// A prompt in one line, with the finding it is about and what to do.
pub(super) fn prompt(prompt: &Prompt, one: &Examined<'_>) -> String {
    let urgent = if prompt.urgent {
        "To reach the treating team at once: "
    } else {
        ""
    };
    let mut line = format!("{urgent}{}", asked(prompt, one));
    line.extend(prompt.to_do.iter().flat_map(|to_do| ["; ", to_do]));
    if let Some((role, reason)) = &prompt.confirmed {
        line.extend(["; seen by ", role, ", who says: ", &quoted(reason)]);
    }
    line.push('.');
    line
}

/// What a prompt asks, in its own words, with the finding it is about.
pub(super) fn asked(prompt: &Prompt, one: &Examined<'_>) -> String {
    let of = |measured: &&Measured| {
        let path = measured.finding.path.as_str();
        let rest = prompt.path.strip_prefix(path);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    let what = one_line(prompt.what.open());
    // A check names the measure by its key, which is nothing for a reader. Of the two findings of a plane
    // it tells which one it is about.
    let key = |measured: &Measured| format!("{}: ", measured.row.measure);
    let named = |measured: &&Measured| of(measured) && what.starts_with(&key(measured));
    let first = || one.measured.iter().find(of);
    let Some(measured) = one.measured.iter().find(named).or_else(first) else {
        return what;
    };
    let what = what.strip_prefix(&key(measured)).unwrap_or(&what);
    let side = capital(measured.finding.side.word());
    format!("{side}, {}: {what}", measured.row.label)
}
