//! Traces over OTLP, beside the work: a queue that is bounded, a thread that sends, and nothing that
//! waits for either. What finds no place in the queue is dropped.

use crate::delivery::deliver::client;
use crate::delivery::deliver::{HeaderFrom, Proxy};
use crate::service::cli::arguments::{Arguments, Command};
use crate::service::cli::report::Mistake;
use crate::service::cli::settings;
use crate::service::config::traces::Traces;
use opentelemetry::KeyValue;
use opentelemetry::trace::TracerProvider as _;
use opentelemetry_http::{Bytes, HttpClient, HttpError, Request, Response};
use opentelemetry_otlp::{SpanExporter, WithExportConfig as _, WithHttpConfig as _};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::trace::{BatchConfigBuilder, BatchSpanProcessor, SdkTracerProvider};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::runtime::Handle;
use tracing::level_filters::LevelFilter;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::{Layer, Registry};

/// Spans that wait to be sent, at most.
const MOST_WAITING: usize = 2048;
/// How often they are sent.
const EVERY: Duration = Duration::from_secs(1);
/// Longest wait for the collector.
const PATIENCE: Duration = Duration::from_secs(3);
/// Longest wait for the last spans when the process ends.
const LAST: Duration = Duration::from_secs(5);

/// What sends traces.
#[derive(Debug)]
pub(super) struct Exporting(SdkTracerProvider);

/// Begins to send traces, where the command works on deliveries and its settings say where to. Settings
/// that do not read are told of by the command itself.
///
/// # Errors
/// Where the collector could not be reached by what the settings name.
pub(super) fn begin(arguments: &Arguments, runtime: &Handle) -> anyhow::Result<Option<Exporting>> {
    let place = match &arguments.command {
        Command::Serve(options) => &options.place,
        Command::Send(options) => &options.place,
        Command::Demo(_)
        | Command::Completions(_)
        | Command::Manual(_)
        | Command::Encode(_)
        | Command::Check(_)
        | Command::Summary(_)
        | Command::Queue(_)
        | Command::Target(_)
        | Command::PublicKeys(_)
        | Command::Store(_)
        | Command::Trail(_)
        | Command::Catalogue(_)
        | Command::Practice(_) => return Ok(None),
    };
    let traces = settings::settings(place)
        .ok()
        .and_then(|settings| settings.traces);
    let Some(traces) = traces else {
        return Ok(None);
    };
    let ca_file = traces.ca_file.as_ref();
    let client = client::plain("traces", PATIENCE, &Proxy::Environment, ca_file)?;
    Exporting::to(&traces, client, runtime).map(Some)
}

impl Exporting {
    fn to(traces: &Traces, client: reqwest::Client, runtime: &Handle) -> anyhow::Result<Self> {
        let exporter = SpanExporter::builder()
            .with_http()
            .with_http_client(Collector {
                client,
                headers: traces.headers.clone(),
                runtime: runtime.clone(),
                silent: Arc::default(),
            })
            .with_endpoint(format!("{}/v1/traces", traces.endpoint.open()))
            .with_timeout(PATIENCE)
            .build()
            .map_err(|_may_name_the_address| {
                Mistake("traces: what sends them cannot be made: check endpoint".to_owned())
            })?;
        let limits = BatchConfigBuilder::default()
            .with_max_queue_size(MOST_WAITING)
            .with_scheduled_delay(EVERY)
            .build();
        let batches = BatchSpanProcessor::builder(exporter).with_batch_config(limits);
        // Nothing of the environment or the machine goes with it.
        let resource = Resource::builder_empty().with_attributes([
            KeyValue::new("service.name", "fascicle"),
            KeyValue::new("service.version", env!("CARGO_PKG_VERSION")),
        ]);
        let provider = SdkTracerProvider::builder()
            .with_span_processor(batches.build())
            .with_resource(resource.build());
        Ok(Self(provider.build()))
    }

    /// Takes the spans that are made to be sent and nothing else: no line of the log, ours or of a library.
    pub(super) fn layer(&self) -> impl Layer<Registry> + Send + Sync + use<> {
        tracing_opentelemetry::layer()
            .with_tracer(self.0.tracer("fascicle"))
            .with_location(false)
            .with_threads(false)
            .with_tracked_inactivity(false)
            .with_target(false)
            .with_filter(Targets::new().with_target("traces", LevelFilter::INFO))
    }

    /// Sends what waits, within a bounded time.
    pub(super) fn end(self) {
        // A collector that does not answer was told of already.
        drop(self.0.shutdown_with_timeout(LAST));
    }
}

/// The collector, reached by the HTTP client that reaches record servers.
#[derive(Debug)]
struct Collector {
    client: reqwest::Client,
    headers: Vec<(String, HeaderFrom)>,
    /// The exporter asks from a thread of its own, without a runtime.
    runtime: Handle,
    /// True since it was told that nothing arrives.
    silent: Arc<AtomicBool>,
}

#[async_trait::async_trait]
impl HttpClient for Collector {
    async fn send_bytes(&self, request: Request<Bytes>) -> Result<Response<Bytes>, HttpError> {
        let Some(own) = client::fixed(&self.headers) else {
            self.told(false);
            return Err("a file of a header of the collector cannot be read".into());
        };
        let (parts, body) = request.into_parts();
        let request = self
            .client
            .request(parts.method, parts.uri.to_string())
            .headers(parts.headers)
            .headers(own)
            .body(body);
        let asked = self.runtime.spawn(async move {
            let answer = request.send().await?;
            let status = answer.status();
            Ok::<_, reqwest::Error>((status, answer.bytes().await?))
        });
        let answer = asked.await?.map_err(reqwest::Error::without_url);
        let arrived = answer.as_ref().is_ok_and(|(status, _)| status.is_success());
        self.told(arrived);
        let (status, body) = answer?;
        Ok(Response::builder().status(status).body(body)?)
    }
}

impl Collector {
    /// Said once for each time it falls silent: traces are not worth a log full of it.
    fn told(&self, arrived: bool) {
        if arrived {
            self.silent.store(false, Ordering::Relaxed);
        } else if !self.silent.swap(true, Ordering::Relaxed) {
            tracing::warn!("traces do not reach their collector and are dropped until they do");
        }
    }
}
