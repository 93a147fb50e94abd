//! Connections: bounded in number and in their life, so that a new one always gets in.
//!
//! `axum::serve` sets no time for the head of a request, so the connections are driven here by the
//! library it stands on.

use crate::service::config::limits::Limits;
use crate::service::web::connections::{Connection, Connections, Slot, Why};
use crate::service::web::meters::Meters;
use crate::service::web::stream::Watched;
use axum::Router;
use axum::http::{HeaderValue, header};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::convert::Infallible;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;

/// How often a connection is looked at.
const LOOK_AGAIN: Duration = Duration::from_secs(1);
/// How long to wait when the system has no room for another connection.
const NO_ROOM: Duration = Duration::from_millis(100);
/// The largest head of a request, in bytes: ours need a hundredth of it.
const LARGEST_HEAD: usize = 64 * 1024;

/// What all connections share.
#[derive(Debug, Clone)]
pub(super) struct Terms {
    pub(super) router: Router,
    pub(super) limits: Limits,
    pub(super) meters: Arc<Meters>,
}

/// Answers until it is told to stop, then until the requests that run have their answers.
pub(super) async fn listen(listener: TcpListener, terms: Terms, mut stop: watch::Receiver<bool>) {
    let connections = Connections::new(&terms.limits);
    let mut running = JoinSet::new();
    while !*stop.borrow_and_update() {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            _ = stop.changed() => break,
        };
        while running.try_join_next().is_some() {}
        let why = match accepted {
            Ok((stream, from)) => {
                let (place, why) = connections.place(from.ip());
                if let Some(place) = place {
                    running.spawn(drive(stream, place, terms.clone(), stop.clone()));
                }
                why
            }
            // One connection that broke, or no more files: the next one may do.
            Err(cause) => {
                tracing::warn!(error = %cause.kind(), "a connection was not taken");
                let why = connections.make_room();
                tokio::time::sleep(NO_ROOM).await;
                why
            }
        };
        if let Some(why) = why {
            closed(&terms.meters, why);
        }
    }
    drop(listener);
    while running.join_next().await.is_some() {}
}

fn closed(meters: &Meters, why: Why) {
    meters.closed(why);
    tracing::debug!(why = why.word(), "a connection was closed");
}

/// One connection, until it ends, has to make room, or takes too long.
async fn drive(stream: TcpStream, place: Slot, terms: Terms, mut stop: watch::Receiver<bool>) {
    let connection = &place.connection;
    let router = TowerToHyperService::new(terms.router);
    let (of, limits) = (Arc::clone(connection), terms.limits.clone());
    let answers = service_fn(move |mut request: hyper::Request<Incoming>| {
        of.asked();
        request
            .extensions_mut()
            .insert::<Arc<Connection>>(Arc::clone(&of));
        let (answer, of) = (router.call(request), Arc::clone(&of));
        let ends = of.is_old(&limits);
        async move {
            let mut answer = answer.await?;
            of.answering();
            if ends {
                let close = HeaderValue::from_static("close");
                answer.headers_mut().insert(header::CONNECTION, close);
            }
            Ok::<_, Infallible>(answer)
        }
    });
    let stream = TokioIo::new(Watched::new(stream, Arc::clone(connection)));
    let serving = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(terms.limits.idle)
        .max_buf_size(LARGEST_HEAD)
        .serve_connection(stream, answers);
    let mut serving = pin!(serving);
    let mut look = tokio::time::interval(LOOK_AGAIN);
    let mut ends = false;
    let why = loop {
        tokio::select! {
            ended = serving.as_mut() => break early(&ended),
            () = connection.to_close() => return,
            _ = look.tick() => {
                if let Some(why) = connection.overdue(&terms.limits) {
                    break Some(why);
                }
                if !ends && connection.is_old(&terms.limits) {
                    ends = true;
                    serving.as_mut().graceful_shutdown();
                }
            }
            _ = stop.changed(), if !ends => {
                ends = true;
                serving.as_mut().graceful_shutdown();
            }
        }
    };
    if let Some(why) = why {
        closed(&terms.meters, why);
    }
}

/// Who hung up, or took too long: the words of the library carry no content.
fn early(ended: &hyper::Result<()>) -> Option<Why> {
    let cause = ended.as_ref().err()?;
    tracing::debug!(
        timeout = cause.is_timeout(),
        parse = cause.is_parse(),
        "a connection ended early"
    );
    cause.is_timeout().then_some(Why::Idle)
}
