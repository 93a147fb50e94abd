//! What can be written on the command line.

pub(super) mod catalogue;
pub(super) mod own;

use crate::service::app::summary::Wanted;
use crate::service::cli::arguments::catalogue::{ConfirmOptions, PackOptions};
use crate::service::cli::arguments::own::OwnTables;
use crate::service::cli::examples;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::net::SocketAddr;
use std::path::PathBuf;
use tracing::level_filters::LevelFilter;
use uuid::Uuid;

/// Turns a physiotherapist's bedside findings into FHIR R4 Observations and delivers them.
///
/// Not certified as a medical device: a site must assess it before clinical use. It supports and
/// never replaces the judgement of a qualified clinician; local policy and the treating team come
/// first.
///
/// Every command says more with --help, with examples.
#[derive(Parser)]
#[command(version, max_term_width = 100, before_help = examples::FIRST, after_help = examples::WHOLE)]
pub(super) struct Arguments {
    /// How much to log on standard error: off, error, warn, info, debug, trace.
    #[arg(
        long,
        global = true,
        default_value = "warn",
        value_name = "LEVEL",
        help_heading = "Logging"
    )]
    pub(super) log: LevelFilter,
    /// Log lines as JSON.
    #[arg(long, global = true, help_heading = "Logging")]
    pub(super) log_json: bool,
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Subcommand)]
pub(super) enum Command {
    Demo(DemoOptions),
    Encode(EncodeOptions),
    Check(CheckOptions),
    Summary(SummaryOptions),
    Send(SendOptions),
    Serve(ServeOptions),
    Queue(QueueOptions),
    Target(TargetOptions),
    PublicKeys(PublicKeysOptions),
    Store(StoreOptions),
    Trail(TrailOptions),
    Catalogue(CatalogueOptions),
    Practice(PracticeOptions),
    Completions(CompletionsOptions),
    Manual(ManualOptions),
}

impl Command {
    /// True where a program reads standard output.
    pub(super) const fn wants_json(&self) -> bool {
        match self {
            Self::Encode(options) => options.comparing.json,
            Self::Check(options) => options.json,
            Self::Summary(options) => options.json,
            Self::Send(options) => options.json,
            Self::Queue(options) => options.json,
            Self::Target(options) => options.json,
            Self::Store(options) => options.json,
            Self::Trail(options) => options.json,
            Self::Catalogue(options) => match &options.command {
                CatalogueCommand::List(options) => options.json,
                CatalogueCommand::Check(options) => options.json,
                CatalogueCommand::Confirm(options) => options.json,
                CatalogueCommand::Worksheet(_) | CatalogueCommand::Pack(_) => false,
            },
            Self::Demo(_)
            | Self::Serve(_)
            | Self::PublicKeys(_)
            | Self::Practice(_)
            | Self::Completions(_)
            | Self::Manual(_) => false,
        }
    }
}

/// Two invented sessions of one invented person, coded and delivered on this machine only.
#[derive(Args)]
#[command(before_help = examples::FIRST_DEMO, after_help = examples::DEMO)]
pub(super) struct DemoOptions {
    /// End when the demo is over instead of keeping the practice server open for a look.
    #[arg(long)]
    pub(super) exit: bool,
}

/// Where earlier sessions come from.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum EarlierFrom {
    /// Our own store, named by --state or --config.
    Store,
    /// The record server, named by --to or --config.
    Target,
}

/// What is compared, with which earlier sessions.
#[derive(Args)]
pub(super) struct Comparing {
    /// What was compared instead of Bundles, each with the row of the tables it used: the sides,
    /// published ranges, last time, the parts of a stretch.
    #[arg(long, group = "form")]
    pub(super) compare: bool,
    /// What was compared as JSON: one list, a session a line.
    #[arg(long, requires = "compare")]
    pub(super) json: bool,
    #[command(flatten)]
    pub(super) with: EarlierSessions,
}

/// With which earlier sessions is compared.
#[derive(Args)]
pub(super) struct EarlierSessions {
    /// An earlier session of the same person, to compare with; it is not written out.
    #[arg(long, value_name = "FILE")]
    pub(super) earlier: Vec<PathBuf>,
    /// Where else earlier sessions come from.
    #[arg(long, value_name = "PLACE", group = "asks")]
    pub(super) earlier_from: Option<EarlierFrom>,
    /// Configuration file (TOML) of that store or record server.
    #[arg(long, value_name = "FILE", requires = "asks", group = "store", conflicts_with_all = ["state", "to"])]
    pub(super) config: Option<PathBuf>,
    /// Folder of that store, or the address of its database.
    #[arg(long, value_name = "DIR", requires = "asks", group = "store")]
    pub(super) state: Option<String>,
    #[command(flatten)]
    pub(super) server: RecordServer,
}

/// The session beside a sheet.
#[derive(Args)]
pub(super) struct BesideSheet {
    /// Session document (JSON) without findings to which all rows of the CSV files belong, where they
    /// have no columns of the session.
    #[arg(long, value_name = "FILE")]
    pub(super) session: Option<PathBuf>,
}

/// Session documents or CSV in, FHIR Bundles out: the export without a server.
#[derive(Args)]
#[command(before_help = examples::FIRST_ENCODE, after_help = examples::ENCODE)]
pub(super) struct EncodeOptions {
    /// Session documents (JSON), or files of one finding a row (name.csv), in the order they were
    /// examined.
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) own: OwnTables,
    #[command(flatten)]
    pub(super) beside: BesideSheet,
    /// One Bundle a line instead of one readable Bundle.
    #[arg(long, group = "form")]
    pub(super) ndjson: bool,
    /// The findings as captured, one a row, instead of Bundles: safe in a spreadsheet, and read
    /// again they say the same.
    #[arg(long, group = "form")]
    pub(super) csv: bool,
    /// The joint planes in three numbers from neutral zero instead of Bundles, directions named, in
    /// this order: away-first, flexion-first or sftr.
    #[arg(long, value_name = "ORDER", group = "form")]
    pub(super) notation: Option<String>,
    /// With the summary of each session as a report.
    #[arg(long)]
    pub(super) report: bool,
    /// Write to this file instead of standard output.
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// Folder to draw each trace to as SVG, readable by its owner only; made when missing.
    #[arg(long, value_name = "DIR")]
    pub(super) plots: Option<PathBuf>,
    #[command(flatten)]
    pub(super) comparing: Comparing,
}

/// Problems of session documents, or of FHIR R4 resources whoever wrote them, as far as base R4 and our
/// tables go, each with path, reason and what to do.
#[derive(Args)]
#[command(before_help = examples::FIRST_CHECK, after_help = examples::CHECK)]
pub(super) struct CheckOptions {
    /// Session documents, FHIR resources or Bundles (JSON), files of one resource a line (NDJSON), or
    /// of one finding a row (name.csv); - is standard input.
    #[arg(required_unless_present_any = ["schema", "columns"])]
    pub(super) files: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) own: OwnTables,
    #[command(flatten)]
    pub(super) beside: BesideSheet,
    /// Print the problems as JSON.
    #[arg(long)]
    pub(super) json: bool,
    /// Print the JSON Schema of the session document and stop.
    #[arg(long)]
    pub(super) schema: bool,
    /// Print the columns a CSV file may have, with what each holds and means, and stop.
    #[arg(long)]
    pub(super) columns: bool,
}

/// One record server, named on the command line.
#[derive(Args, Clone)]
pub(super) struct RecordServer {
    /// Base address of the record server's FHIR service, without a slash at the end.
    #[arg(long, value_name = "BASE")]
    pub(super) to: Option<String>,
    /// File that holds a bearer token for it.
    #[arg(
        long,
        value_name = "FILE",
        requires = "to",
        conflicts_with = "basic_file"
    )]
    pub(super) bearer_file: Option<PathBuf>,
    /// File that holds name:password for it.
    #[arg(long, value_name = "FILE", requires = "to")]
    pub(super) basic_file: Option<PathBuf>,
}

/// Where the state is kept and which record server is meant.
#[derive(Args)]
pub(super) struct StoreAndTarget {
    /// Configuration file (TOML); `fascicle serve --sample` prints a commented one.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["state", "to"])]
    pub(super) config: Option<PathBuf>,
    /// Folder that holds the state; made when missing, readable by its owner only. Or the address of a
    /// PostgreSQL database, as `postgres://user@host/name`; a password stands in a file that a
    /// configuration names.
    #[arg(long, value_name = "DIR", required_unless_present = "config")]
    pub(super) state: Option<String>,
    #[command(flatten)]
    pub(super) server: RecordServer,
}

/// What a colleague reads: a session in plain words, precautions first; or what all sessions of a
/// person come to, for a handover or a discharge.
///
/// The person is named by one of their sessions, so that no identifier of a person stands on a command
/// line. What is printed is about that person; it says what was recorded, not what anybody has read.
#[derive(Args)]
#[command(before_help = examples::FIRST_SUMMARY, after_help = examples::SUMMARY)]
pub(super) struct SummaryOptions {
    /// Session documents (JSON), or files of one finding a row (name.csv), in the order they were
    /// examined; they are neither kept nor sent.
    #[arg(conflicts_with = "of")]
    pub(super) files: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) beside: BesideSheet,
    /// A session that is kept; its latest version counts. --config or --state says where.
    #[arg(
        long,
        value_name = "SESSION",
        requires = "store",
        group = "asks",
        conflicts_with = "earlier"
    )]
    pub(super) of: Option<Uuid>,
    /// Of the session alone, or of all sessions of its person: session, handover or discharge.
    #[arg(long, value_name = "VIEW", default_value = "session", value_parser = view)]
    pub(super) view: Wanted,
    #[command(flatten)]
    pub(super) with: EarlierSessions,
    #[command(flatten)]
    pub(super) own: OwnTables,
    /// Print as JSON: each line with the identifiers of the Observations it tells of.
    #[arg(long)]
    pub(super) json: bool,
}

impl SummaryOptions {
    /// Where the state is kept.
    pub(super) fn place(&self) -> StoreAndTarget {
        StoreAndTarget::alone(self.with.config.as_ref(), self.with.state.as_ref())
    }
}

impl StoreAndTarget {
    /// A state without a record server.
    fn alone(config: Option<&PathBuf>, state: Option<&String>) -> Self {
        Self {
            config: config.cloned(),
            state: state.cloned(),
            server: RecordServer {
                to: None,
                bearer_file: None,
                basic_file: None,
            },
        }
    }
}

fn view(word: &str) -> Result<Wanted, String> {
    Wanted::named(word).ok_or_else(|| "write session, handover or discharge".to_owned())
}

/// Accepts session documents, delivers them and prints what came of each.
#[derive(Args)]
#[command(before_help = examples::FIRST_SEND, after_help = examples::SEND)]
pub(super) struct SendOptions {
    #[command(flatten)]
    pub(super) place: StoreAndTarget,
    /// Session documents (JSON), or files of one finding a row (name.csv), in the order they were
    /// examined; none only works off the queue.
    pub(super) files: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) own: OwnTables,
    #[command(flatten)]
    pub(super) beside: BesideSheet,
    /// How long to wait for delivery, in seconds; what is not delivered by then stays queued.
    #[arg(long, value_name = "SECONDS", default_value_t = 60)]
    pub(super) wait: u32,
    /// Print the receipts as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// The service: takes session documents over HTTP and delivers them in the background.
///
/// Every request needs a token, but for health and the description of the interface. The service
/// listens on this machine only unless told otherwise, and speaks plain HTTP: where others reach it,
/// TLS has to be put in front. It ends on SIGTERM or Ctrl-C, once what it is doing is done.
#[derive(Args)]
#[command(before_help = examples::FIRST_SERVE, after_help = examples::SERVE)]
pub(super) struct ServeOptions {
    #[command(flatten)]
    pub(super) own: OwnTables,
    #[command(flatten)]
    pub(super) place: StoreAndTarget,
    /// File of the tokens, one a line, readable by its owner only. It is read anew for every request.
    #[arg(long, value_name = "FILE")]
    pub(super) token_file: Option<PathBuf>,
    /// Where to listen, as address:port; port 0 takes a free one [default: 127.0.0.1:8117].
    #[arg(long, value_name = "ADDRESS")]
    pub(super) address: Option<SocketAddr>,
    /// Let other machines reach it; the address has to say so as well.
    #[arg(long)]
    pub(super) open_to_network: bool,
    /// Print a commented configuration with every key and stop.
    #[arg(long, exclusive = true)]
    pub(super) sample: bool,
    /// Print the description of the interface (OpenAPI 3.1, JSON) and stop.
    #[arg(long, exclusive = true)]
    pub(super) openapi: bool,
}

/// What waits for delivery, why and since when.
#[derive(Args)]
#[command(before_help = examples::FIRST_QUEUE, after_help = examples::QUEUE)]
pub(super) struct QueueOptions {
    #[command(flatten)]
    pub(super) place: StoreAndTarget,
    /// Show what was delivered or dropped as well.
    #[arg(long)]
    pub(super) all: bool,
    /// Print as JSON.
    #[arg(long)]
    pub(super) json: bool,
    #[command(flatten)]
    pub(super) only: OnlyItems,
    /// Let a delivery go on at once. A differing family name, a missing birth date and other content
    /// under our identifiers count as confirmed by it; anything else has to be mended first.
    #[arg(long, value_name = "ITEM", requires_all = ["why", "by"], group = "decision")]
    pub(super) release: Option<Uuid>,
    /// Give a delivery up; the session stays kept, and nothing more is sent of it.
    #[arg(long, value_name = "ITEM", requires_all = ["why", "by"], group = "decision")]
    pub(super) drop: Option<Uuid>,
    /// Send nothing to a target any more; what is accepted for it is kept. An attempt that runs right
    /// now is not cut off.
    #[arg(long, value_name = "TARGET", requires_all = ["why", "by"], group = "decision")]
    pub(super) pause: Option<String>,
    /// Let a paused target go on.
    #[arg(long, value_name = "TARGET", requires_all = ["why", "by"], group = "decision")]
    pub(super) resume: Option<String>,
    /// Write a page of a delivery to print, for telling the treating team of it by telephone or in person.
    /// It holds what the session says of the person; only you may read the file.
    #[arg(long, value_name = "ITEM", requires = "out", group = "decision")]
    pub(super) sheet: Option<Uuid>,
    /// Where the page is written, as HTML; a file that is there is not overwritten.
    #[arg(long, value_name = "FILE", requires = "sheet")]
    pub(super) out: Option<PathBuf>,
    #[command(flatten)]
    pub(super) own: OwnTables,
    /// Who decides: kept with the decision, its hash in the trail.
    #[arg(long, value_name = "PERSON")]
    pub(super) by: Option<String>,
    /// Why: kept with the decision, its hash in the trail.
    #[arg(long, value_name = "WORDS")]
    pub(super) why: Option<String>,
}

/// Which deliveries to show.
#[derive(Args)]
pub(super) struct OnlyItems {
    /// Only those in this state: queued, sending, unknown, delivered, refused, waiting or dropped.
    #[arg(long = "only", value_name = "STATE")]
    pub(super) standing: Option<String>,
    /// Only those to this target.
    #[arg(long, value_name = "TARGET")]
    pub(super) target: Option<String>,
    /// Only those of this session.
    #[arg(long, value_name = "SESSION")]
    pub(super) session: Option<Uuid>,
}

/// What will and will not work with a record server, line by line, and what to change.
///
/// Reads the statement of the server and looks for a record that nobody has; no store is opened and
/// nothing is written. "Not said" means that the server does not tell, not that it cannot.
#[derive(Args)]
#[command(before_help = examples::FIRST_TARGET, after_help = examples::TARGET)]
pub(super) struct TargetOptions {
    /// Configuration file (TOML) whose targets are looked at.
    #[arg(
        long,
        value_name = "FILE",
        conflicts_with = "to",
        required_unless_present = "to"
    )]
    pub(super) config: Option<PathBuf>,
    #[command(flatten)]
    pub(super) server: RecordServer,
    /// Print as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// The public keys to register with the authorization servers of targets, as one JSON Web Key Set.
///
/// The private keys are read and not shown. Host what is printed where the authorization server fetches it, or hand
/// it in where it takes a key set; a key without a `key_id` of its own is named by its thumbprint (RFC 7638).
#[derive(Args)]
#[command(before_help = examples::FIRST_PUBLIC_KEYS, after_help = examples::PUBLIC_KEYS)]
pub(super) struct PublicKeysOptions {
    /// Configuration file (TOML): the keys of its targets that sign in by `sign_in = "smart"`.
    #[arg(long, value_name = "FILE", required_unless_present = "keys")]
    pub(super) config: Option<PathBuf>,
    /// Private keys besides, PEM: one that is to come, so that it is known before it signs.
    #[arg(value_name = "KEY")]
    pub(super) keys: Vec<PathBuf>,
}

/// What the store holds; a copy of it while it is in use; its move from a folder into a database; the end of
/// keeping what is no longer needed.
#[derive(Args)]
#[command(before_help = examples::FIRST_STORE, after_help = examples::STORE)]
pub(super) struct StoreOptions {
    /// Configuration file (TOML) that names the state.
    #[arg(long, value_name = "FILE", required_unless_present = "state")]
    pub(super) config: Option<PathBuf>,
    /// Folder that holds the state, or the address of its database.
    #[arg(long, value_name = "DIR", conflicts_with = "config")]
    pub(super) state: Option<String>,
    /// Copy the store of a folder to this new file, as it stands at one moment, readable by its owner
    /// only. It may be in use meanwhile.
    #[arg(long, value_name = "FILE", group = "act")]
    pub(super) backup: Option<PathBuf>,
    /// Move the store of a folder into this empty PostgreSQL database, `postgres://user@host/name`.
    /// Nothing may use the folder meanwhile, and nothing can afterwards; a move that was interrupted is
    /// taken up by saying it again.
    #[arg(long, value_name = "DATABASE", group = "act")]
    pub(super) move_to: Option<String>,
    /// File that holds the password of the database that is moved to, readable by its owner only.
    #[arg(long, value_name = "FILE", requires = "move_to")]
    pub(super) password_file: Option<PathBuf>,
    /// Purge the content of every session that `[retention]` says is kept no longer: documents, records and
    /// what servers said. Hashes, receipts and the trail stay, and precautions that still stand. A running
    /// `fascicle serve` does the same by itself.
    #[arg(long, requires = "config", group = "act")]
    pub(super) purge_due: bool,
    /// List what would be purged, and purge nothing.
    #[arg(long, requires = "purge_due")]
    pub(super) dry_run: bool,
    /// Purge the content of this session, whatever its age, once every delivery of it is done.
    #[arg(long, value_name = "SESSION", requires_all = ["why", "by"], group = "act")]
    pub(super) purge: Option<Uuid>,
    /// Who decides to purge it: kept with the session, its hash in the trail.
    #[arg(long, value_name = "PERSON", requires = "purge")]
    pub(super) by: Option<String>,
    /// Why: kept with the session, its hash in the trail.
    #[arg(long, value_name = "WORDS", requires = "purge")]
    pub(super) why: Option<String>,
    /// Print what the store holds as JSON.
    #[arg(long, conflicts_with = "act")]
    pub(super) json: bool,
}

impl StoreOptions {
    /// Where the state is kept.
    pub(super) fn place(&self) -> StoreAndTarget {
        StoreAndTarget::alone(self.config.as_ref(), self.state.as_ref())
    }
}

/// What happened, in order; and back from one delivered Observation to the captured words.
#[derive(Args)]
#[command(before_help = examples::FIRST_TRAIL, after_help = examples::TRAIL)]
pub(super) struct TrailOptions {
    #[command(flatten)]
    pub(super) own: OwnTables,
    #[command(flatten)]
    pub(super) place: StoreAndTarget,
    /// Only this session.
    #[arg(long, value_name = "SESSION")]
    pub(super) session: Option<Uuid>,
    /// Only rows about this target.
    #[arg(long, value_name = "TARGET")]
    pub(super) target: Option<String>,
    /// Only rows that tell of this event: accepted, queued, sending, unknown, delivered, refused,
    /// waiting, released, dropped, alerted, purged, paused, resumed, breaker-opened or breaker-closed.
    #[arg(long, value_name = "EVENT")]
    pub(super) event: Option<String>,
    /// Write the whole trail to this file, one JSON row a line, readable by its owner only. A file that
    /// is there already is left alone.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["session", "target", "event", "words"])]
    pub(super) export: Option<PathBuf>,
    /// Check that each row follows from the one before, that none is missing at the end, and that
    /// each delivery stands as its last row says. Who can rewrite the whole file can rewrite the
    /// whole trail: note the last hash elsewhere and compare it with --expect.
    #[arg(long)]
    pub(super) verify: bool,
    /// A hash noted earlier that must still be in the trail.
    #[arg(long, value_name = "HASH", requires = "verify")]
    pub(super) expect: Option<String>,
    /// Show what stands behind an Observation: the captured words, what was sent, and the rows of the
    /// tables with their sources. By its urn:uuid, by Observation/id, or by its whole address.
    #[arg(long, value_name = "OBSERVATION")]
    pub(super) words: Option<String>,
    /// Print as JSON: the rows as one list, a row a line; or what --words, --verify and --export tell.
    #[arg(long)]
    pub(super) json: bool,
}

/// The tables: what can be recorded, and whether tables of your own hold.
#[derive(Args)]
#[command(before_help = examples::FIRST_CATALOGUE, after_help = examples::CATALOGUE)]
pub(super) struct CatalogueOptions {
    #[command(subcommand)]
    pub(super) command: CatalogueCommand,
}

#[derive(Subcommand)]
pub(super) enum CatalogueCommand {
    List(ListOptions),
    Check(TablesOptions),
    Worksheet(WorksheetOptions),
    Confirm(ConfirmOptions),
    Pack(PackOptions),
}

/// Every measure with its kind, site, unit or scale, bounds, published codes and source.
#[derive(Args)]
#[command(before_help = examples::FIRST_CATALOGUE_LIST, after_help = examples::CATALOGUE_LIST)]
pub(super) struct ListOptions {
    #[command(flatten)]
    pub(super) own: OwnTables,
    /// Only measures of this kind.
    #[arg(long)]
    pub(super) kind: Option<String>,
    /// Print as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// Every fault of your own tables, laid over ours.
///
/// A table takes the place of ours of the same name. A FHIR R4 concept map in code-map.json is
/// laid over the codes row by row: what it says of one of our concepts in one code system takes the place
/// of what we say there, and the equivalence unmatched retires it.
#[derive(Args)]
#[command(before_help = examples::FIRST_CATALOGUE_CHECK, after_help = examples::CATALOGUE_CHECK)]
pub(super) struct TablesOptions {
    /// Folder laid out like profiles/, with code-map.json beside the tables.
    pub(super) dir: PathBuf,
    /// Print as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// A worksheet for those who build the record: worksheet.csv for a spreadsheet, worksheet.html to read
/// and print.
///
/// Every measure with its meaning, kind, unit, allowed words, codes in the order in which they are
/// sent, codes of its site, an example and its source.
#[derive(Args)]
#[command(before_help = examples::FIRST_CATALOGUE_WORKSHEET, after_help = examples::CATALOGUE_WORKSHEET)]
pub(super) struct WorksheetOptions {
    /// Folder to write to; made when missing.
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
    #[command(flatten)]
    pub(super) own: OwnTables,
}

/// A small FHIR R4 server for trying out and training. It is not a record system.
#[derive(Args)]
#[command(before_help = examples::FIRST_PRACTICE, after_help = examples::PRACTICE)]
pub(super) struct PracticeOptions {
    /// File that holds its resources; in memory when left out.
    #[arg(long, value_name = "FILE")]
    pub(super) file: Option<PathBuf>,
    /// Port on 127.0.0.1; 0 takes a free one.
    #[arg(long, default_value_t = 0)]
    pub(super) port: u16,
    /// Start with the invented people of the demo, so that a first delivery finds its person.
    #[arg(long)]
    pub(super) with_people: bool,
}

/// Completions for a shell, to be read by it.
#[derive(Args)]
#[command(before_help = examples::FIRST_COMPLETIONS, after_help = examples::COMPLETIONS)]
pub(super) struct CompletionsOptions {
    /// The shell.
    pub(super) shell: clap_complete::Shell,
}

/// The manual pages, one for each command.
#[derive(Args)]
#[command(before_help = examples::FIRST_MANUAL, after_help = examples::MANUAL)]
pub(super) struct ManualOptions {
    /// Folder to write them to; made when missing.
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
}
