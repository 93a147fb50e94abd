//! Pain that comes or rises during a session, beside the pain before it or at rest at the same site.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::examination::intake::parts::Side;
use crate::examination::measure::Measured;
use crate::examination::measure::prompt::{Prompt, amount, prompt};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;
use std::cmp::Reverse;
use std::collections::BTreeSet;

/// When pain is asked for to set other pain against, the one that goes before first.
const BEFORE: [&str; 2] = ["before-treatment", "at-rest"];

/// When pain is asked for that may have come during the session.
const LATER: [&str; 4] = [
    "after-treatment",
    "during-movement",
    "during-stretch",
    "during-effort-elsewhere",
];

/// One prompt for each site and side at which pain after treatment, or with a movement, is higher than
/// before or at rest by the limit or more. It is about the highest and names all of them.
///
/// Pain is a number from 0 to 10 wherever it is asked for, so that of a finding of pain and that during a
/// movement are on one scale. A movement that pain stopped and that has no number says nothing here.
pub(super) fn risen(all: &[&Measured], catalogue: &Catalogue) -> Vec<Prompt> {
    let scores = all.iter().filter(|one| one.row.kind == Kind::Score);
    let places: BTreeSet<(&str, Side)> = scores
        .filter_map(|one| Some((one.row.site.as_deref()?, one.finding.side)))
        .collect();
    let prompts = places.into_iter().filter_map(|(site, side)| {
        let here = all.iter().copied();
        let here = here
            .filter(|one| one.row.site.as_deref() == Some(site) && one.finding.side == side)
            .collect::<Vec<_>>();
        at_one_site(&here, catalogue)
    });
    prompts.collect()
}

fn at_one_site(here: &[&Measured], catalogue: &Catalogue) -> Option<Prompt> {
    let (before, from) = before(here)?;
    let limit = catalogue.plausibility.get("pain-risen")?;
    let mut risen: Vec<(Exact, &Measured)> = here
        .iter()
        .filter_map(|one| Some((later(one)?, *one)))
        .filter(|(pain, _)| pain.minus(from).is_ok_and(|rise| rise >= *limit))
        .collect();
    risen.sort_by_key(|(pain, one)| (Reverse(*pain), &one.row.label, one.finding.id));
    let told: Vec<String> = risen
        .iter()
        .map(|(pain, one)| format!("{pain} {}", when(one, catalogue)))
        .collect();
    let detail = format!(
        "{}: {from} {}, {}",
        before.finding.side.word(),
        when(before, catalogue),
        told.join(", ")
    );
    let mut findings: Vec<&Measured> = risen.into_iter().map(|(_, one)| one).collect();
    // Nothing has risen where nothing is left.
    findings.first()?;
    findings.push(before);
    prompt(Code::PainRisen.word(), &findings, &detail, catalogue)
}

/// The pain to set other pain against, and how strong it is.
fn before<'a>(here: &[&'a Measured]) -> Option<(&'a Measured, Exact)> {
    let asked = here.iter().filter_map(|one| {
        let condition = condition(one)?;
        let rank = BEFORE.iter().position(|before| *before == condition)?;
        Some((rank, *one, amount(&one.value)?))
    });
    let first = asked.min_by_key(|(rank, one, _)| (*rank, one.finding.repeat, one.finding.id))?;
    Some((first.1, first.2))
}

/// How strong pain was that may have come during the session.
fn later(one: &Measured) -> Option<Exact> {
    match condition(one) {
        Some(condition) => amount(&one.value).filter(|_| LATER.contains(&condition)),
        None => one.finding.pain_during.filter(|_| one.examined()),
    }
}

/// When pain of its own was felt; nothing for any other finding.
fn condition(one: &Measured) -> Option<&str> {
    let of_pain = one.row.kind == Kind::Score;
    of_pain.then(|| one.finding.condition.as_deref().unwrap_or_default())
}

/// When it was felt, in words.
fn when(one: &Measured, catalogue: &Catalogue) -> String {
    match condition(one) {
        Some(condition) => {
            let row = catalogue.word("condition", condition);
            row.map(|row| row.label.clone()).unwrap_or_default()
        }
        None => format!("during {}", one.row.label),
    }
}
