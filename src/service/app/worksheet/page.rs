//! The worksheet as a page.

use crate::service::app::worksheet::{Coding, Row};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::conformance::{LOINC_NOTICE, SNOMED_NOTICE};
use std::collections::{BTreeMap, BTreeSet};

const STYLE: &str = include_str!("worksheet.css");

/// The whole page.
pub(super) fn html(catalogue: &Catalogue, rows: &[Row]) -> String {
    let mut by_region: BTreeMap<&str, BTreeMap<&str, Vec<&Row>>> = BTreeMap::new();
    for row in rows {
        let sites = by_region.entry(&row.region).or_default();
        sites.entry(&row.site).or_default().push(row);
    }
    let mut page = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>Worksheet of measures, codes and units</title>\n<style>\n{STYLE}</style>\n</head>\n\
         <body>\n<a class=\"skip\" href=\"#main\">Skip to the measures</a>\n"
    );
    head(&mut page, catalogue, rows.len());
    contents(&mut page, by_region.keys().copied());
    page.push_str("<main id=\"main\">\n");
    reading(&mut page);
    for (region, sites) in &by_region {
        let (id, heading) = (id_of(region), escaped(region));
        page.extend([
            "<section aria-labelledby=\"",
            &id,
            "\">\n<h2 id=\"",
            &id,
            "\">",
        ]);
        page.extend([&heading, "</h2>\n"]);
        for (site, rows) in sites {
            page.extend(["<h3>", &escaped(site), "</h3>\n"]);
            if let Some(row) = rows.first() {
                of_site(&mut page, row);
            }
            for row in rows {
                of_measure(&mut page, row);
            }
        }
        page.push_str("</section>\n");
    }
    lists(&mut page, catalogue, rows);
    page.push_str("</main>\n<footer>\n");
    for notice in [LOINC_NOTICE, SNOMED_NOTICE] {
        page.extend(["<p>", &escaped(notice), "</p>\n"]);
    }
    page.push_str("</footer>\n</body>\n</html>\n");
    page
}

fn head(page: &mut String, catalogue: &Catalogue, count: usize) {
    page.push_str("<header>\n<h1>Worksheet of measures, codes and units</h1>\n");
    page.extend([
        "<p>",
        &count.to_string(),
        " measures of Fascicle ",
        env!("CARGO_PKG_VERSION"),
        ". SHA-256 of the tables: <code>",
        &catalogue.sha256,
        "</code></p>\n",
    ]);
    for (name, sha256) in &catalogue.own_files {
        let name = escaped(name);
        page.extend(["<p>With the site’s own <code>", &name, "</code>, SHA-256 "]);
        page.extend(["<code>", sha256, "</code></p>\n"]);
    }
    page.push_str(
        "<p>Not certified as a medical device: a site must assess it before clinical use. \
         Examples are of an invented person.</p>\n</header>\n",
    );
}

fn contents<'a>(page: &mut String, regions: impl Iterator<Item = &'a str>) {
    page.push_str("<nav aria-label=\"Regions and lists\">\n<ul>\n");
    for region in regions {
        let (id, region) = (id_of(region), escaped(region));
        page.extend(["<li><a href=\"#", &id, "\">", &region, "</a></li>\n"]);
    }
    page.push_str("<li><a href=\"#lists\">lists of words and grades</a></li>\n</ul>\n</nav>\n");
}

fn reading(page: &mut String) {
    page.push_str(
        "<section aria-labelledby=\"reading\">\n<h2 id=\"reading\">How to read it</h2>\n<ul>\n\
         <li>Codes stand in the order in which they are sent. An equivalent one comes before ours \
         and means the same; a wider one follows ours and says less.</li>\n\
         <li>Angles count up in the direction of the movement; minus is short of neutral. A \
         movement that was stopped is sent with the comparator <code>&gt;=</code>.</li>\n\
         <li>What was not tested has no value, a reason of ours and the standard one; it is never \
         zero.</li>\n\
         <li>The example is the part of an Observation that has to be mapped: code, value, site \
         and components.</li>\n</ul>\n</section>\n",
    );
}

/// The codes of both sides, once for all measures of the site.
fn of_site(page: &mut String, row: &Row) {
    if row.sites.is_empty() {
        return;
    }
    let caption = format!("Codes of the {} in Observation.bodySite", row.site);
    codings(page, &caption, &row.sites);
}

fn of_measure(page: &mut String, row: &Row) {
    let (id, meaning) = (id_of(&row.measure), escaped(&row.meaning));
    page.extend([
        "<article aria-labelledby=\"",
        &id,
        "\">\n<h4 id=\"",
        &id,
        "\">",
    ]);
    page.extend([&meaning, "</h4>\n<dl>\n"]);
    let mut say = |term: &str, said: &str| {
        page.extend(["<div><dt>", term, "</dt><dd>", said, "</dd></div>\n"]);
    };
    say(
        "Measure",
        &format!("<code>{}</code>", escaped(&row.measure)),
    );
    say("Kind", &escaped(row.kind));
    if let Some((unit, label)) = &row.unit {
        let said = format!("{}, UCUM <code>{}</code>", escaped(label), escaped(unit));
        say("Unit", &said);
    }
    if let Some(list) = &row.list {
        let (id, list) = (id_of(&format!("list {list}")), escaped(list));
        say("Words", &format!("<a href=\"#{id}\">{list}</a>"));
    }
    say("Bounds", &escaped(&row.bounds));
    say("Source", &escaped(&row.source));
    if row.origin == "operator" {
        say("Row of", "the site");
    }
    let example = match &row.example {
        Ok((words, _)) => escaped(words),
        Err(why) => format!("none: {}", escaped(why)),
    };
    say("Example", &example);
    page.push_str("</dl>\n");
    codings(page, "Codes in Observation.code", &row.codings);
    if let Ok((_, part)) = &row.example {
        page.extend(["<pre>", &escaped(part.pretty().trim_end()), "</pre>\n"]);
    }
    page.push_str("</article>\n");
}

fn codings(page: &mut String, caption: &str, codings: &[Coding]) {
    page.extend(["<table>\n<caption>", &escaped(caption), "</caption>\n"]);
    page.push_str(
        "<thead><tr><th scope=\"col\">Relation</th><th scope=\"col\">Code</th>\
         <th scope=\"col\">Display and system</th></tr></thead>\n<tbody>\n",
    );
    for one in codings {
        page.extend(["<tr><td>", one.relation, "</td><td><code>"]);
        page.extend([&escaped(&one.code), "</code></td><td>"]);
        page.extend([&escaped(&one.display), "<br><span class=\"system\">"]);
        page.extend([&escaped(&one.system), "</span></td></tr>\n"]);
    }
    page.push_str("</tbody>\n</table>\n");
}

/// The lists that the measures name, and those of which parts of a finding come.
fn lists(page: &mut String, catalogue: &Catalogue, rows: &[Row]) {
    page.push_str(
        "<section aria-labelledby=\"lists\">\n<h2 id=\"lists\">Lists of words and grades</h2>\n",
    );
    let named: BTreeSet<&str> = rows.iter().filter_map(|row| row.list.as_deref()).collect();
    for (name, scale) in &catalogue.scales {
        let id = id_of(&format!("list {name}"));
        let use_of = if named.contains(name.as_str()) {
            "Value of a measure."
        } else {
            "Part of a finding, a precaution or a session."
        };
        page.extend(["<h3 id=\"", &id, "\">", &escaped(name), "</h3>\n<p>"]);
        page.extend([
            &escaped(&scale.purpose),
            " ",
            use_of,
            "</p>\n<table>\n<caption>",
        ]);
        page.extend([&escaped(&Catalogue::system_of(name)), "</caption>\n"]);
        page.push_str(
            "<thead><tr><th scope=\"col\">Code</th><th scope=\"col\">Meaning</th>\
             <th scope=\"col\">Published codes</th></tr></thead>\n<tbody>\n",
        );
        for row in &scale.rows {
            let thing = format!("{name}/{}", row.code);
            let published = catalogue.codes_of(&thing).map(|one| {
                let said = [&one.system, &one.code, &one.display].map(|part| escaped(part));
                let [system, code, display] = said;
                format!(
                    "{} {system} <code>{code}</code> {display}",
                    one.relation.word()
                )
            });
            let published: Vec<String> = published.collect();
            page.extend(["<tr><td><code>", &escaped(&row.code), "</code></td><td>"]);
            page.extend([&escaped(&row.label), "</td><td>"]);
            let none = published.is_empty();
            page.push_str(&if none {
                "none".to_owned()
            } else {
                published.join("<br>")
            });
            page.push_str("</td></tr>\n");
        }
        page.push_str("</tbody>\n</table>\n");
    }
    page.push_str("</section>\n");
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

/// Text as HTML takes it, in elements and in quoted attributes.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}
