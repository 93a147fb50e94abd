//! Why a delivery is where it is: a code, the status it was answered with, and what came before it.

use crate::base::code::Code;
use crate::base::code::meaning::Sign;
use std::fmt;
use std::str::FromStr;

/// The reason of a delivery, as it is kept and shown: `person.not-found`, `target.answer-503`,
/// `unknown.too-often (target.no-answer)`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    code: Code,
    status: Option<u16>,
    after: Option<Box<Self>>,
}

/// A text that is no reason of a delivery, such as one of a newer version of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("no reason of a delivery that this program knows")]
pub struct NotAReason;

impl Reason {
    /// The server answered with a status: `code` is [`Code::TargetAnswer`] or [`Code::TargetRefused`].
    pub const fn answered(code: Code, status: u16) -> Self {
        Self {
            code,
            status: Some(status),
            after: None,
        }
    }

    /// It failed so often, the last time for this reason, that a person has to look.
    pub fn too_often(last: Self) -> Self {
        Self {
            code: Code::UnknownTooOften,
            status: None,
            after: Some(Box::new(last)),
        }
    }

    /// Its code.
    pub const fn code(&self) -> Code {
        self.code
    }

    /// What it says of the target: where it failed too often, what the last failure said.
    pub fn sign(&self) -> Sign {
        self.after
            .as_ref()
            .map_or(self.code.meaning().sign, |last| last.sign())
    }

    /// What it means and what can be done, in a sentence.
    pub const fn sentence(&self) -> &'static str {
        self.code.says()
    }
}

impl From<Code> for Reason {
    fn from(code: Code) -> Self {
        Self {
            code,
            status: None,
            after: None,
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.code.word())?;
        if let Some(status) = self.status {
            write!(formatter, "-{status}")?;
        }
        if let Some(last) = &self.after {
            write!(formatter, " ({last})")?;
        }
        Ok(())
    }
}

impl FromStr for Reason {
    type Err = NotAReason;

    fn from_str(text: &str) -> Result<Self, NotAReason> {
        if let Some((word, last)) = text.split_once(" (") {
            let last = last.strip_suffix(')').ok_or(NotAReason)?.parse()?;
            let known = Code::of(word) == Some(Code::UnknownTooOften);
            return known.then(|| Self::too_often(last)).ok_or(NotAReason);
        }
        if let Some(code) = Code::of(text) {
            let is_whole = code.is_of_a_delivery() && !code.has_status();
            return is_whole.then(|| code.into()).ok_or(NotAReason);
        }
        let (word, status) = text.rsplit_once('-').ok_or(NotAReason)?;
        let code = Code::of(word).filter(|code| code.has_status());
        match (code, status.parse()) {
            (Some(code), Ok(status)) => Ok(Self::answered(code, status)),
            (_, _) => Err(NotAReason),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{NotAReason, Reason};
    use crate::base::code::Code;
    use crate::base::code::meaning::Sign;

    #[test]
    fn every_reason_of_a_delivery_reads_back_as_it_was_written() {
        let reasons = Code::ALL.iter().filter(|code| code.is_of_a_delivery());
        let mut seen = 0;
        for code in reasons {
            let reason = if code.has_status() {
                Reason::answered(*code, 503)
            } else {
                Reason::from(*code)
            };
            let often = Reason::too_often(reason.clone());

            assert_eq!(reason.to_string().parse(), Ok(reason));
            assert_eq!(often.to_string().parse(), Ok(often));
            seen += 1;
        }
        assert!(seen > 35);
    }

    #[test]
    fn a_word_of_a_newer_version_or_a_problem_of_a_document_is_no_reason() {
        for text in [
            "",
            "target.answer",
            "target.answer-",
            "target.answer-many",
            "target.unreachable-503",
            "something.else",
            "angle.unusual",
            "tone.risen",
            "person.not-found (target.no-answer)",
            "unknown.too-often (target.no-answer",
            "unknown.too-often (something.else)",
        ] {
            assert_eq!(text.parse::<Reason>(), Err(NotAReason), "{text}");
        }
    }

    #[test]
    fn content_that_is_refused_says_that_the_target_works() {
        for (text, sign) in [
            ("target.unreachable", Sign::Fails),
            ("target.answer-503", Sign::Fails),
            ("target.token-refused", Sign::Fails),
            ("target.refused-422", Sign::Works),
            ("target.as-batch", Sign::Works),
            ("person.not-found", Sign::Works),
            ("duplicate.found", Sign::Works),
            ("guard.test-document", Sign::Nothing),
            ("instrument.busy", Sign::Nothing),
            ("unknown.too-often (target.no-answer)", Sign::Fails),
            ("unknown.too-often (target.as-batch)", Sign::Works),
        ] {
            let reason: Reason = text.parse().expect("a reason");

            assert_eq!(reason.sign(), sign, "{text}");
        }
    }
}
