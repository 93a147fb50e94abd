//! What the error of measuring explains of a difference.

use crate::base::exact::{Exact, NotExact};
use crate::examination::compare::Verdict;
use crate::examination::compare::part::Part;
use crate::examination::compare::reason::NotCompared;
use crate::tables::catalogue::comparing::{ErrorRow, STEP, Tester, Use, mdc95_of};

/// The row that serves a finding, measured twice by this tester or these.
///
/// A row serves only its own measure, position, method and kind of instrument; one whose source does
/// not say position or instrument serves any. A row for a goniometer never serves a visual estimate,
/// because the method is part of what has to agree.
pub(super) fn row<'a>(part: &Part, tester: Tester, rows: &'a [ErrorRow]) -> Option<&'a ErrorRow> {
    let any_or = |said: Option<&str>, found: Option<&str>| said.is_none() || said == found;
    rows.iter().find(|row| {
        row.used == Use::On
            && row.tester == tester
            && (row.unit == part.unit() || row.unit == STEP)
            && row.measure.as_deref() == Some(part.row.measure.as_str())
            && row.method.as_deref() == Some(part.way.method.as_str())
            && any_or(row.position.as_deref(), Some(&part.way.position))
            && any_or(row.instrument.as_deref(), part.way.instrument.as_deref())
    })
}

/// What a row says, in words, and of whom: an error found in others serves this person only as far as
/// they are alike, which a reader has to be able to see.
pub(super) fn says(row: &ErrorRow) -> String {
    let unit = row.unit.as_str();
    let error = match (row.mdc95, row.sem) {
        (Some(mdc95), _) => format!("{MDC95} {mdc95} {unit}"),
        (None, Some(sem)) => {
            let mdc95 = mdc95_of(sem, 1).map_or_else(|_digits| String::new(), |m| m.to_string());
            format!(
                "standard error of measurement (SEM) {sem} {unit}, so {MDC95} about {mdc95} {unit}"
            )
        }
        (None, None) => return String::new(),
    };
    format!(
        "{error}, {} tester; where it was found: {}",
        row.tester.word(),
        row.label
    )
}

const MDC95: &str = "smallest change beyond the error of measuring (MDC95)";

/// What a difference between two numbers comes to beside the errors of both.
///
/// A difference counts only when it is strictly more than the largest that error explains: with the
/// standard errors s1 and s2 of two independent measurements, the error of their difference is the
/// root of s1² + s2², and 95 % lie within 1.96 times that. Squares are compared, so that no root is
/// rounded: d² > 1.96² (s1² + s2²). Where a row gives MDC95 only, it stands for 1.96 times the root
/// of 2 times s, so that for one row the difference has to be more than MDC95.
///
/// Source: SEM and MDC95 as in Beckerman 1996 (Scand J Rehabil Med 28:3); that independent errors
/// add by their squares is common statistics.
pub(super) fn judge(
    difference: Exact,
    first: Option<&ErrorRow>,
    second: Option<&ErrorRow>,
) -> Result<Verdict, NotCompared> {
    if difference.is_zero() {
        return Ok(Verdict::NoDifference);
    }
    let (Some(first), Some(second)) = (first, second) else {
        return Ok(Verdict::NotJudged);
    };
    let beyond = beyond(difference, first, second).map_err(|_digits| NotCompared::Digits)?;
    Ok(match (beyond, difference.is_negative()) {
        (false, _) => Verdict::WithinError,
        (true, true) => Verdict::Lower,
        (true, false) => Verdict::Higher,
    })
}

/// What a difference between two places of an ordinal scale comes to: one step is within usual
/// disagreement (common practice, no source), unless a row counts steps and says otherwise.
pub(super) fn judge_steps(
    difference: Exact,
    row: Option<&ErrorRow>,
) -> Result<Verdict, NotCompared> {
    if difference.is_zero() {
        return Ok(Verdict::NoDifference);
    }
    let several = match row.filter(|row| row.unit == STEP) {
        Some(row) => beyond(difference, row, row),
        None => Exact::parse("1").map(|one| difference.magnitude() > one),
    };
    let several = several.map_err(|_digits| NotCompared::Digits)?;
    Ok(match (several, difference.is_negative()) {
        (false, true) => Verdict::StepLower,
        (false, false) => Verdict::StepHigher,
        (true, true) => Verdict::SeveralStepsLower,
        (true, false) => Verdict::SeveralStepsHigher,
    })
}

/// 2 d² > w1 + w2, where w is MDC95², or 2 · 1.96² · SEM² where only that is known.
pub(super) fn beyond(
    difference: Exact,
    first: &ErrorRow,
    second: &ErrorRow,
) -> Result<bool, NotExact> {
    let square = difference.times(difference)?;
    let explained = weight(first)?.plus(weight(second)?)?;
    Ok(square.plus(square)? > explained)
}

fn weight(row: &ErrorRow) -> Result<Exact, NotExact> {
    match (row.mdc95, row.sem) {
        (Some(mdc95), _) => mdc95.times(mdc95),
        // 2 · 1.96² = 7.6832
        (None, Some(sem)) => sem.times(sem)?.times(Exact::parse("7.6832")?),
        (None, None) => Err(NotExact::Digits),
    }
}

#[cfg(test)]
mod tests {
    use super::{beyond, judge, judge_steps, says};
    use crate::base::exact::Exact;
    use crate::examination::compare::Verdict;
    use crate::tables::catalogue::Catalogue;
    use crate::tables::catalogue::comparing::ErrorRow;

    fn exact(text: &str) -> Exact {
        Exact::parse(text).expect("a decimal")
    }

    fn row(sem: Option<&str>, mdc95: Option<&str>) -> ErrorRow {
        let catalogue = Catalogue::embedded().expect("sound tables");
        let row = catalogue.measurement_error.first().expect("a row").clone();
        ErrorRow {
            sem: sem.map(exact),
            mdc95: mdc95.map(exact),
            ..row
        }
    }

    /// Source: the smallest real difference is 1.96 times the root of s1² + s2² (Beckerman 1996, Scand J
    /// Rehabil Med 28:3). With SEM 3 and SEM 3 that is 1.96 times 4.2426 (root of 18), 8.3156: 8.31
    /// lies below it and 8.32 above.
    #[test]
    fn a_difference_counts_only_beyond_the_error_of_both() {
        let three = row(Some("3"), None);
        let counts = |difference: &str| beyond(exact(difference), &three, &three).expect("held");

        assert!(!counts("8.31"));
        assert!(counts("8.32"));
        assert!(counts("-8.32"));
    }

    /// Source: Armstrong 1998, J Shoulder Elbow Surg 7:573: greater than 6 degrees, so 6 is not.
    #[test]
    fn the_largest_change_that_error_explains_does_not_count() {
        let six = row(None, Some("6"));
        let verdict = |difference: &str| judge(exact(difference), Some(&six), Some(&six));

        assert_eq!(verdict("6"), Ok(Verdict::WithinError));
        assert_eq!(verdict("6.0"), Ok(Verdict::WithinError));
        assert_eq!(verdict("6.1"), Ok(Verdict::Higher));
        assert_eq!(verdict("-7"), Ok(Verdict::Lower));
        assert_eq!(verdict("0"), Ok(Verdict::NoDifference));
        assert_eq!(judge(exact("60"), Some(&six), None), Ok(Verdict::NotJudged));
    }

    #[test]
    fn a_row_says_of_whom_its_error_was_found() {
        let catalogue = Catalogue::embedded().expect("sound tables");

        for row in &catalogue.measurement_error {
            assert!(says(row).ends_with(&row.label), "{}", row.key);
        }
    }

    #[test]
    fn one_step_is_within_usual_disagreement_unless_a_row_says_otherwise() {
        let steps = ErrorRow {
            unit: "{step}".to_owned(),
            ..row(None, Some("2"))
        };

        assert_eq!(judge_steps(exact("1"), None), Ok(Verdict::StepHigher));
        assert_eq!(
            judge_steps(exact("-2"), None),
            Ok(Verdict::SeveralStepsLower)
        );
        assert_eq!(
            judge_steps(exact("2"), Some(&steps)),
            Ok(Verdict::StepHigher)
        );
        assert_eq!(
            judge_steps(exact("3"), Some(&steps)),
            Ok(Verdict::SeveralStepsHigher)
        );
    }
}
