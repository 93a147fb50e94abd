//! A `[[target]]` as the file has it.

use crate::delivery::deliver::plan::Mode;
use crate::delivery::deliver::{Purpose, Unmatched};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TargetFile {
    pub(super) name: String,
    pub(super) base: String,
    #[serde(default)]
    pub(super) sign_in: SignInFile,
    pub(super) secret_file: Option<PathBuf>,
    pub(super) client_id: Option<String>,
    pub(super) key_file: Option<PathBuf>,
    pub(super) key_id: Option<String>,
    pub(super) scopes: Option<Vec<String>>,
    pub(super) token_endpoint: Option<String>,
    #[serde(default = "timeout_seconds")]
    pub(super) timeout_seconds: u64,
    #[serde(default = "visibility_seconds")]
    pub(super) visibility_seconds: u64,
    #[serde(default)]
    pub(super) purpose: Purpose,
    #[serde(default)]
    pub(super) paused: bool,
    #[serde(default)]
    pub(super) report: bool,
    #[serde(default)]
    pub(super) mode: Mode,
    pub(super) most_entries: Option<usize>,
    pub(super) most_bytes: Option<usize>,
    pub(super) elements: Option<Vec<String>>,
    #[serde(default)]
    pub(super) unit_texts: BTreeMap<String, String>,
    #[serde(default)]
    pub(super) coding_order: Vec<String>,
    #[serde(default)]
    pub(super) not_tested: NotTestedFile,
    #[serde(default)]
    pub(super) unknown_encounter: Unmatched,
    #[serde(default)]
    pub(super) unknown_practitioner: Unmatched,
    #[serde(default = "breaker_failures")]
    pub(super) breaker_failures: u32,
    #[serde(default = "breaker_seconds")]
    pub(super) breaker_seconds: u64,
    pub(super) proxy: Option<String>,
    pub(super) proxy_secret_file: Option<PathBuf>,
    #[serde(default)]
    pub(super) headers: BTreeMap<String, String>,
    #[serde(default)]
    pub(super) header_files: BTreeMap<String, PathBuf>,
    pub(super) ca_file: Option<PathBuf>,
    pub(super) client_certificate_file: Option<PathBuf>,
    pub(super) client_key_file: Option<PathBuf>,
}

#[derive(Deserialize, Default, Clone, Copy, PartialEq)]
#[serde(rename_all = "lowercase")]
pub(super) enum NotTestedFile {
    #[default]
    Final,
    Cancelled,
}

#[derive(Deserialize, Default)]
#[serde(rename_all = "lowercase")]
pub(super) enum SignInFile {
    #[default]
    None,
    Basic,
    Bearer,
    Smart,
}

pub(super) const fn timeout_seconds() -> u64 {
    20
}

pub(super) const fn visibility_seconds() -> u64 {
    60
}

pub(super) const fn breaker_failures() -> u32 {
    5
}

pub(super) const fn breaker_seconds() -> u64 {
    30
}
