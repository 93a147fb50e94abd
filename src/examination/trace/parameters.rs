//! The numbers of `trace_parameters.csv` and `trace_cut_offs.csv`, as the computation takes them.

use crate::base::exact::Exact;
use crate::tables::catalogue::Catalogue;

/// One step of the ladder of cut-offs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutOff {
    /// Cut-off frequency of one pass, hertz.
    pub hertz: f64,
    /// The least peak velocity over excursion it serves, per second.
    pub from_rate: f64,
    /// Sharpness above which a stop is no smooth end.
    pub gate: f64,
}

/// Every number the computation needs. None was validated on patients.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameters {
    /// The ladder, slowest first; never empty.
    pub cut_offs: Vec<CutOff>,
    /// Fewest samples.
    pub fewest: f64,
    /// Lowest sampling rate, hertz.
    pub lowest_rate: f64,
    /// Largest step between samples, as a multiple of the usual one.
    pub gap: f64,
    /// How far a step may differ from the usual one, as a share of it, and still count as even.
    pub uneven: f64,
    /// Smallest excursion, degrees.
    pub least_excursion: f64,
    /// Slowest fast stretch, degrees per second.
    pub slowest_fast: f64,
    /// Onset and end: share of the peak velocity.
    pub onset_share: f64,
    /// Onset and end: lowest velocity, degrees per second.
    pub onset_velocity: f64,
    /// Onset and end of a very slow stretch: highest share of its peak velocity.
    pub onset_most: f64,
    /// Standard deviations of the noise of the sharpness that are added to the gate.
    pub noise_factor: f64,
    /// Decay of the velocity at a catch that has to be told from a smooth end, seconds.
    pub decay: f64,
    /// Product of cut-off and decay at which half of the deceleration of a catch is left.
    pub smoothing: f64,
    /// Share of the sharpness of such a catch that the gate may take up.
    pub resolvable: f64,
    /// How much sooner than the slow stretch ended a catch has to lie, degrees.
    pub error_of_difference: f64,
    /// Velocity below which a limb has settled after a catch, share of the peak velocity.
    pub settled_share: f64,
    /// Travel after a catch that counts as release, degrees.
    pub release_travel: f64,
    /// Velocity of a release, degrees per second.
    pub release_velocity: f64,
    /// Cut-off for clonus, hertz.
    pub clonus_cut_off: f64,
    /// Slowest and fastest clonus, hertz.
    pub clonus_band: (f64, f64),
    /// Velocity of a beat, degrees per second.
    pub clonus_velocity: f64,
    /// Fewest beats.
    pub clonus_beats: f64,
    /// How much faster the fastest stretch has to be than the slowest.
    pub spread: f64,
    /// Fewest catches for the dependence on velocity.
    pub catches: f64,
    /// Share of the largest step of the raw angle that the step into a plateau has, when clipped.
    pub clipped_share: f64,
    /// Samples of a plateau that count as clipped.
    pub clipped_samples: f64,
    /// How late the catch of a synthetic trace is found, seconds at peak velocity.
    pub lateness: f64,
}

/// A decimal as the nearest float; the text of an exact decimal always reads as one.
pub(super) fn float(exact: Exact) -> f64 {
    exact.to_string().parse().unwrap_or(f64::NAN)
}

impl Parameters {
    /// The parameters of the tables; nothing when a row is missing, which loading refuses.
    pub fn of(catalogue: &Catalogue) -> Option<Self> {
        let of = |name: &str| catalogue.trace_parameters.get(name).copied().map(float);
        let mut cut_offs: Vec<CutOff> = catalogue
            .trace_cut_offs
            .iter()
            .map(|row| CutOff {
                hertz: float(row.hertz),
                from_rate: float(row.from_rate),
                gate: float(row.gate),
            })
            .collect();
        cut_offs.sort_by(|a, b| a.from_rate.total_cmp(&b.from_rate));
        cut_offs.first()?;
        Some(Self {
            cut_offs,
            fewest: of("samples-fewest")?,
            lowest_rate: of("sampling-rate-lowest")?,
            gap: of("gap")?,
            uneven: of("uneven")?,
            least_excursion: of("excursion-least")?,
            slowest_fast: of("fast-velocity-low")?,
            onset_share: of("onset-share")?,
            onset_velocity: of("onset-velocity")?,
            onset_most: of("onset-share-most")?,
            noise_factor: of("noise-factor")?,
            decay: of("catch-decay")?,
            smoothing: of("smoothing-half")?,
            resolvable: of("resolvable-share")?,
            error_of_difference: of("slow-difference")?,
            settled_share: of("settled-share")?,
            release_travel: of("release-travel")?,
            release_velocity: of("release-velocity")?,
            clonus_cut_off: of("clonus-cut-off")?,
            clonus_band: (of("clonus-slowest")?, of("clonus-fastest")?),
            clonus_velocity: of("clonus-velocity")?,
            clonus_beats: of("clonus-beats-fewest")?,
            spread: of("velocity-spread")?,
            catches: of("velocity-catches-fewest")?,
            clipped_share: of("clipped-share")?,
            clipped_samples: of("clipped-samples")?,
            lateness: of("catch-lateness")?,
        })
    }

    /// The step of the ladder for a peak velocity over excursion, per second.
    pub(super) fn cut_off(&self, rate: f64) -> CutOff {
        let serving = self.cut_offs.iter().rev().find(|one| one.from_rate <= rate);
        let slowest = self.cut_offs.first();
        serving.or(slowest).copied().unwrap_or(CutOff {
            hertz: f64::NAN,
            from_rate: f64::NAN,
            gate: f64::NAN,
        })
    }
}
