//! What the angle of a stretch against time shows.
//!
//! Owns: the computation over a trace: filter, velocity, catch, release, clonus, dependence on
//! velocity; its plot. In: traces in their measures, and the numbers of `trace_parameters.csv`.
//! Out: samples as they are sent, and what was computed, as exact decimals of stated rounding.
//! Never: takes the place of what was felt; corrects a bias in a record; calls a catch spasticity.

#![expect(
    clippy::float_arithmetic,
    reason = "the one room of signals; what leaves it is rounded to exact decimals in rounded.rs"
)]

mod after;
mod computed;
pub mod dependence;
pub mod filter;
mod lines;
pub mod motion;
pub mod parameters;
pub mod plot;
mod rounded;
mod sampled;
pub mod session;
pub mod signal;
mod told;
pub mod traced;
pub mod verdict;

/// What a computation came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// A catch was found.
    Catch,
    /// None was.
    NoCatch,
    /// Nothing can be told.
    NotDeterminable,
}

impl Outcome {
    /// The word of `trace-outcome`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Catch => "catch",
            Self::NoCatch => "no-catch",
            Self::NotDeterminable => "not-determinable",
        }
    }
}

/// Why a computation came to what it came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// The sharpest stop lies at the end of the slow stretch.
    AtTheEnd,
    /// The angle runs into a plateau at speed.
    Clipped,
    /// Too few catches.
    FewCatches,
    /// Too many samples are missing in a row.
    Gap,
    /// No slow stretch to compare with.
    NoSlowStretch,
    /// A catch could not be told from noise.
    Noisy,
    /// Stopped no more sharply than a smooth movement ends.
    NotSharp,
    /// Sampled too coarsely for its speed.
    SamplingTooCoarse,
    /// Stopped sharply and well before the end of the slow stretch.
    SharpAndShort,
    /// The slow stretch stopped sharply as well.
    SlowStretchCaught,
    /// The speeds are too much alike.
    SpeedsAlike,
    /// Too few samples.
    TooShort,
    /// Slower than a fast stretch.
    TooSlow,
    /// The limb moved too little.
    TooSmall,
    /// The limb moved the other way.
    WrongDirection,
}

impl Reason {
    /// Every reason, in the order of their words.
    pub const ALL: [Self; 15] = [
        Self::AtTheEnd,
        Self::Clipped,
        Self::FewCatches,
        Self::Gap,
        Self::NoSlowStretch,
        Self::Noisy,
        Self::NotSharp,
        Self::SamplingTooCoarse,
        Self::SharpAndShort,
        Self::SlowStretchCaught,
        Self::SpeedsAlike,
        Self::TooShort,
        Self::TooSlow,
        Self::TooSmall,
        Self::WrongDirection,
    ];

    /// The word of `trace-reason`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::AtTheEnd => "at-the-end",
            Self::Clipped => "clipped",
            Self::FewCatches => "few-catches",
            Self::Gap => "gap",
            Self::NoSlowStretch => "no-slow-stretch",
            Self::Noisy => "noisy",
            Self::NotSharp => "not-sharp",
            Self::SamplingTooCoarse => "sampling-too-coarse",
            Self::SharpAndShort => "sharp-and-short",
            Self::SlowStretchCaught => "slow-stretch-caught",
            Self::SpeedsAlike => "speeds-alike",
            Self::TooShort => "too-short",
            Self::TooSlow => "too-slow",
            Self::TooSmall => "too-small",
            Self::WrongDirection => "wrong-direction",
        }
    }
}
