//! The stretches of a session with what was computed of them.

use crate::base::exact::Exact;
use crate::base::private::Private;
use crate::examination::measure::Measured;
use crate::examination::measure::traces::MeasuredTrace;
use crate::examination::trace::Reason;
use crate::examination::trace::motion::Motion;
use crate::examination::trace::verdict::Verdict;
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::{Kind, Measure};
use uuid::Uuid;

/// Evenly sampled angles as they are sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Samples {
    /// Milliseconds from one to the next.
    pub period: Exact,
    /// Degrees beyond neutral in the direction of the movement.
    pub degrees: Private<Vec<Exact>>,
    /// True when they were resampled.
    pub resampled: bool,
}

/// One trace with everything that follows from it.
#[derive(Clone)]
pub struct Traced {
    /// The trace in its measure.
    pub source: MeasuredTrace,
    /// The row of the trace itself.
    pub row: Measure,
    /// Its samples.
    pub samples: Samples,
    /// How the limb moved, where that can be told.
    pub motion: Result<Motion, Vec<Reason>>,
    /// What a fast stretch showed; nothing for a slow one, and for one that was withdrawn.
    pub computed: Option<Computed>,
}

/// What was computed from the trace of a fast stretch.
#[derive(Clone)]
pub struct Computed {
    /// Identity, derived from the trace.
    pub id: Uuid,
    /// Its row of the measures.
    pub row: Measure,
    /// Catch, none, or not to be told.
    pub verdict: Verdict,
    /// The trace of the slow stretch it was compared with, and where that ended.
    pub slow: Option<(Uuid, Option<Exact>)>,
    /// The angle of a catch, in the direction of the movement, to a tenth of a degree.
    pub angle: Option<Exact>,
    /// How it differs from what was felt, in words.
    pub differs: Option<String>,
    /// The numbers behind it.
    pub numbers: Numbers,
}

/// Numbers of a motion, rounded; angles in the direction of the movement.
#[derive(Clone, Default, PartialEq, Eq)]
pub struct Numbers {
    /// Peak velocity, degrees per second.
    pub peak_velocity: Option<Exact>,
    /// Mean velocity, degrees per second.
    pub mean_velocity: Option<Exact>,
    /// Excursion, degrees.
    pub excursion: Option<Exact>,
    /// Angle at the onset.
    pub onset: Option<Exact>,
    /// Angle at peak velocity.
    pub peak: Option<Exact>,
    /// Angle where it came to rest.
    pub end: Option<Exact>,
    /// Cut-off of the low-pass, hertz.
    pub cut_off: Option<Exact>,
    /// Sharpness of the stop.
    pub sharpness: Option<Exact>,
    /// What had to be exceeded.
    pub gate: Option<Exact>,
    /// How late the angle is expected to lie, degrees.
    pub late_by: Option<Exact>,
    /// Two standard deviations of its random error, degrees.
    pub random_error: Option<Exact>,
}

/// How the computed catches of one muscle change with velocity.
#[derive(Clone)]
pub struct Dependence {
    /// Identity, derived from the traces.
    pub id: Uuid,
    /// Its row of the measures.
    pub row: Measure,
    /// Identities of the computed results it comes from.
    pub from: Vec<Uuid>,
    /// Slope in seconds and angle at no velocity in degrees, both in the direction of the movement,
    /// and the number of catches; or why there is no line.
    pub result: Result<(Exact, Exact, u32), Reason>,
    /// The trace whose site, side and positions it shares.
    pub like: Measured,
    /// True when every catch it goes through was accepted.
    pub accepted: bool,
}

/// The row of a kind for the same stretch.
pub(super) fn row_of<'a>(
    kind: Kind,
    stretch: &Measure,
    catalogue: &'a Catalogue,
) -> Option<&'a Measure> {
    catalogue.measures.values().find(|row| {
        row.kind == kind
            && row.site == stretch.site
            && row.axis == stretch.axis
            && row.held == stretch.held
    })
}

/// True when two stretches were made in the same way, whatever their speed.
pub(super) fn same_way(a: &Measured, b: &Measured) -> bool {
    let kind = |one: &Measured| {
        one.instrument
            .as_ref()
            .map(|instrument| instrument.kind.clone())
    };
    let known = |one: &Measured| {
        let neighbour = one.finding.neighbour.as_ref();
        neighbour.is_none_or(|(_, position)| position != "not-recorded")
    };
    a.row.site == b.row.site
        && a.row.axis == b.row.axis
        && a.row.held == b.row.held
        && a.finding.side == b.finding.side
        && a.finding.position == b.finding.position
        && a.finding.neighbour == b.finding.neighbour
        && kind(a) == kind(b)
        && known(a)
}
