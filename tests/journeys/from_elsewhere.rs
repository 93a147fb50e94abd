#![cfg(test)]
//! FHIR that others wrote: each fault of base R4 is told once, beside the nearest resource that holds.
//!
//! The same rules are held against the reference validator over published examples and their mutants:
//! tests/conformance/foreign.

use crate::document::{catalogue, lines, set};
use fascicle::base::code::Code;
use fascicle::base::json::Node;
use fascicle::base::problem::Problems;
use fascicle::fhir::check;
use std::collections::BTreeSet;

const OBSERVATION: &str = r##"{"resourceType":"Observation","id":"one","contained":[{"resourceType":"Device","id":"inner"}],
    "extension":[{"url":"https://invented.example/marked","valueBoolean":true}],
    "identifier":[{"use":"usual","system":"urn:ietf:rfc:3986","value":"urn:oid:1.2.3"}],
    "status":"final","category":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/observation-category","code":"exam"}]}],
    "code":{"coding":[{"system":"https://invented.example/codes","code":"reach"}],"text":"reach"},
    "subject":{"reference":"Patient/p"},"effectivePeriod":{"start":"2026-11-02","end":"2026-11-02T09:30:00Z"},
    "issued":"2026-11-02T09:30:00Z","device":{"reference":"#inner"},
    "valueQuantity":{"value":5,"unit":"mm","system":"http://unitsofmeasure.org","code":"mm"},
    "note":[{"text":"told"}],
    "text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">reach</div>"},
    "referenceRange":[{"low":{"value":2},"high":{"value":9}}],
    "component":[{"code":{"text":"part"},"valueInteger":3}]}"##;

const BUNDLE: &str = r#"{"resourceType":"Bundle","type":"collection","entry":[
    {"fullUrl":"https://record.example/fhir/Patient/p","resource":{"resourceType":"Patient","id":"p","gender":"female"}},
    {"fullUrl":"https://record.example/fhir/Basic/b","resource":{"resourceType":"Basic","id":"b","code":{"text":"x"},
        "subject":{"reference":"https://record.example/fhir/Patient/p"}}}]}"#;

const DOCUMENT: &str = r#"{"resourceType":"Bundle","type":"document","timestamp":"2026-11-02T09:30:00Z",
    "identifier":{"system":"https://clinic.example/documents","value":"1"},"entry":[
    {"fullUrl":"https://record.example/fhir/Composition/c","resource":{"resourceType":"Composition","id":"c","status":"final",
        "type":{"text":"x"},"date":"2026-11-02","author":[{"display":"Test Therapist"}],"title":"x"}}]}"#;

const MESSAGE: &str = r#"{"resourceType":"Bundle","type":"message","entry":[
    {"fullUrl":"https://record.example/fhir/MessageHeader/m","resource":{"resourceType":"MessageHeader","id":"m",
        "eventUri":"https://clinic.example/event","source":{"endpoint":"https://clinic.example/in"}}}]}"#;

const CONDITION: &str = r#"{"resourceType":"Condition","subject":{"reference":"Patient/p"},
    "onsetAge":{"value":60,"system":"http://unitsofmeasure.org","code":"a"}}"#;

/// A resource that holds, edits of it (a JSON Pointer and what is to stand there, nothing to remove
/// what stands there), and all that is told then.
type Case = (
    &'static str,
    &'static [(&'static str, &'static str)],
    &'static [&'static str],
);

const CASES: &[Case] = &[
    // JSON and structure: json.html, the official schema, the definitions of each type
    (
        OBSERVATION,
        &[("/strange", "1")],
        &["error fhir.element /strange"],
    ),
    (
        OBSERVATION,
        &[("/component/0/code/strange", "1")],
        &["error fhir.element /component/0/code/strange"],
    ),
    (
        OBSERVATION,
        &[("/_code", r#"{"id":"x"}"#)],
        &["error fhir.element /_code"],
    ),
    (
        OBSERVATION,
        &[("/status", "")],
        &["error fhir.required /status"],
    ),
    (
        OBSERVATION,
        &[
            ("/status", ""),
            (
                "/_status",
                r#"{"extension":[{"url":"https://invented.example/why","valueCode":"x"}]}"#,
            ),
        ],
        &[],
    ),
    (
        OBSERVATION,
        &[("/code", "")],
        &["error fhir.required /code"],
    ),
    (
        OBSERVATION,
        &[("/component/0/code", "")],
        &["error fhir.required /component/0/code"],
    ),
    (
        OBSERVATION,
        &[("/note/0/text", "")],
        &["error fhir.empty /note/0"],
    ),
    (OBSERVATION, &[("/note", "[]")], &["error fhir.empty /note"]),
    (OBSERVATION, &[("/code", "{}")], &["error fhir.empty /code"]),
    (
        OBSERVATION,
        &[("/code/text", r#"" ""#)],
        &["error fhir.empty /code/text"],
    ),
    (
        OBSERVATION,
        &[("/code", r#"{"id":"x"}"#)],
        &["error fhir.ele-1 /code"],
    ),
    (
        OBSERVATION,
        &[("/code/text", "null")],
        &["error fhir.null /code/text"],
    ),
    (
        OBSERVATION,
        &[("/category/1", "null")],
        &["error fhir.null /category/1"],
    ),
    (
        OBSERVATION,
        &[("/code", r#""reach""#)],
        &["error fhir.type /code"],
    ),
    (
        OBSERVATION,
        &[("/code", r#"[{"text":"reach"}]"#)],
        &["error fhir.type /code"],
    ),
    (
        OBSERVATION,
        &[("/category", r#"{"text":"exam"}"#)],
        &["error fhir.type /category"],
    ),
    (
        OBSERVATION,
        &[("/status", "5")],
        &["error fhir.type /status"],
    ),
    (
        OBSERVATION,
        &[("/valueQuantity/value", r#""5""#)],
        &["error fhir.type /valueQuantity/value"],
    ),
    (
        OBSERVATION,
        &[("/resourceType", r#""Obsevation""#)],
        &["error fhir.resource-type /resourceType"],
    ),
    (
        OBSERVATION,
        &[("/resourceType", r#""DomainResource""#)],
        &["error fhir.resource-type /resourceType"],
    ),
    (
        OBSERVATION,
        &[("/contained/0/resourceType", "")],
        &[
            "error fhir.ref-1 /device/reference",
            "error fhir.resource-type /contained/0/resourceType",
        ],
    ),
    (
        OBSERVATION,
        &[("/valueString", r#""five""#)],
        &["error fhir.one-value"],
    ),
    (
        OBSERVATION,
        &[("/effectiveDateTime", r#""2026""#)],
        &["error fhir.one-value"],
    ),
    (
        OBSERVATION,
        &[("/valueAddress", r#"{"city":"x"}"#)],
        &["error fhir.element /valueAddress"],
    ),
    // primitives: datatypes.html
    (
        OBSERVATION,
        &[("/id", r#""one two""#)],
        &["error fhir.form /id"],
    ),
    (
        OBSERVATION,
        &[("/issued", r#""2026-02-30T09:30:00Z""#)],
        &["error fhir.time /issued"],
    ),
    (
        OBSERVATION,
        &[("/issued", r#""2026-11-02""#)],
        &["error fhir.time /issued"],
    ),
    (
        OBSERVATION,
        &[("/effectivePeriod/start", r#""2026-02-30""#)],
        &["error fhir.time /effectivePeriod/start"],
    ),
    (
        OBSERVATION,
        &[("/component/0/valueInteger", "3.5")],
        &["error fhir.form /component/0/valueInteger"],
    ),
    (
        OBSERVATION,
        &[("/component/0/valueInteger", "3000000000")],
        &["error fhir.form /component/0/valueInteger"],
    ),
    (
        OBSERVATION,
        &[("/valueQuantity/value", "5e0")],
        &["note fhir.decimal /valueQuantity/value"],
    ),
    (
        OBSERVATION,
        &[("/identifier/0/system", r#""urn:oid:9.1""#)],
        &["error fhir.form /identifier/0/system"],
    ),
    (
        OBSERVATION,
        &[(
            "/identifier/0/system",
            r#""urn:uuid:53FEFA32-FCBB-4FF8-8A92-55EE120877B7""#,
        )],
        &["error fhir.form /identifier/0/system"],
    ),
    (
        OBSERVATION,
        &[("/meta", r#"{"profile":["Observation"]}"#)],
        &["error fhir.form /meta/profile/0"],
    ),
    (
        OBSERVATION,
        &[("/code/coding/0/code", r#""two  blanks""#)],
        &["error fhir.form /code/coding/0/code"],
    ),
    // codes: terminologies.html#required
    (
        OBSERVATION,
        &[("/status", r#""finished""#)],
        &["error fhir.code /status"],
    ),
    (
        OBSERVATION,
        &[("/identifier/0/use", r#""always""#)],
        &["error fhir.code /identifier/0/use"],
    ),
    (
        CONDITION,
        &[("/clinicalStatus", r#"{"text":"active"}"#)],
        &["error fhir.code /clinicalStatus"],
    ),
    (
        CONDITION,
        &[(
            "/clinicalStatus",
            r#"{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/condition-clinical","code":"active"}]}"#,
        )],
        &[],
    ),
    (
        OBSERVATION,
        &[("/valueQuantity/code", r#""degrees""#)],
        &["error unit.ucum /valueQuantity/code"],
    ),
    // invariants of data types
    (
        OBSERVATION,
        &[("/valueQuantity/system", "")],
        &["error fhir.qty-3 /valueQuantity"],
    ),
    (
        OBSERVATION,
        &[
            ("/valueQuantity", ""),
            ("/valueRange", r#"{"low":{"value":9},"high":{"value":9.0}}"#),
        ],
        &[],
    ),
    (
        OBSERVATION,
        &[
            ("/valueQuantity", ""),
            ("/valueRange", r#"{"low":{"value":9.1},"high":{"value":9}}"#),
        ],
        &["error fhir.rng-2 /valueRange"],
    ),
    (
        OBSERVATION,
        &[("/referenceRange/0/low/comparator", r#""<""#)],
        &["error fhir.sqty-1 /referenceRange/0/low/comparator"],
    ),
    (
        OBSERVATION,
        &[("/effectivePeriod/start", r#""2026-11-03""#)],
        &["error fhir.per-1 /effectivePeriod"],
    ),
    (
        OBSERVATION,
        &[("/identifier/0/value", r#""1.2.3""#)],
        &["error fhir.identifier /identifier/0/value"],
    ),
    (
        OBSERVATION,
        &[("/text/div", r#""reach""#)],
        &["error fhir.narrative /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"> </div>""#,
        )],
        &["error fhir.txt-2 /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>a<br/><!-- <b> --><b>c</b></p></div>""#,
        )],
        &[],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>a</div>""#,
        )],
        &["error fhir.narrative /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\">a<script>b</script></div>""#,
        )],
        &["error fhir.txt-1 /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"><p onclick=\"go()\">a</p></div>""#,
        )],
        &["error fhir.txt-1 /text/div"],
    ),
    (
        OBSERVATION,
        &[("/text/div", r#""<div><p>a</p></div>""#)],
        &["error fhir.narrative /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/2000/svg\">a</div>""#,
        )],
        &["error fhir.narrative /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"><a href=\" java&#115;cript:go()\">a</a></div>""#,
        )],
        &["error fhir.txt-1 /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"><p class=\"a\" class=\"b\">a</p></div>""#,
        )],
        &["error fhir.narrative /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\">a</div><div>b</div>""#,
        )],
        &["error fhir.narrative /text/div"],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"de\" xml:lang=\"de\"><a href=\"b\" title=\"'&gt;'\">1 &lt; 2</a></div>""#,
        )],
        &[],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"><img src=\"arc\" alt=\"\"/></div>""#,
        )],
        &[],
    ),
    (
        OBSERVATION,
        &[(
            "/text/div",
            r#""<div xmlns=\"http://www.w3.org/1999/xhtml\"><img src=\"x.png\" alt=\"a>b\"/></div>""#,
        )],
        &[],
    ),
    (
        OBSERVATION,
        &[("/extension/0/valueBoolean", "")],
        &["error fhir.ext-1 /extension/0"],
    ),
    (
        OBSERVATION,
        &[
            ("/valueQuantity", ""),
            (
                "/valueRatio",
                r#"{"numerator":{"value":1},"denominator":{"value":2}}"#,
            ),
        ],
        &[],
    ),
    (
        OBSERVATION,
        &[
            ("/valueQuantity", ""),
            ("/valueRatio", r#"{"numerator":{"value":1}}"#),
        ],
        &["error fhir.rat-1 /valueRatio"],
    ),
    (
        OBSERVATION,
        &[
            ("/valueQuantity", ""),
            (
                "/valueSampledData",
                r#"{"origin":{"value":0},"period":10,"dimensions":1,"data":"1 E 2.5"}"#,
            ),
        ],
        &[],
    ),
    (
        OBSERVATION,
        &[
            ("/valueQuantity", ""),
            (
                "/valueSampledData",
                r#"{"origin":{"value":0},"period":10,"dimensions":1,"data":"1  2"}"#,
            ),
        ],
        &["error fhir.sampled-data /valueSampledData/data"],
    ),
    (
        OBSERVATION,
        &[
            ("/valueQuantity", ""),
            (
                "/valueSampledData",
                r#"{"origin":{"value":0},"period":10,"dimensions":0,"data":"1 2"}"#,
            ),
        ],
        &["error fhir.form /valueSampledData/dimensions"],
    ),
    (
        OBSERVATION,
        &[
            ("/effectivePeriod", ""),
            (
                "/effectiveTiming",
                r#"{"repeat":{"duration":-1,"durationUnit":"h"}}"#,
            ),
        ],
        &["error fhir.tim-4 /effectiveTiming/repeat/duration"],
    ),
    (
        OBSERVATION,
        &[
            ("/effectivePeriod", ""),
            (
                "/effectiveTiming",
                r#"{"repeat":{"period":-1,"periodUnit":"h"}}"#,
            ),
        ],
        &["error fhir.tim-5 /effectiveTiming/repeat/period"],
    ),
    (
        OBSERVATION,
        &[
            ("/effectivePeriod", ""),
            (
                "/effectiveTiming",
                r#"{"repeat":{"offset":30,"when":["CM"]}}"#,
            ),
        ],
        &["error fhir.tim-9 /effectiveTiming/repeat"],
    ),
    (
        OBSERVATION,
        &[
            ("/effectivePeriod", ""),
            (
                "/effectiveTiming",
                r#"{"repeat":{"offset":30,"when":["ACM"]}}"#,
            ),
        ],
        &[],
    ),
    (
        OBSERVATION,
        &[
            ("/extension/0/valueBoolean", ""),
            (
                "/extension/0/valueAttachment",
                r#"{"contentType":"text/plain","data":"QUJD","size":3}"#,
            ),
        ],
        &[],
    ),
    (
        OBSERVATION,
        &[
            ("/extension/0/valueBoolean", ""),
            (
                "/extension/0/valueAttachment",
                r#"{"contentType":"text/plain","data":"QUJD","size":4}"#,
            ),
        ],
        &["error fhir.attachment-size /extension/0/valueAttachment/size"],
    ),
    (
        OBSERVATION,
        &[
            ("/extension/0/valueBoolean", ""),
            (
                "/extension/0/valueAttachment",
                r#"{"contentType":"text/plain","data":"@"}"#,
            ),
        ],
        &["error fhir.form /extension/0/valueAttachment/data"],
    ),
    (
        CONDITION,
        &[("/onsetAge/value", "0")],
        &["error fhir.quantity /onsetAge"],
    ),
    (
        CONDITION,
        &[("/onsetAge/code", "")],
        &["error fhir.quantity /onsetAge"],
    ),
    // invariants of Observation
    (
        OBSERVATION,
        &[("/dataAbsentReason", r#"{"text":"asleep"}"#)],
        &["error fhir.obs-6"],
    ),
    (
        OBSERVATION,
        &[
            ("/dataAbsentReason", r#"{"text":"asleep"}"#),
            ("/valueQuantity", ""),
        ],
        &[],
    ),
    (
        OBSERVATION,
        &[(
            "/component/0/code",
            r#"{"coding":[{"system":"https://invented.example/codes","code":"reach"}]}"#,
        )],
        &["error fhir.obs-7 /component/0"],
    ),
    (
        OBSERVATION,
        &[("/referenceRange/0", r#"{"type":{"text":"normal"}}"#)],
        &["error fhir.obs-3 /referenceRange/0"],
    ),
    // references and what is contained: references.html
    (
        OBSERVATION,
        &[("/subject/reference", r#""Medication/1""#)],
        &["error fhir.reference /subject/reference"],
    ),
    (
        OBSERVATION,
        &[(
            "/subject/reference",
            r#""https://record.example/fhir/Medication/1/_history/2""#,
        )],
        &["error fhir.reference /subject/reference"],
    ),
    (OBSERVATION, &[("/subject/reference", r#""Group/1""#)], &[]),
    (OBSERVATION, &[("/subject/reference", r##""#inner""##)], &[]),
    (
        OBSERVATION,
        &[("/encounter", r##"{"reference":"#inner"}"##)],
        &["error fhir.reference /encounter/reference"],
    ),
    (
        OBSERVATION,
        &[("/subject/reference", r##""#nowhere""##)],
        &["error fhir.ref-1 /subject/reference"],
    ),
    (
        OBSERVATION,
        &[("/device/reference", r#""Device/1""#)],
        &["error fhir.dom-3 /contained/0"],
    ),
    (
        OBSERVATION,
        &[(
            "/contained/0/contained",
            r##"[{"resourceType":"Device","id":"innermost","parent":{"reference":"#"}}]"##,
        )],
        &["error fhir.dom-2 /contained/0"],
    ),
    (
        OBSERVATION,
        &[("/contained/0/meta", r#"{"versionId":"1"}"#)],
        &["error fhir.dom-4 /contained/0"],
    ),
    (
        OBSERVATION,
        &[(
            "/contained/0/meta",
            r#"{"security":[{"system":"https://invented.example/labels","code":"R"}]}"#,
        )],
        &["error fhir.dom-5 /contained/0"],
    ),
    (
        OBSERVATION,
        &[(
            "/contained/0/meta",
            r#"{"tag":[{"system":"https://invented.example/tags","code":"R"}]}"#,
        )],
        &[],
    ),
    // Bundle: bundle.html
    (
        BUNDLE,
        &[("/type", r#""pile""#)],
        &["error fhir.code /type"],
    ),
    (BUNDLE, &[("/total", "2")], &["error fhir.bdl-1 /total"]),
    (BUNDLE, &[("/total", "2"), ("/type", r#""searchset""#)], &[]),
    (
        BUNDLE,
        &[("/entry/0/search", r#"{"mode":"match"}"#)],
        &["error fhir.bdl-2 /entry/0"],
    ),
    (
        BUNDLE,
        &[("/entry/0/request", r#"{"method":"PUT","url":"Patient/p"}"#)],
        &["error fhir.bdl-3 /entry/0"],
    ),
    (
        BUNDLE,
        &[("/entry/0/response", r#"{"status":"200"}"#)],
        &["error fhir.bdl-4 /entry/0"],
    ),
    (
        BUNDLE,
        &[(
            "/entry/2",
            r#"{"fullUrl":"urn:uuid:53fefa32-fcbb-4ff8-8a92-55ee120877b7"}"#,
        )],
        &["error fhir.bdl-5 /entry/2"],
    ),
    (
        BUNDLE,
        &[
            ("/entry/0/fullUrl", r#""urn:oid:1.2.3""#),
            ("/entry/1/fullUrl", r#""urn:oid:1.2.3""#),
        ],
        &["error fhir.bdl-7 /entry/1/fullUrl"],
    ),
    (
        BUNDLE,
        &[(
            "/entry/0/fullUrl",
            r#""https://record.example/fhir/Patient/p/_history/1""#,
        )],
        &["error fhir.bdl-8 /entry/0/fullUrl"],
    ),
    (
        BUNDLE,
        &[(
            "/entry/0/fullUrl",
            r#""https://record.example/fhir/Patient/q""#,
        )],
        &["error fhir.full-url /entry/0/fullUrl"],
    ),
    (
        BUNDLE,
        &[("/entry/0/fullUrl", "")],
        &["error fhir.full-url /entry/0/fullUrl"],
    ),
    (
        BUNDLE,
        &[("/entry/0/resource/gender", r#""x""#)],
        &["error fhir.code /entry/0/resource/gender"],
    ),
    (
        BUNDLE,
        &[(
            "/entry/1/resource/author",
            r#"{"reference":"https://record.example/fhir/Basic/b"}"#,
        )],
        &["error fhir.reference /entry/1/resource/author/reference"],
    ),
    (
        DOCUMENT,
        &[("/identifier/system", "")],
        &["error fhir.bdl-9 /identifier"],
    ),
    (
        DOCUMENT,
        &[("/timestamp", "")],
        &["error fhir.bdl-10 /timestamp"],
    ),
    (
        DOCUMENT,
        &[
            (
                "/entry/0/resource",
                r#"{"resourceType":"Patient","id":"p"}"#,
            ),
            ("/entry/0/fullUrl", r#""urn:oid:1.2.3""#),
        ],
        &["error fhir.bdl-11 /entry"],
    ),
    (
        MESSAGE,
        &[
            (
                "/entry/0/resource",
                r#"{"resourceType":"Patient","id":"p"}"#,
            ),
            ("/entry/0/fullUrl", r#""urn:oid:1.2.3""#),
        ],
        &["error fhir.bdl-12 /entry"],
    ),
];

fn judged(resource: &Node) -> Vec<String> {
    let mut problems = Problems::new();
    check::resource(resource, catalogue(), &mut problems);
    let mut told = lines(&problems.sorted());
    told.retain(|line| !line.starts_with("note check.base-only"));
    told.sort();
    told
}

#[test]
fn the_nearest_resources_hold() {
    for resource in [OBSERVATION, BUNDLE, DOCUMENT, MESSAGE, CONDITION] {
        let node = Node::parse(resource).expect("JSON");

        assert_eq!(judged(&node), [""; 0], "{resource}");
    }
}

#[test]
fn one_fault_is_one_problem_at_its_place() {
    let mut faults = Vec::new();
    for (resource, edits, told) in CASES {
        let mut node = Node::parse(resource).expect("JSON");
        for (pointer, json) in *edits {
            let value = (!json.is_empty()).then(|| Node::parse(json).expect("an edit is JSON"));
            set(&mut node, pointer, value);
        }

        let found = judged(&node);

        if found != *told {
            faults.push(format!("{edits:?}: {found:?}, not {told:?}"));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

/// Codes of FHIR that no case here provokes, each with the reason.
const NOT_PROVOKED: &[(&str, &str)] = &[(
    "fhir.status",
    "of our own records, whose types hold it: src/fhir/check/rules.rs",
)];

#[test]
fn every_code_of_fhir_is_provoked() {
    let told: BTreeSet<&str> = CASES
        .iter()
        .flat_map(|(_, _, told)| *told)
        .filter_map(|line| line.split(' ').nth(1))
        .chain(NOT_PROVOKED.iter().map(|(code, _)| *code))
        .collect();
    // The rows of this table are tested one by one where they are read.
    let together = include_str!("../../profiles/r4/together.csv");
    let of_fhir: Vec<&str> = Code::ALL
        .iter()
        .map(|code| code.word())
        .filter(|word| word.starts_with("fhir.") && !together.contains(&format!(",{word},")))
        .collect();

    let missing: Vec<&&str> = of_fhir
        .iter()
        .filter(|code| !told.contains(**code))
        .collect();

    assert!(of_fhir.len() > 40);
    assert!(missing.is_empty(), "no case provokes {missing:?}");
}

#[test]
fn resources_that_nest_to_the_limit_are_judged_and_deeper_ones_refused() {
    let nested = |depth: usize| {
        let open = r#"{"url":"https://invented.example/deeper","extension":["#.repeat(depth);
        let close = "]}".repeat(depth);
        let last = r#"{"url":"https://invented.example/last","valueBoolean":true}"#;
        format!(
            r#"{{"resourceType":"Basic","code":{{"text":"x"}},"extension":[{open}{last}{close}]}}"#
        )
    };

    let held = Node::parse(&nested(30)).expect("31 levels of extensions are read");

    assert_eq!(judged(&held), [""; 0]);
    assert!(Node::parse(&nested(40)).is_err());
    assert!(Node::parse(&nested(100_000)).is_err());
}
