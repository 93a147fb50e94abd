//! Words of the circumstances of a session.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::finding::Session;
use crate::examination::measure::{known_word, side_fits, site_is_known};
use crate::tables::catalogue::Catalogue;

const AT: &str = "/session/circumstances";

/// Adds every word that is in no list, and every side that a site does not have.
pub(super) fn words(session: &Session, catalogue: &Catalogue, problems: &mut Problems) {
    let said = &session.circumstances;
    for (list, word, field) in [
        ("handedness", &said.handedness, "handedness"),
        ("alertness", &said.alertness, "alertness"),
        (
            "ability-to-answer",
            &said.ability_to_answer,
            "ability_to_answer",
        ),
    ] {
        if let Some(word) = word {
            known_word(catalogue, list, word, &format!("{AT}/{field}"), problems);
        }
    }
    for (index, injection) in said.injections.iter().enumerate() {
        let path = format!("{AT}/injections/{index}");
        site_is_known(
            &injection.muscle,
            &format!("{path}/muscle"),
            catalogue,
            problems,
        );
        side_fits(
            &injection.muscle,
            injection.side,
            &path,
            catalogue,
            problems,
        );
    }
    for (index, injection) in said.injections.iter().enumerate() {
        let path = format!("{AT}/injections/{index}/muscle");
        is_muscle(&injection.muscle, &path, catalogue, problems);
    }
    for (index, splint) in said.splints.iter().enumerate() {
        let path = format!("{AT}/splints/{index}");
        site_is_known(&splint.site, &format!("{path}/site"), catalogue, problems);
        side_fits(&splint.site, splint.side, &path, catalogue, problems);
        known_word(
            catalogue,
            "splint-worn",
            &splint.worn,
            &format!("{path}/worn"),
            problems,
        );
    }
}

/// What is injected is a muscle: a group that a stretch lengthens, and no joint.
fn is_muscle(site: &str, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    let known = catalogue.sites.contains_key(site);
    if known && !catalogue.stretch_signs.contains_key(site) {
        let muscles: Vec<&str> = catalogue.stretch_signs.keys().map(String::as_str).collect();
        let what = format!("{site} is no muscle");
        let hint = format!("use one of {}", muscles.join(", "));
        problems.error(Code::CircumstancesMuscle, path, what, &hint);
    }
}
