//! A summary as lines of text and as XHTML.

use crate::fhir::summary::Summary;

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

pub(super) fn xhtml(summary: &Summary) -> String {
    let mut out = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>".to_owned();
    escaped(summary.title.open(), &mut out);
    out.push_str("</p>");
    for section in &summary.sections {
        out.push_str("<h3>");
        escaped(&section.title, &mut out);
        out.push_str("</h3><ul>");
        for line in &section.lines {
            out.push_str("<li>");
            escaped(line.words.open(), &mut out);
            out.push_str("</li>");
        }
        out.push_str("</ul>");
    }
    out.push_str("</div>");
    out
}

/// Words of a person go in as text, never as markup.
pub fn escaped(words: &str, out: &mut String) {
    for letter in words.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            letter => out.push(letter),
        }
    }
}
