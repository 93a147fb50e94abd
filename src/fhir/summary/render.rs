//! A summary as lines of text and as XHTML.

use crate::fhir::summary::Summary;
use quick_xml::escape::partial_escape;

pub(super) fn text(summary: &Summary) -> String {
    let mut out = format!("{}\n", summary.title.open());
    for section in &summary.sections {
        out.extend(["\n", &section.title, "\n"]);
        for line in &section.lines {
            out.extend(["- ", line.words.open(), "\n"]);
        }
    }
    out
}

/// Words of a person go in as text, never as markup.
pub(super) fn xhtml(summary: &Summary) -> String {
    let mut out = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>".to_owned();
    out.push_str(&partial_escape(summary.title.open()));
    out.push_str("</p>");
    for section in &summary.sections {
        out.push_str("<h3>");
        out.push_str(&partial_escape(&section.title));
        out.push_str("</h3><ul>");
        for line in &section.lines {
            out.push_str("<li>");
            out.push_str(&partial_escape(line.words.open()));
            out.push_str("</li>");
        }
        out.push_str("</ul>");
    }
    out.push_str("</div>");
    out
}
