//! The narrative of a resource (narrative.html).

use crate::base::code::Code;
use crate::base::problem::Problems;

/// "The XHTML content SHALL NOT contain a head, a body, external stylesheet references, scripts, forms,
/// base/link/xlink, frames, iframes and objects." (Narrative.div)
const REFUSED: [&str; 9] = [
    "base", "body", "form", "frame", "head", "iframe", "link", "object", "script",
];

/// Holds the text of a narrative against its rules.
pub(super) fn held(text: &str, path: &str, problems: &mut Problems) {
    let text = text.trim();
    let tags = tags(text).filter(|_| text.starts_with("<div"));
    let Some(tags) = tags else {
        let what = "the narrative is no div of XHTML whose elements all end".to_owned();
        let hint = "write <div xmlns=\"http://www.w3.org/1999/xhtml\">…</div>";
        problems.error(Code::FhirNarrative, path, what, hint);
        return;
    };
    for refused in REFUSED.iter().filter(|refused| tags.contains(*refused)) {
        let what = format!("the narrative holds the element {refused}");
        problems.error(
            Code::FhirTxt1,
            path,
            what,
            "keep text, lists, tables and images",
        );
    }
    // "txt-2: The narrative SHALL have some non-whitespace content"
    if !tags.contains(&"img") && !says_something(text) {
        let what = "the narrative says nothing".to_owned();
        problems.error(
            Code::FhirTxt2,
            path,
            what,
            "say something, or leave the text out",
        );
    }
}

/// The names of the elements, when each one ends where it has to; nothing when one does not.
fn tags(text: &str) -> Option<Vec<&str>> {
    let mut found = Vec::new();
    let mut open: Vec<&str> = Vec::new();
    let mut rest = text;
    while let Some((_, after)) = rest.split_once('<') {
        if let Some(comment) = after.strip_prefix("!--") {
            rest = comment.split_once("-->")?.1;
            continue;
        }
        let (tag, after) = after.split_at_checked(end_of_tag(after)?)?;
        rest = after;
        if let Some(ended) = tag.strip_prefix('/') {
            if open.pop() != Some(ended.trim_end()) {
                return None;
            }
        } else {
            let mut parts = tag.split(|c: char| c.is_whitespace() || c == '/');
            let name = parts.next().unwrap_or_default();
            found.push(name);
            if !tag.ends_with('/') {
                open.push(name);
            }
        }
    }
    open.is_empty().then_some(found)
}

/// Where a tag ends; a `>` in quotes ends none.
fn end_of_tag(text: &str) -> Option<usize> {
    let mut quote = None;
    text.find(|c: char| {
        let quoted = quote.is_some();
        quote = match quote {
            Some(mark) => Some(mark).filter(|mark| *mark != c),
            None => Some(c).filter(|c| matches!(c, '"' | '\'')),
        };
        !quoted && c == '>'
    })
}

fn says_something(text: &str) -> bool {
    let mut inside = false;
    text.chars().any(|c| {
        let was = inside;
        inside = (inside || c == '<') && c != '>';
        !was && !inside && !c.is_whitespace()
    })
}
