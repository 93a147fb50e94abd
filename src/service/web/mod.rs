//! The service on the wire.
//!
//! Owns: the listener, the sign-in by tokens, addresses, status codes and problem documents. In:
//! HTTP requests. Out: HTTP responses. Never: SQL, FHIR JSON of its own, business rules; a value
//! about a person in a log line, a metric or an address.

pub mod api;
mod connections;
mod listen;
mod meters;
pub mod outside;
mod stream;
pub mod tokens;
mod work;

use crate::base::clock::Clock;
use crate::delivery::outbox::Outbox;
use crate::service::config::limits::Limits;
use crate::service::web::api::serving::Serving;
use crate::service::web::listen::{Terms, listen};
use crate::service::web::outside::Outside;
use crate::service::web::tokens::Tokens;
use crate::tables::catalogue::Catalogue;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch;

/// The service, ready to listen.
#[derive(Debug, Clone)]
pub struct Service {
    serving: Serving,
}

impl Service {
    /// A service that accepts for the targets outside, by their routes.
    pub fn new(
        outbox: Outbox,
        catalogue: Arc<Catalogue>,
        outside: Outside,
        tokens: Tokens,
        clock: Arc<dyn Clock>,
    ) -> Self {
        Self {
            serving: Serving::new(outbox, catalogue, outside, tokens, clock),
        }
    }

    /// The same within these limits; what waits for something is cut off when the receiver says so.
    #[must_use]
    pub fn within(self, limits: Limits, cut: watch::Receiver<bool>) -> Self {
        Self {
            serving: self.serving.within(limits, cut),
        }
    }

    /// All its addresses.
    pub fn router(&self) -> axum::Router {
        api::router(self.serving.clone())
    }

    /// Answers on a listener until it is told to stop, then finishes what it has begun.
    pub async fn serve(&self, listener: TcpListener, stop: watch::Receiver<bool>) {
        let terms = Terms {
            router: self.router(),
            limits: self.serving.limits.clone(),
            meters: Arc::clone(&self.serving.meters),
        };
        listen(listener, terms, stop).await;
    }
}
