//! One side of a comparison: a finding of this session, or one of an earlier session.

use crate::base::exact::Exact;
use crate::examination::compare::examiner_of;
use crate::examination::compare::reason::NotCompared;
use crate::examination::finding::circumstances::Circumstances;
use crate::examination::finding::{Identifier, Session, Written};
use crate::examination::intake::parts::Side;
use crate::examination::measure::way::Way;
use crate::examination::measure::{Extent, Measured, Reached, Value};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Measure;
use uuid::Uuid;

/// Where a finding of a comparison stands.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Input {
    /// In this session, by its identity.
    Here(Uuid),
    /// In an earlier session, by the `urn:uuid:` its Observation carries.
    Earlier(String),
}

impl Input {
    /// Its name, for an identity derived from it.
    pub fn name(&self) -> String {
        match self {
            Self::Here(id) => id.to_string(),
            Self::Earlier(urn) => urn.clone(),
        }
    }
}

/// One finding, as far as comparing needs it.
#[derive(Debug, Clone)]
pub struct Part {
    /// Where it stands.
    pub input: Input,
    /// Its row.
    pub row: Measure,
    /// Its side.
    pub side: Side,
    /// In which way it was found.
    pub way: Way,
    /// Who examined it, where that is known.
    pub examiner: Option<Identifier>,
    /// What was found.
    pub value: Value,
    /// True when it is withdrawn.
    pub withdrawn: bool,
}

impl Part {
    /// A finding of this session.
    pub fn of(one: &Measured, session: &Session) -> Self {
        Self {
            input: Input::Here(one.finding.id),
            row: one.row.clone(),
            side: one.finding.side,
            way: Way::of(one),
            examiner: examiner_of(&one.finding, session).cloned(),
            value: one.value.clone(),
            withdrawn: one.finding.withdrawn,
        }
    }

    /// The list its word is of.
    pub fn list(&self) -> &str {
        let scale = self.way.scale.as_ref().or(self.row.scale.as_ref());
        scale.map_or("", String::as_str)
    }

    /// The unit its number has.
    pub fn unit(&self) -> &str {
        let unit = self.way.unit.as_ref().or(self.row.unit.as_ref());
        unit.map_or("", String::as_str)
    }
}

/// An earlier session of the same person, as far as comparing needs it.
#[derive(Debug, Clone)]
pub struct EarlierSession {
    /// When it was examined.
    pub start: Written,
    /// What may have changed a finding since; nothing where it is not known.
    pub circumstances: Option<Circumstances>,
    /// What was found.
    pub parts: Vec<Part>,
}

impl EarlierSession {
    /// A session with some of what was found in it.
    pub fn of(session: &Session, parts: Vec<Part>) -> Self {
        Self {
            start: session.start.clone(),
            circumstances: Some(session.circumstances.clone()),
            parts,
        }
    }
}

/// Two findings that may be set against each other.
pub(super) enum Pair {
    /// Two numbers in one unit.
    Numbers(Exact, Exact),
    /// Two words of one list, each with its place in the order where the list has one.
    Words([(String, Option<Exact>); 2]),
}

/// Two findings beside each other, if they may be.
///
/// A finding that was not tested, a bound, a fixed joint and a word never become a number here.
pub(super) fn pair(a: &Part, b: &Part, catalogue: &Catalogue) -> Result<Pair, NotCompared> {
    if a.withdrawn || b.withdrawn {
        return Err(NotCompared::Withdrawn);
    }
    let either = |is: fn(&Value) -> bool| is(&a.value) || is(&b.value);
    if either(|value| matches!(value, Value::NotTested(_))) {
        return Err(NotCompared::NotTested);
    }
    if either(|value| matches!(value, Value::Relative(_))) {
        return Err(NotCompared::OnlyRelative);
    }
    if either(|value| matches!(value, Value::NoCatch)) {
        return Err(NotCompared::NoCatch);
    }
    let words = [said(&a.value), said(&b.value)];
    if let [Some(_), None] | [None, Some(_)] = words {
        return Err(NotCompared::WordAgainstNumber);
    }
    if let Some(differs) = a.way.differs(&b.way) {
        return Err(NotCompared::Way(differs));
    }
    if let [Some(first), Some(second)] = words {
        let list = a.list();
        if list != b.list() {
            return Err(NotCompared::OtherScale);
        }
        let place = |word: &str| catalogue.word(list, word).and_then(|row| row.rank);
        return Ok(Pair::Words([
            (first.to_owned(), place(first)),
            (second.to_owned(), place(second)),
        ]));
    }
    Ok(Pair::Numbers(number(&a.value)?, number(&b.value)?))
}

const fn said(value: &Value) -> Option<&String> {
    match value {
        Value::Word(word) | Value::Grade(word) => Some(word),
        Value::Angle(_)
        | Value::Amount(_)
        | Value::Relative(_)
        | Value::NoCatch
        | Value::NotTested(_) => None,
    }
}

/// The number of a finding: an angle at which a movement truly ended, or an amount.
pub(super) fn number(value: &Value) -> Result<Exact, NotCompared> {
    match value {
        Value::Angle(angle) if angle.fixed => Err(NotCompared::Fixed),
        Value::Angle(angle) if angle.extent() == Extent::AtLeast => Err(NotCompared::Bound),
        Value::Angle(angle) => angle
            .reached()
            .map(Reached::degrees)
            .ok_or(NotCompared::Bound),
        Value::Amount(amount) => Ok(*amount),
        Value::Word(_) | Value::Grade(_) => Err(NotCompared::OnlyWords),
        Value::Relative(_) => Err(NotCompared::OnlyRelative),
        Value::NoCatch => Err(NotCompared::NoCatch),
        Value::NotTested(_) => Err(NotCompared::NotTested),
    }
}

/// `a - b`.
pub(super) fn minus(a: Exact, b: Exact) -> Result<Exact, NotCompared> {
    a.minus(b).map_err(|_digits| NotCompared::Digits)
}

/// Of several findings the one that goes with this one: found in the same way if there is one, else
/// in the same place, else the first.
pub(super) fn closest<'a>(
    part: &Part,
    others: impl Iterator<Item = &'a Part> + Clone,
) -> Option<&'a Part> {
    let mut alike = others
        .clone()
        .filter(|one| part.way.differs(&one.way).is_none());
    let mut near = others
        .clone()
        .filter(|one| part.way.differs_in_place(&one.way).is_none());
    let mut any = others;
    alike.next().or_else(|| near.next()).or_else(|| any.next())
}
