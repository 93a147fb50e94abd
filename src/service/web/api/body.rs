//! The body of a request, whole and in memory before anything is done with it.

use crate::service::config::limits::Limits;
use crate::service::web::api::fault::Fault;
use axum::body::{Body, Bytes};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use http_body_util::BodyExt as _;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Instant, timeout_at};

/// The largest document that is read: 8 MiB, in bytes. A session with every measure has 0.3.
pub const LARGEST_BODY: usize = 8 * 1024 * 1024;
/// So much of every body, in bytes, needs nothing of the budget: most sessions are shorter, and no sender of
/// large ones keeps them out.
const FREE: usize = 256 * 1024;
/// What all bodies together may have beyond that, in KiB.
const BUDGET: usize = 64 * 1024;

/// Memory for bodies that are read, wait or are worked on.
#[derive(Debug, Clone)]
pub(in crate::service::web) struct Budget(Arc<Semaphore>);

impl Default for Budget {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(BUDGET)))
    }
}

/// What a body has of the budget, given back with the value.
#[derive(Debug, Default)]
pub(super) struct Share(Option<OwnedSemaphorePermit>);

impl Share {
    /// Takes what a body of so many bytes needs; false where nothing is left.
    fn grow(&mut self, budget: &Budget, bytes: usize) -> bool {
        let needed = bytes.saturating_sub(FREE).div_ceil(1024);
        let held = self.0.as_ref().map_or(0, OwnedSemaphorePermit::num_permits);
        let Ok(more) = u32::try_from(needed.saturating_sub(held)) else {
            return false;
        };
        if more == 0 {
            return true;
        }
        let Ok(more) = Arc::clone(&budget.0).try_acquire_many_owned(more) else {
            return false;
        };
        match &mut self.0 {
            Some(held) => held.merge(more),
            none => *none = Some(more),
        }
        true
    }
}

/// Reads a body whole, as long as its sender keeps to the limits.
pub(super) async fn whole(
    headers: &HeaderMap,
    mut body: Body,
    limits: &Limits,
    budget: &Budget,
) -> Result<(Bytes, Share), Fault> {
    let said = headers.get(header::CONTENT_LENGTH);
    let said = said.and_then(|said| said.to_str().ok()?.parse::<usize>().ok());
    if said.is_some_and(|said| said > LARGEST_BODY) {
        return Err(too_large());
    }
    let (began, mut read, mut share) = (Instant::now(), Vec::new(), Share::default());
    loop {
        let until = until(began, read.len(), limits);
        let frame = match timeout_at(until, body.frame()).await {
            Err(_time_is_up) => return Err(too_slow(limits)),
            Ok(None) => return Ok((Bytes::from(read), share)),
            Ok(Some(Err(_cut_off))) => return Err(Fault::bad_request("the body was cut off")),
            Ok(Some(Ok(frame))) => frame,
        };
        // A frame may hold trailers instead, which nobody asked for.
        let Some(bytes) = frame.data_ref() else {
            continue;
        };
        let length = read.len().saturating_add(bytes.len());
        if length > LARGEST_BODY {
            return Err(too_large());
        }
        if !share.grow(budget, length) {
            return Err(no_memory());
        }
        read.extend_from_slice(bytes);
    }
}

/// By when the next bytes have to come: soon, before the time of the whole body is up, and before so many bytes a
/// second are too few.
fn until(began: Instant, bytes: usize, limits: &Limits) -> Instant {
    let bytes = u64::try_from(bytes).unwrap_or(u64::MAX);
    let earned = Duration::from_secs(bytes.checked_div(limits.body_rate).unwrap_or(u64::MAX));
    let by_rate = limits.idle.saturating_add(earned);
    let whole = began + by_rate.min(limits.body);
    whole.min(Instant::now() + limits.idle)
}

fn too_large() -> Fault {
    Fault::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        "too-large",
        "the body is too large",
        format!("a document has at most {LARGEST_BODY} bytes"),
    )
}

fn too_slow(limits: &Limits) -> Fault {
    let (whole, idle) = (limits.body.as_secs(), limits.idle.as_secs());
    let rate = limits.body_rate;
    let detail = format!(
        "a body has to arrive within {whole} seconds, without a pause of {idle} seconds, and with \
         {rate} bytes a second or more"
    );
    let title = "the body took too long";
    Fault::new(StatusCode::REQUEST_TIMEOUT, "too-slow", title, detail)
        .with_header(header::CONNECTION, HeaderValue::from_static("close"))
}

fn no_memory() -> Fault {
    let detail = "too many large bodies are read or wait right now; send it again".to_owned();
    Fault::unavailable("busy", "the service is busy", detail)
}

#[cfg(test)]
mod tests {
    use super::{BUDGET, Budget, FREE, LARGEST_BODY, Share, until};
    use crate::service::config::limits::Limits;
    use std::time::Duration;
    use tokio::time::Instant;

    #[test]
    fn large_bodies_share_a_budget_and_ordinary_ones_need_nothing_of_it() {
        let budget = Budget::default();
        let mut shares: Vec<Share> = Vec::new();
        loop {
            let mut share = Share::default();
            // In pieces, as a body arrives.
            if !(share.grow(&budget, FREE + 1) && share.grow(&budget, LARGEST_BODY)) {
                break;
            }
            shares.push(share);
        }

        assert_eq!(shares.len(), BUDGET * 1024 / (LARGEST_BODY - FREE));
        assert!(Share::default().grow(&budget, FREE));
        shares.pop();
        assert!(Share::default().grow(&budget, LARGEST_BODY));
    }

    #[tokio::test]
    async fn a_body_may_go_on_while_it_is_fast_enough_and_not_for_ever() {
        tokio::time::pause();
        let limits = Limits::default();
        let began = Instant::now();
        let by = |bytes| until(began, bytes, &limits).duration_since(began);

        assert_eq!(by(0), Duration::from_secs(10));
        tokio::time::advance(Duration::from_secs(9)).await;
        // One byte a second earns nothing; 1024 earn a second.
        assert_eq!(by(9), Duration::from_secs(10));
        assert_eq!(by(4 * 1024), Duration::from_secs(14));
        assert_eq!(by(1024 * 1024), Duration::from_secs(19));
        tokio::time::advance(Duration::from_secs(49)).await;
        assert_eq!(by(LARGEST_BODY), Duration::from_mins(1));
    }
}
