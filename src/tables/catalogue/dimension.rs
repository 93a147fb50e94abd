//! What units measure.

use serde::Deserialize;

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Dimension {
    /// Plane angle.
    Angle,
    /// Plane angle over time.
    AngularVelocity,
    /// Cycles over time.
    Frequency,
    /// Force; a mass is none, however the dial of the instrument is marked.
    Force,
    /// Length.
    Length,
    /// Mass.
    Mass,
    /// A plain number.
    Number,
    /// Time.
    Time,
}

impl Dimension {
    /// Every dimension.
    pub const ALL: [Self; 8] = [
        Self::Angle,
        Self::AngularVelocity,
        Self::Frequency,
        Self::Force,
        Self::Length,
        Self::Mass,
        Self::Number,
        Self::Time,
    ];

    /// The word of the tables.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Angle => "angle",
            Self::AngularVelocity => "angular-velocity",
            Self::Frequency => "frequency",
            Self::Force => "force",
            Self::Length => "length",
            Self::Mass => "mass",
            Self::Number => "number",
            Self::Time => "time",
        }
    }

    /// As a fault tells it.
    pub(super) const fn told(self) -> &'static str {
        match self {
            Self::Angle => "an angle",
            Self::AngularVelocity => "an angular velocity",
            Self::Frequency => "a frequency",
            Self::Force => "a force",
            Self::Length => "a length",
            Self::Mass => "a mass",
            Self::Number => "a plain number",
            Self::Time => "a time",
        }
    }

    /// True when a UCUM unit measures it.
    pub(super) fn is_of(self, unit: &str) -> bool {
        octofhir_ucum::is_comparable(unit, self.unit()).unwrap_or(false)
    }

    /// What a UCUM unit measures, as a fault tells it.
    pub(super) fn of(unit: &str) -> &'static str {
        let known = Self::ALL.into_iter().find(|one| one.is_of(unit));
        known.map_or("something else", Self::told)
    }

    /// A UCUM unit that measures it: another one does when the two convert into each other.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Angle => "rad",
            Self::AngularVelocity => "rad/s",
            Self::Frequency => "Hz",
            Self::Force => "N",
            Self::Length => "m",
            Self::Mass => "kg",
            Self::Number => "1",
            Self::Time => "s",
        }
    }
}
