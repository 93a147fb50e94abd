//! The `[serve]` table of the configuration file.

use crate::service::config::ConfigError;
use crate::service::config::limits::{self, Limits, LimitsFile};
use serde::Deserialize;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

/// How the service listens, and whom it lets in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Serve {
    /// Where it listens.
    pub address: SocketAddr,
    /// True when other machines may reach it: TLS has to be put in front then.
    pub open_to_network: bool,
    /// The file of the tokens, one a line; the settings need not name it when the command line does.
    pub token_file: Option<PathBuf>,
    /// Deliveries to one target at the same time, 1 to 16; those of one person stay in order.
    pub workers: u8,
    /// How much it takes on, whoever sends.
    pub limits: Limits,
}

impl Default for Serve {
    fn default() -> Self {
        Self {
            address: SocketAddr::from((Ipv4Addr::LOCALHOST, 8117)),
            open_to_network: false,
            token_file: None,
            workers: 2,
            limits: Limits::default(),
        }
    }
}

impl Serve {
    /// Refuses an address that other machines reach, unless that is said as well.
    ///
    /// # Errors
    /// [`ConfigError::Serve`], with what to change.
    pub fn checked(self) -> Result<Self, ConfigError> {
        if !self.address.ip().is_loopback() && !self.open_to_network {
            return Err(ConfigError::Serve(
                "this address can be reached from other machines: the service speaks plain HTTP, \
                 so put TLS in front and say open_to_network = true (or --open-to-network)",
            ));
        }
        Ok(self)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ServeFile {
    address: Option<SocketAddr>,
    #[serde(default)]
    open_to_network: bool,
    token_file: Option<PathBuf>,
    workers: Option<u8>,
    limits: Option<LimitsFile>,
}

pub(super) fn read(file: Option<ServeFile>) -> Result<Serve, ConfigError> {
    let without = Serve::default();
    let Some(file) = file else { return Ok(without) };
    let workers = file.workers.unwrap_or(without.workers);
    if !(1..=16).contains(&workers) {
        return Err(ConfigError::Serve("workers has to be 1 to 16"));
    }
    Ok(Serve {
        address: file.address.unwrap_or(without.address),
        open_to_network: file.open_to_network,
        token_file: file.token_file,
        workers,
        limits: limits::read(file.limits)?,
    })
}
