#![cfg(test)]
//! RFC 6901, JSON Pointer: www.rfc-editor.org/rfc/rfc6901

use crate::document::{set, sound, told};
use crate::judged::{judged, observation};
use fascicle::base::json::{Node, NotJson, pointer_step, text};

/// Source: <https://www.rfc-editor.org/rfc/rfc6901>, April 2013, section 3.
///
/// "'~' needs to be encoded as '~0' and '/' needs to be encoded as '~1' when these characters appear
/// in a reference token"
#[test]
fn tilde_and_slash_are_escaped_in_a_step() {
    // The names of the example in section 5 that need it, and one with both.
    assert_eq!(pointer_step("a/b"), "a~1b");
    assert_eq!(pointer_step("m~n"), "m~0n");
    assert_eq!(pointer_step("~1"), "~01");
    for plain in ["", "c%d", "e^f", "g|h", "i\\j", "k\"l", " "] {
        assert_eq!(pointer_step(plain), plain);
    }
}

/// Source: <https://www.rfc-editor.org/rfc/rfc6901>, April 2013, section 4.
///
/// "first transforming any occurrence of the sequence '~1' to '/', and then transforming any
/// occurrence of the sequence '~0' to '~'"
#[test]
fn an_escaped_step_reads_back() {
    for name in ["a/b", "m~n", "~1", "~0", "/~/~", "~~//"] {
        let read = pointer_step(name).replace("~1", "/").replace("~0", "~");

        assert_eq!(read, name);
    }
}

/// Source: <https://www.rfc-editor.org/rfc/rfc6901>, April 2013, section 3.
///
/// The same clause, in the paths of problems: of a document, of a key that stands twice, of a
/// resource.
#[test]
fn paths_of_problems_are_escaped_wherever_they_come_from() {
    let mut document = sound();
    set(&mut document, "/findings/4/a~1b~0c", Some(text("x")));
    let twice = Node::parse(r#"{"a/b~c":{"k":1,"k":2}}"#);
    let empty = observation(r#","a/b~c":[]"#);

    assert_eq!(told(&document), ["error field.unknown /findings/4/a~1b~0c"]);
    assert!(matches!(twice, Err(NotJson::Twice { path, .. }) if path == "/a~1b~0c"));
    assert_eq!(judged(&empty), ["error fhir.element /a~1b~0c"]);
}
