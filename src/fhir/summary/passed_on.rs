//! Which prompts somebody was told of, and which stay open.

use crate::examination::finding::own_words::{Says, Statement};
use crate::fhir::summary::words::of;
use crate::fhir::summary::{Examined, Line, Section, asked};
use crate::tables::catalogue::Catalogue;
use std::collections::BTreeSet;
use uuid::Uuid;

/// A prompt as its session, code and path name it.
type PromptName = (Uuid, String, String);

/// Prompts that no statement says to have been passed on to anybody.
pub(super) fn open_prompts(sessions: &[Examined<'_>]) -> Section {
    let told: BTreeSet<PromptName> = sessions.iter().flat_map(passed_on).collect();
    let mut told_of = Vec::new();
    for one in sessions {
        let open = one.prompts.iter().filter(|prompt| {
            let named = (one.session.id, prompt.code.clone(), prompt.path.clone());
            !told.contains(&named)
        });
        let mut of_one: Vec<(bool, String)> = open
            .map(|prompt| {
                let words = format!("{} ({})", asked::prompt(prompt, one), of(one));
                (!prompt.urgent, words)
            })
            .collect();
        of_one.sort();
        told_of.extend(of_one);
    }
    // What is urgent stands first, whenever it was raised.
    told_of.sort_by_key(|(later, _)| *later);
    let mut lines = vec![Line::plain(if told_of.is_empty() {
        "None: of every prompt it is recorded that it was passed on, or there was none. Whether \
         anybody acted on it is not known here."
    } else {
        asked::A_PROMPT
    })];
    lines.extend(told_of.into_iter().map(|(_, words)| Line::plain(words)));
    let title = "Prompts of which no record says that anybody was told";
    Section::new("open-prompts", title, lines)
}

/// The prompt that was passed on, in its own words: as its session raised it, or as the tables word it
/// where that session is not at hand.
pub(super) fn about(
    statement: &Statement,
    one: &Examined<'_>,
    sessions: &[Examined<'_>],
    catalogue: &Catalogue,
) -> Option<String> {
    let Says::Told {
        prompt: Some(told), ..
    } = &statement.says
    else {
        return None;
    };
    let of = told.session.unwrap_or(one.session.id);
    let there = sessions.iter().find(|it| it.session.id == of);
    let raised = there.and_then(|there| {
        let mut prompts = there.prompts.iter();
        let raised = prompts.find(|it| it.code == told.code && it.path == told.path)?;
        Some(asked::asked(raised, there))
    });
    let row = || catalogue.cautions.get(&told.code);
    let worded = || row().map(|row| row.wording.clone());
    let named = || format!("a caution named {}", told.code);
    Some(raised.or_else(worded).unwrap_or_else(named))
}

fn passed_on(one: &Examined<'_>) -> Vec<PromptName> {
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
