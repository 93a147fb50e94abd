//! Which prompts somebody was told of, and which stay open.

use crate::finding::own_words::Says;
use crate::summary::across::of;
use crate::summary::{Examined, Line, Section, session};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A prompt as its session, code and path name it.
type Named = (Uuid, String, String);

/// Prompts that no statement says to have been passed on to anybody.
pub(super) fn open_prompts(sessions: &[Examined<'_>]) -> Section {
    let told: BTreeSet<Named> = sessions.iter().flat_map(passed_on).collect();
    let mut told_of = Vec::new();
    for one in sessions {
        let open = one.prompts.iter().filter(|prompt| {
            let named = (one.session.id, prompt.code.clone(), prompt.path.clone());
            !told.contains(&named)
        });
        let mut of_one: Vec<(bool, String)> = open
            .map(|prompt| {
                let words = format!("{} ({})", session::prompt(prompt, one), of(one));
                (!prompt.urgent, words)
            })
            .collect();
        of_one.sort();
        told_of.extend(of_one);
    }
    // What is urgent stands first, whenever it was raised.
    told_of.sort_by_key(|(later, _)| *later);
    let mut lines: Vec<Line> = told_of
        .into_iter()
        .map(|(_, words)| Line::plain(words))
        .collect();
    lines.push(Line::plain(if lines.is_empty() {
        "None: of every prompt it is recorded that it was passed on, or there was none. Whether \
         anybody acted on it is not known here."
    } else {
        "A prompt asks somebody to look and is no diagnosis: the treating team and local policy \
         come first."
    }));
    let title = "Prompts of which no record says that anybody was told";
    Section::new("open-prompts", title, lines)
}

fn passed_on(one: &Examined<'_>) -> Vec<Named> {
    let session = one.session;
    let statements = session.statements.iter().filter(|it| !it.withdrawn);
    statements
        .filter_map(|statement| match &statement.says {
            Says::Told {
                prompt: Some(prompt),
                ..
            } => Some((
                prompt.session.unwrap_or(session.id),
                prompt.code.clone(),
                prompt.path.clone(),
            )),
            Says::Told { .. }
            | Says::Conclusion
            | Says::Priority
            | Says::Goal { .. }
            | Says::HandlingStep { .. }
            | Says::Recommendation { .. } => None,
        })
        .collect()
}
