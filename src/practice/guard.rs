//! Who is let in to a guarded practice server.
//!
//! Owns: one secret, and the comparison with what a request brings.
//! In: the Authorization header. Out: let in, or a challenge. Never: prints or logs either.

use crate::base::private::Private;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// What a request must bring to be answered.
#[derive(Debug, Clone)]
pub(super) struct Guard {
    scheme: Scheme,
    credentials: Private<String>,
}

#[derive(Debug, Clone, Copy)]
enum Scheme {
    Bearer,
    Basic,
}

impl Guard {
    /// Asks for a bearer token (RFC 6750).
    pub(super) fn bearer(token: Private<String>) -> Self {
        Self {
            scheme: Scheme::Bearer,
            credentials: token,
        }
    }

    /// Asks for a name and a password (RFC 7617).
    pub(super) fn basic(name: &str, password: &Private<String>) -> Self {
        let pair = format!("{name}:{}", password.open());
        Self {
            scheme: Scheme::Basic,
            credentials: Private::new(STANDARD.encode(pair)),
        }
    }

    /// Whether this header lets a request in.
    pub(super) fn admits(&self, authorization: Option<&str>) -> bool {
        let Some((scheme, credentials)) = authorization.and_then(|header| header.split_once(' '))
        else {
            return false;
        };
        // Digests of one length are compared, so the time taken tells nothing about the secret.
        let wanted = Sha256::digest(self.credentials.open());
        let brought = Sha256::digest(credentials.trim());
        let name = match self.scheme {
            Scheme::Bearer => "Bearer",
            Scheme::Basic => "Basic",
        };
        scheme.eq_ignore_ascii_case(name) && wanted == brought
    }

    /// RFC 9110, 11.6.1: a 401 carries a challenge.
    pub(super) const fn challenge(&self) -> &'static str {
        match self.scheme {
            Scheme::Bearer => "Bearer realm=\"practice\"",
            Scheme::Basic => "Basic realm=\"practice\", charset=\"UTF-8\"",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Guard, Private};

    #[test]
    fn only_the_right_secret_opens() {
        let bearer = Guard::bearer(Private::new("abc".to_owned()));
        let basic = Guard::basic("Aladdin", &Private::new("open sesame".to_owned()));

        assert!(bearer.admits(Some("bearer abc")));
        assert!(!bearer.admits(Some("Bearer abd")) && !bearer.admits(None));
        // RFC 7617, section 2, has this pair and this header.
        assert!(basic.admits(Some("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==")));
        assert!(!basic.admits(Some("Bearer QWxhZGRpbjpvcGVuIHNlc2FtZQ==")));
        assert!(!format!("{bearer:?} {basic:?}").contains("abc"));
    }
}
