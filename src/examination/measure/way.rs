//! In which way something was found: what has to agree before two findings are set against each
//! other.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::finding::Finding;
use crate::examination::measure::Measured;
use crate::tables::catalogue::rows::{Kind, Measure};

/// What two findings have to share, whatever the side.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// Site, joint and plane, and how other parts are held.
    pub place: [Option<String>; 3],
    /// A word of `body-position`.
    pub position: String,
    /// The neighbouring joint and its position.
    pub neighbour: Option<(String, String)>,
    /// A word of `condition`.
    pub condition: Option<String>,
    /// A word of `method`.
    pub method: String,
    /// Kind of instrument.
    pub instrument: Option<String>,
    /// Number of the repeat.
    pub repeat: u32,
    /// The scale of a grade, such as the variant of a scale with plus and minus, or the list of a word.
    pub scale: Option<String>,
    /// UCUM unit of an amount.
    pub unit: Option<String>,
}

/// What keeps two findings apart, the first thing found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Differs {
    /// Site, plane, or how other parts are held.
    Place,
    /// The position of the body.
    Position,
    /// The position of the neighbouring joint.
    Neighbour,
    /// The position of the neighbouring joint was not recorded.
    NeighbourNotRecorded,
    /// When it was felt.
    Condition,
    /// The method.
    Method,
    /// The kind of instrument.
    Instrument,
    /// The number of the repeat.
    Repeat,
    /// The scale, or its variant.
    Scale,
    /// The unit.
    Unit,
}

impl Differs {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Place => "the site, the plane or how another part was held differs",
            Self::Position => "the position of the body differs",
            Self::Neighbour => "the position of the neighbouring joint differs",
            Self::NeighbourNotRecorded => "the position of the neighbouring joint was not recorded",
            Self::Condition => {
                "they were found on different occasions, such as at rest and after treatment"
            }
            Self::Method => "the method differs",
            Self::Instrument => "the kind of instrument differs",
            Self::Repeat => "the number of the repeat differs",
            Self::Scale => "they are graded on different scales",
            Self::Unit => "the unit differs",
        }
    }
}

impl Way {
    /// The way in which a finding was made.
    pub fn of(one: &Measured) -> Self {
        let row = &one.row;
        let finding = &one.finding;
        let instrument = one.instrument.as_ref();
        Self {
            place: [row.site.clone(), row.axis.clone(), row.held.clone()],
            position: finding.position.clone(),
            neighbour: finding.neighbour.clone(),
            condition: finding.condition.clone(),
            method: finding.method.clone(),
            instrument: instrument.map(|instrument| instrument.kind.clone()),
            repeat: finding.repeat,
            scale: one.scale.clone().filter(|_| has_scale(row.kind)),
            unit: one.unit.clone(),
        }
    }

    /// What keeps two ways apart; nothing when they are the same.
    pub fn differs(&self, other: &Self) -> Option<Differs> {
        let not_recorded = |way: &Self| {
            let neighbour = way.neighbour.as_ref();
            neighbour.is_some_and(|(_, position)| position == "not-recorded")
        };
        // What was said in a word or not tested has none.
        let apart = |one: &Option<String>, other: &Option<String>| matches!((one, other), (Some(one), Some(other)) if one != other);
        let apart = [
            (self.place != other.place, Differs::Place),
            (self.position != other.position, Differs::Position),
            (
                not_recorded(self) || not_recorded(other),
                Differs::NeighbourNotRecorded,
            ),
            (self.neighbour != other.neighbour, Differs::Neighbour),
            (self.condition != other.condition, Differs::Condition),
            (self.method != other.method, Differs::Method),
            (self.instrument != other.instrument, Differs::Instrument),
            (self.repeat != other.repeat, Differs::Repeat),
            (apart(&self.scale, &other.scale), Differs::Scale),
            (apart(&self.unit, &other.unit), Differs::Unit),
        ];
        let first = apart.into_iter().find(|(apart, _)| *apart);
        first.map(|(_, differs)| differs)
    }

    /// What keeps the two apart where nothing was measured, so that method, instrument and repeat
    /// say nothing.
    pub fn differs_in_place(&self, other: &Self) -> Option<Differs> {
        let untested = |way: &Self| Self {
            method: String::new(),
            instrument: None,
            repeat: 1,
            ..way.clone()
        };
        untested(self).differs(&untested(other))
    }
}

/// True for kinds of measure whose value is of a list that may have versions.
pub const fn has_scale(kind: Kind) -> bool {
    matches!(kind, Kind::Grade | Kind::Word)
}

pub(super) fn neighbour_fits(finding: &Finding, row: &Measure, problems: &mut Problems) {
    let path = format!("{}/neighbour", finding.path);
    match (&row.neighbour, &finding.neighbour) {
        (Some(wanted), None) => {
            let what = format!("the position of the {wanted} is missing: a muscle crosses both");
            let hint = format!(
                "add neighbour with joint {wanted} and position straight, bent or not-recorded"
            );
            problems.error(Code::NeighbourMissing, &path, what, &hint);
        }
        (Some(wanted), Some((joint, _))) if wanted != joint => {
            let what = format!("{joint} is not the neighbouring joint of this measure");
            problems.error(
                Code::NeighbourJoint,
                &path,
                what,
                &format!("write {wanted}"),
            );
        }
        (None, Some(_)) => {
            let what = "no neighbouring joint matters for this measure".to_owned();
            problems.error(Code::NeighbourStray, &path, what, "remove neighbour");
        }
        (Some(_), Some(_)) | (None, None) => {}
    }
}
