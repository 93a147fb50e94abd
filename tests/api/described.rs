#![cfg(test)]
//! What is published of the interface is what it does: every answer given in these tests is looked up
//! in the description, its body held against the schema there, and every address is a route.

use crate::service::{Answer, Service};
use axum::body::Body;
use axum::http::Request;
use serde_json::{Value, json};
use std::sync::LazyLock;

static DESCRIPTION: LazyLock<Value> =
    LazyLock::new(|| serde_json::from_str(fascicle::service::web::api::OPENAPI).expect("JSON"));

/// Fails when an answer is not described: its status, its media type, or the shape of its body.
pub(crate) fn holds(method: &str, path: &str, answer: &Answer) {
    let at = format!("{method} {path} {}", answer.status);
    assert!(
        !answer.header("x-request-id").is_empty(),
        "{at}: no request id"
    );
    let operation = template(path)
        .map(|template| DESCRIPTION["paths"][template][method.to_lowercase()].clone());
    let Some(operation) = operation.filter(Value::is_object) else {
        // Told in the words of the description as a whole. HEAD is GET without a body.
        assert!(
            matches!(answer.status, 401 | 404 | 405) || method == "HEAD",
            "{at}"
        );
        return;
    };
    let response = resolved(&operation["responses"][answer.status.to_string()]);
    assert!(response.is_object(), "{at} is not described");
    let kind = answer.header("content-type");
    let content = &response["content"][kind];
    assert!(content.is_object(), "{at}: {kind} is not described");
    if kind.contains("json") {
        let schema = json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "components": DESCRIPTION["components"],
            "allOf": [content["schema"]],
        });
        let validator = jsonschema::validator_for(&schema).expect("a schema");
        let body = answer.json();
        let faults: Vec<String> = validator
            .iter_errors(&body)
            .map(|fault| format!("{fault} at {}", fault.instance_path()))
            .collect();
        assert!(faults.is_empty(), "{at}: {faults:#?}");
    }
}

/// The described address a path belongs to; one written out goes before one with a parameter.
fn template(path: &str) -> Option<&'static str> {
    let steps: Vec<&str> = path.split('/').collect();
    let fits = |template: &&String| {
        let wanted: Vec<&str> = template.split('/').collect();
        wanted.len() == steps.len()
            && wanted
                .iter()
                .zip(&steps)
                .all(|(wanted, step)| wanted.starts_with('{') || wanted == step)
    };
    let paths = DESCRIPTION["paths"].as_object().expect("paths");
    let mut fitting: Vec<&String> = paths.keys().filter(fits).collect();
    fitting.sort_by_key(|template| template.contains('{'));
    fitting.first().map(|template| template.as_str())
}

fn resolved(response: &Value) -> &Value {
    match response["$ref"].as_str() {
        Some(reference) => DESCRIPTION
            .pointer(reference.trim_start_matches('#'))
            .expect("what is referred to"),
        None => response,
    }
}

#[tokio::test]
async fn every_described_method_is_a_route_and_no_other_method_is() {
    let service = Service::new().await;
    for (path, operations) in DESCRIPTION["paths"].as_object().expect("paths") {
        let path = path
            .replace("{session}", "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a01")
            .replace("{item}", "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a01")
            .replace("{target}", "nowhere");
        for method in ["GET", "POST", "PUT", "PATCH", "DELETE"] {
            let request = Request::builder()
                .method(method)
                .uri(&path)
                .header("authorization", format!("Bearer {}", crate::service::TOKEN));
            let request = request.body(Body::empty()).expect("a request");

            let answer = service.answer(request).await;

            let described = operations.get(method.to_lowercase()).is_some();
            assert_eq!(answer.status != 405, described, "{method} {path}");
            if !described {
                assert_eq!(answer.problem(), "method-not-allowed");
                // RFC 9110, section 15.5.6: "MUST generate an Allow header field".
                assert!(!answer.header("allow").is_empty(), "{method} {path}");
            }
        }
    }
}

/// The routes as the source names them: the description may leave none out.
#[test]
fn every_route_of_the_source_is_described() {
    let source = include_str!("../../src/service/web/api/mod.rs");
    let admission = include_str!("../../src/service/web/api/admission.rs");
    let written = source.matches(".route(").count();
    let mut routes: Vec<&str> = [source, admission]
        .iter()
        .flat_map(|text| text.split('"').filter(|part| part.starts_with("/v1/")))
        .collect();
    routes.sort_unstable();
    routes.dedup();
    let described = DESCRIPTION["paths"].as_object().expect("paths");

    assert_eq!(routes.len(), written);
    for route in &routes {
        assert!(described.contains_key(*route), "{route} is not described");
    }
    assert_eq!(described.len(), routes.len());
}

#[tokio::test]
async fn the_description_and_the_schema_are_published_without_a_token() {
    let service = Service::new().await;
    for (path, member, value) in [
        ("/v1/openapi.json", "openapi", "3.1.0"),
        (
            "/v1/session.schema.json",
            "$schema",
            "https://json-schema.org/draft/2020-12/schema",
        ),
    ] {
        let request = Request::get(path).body(Body::empty()).expect("a request");

        let answer = service.answer(request).await.with_status(200);

        assert_eq!(answer.json()[member], value);
    }
}

#[test]
fn every_problem_that_the_source_names_is_described_and_the_other_way_round() {
    let sources = [
        include_str!("../../src/service/web/api/mod.rs"),
        include_str!("../../src/service/web/api/admission.rs"),
        include_str!("../../src/service/web/api/body.rs"),
        include_str!("../../src/service/web/api/fault.rs"),
        include_str!("../../src/service/web/api/health.rs"),
        include_str!("../../src/service/web/api/metrics.rs"),
        include_str!("../../src/service/web/api/queue.rs"),
        include_str!("../../src/service/web/api/request.rs"),
        include_str!("../../src/service/web/api/sessions.rs"),
    ]
    .concat();
    let mut told = String::new();
    for operations in DESCRIPTION["paths"].as_object().expect("paths").values() {
        for operation in operations.as_object().expect("operations").values() {
            for response in operation["responses"]
                .as_object()
                .expect("responses")
                .values()
            {
                told.push_str(resolved(response)["description"].as_str().expect("words"));
                told.push('\n');
            }
        }
    }
    let problems = [
        "bad-request",
        "not-json",
        "unauthorized",
        "not-found",
        "too-slow",
        "other-content",
        "version-order",
        "other-person",
        "nothing-to-decide",
        "too-large",
        "media-type",
        "does-not-hold",
        "waits-for-confirmation",
        "fault",
        "busy",
        "tokens-unusable",
        "not-ready",
        "contended",
    ];
    for problem in problems {
        assert!(
            sources.contains(&format!("\"{problem}\"")),
            "{problem} is in no source"
        );
        assert!(told.contains(problem), "{problem} is not described");
    }
}

/// Whether the description takes a value at one of its places.
fn takes(schema: &Value, value: &Value) -> bool {
    let schema = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "components": DESCRIPTION["components"],
        "allOf": [schema],
    });
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    validator.is_valid(value)
}

#[tokio::test]
async fn a_row_number_is_taken_by_the_service_as_far_as_the_description_takes_it() {
    let service = Service::new().await;
    let parameters = &DESCRIPTION["paths"]["/v1/trail"]["get"]["parameters"];
    let parameters = parameters.as_array().expect("parameters");
    for (name, value) in [
        ("after", json!(-1)),
        ("after", json!(0)),
        ("after", json!(9_007_199_254_740_991_i64)),
        ("after", json!(9_007_199_254_740_992_i64)),
        ("after", json!(9_223_372_036_854_775_808_u64)),
        ("limit", json!(0)),
        ("limit", json!(1)),
        ("limit", json!(5000)),
        ("limit", json!(5001)),
    ] {
        let parameter = parameters.iter().find(|one| one["name"] == name);
        let described = takes(&parameter.expect("described")["schema"], &value);

        let answer = service.get(&format!("/v1/trail?{name}={value}")).await;

        assert_eq!(answer.status == 200, described, "{name}={value}");
    }
}

#[tokio::test]
async fn who_and_why_are_taken_by_the_service_as_far_as_the_description_takes_them() {
    let service = Service::new().await;
    let post = &DESCRIPTION["paths"]["/v1/targets/{target}/pause"]["post"];
    let schema = &post["requestBody"]["content"]["application/json"]["schema"];
    for said in [
        json!({"by": "A. Ward", "why": "night"}),
        json!({"by": " A. Ward ", "why": "x".repeat(500)}),
        json!({"by": " ", "why": "night"}),
        json!({"by": "\u{a0}\t", "why": "night"}),
        json!({"by": "A. Ward", "why": "\n"}),
        json!({"by": "", "why": "night"}),
        json!({"by": "A. Ward", "why": "x".repeat(501)}),
        json!({"by": "A. Ward"}),
        json!({"by": "A. Ward", "why": "night", "more": 1}),
    ] {
        let described = takes(schema, &said);

        let answer = service
            .post("/v1/targets/ward/pause", said.to_string())
            .await;

        // It is paused already from the second time on.
        assert_eq!(answer.status != 400, described, "{said}");
    }
}

#[tokio::test]
async fn an_empty_sheet_is_taken_neither_by_the_service_nor_by_the_description() {
    let service = Service::new().await;
    let post = &DESCRIPTION["paths"]["/v1/sessions"]["post"];
    let schema = &post["requestBody"]["content"]["text/csv"]["schema"];
    let sheet = crate::submitting::sheet();
    let (header, _) = sheet.split_once('\n').expect("rows");
    for (text, holds) in [
        ("", false),
        ("\r\n\r\n", false),
        (header, false),
        (&format!("{header}\n"), false),
        (&format!("{header}\n\n  \n"), false),
        (&sheet, true),
    ] {
        let answer = crate::submitting::post_sheet(&service, text.to_owned()).await;

        assert_eq!(takes(schema, &json!(text)), holds, "{text:?}");
        assert_eq!(answer.status == 202, holds, "{text:?}: {}", answer.text);
    }
}
