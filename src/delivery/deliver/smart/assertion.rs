//! The signed assertion, and the key that signs it.

use crate::base::private::secret;
use crate::delivery::deliver::smart::public::Public;
use crate::delivery::deliver::smart::{NoToken, Smart};
use chrono::{DateTime, TimeDelta, Utc};
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde::Serialize;
use uuid::Uuid;

/// "This time SHALL be no more than five minutes in the future"; a little less, for clocks that differ.
const ASSERTION_LASTS: TimeDelta = TimeDelta::minutes(4);

/// The claims of an assertion, in the order of the table of the guide.
#[derive(Serialize)]
struct Claims<'a> {
    iss: &'a str,
    sub: &'a str,
    aud: &'a str,
    exp: i64,
    jti: String,
}

pub(super) fn assertion(
    smart: &Smart,
    endpoint: &str,
    id: Uuid,
    now: DateTime<Utc>,
) -> Result<String, NoToken> {
    let claims = Claims {
        iss: &smart.client_id,
        sub: &smart.client_id,
        aud: endpoint,
        exp: (now + ASSERTION_LASTS).timestamp(),
        jti: id.to_string(),
    };
    let pem = secret::bytes(&smart.key_file).map_err(|_no_secret| NoToken::Key)?;
    let pem = pem.open();
    let key_id = match &smart.key_id {
        Some(key_id) => key_id.clone(),
        None => Public::of(pem).ok_or(NoToken::Key)?.thumbprint(),
    };
    let (algorithm, key) = key_of(pem)?;
    signed(&claims, &key_id, algorithm, &key)
}

fn signed(
    claims: &Claims<'_>,
    key_id: &str,
    algorithm: Algorithm,
    key: &EncodingKey,
) -> Result<String, NoToken> {
    let header = Header {
        kid: Some(key_id.to_owned()),
        ..Header::new(algorithm)
    };
    jsonwebtoken::encode(&header, claims, key).map_err(|_no_key_of_that_kind| NoToken::Key)
}

/// Whether the file holds a key that can sign.
pub(in crate::delivery::deliver) fn key_readable(smart: &Smart) -> bool {
    let id = Uuid::nil();
    assertion(smart, "", id, DateTime::<Utc>::UNIX_EPOCH).is_ok()
}

/// The file is read anew for each token, so a new key needs no restart.
fn key_of(pem: &[u8]) -> Result<(Algorithm, EncodingKey), NoToken> {
    let rsa = EncodingKey::from_rsa_pem(pem).map(|key| (Algorithm::RS384, key));
    let ec = |_no_rsa| EncodingKey::from_ec_pem(pem).map(|key| (Algorithm::ES384, key));
    rsa.or_else(ec).map_err(|_no_key| NoToken::Key)
}

#[cfg(test)]
mod tests {
    use super::{Claims, assertion, key_of, signed};
    use crate::base::json::Node;
    use crate::delivery::deliver::smart::Smart;
    use crate::delivery::deliver::smart::public::Public;
    use base64::Engine as _;
    use base64::prelude::BASE64_URL_SAFE_NO_PAD;
    use chrono::{DateTime, Utc};
    use jsonwebtoken::{Algorithm, EncodingKey, decode_header};
    use uuid::Uuid;

    const KEY: &[u8] = include_bytes!("../../../../fixtures/keys/smart-example-rs384.pem");

    /// The claims of the worked example.
    const CLAIMS: &str = "eyJpc3MiOiJodHRwczovL2JpbGktbW9uaXRvci5leGFtcGxlLmNvbSIsInN1YiI6Imh0dHBzOi8vYmlsaS1tb25pdG9yLmV4YW1wbGUuY29tIiwiYXVkIjoiaHR0cHM6Ly9hdXRob3JpemUuc21hcnRoZWFsdGhpdC5vcmcvdG9rZW4iLCJleHAiOjE0MjI1Njg4NjAsImp0aSI6InJhbmRvbS1ub24tcmV1c2FibGUtand0LWlkLTEyMyJ9";

    /// Source: HL7 SMART App Launch 2.2.0, client-confidential-asymmetric.html, "Worked example":
    /// key, header, claims and signature. PKCS #1 v1.5 signatures have no chance in them, so every
    /// letter is the same. The members of a header have no order (RFC 7515, section 4), and the
    /// library writes them in another one, so header and claims are compared each on their own.
    #[test]
    fn the_worked_example_of_the_guide_is_signed_letter_by_letter() {
        let client = "https://bili-monitor.example.com";
        let claims = Claims {
            iss: client,
            sub: client,
            aud: "https://authorize.smarthealthit.org/token",
            exp: 1_422_568_860,
            jti: "random-non-reusable-jwt-id-123".to_owned(),
        };
        let key = EncodingKey::from_rsa_pem(KEY).expect("a key");
        let published = "eyJhbGciOiJSUzM4NCIsImtpZCI6ImVlZTlmMTdhM2I1OThmZDg2NDE3YTk4MGI1OTFmYmU2IiwidHlwIjoiSldUIn0";
        let input = format!("{published}.{CLAIMS}");

        let signature = jsonwebtoken::crypto::sign(input.as_bytes(), &key, Algorithm::RS384);
        let whole = signed(
            &claims,
            "eee9f17a3b598fd86417a980b591fbe6",
            Algorithm::RS384,
            &key,
        );

        assert_eq!(
            signature.expect("it signs"),
            "D5kAqNJwaftCqsRdVVQDq6dMBxuGFOF5svQJuXbcYp-oEyg5qOwK9ZE5cGLTHxqwfpUPNzRKgVdIGuhawAA-8g0s1nKQae8CuKs33hhKh4J34xSEwW3MYs1gwI4GHTtR_g3kYSX6QCi14Ed3GIAvYFgqRqt-gD7sewMUXL4SB8I8cXcDbCqVizm7uPVhjw6QaeKZygJJ_AVLhM4Xs9LTy4HAhdCHpN0FrNmCerUIYJvHDpcod7A0jDmxdoeW1KIBYlhdhQNwjtsTvT1ce4qacN_3KIv_fIzCKLIgDv9eWxkjAtxOmIm8aW5gX9xX7X0nbd0QglIyiic_bZVNNEh0kg"
        );
        let whole = whole.expect("it signs");
        let mut parts = whole.split('.');
        let header = |text: &str| {
            let bytes = BASE64_URL_SAFE_NO_PAD.decode(text).expect("base64");
            let node = Node::parse(std::str::from_utf8(&bytes).expect("text"));
            node.expect("JSON").canonical()
        };
        assert_eq!(parts.next().map(header), Some(header(published)));
        assert_eq!(parts.next(), Some(CLAIMS));
        assert!(parts.next().is_some_and(|signature| signature.len() == 342));
    }

    #[test]
    fn a_key_without_a_name_is_named_by_its_thumbprint() {
        let file = tempfile::NamedTempFile::new().expect("a file");
        std::io::Write::write_all(&mut file.as_file(), KEY).expect("written");
        let smart = |key_id: Option<&str>| Smart {
            client_id: "c".to_owned(),
            key_file: file.path().to_owned(),
            key_id: key_id.map(str::to_owned),
            scopes: Vec::new(),
            token_endpoint: None,
        };
        let kid = |key_id| {
            let now = DateTime::<Utc>::UNIX_EPOCH;
            let token = assertion(&smart(key_id), "e", Uuid::nil(), now).expect("it signs");
            decode_header(&token).expect("a header").kid
        };

        assert_eq!(kid(Some("ours")).as_deref(), Some("ours"));
        assert_eq!(kid(None), Public::of(KEY).map(|key| key.thumbprint()));
    }

    /// Source: RFC 7515, appendix A.2: key, input and signature; by RS256, which is RS384 with another
    /// hash, through the same reader of keys.
    #[test]
    fn the_example_of_the_standard_is_signed_letter_by_letter() {
        let pem = include_bytes!("../../../../fixtures/keys/rfc7515-a2.pem");
        let input = "eyJhbGciOiJSUzI1NiJ9.eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ";
        let (_, key) = key_of(pem).expect("a key");

        let signature = jsonwebtoken::crypto::sign(input.as_bytes(), &key, Algorithm::RS256);

        assert_eq!(
            signature.expect("it signs"),
            "cC4hiUPoj9Eetdgtv3hF80EGrhuB__dzERat0XF9g2VtQgr9PJbu3XOiZj5RZmh7AAuHIm4Bh-0Qc_lF5YKt_O8W2Fp5jujGbds9uJdbF9CUAr7t1dnZcAcQjbKBYNX4BAynRFdiuB--f_nZLgrnbyTyWzO75vRK5h6xBArLIARNPvkSjtQBMHlb1L07Qe7K0GarZRmB_eSN9383LcOLn6_dO--xi12jzDwusC-eOkHWEsqtFZESc6BfI7noOPqvhJ1phCnvWh6IeYI2w9QOYEUipUTI8np6LbgGY9Fs98rqVt5AXLIhWkWywlVmtVrBp0igcN_IoypGlUPQGe77Rw"
        );
        let public = Public::of(pem).expect("a key").as_key(None);
        let modulus = public.text_of("n").unwrap_or_default();
        assert!(modulus.starts_with("ofgWCuLjybRlzo0t") && modulus.ends_with("RWyuXpoQ"));
    }
}
