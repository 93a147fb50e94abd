//! The commands.
//!
//! Owns: arguments, what is printed, exit codes. In: the command line. Out: text for people or
//! JSON for machines on standard output. Never: speaks SQL, builds FHIR JSON, writes a value about
//! a person to standard error.

mod arguments;
mod before;
mod catalogue;
mod compared;
mod confirm;
mod demo;
mod documents;
mod earlier;
mod examples;
mod files;
mod lines;
mod people;
mod practice;
mod progress;
mod public_keys;
mod purge;
mod queue;
mod report;
mod screen;
mod send;
mod serve;
mod sessions;
mod settings;
mod shells;
mod store;
mod summary;
mod tables;
mod target;
#[cfg(feature = "otlp")]
mod traces;
mod trail;
mod written;

use crate::base::clock::{Clock, MachineClock};
use crate::service::cli::arguments::{Arguments, Command};
use clap::Parser;
use std::process::ExitCode;
use std::time::Duration;
use tracing::level_filters::LevelFilter;
use tracing_subscriber::Layer as _;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;

/// How a command ended, as the exit code says it; the worst of several counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ended {
    /// 0: done.
    Done,
    /// 3: nothing is wrong, but cautions wait for a named person's confirmation.
    WaitsForConfirmation,
    /// 4: accepted and kept, but not delivered yet.
    NotDelivered,
    /// 4 too: a record server does not answer.
    Unreachable,
    /// 5: accepted and kept; a person has to decide.
    WaitsForAPerson,
    /// 1: something is wrong with what was given.
    Problems,
    /// 70: a fault of the program or the machine.
    Fault,
}

impl Ended {
    const fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Problems => 1,
            Self::WaitsForConfirmation => 3,
            Self::NotDelivered | Self::Unreachable => 4,
            Self::WaitsForAPerson => 5,
            Self::Fault => 70,
        }
    }
}

/// Runs the command line to its end.
pub fn run() -> ExitCode {
    quiet_panics();
    let arguments = Arguments::parse();
    let ended = start(&arguments);
    let json = arguments.command.wants_json();
    ExitCode::from(
        ended
            .unwrap_or_else(|fault| report::fault(&fault, json))
            .code(),
    )
}

fn start(arguments: &Arguments) -> anyhow::Result<Ended> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .max_blocking_threads(MOST_THREADS)
        .build()?;
    #[cfg(feature = "otlp")]
    let traces = traces::begin(arguments, runtime.handle())?;
    #[cfg(feature = "otlp")]
    log(arguments, traces.as_ref().map(traces::Exporting::layer));
    #[cfg(not(feature = "otlp"))]
    log(arguments, None::<tracing_subscriber::layer::Identity>);
    let ended = runtime.block_on(Box::pin(command(arguments)));
    #[cfg(feature = "otlp")]
    if let Some(traces) = traces {
        traces.end();
    }
    // What computes cannot be cut off: the process ends without it.
    runtime.shutdown_timeout(END_WITHIN);
    ended
}

/// The most threads that work beside those that answer: deliveries have one each, 16 a target at most.
const MOST_THREADS: usize = 2048;
/// How long is waited for what still computes when a command has ended.
const END_WITHIN: Duration = Duration::from_millis(500);

async fn command(arguments: &Arguments) -> anyhow::Result<Ended> {
    let now = MachineClock.now();
    match &arguments.command {
        Command::Demo(options) => demo::demo(options).await,
        Command::Encode(options) => documents::encode(options, now).await,
        Command::Check(options) => documents::check(options, now),
        Command::Summary(options) => summary::summary(options).await,
        Command::Send(options) => {
            // Log lines and a bar would write over each other.
            let logging = arguments.log_json || arguments.log > LevelFilter::WARN;
            send::send(options, logging).await
        }
        Command::Serve(options) => serve::serve(options).await,
        Command::Queue(options) => queue::queue(options).await,
        Command::Target(options) => target::target(options).await,
        Command::PublicKeys(options) => public_keys::public_keys(options),
        Command::Store(options) => store::store(options).await,
        Command::Trail(options) => trail::trail(options).await,
        Command::Catalogue(options) => catalogue::catalogue(options),
        Command::Practice(options) => practice::practice(options).await,
        Command::Completions(options) => shells::completions(options),
        Command::Manual(options) => shells::manual(options),
    }
}

/// Only our own lines are written: libraries put addresses and values into theirs.
fn log<Also>(arguments: &Arguments, also: Option<Also>)
where
    Also: tracing_subscriber::Layer<tracing_subscriber::Registry> + Send + Sync,
{
    let ours = Targets::new().with_target("fascicle", arguments.log);
    let lines = tracing_subscriber::fmt::layer()
        .with_writer(std::io::stderr)
        .with_ansi(false);
    let lines = if arguments.log_json {
        lines.json().boxed()
    } else {
        lines.boxed()
    };
    // A second start in one process keeps the first subscriber.
    drop(
        tracing_subscriber::registry()
            .with(also)
            .with(lines.with_filter(ours))
            .try_init(),
    );
}

/// A panic tells where it happened and never what it held.
pub fn quiet_panics() {
    std::panic::set_hook(Box::new(|panic| {
        let place = panic
            .location()
            .map(ToString::to_string)
            .unwrap_or_default();
        report::to_stderr(&format!(
            "fascicle: a fault of the program at {place}; please report it"
        ));
    }));
}
