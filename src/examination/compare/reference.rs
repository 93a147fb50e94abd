//! A finding beside a published range.

use crate::base::private::Private;
use crate::examination::compare::part::{Part, number};
use crate::examination::compare::reason::NotCompared;
use crate::examination::compare::{Comparison, Found, Rule, Table, Verdict};
use crate::examination::finding::Session;
use crate::examination::intake::draft::AdministrativeSex;
use crate::examination::measure::Measured;
use crate::tables::catalogue::comparing::{OfSex, ReferenceRow, Use};
use chrono::NaiveDate;

/// Everything that one of the tables the site uses has a row for.
pub(super) fn all(table: &Table<'_>) -> Vec<Comparison> {
    let standing = table.standing.iter();
    standing
        .filter_map(|(one, part)| against(table, one, part))
        .collect()
}

/// A finding beside the first table that has a row for it; where none fits, why the first does not.
pub(super) fn against(table: &Table<'_>, one: &Measured, part: &Part) -> Option<Comparison> {
    let mut first = None;
    for name in &table.catalogue.reference_tables {
        let rows = table.catalogue.reference_ranges.iter();
        let rows: Vec<&ReferenceRow> = rows
            .filter(|row| row.table == *name && row.measure.as_deref() == Some(&part.row.measure))
            .collect();
        if rows.is_empty() {
            continue;
        }
        let mut comparison = Comparison::new(Rule::PublishedRange, one, &[part]);
        match beside(table, part, name, &rows) {
            Ok((row, found)) => {
                let says = format!("{}; {}", row.statistic.words(), row.label);
                comparison.rows =
                    vec![table.row_used("reference_ranges.csv", &row.key, &row.source, says)];
                comparison.outcome = Ok(found);
                return Some(comparison);
            }
            Err(reason) => {
                comparison.outcome = Err(reason);
                first = first.or(Some(comparison));
            }
        }
    }
    first
}

fn beside<'a>(
    table: &Table<'_>,
    part: &Part,
    name: &str,
    rows: &[&'a ReferenceRow],
) -> Result<(&'a ReferenceRow, Found), NotCompared> {
    let number = number(&part.value)?;
    let row = fitting(table.session, part, name, rows)?;
    let range = row.for_one_person();
    let range =
        range.ok_or_else(|| NotCompared::GroupOnly(name.to_owned(), row.statistic.words()))?;
    if row.used == Use::Off {
        return Err(NotCompared::RowOff(name.to_owned()));
    }
    let verdict = if number < range.low() {
        Verdict::BelowRange
    } else if number > range.high() {
        Verdict::AboveRange
    } else {
        Verdict::WithinRange
    };
    let found = Found {
        amount: None,
        verdict,
        range: Some((range, row.clone())),
    };
    Ok((row, found))
}

/// The row of a table for this way of measuring, this sex and this age; never one beside it.
fn fitting<'a>(
    session: &Session,
    part: &Part,
    name: &str,
    rows: &[&'a ReferenceRow],
) -> Result<&'a ReferenceRow, NotCompared> {
    let name = || name.to_owned();
    let any_or = |said: Option<&str>, found: Option<&str>| said.is_none() || said == found;
    let mut rows = rows.to_vec();
    rows.retain(|row| {
        row.unit == part.unit()
            && row.method.as_deref() == Some(&part.way.method)
            && any_or(row.position.as_deref(), Some(&part.way.position))
            && any_or(row.instrument.as_deref(), part.way.instrument.as_deref())
    });
    if rows.is_empty() {
        return Err(NotCompared::TableOtherWay(name()));
    }
    let sex = match session.patient.sex.as_ref().map(Private::open) {
        Some(AdministrativeSex::Female) => Some(OfSex::Female),
        Some(AdministrativeSex::Male) => Some(OfSex::Male),
        Some(AdministrativeSex::Other | AdministrativeSex::Unknown) | None => None,
    };
    rows.retain(|row| row.sex == OfSex::Any || Some(row.sex) == sex);
    if rows.is_empty() {
        return Err(NotCompared::SexNotRecorded(name()));
    }
    let day = session.start.instant.date_naive();
    let Some((youngest, oldest)) = age(session.patient.birth_date.open(), day) else {
        return Err(NotCompared::AgeNotExact(name()));
    };
    let holds = |row: &ReferenceRow, years: u32| {
        row.age_from.is_none_or(|from| from <= years) && row.age_to.is_none_or(|to| years <= to)
    };
    let fits = rows
        .iter()
        .find(|row| holds(row, youngest) && holds(row, oldest));
    let touches = |row: &&ReferenceRow| holds(row, youngest) || holds(row, oldest);
    match fits {
        Some(row) => Ok(row),
        None if rows.iter().any(touches) => Err(NotCompared::AgeNotExact(name())),
        None => Err(NotCompared::AgeOutside(name())),
    }
}

/// Completed years on a day, at least and at most: a birth date may be a year or a month.
fn age(birth: &str, day: NaiveDate) -> Option<(u32, u32)> {
    let whole = |text: String| text.parse::<NaiveDate>().ok();
    let (first, last) = match birth.len() {
        4 => (
            whole(format!("{birth}-01-01"))?,
            whole(format!("{birth}-12-31"))?,
        ),
        7 => {
            let first = whole(format!("{birth}-01"))?;
            let next = first.checked_add_months(chrono::Months::new(1))?;
            (first, next.pred_opt()?)
        }
        _ => {
            let day = whole(birth.to_owned())?;
            (day, day)
        }
    };
    let oldest = day.years_since(first)?;
    // Born later in that year than the day: not yet born is no age, and nobody is examined then.
    Some((day.years_since(last).unwrap_or(0), oldest))
}

#[cfg(test)]
mod tests {
    use super::age;

    #[test]
    fn an_age_counts_completed_years_and_knows_what_a_year_of_birth_leaves_open() {
        let on = |birth: &str, day: &str| age(birth, day.parse().expect("a day"));

        assert_eq!(on("1958-03-14", "2026-03-13"), Some((67, 67)));
        assert_eq!(on("1958-03-14", "2026-03-14"), Some((68, 68)));
        assert_eq!(on("1958-03", "2026-03-14"), Some((67, 68)));
        assert_eq!(on("1958", "2026-12-31"), Some((68, 68)));
        assert_eq!(on("1958", "2026-06-01"), Some((67, 68)));
        assert_eq!(on("1957-02-28", "2026-02-28"), Some((69, 69)));
        assert_eq!(on("no year", "2026-02-28"), None);
    }
}
