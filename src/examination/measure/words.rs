//! Words and measures as the tables have them: what is in none is told with what there is.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::intake::draft::DocumentVersion;
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::parts::in_family;

/// Tells a measure that is none; one that leaves open what further keys say is told with them, such
/// as a girth without its landmark.
pub(super) fn no_measure(
    measure: &str,
    path: &str,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let path = format!("{path}/measure");
    let keys = catalogue.measures.keys();
    let longer: Vec<&str> = keys
        .map(String::as_str)
        .filter(|key| *key != measure && measure.contains('.') && in_family(key, measure))
        .collect();
    if longer.is_empty() {
        let what = format!("{measure} is no measure that can be entered");
        let hint = "use a key of profiles/measures.csv";
        problems.error(Code::MeasureUnknown, &path, what, hint);
    } else {
        let what = format!("{measure} leaves open where or how it was taken");
        let hint = format!("write one of {}", longer.join(", "));
        problems.error(Code::MeasureOpen, &path, what, &hint);
    }
}

/// Tells a word that is not in its list.
pub(super) fn known_word(
    catalogue: &Catalogue,
    list: &str,
    word: &str,
    path: &str,
    problems: &mut Problems,
) -> bool {
    let form = DocumentVersion::LATEST;
    Words { form, catalogue }.hold(list, word, path, problems)
}

/// The words that a form of the document has.
pub(super) struct Words<'a> {
    pub(super) form: DocumentVersion,
    pub(super) catalogue: &'a Catalogue,
}

impl Words<'_> {
    /// Tells a word that is not in its list, or that only a later form of the document has.
    pub(super) fn hold(&self, list: &str, word: &str, path: &str, problems: &mut Problems) -> bool {
        let row = self.catalogue.word(list, word);
        let later = |since: u32| since > self.form.number();
        if let Some(since) = row
            .and_then(|row| row.since_form)
            .filter(|since| later(*since))
        {
            let what = format!(
                "{word} needs session/{since}: the form that this document names has no such word"
            );
            let hint = format!("write session/{since} in fascicle, or use another word");
            problems.error(Code::WordNewer, path, what, &hint);
            return false;
        }
        let known = row.is_some();
        if !known {
            let rows = self.catalogue.scales.get(list);
            let rows = rows.into_iter().flat_map(|scale| &scale.rows);
            let words: Vec<&str> = rows
                .filter(|row| !row.since_form.is_some_and(later))
                .map(|row| row.code.as_str())
                .collect();
            let what = format!("{word} is not in the list {list}");
            let hint = format!("use one of {}", words.join(", "));
            problems.error(Code::WordUnknown, path, what, &hint);
        }
        known
    }
}
