//! In which measure, unit and range.
//!
//! Owns: joining a finding with its row of `measures.csv`; scales, units, bounds; what may be
//! compared at all. In: a session of findings. Out: a [`Measured`] for each, and every problem.
//! Never: names a code system or writes JSON.

mod amount;
mod angle;
mod circumstances;
pub mod notation;
mod pain;
mod parts;
mod precautions;
pub mod prompt;
pub mod prompts;
pub mod sense;
mod shoulder;
pub mod traces;
mod value;
mod visit;
pub mod way;
mod words;

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::problem::Problems;
use crate::examination::finding::{Finding, Instrument, Outcome, Precaution, Said, Session};
use crate::examination::intake::draft::DocumentVersion;
use crate::examination::intake::parts::Side;
use crate::examination::measure::words::{Words, known_word, no_measure};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Measure;
use std::collections::BTreeSet;

/// A finding in its measure.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The finding.
    pub finding: Finding,
    /// Its row.
    pub row: Measure,
    /// Its value.
    pub value: Value,
    /// What it was measured with.
    pub instrument: Option<Instrument>,
    /// The list its word or grade is of: the scale of the row, or the version that was declared.
    pub scale: Option<String>,
    /// UCUM unit of its number: the one of the row, or the further one it was given in.
    pub unit: Option<String>,
}

/// The value of a finding.
#[derive(Clone, PartialEq, Eq)]
pub enum Value {
    /// An angle.
    Angle(Angle),
    /// A word of the list of the measure.
    Word(String),
    /// A grade of the scale of the measure.
    Grade(String),
    /// A number of points or of the unit of the measure.
    Amount(Exact),
    /// Only a comparison with the other side, a word of `relative`.
    Relative(String),
    /// No catch was met.
    NoCatch,
    /// Not tested, with a word of `not-tested-reason`.
    NotTested(String),
}

impl std::fmt::Debug for Value {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("[private]")
    }
}

/// An angle in degrees, signed in the direction of the movement the measure names: lacking 20 is
/// -20, beyond neutral 20 is 20.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Angle {
    degrees: Exact,
    extent: Extent,
    /// True when the joint does not move at all.
    pub fixed: bool,
}

/// Whether an angle is the end of the movement or only a bound of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// The movement was carried through: this is its end.
    Reached,
    /// The movement was stopped before its end: the end lies at least here.
    AtLeast,
}

/// An angle at which a movement truly ended.
///
/// The comparisons take this and nothing else; a bound cannot become one, so a movement that was
/// stopped by pain or on purpose enters no difference, reference, change or check of sense.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Reached(Exact);

impl Angle {
    /// An angle as a record holds it, read back.
    pub const fn of_record(degrees: Exact, extent: Extent, fixed: bool) -> Self {
        Self {
            degrees,
            extent,
            fixed,
        }
    }

    /// The angle, signed in the direction of the movement.
    pub const fn degrees(&self) -> Exact {
        self.degrees
    }

    /// Whether it is the end of the movement or a bound.
    pub const fn extent(&self) -> Extent {
        self.extent
    }

    /// The angle as the end of the movement; nothing when it is only a bound, or when the joint is
    /// fixed and nothing moved.
    pub const fn reached(&self) -> Option<Reached> {
        match self.extent {
            Extent::Reached if !self.fixed => Some(Reached(self.degrees)),
            Extent::Reached | Extent::AtLeast => None,
        }
    }
}

impl Reached {
    /// The angle, signed in the direction of the movement.
    pub const fn degrees(self) -> Exact {
        self.0
    }
}

/// Where an angle lies, on which side of neutral, named by the movement on that side: a minus sign
/// is too easily missed.
pub fn side_of_neutral(degrees: Exact, row: &Measure) -> String {
    if degrees.is_zero() {
        return "the neutral position".to_owned();
    }
    let movement = if degrees.is_negative() {
        &row.opposite
    } else {
        &row.movement
    };
    let movement = movement.as_deref().unwrap_or_default().replace('-', " ");
    let digits = degrees.magnitude().to_string();
    let many = if digits == "1" { "" } else { "s" };
    format!("{digits} degree{many} of {movement}")
}

impl Measured {
    /// The angle, where the value is one.
    pub const fn angle(&self) -> Option<&Angle> {
        match &self.value {
            Value::Angle(angle) => Some(angle),
            Value::Word(_)
            | Value::Grade(_)
            | Value::Amount(_)
            | Value::Relative(_)
            | Value::NoCatch
            | Value::NotTested(_) => None,
        }
    }

    /// The angle at which the movement truly ended.
    pub fn reached(&self) -> Option<Reached> {
        self.angle().and_then(Angle::reached)
    }

    /// True when something was examined, whatever came of it.
    pub const fn examined(&self) -> bool {
        !matches!(self.value, Value::NotTested(_))
    }
}

/// Joins each finding with its measure, adding every problem; findings that have none are left
/// out.
pub fn measure(session: &Session, catalogue: &Catalogue, problems: &mut Problems) -> Vec<Measured> {
    session_words(session, catalogue, problems);
    session
        .findings
        .iter()
        .filter_map(|finding| one(finding, session, catalogue, problems))
        .collect()
}

fn one(
    finding: &Finding,
    session: &Session,
    catalogue: &Catalogue,
    problems: &mut Problems,
) -> Option<Measured> {
    let path = &finding.path;
    if let Outcome::Found(Said::Unordered(numbers), _) = &finding.outcome {
        notation::unordered(finding, numbers, catalogue, problems);
        return None;
    }
    let row = catalogue.measures.get(&finding.measure);
    let Some(row) = row.filter(|row| row.kind.is_entered()) else {
        no_measure(&finding.measure, path, catalogue, problems);
        return None;
    };
    finding_words(finding, row, catalogue, problems);
    notation::fits(finding, row, catalogue, problems);
    if let Some(site) = &row.site {
        side_fits(site, finding.side, path, catalogue, problems);
    }
    // The position of the session was looked up already; a finding that has it says nothing new.
    if finding.position != session.body_position {
        let path = format!("{path}/position");
        known_word(
            catalogue,
            "body-position",
            &finding.position,
            &path,
            problems,
        );
    }
    let value = value::of(finding, row, catalogue, problems)?;
    visit::felt(finding, row, session.form, catalogue, problems);
    let key = finding.instrument.as_ref();
    let instrument = key.and_then(|key| session.instruments.iter().find(|i| i.key == *key));
    value::instrument_fits(finding, row, instrument, &value, problems);
    let instrument = instrument.cloned();
    Some(Measured {
        finding: finding.clone(),
        row: row.clone(),
        value,
        instrument,
        scale: value::list_of(finding, row, catalogue).map(str::to_owned),
        unit: amount::unit_of(finding, row).map(str::to_owned),
    })
}

fn session_words(session: &Session, catalogue: &Catalogue, problems: &mut Problems) {
    let position = &session.body_position;
    known_word(
        catalogue,
        "body-position",
        position,
        "/session/body_position",
        problems,
    );
    for precaution in &session.precautions {
        for (list, word, field) in [
            ("precaution-status", &precaution.status, "status"),
            ("precaution-source", &precaution.source, "source"),
            ("precaution-limit", &precaution.limit, "limit"),
        ] {
            let path = format!("{}/{field}", precaution.path);
            // What was carried over was stated in a form of its own.
            let form = if precaution.carried {
                DocumentVersion::LATEST
            } else {
                session.form
            };
            Words { form, catalogue }.hold(list, word, &path, problems);
        }
        let path = &precaution.path;
        site_is_known(
            &precaution.site,
            &format!("{path}/site"),
            catalogue,
            problems,
        );
        side_fits(&precaution.site, precaution.side, path, catalogue, problems);
        movement_is_one_of_the_site(precaution, catalogue, problems);
    }
    circumstances::words(session, catalogue, problems);
    visit::words(session, catalogue, problems);
    for (index, instrument) in session.instruments.iter().enumerate() {
        if octofhir_ucum::validate(&instrument.unit).is_err() {
            let what = format!("{} is no UCUM code", instrument.unit);
            let path = format!("/instruments/{index}/unit");
            problems.error(Code::UnitUcum, &path, what, "write deg for degrees, mm, cm");
        }
    }
}

fn site_is_known(site: &str, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    if !catalogue.sites.contains_key(site) {
        let sites: Vec<&str> = catalogue.sites.keys().map(String::as_str).collect();
        let what = format!("{site} is no site of profiles/sites.csv");
        let hint = format!("use one of {}", sites.join(", "));
        problems.error(Code::SiteUnknown, path, what, &hint);
    }
}

/// Neck and trunk have no left or right; everything else has one, and it has to be said.
fn side_fits(site: &str, said: Side, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    let Some(row) = catalogue.sites.get(site) else {
        return;
    };
    let sides = row.sides.words();
    if !sides.contains(&said.word()) {
        let what = format!("the {} has no side {}", row.label, said.word());
        let hint = format!("write {}", sides.join(" or "));
        problems.error(Code::SiteSide, &format!("{path}/side"), what, &hint);
    }
}

/// A limit in a movement that no measure of the region knows would limit nothing, silently.
fn movement_is_one_of_the_site(
    precaution: &Precaution,
    catalogue: &Catalogue,
    problems: &mut Problems,
) {
    let Some(movement) = &precaution.movement else {
        return;
    };
    let region = |site: &str| catalogue.sites.get(site).map(|site| site.region.as_str());
    let rows = catalogue.measures.values().filter(|row| {
        let site = row.site.as_deref();
        // A limit is an angle: a movement that is only graded or named has none.
        row.axis.is_some() && site.is_some() && site.and_then(region) == region(&precaution.site)
    });
    let known: BTreeSet<&str> = rows.filter_map(|row| row.movement.as_deref()).collect();
    if !known.contains(movement.as_str()) {
        let what = format!("{movement} is no movement at the {}", precaution.site);
        let known: Vec<&str> = known.into_iter().collect();
        let hint = format!("use one of {}", known.join(", "));
        let path = format!("{}/movement", precaution.path);
        problems.error(Code::MovementUnknown, &path, what, &hint);
    }
}

fn finding_words(finding: &Finding, row: &Measure, catalogue: &Catalogue, problems: &mut Problems) {
    let path = &finding.path;
    let mut known = |list: &str, word: &str, field: &str| {
        known_word(catalogue, list, word, &format!("{path}/{field}"), problems);
    };
    known("method", &finding.method, "method");
    if let Some(condition) = &finding.condition {
        known("condition", condition, "condition");
    }
    if let Some(end_feel) = &finding.end_feel {
        known("end-feel", end_feel, "end_feel");
    }
    if let Some((_, position)) = &finding.neighbour {
        known("neighbour-position", position, "neighbour/position");
    }
    if let Some(stretch) = &finding.stretch {
        known("stretch-speed", &stretch.speed, "stretch/speed");
        if let Some((version, quality)) = &stretch.quality {
            known(version.list(), quality, "stretch/quality");
        }
    }
    match &finding.outcome {
        Outcome::NotTested(reason) => known("not-tested-reason", reason, "not_tested/reason"),
        Outcome::Found(_, Some(ending)) => {
            known("ending", &ending.how, "ended/how");
            if let Some(because) = &ending.because {
                known("not-tested-reason", because, "ended/because");
            }
        }
        Outcome::Found(_, None) => {}
    }
    way::neighbour_fits(finding, row, problems);
    value::parts_fit(finding, row, problems);
    value::end_feel_fits(finding, catalogue, problems);
    parts::fit(finding, row, catalogue, problems);
}
