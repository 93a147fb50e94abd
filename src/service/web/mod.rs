//! The service on the wire.
//!
//! Owns: the listener, the door with its tokens, addresses, status codes and problem documents. In:
//! HTTP requests. Out: HTTP responses. Never: SQL, FHIR JSON of its own, business rules; a value
//! about a person in a log line, a metric or an address.

pub mod api;
mod listen;
pub mod tokens;

use crate::base::clock::Clock;
use crate::delivery::deliver::Target;
use crate::delivery::deliver::webhook::Webhook;
use crate::delivery::outbox::Outbox;
use crate::service::app::submit::Elsewhere;
use crate::service::config::route::Routes;
use crate::service::web::api::Desk;
use crate::service::web::tokens::Tokens;
use crate::tables::catalogue::Catalogue;
use std::io;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch;

/// What the service reaches outside the house.
#[derive(Debug, Clone, Default)]
pub struct Outside {
    /// The record servers.
    pub targets: Vec<Target>,
    /// Which session goes to which of them.
    pub routes: Routes,
    /// The record server that is asked for earlier sessions besides our own store.
    pub elsewhere: Option<Elsewhere>,
    /// Where it is told at once that something urgent was refused.
    pub webhook: Option<Webhook>,
}

/// The service, ready to listen.
#[derive(Debug, Clone)]
pub struct Service {
    desk: Desk,
}

impl Service {
    /// A service that accepts for the targets outside, by their routes.
    pub fn new(
        outbox: Outbox,
        catalogue: Catalogue,
        outside: Outside,
        tokens: Tokens,
        clock: Arc<dyn Clock>,
    ) -> Self {
        Self {
            desk: Desk::new(outbox, catalogue, outside, tokens, clock),
        }
    }

    /// All its addresses.
    pub fn router(&self) -> axum::Router {
        api::router(self.desk.clone())
    }

    /// Answers on a listener until it is told to stop, then finishes what it has begun.
    ///
    /// # Errors
    /// What the listener says when it cannot take connections any more.
    pub async fn serve(
        &self,
        listener: TcpListener,
        stop: watch::Receiver<bool>,
    ) -> io::Result<()> {
        listen::listen(listener, self.router(), stop).await
    }
}
