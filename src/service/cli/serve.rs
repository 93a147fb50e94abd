//! `serve`: the service, until it is told to stop; SIGHUP has it read its configuration anew.

use crate::base::clock::MachineClock;
use crate::delivery::deliver::secrets_readable;
use crate::delivery::outbox::Outbox;
use crate::service::app::alert::Alerting;
use crate::service::app::retention::Purging;
use crate::service::cli::arguments::ServeOptions;
use crate::service::cli::report::Mistake;
use crate::service::cli::{Ended, settings};
use crate::service::config::Settings;
use crate::service::config::serve::Serve;
use crate::service::web::Service;
use crate::service::web::api::OPENAPI;
use crate::service::web::outside::Outside;
use crate::service::web::tokens::Tokens;
use crate::tables::catalogue::Catalogue;
use std::io::{self, Write};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::runtime::Handle;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::watch;
use tokio::task::{AbortHandle, JoinError, JoinSet};
use tokio::time::timeout;

/// A commented configuration with every key.
const SAMPLE: &str = include_str!("../../../deploy/fascicle.toml");

pub(super) async fn serve(options: &ServeOptions) -> anyhow::Result<Ended> {
    let mut out = io::stdout();
    let printed = [(options.openapi, OPENAPI), (options.sample, SAMPLE)];
    if let Some((_, text)) = printed.into_iter().find(|(wanted, _)| *wanted) {
        out.write_all(text.as_bytes())?;
        return Ok(Ended::Done);
    }
    let mut site = Site::read(options)?;
    settings::alerts(&site.settings)?;
    let outbox = settings::outbox(&site.settings).await?;
    let listener = std::net::TcpListener::bind(site.serve.address).map_err(|cause| {
        Mistake(format!(
            "{} cannot be listened on: {}",
            site.serve.address,
            cause.kind()
        ))
    })?;
    listener.set_nonblocking(true)?;
    let mut asked = Signals::listen()?;
    // What runs under settings that were left ends when it has done what it had begun.
    let mut working = JoinSet::new();
    // What waits for something when the time to end is up is cut off.
    let (cut, cuts) = watch::channel(false);
    loop {
        let (stop, stopped) = watch::channel(false);
        site.work(&outbox, &stopped, &cuts, &mut working)?;
        let taking = TcpListener::from_std(listener.try_clone()?)?;
        let service = site.service(&outbox)?;
        let service = service.within(site.serve.limits.clone(), cuts.clone());
        say(&mut out, &site.serve, &taking, &site.settings)?;
        let answering = working.spawn(async move { service.serve(taking, stopped).await });
        tracing::info!("the service takes requests");
        let next = next(options, &site, &outbox, &mut asked, &answering).await;
        stop.send_replace(true);
        match next {
            Some(other) => site = other,
            None => break,
        }
    }
    ended(working, &cut, site.serve.limits.stop).await?;
    if timeout(CLOSE_WITHIN, outbox.close()).await.is_err() {
        tracing::warn!("the store was not closed: something still used it");
    }
    tracing::info!("the service ended");
    Ok(Ended::Done)
}

/// Waits until what runs has ended, and cuts off what takes too long, whoever keeps it: a delivery that was cut off
/// is settled by searching.
async fn ended(
    mut working: JoinSet<()>,
    cut: &watch::Sender<bool>,
    within: Duration,
) -> Result<(), JoinError> {
    let all = async {
        while let Some(done) = working.join_next().await {
            done?;
        }
        Ok(())
    };
    if let Ok(ended) = timeout(within, all).await {
        return ended;
    }
    tracing::warn!("what took too long was cut off");
    cut.send_replace(true);
    working.abort_all();
    let rest = async { while working.join_next().await.is_some() {} };
    if timeout(CLOSE_WITHIN, rest).await.is_err() {
        tracing::warn!("something was still worked on");
    }
    Ok(())
}

/// How long it may take to close what was told to close.
const CLOSE_WITHIN: Duration = Duration::from_secs(1);

/// The site to go on with; nothing when the service is to end.
async fn next(
    options: &ServeOptions,
    site: &Site,
    outbox: &Outbox,
    asked: &mut Signals,
    answering: &AbortHandle,
) -> Option<Site> {
    loop {
        match asked.next(answering).await {
            Ask::Stop => return None,
            Ask::ReadAnew => match site.read_anew(options, outbox).await {
                Ok(other) => {
                    tracing::info!("the configuration was read anew");
                    return Some(other);
                }
                Err(cause) => tracing::error!(
                    error = format!("{cause:#}"),
                    "the configuration was read anew and is not used: all goes on as it was"
                ),
            },
        }
    }
}

/// What the system asks of the service.
enum Ask {
    Stop,
    ReadAnew,
}

/// The signals by which it asks.
struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    fn listen() -> io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }

    /// Waits for the next; a service that answers no more is to end.
    async fn next(&mut self, answering: &AbortHandle) -> Ask {
        loop {
            tokio::select! {
                _ = self.terminate.recv() => return Ask::Stop,
                _ = self.interrupt.recv() => return Ask::Stop,
                _ = self.hang_up.recv() => return Ask::ReadAnew,
                () = tokio::time::sleep(LOOK_AGAIN) => if answering.is_finished() {
                    return Ask::Stop;
                },
            }
        }
    }
}

/// How often it is looked whether the service still answers.
const LOOK_AGAIN: Duration = Duration::from_secs(1);

/// Everything the service works with that a site can change.
struct Site {
    settings: Settings,
    serve: Serve,
    tokens: Tokens,
    tables: Arc<Catalogue>,
}

impl Site {
    fn read(options: &ServeOptions) -> anyhow::Result<Self> {
        let settings = settings::settings(&options.place)?;
        if settings.targets.is_empty() {
            return Err(Mistake(settings::NO_TARGET.to_owned()).into());
        }
        let serve = of(options, &settings)?;
        Ok(Self {
            tokens: tokens(&serve)?,
            tables: Arc::new(settings::tables(&options.own, &settings)?),
            settings,
            serve,
        })
    }

    /// The site as its files say now. Where it listens and keeps its state cannot change under a service
    /// that runs.
    async fn read_anew(&self, options: &ServeOptions, outbox: &Outbox) -> anyhow::Result<Self> {
        let other = Self::read(options)?;
        if other.settings.state.words() != self.settings.state.words()
            || other.serve.address != self.serve.address
            || other.settings.traces != self.settings.traces
        {
            let told = "state, the address under [serve] and [traces] need a restart";
            return Err(Mistake(told.to_owned()).into());
        }
        settings::bind(&other.settings, outbox).await?;
        settings::deliveries(&other.settings, outbox)?;
        settings::alerts(&other.settings)?;
        Ok(other)
    }

    fn service(&self, outbox: &Outbox) -> anyhow::Result<Service> {
        let outside = Outside {
            targets: self.settings.targets.clone(),
            routes: self.settings.routes.clone(),
            elsewhere: settings::elsewhere(&self.settings)?,
            webhook: self.settings.alerts.webhook.clone(),
        };
        Ok(Service::new(
            outbox.clone(),
            Arc::clone(&self.tables),
            outside,
            self.tokens.clone(),
            Arc::new(MachineClock),
        ))
    }

    /// Begins to deliver, to alert and to purge, until it is told to stop. Each delivery has a thread of its own:
    /// what a record server answers may be long, and reading it is no work for those who answer requests.
    fn work(
        &self,
        outbox: &Outbox,
        stopped: &watch::Receiver<bool>,
        cuts: &watch::Receiver<bool>,
        working: &mut JoinSet<()>,
    ) -> anyhow::Result<()> {
        for delivery in settings::deliveries(&self.settings, outbox)? {
            for _ in 0..self.serve.workers {
                let (delivery, stopped) = (delivery.clone(), stopped.clone());
                let (handle, mut cuts) = (Handle::current(), cuts.clone());
                working.spawn_blocking(move || {
                    handle.block_on(async move {
                        tokio::select! {
                            () = delivery.until_stopped(stopped) => {}
                            // Its sender lives as long as the service.
                            _ = cuts.wait_for(|cut| *cut) => {}
                        }
                    });
                });
            }
        }
        let alerting = Alerting {
            outbox: outbox.clone(),
            alerts: self.settings.alerts.clone(),
            clock: Arc::new(MachineClock),
        };
        let purging = Purging {
            outbox: outbox.clone(),
            retention: self.settings.retention,
            clock: Arc::new(MachineClock),
        };
        let (one, other) = (stopped.clone(), stopped.clone());
        working.spawn(async move { alerting.until_stopped(one).await });
        working.spawn(async move { purging.until_stopped(other).await });
        Ok(())
    }
}

/// What the command line says goes before what the file says.
fn of(options: &ServeOptions, settings: &Settings) -> anyhow::Result<Serve> {
    let file = settings.serve.clone();
    let merged = Serve {
        address: options.address.unwrap_or(file.address),
        open_to_network: options.open_to_network || file.open_to_network,
        token_file: options.token_file.clone().or(file.token_file),
        workers: file.workers,
        limits: file.limits,
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
