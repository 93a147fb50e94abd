//! `encode` and `check`: documents in, Bundles or problems out, no server and no store.
use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::{Problem, Problems, file_words};
use crate::examination::intake::sheet::columns;
use crate::examination::intake::sheet::write::holds;
use crate::examination::trace::traced::Traced;
use crate::service::app::assess::Earlier;
use crate::service::app::given::Given;
use crate::service::cli::arguments::{CheckOptions, EncodeOptions};
use crate::service::cli::before::{Before, Out};
use crate::service::cli::earlier::Source;
use crate::service::cli::files::{utf8, with_files};
use crate::service::cli::lines::{Form, ProblemWriter};
use crate::service::cli::report::Refused;
use crate::service::cli::sessions::{Beside, Sessions, is_sheet, unread};
use crate::service::cli::tables::tables;
use crate::service::cli::written::As;
use crate::service::cli::{Ended, before, earlier, lines, screen};
use crate::tables::catalogue::Catalogue;
use anyhow::Context;
use chrono::{DateTime, Utc};
use std::io::{self, Write};
use std::path::Path;

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
    earlier::files(
        &options.comparing.with,
        &mut refused,
        &beside,
        &mut before,
        &catalogue,
        now,
    )?;
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
            one.encode(session, &mut made, &mut refused, &mut before)
                .await?;
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
        made: &mut Made<'_>,
        refused: &mut Refused,
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
    let mut told = ProblemWriter::new(&mut out, options.json);
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
    told: &mut ProblemWriter<'_>,
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
