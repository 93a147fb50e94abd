//! The worksheet of a hospital's build team: every measure with its codes, units and an example.

mod example;
mod page;
pub mod row;

use crate::base::json::Node;
use crate::service::app::worksheet::row::{Coding, Examples, Row};
use crate::tables::catalogue::conformance::header::{LOINC_NOTICE, SNOMED_NOTICE};
use crate::tables::catalogue::parts::Bounds;
use crate::tables::catalogue::rows::{CodeRow, Kind, Measure, Relation, Site};
use crate::tables::catalogue::{Catalogue, SNOMED};

/// The rows of every measure, by region and site.
pub fn rows(catalogue: &Catalogue) -> Vec<Row> {
    let mut examples = example::all(catalogue);
    let rows = catalogue.measures.values();
    let mut rows: Vec<Row> = rows
        .map(|measure| row(catalogue, measure, &mut examples))
        .collect();
    rows.sort_by(|a, b| (&a.region, &a.site, &a.measure).cmp(&(&b.region, &b.site, &b.measure)));
    rows
}

fn row(catalogue: &Catalogue, measure: &Measure, examples: &mut Examples) -> Row {
    let site = measure.site.as_ref();
    let site = site.and_then(|site| catalogue.sites.get(site));
    let unit = measure.unit.clone().map(|unit| {
        let label = catalogue.unit_label(&unit).unwrap_or(&unit).to_owned();
        (unit, label)
    });
    let scale = measure.scale.as_ref();
    let scale = scale.and_then(|name| catalogue.scales.get(name));
    let values = scale.map_or(&[][..], |scale| &scale.rows).iter();
    let example = examples.remove(&measure.measure);
    let example = example.unwrap_or_else(|| Err("no finding of this kind to show".to_owned()));
    Row {
        measure: measure.measure.clone(),
        meaning: measure.label.clone(),
        kind: measure.kind.word(),
        region: site.map_or("whole session".to_owned(), |site| site.region.clone()),
        site: site.map_or("no site".to_owned(), |site| site.label.clone()),
        unit,
        list: measure.scale.clone(),
        values: values
            .map(|value| (value.code.clone(), value.label.clone()))
            .collect(),
        bounds: bounds(catalogue, measure),
        codings: codings(catalogue, measure, example.as_ref().ok()),
        sites: site.map(|site| sites(catalogue, site)).unwrap_or_default(),
        example,
        origin: measure.origin.word(),
        source: format!("{}: {}", measure.source, measure.locator),
    }
}

fn bounds(catalogue: &Catalogue, measure: &Measure) -> String {
    let told = |bounds: Bounds| match bounds {
        (Some(low), Some(high)) => format!("asked about outside {low} to {high}"),
        (Some(low), None) => format!("asked about below {low}"),
        (None, Some(high)) => format!("asked about above {high}"),
        (None, None) => "none".to_owned(),
    };
    let mut asked = told((measure.ask_below, measure.ask_above));
    for choice in catalogue.unit_choices_of(measure) {
        let further = told((choice.ask_below, choice.ask_above));
        asked.extend(["; also in ", &choice.unit, ": ", &further]);
    }
    let most = catalogue.plausibility.get("impossible-angle");
    match most.filter(|_| measure.axis.is_some() && measure.unit.is_some()) {
        Some(most) => format!("{asked}; refused beyond {most} either way"),
        None => asked,
    }
}

fn coding(row: &CodeRow) -> Coding {
    Coding {
        relation: row.relation.word(),
        system: row.system.clone(),
        code: row.code.clone(),
        display: row.display.clone(),
    }
}

fn own(list: &str, code: &str, display: &str) -> Coding {
    Coding {
        relation: "ours",
        system: Catalogue::system_of(list),
        code: code.to_owned(),
        display: display.to_owned(),
    }
}

fn around(catalogue: &Catalogue, thing: &str, own: Coding) -> Vec<Coding> {
    let published = |relation: Relation| {
        let rows = catalogue.codes_of(thing);
        rows.filter(move |row| row.relation == relation).map(coding)
    };
    published(Relation::Equivalent)
        .chain([own])
        .chain(published(Relation::Wider))
        .collect()
}

/// The codings in the order in which they are sent. The first of a comparison names what was compared,
/// here that of the example.
fn codings(
    catalogue: &Catalogue,
    measure: &Measure,
    example: Option<&(String, Node)>,
) -> Vec<Coding> {
    let compared = example.filter(|_| measure.kind == Kind::Comparison);
    let compared = compared.and_then(|(_, part)| {
        let first = part.at(&["code", "coding"])?.items().first()?;
        let (code, display) = first.text_of("code").zip(first.text_of("display"))?;
        Some(own("comparison", code, display))
    });
    let own = own("measure", &measure.measure, &measure.label);
    let around = around(catalogue, &measure.measure, own);
    compared.into_iter().chain(around).collect()
}

fn sites(catalogue: &Catalogue, site: &Site) -> Vec<Coding> {
    let [unsided, left, right] = site.published();
    let of_side = |side: &&str| {
        let code = Catalogue::site_code(side, &site.site);
        let display = catalogue.site_display(&code).unwrap_or_default();
        let published = match *side {
            "left" => left,
            "right" => right,
            _ => unsided,
        };
        let published = published.map(|(code, display)| Coding {
            relation: Relation::Equivalent.word(),
            system: SNOMED.to_owned(),
            code: code.to_owned(),
            display: display.to_owned(),
        });
        let own = own("site", &code, &display);
        let others = around(catalogue, &format!("site/{code}"), own);
        published.into_iter().chain(others)
    };
    site.sides.words().iter().flat_map(of_side).collect()
}

const COLUMNS: [&str; 17] = [
    "measure",
    "meaning",
    "kind",
    "region",
    "site",
    "unit (UCUM)",
    "unit",
    "list",
    "allowed words",
    "bounds",
    "codes in Observation.code",
    "codes in Observation.bodySite",
    "example",
    "example Observation (part)",
    "row of",
    "source",
    "tables SHA-256",
];

/// The worksheet as CSV (RFC 4180): one measure a row.
pub fn csv(catalogue: &Catalogue, rows: &[Row]) -> String {
    let mut out = String::new();
    line(&mut out, &COLUMNS.map(str::to_owned));
    for row in rows {
        let (unit, unit_label) = row.unit.clone().unwrap_or_default();
        let values = row.values.iter();
        let values = values.map(|(code, meaning)| format!("{code} = {meaning}"));
        let (example, part) = match &row.example {
            Ok((words, part)) => (words.clone(), part.compact()),
            Err(why) => (format!("no example: {why}"), String::new()),
        };
        let cells = [
            row.measure.clone(),
            row.meaning.clone(),
            row.kind.to_owned(),
            row.region.clone(),
            row.site.clone(),
            unit,
            unit_label,
            row.list.clone().unwrap_or_default(),
            values.collect::<Vec<_>>().join("; "),
            row.bounds.clone(),
            said(&row.codings),
            said(&row.sites),
            example,
            part,
            row.origin.to_owned(),
            row.source.clone(),
            catalogue.sha256.clone(),
        ];
        line(&mut out, &cells);
    }
    for notice in [LOINC_NOTICE, SNOMED_NOTICE] {
        let mut cells = [const { String::new() }; COLUMNS.len()];
        if let Some(first) = cells.first_mut() {
            notice.clone_into(first);
        }
        line(&mut out, &cells);
    }
    out
}

fn said(codings: &[Coding]) -> String {
    let said = codings.iter().map(|one| {
        format!(
            "{} {}|{} {}",
            one.relation, one.system, one.code, one.display
        )
    });
    said.collect::<Vec<_>>().join("; ")
}

/// "Each field may or may not be enclosed in double quotes … a double-quote appearing inside a field
/// must be escaped by preceding it with another double quote"; lines end in CRLF (RFC 4180, 2).
fn line(out: &mut String, cells: &[String]) {
    for (place, cell) in cells.iter().enumerate() {
        out.push_str(if place == 0 { "\"" } else { ",\"" });
        out.push_str(&harmless(cell).replace('"', "\"\""));
        out.push('"');
    }
    out.push_str("\r\n");
}

/// A spreadsheet takes a cell that begins with one of these for a formula, quoted or not; an
/// apostrophe before it makes it text (common practice against formula injection).
fn harmless(cell: &str) -> String {
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
    let mark = if formula { "'" } else { "" };
    format!("{mark}{cell}")
}

/// The worksheet as one page: no script, fit for a phone and for paper.
pub fn html(catalogue: &Catalogue, rows: &[Row]) -> String {
    page::page(catalogue, rows)
}

#[cfg(test)]
mod tests {
    use super::harmless;

    #[test]
    fn no_cell_can_be_taken_for_a_formula() {
        for cell in ["=1+1", "+1", "-5 deg", "@sum", "\t=1", "\r=1", "\n=1"] {
            assert_eq!(harmless(cell), format!("'{cell}"));
        }
        for cell in ["5 deg", "", "a=b", "less - more"] {
            assert_eq!(harmless(cell), cell);
        }
    }
}
