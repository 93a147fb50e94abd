//! Comparisons, for a person to read and for a machine.

use crate::base::json::{Node, object, text};
use crate::examination::compare::{Comparison, Found, RowUsed, Rule, Verdict};
use crate::fhir::coding::comparison::verdict_in_words;
use crate::service::app::encode::Encoded;
use crate::service::app::view::{Compared, in_words};
use crate::service::cli::screen;
use crate::tables::catalogue::Catalogue;
use std::collections::BTreeMap;
use std::io::{self, Write};

/// The rules in the order in which they are shown, with what stands above them.
const SHOWN: [(Rule, &str); 7] = [
    (Rule::DynamicPart, "dynamic part R2-R1"),
    (Rule::FixedPart, "fixed part, by the other side"),
    (Rule::FixedPartOfRange, "fixed part, by a published range"),
    (Rule::DynamicShare, "dynamic share"),
    (Rule::SideDifference, "the other side"),
    (Rule::PublishedRange, "published ranges"),
    (Rule::Change, "last time"),
];

/// Writes every comparison that was judged, counts the others by their reason, and names each row of
/// the tables once, with its source.
pub(super) fn print(
    out: &mut dyn Write,
    encoded: &Encoded,
    catalogue: &Catalogue,
) -> io::Result<()> {
    writeln!(out, "  compared, never better or worse:")?;
    let mut rows = BTreeMap::new();
    for (rule, heading) in SHOWN {
        let all = encoded.comparisons.iter();
        let of_rule: Vec<&Comparison> = all.filter(|one| one.rule == rule).collect();
        if rule == Rule::PublishedRange && catalogue.reference_tables.is_empty() {
            writeln!(out, "    {heading}: none, because no table is chosen")?;
            continue;
        }
        if of_rule.is_empty() {
            if rule == Rule::Change {
                let words = "no earlier session speaks of these findings";
                writeln!(out, "    {heading}: {words}")?;
            }
            continue;
        }
        print_rule(out, rule, heading, &of_rule, catalogue)?;
        let used = of_rule.iter().flat_map(|one| &one.rows);
        rows.extend(used.map(|row| ((row.table, row.key.as_str()), row)));
    }
    print_rows(out, &rows)
}

/// What the comparisons of one rule have in common, each that was judged, and how many were not.
fn print_rule(
    out: &mut dyn Write,
    rule: Rule,
    heading: &str,
    of_rule: &[&Comparison],
    catalogue: &Catalogue,
) -> io::Result<()> {
    let compared: Vec<Compared> = of_rule.iter().map(|one| in_words(one, catalogue)).collect();
    let common: Vec<&String> = match compared.as_slice() {
        [first, rest @ ..] => {
            let shared = |told: &&String| rest.iter().all(|one| one.told.contains(*told));
            first.told.iter().filter(shared).collect()
        }
        [] => Vec::new(),
    };
    let mut head = format!("{heading} (rule {}", rule.code());
    for told in &common {
        head.extend(["; ", told]);
    }
    screen::wrapped(out, "    ", &format!("{head}):"))?;
    let judged = of_rule.iter().zip(&compared);
    for (comparison, one) in judged.filter(|(comparison, _)| is_judged(comparison)) {
        let keys: Vec<&str> = comparison.rows.iter().map(|row| row.key.as_str()).collect();
        let by = if keys.is_empty() {
            String::new()
        } else {
            format!(" (row {})", keys.join(", "))
        };
        let words = format!("{}: {}{by}", one.what, one.came_to);
        screen::wrapped(out, "      ", &words)?;
        for told in one.told.iter().filter(|told| !common.contains(told)) {
            screen::wrapped(out, "        ", told)?;
        }
    }
    for (reason, count) in not_judged(of_rule, catalogue) {
        screen::wrapped(out, "      ", &format!("{count} {reason}"))?;
    }
    Ok(())
}

/// True for what was compared and held against something.
pub(super) fn is_judged(one: &Comparison) -> bool {
    let judged = |found: &Found| found.verdict != Verdict::NotJudged;
    // The share of a stretch is a number that is never judged, and told all the same.
    one.outcome.as_ref().is_ok_and(judged)
        || (one.outcome.is_ok() && one.rule == Rule::DynamicShare)
}

/// How many comparisons were not judged, for each reason in words.
pub(super) fn not_judged(
    comparisons: &[&Comparison],
    catalogue: &Catalogue,
) -> BTreeMap<String, usize> {
    let mut counted: BTreeMap<String, usize> = BTreeMap::new();
    for one in comparisons.iter().filter(|one| !is_judged(one)) {
        let reason = match &one.outcome {
            Ok(found) => verdict_in_words(one.rule, found.verdict, catalogue),
            Err(_reason) => in_words(one, catalogue).came_to,
        };
        let count = counted.entry(reason).or_default();
        *count = count.saturating_add(1);
    }
    counted
}

/// The rows that were used, a source once above all rows that come from it.
fn print_rows(out: &mut dyn Write, rows: &BTreeMap<(&str, &str), &RowUsed>) -> io::Result<()> {
    let mut of_source: BTreeMap<String, Vec<&RowUsed>> = BTreeMap::new();
    for row in rows.values() {
        let hash = row.sha256.get(..12).unwrap_or(&row.sha256);
        let source = format!(
            "{}, {}; in {}, SHA-256 {hash}",
            row.title, row.version, row.table
        );
        of_source.entry(source).or_default().push(row);
    }
    for (source, rows) in &of_source {
        screen::wrapped(out, "    source: ", source)?;
        for row in rows {
            screen::wrapped(out, "      row ", &format!("{}: {}", row.key, row.says))?;
        }
    }
    Ok(())
}

/// Every comparison as JSON.
pub(super) fn json(document: &str, encoded: &Encoded, catalogue: &Catalogue) -> Node {
    let comparisons = encoded.comparisons.iter().map(|one| {
        let words = in_words(one, catalogue);
        let found = one.outcome.as_ref().ok();
        let amount = found.and_then(|found| found.amount.as_ref());
        let rows = one.rows.iter().map(|row| {
            object([
                ("table", text(row.table)),
                ("key", text(&row.key)),
                ("says", text(&row.says)),
                ("title", text(&row.title)),
                ("version", text(&row.version)),
                ("table_sha256", text(&row.sha256)),
            ])
        });
        let inputs = one.inputs.iter().map(|input| text(input.name()));
        let mut members = vec![
            ("rule", text(one.rule.code())),
            ("measure", text(&one.about.row.measure)),
            ("side", text(one.about.finding.side.word())),
            ("id", text(one.id.to_string())),
            ("inputs", Node::List(inputs.collect())),
            ("rows", Node::List(rows.collect())),
        ];
        if let Some(amount) = amount {
            members.push(("value", text(amount.number.to_string())));
            members.push(("unit", text(&amount.unit)));
        }
        match &one.outcome {
            Ok(found) => members.push(("verdict", text(found.verdict.code()))),
            Err(reason) => members.push(("not_compared", text(reason.to_string()))),
        }
        members.push(("words", text(words.came_to)));
        members.push(("told", Node::List(one.told.iter().map(text).collect())));
        object(members)
    });
    let chosen = catalogue.reference_tables.iter().map(text);
    object([
        ("document", text(document)),
        ("session", text(encoded.session.id.to_string())),
        ("tables_sha256", text(&catalogue.sha256)),
        ("reference_tables", Node::List(chosen.collect())),
        ("comparisons", Node::List(comparisons.collect())),
    ])
}
