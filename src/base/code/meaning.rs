//! What a code means to those who act on it: how much it weighs, what a client of the service is
//! answered, what it says of a target, and what is done next.

/// How much a problem weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Nothing is sent while it stands.
    Error,
    /// Sent only after a named person confirms it.
    Caution,
    /// Sent; worth knowing.
    Note,
}

impl Severity {
    /// The word printed for people and written to JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Caution => "caution",
            Self::Note => "note",
        }
    }
}

/// What the service answers to a document with a problem, the one that decides first: of several
/// problems the smallest answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Answer {
    /// 400: the body is no JSON.
    NotJson,
    /// 503: others changed what it would be held against.
    Contended,
    /// 409: the version was accepted before with other content.
    OtherContent,
    /// 409: another version comes next.
    VersionOrder,
    /// 409: the version before belongs to another person.
    OtherPerson,
    /// 409: the content was purged.
    Purged,
    /// 422: the document has to be mended.
    DoesNotHold,
    /// 428: a named person has to confirm.
    WaitsForConfirmation,
    /// 200 or 202: told beside what came of it.
    Told,
    /// None: it stands in a delivery, long after the document was answered.
    OfDelivery,
}

impl Answer {
    /// The status, in words and digits.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotJson => "400",
            Self::Contended => "503",
            Self::OtherContent | Self::VersionOrder | Self::OtherPerson | Self::Purged => "409",
            Self::DoesNotHold => "422",
            Self::WaitsForConfirmation => "428",
            Self::Told => "told beside 200 or 202",
            Self::OfDelivery => "stands in the delivery",
        }
    }
}

/// What a reason says of the target as such, by which its breaker opens and closes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// It answers: whatever it said was about the content.
    Works,
    /// It did not answer, could not take anything, or let nobody in.
    Fails,
    /// Nothing: it was not asked.
    Nothing,
}

impl Sign {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Works => "the target works",
            Self::Fails => "the target fails: several in a row open its breaker",
            Self::Nothing => "nothing about the target",
        }
    }
}

/// What is done next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Retry {
    /// The document is mended and given again.
    Mended,
    /// The same document is given again a little later.
    Again,
    /// The document is given again with the confirmation of a named person.
    Confirmed,
    /// Nothing has to be done.
    Nothing,
    /// It is a fault of the program: it is reported.
    Reported,
    /// The delivery is tried again by itself, and what is there already is looked for first.
    ByItself,
    /// The delivery waits until a person released it, and then passes.
    LetPass,
    /// The delivery waits until what holds it was mended and a person released it.
    Released,
    /// The delivery stays refused: a further version, or a release once what refused it was mended.
    Version,
}

impl Retry {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Mended => "mend it and give it again",
            Self::Again => "give it again as it is, a little later",
            Self::Confirmed => "confirm it or mend it, and give it again",
            Self::Nothing => "nothing",
            Self::Reported => "report it: the program is at fault",
            Self::ByItself => "tried again by itself; what is there is looked for first",
            Self::LetPass => "waits for a person, whose release lets it pass",
            Self::Released => "waits for a person: mend what holds it, then release",
            Self::Version => "refused: correct it by a further version, or mend it and release",
        }
    }
}

/// The meaning of a code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Meaning {
    /// How much a problem of this code weighs; nothing for the reason of a delivery, and for a prompt,
    /// which is told under [`crate::base::code::Code::PromptRaised`].
    pub severity: Option<Severity>,
    /// What the service answers to a document that has it.
    pub answer: Answer,
    /// What it says of the target.
    pub sign: Sign,
    /// What is done next.
    pub retry: Retry,
}

const fn problem(severity: Severity, answer: Answer, retry: Retry) -> Meaning {
    Meaning {
        severity: Some(severity),
        answer,
        sign: Sign::Nothing,
        retry,
    }
}

const fn error(answer: Answer) -> Meaning {
    problem(Severity::Error, answer, Retry::Mended)
}

const fn reason(sign: Sign, retry: Retry) -> Meaning {
    Meaning {
        severity: None,
        answer: Answer::OfDelivery,
        sign,
        retry,
    }
}

pub(super) const ERROR: Meaning = error(Answer::DoesNotHold);
pub(super) const CAUTION: Meaning = problem(
    Severity::Caution,
    Answer::WaitsForConfirmation,
    Retry::Confirmed,
);
pub(super) const NOTE: Meaning = problem(Severity::Note, Answer::Told, Retry::Nothing);
pub(super) const NOT_JSON: Meaning = error(Answer::NotJson);
pub(super) const CONTENDED: Meaning = problem(Severity::Error, Answer::Contended, Retry::Again);
pub(super) const OTHER_CONTENT: Meaning = error(Answer::OtherContent);
pub(super) const VERSION_ORDER: Meaning = error(Answer::VersionOrder);
pub(super) const OTHER_PERSON: Meaning = error(Answer::OtherPerson);
pub(super) const PURGED: Meaning = error(Answer::Purged);
/// A prompt to look, of a finding or of a precaution.
pub(super) const PROMPT: Meaning = Meaning {
    severity: None,
    answer: Answer::Told,
    sign: Sign::Nothing,
    retry: Retry::Nothing,
};
/// A fault of our own.
pub(super) const OURS: Meaning = problem(Severity::Error, Answer::DoesNotHold, Retry::Reported);
/// The target fails, and is tried again.
pub(super) const DOWN: Meaning = reason(Sign::Fails, Retry::ByItself);
/// Nothing was learned of the target, and it is tried again.
pub(super) const LATER: Meaning = reason(Sign::Nothing, Retry::ByItself);
/// The target answered, and what it holds is looked for again.
pub(super) const LOOKED: Meaning = reason(Sign::Works, Retry::ByItself);
/// The target answered, and a person may let it pass.
pub(super) const LET_PASS: Meaning = reason(Sign::Works, Retry::LetPass);
/// The target answered, and a person has to mend something.
pub(super) const MEND: Meaning = reason(Sign::Works, Retry::Released);
/// The target was not asked, and a person has to mend something.
pub(super) const KEPT: Meaning = reason(Sign::Nothing, Retry::Released);
/// The target refused the content.
pub(super) const VERSION: Meaning = reason(Sign::Works, Retry::Version);
