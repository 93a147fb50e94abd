//! The worksheet as a page.

use crate::service::app::worksheet::row::{Coding, Row};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::conformance::header::{LOINC_NOTICE, SNOMED_NOTICE};
use crate::tables::catalogue::rows::{CodeRow, Scale};
use maud::{DOCTYPE, Markup, PreEscaped, Render, html};
use std::collections::{BTreeMap, BTreeSet};

const STYLE: &str = include_str!("worksheet.css");

type Sites<'a> = BTreeMap<&'a str, Vec<&'a Row>>;

/// The whole page; its lines end where a reader of a difference wants them to.
pub(super) fn page(catalogue: &Catalogue, rows: &[Row]) -> String {
    let mut by_region: BTreeMap<&str, Sites<'_>> = BTreeMap::new();
    for row in rows {
        let sites = by_region.entry(&row.region).or_default();
        sites.entry(&row.site).or_default().push(row);
    }
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" { "\n"
            head { "\n"
                meta charset="utf-8"; "\n"
                meta name="viewport" content="width=device-width, initial-scale=1"; "\n"
                title { "Worksheet of measures, codes and units" } "\n"
                style { "\n" (PreEscaped(STYLE)) } "\n"
            } "\n"
            body { "\n"
                a.skip href="#main" { "Skip to the measures" } "\n"
                (head(catalogue, rows.len()))
                (contents(by_region.keys().copied()))
                main id="main" { "\n"
                    (reading())
                    @for (region, sites) in &by_region { (of_region(region, sites)) }
                    (lists(catalogue, rows))
                } "\n"
                footer { "\n"
                    @for notice in [LOINC_NOTICE, SNOMED_NOTICE] { p { (notice) } "\n" }
                } "\n"
            } "\n"
        } "\n"
    };
    page.into_string()
}

fn head(catalogue: &Catalogue, count: usize) -> Markup {
    html! {
        header { "\n"
            h1 { "Worksheet of measures, codes and units" } "\n"
            p {
                (count) " measures of Fascicle " (env!("CARGO_PKG_VERSION"))
                ". SHA-256 of the tables: " code { (catalogue.sha256) }
            } "\n"
            @for (name, sha256) in &catalogue.own_files {
                p { "With the site’s own " code { (name) } ", SHA-256 " code { (sha256) } } "\n"
            }
            p {
                "Not certified as a medical device: a site must assess it before clinical use. "
                "Examples are of an invented person."
            } "\n"
        } "\n"
    }
}

fn contents<'a>(regions: impl Iterator<Item = &'a str>) -> Markup {
    html! {
        nav aria-label="Regions and lists" { "\n"
            ul { "\n"
                @for region in regions {
                    li { a href={ "#" (id_of(region)) } { (region) } } "\n"
                }
                li { a href="#lists" { "lists of words and grades" } } "\n"
            } "\n"
        } "\n"
    }
}

fn reading() -> Markup {
    html! {
        section aria-labelledby="reading" { "\n"
            h2 id="reading" { "How to read it" } "\n"
            ul { "\n"
                li {
                    "Codes stand in the order in which they are sent. An equivalent one comes before ours "
                    "and means the same; a wider one follows ours and says less."
                } "\n"
                li {
                    "Angles count up in the direction of the movement; minus is short of neutral. A "
                    "movement that was stopped is sent with the comparator " code { ">=" } "."
                } "\n"
                li {
                    "What was not tested has no value, a reason of ours and the standard one; it is never "
                    "zero."
                } "\n"
                li {
                    "The example is the part of an Observation that has to be mapped: code, value, site "
                    "and components."
                } "\n"
            } "\n"
        } "\n"
    }
}

fn of_region(region: &str, sites: &Sites<'_>) -> Markup {
    let id = id_of(region);
    html! {
        section aria-labelledby=(id) { "\n"
            h2 id=(id) { (region) } "\n"
            @for (site, rows) in sites {
                h3 { (site) } "\n"
                // The codes of both sides, once for all measures of the site.
                @if let Some(row) = rows.first().filter(|row| !row.sites.is_empty()) {
                    (codings(&format!("Codes of the {} in Observation.bodySite", row.site), &row.sites))
                }
                @for row in rows { (of_measure(row)) }
            }
        } "\n"
    }
}

fn of_measure(row: &Row) -> Markup {
    let id = id_of(&row.measure);
    html! {
        article aria-labelledby=(id) { "\n"
            h4 id=(id) { (row.meaning) } "\n"
            dl { "\n"
                (said("Measure", &html! { code { (row.measure) } }))
                (said("Kind", &row.kind))
                @if let Some((unit, label)) = &row.unit {
                    (said("Unit", &html! { (label) ", UCUM " code { (unit) } }))
                }
                @if let Some(list) = &row.list {
                    (said("Words", &html! { a href={ "#" (id_of_list(list)) } { (list) } }))
                }
                (said("Bounds", &row.bounds))
                (said("Source", &row.source))
                @if row.origin == "operator" { (said("Row of", &"the site")) }
                @match &row.example {
                    Ok((words, _)) => (said("Example", words)),
                    Err(why) => (said("Example", &format!("none: {why}"))),
                }
            } "\n"
            (codings("Codes in Observation.code", &row.codings))
            @if let Ok((_, part)) = &row.example { pre { (part.pretty().trim_end()) } "\n" }
        } "\n"
    }
}

fn said(term: &str, said: &impl Render) -> Markup {
    html! { div { dt { (term) } dd { (said) } } "\n" }
}

fn codings(caption: &str, codings: &[Coding]) -> Markup {
    html! {
        table { "\n"
            caption { (caption) } "\n"
            thead { tr {
                th scope="col" { "Relation" } th scope="col" { "Code" }
                th scope="col" { "Display and system" }
            } } "\n"
            tbody { "\n"
                @for one in codings {
                    tr {
                        td { (one.relation) }
                        td { code { (one.code) } }
                        td { (one.display) br; span.system { (one.system) } }
                    } "\n"
                }
            } "\n"
        } "\n"
    }
}

/// The lists that the measures name, and those of which parts of a finding come.
fn lists(catalogue: &Catalogue, rows: &[Row]) -> Markup {
    let named: BTreeSet<&str> = rows.iter().filter_map(|row| row.list.as_deref()).collect();
    html! {
        section aria-labelledby="lists" { "\n"
            h2 id="lists" { "Lists of words and grades" } "\n"
            @for (name, scale) in &catalogue.scales {
                h3 id=(id_of_list(name)) { (name) } "\n"
                p {
                    (scale.purpose) " "
                    @if named.contains(name.as_str()) { "Value of a measure." }
                    @else { "Part of a finding, a precaution or a session." }
                } "\n"
                (list(catalogue, name, scale))
            }
        } "\n"
    }
}

fn list(catalogue: &Catalogue, name: &str, scale: &Scale) -> Markup {
    html! {
        table { "\n"
            caption { (Catalogue::system_of(name)) } "\n"
            thead { tr {
                th scope="col" { "Code" } th scope="col" { "Meaning" }
                th scope="col" { "Published codes" }
            } } "\n"
            tbody { "\n"
                @for row in &scale.rows {
                    tr {
                        td { code { (row.code) } }
                        td { (row.label) }
                        td { (codes(catalogue, &format!("{name}/{}", row.code))) }
                    } "\n"
                }
            } "\n"
        } "\n"
    }
}

fn codes(catalogue: &Catalogue, thing: &str) -> Markup {
    let published: Vec<&CodeRow> = catalogue.codes_of(thing).collect();
    html! {
        @if published.is_empty() { "none" }
        @for (place, one) in published.iter().enumerate() {
            @if place > 0 { br; }
            (one.relation.word()) " " (one.system) " " code { (one.code) } " " (one.display)
        }
    }
}

fn id_of_list(name: &str) -> String {
    id_of(&format!("list {name}"))
}

/// An id for a place of the page: letters, digits, hyphens, and a line for a full stop.
fn id_of(words: &str) -> String {
    let kept = words.chars().map(|c| match c {
        'a'..='z' | 'A'..='Z' | '0'..='9' => c,
        '.' => '_',
        _ => '-',
    });
    format!("at-{}", kept.collect::<String>())
}
