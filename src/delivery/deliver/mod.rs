//! Sent, answered, or not.
//!
//! Owns: one attempt at one item: the person gate, instruments, what is already there, the
//! requests, reading back, classification; retry times as a pure function. In: a leased item
//! and a target. Out: an `Outcome`. Never: SQL, changing a statement it sends, sending anything a
//! second time without searching first.

pub mod answer;
pub mod attempt;
pub mod breaker;
pub mod cause;
pub mod client;
pub mod compare;
pub mod early;
mod encounter;
pub mod gate;
mod guard;
pub mod held;
pub mod http;
mod learned;
mod look;
mod parties;
pub mod plan;
pub mod retry;
mod rounds;
pub mod send;
pub mod smart;
mod traced;
pub mod unanswered;
pub mod webhook;
pub mod wire;

use crate::base::private::Private;
use crate::delivery::deliver::breaker::Limits;
use crate::delivery::deliver::plan::Sending;
use crate::delivery::deliver::smart::Smart;
use crate::fhir::record::fitted::Fitting;
use serde::Deserialize;
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
    /// What it is for.
    pub purpose: Purpose,
    /// True while the settings hold it: it keeps what is accepted and sends nothing.
    pub paused: bool,
    /// True where it gets the summary of a session as a report.
    pub report: bool,
    /// How it is sent to.
    pub sending: Sending,
    /// When it is left alone.
    pub breaker: Limits,
    /// What it wants otherwise than we make it.
    pub fitting: Fitting,
    /// What is done with a stay or visit that it does not know.
    pub encounters: Unmatched,
    /// What is done with a performer whom it does not know.
    pub practitioners: Unmatched,
    /// How it is reached.
    pub proxy: Proxy,
    /// Headers that every request carries: name and value.
    pub headers: Vec<(String, HeaderFrom)>,
    /// Authorities that are trusted in the place of the known ones, PEM.
    pub ca_file: Option<PathBuf>,
    /// Mutual TLS: our certificate with those up to its authority, and its key, both PEM.
    pub client_certificate: Option<(PathBuf, PathBuf)>,
}

/// What is done with somebody or something the record server does not know exactly once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unmatched {
    /// It is named by its identifier; whoever reads it may find it later.
    #[default]
    Identifier,
    /// The findings do not name it.
    #[serde(rename = "leave-out")]
    LeftOut,
    /// The session waits for a person.
    #[serde(rename = "hold")]
    Held,
}

/// What a target is for: the guard keeps test data and real people apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    /// The settings do not say: nothing is held back.
    #[default]
    NotSaid,
    /// Real people only.
    Production,
    /// Test data only.
    Test,
}

/// How a target is reached.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Proxy {
    /// As the environment of the process says.
    #[default]
    Environment,
    /// Without a proxy, whatever the environment says.
    Direct,
    /// Through the proxy at this address; the file holds `name:password` for it.
    Through(String, Option<PathBuf>),
}

/// Where the value of a fixed header comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HeaderFrom {
    /// From the settings themselves.
    Text(String),
    /// From a file, read anew for every request.
    File(PathBuf),
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
    /// SMART Backend Services: a key signs for short tokens.
    Smart(Smart),
}

/// Whether the files with the secrets of a target can be read now. They are read again for every
/// request, so this says only whether a delivery could begin.
pub fn secrets_readable(target: &Target) -> bool {
    http::secrets_readable(target)
}

/// Makes the TLS provider of the process known; may be called more than once.
pub fn install_tls() {
    // A second call finds the provider of the first.
    drop(rustls::crypto::ring::default_provider().install_default());
}
