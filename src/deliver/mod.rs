//! Sent, answered, or not.
//!
//! Owns: one attempt at one item: the person gate, instruments, what is already there, the
//! transaction, reading back, classification; retry times as a pure function. In: a leased item
//! and a target. Out: an `Outcome`. Never: SQL, changing a statement it sends, a second POST
//! without searching first.

pub mod attempt;
mod compare;
mod gate;
mod held;
pub mod http;
mod look;
mod parties;
pub mod retry;
mod send;

use crate::private::Private;
use std::path::PathBuf;
use std::time::Duration;

/// One configured record server.
#[derive(Debug, Clone)]
pub struct Target {
    /// Name, as the queue and the trail show it.
    pub name: String,
    /// Base address of the FHIR service, without a slash at its end.
    pub base: Private<String>,
    /// How to sign in.
    pub sign_in: SignIn,
    /// Longest wait for one answer.
    pub timeout: Duration,
    /// How long a resource may take to show in a search after it was stored.
    pub visibility: Duration,
}

/// How to sign in to a target. Secrets come from files only.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SignIn {
    /// No sign-in.
    None,
    /// RFC 7617: the file holds `name:password`.
    Basic(PathBuf),
    /// RFC 6750: the file holds the token.
    Bearer(PathBuf),
}

/// Makes the TLS provider of the process known; may be called more than once.
pub fn install_tls() {
    // A second call finds the provider of the first.
    drop(rustls::crypto::ring::default_provider().install_default());
}
