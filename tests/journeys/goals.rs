#![cfg(test)]
//! What became of a goal, with its day and words.

use crate::document::{edited, encoded, told};
use crate::part::{component, component_word};
use crate::resource::of_measure;
use crate::second_form::second_form;
use fascicle::base::json::Node;

const STATE: &str = r#"{"is":"partly-met","on":"2026-11-16","words":"an empty cup"}"#;

fn goal(state: &str) -> (&'static str, String) {
    let state = if state.is_empty() {
        String::new()
    } else {
        format!(r#","state":{state}"#)
    };
    let goal = format!(
        r#"[{{"words":"hold a cup","target":"2026-11-01","agreed_with":"the person"{state}}}]"#
    );
    ("/goals", goal)
}

fn second(state: &str) -> Node {
    let (path, goal) = goal(state);
    second_form(&[(path, &goal)])
}

#[test]
fn a_goal_that_is_partly_met_leaves_with_day_and_words_and_is_told_so() {
    let encoded = encoded(&second(STATE));

    let goal = of_measure(&encoded, "statement.goal")[0];
    assert_eq!(
        component_word(goal, "goal-state", "goal-state"),
        Some("partly-met")
    );
    let value = |name: &str, member: &str| component(goal, name)?.text_of(member);
    assert_eq!(value("goal-state-day", "valueDateTime"), Some("2026-11-16"));
    assert_eq!(
        value("goal-state-words", "valueString"),
        Some("an empty cup")
    );
    let text = encoded.summary.text();
    assert!(
        text.contains("partly met, on 16 November 2026: \u{201c}an empty cup\u{201d}"),
        "{text}"
    );
}

#[test]
fn a_day_that_has_passed_is_told_of_a_goal_that_is_open_and_of_no_other() {
    assert_eq!(
        told(&second("")),
        ["note goal.target-passed /goals/0/target"]
    );
    for is in ["met", "partly-met", "not-met", "given-up"] {
        assert_eq!(
            told(&second(&STATE.replace("partly-met", is))),
            [""; 0],
            "{is}"
        );
    }
}

#[test]
fn a_state_of_no_list_or_of_a_later_day_or_without_words_is_refused() {
    let nearly = second(&STATE.replace("partly-met", "nearly"));
    let later = second(&STATE.replace("2026-11-16", "2026-11-17"));
    let wordless = second(r#"{"is":"met","on":"2026-11-16"}"#);

    assert_eq!(told(&nearly), ["error word.unknown /goals/0/state/is"]);
    assert_eq!(told(&later), ["error goal.state /goals/0/state/on"]);
    assert_eq!(
        told(&wordless),
        ["error field.missing /goals/0/state/words"]
    );
}

#[test]
fn a_state_needs_the_second_form() {
    let (path, goal) = goal(STATE);

    let told = told(&edited(&[(path, &goal)]));
    assert_eq!(told, ["error field.newer /goals/0/state"]);
}
