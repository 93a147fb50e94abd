//! Comparisons, for a person to read and for a machine.

use crate::base::json::{Node, object, text};
use crate::examination::compare::Rule;
use crate::service::app::encode::Encoded;
use crate::service::app::view::{self, Compared};
use crate::service::cli::report;
use crate::tables::catalogue::Catalogue;
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

/// Writes every comparison with the row it used.
pub(super) fn print(
    out: &mut dyn Write,
    encoded: &Encoded,
    catalogue: &Catalogue,
) -> io::Result<()> {
    writeln!(out, "  compared, never better or worse:")?;
    for (rule, heading) in SHOWN {
        let compared = view::compared(&encoded.comparisons, rule, catalogue);
        if rule == Rule::PublishedRange && catalogue.reference_tables.is_empty() {
            writeln!(out, "    {heading}: none, because no table is chosen")?;
            continue;
        }
        if compared.is_empty() {
            if rule == Rule::Change {
                writeln!(
                    out,
                    "    {heading}: no earlier session speaks of these findings"
                )?;
            }
            continue;
        }
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
        report::wrapped(out, "    ", &format!("{head}):"))?;
        for one in &compared {
            print_one(out, one, &common)?;
        }
    }
    Ok(())
}

fn print_one(out: &mut dyn Write, one: &Compared, common: &[&String]) -> io::Result<()> {
    report::wrapped(out, "      ", &format!("{}: {}", one.what, one.came_to))?;
    for row in &one.rows {
        report::wrapped(out, "        row ", row)?;
    }
    for told in one.told.iter().filter(|told| !common.contains(told)) {
        report::wrapped(out, "        ", told)?;
    }
    Ok(())
}

/// Every comparison as JSON.
pub(super) fn json(document: &str, encoded: &Encoded, catalogue: &Catalogue) -> Node {
    let comparisons = encoded.comparisons.iter().map(|one| {
        let words = view::in_words(one, catalogue);
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
