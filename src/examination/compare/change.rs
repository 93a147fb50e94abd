//! Now beside last time.

use crate::examination::compare::part::{EarlierSession, Part, closest, pair};
use crate::examination::compare::{Comparison, Rule, Table, side, tester};
use crate::examination::finding::Written;
use crate::examination::finding::circumstances::{Circumstances, Splint};
use crate::examination::measure::Measured;
use chrono::TimeDelta;
use std::collections::BTreeSet;

/// The change of every finding since the latest earlier session that speaks of it.
///
/// Last time is the session that speaks of the same measure on the same side, whatever came of it:
/// one that was not tested then is said to be so, and no older one is taken in its place.
pub(super) fn all(table: &Table<'_>, earlier: &[EarlierSession]) -> Vec<Comparison> {
    let mut all = Vec::new();
    for (now, part) in table.standing {
        let of_same = |session: &'_ EarlierSession| {
            let others = session.parts.iter().filter(|other| {
                !other.withdrawn && other.row.measure == part.row.measure && other.side == part.side
            });
            closest(part, others).cloned()
        };
        let last = earlier
            .iter()
            .find_map(|session| Some((of_same(session)?, session)));
        if let Some((then, session)) = last {
            all.push(one(table, now, part, &then, session));
        }
    }
    all
}

fn one(
    table: &Table<'_>,
    now: &Measured,
    part: &Part,
    then: &Part,
    session: &EarlierSession,
) -> Comparison {
    let mut comparison = Comparison::new(Rule::Change, now, &[part, then]);
    comparison.last_time = Some(session.start.clone());
    let when = session.start.instant.format("%-d %B %Y at %H:%M");
    comparison.told.push(format!("last time {when}"));
    let tester = tester(part, then);
    let row = table.error_row(part, tester);
    comparison.outcome =
        pair(part, then, table.catalogue).and_then(|pair| side::found(pair, row, row, part));
    comparison.told.push(format!("{} tester", tester.word()));
    if comparison.outcome.is_ok() {
        comparison.rows = table.used(&row.into_iter().collect::<Vec<_>>());
    }
    comparison.told.extend(differing(table, part, session));
    comparison
}

/// What was recorded otherwise, and may have changed the finding.
fn differing(table: &Table<'_>, part: &Part, then: &EarlierSession) -> Vec<String> {
    let session = table.session;
    let Some(before) = &then.circumstances else {
        return vec!["what else differed then is not known".to_owned()];
    };
    let now = &session.circumstances;
    let splint = |of: &Circumstances| {
        let here =
            |splint: &&Splint| splint.side == part.side && same_region(table, part, &splint.site);
        of.splints
            .iter()
            .find(here)
            .map(|splint| splint.worn.clone())
    };
    let said = [
        (
            "alertness",
            "alertness",
            before.alertness.clone(),
            now.alertness.clone(),
        ),
        (
            "ability to answer",
            "ability-to-answer",
            before.ability_to_answer.clone(),
            now.ability_to_answer.clone(),
        ),
        ("splint", "splint-worn", splint(before), splint(now)),
    ];
    let label = |list: &str, code: Option<&String>| {
        let row = code.and_then(|code| table.catalogue.word(list, code));
        row.map_or_else(|| "not recorded".to_owned(), |row| row.label.clone())
    };
    let differ = said.iter().filter(|(_, _, then, now)| then != now);
    let mut told: Vec<String> = differ
        .map(|(what, list, then, now)| {
            let (then, now) = (label(list, then.as_ref()), label(list, now.as_ref()));
            format!("{what}: then {then}, now {now}")
        })
        .collect();
    told.extend(medicines(before, &then.start, now, &session.start));
    told.extend(injections(table, part, before, now));
    told
}

fn same_region(table: &Table<'_>, part: &Part, site: &str) -> bool {
    let region = |site: &str| {
        table
            .catalogue
            .sites
            .get(site)
            .map(|row| row.region.as_str())
    };
    part.row
        .site
        .as_deref()
        .and_then(region)
        .is_some_and(|of| Some(of) == region(site))
}

/// Medicines that were taken only once, and how long before each examination the last dose was.
fn medicines(
    before: &Circumstances,
    then: &Written,
    now: &Circumstances,
    start: &Written,
) -> Vec<String> {
    let names = |of: &Circumstances| -> BTreeSet<String> {
        of.medicines
            .iter()
            .map(|(words, _)| words.open().clone())
            .collect()
    };
    let since = |of: &Circumstances, name: &str, start: &Written| {
        let medicine = of.medicines.iter().find(|(words, _)| words.open() == name);
        match medicine {
            None => "not recorded".to_owned(),
            Some((_, None)) => "last dose not known".to_owned(),
            Some((_, Some(dose))) => hours(start.instant - dose.instant),
        }
    };
    let all: BTreeSet<String> = names(before).union(&names(now)).cloned().collect();
    let told = all.into_iter().filter_map(|name| {
        let (was, is) = (since(before, &name, then), since(now, &name, start));
        (was != is).then(|| format!("{name}: then {was}, now {is}"))
    });
    told.collect()
}

fn hours(since: TimeDelta) -> String {
    let minutes = since.num_minutes();
    let (hours, minutes) = (minutes.div_euclid(60), minutes.rem_euclid(60));
    format!("last dose {hours} h {minutes} min before")
}

/// Injections into muscles of the same region and side that lie between both times.
fn injections(
    table: &Table<'_>,
    part: &Part,
    before: &Circumstances,
    now: &Circumstances,
) -> Vec<String> {
    let new = now.injections.iter().filter(|one| {
        one.side == part.side
            && same_region(table, part, &one.muscle)
            && !before.injections.contains(one)
    });
    new.map(|one| format!("injected since: {} on {}", one.words.open(), one.on))
        .collect()
}
