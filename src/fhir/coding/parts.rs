//! The parts of a statement that are not its value.

use crate::base::private::Private;
use crate::examination::finding::{Outcome, Part, Precaution, Said, Session};
use crate::examination::intake::draft::{Consent, MoreAffectedSide};
use crate::examination::intake::parts::Side;
use crate::examination::measure::{Extent, Measured, Value};
use crate::fhir::coding::{CodedValue, Concept, amount, body_site, word};
use crate::tables::catalogue::Catalogue;

/// The parts of a finding.
pub(super) fn of(one: &Measured, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let part = |name: &str| word(catalogue, "component", name);
    let concept = |list: &str, code: &str| CodedValue::Concept(word(catalogue, list, code));
    let mut parts = Vec::new();
    if let Outcome::Found(_, Some(ending)) = &one.finding.outcome {
        let mut how = word(catalogue, "ending", &ending.how);
        if let Some(why) = &ending.why {
            how.text = how.text.map(|text| format!("{text}: {}", why.open()));
        }
        parts.push((part("ending"), CodedValue::Concept(how)));
        if let Some(because) = &ending.because {
            parts.push((
                part("taken-no-further"),
                concept("not-tested-reason", because),
            ));
        }
    }
    if let Some(end_feel) = &one.finding.end_feel {
        parts.push((part("end-feel"), concept("end-feel", end_feel)));
    }
    if let Some(state) = joint_state(one) {
        parts.push((part("joint-state"), concept("joint-state", state)));
    }
    parts.extend(neighbour(one, catalogue));
    parts.extend(stretched(one, catalogue));
    parts.extend(one.finding.parts.iter().filter_map(|own| {
        let value = match (&own.said, unit_of_part(own, one, catalogue)) {
            (Said::Word(word), (Some(list), _)) => concept(list, word),
            (Said::Amount(number, _), (_, Some(unit))) => {
                CodedValue::Amount(amount(*number, false, unit, catalogue))
            }
            (_, _) => return None,
        };
        Some((part(&own.name), value))
    }));
    parts.extend(place(one, catalogue));
    parts.extend(stands_for(one, catalogue));
    parts.extend(compared_site(one, catalogue));
    parts.extend(felt_beside(one, catalogue));
    if let Some(condition) = &one.finding.condition {
        parts.push((part("condition"), concept("condition", condition)));
    }
    if let Some(pain) = one.finding.pain_during {
        let pain = CodedValue::Amount(amount(pain, false, "{score}", catalogue));
        parts.push((part("pain-during"), pain));
    }
    if one.finding.repeat > 1 {
        parts.push((part("repeat"), CodedValue::Count(one.finding.repeat)));
    }
    parts
}

/// How fast a stretch was, and how the muscle reacted.
fn stretched(one: &Measured, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let part = |name: &str| word(catalogue, "component", name);
    let concept = |list: &str, code: &str| CodedValue::Concept(word(catalogue, list, code));
    let mut parts = Vec::new();
    if let Some(stretch) = &one.finding.stretch {
        parts.push((
            part("stretch-speed"),
            concept("stretch-speed", &stretch.speed),
        ));
        if let Some(velocity) = stretch.velocity {
            let velocity = CodedValue::Amount(amount(velocity, false, "deg/s", catalogue));
            parts.push((part("stretch-velocity"), velocity));
        }
        if let Some((version, quality)) = &stretch.quality {
            parts.push((part("stretch-quality"), concept(version.list(), quality)));
        }
    }
    parts
}

/// How something was felt beside something else: beside what, and how.
fn felt_beside(one: &Measured, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let part = |name: &str, code: &str| {
        let value = CodedValue::Concept(word(catalogue, name, code));
        (word(catalogue, "component", name), value)
    };
    let compared = one.finding.compared.as_ref();
    compared.map_or_else(Vec::new, |compared| {
        vec![
            part("sensation-reference", &compared.beside),
            part("sensation-compared", &compared.felt),
        ]
    })
}

/// The list or the unit of a part.
fn unit_of_part<'a>(
    part: &Part,
    one: &'a Measured,
    catalogue: &'a Catalogue,
) -> (Option<&'a str>, Option<&'a str>) {
    let mut rows = catalogue.parts_of(&one.row);
    rows.find(|row| row.part == part.name)
        .map_or((None, None), |row| {
            (row.list.as_deref(), row.unit.as_deref())
        })
}

/// The landmark a measure is taken at, and how far from it.
fn place(one: &Measured, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let landmark = catalogue.landmarks.get(&one.row.measure);
    landmark.map_or_else(Vec::new, |row| {
        let at = CodedValue::Concept(word(catalogue, "landmark", &row.landmark));
        let far = CodedValue::Amount(amount(row.distance, false, &row.unit, catalogue));
        vec![
            (word(catalogue, "component", "landmark"), at),
            (word(catalogue, "component", &row.direction), far),
        ]
    })
}

/// What a grade stands for, such as the nominal force of a filament.
fn stands_for(one: &Measured, catalogue: &Catalogue) -> Option<(Concept, CodedValue)> {
    let Value::Grade(grade) = &one.value else {
        return None;
    };
    let mut rows = catalogue.grade_amounts.iter();
    let row = rows.find(|row| Some(&row.list) == one.scale.as_ref() && row.grade == *grade)?;
    let value = CodedValue::Amount(amount(row.amount, false, &row.unit, catalogue));
    Some((word(catalogue, "component", &row.part), value))
}

/// The position of the neighbouring joint.
pub(super) fn neighbour(one: &Measured, catalogue: &Catalogue) -> Option<(Concept, CodedValue)> {
    one.finding.neighbour.as_ref().map(|(joint, position)| {
        let mut name = word(catalogue, "component", "neighbour-position");
        name.text = Some(format!("position of the {joint}"));
        let mut position = word(catalogue, "neighbour-position", position);
        position.text = position.text.map(|text| format!("{joint} {text}"));
        (name, CodedValue::Concept(position))
    })
}

/// A comparison links both sites and gives a grade to neither.
fn compared_site(one: &Measured, catalogue: &Catalogue) -> Option<(Concept, CodedValue)> {
    let Value::Relative(_) = one.value else {
        return None;
    };
    let other = match one.finding.side {
        Side::Left => Side::Right,
        Side::Right => Side::Left,
        Side::Middle => return None,
    };
    let site = body_site(catalogue, one.row.site.as_deref()?, other)?;
    let name = word(catalogue, "component", "compared-site");
    Some((name, CodedValue::Concept(site)))
}

fn joint_state(one: &Measured) -> Option<&'static str> {
    match &one.value {
        Value::Angle(angle) if angle.fixed => Some("fixed"),
        Value::Angle(angle)
            if one.row.mode.as_deref() == Some("passive")
                && one.row.kind == crate::tables::catalogue::rows::Kind::Range
                && angle.extent() == Extent::Reached
                && angle.degrees().is_negative() =>
        {
            Some("neutral-not-reached")
        }
        Value::Angle(_)
        | Value::Word(_)
        | Value::Grade(_)
        | Value::Amount(_)
        | Value::Relative(_)
        | Value::NoCatch
        | Value::NotTested(_) => None,
    }
}

/// The parts of a precaution.
pub(super) fn of_precaution(one: &Precaution, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let part = |name: &str| word(catalogue, "component", name);
    let concept = |list: &str, code: &str| CodedValue::Concept(word(catalogue, list, code));
    let mut parts = vec![
        (
            part("precaution-status"),
            concept("precaution-status", &one.status),
        ),
        (
            part("precaution-source"),
            concept("precaution-source", &one.source),
        ),
        (
            part("precaution-reason"),
            CodedValue::Words(one.reason.clone()),
        ),
    ];
    if let Some(movement) = &one.movement {
        let movement = CodedValue::Words(Private::new(movement.clone()));
        parts.push((part("precaution-movement"), movement));
    }
    if let Some(angle) = one.angle {
        let angle = CodedValue::Amount(amount(angle, false, "deg", catalogue));
        parts.push((part("precaution-angle"), angle));
    }
    let lifted_on = one.lifted.as_ref().map(|(_, on)| *on);
    let days = [
        ("precaution-set", one.set),
        ("precaution-review", one.review),
        ("precaution-end", one.end),
        ("precaution-lifted", lifted_on),
    ];
    for (name, day) in days {
        parts.extend(day.map(|day| (part(name), CodedValue::Day(day))));
    }
    if let Some((by, _)) = &one.lifted {
        let by = Private::new(format!("lifted by {}", by.open()));
        parts.push((part("precaution-lifted-by"), CodedValue::Words(by)));
    }
    parts
}

/// What holds for the session as a whole, in words.
pub(super) fn panel_notes(session: &Session) -> Vec<Private<String>> {
    let side = match session.more_affected {
        MoreAffectedSide::Left => "left",
        MoreAffectedSide::Right => "right",
        MoreAffectedSide::Both => "both alike",
        MoreAffectedSide::Neither => "neither",
        MoreAffectedSide::NotKnown => "not known",
    };
    let consent = match session.consent {
        Consent::Yes => "given",
        Consent::No => "not given",
        Consent::BySomebodyEntitled => "given by somebody entitled",
    };
    let mut notes = vec![
        format!("more affected side: {side}"),
        format!("consent: {consent}; {}", session.consent_how.open()),
    ];
    if let Some((words, onset)) = &session.condition {
        let onset = onset
            .as_deref()
            .map(|onset| format!(", onset {onset}"))
            .unwrap_or_default();
        notes.push(format!("condition: {}{onset}", words.open()));
    }
    if let Some(end) = &session.encounter_at_end {
        notes.push(format!(
            "moved during the examination; the stay at its end is {} {}",
            end.system,
            end.value.open()
        ));
    }
    if session.none_known {
        notes.push("precautions: asked and looked up, none known".to_owned());
    }
    for none in &session.circumstances.none_known {
        let list = none.list().replace('_', " ");
        notes.push(format!("{list}: asked and looked up, none known"));
    }
    for confirmed in &session.confirmations {
        let by = session.performers.iter().find(|p| p.key == confirmed.by);
        notes.extend(confirmed.what.as_ref().map(|what| {
            let what = what.open();
            format!("prompt {} of {}: {what}", confirmed.code, confirmed.path)
        }));
        notes.push(format!(
            "confirmed {} of {} by {} ({}) at {}: {}",
            confirmed.code,
            confirmed.path,
            confirmed.by,
            by.map(|by| by.role.as_str()).unwrap_or_default(),
            confirmed.at.text,
            confirmed.reason.open()
        ));
    }
    notes.into_iter().map(Private::new).collect()
}
