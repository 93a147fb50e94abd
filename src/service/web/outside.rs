//! What the service reaches outside the house.

use crate::delivery::deliver::Target;
use crate::delivery::deliver::webhook::Webhook;
use crate::service::app::submit::Elsewhere;
use crate::service::config::route::Routes;

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
