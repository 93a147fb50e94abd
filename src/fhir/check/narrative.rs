//! The narrative of a resource (narrative.html).

use crate::base::code::Code;
use crate::base::problem::Problems;
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};
use std::collections::BTreeSet;

const XHTML: &str = "http://www.w3.org/1999/xhtml";

/// "txt-1: The narrative SHALL contain only the basic html formatting elements and attributes described
/// in chapters 7-11 (except section 4 of chapter 9) and 15 of the HTML 4.0 standard, `<a>` elements (either
/// name or href), images and internally contained style attributes": these, by its expression.
const ELEMENTS: &str = "a abbr acronym b big blockquote br caption cite code col colgroup dd dfn div dl \
    dt em h1 h2 h3 h4 h5 h6 hr i img li ol p pre q samp small span strong sub sup table tbody td tfoot th \
    thead tr tt ul var";

/// The attributes of the same expression. It does not name `xml:lang`, which in XHTML says what `lang`
/// says (XHTML 1.0, C.7).
const ATTRIBUTES: &str = "abbr accesskey align alt axis bgcolor border cellhalign cellpadding \
    cellspacing cellvalign char charoff charset cite class colspan compact coords dir frame headers \
    height href hreflang hspace id lang longdesc name nowrap rel rev rowspan rules scope shape span src \
    start style summary tabindex title type valign value vspace width xml:lang";

const HINT: &str = "keep text, lists, tables, images and links, and nothing that acts";

/// What a narrative holds, as far as rules ask.
#[derive(Default)]
struct Held {
    begun: bool,
    open: usize,
    says_something: bool,
    refused: BTreeSet<String>,
}

/// Holds the text of a narrative against its rules.
pub(super) fn held(text: &str, path: &str, problems: &mut Problems) {
    let held = match Held::read(text.trim()) {
        Ok(held) => held,
        Err(why) => {
            let what = format!("the narrative is no div of XHTML: {why}");
            let hint = "write <div xmlns=\"http://www.w3.org/1999/xhtml\">…</div>";
            problems.error(Code::FhirNarrative, path, what, hint);
            return;
        }
    };
    for refused in held.refused {
        let what = format!("the narrative holds {refused}");
        problems.error(Code::FhirTxt1, path, what, HINT);
    }
    // "txt-2: The narrative SHALL have some non-whitespace content"
    if !held.says_something {
        let what = "the narrative says nothing".to_owned();
        problems.error(
            Code::FhirTxt2,
            path,
            what,
            "say something, or leave the text out",
        );
    }
}

impl Held {
    /// Reads it from end to end; why it is no div of XHTML, when it is none.
    fn read(text: &str) -> Result<Self, String> {
        let mut reader = Reader::from_str(text);
        let mut held = Self::default();
        loop {
            match reader.read_event().map_err(|fault| fault.to_string())? {
                Event::Start(tag) => {
                    held.tag(&tag)?;
                    held.open += 1;
                }
                Event::Empty(tag) => held.tag(&tag)?,
                Event::End(_) => held.open = held.open.saturating_sub(1),
                Event::Text(words) => {
                    let words = words.decode().map_err(|fault| fault.to_string())?;
                    held.words(!words.trim().is_empty())?;
                }
                Event::CData(_) | Event::GeneralRef(_) => held.words(true)?,
                Event::Comment(_) => {}
                Event::Decl(_) | Event::PI(_) | Event::DocType(_) => {
                    return Err("it instructs the reader of XML".to_owned());
                }
                Event::Eof => break,
            }
        }
        match (held.begun, held.open) {
            (true, 0) => Ok(held),
            (true, _) => Err("an element does not end".to_owned()),
            (false, _) => Err("it holds no element".to_owned()),
        }
    }

    fn words(&mut self, some: bool) -> Result<(), String> {
        self.says_something |= some;
        if some && self.open == 0 {
            return Err("words stand outside of the div".to_owned());
        }
        Ok(())
    }

    fn tag(&mut self, tag: &BytesStart<'_>) -> Result<(), String> {
        let name = utf8(tag.name().0)?;
        let outermost = self.open == 0;
        if outermost && (self.begun || name != "div") {
            return Err(format!("{name} stands where the one div belongs"));
        }
        self.begun = true;
        if !ELEMENTS.split_whitespace().any(|one| one == name) {
            self.refused.insert(format!("the element {name}"));
        }
        let seen = self.attributes(tag)?;
        // "The div element … SHALL be in the XHTML namespace": those within are by inheritance.
        if outermost && !seen.contains("xmlns") {
            return Err("it does not say its namespace".to_owned());
        }
        self.says_something |= name == "img" && seen.contains("src");
        Ok(())
    }

    /// Looks at the attributes of a tag; gives the names of those that may stand.
    fn attributes(&mut self, tag: &BytesStart<'_>) -> Result<BTreeSet<&'static str>, String> {
        let mut seen = BTreeSet::new();
        // Its own check for doubles compares each with all before it; the set below is quicker.
        for attribute in tag.attributes().with_checks(false) {
            let attribute = attribute.map_err(|fault| fault.to_string())?;
            let name = utf8(attribute.key.0)?;
            let mut may_stand = ATTRIBUTES.split_whitespace().chain(["xmlns"]);
            let Some(known) = may_stand.find(|one| *one == name) else {
                self.refused.insert(format!("the attribute {name}"));
                continue;
            };
            if !seen.insert(known) {
                return Err(format!("the attribute {name} stands twice in one tag"));
            }
            if !matches!(known, "xmlns" | "href" | "src") {
                continue;
            }
            let value = attribute.normalized_value(XmlVersion::default());
            let value = value.map_err(|fault| fault.to_string())?;
            if known == "xmlns" && value != XHTML {
                return Err(format!("its namespace is {value}"));
            }
            if acts(&value) {
                self.refused.insert(format!("a script in {name}"));
            }
        }
        Ok(seen)
    }
}

fn utf8(name: &[u8]) -> Result<&str, String> {
    std::str::from_utf8(name).map_err(|fault| fault.to_string())
}

/// "This is to ensure that … there is no active content within the narrative": an address that is a
/// script. Browsers pass over white space and control characters in front of and inside a scheme.
fn acts(address: &str) -> bool {
    let told = address
        .chars()
        .filter(|c| !c.is_whitespace() && !c.is_control());
    let begin: String = told.take("javascript:".len()).collect();
    let begin = begin.to_ascii_lowercase();
    begin == "javascript:" || begin.starts_with("vbscript:")
}
