//! What the second form of a document says beside its findings: words of the visit and of goals, and how
//! something was felt.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::finding::own_words::Says;
use crate::examination::finding::{Finding, Outcome, Said, Session};
use crate::examination::intake::draft::DocumentVersion;
use crate::examination::intake::parts::Side;
use crate::examination::measure::known_word;
use crate::tables::catalogue::rows::Measure;
use crate::tables::catalogue::{Catalogue, SENSATION, VISIT};

/// Adds every word of the visit and of goals that is in no list.
pub(super) fn words(session: &Session, catalogue: &Catalogue, problems: &mut Problems) {
    if let Some(visit) = &session.visit {
        let path = "/session/visit/outcome";
        known_word(catalogue, VISIT, &visit.outcome, path, problems);
    }
    for one in &session.statements {
        if let Says::Goal {
            state: Some(state), ..
        } = &one.says
        {
            let path = format!("{}/state/is", one.path);
            known_word(catalogue, "goal-state", &state.is, &path, problems);
        }
    }
}

/// How something was felt is said absolutely; how it was felt beside something else is said apart.
pub(super) fn felt(
    finding: &Finding,
    row: &Measure,
    form: DocumentVersion,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let of_sensation = catalogue.sensation_of(row).is_some();
    let compared = match (&finding.outcome, &row.scale) {
        (Outcome::Found(Said::Word(word), _), Some(list)) if form > DocumentVersion::Session1 => {
            retired(finding, list, word, catalogue, problems);
            false
        }
        (Outcome::Found(Said::Relative(_), _), _) => true,
        (Outcome::Found(..) | Outcome::NotTested(_), _) => false,
    };
    let Some(said) = &finding.compared else {
        return;
    };
    let path = format!("{}/compared", finding.path);
    if !of_sensation {
        let what = format!("compared has no meaning for {}", row.measure);
        problems.error(
            Code::PartStray,
            &path,
            what,
            "remove it: it is for sensation",
        );
        return;
    }
    if compared {
        let what = "says in relative and in compared how the sides compare".to_owned();
        let hint =
            "say in sensation how it was felt here, and in compared how beside the other side";
        problems.error(Code::ComparedTwice, &path, what, hint);
    }
    if matches!(finding.outcome, Outcome::NotTested(_)) {
        let what = "was not tested, yet says how it was felt beside something else".to_owned();
        problems.error(
            Code::ComparedUntested,
            &path,
            what,
            "remove it, or give sensation",
        );
    }
    if said.beside == "other-side" && finding.side == Side::Middle {
        let what = "compared with the other side, but there is none".to_owned();
        let hint = "name in beside what it was compared with";
        problems.error(Code::ValueRelative, &format!("{path}/beside"), what, hint);
    }
    for (list, word, field) in [
        ("sensation-reference", &said.beside, "beside"),
        ("sensation-compared", &said.felt, "felt"),
    ] {
        known_word(catalogue, list, word, &format!("{path}/{field}"), problems);
    }
}

/// A word whose meaning changed keeps its code for what was recorded with it, and is used no more.
fn retired(
    finding: &Finding,
    list: &str,
    word: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let row = catalogue.word(list, word);
    let Some((row, day)) = row.and_then(|row| Some((row, row.retired_on?))) else {
        return;
    };
    let what = format!(
        "{word} of {list} means \"{}\", and was retired on {day}",
        row.label
    );
    let lists: Vec<&str> = catalogue
        .versions_of(list)
        .map(|one| one.list.as_str())
        .collect();
    let hint = if lists.contains(&SENSATION) {
        "say in sensation how it was felt, and in compared how beside the other side"
    } else {
        "use a word that stands"
    };
    let path = format!("{}/value/word", finding.path);
    problems.error(Code::WordRetired, &path, what, hint);
}
