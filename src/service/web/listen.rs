//! Connections: bounded in number, and closed when their head takes too long.
//!
//! `axum::serve` sets no time for the head of a request, so the connections are driven here by the
//! library it stands on.

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use std::io;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};

/// Connections at the same time; more wait in the queue of the system.
const MOST_CONNECTIONS: usize = 256;
/// How long the head of a request may take, and a connection may be idle.
const HEAD_WITHIN: Duration = Duration::from_secs(10);
/// How long requests that run may take once the service was told to stop.
const END_WITHIN: Duration = Duration::from_secs(20);
/// How long to wait when the system has no room for another connection.
const NO_ROOM: Duration = Duration::from_millis(100);

pub(super) async fn listen(
    listener: TcpListener,
    router: Router,
    mut stop: watch::Receiver<bool>,
) -> io::Result<()> {
    let running = GracefulShutdown::new();
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    while !*stop.borrow_and_update() {
        let place = Arc::clone(&room).acquire_owned();
        let next = async {
            let place = place.await.map_err(io::Error::other)?;
            Ok::<_, io::Error>((place, listener.accept().await))
        };
        let (place, accepted) = tokio::select! {
            next = next => next?,
            _ = stop.changed() => break,
        };
        let stream: TcpStream = match accepted {
            Ok((stream, _)) => stream,
            // One connection that broke, or no more files: the next one may do.
            Err(cause) => {
                tracing::warn!(error = %cause.kind(), "a connection was not taken");
                tokio::time::sleep(NO_ROOM).await;
                continue;
            }
        };
        let service = TowerToHyperService::new(router.clone());
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .serve_connection(TokioIo::new(stream), service);
        let connection = running.watch(connection);
        tokio::spawn(async move {
            if let Err(cause) = connection.await {
                // Who hung up, or took too long: the words of the library carry no content.
                tracing::debug!(
                    timeout = cause.is_timeout(),
                    parse = cause.is_parse(),
                    "a connection ended early"
                );
            }
            drop(place);
        });
    }
    drop(listener);
    if tokio::time::timeout(END_WITHIN, running.shutdown())
        .await
        .is_err()
    {
        tracing::warn!("requests that took too long were cut off");
    }
    Ok(())
}
