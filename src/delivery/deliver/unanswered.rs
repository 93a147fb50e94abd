//! Why a request to a target has no answer that can be read.

use crate::base::code::Code;
use crate::delivery::deliver::cause::Cause;
use crate::delivery::deliver::smart::NoToken;

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Silence {
    /// No connection came about: nothing was sent.
    #[error("{}", Code::TargetUnreachable)]
    Unreachable,
    /// The request may have reached the server, its answer did not reach us.
    #[error("{}", Code::TargetNoAnswer)]
    NoAnswer,
    /// An answer came, with more in it than is read: nobody knows what it says.
    #[error("{}", Code::TargetAnswerTooLarge)]
    TooLarge,
    /// The secret, or the value of a header, cannot be read.
    #[error("{}", Code::TargetSecret)]
    Secret,
    /// There is no token to send with it: nothing was sent.
    #[error("{0}")]
    NoToken(NoToken),
}

impl Silence {
    /// Its code.
    pub const fn code(self) -> Code {
        match self {
            Self::Unreachable => Code::TargetUnreachable,
            Self::NoAnswer => Code::TargetNoAnswer,
            Self::TooLarge => Code::TargetAnswerTooLarge,
            Self::Secret => Code::TargetSecret,
            Self::NoToken(why) => why.code(),
        }
    }

    /// True where the request may have reached the server.
    pub const fn may_have_arrived(self) -> bool {
        match self {
            Self::NoAnswer | Self::TooLarge => true,
            Self::Unreachable | Self::Secret | Self::NoToken(_) => false,
        }
    }
}

/// No answer, with what can be told of its cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unanswered {
    /// What it means for a delivery.
    pub silence: Silence,
    /// Why, as far as it shows.
    pub cause: Cause,
}
