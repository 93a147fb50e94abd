//! Telling another system that somebody has to look: a POST that holds nothing about a person.

use crate::base::json::Node;
use crate::base::private::{Private, secret};
use crate::delivery::deliver::Proxy;
use crate::delivery::deliver::client::{self, NoClient};
use reqwest::Client;
use reqwest::header::{AUTHORIZATION, CONTENT_TYPE, HeaderValue};
use std::path::PathBuf;
use std::time::Duration;

/// Longest wait for the answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// Where alerts go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    /// Its address; part of it may be a secret.
    pub address: Private<String>,
    /// The file of the bearer token (RFC 6750), read anew for every alert.
    pub token_file: Option<PathBuf>,
    /// How it is reached.
    pub proxy: Proxy,
    /// Authorities that are trusted in the place of the known ones, PEM; read anew for every alert.
    pub ca_file: Option<PathBuf>,
}

/// Why an alert did not arrive; nothing in it names the address.
#[derive(Debug, thiserror::Error)]
pub enum NotTold {
    /// There is no client to send it with.
    #[error("{0}")]
    Client(#[from] NoClient),
    /// The token cannot be read.
    #[error("the token of the webhook cannot be read, or everybody may read it")]
    Token,
    /// No answer came.
    #[error("the webhook does not answer")]
    Silence,
    /// It answered something else than 2xx.
    #[error("the webhook answered {0}")]
    Status(u16),
}

impl Webhook {
    /// The client that alerts are sent with.
    ///
    /// # Errors
    /// [`NoClient`] where its authority or its proxy cannot be used.
    pub fn client(&self) -> Result<Client, NoClient> {
        client::plain("the webhook", PATIENCE, &self.proxy, self.ca_file.as_ref())
    }

    /// Posts an alert.
    ///
    /// # Errors
    /// [`NotTold`]; it is to be tried again.
    pub async fn tell(&self, alert: &Node) -> Result<(), NotTold> {
        let mut request = self
            .client()?
            .post(self.address.open())
            .header(CONTENT_TYPE, "application/json")
            .body(alert.compact());
        if let Some(path) = &self.token_file {
            let token = secret::text(path).map_err(|_no_secret| NotTold::Token)?;
            let value = HeaderValue::try_from(format!("Bearer {}", token.open().trim()));
            let mut value = value.map_err(|_not_ascii| NotTold::Token)?;
            value.set_sensitive(true);
            request = request.header(AUTHORIZATION, value);
        }
        let answer = request.send().await;
        let status = answer
            .map_err(|_carries_the_address| NotTold::Silence)?
            .status();
        if status.is_success() {
            Ok(())
        } else {
            Err(NotTold::Status(status.as_u16()))
        }
    }
}
