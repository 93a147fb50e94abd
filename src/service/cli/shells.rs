//! `completions` and `manual`: what a shell and `man` have to know of the command line.

use crate::base::problem::file_words;
use crate::service::cli::Ended;
use crate::service::cli::arguments::{Arguments, CompletionsOptions, ManualOptions};
use crate::service::cli::report::Mistake;
use crate::service::cli::screen;
use clap::CommandFactory as _;
use std::io::{self, Write as _};

const NAME: &str = "fascicle";

pub(super) fn completions(options: &CompletionsOptions) -> anyhow::Result<Ended> {
    let mut script = Vec::new();
    clap_complete::generate(options.shell, &mut Arguments::command(), NAME, &mut script);
    io::stdout().write_all(&script)?;
    Ok(Ended::Done)
}

pub(super) fn manual(options: &ManualOptions) -> anyhow::Result<Ended> {
    let unusable = |cause: io::Error| {
        let words = file_words(cause.kind());
        Mistake(format!("the folder to write to: {words}"))
    };
    std::fs::create_dir_all(&options.out).map_err(unusable)?;
    clap_mangen::generate_to(Arguments::command(), &options.out).map_err(unusable)?;
    let mut out = screen::screen();
    writeln!(out, "{}", options.out.join("fascicle.1").display())?;
    Ok(Ended::Done)
}
