//! `practice`: the practice record server, until the person stops it.

use crate::base::clock::MachineClock;
use crate::delivery::deliver::SignIn;
use crate::delivery::deliver::http::Connection;
use crate::delivery::outbox::place::Place;
use crate::practice::Practice;
use crate::service::cli::arguments::PracticeOptions;
use crate::service::cli::{Ended, people, screen};
use crate::service::config::Settings;
use anyhow::Context;
use std::io::Write;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use tokio::net::TcpListener;

pub(super) async fn practice(options: &PracticeOptions) -> anyhow::Result<Ended> {
    let practice = Practice::open(options.file.as_deref(), Arc::new(MachineClock)).await?;
    let (listener, address) = listen(options.port).await?;
    let base = format!("http://{address}/fhir");
    let serving = tokio::spawn(practice.serve(listener, stopped()));
    let people = if options.with_people {
        people::put(&connection(&base)?).await?
    } else {
        Vec::new()
    };
    let mut out = screen::screen();
    writeln!(out, "BASE={base}")?;
    if people.is_empty() {
        writeln!(
            out,
            "it knows nobody yet, unless its file does: --with-people"
        )?;
    } else {
        writeln!(out, "it knows the invented people {}", people.join(", "))?;
    }
    writeln!(
        out,
        "for trying out and training; not a record system; stop it with Ctrl-C"
    )?;
    out.flush()?;
    serving.await??;
    Ok(Ended::Done)
}

/// A connection to a practice server of this process.
pub(super) fn connection(base: &str) -> anyhow::Result<Connection> {
    let settings = Settings::single(Place::Folder(PathBuf::new()), base, SignIn::None)?;
    let target = settings.targets.first();
    let target = target.context("the practice server is a target")?;
    Ok(Connection::new(target.clone())?)
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
