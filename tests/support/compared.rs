#![cfg(test)]
//! Comparisons of what was encoded.

use fascicle::examination::compare::reason::NotCompared;
use fascicle::examination::compare::{Comparison, Rule};
use fascicle::service::app::encode::Encoded;

/// Every comparison of one rule.
pub(crate) fn of(encoded: &Encoded, rule: Rule) -> Vec<&Comparison> {
    let all = encoded.comparisons.iter();
    all.filter(|one| one.rule == rule).collect()
}

/// What one comparison came to: its number where it has one, else its verdict; or why not.
pub(crate) fn came_to(one: &Comparison) -> Result<String, NotCompared> {
    one.outcome.clone().map(|found| {
        let verdict = found.verdict.code().to_owned();
        found
            .amount
            .map_or(verdict, |amount| amount.number.to_string())
    })
}
