//! `encode` and `check`: documents in, Bundles or problems out, no server and no store.
use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::{Problem, Problems, file_words};
use crate::examination::intake::sheet::columns;
use crate::examination::intake::sheet::write::holds;
use crate::examination::intake::{MOST_BYTES, trace_csv};
use crate::examination::trace::session::Traced;
use crate::service::app::beside;
use crate::service::app::encode::Earlier;
use crate::service::app::given::Given;
use crate::service::app::tables::load;
use crate::service::cli::arguments::{CheckOptions, EncodeOptions};
use crate::service::cli::before::{Before, Out};
use crate::service::cli::earlier::Source;
use crate::service::cli::lines::{Form, Told};
use crate::service::cli::report::{Mistake, Refused};
use crate::service::cli::sessions::{Beside, Sessions, is_sheet, unread};
use crate::service::cli::written::As;
use crate::service::cli::{Ended, before, earlier, lines, screen};
use crate::tables::catalogue::Catalogue;
use anyhow::Context;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;
use std::sync::OnceLock;

/// The tables of the binary, with those of a folder laid over them where one is named,
/// and the tables of published ranges that are used.
pub(super) fn tables(own: Option<&Path>, reference: &[String]) -> anyhow::Result<Catalogue> {
    let loaded = load(own).map_err(|bad| match own {
        Some(_) => anyhow::Error::from(Mistake(bad.to_string())),
        None => bad.into(),
    });
    let mut catalogue = loaded?;
    catalogue
        .use_reference_tables(reference)
        .map_err(|unknown| {
            let known: BTreeSet<&str> = catalogue
                .reference_ranges
                .iter()
                .map(|row| row.table.as_str())
                .collect();
            let known: Vec<&str> = known.into_iter().collect();
            Mistake(format!(
                "no table of published ranges is named {}; there are {}",
                unknown.join(", "),
                known.join(", ")
            ))
        })?;
    Ok(catalogue)
}

/// Reads a file whole; the error says which by `what`, because a file name may carry a person's name
/// and this error goes to standard error.
pub(super) fn read(path: &Path, what: &str) -> anyhow::Result<String> {
    Ok(text(path).map_err(|words| Mistake(format!("{what}: {words}")))?)
}

/// Reads a file whole, or standard input where the path is `-`; the error is in words.
pub(super) fn text(path: &Path) -> Result<String, String> {
    static STANDARD_INPUT: OnceLock<Result<String, String>> = OnceLock::new();
    if path.as_os_str() == STDIN {
        // It can be read once, and `encode` looks at every file twice.
        let read = || whole(Ok(io::stdin().lock()));
        return STANDARD_INPUT.get_or_init(read).clone();
    }
    whole(File::open(path))
}

/// The name that stands for standard input.
pub(super) const STDIN: &str = "-";

fn whole(file: io::Result<impl Read>) -> Result<String, String> {
    let mut bytes = Vec::new();
    // One byte more than a document may have, so that no file fills memory.
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    let read = file.and_then(|file| file.take(most.saturating_add(1)).read_to_end(&mut bytes));
    read.map_err(|cause| file_words(cause.kind()))?;
    if bytes.len() > MOST_BYTES {
        return Err("the file is longer than 8 MiB".to_owned());
    }
    utf8(bytes)
}

fn utf8(bytes: Vec<u8>) -> Result<String, String> {
    String::from_utf8(bytes).map_err(|_bytes| "the file is not UTF-8".to_owned())
}

const NOTHING: &str = "nothing was encoded";

pub(super) async fn encode(options: &EncodeOptions, now: DateTime<Utc>) -> anyhow::Result<Ended> {
    let catalogue = tables(options.own.tables.as_deref(), &options.own.reference_tables)?;
    let beside = Beside::read(options.beside.session.as_ref())?;
    let mut before = Before::default();
    let mut form = As::of(options, &catalogue)?;
    let count = announce(options, &beside, &mut before, &mut form)?;
    if count > 1 && matches!(form, As::Bundle { .. }) {
        writeln!(
            screen::screen(),
            "several sessions become several Bundles: add --ndjson"
        )?;
        return Ok(Ended::Problems);
    }
    let mut refused = Refused::new(options.comparing.json);
    let with = (&options.comparing.with, &mut refused);
    earlier::files(with, &beside, &mut before, &catalogue, now)?;
    if !refused.is_empty() {
        return Ok(refused.nothing(NOTHING)?);
    }
    let source = Source::of(&options.comparing.with).await?;
    let mut made = Made {
        out: Out::to(options.out.as_deref())?,
        plots: Plots(options.plots.is_some().then(Vec::new)),
        form,
    };
    let head = made.form.head()?;
    made.out.add(&head)?;
    for path in &options.files {
        let name = path.display().to_string();
        let mut sessions = Sessions::of(path, &beside);
        while let Some(session) = sessions.next() {
            let one = One {
                name: &name,
                source: &source,
                catalogue: &catalogue,
                now,
            };
            let into = (&mut made, &mut refused);
            one.encode(session, into, &mut before).await?;
        }
    }
    if !refused.is_empty() {
        made.out.give_up()?;
        return Ok(refused.nothing(NOTHING)?);
    }
    made.out.add(made.form.foot())?;
    made.out.finish()?;
    if let Some(folder) = &options.plots {
        made.plots
            .draw(folder)
            .context("the plots cannot be written")?;
    }
    Ok(Ended::Done)
}

/// Looks through all sessions before any is encoded: how many there are to write, and what of them
/// has to be known beforehand.
fn announce(
    options: &EncodeOptions,
    beside: &Beside,
    before: &mut Before,
    form: &mut As<'_>,
) -> anyhow::Result<u64> {
    let mut count: u64 = 0;
    for path in &options.comparing.with.earlier {
        let mut sessions = Sessions::of(path, beside);
        while let Some(Ok(given)) = sessions.next() {
            before.announce(&given.text);
        }
    }
    for path in &options.files {
        let mut sessions = Sessions::of(path, beside);
        // What does not read is told when it is its turn.
        while let Some(Ok(given)) = sessions.next() {
            before.announce(&given.text);
            form.announce(&given.text)?;
            count = count.saturating_add(1);
        }
    }
    Ok(count)
}

/// A document with the files its traces name, which lie beside it.
pub(super) fn with_files(text: String, path: &Path) -> Given {
    let folder = path.parent().unwrap_or(Path::new(""));
    let read = |name: &str| read_beside(&folder.join(name));
    Given::with_files(beside::inlined(text, read))
}

fn read_beside(path: &Path) -> Result<String, String> {
    let mut bytes = Vec::new();
    let most = u64::try_from(trace_csv::MOST_BYTES).unwrap_or(u64::MAX);
    let file = open_beside(path)?;
    let read = file.take(most.saturating_add(1)).read_to_end(&mut bytes);
    read.map_err(|cause| file_words(cause.kind()))?;
    if bytes.len() > trace_csv::MOST_BYTES {
        return Err("the file is longer than the recording of a stretch".to_owned());
    }
    String::from_utf8(bytes).map_err(|_bytes| "the file is not UTF-8".to_owned())
}

/// Opens an ordinary file: no link is followed, because a document from elsewhere could lead out of its
/// folder by one, and nothing is waited for, as opening a pipe would.
fn open_beside(path: &Path) -> Result<File, String> {
    let mut options = File::options();
    options.read(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.custom_flags(libc::O_NOFOLLOW | libc::O_NONBLOCK);
    }
    let opened = options.open(path);
    let named = std::fs::symlink_metadata(path);
    if named.is_ok_and(|named| named.is_symlink()) {
        return Err("it is a link: put the file itself beside the document".to_owned());
    }
    let file = opened.map_err(|cause| file_words(cause.kind()))?;
    let what = file.metadata().map_err(|cause| file_words(cause.kind()))?;
    if what.is_dir() {
        return Err("it is a folder".to_owned());
    }
    if !what.is_file() {
        return Err("it is no ordinary file but a device or a pipe".to_owned());
    }
    Ok(file)
}

/// The pictures of traces, where they were asked for; drawn once everything holds.
struct Plots(Option<Vec<(String, String)>>);

impl Plots {
    /// The name of a picture says nothing of the person.
    fn add(&mut self, traced: &[Traced]) {
        if let Some(plots) = &mut self.0 {
            plots.extend(traced.iter().map(|one| {
                let name = format!("{}.svg", one.source.trace.id);
                (name, crate::examination::trace::plot::svg(one))
            }));
        }
    }

    fn draw(&self, folder: &Path) -> anyhow::Result<()> {
        std::fs::create_dir_all(folder)?;
        for (name, svg) in self.0.iter().flatten() {
            before::private(&folder.join(name))?.write_all(svg.as_bytes())?;
        }
        Ok(())
    }
}

/// What is made of the sessions.
struct Made<'a> {
    form: As<'a>,
    out: Out,
    plots: Plots,
}

/// One session on its way to what is written.
struct One<'a> {
    name: &'a str,
    source: &'a Source,
    catalogue: &'a Catalogue,
    now: DateTime<Utc>,
}

impl One<'_> {
    async fn encode(
        &self,
        session: Result<Given, Vec<Problem>>,
        (made, refused): (&mut Made<'_>, &mut Refused),
        before: &mut Before,
    ) -> anyhow::Result<()> {
        let given = match session {
            Ok(given) => given,
            Err(problems) => return Ok(refused.add(self.name, &problems, None)?),
        };
        let rows = given.rows.as_ref();
        let mut earlier = before.of(&given.text);
        let text = &given.text;
        self.source.add(&mut earlier, text, self.catalogue).await?;
        match given.encode(&earlier, self.catalogue, self.now) {
            Ok(encoded) if before.lacks_what_is_corrected_by(&encoded.session) => {
                refused.add(self.name, &half_a_correction(), rows)?;
            }
            Ok(encoded) => {
                let text = made.form.text(self.name, &encoded)?;
                made.out
                    .add(&text)
                    .context("the output cannot be written")?;
                made.plots.add(&encoded.traces.each);
                before.add(encoded);
            }
            Err(held) => refused.add(self.name, &held.problems, rows)?,
        }
        Ok(())
    }
}

fn half_a_correction() -> Vec<Problem> {
    let mut problems = Problems::new();
    problems.error(
        Code::EncodeCorrection,
        "/session/version",
        "a later version alone does not say what it corrects".to_owned(),
        "name the versions before it first on the same command line, or use send",
    );
    problems.sorted()
}

pub(super) fn check(options: &CheckOptions, now: DateTime<Utc>) -> anyhow::Result<Ended> {
    let mut out = screen::words_or_json(options.json || options.schema);
    if options.schema {
        let schema =
            serde_json::to_string_pretty(&crate::examination::intake::forms::document_schema())?;
        writeln!(out, "{schema}")?;
        return Ok(Ended::Done);
    }
    if options.columns {
        print_columns(&mut out)?;
        return Ok(Ended::Done);
    }
    let catalogue = tables(options.own.tables.as_deref(), &options.own.reference_tables)?;
    let beside = Beside::read(options.beside.session.as_ref())?;
    let mut told = Told::new(&mut out, options.json);
    for path in &options.files {
        told.document(path.display().to_string())?;
        if is_sheet(path) {
            let mut sessions = Sessions::of(path, &beside);
            while let Some(session) = sessions.next() {
                check_session(session, &catalogue, now, &mut told)?;
            }
            told.close()?;
            continue;
        }
        match lines::open(path) {
            Err(cause) => told.add(&unread(file_words(cause.kind())), None)?,
            Ok(Form::Lines(each)) => lines::each(each, &catalogue, &mut told)?,
            Ok(Form::Document(bytes)) => {
                let problems = match utf8(bytes) {
                    Ok(text) => problems_of(text, path, &catalogue, now),
                    Err(words) => unread(words),
                };
                told.add(&problems, None)?;
            }
            Ok(Form::TooLarge) => {
                let mut problems = Problems::new();
                lines::too_large(&mut problems);
                told.add(&problems.sorted(), None)?;
            }
        }
        told.close()?;
    }
    Ok(told.end()?)
}

fn check_session(
    session: Result<Given, Vec<Problem>>,
    catalogue: &Catalogue,
    now: DateTime<Utc>,
    told: &mut Told<'_>,
) -> io::Result<()> {
    let given = match session {
        Ok(given) => given,
        Err(problems) => return told.add(&problems, None),
    };
    let problems = match given.encode(&Earlier::default(), catalogue, now) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    };
    told.add(&problems, given.rows.as_ref())
}

/// FHIR JSON is told from a session document by its resourceType.
fn problems_of(
    text: String,
    path: &Path,
    catalogue: &Catalogue,
    now: DateTime<Utc>,
) -> Vec<Problem> {
    if let Ok(node) = Node::parse(&text)
        && node.member("resourceType").is_some()
    {
        let mut problems = Problems::new();
        crate::examination::intake::mark_problem(&text, &mut problems);
        crate::fhir::check::resource(&node, catalogue, &mut problems);
        return problems.sorted();
    }
    match with_files(text, path).encode(&Earlier::default(), catalogue, now) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    }
}

/// The columns a sheet may have, with what each holds and means.
fn print_columns(out: &mut dyn Write) -> io::Result<()> {
    for (name, meaning) in columns::all() {
        let first = format!("{name:<46} {:<13} ", holds(&name));
        screen::wrapped(out, &first, &meaning)?;
    }
    Ok(())
}
