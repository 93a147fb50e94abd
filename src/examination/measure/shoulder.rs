//! Whether the more affected shoulder was raised with care.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::Session;
use crate::examination::intake::draft::MoreAffectedSide;
use crate::examination::intake::parts::Side;
use crate::examination::measure::{Measured, Value, prompts};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::parts::in_family;

/// Asks about the more affected shoulder moved by another past the angle of the table, where no
/// finding of the session says that the scapula rotates upwards and the humerus laterally. Words in
/// a note do not count, because nobody can tell from a table what they say.
pub(super) fn past(
    one: &Measured,
    measured: &[Measured],
    session: &Session,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let Some(limit) = catalogue.plausibility.get("shoulder-past") else {
        return;
    };
    let affected = match session.more_affected {
        MoreAffectedSide::Left => one.finding.side == Side::Left,
        MoreAffectedSide::Right => one.finding.side == Side::Right,
        MoreAffectedSide::Both | MoreAffectedSide::NotKnown => true,
        MoreAffectedSide::Neither => false,
    };
    let raised = matches!(one.row.movement.as_deref(), Some("flexion" | "abduction"))
        && one.row.site.as_deref() == Some("shoulder");
    let by_another = matches!(one.row.mode.as_deref(), Some("passive" | "active-assisted"));
    let past = one.angle().is_some_and(|angle| angle.degrees() > *limit);
    if affected && raised && by_another && past && !with_care(one, measured, catalogue) {
        let what = format!(
            "{} past {limit} degrees on the more affected side, with no finding of scapula and \
             lateral rotation",
            one.row.label
        );
        let hint = prompts::hint(Code::ShoulderPast, catalogue);
        problems.caution(Code::ShoulderPast, &one.finding.path, what, &hint);
    }
}

fn with_care(one: &Measured, measured: &[Measured], catalogue: &Catalogue) -> bool {
    let noted = |family: &str, holds: &dyn Fn(&Measured) -> bool| {
        measured.iter().any(|other| {
            in_family(&other.row.measure, family)
                && other.finding.side == one.finding.side
                && !other.finding.withdrawn
                && holds(other)
        })
    };
    // The lowest rank says that the scapula does not rotate.
    let rotates = |other: &Measured| {
        let rank = prompts::rank(other, catalogue);
        rank.is_some_and(|rank| rank > Exact::ZERO)
    };
    let present = |other: &Measured| matches!(&other.value, Value::Word(word) if word == "present");
    noted("elevation.scapular-rotation", &rotates) && noted("elevation.lateral-rotation", &present)
}
