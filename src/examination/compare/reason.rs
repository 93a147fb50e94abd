//! Why two findings, or a finding and a table, are not set against each other.

use crate::examination::measure::way::Differs;

/// The reason, as exactly as it is known.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotCompared {
    /// There is nothing to compare with.
    #[error("nothing was found to compare with")]
    NoOther,
    /// At least one was withdrawn.
    #[error("the finding was withdrawn")]
    Withdrawn,
    /// At least one was not tested.
    #[error("one of them was not tested")]
    NotTested,
    /// At least one movement was stopped before its end.
    #[error("a movement that was stopped before its end is only a bound")]
    Bound,
    /// The joint does not move.
    #[error("the joint is fixed")]
    Fixed,
    /// No catch was met.
    #[error("no catch was met")]
    NoCatch,
    /// One is a word or grade, the other a number.
    #[error("a word is never compared with a number")]
    WordAgainstNumber,
    /// A number is needed, and only words were said.
    #[error("only words were said, and a word is never turned into a number")]
    OnlyWords,
    /// At least one says only how it stands to the other side.
    #[error("it was said only in comparison with the other side")]
    OnlyRelative,
    /// The two are words of different lists.
    #[error("they are graded on different scales")]
    OtherScale,
    /// The list of words has no order.
    #[error("the words of this list have no order")]
    NoOrder,
    /// They were found in different ways.
    #[error("{}", .0.words())]
    Way(Differs),
    /// The difference cannot be held exactly.
    #[error("more digits than can be held exactly")]
    Digits,
    /// Both sides are affected.
    #[error("both sides are affected, so neither is the reference")]
    BothAffected,
    /// Nobody says which side is more affected.
    #[error("which side is more affected is not known, so neither is the reference")]
    SideNotKnown,
    /// The tables do not say which way the muscle lengthens.
    #[error("the tables do not say which way this muscle lengthens")]
    NoStretchSign,
    /// No row of the error of measuring fits.
    #[error("no published error for this way of measuring")]
    NoPublishedError,
    /// The whole is not larger than its error.
    #[error("the whole is within the error of measuring")]
    WithinError,
    /// A part of a share is below zero.
    #[error("one of the parts is below zero")]
    NegativePart,
    /// The ages of the table do not reach the person's.
    #[error("the person's age lies outside the ages of the table {0}")]
    AgeOutside(String),
    /// The birth date does not say in which age group the person is.
    #[error("the birth date is not exact enough for the age groups of the table {0}")]
    AgeNotExact(String),
    /// The table is split by sex, and the document says none that it has.
    #[error("the table {0} is split by sex, and the document says none of its two")]
    SexNotRecorded(String),
    /// The table was measured in another position, with another method or instrument.
    #[error("the table {0} was measured in another way: position, method or instrument")]
    TableOtherWay(String),
    /// The numbers of the table say nothing of one person.
    #[error("the table {0} gives {1}, which is no range of one person")]
    GroupOnly(String, &'static str),
    /// The row is kept and not used.
    #[error("the row of the table {0} is kept and not used, as it says why")]
    RowOff(String),
}

impl NotCompared {
    /// The word of `no-result` where the reason is an answer that belongs into the record.
    pub const fn answer(&self) -> Option<&'static str> {
        match self {
            Self::NotTested => Some("not-tested"),
            Self::Bound => Some("bound"),
            Self::Fixed => Some("fixed-joint"),
            Self::NoCatch => Some("no-catch"),
            Self::OnlyWords => Some("only-words"),
            Self::Digits => Some("digits"),
            Self::NoPublishedError => Some("no-published-error"),
            Self::WithinError => Some("within-error"),
            Self::NegativePart => Some("negative-part"),
            Self::NoOther
            | Self::Withdrawn
            | Self::WordAgainstNumber
            | Self::OnlyRelative
            | Self::OtherScale
            | Self::NoOrder
            | Self::Way(_)
            | Self::BothAffected
            | Self::SideNotKnown
            | Self::NoStretchSign
            | Self::AgeOutside(_)
            | Self::AgeNotExact(_)
            | Self::SexNotRecorded(_)
            | Self::TableOtherWay(_)
            | Self::GroupOnly(..)
            | Self::RowOff(_) => None,
        }
    }
}
