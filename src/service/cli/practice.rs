//! `practice`: the practice record server, until the person stops it.

use crate::base::clock::MachineClock;
use crate::practice::Practice;
use crate::service::cli::Ended;
use crate::service::cli::arguments::PracticeOptions;
use anyhow::Context;
use std::io::{self, Write};
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use tokio::net::TcpListener;

pub(super) async fn practice(options: &PracticeOptions) -> anyhow::Result<Ended> {
    let practice = Practice::open(options.file.as_deref(), Arc::new(MachineClock)).await?;
    let (listener, address) = listen(options.port).await?;
    let mut out = io::stdout();
    writeln!(out, "BASE=http://{address}/fhir")?;
    writeln!(
        out,
        "for trying out and training; not a record system; stop it with Ctrl-C"
    )?;
    out.flush()?;
    practice.serve(listener, stopped()).await?;
    Ok(Ended::Done)
}

/// Listens on loopback.
pub(super) async fn listen(port: u16) -> anyhow::Result<(TcpListener, SocketAddr)> {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await;
    let listener = listener.context("the port on 127.0.0.1 cannot be used")?;
    let address = listener.local_addr()?;
    Ok((listener, address))
}

/// Done when the person, or the system, asks the program to stop.
pub(super) async fn stopped() {
    let asked = tokio::signal::ctrl_c();
    let mut ended = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate());
    match &mut ended {
        Ok(ended) => {
            tokio::select! {
                _ = asked => {}
                _ = ended.recv() => {}
            }
        }
        Err(_no_signals) => drop(asked.await),
    }
}
