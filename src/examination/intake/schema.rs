//! The JSON Schema of the session document, and the problems it finds.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::intake::draft::Draft;
use crate::tables::catalogue::CANONICAL;
use jsonschema::error::ValidationErrorKind;
use jsonschema::{ValidationError, Validator};
use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use serde_json::Value;
use std::sync::LazyLock;

/// The JSON Schema (2020-12) of the session document, generated from its types.
pub fn document_schema() -> Value {
    let settings = SchemaSettings::draft2020_12()
        .with_transform(RecursiveTransform(close_object))
        .with(|settings| settings.inline_subschemas = false);
    let mut schema = settings.into_generator().into_root_schema_for::<Draft>();
    schema.insert(
        "$id".to_owned(),
        format!("{CANONICAL}/schema/session/1").into(),
    );
    schema.insert(
        "title".to_owned(),
        "Fascicle session document, version 1".into(),
    );
    schema.to_value()
}

/// Adds a problem for each thing the schema finds, and tells the paths they lie at.
pub fn problems_of(value: &Value, problems: &mut Problems) -> Vec<String> {
    static VALIDATOR: LazyLock<Result<Validator, String>> = LazyLock::new(|| {
        jsonschema::draft202012::new(&document_schema()).map_err(|cause| cause.to_string())
    });
    let validator = match &*VALIDATOR {
        Ok(validator) => validator,
        Err(cause) => {
            let hint = "report this: the schema does not compile";
            problems.error(Code::DocumentSchema, "", cause.clone(), hint);
            return vec![String::new()];
        }
    };
    let mut paths = Vec::new();
    for error in validator.iter_errors(value) {
        paths.extend(tell(&error, problems));
    }
    walk(value, "", &mut paths, problems);
    paths
}

/// The longest string of FHIR: "Note that strings SHALL NOT exceed 1MB (1024*1024 characters) in
/// size" (FHIR R4 4.0.1, datatypes.html#string).
const MOST_CHARACTERS: usize = 1024 * 1024;

/// Tells what JSON Schema lets pass: a text that says nothing or cannot be sent, and `1.0`, which it
/// counts as whole.
fn walk(value: &Value, path: &str, paths: &mut Vec<String>, problems: &mut Problems) {
    match value {
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                walk(item, &format!("{path}/{index}"), paths, problems);
            }
        }
        Value::Object(members) => {
            for (key, member) in members {
                let path = format!("{path}/{}", crate::base::json::pointer_step(key));
                walk(member, &path, paths, problems);
            }
        }
        Value::String(_) | Value::Number(_) if paths.iter().any(|told| told == path) => {}
        Value::String(text) => {
            if text_has_fault(text, path, problems) {
                paths.push(path.to_owned());
            }
        }
        Value::Number(number) if number.is_f64() => {
            let hint = "write a whole number without point or exponent";
            let what = format!("{}: {number}", field_of(path));
            problems.error(Code::FieldType, path, what, hint);
            paths.push(path.to_owned());
        }
        Value::Number(_) | Value::Bool(_) | Value::Null => {}
    }
}

fn field_of(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or_default()
}

/// Tells a text that is none, whatever it says.
fn text_has_fault(text: &str, path: &str, problems: &mut Problems) -> bool {
    // "Strings SHALL NOT contain Unicode character points below 32, except for u0009 (horizontal
    // tab), u000D (carriage return) and u000A (line feed)" (FHIR R4 4.0.1, datatypes.html#string).
    let control = |c: char| c.is_control() && !matches!(c, '\t' | '\r' | '\n');
    // These let "left" be read as something else than it is.
    let turns = |c: char| matches!(c, '\u{202d}' | '\u{202e}');
    let shown: String = text.escape_debug().take(200).collect();
    let what = format!("{}: \"{shown}\"", field_of(path));
    // Nor do the marks that Unicode shows nowhere: the byte order mark, zero-width and joining ones.
    let unseen = |c: char| {
        let marks = '\u{200b}'..='\u{200f}';
        let joins = '\u{2060}'..='\u{2064}';
        c.is_whitespace()
            || matches!(c, '\u{ad}' | '\u{180e}' | '\u{feff}')
            || marks.contains(&c)
            || joins.contains(&c)
    };
    if !text.is_empty() && text.chars().all(unseen) {
        problems.error(
            Code::FieldEmpty,
            path,
            what,
            "blanks say nothing: leave it out",
        );
    } else if text.contains(control) {
        problems.error(
            Code::TextControl,
            path,
            what,
            "remove the control character",
        );
    } else if text.contains(turns) {
        let hint = "remove the character that turns the order of reading round";
        problems.error(Code::TextOverride, path, what, hint);
    } else if text.chars().nth(MOST_CHARACTERS).is_some() {
        problems.error(
            Code::TextLong,
            path,
            what,
            "write at most a million characters",
        );
    } else {
        return false;
    }
    true
}

/// An unknown member is refused by `unevaluatedProperties`, as JSON Schema 2020-12 names it, and
/// `null` nowhere stands for a field that was left out.
fn close_object(schema: &mut schemars::Schema) {
    schema.remove("default");
    if let Some(Value::Array(types)) = schema.get_mut("type") {
        types.retain(|name| name != "null");
    }
    if let Some(Value::Array(choices)) = schema.remove("anyOf") {
        let mut choices = choices;
        choices.retain(|choice| choice.get("type") != Some(&Value::from("null")));
        match choices.as_slice() {
            [Value::Object(only)] => {
                for (key, value) in only {
                    schema.insert(key.clone(), value.clone());
                }
            }
            _ => {
                schema.insert("anyOf".to_owned(), Value::Array(choices));
            }
        }
    }
    if let Some(closed) = schema.remove("additionalProperties") {
        schema.insert("unevaluatedProperties".to_owned(), closed);
    }
}

#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "the library names every keyword of JSON Schema; our schema uses these few"
)]
fn tell(error: &ValidationError<'_>, problems: &mut Problems) -> Vec<String> {
    let path = error.instance_path().to_string();
    match error.kind() {
        ValidationErrorKind::Required { property } => {
            let name = property.as_str().unwrap_or_default();
            let path = format!("{path}/{name}");
            problems.error(
                Code::FieldMissing,
                &path,
                format!("{name} is missing"),
                "add it",
            );
            vec![path]
        }
        ValidationErrorKind::UnevaluatedProperties { unexpected } => unexpected
            .iter()
            .map(|name| {
                let path = format!("{path}/{}", crate::base::json::pointer_step(name));
                let what = format!("{name} is not a field of the session document");
                let hint = "remove it or correct its name; nothing is ignored silently";
                problems.error(Code::FieldUnknown, &path, what, hint);
                path
            })
            .collect(),
        ValidationErrorKind::Type { .. } => one(problems, Code::FieldType, path, error),
        // A word of a list whose words are explained stands in the schema as one of constants.
        ValidationErrorKind::Enum { .. }
        | ValidationErrorKind::Constant { .. }
        | ValidationErrorKind::OneOfNotValid { .. } => {
            one(problems, Code::FieldChoice, path, error)
        }
        ValidationErrorKind::Pattern { .. } => one(problems, Code::FieldForm, path, error),
        ValidationErrorKind::MinLength { .. } | ValidationErrorKind::MinItems { .. } => {
            one(problems, Code::FieldEmpty, path, error)
        }
        _ => one(problems, Code::FieldValue, path, error),
    }
}

fn one(
    problems: &mut Problems,
    code: Code,
    path: String,
    error: &ValidationError<'_>,
) -> Vec<String> {
    let field = path.rsplit('/').next().unwrap_or_default();
    let (what, hint) = match (code, error.kind()) {
        (Code::FieldForm, ValidationErrorKind::Pattern { pattern }) => (
            format!("{field}: {} has another form than asked", error.instance()),
            form(pattern),
        ),
        (Code::FieldType, _) => (
            format!("{field}: {error}"),
            "values that carry digits are strings, in quotes",
        ),
        (Code::FieldChoice, ValidationErrorKind::OneOfNotValid { .. }) => (
            format!("{field}: {} is none of its words", error.instance()),
            "fascicle check --schema lists the words, and what each means",
        ),
        (Code::FieldChoice, _) => (format!("{field}: {error}"), "use one of the words listed"),
        (Code::FieldEmpty, _) => (
            format!("{field}: {error}"),
            "an empty value says nothing: leave it out or say why it is missing",
        ),
        (_, _) => (format!("{field}: {error}"), "see `fascicle check --schema`"),
    };
    problems.error(code, &path, what, hint);
    vec![path]
}

/// What a pattern of the schema asks for, in words.
fn form(pattern: &str) -> &'static str {
    if pattern.contains("T\\d") {
        "write day, time with seconds, and offset, such as 2026-11-02T09:30:00+01:00"
    } else if pattern == "^[0-9a-f]{8}$" {
        "write the mark of the caution as it is printed"
    } else if pattern.contains("[0-9a-f]{8}") {
        "write a UUID in lower case"
    } else if pattern.contains("(-\\d{2}(-\\d{2})?)?") {
        "write a year, a month or a day, such as 1961, 1961-03 or 1961-03-14"
    } else if pattern.contains("\\d{4}") {
        "write a day, such as 2026-11-02"
    } else if pattern.contains("https?") {
        "write an absolute address, such as https://clinic.example/sessions"
    } else if pattern.contains("[1-9]") {
        "write digits with a point, such as 12.5, without unit or exponent"
    } else {
        "remove blanks at both ends"
    }
}

#[cfg(test)]
mod tests {
    use super::{document_schema, form};
    use std::collections::BTreeSet;

    fn patterns(value: &serde_json::Value, found: &mut BTreeSet<String>) {
        match value {
            serde_json::Value::Object(members) => {
                found.extend(
                    members
                        .get("pattern")
                        .and_then(|p| p.as_str())
                        .map(str::to_owned),
                );
                members.values().for_each(|member| patterns(member, found));
            }
            serde_json::Value::Array(items) => items.iter().for_each(|item| patterns(item, found)),
            serde_json::Value::Null
            | serde_json::Value::Bool(_)
            | serde_json::Value::Number(_)
            | serde_json::Value::String(_) => {}
        }
    }

    #[test]
    fn every_pattern_of_the_schema_is_said_in_words() {
        let mut found = BTreeSet::new();

        patterns(&document_schema(), &mut found);

        let unsaid: Vec<&String> = found
            .iter()
            .filter(|pattern| form(pattern) == form("anything else"))
            .collect();
        assert_eq!(unsaid, [r"^\S(.*\S)?$"], "{found:#?}");
    }
}
