//! `serve`: the service, until it is told to stop.

use crate::app::alert::Alerting;
use crate::cli::arguments::ServeOptions;
use crate::cli::report::Mistake;
use crate::cli::{Ended, practice, settings};
use crate::clock::MachineClock;
use crate::config::Settings;
use crate::config::serve::Serve;
use crate::deliver::secrets_readable;
use crate::web::Service;
use crate::web::api::OPENAPI;
use crate::web::tokens::Tokens;
use std::io::{self, Write};
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinSet;

/// A commented configuration with every key.
const SAMPLE: &str = include_str!("../../deploy/fascicle.toml");

pub(super) async fn serve(options: &ServeOptions) -> anyhow::Result<Ended> {
    let mut out = io::stdout();
    let printed = [(options.openapi, OPENAPI), (options.sample, SAMPLE)];
    if let Some((_, text)) = printed.into_iter().find(|(wanted, _)| *wanted) {
        out.write_all(text.as_bytes())?;
        return Ok(Ended::Done);
    }
    let settings = settings::settings(&options.place)?;
    if settings.targets.is_empty() {
        return Err(Mistake(settings::NO_TARGET.to_owned()).into());
    }
    let serve = of(options, &settings)?;
    let tokens = tokens(&serve)?;
    let tables = settings::tables(&options.own, &settings)?;
    let outbox = settings::outbox(&settings).await?;
    let deliveries = settings::deliveries(&settings, &outbox)?;
    let service = Service::new(
        outbox.clone(),
        tables,
        (&settings.targets, settings.routes.clone()),
        tokens,
        Arc::new(MachineClock),
    );
    let listener = TcpListener::bind(serve.address).await.map_err(|cause| {
        Mistake(format!(
            "{} cannot be listened on: {}",
            serve.address,
            cause.kind()
        ))
    })?;
    let (stop, stopped) = watch::channel(false);
    let mut working = JoinSet::new();
    for delivery in deliveries {
        for _ in 0..serve.workers {
            let (delivery, stopped) = (delivery.clone(), stopped.clone());
            working.spawn(async move { delivery.until_stopped(stopped).await });
        }
    }
    let alerting = Alerting {
        outbox: outbox.clone(),
        alerts: settings.alerts.clone(),
        clock: Arc::new(MachineClock),
    };
    let stopped_too = stopped.clone();
    working.spawn(async move { alerting.until_stopped(stopped_too).await });
    let asked = tokio::spawn(async move {
        practice::stopped().await;
        stop.send_replace(true);
    });
    say(&mut out, &serve, &listener, &settings)?;
    tracing::info!("the service takes requests");
    service.serve(listener, stopped).await?;
    while let Some(done) = working.join_next().await {
        done?;
    }
    asked.abort();
    outbox.close().await;
    tracing::info!("the service ended");
    Ok(Ended::Done)
}

/// What the command line says goes before what the file says.
fn of(options: &ServeOptions, settings: &Settings) -> anyhow::Result<Serve> {
    let file = settings.serve.clone();
    let merged = Serve {
        address: options.address.unwrap_or(file.address),
        open_to_network: options.open_to_network || file.open_to_network,
        token_file: options.token_file.clone().or(file.token_file),
        workers: file.workers,
    };
    Ok(merged.checked()?)
}

fn tokens(serve: &Serve) -> anyhow::Result<Tokens> {
    let path = serve.token_file.clone().ok_or_else(|| {
        let words = "serve needs a token file: --token-file FILE, or token_file under [serve]; \
                     (umask 077; openssl rand -hex 32 > api.tokens) makes one";
        Mistake(words.to_owned())
    })?;
    Ok(Tokens::at(path).map_err(|cause| Mistake(cause.to_string()))?)
}

fn say(
    out: &mut dyn Write,
    serve: &Serve,
    listener: &TcpListener,
    settings: &Settings,
) -> io::Result<()> {
    writeln!(out, "BASE=http://{}/v1", listener.local_addr()?)?;
    for target in &settings.targets {
        let paused = if target.paused {
            ", paused by the settings"
        } else {
            ""
        };
        writeln!(
            out,
            "delivers to {} at {}{paused}",
            target.name,
            target.base.open()
        )?;
    }
    for target in &settings.targets {
        if settings.routes.words_of(&target.name).is_none() {
            writeln!(
                out,
                "WARNING: no route leads to target {}: it gets nothing that is new",
                target.name
            )?;
        }
        if !secrets_readable(target) {
            writeln!(
                out,
                "WARNING: a secret file of target {} cannot be read, or others may read it: sessions are \
                 accepted and kept, and nothing is delivered to it until that is mended (chmod 640)",
                target.name
            )?;
        }
    }
    if !serve.address.ip().is_loopback() {
        writeln!(
            out,
            "WARNING: other machines can reach this address, and it speaks plain HTTP: put TLS in \
             front, or tokens and findings can be read on the way"
        )?;
    }
    writeln!(
        out,
        "not certified as a medical device; stop it with Ctrl-C or SIGTERM"
    )?;
    out.flush()
}
