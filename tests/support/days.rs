#![cfg(test)]
//! Edits of the sound document: sessions of the days after, and its precaution lifted or not spoken of.

/// Edits that make the session of the day after out of the sound document.
pub(crate) const LATER: [(&str, &str); 5] = [
    ("/session/id", r#""7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a11""#),
    ("/session/performed/start", r#""2026-11-17T09:30:00+01:00""#),
    ("/session/performed/end", r#""2026-11-17T10:00:00+01:00""#),
    ("/session/entered_at", r#""2026-11-17T10:15:00+01:00""#),
    ("/session/signed/at", r#""2026-11-17T10:20:00+01:00""#),
];

/// The session of the day after that.
pub(crate) const LAST: [(&str, &str); 5] = [
    ("/session/id", r#""7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a12""#),
    ("/session/performed/start", r#""2026-11-18T09:30:00+01:00""#),
    ("/session/performed/end", r#""2026-11-18T10:00:00+01:00""#),
    ("/session/entered_at", r#""2026-11-18T10:15:00+01:00""#),
    ("/session/signed/at", r#""2026-11-18T10:20:00+01:00""#),
];

/// Another precaution, so that the one of the sound document is not spoken of.
pub(crate) const OTHER: (&str, &str) = (
    "/precautions",
    r#"[{"id":"c2a7e0de-51b4-4f0c-8a92-5d7a4e1b9f35","site":"foot","side":"right",
        "status":"active","source":"record","limit":"no-loading","reason":"sore skin",
        "set":"not known"}]"#,
);

/// The precaution of the sound document, lifted by a named person.
pub(crate) const LIFTED: [(&str, &str); 2] = [
    ("/precautions/0/status", r#""lifted""#),
    (
        "/precautions/0/lifted",
        r#"{"by":"Dr Testsurgeon, surgeon","on":"2026-11-16"}"#,
    ),
];
