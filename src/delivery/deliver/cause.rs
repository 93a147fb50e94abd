//! Why no answer came.

use std::error::Error as _;
use std::io;

/// Why no answer came, for the person who has to mend it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// The name of the host does not resolve.
    Name,
    /// Nothing listens at the port.
    Refused,
    /// The certificate of the server is not trusted.
    Certificate,
    /// TLS failed otherwise.
    Tls,
    /// The time was up.
    Slow,
    /// An answer came that holds more than is read.
    Large,
    /// Anything else.
    Other,
}

/// The cause that lies deepest tells most.
pub(super) fn cause_of(error: &reqwest::Error) -> Cause {
    let mut cause = if error.is_timeout() {
        Cause::Slow
    } else {
        Cause::Other
    };
    let mut next = error.source();
    while let Some(one) = next {
        if let Some(found) = one.downcast_ref::<io::Error>() {
            match tls_within(found) {
                Some(rustls::Error::InvalidCertificate(_)) => return Cause::Certificate,
                Some(_) => return Cause::Tls,
                None if found.kind() == io::ErrorKind::ConnectionRefused => return Cause::Refused,
                None => {}
            }
        }
        // The resolver has no type of its own to ask for.
        if one.to_string().starts_with("dns error") {
            cause = Cause::Name;
        }
        next = one.source();
    }
    cause
}

/// An I/O error hides what it was made from to whoever asks for its source.
fn tls_within(error: &io::Error) -> Option<&rustls::Error> {
    let within = error.get_ref()?;
    within
        .downcast_ref::<rustls::Error>()
        .or_else(|| tls_within(within.downcast_ref::<io::Error>()?))
}
