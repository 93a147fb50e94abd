#![cfg(test)]
//! RFC 9562, Universally Unique Identifiers: www.rfc-editor.org/rfc/rfc9562

use fascicle::examination::finding::derived_identity;
use fascicle::fhir::record::identifier_of;
use uuid::{Uuid, Variant};

/// Source: <https://www.rfc-editor.org/rfc/rfc9562>, May 2024, appendix A.4.
///
/// The example of `UUIDv5`: the namespace of DNS names and "www.example.com".
#[test]
fn the_published_vector_comes_out() {
    let made = Uuid::new_v5(&Uuid::NAMESPACE_DNS, b"www.example.com");

    assert_eq!(made.to_string(), "2ed6657d-e927-568b-95e1-2665a8aea6a2");
}

/// Source: <https://www.rfc-editor.org/rfc/rfc9562>, May 2024, section 5.5.
///
/// "`UUIDv5` is meant for generating UUIDs from names that are drawn from, and unique within, some
/// namespace"; version and variant stand in their bits.
#[test]
fn what_we_derive_says_that_it_is_derived() {
    let finding = Uuid::from_u128(1);
    let session = Uuid::from_u128(2);

    let derived = [
        derived_identity("panel", &["x"]),
        identifier_of("https://invented.example", session, finding, "finding"),
    ];

    for one in derived {
        assert_eq!(
            (one.get_version_num(), one.get_variant()),
            (5, Variant::RFC4122)
        );
    }
}

/// Source: <https://www.rfc-editor.org/rfc/rfc9562>, May 2024, section 5.5.
///
/// The name is ours to make: each part is preceded by its length, and the namespace never changes,
/// so what was derived once is derived again. These values are pinned for good.
#[test]
fn identifiers_stay_what_they_were_in_every_release() {
    let finding = Uuid::from_u128(0x0e0c_3f5e_7f5e_4f0a_9d43_1f2f_3f4f_5f60);
    let session = Uuid::from_u128(0x7d1f_0a52_3c68_4b0e_9a57_0f6b_2e6c_1a10);

    let source = "https://invented-clinic.example/sessions";
    let identifier = identifier_of(source, session, finding, "finding");

    assert_eq!(
        identifier.to_string(),
        "e01d9f9f-5a25-5f8f-9e4f-607bd9324131"
    );
    assert_ne!(
        identifier,
        identifier_of(source, session, finding, "precaution")
    );
    assert_ne!(
        identifier,
        identifier_of(source, finding, session, "finding")
    );
}
