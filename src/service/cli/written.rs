//! As what `encode` writes a session.

use crate::base::json::Node;
use crate::examination::intake::sheet::write::{Columns, Writer};
use crate::examination::measure::notation;
use crate::fhir::record::without_report;
use crate::service::app::encode::Encoded;
use crate::service::cli::arguments::EncodeOptions;
use crate::service::cli::compared;
use crate::service::cli::report::Mistake;
use crate::tables::catalogue::Catalogue;

/// As what a session is written.
pub(super) enum As<'a> {
    /// One readable Bundle.
    Bundle { report: bool },
    /// One Bundle a line.
    Lines { report: bool },
    /// Rows of a sheet, with the columns the sessions use.
    Rows(Columns, Option<Writer>),
    /// The planes in three numbers, in an order of the tables.
    Planes(&'a str, &'a Catalogue),
    /// What was compared, each with the row it used.
    Compared { catalogue: &'a Catalogue },
    /// The same for a program, as one list; whether it has begun.
    ComparedJson {
        catalogue: &'a Catalogue,
        begun: bool,
    },
}

impl<'a> As<'a> {
    pub(super) fn of(options: &'a EncodeOptions, catalogue: &'a Catalogue) -> anyhow::Result<Self> {
        if let Some(order) = &options.notation {
            let known = notation::orders(catalogue);
            if !known.contains(&order.as_str()) {
                let what = format!("{order} is no order; orders are {}", known.join(", "));
                return Err(Mistake(what).into());
            }
            return Ok(Self::Planes(order, catalogue));
        }
        if options.comparing.compare {
            return Ok(if options.comparing.json {
                Self::ComparedJson {
                    catalogue,
                    begun: false,
                }
            } else {
                Self::Compared { catalogue }
            });
        }
        let report = options.report;
        Ok(if options.csv {
            Self::Rows(Columns::default(), None)
        } else if options.ndjson {
            Self::Lines { report }
        } else {
            Self::Bundle { report }
        })
    }

    pub(super) fn announce(&mut self, text: &str) -> anyhow::Result<()> {
        if let (Self::Rows(columns, _), Ok(node)) = (self, Node::parse(text)) {
            columns.add(&node).map_err(|field| {
                let what = format!("{field}: no sheet has this column; encode without --csv");
                Mistake(what)
            })?;
        }
        Ok(())
    }

    /// What is written before any session.
    pub(super) fn head(&mut self) -> anyhow::Result<String> {
        let Self::Rows(columns, writer) = self else {
            return Ok(String::new());
        };
        let made = Writer::new(std::mem::take(columns));
        let header = made.header()?;
        *writer = Some(made);
        Ok(header)
    }

    /// What is written after all sessions.
    pub(super) const fn foot(&self) -> &'static str {
        match self {
            Self::ComparedJson { begun: true, .. } => "\n]\n",
            Self::ComparedJson { begun: false, .. } => "[]\n",
            Self::Bundle { .. }
            | Self::Lines { .. }
            | Self::Rows(..)
            | Self::Planes(..)
            | Self::Compared { .. } => "",
        }
    }

    pub(super) fn text(&mut self, name: &str, encoded: &Encoded) -> anyhow::Result<String> {
        let record = encoded.checked.record();
        Ok(match self {
            Self::Bundle { report: true } => record.bundle().pretty(),
            Self::Bundle { report: false } => without_report(&record.bundle()).pretty(),
            Self::Lines { report: true } => record.text() + "\n",
            Self::Lines { report: false } => record.text_without_report() + "\n",
            Self::Rows(_, writer) => {
                let (Some(writer), Ok(node)) = (writer, Node::parse(&encoded.canonical)) else {
                    return Ok(String::new());
                };
                writer.rows(&node)?
            }
            Self::ComparedJson { catalogue, begun } => {
                let before = if *begun { ",\n" } else { "[\n" };
                *begun = true;
                format!(
                    "{before}{}",
                    compared::json(name, encoded, catalogue).compact()
                )
            }
            Self::Compared { catalogue } => {
                let mut text = format!("{name}:\n").into_bytes();
                compared::print(&mut text, encoded, catalogue)?;
                String::from_utf8(text)?
            }
            Self::Planes(order, catalogue) => {
                let planes = notation::planes(&encoded.measured, order, catalogue);
                planes.iter().fold(String::new(), |mut text, plane| {
                    text.extend([&plane.to_string(), "\n"]);
                    text
                })
            }
        })
    }
}
