#![cfg(test)]
//! Invented people and findings, marked as test data.

const TAG: &str =
    r#"{"tag":[{"system":"http://terminology.hl7.org/CodeSystem/v3-ActReason","code":"HTEST"}]}"#;
pub(crate) const SYSTEM: &str = "urn:fascicle:contract";

/// A name nobody else has.
pub(crate) fn unique() -> String {
    uuid::Uuid::new_v4().to_string()
}

/// A placeholder for an entry of a Bundle.
pub(crate) fn placeholder() -> String {
    format!("urn:uuid:{}", unique())
}

/// `identifier=…` for a search or a condition.
pub(crate) fn by_identifier(value: &str) -> String {
    format!("identifier={SYSTEM}%7C{value}")
}

pub(crate) fn patient(identifier: &str) -> String {
    format!(
        r#"{{"resourceType":"Patient","meta":{TAG},
            "identifier":[{{"system":"{SYSTEM}","value":"{identifier}"}}],
            "name":[{{"family":"Testperson","given":["Ada"]}}],"birthDate":"1950-01-01"}}"#
    )
}

/// A finding; the defaults are sound, and each test changes what it is about.
#[derive(Debug, Clone)]
pub(crate) struct Finding {
    pub(crate) identifier: String,
    pub(crate) subject: String,
    pub(crate) status: &'static str,
    pub(crate) code: String,
    pub(crate) at: &'static str,
    pub(crate) value: &'static str,
    pub(crate) more: &'static str,
}

impl Finding {
    pub(crate) fn of(subject: &str) -> Self {
        Self {
            identifier: unique(),
            subject: subject.to_owned(),
            status: r#""status":"final","#,
            code: "contract-finding".to_owned(),
            at: "2026-03-02T10:15:00+01:00",
            value: "12.50",
            more: "",
        }
    }

    pub(crate) fn json(&self) -> String {
        let Self {
            identifier,
            subject,
            status,
            code,
            at,
            value,
            more,
        } = self;
        format!(
            r#"{{"resourceType":"Observation","meta":{TAG},{more}
                "identifier":[{{"system":"{SYSTEM}","value":"{identifier}"}}],{status}
                "code":{{"coding":[{{"system":"{SYSTEM}","code":"{code}"}}]}},
                "subject":{{"reference":"{subject}"}},"effectiveDateTime":"{at}",
                "valueQuantity":{{"value":{value},"unit":"deg",
                    "system":"http://unitsofmeasure.org","code":"deg"}}}}"#
        )
    }
}

pub(crate) fn provenance(target: &str) -> String {
    format!(
        r#"{{"resourceType":"Provenance","meta":{TAG},"target":[{{"reference":"{target}"}}],
            "recorded":"2026-03-02T10:30:00.000+01:00",
            "agent":[{{"who":{{"display":"invented therapist"}}}}]}}"#
    )
}

/// An entry that creates, with its condition where there is one.
pub(crate) fn entry(full_url: &str, body: &str, condition: Option<&str>) -> String {
    let kind = fascicle::base::json::Node::parse(body).expect("JSON");
    let kind = kind.text_of("resourceType").expect("a type").to_owned();
    let condition = condition.map(|query| format!(r#","ifNoneExist":"{query}""#));
    let condition = condition.unwrap_or_default();
    format!(
        r#"{{"fullUrl":"{full_url}","resource":{body},
            "request":{{"method":"POST","url":"{kind}"{condition}}}}}"#
    )
}

pub(crate) fn bundle(kind: &str, entries: &[String]) -> String {
    let entries = entries.join(",");
    format!(r#"{{"resourceType":"Bundle","type":"{kind}","entry":[{entries}]}}"#)
}
