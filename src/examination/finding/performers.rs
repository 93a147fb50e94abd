//! Whoever is named has to be one of the performers.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::finding::Performer;

/// Tells a key that no performer has.
pub(super) fn must_be_performer(
    key: &str,
    path: &str,
    performers: &[Performer],
    problems: &mut Problems,
) {
    if !performers.iter().any(|performer| performer.key == key) {
        let what = format!("{key} is no key of performers");
        problems.error(
            Code::ReferencePerformer,
            path,
            what,
            "name one of the performers",
        );
    }
}
