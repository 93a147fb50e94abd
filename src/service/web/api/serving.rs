//! What every request is answered with.

use crate::base::clock::Clock;
use crate::delivery::outbox::Outbox;
use crate::service::app::alert::Refusals;
use crate::service::config::limits::Limits;
use crate::service::web::api::body::Budget;
use crate::service::web::api::readiness::Readiness;
use crate::service::web::meters::Meters;
use crate::service::web::outside::Outside;
use crate::service::web::tokens::Tokens;
use crate::service::web::work::Work;
use crate::tables::catalogue::Catalogue;
use std::sync::Arc;
use tokio::sync::watch;

/// What every request is answered with.
#[derive(Debug, Clone)]
pub(in crate::service::web) struct Serving {
    pub(in crate::service::web) outbox: Outbox,
    pub(in crate::service::web) catalogue: Arc<Catalogue>,
    pub(in crate::service::web) outside: Arc<Outside>,
    /// Refusals that were told of already.
    pub(in crate::service::web) refusals: Arc<Refusals>,
    pub(in crate::service::web) tokens: Tokens,
    pub(in crate::service::web) clock: Arc<dyn Clock>,
    pub(in crate::service::web) meters: Arc<Meters>,
    pub(in crate::service::web) limits: Limits,
    pub(in crate::service::web) budget: Budget,
    pub(in crate::service::web) work: Work,
    pub(in crate::service::web) readiness: Arc<Readiness>,
}

impl Serving {
    pub(in crate::service::web) fn new(
        outbox: Outbox,
        catalogue: Arc<Catalogue>,
        outside: Outside,
        tokens: Tokens,
        clock: Arc<dyn Clock>,
    ) -> Self {
        let limits = Limits::default();
        // Nobody cuts anything off before `within` says who does.
        let (_never, cut) = watch::channel(false);
        Self {
            outbox,
            catalogue,
            outside: Arc::new(outside),
            refusals: Arc::default(),
            tokens,
            clock,
            meters: Arc::default(),
            budget: Budget::default(),
            work: Work::new(&limits, cut),
            limits,
            readiness: Arc::default(),
        }
    }

    /// Within these limits; what waits for something is cut off when the receiver says so.
    pub(in crate::service::web) fn within(
        self,
        limits: Limits,
        cut: watch::Receiver<bool>,
    ) -> Self {
        Self {
            work: Work::new(&limits, cut),
            limits,
            ..self
        }
    }
}
