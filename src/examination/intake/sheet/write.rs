//! Session documents as a sheet: what is read from it again says the same.

use crate::base::json::Node;
use crate::examination::intake::sheet::cells::guarded;
use crate::examination::intake::sheet::columns::{Column, Kind, all, named};
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::io;
use std::sync::LazyLock;

/// The columns that documents use, in the order of the document.
#[derive(Debug, Clone, Default)]
pub struct Columns(BTreeMap<Vec<usize>, Column>);

impl Columns {
    /// Adds the columns of one document.
    ///
    /// # Errors
    /// The name of a field that no column has: an item of a list beyond the last that has one.
    pub fn add(&mut self, document: &Node) -> Result<(), String> {
        for (field, value) in document.members() {
            if field == "findings" {
                for finding in value.items() {
                    self.below(finding, String::new())?;
                }
            } else {
                self.below(value, field.clone().into_owned())?;
            }
        }
        Ok(())
    }

    fn below(&mut self, node: &Node, name: String) -> Result<(), String> {
        let under = |step: &str| match name.as_str() {
            "" => step.to_owned(),
            name => format!("{name}.{step}"),
        };
        match node {
            Node::Object(members) => members
                .iter()
                .try_for_each(|(key, member)| self.below(member, under(key))),
            Node::List(items) => (1_usize..)
                .zip(items)
                .try_for_each(|(number, item)| self.below(item, under(&number.to_string()))),
            Node::Null => Ok(()),
            Node::Bool(_) | Node::Number(_) | Node::Text(_) => {
                if let Entry::Vacant(free) = self.0.entry(place(&name)) {
                    free.insert(named(&name).ok_or(name)?);
                }
                Ok(())
            }
        }
    }
}

/// Where a column stands: the place of each of its names in the document, and the number of each item.
fn place(name: &str) -> Vec<usize> {
    static ORDER: LazyLock<Vec<String>> =
        LazyLock::new(|| all().into_iter().map(|(name, _)| name).collect());
    let mut place = Vec::new();
    let mut template = String::new();
    for step in name.split('.') {
        if !template.is_empty() {
            template.push('.');
        }
        if let Ok(number) = step.parse::<usize>() {
            template.push('1');
            place.push(number);
        } else {
            template.push_str(step);
            let below = format!("{template}.");
            let found = ORDER
                .iter()
                .position(|one| *one == template || one.starts_with(&below));
            place.push(found.unwrap_or(usize::MAX));
        }
    }
    place
}

/// Documents as rows, under one header.
pub struct Writer(Vec<Column>);

impl std::fmt::Debug for Writer {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "Writer of {} columns", self.0.len())
    }
}

impl Writer {
    /// Takes the columns.
    pub fn new(columns: Columns) -> Self {
        Self(columns.0.into_values().collect())
    }

    /// The header.
    ///
    /// # Errors
    /// None that a text in memory gives.
    pub fn header(&self) -> io::Result<String> {
        let names = self.0.iter().map(|column| column.name.clone()).collect();
        text_of([names])
    }

    /// The findings of one document, one a row.
    ///
    /// # Errors
    /// None that a text in memory gives.
    pub fn rows(&self, document: &Node) -> io::Result<String> {
        let rows = document.items_of("findings").iter().map(|finding| {
            let cells = self.0.iter().map(|column| {
                let from = if column.of_session { document } else { finding };
                column.find(from).map(cell).unwrap_or_default()
            });
            cells.collect()
        });
        text_of(rows)
    }
}

fn text_of(rows: impl IntoIterator<Item = Vec<String>>) -> io::Result<String> {
    // "Each record is located on a separate line, delimited by a line break (CRLF)" (RFC 4180,
    // section 2.1).
    let mut out = csv::WriterBuilder::new()
        .quote_style(csv::QuoteStyle::Always)
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    for row in rows {
        out.write_record(row)?;
    }
    let bytes = out.into_inner();
    let bytes = bytes.map_err(|cause| io::Error::from(cause.error().kind()))?;
    String::from_utf8(bytes).map_err(io::Error::other)
}

fn cell(node: &Node) -> String {
    match node {
        Node::Text(said) => guarded(said),
        Node::Number(digits) => guarded(digits),
        Node::Bool(truth) => truth.to_string(),
        Node::Null | Node::List(_) | Node::Object(_) => String::new(),
    }
}

/// What the cells of a column hold, in a word.
pub fn holds(name: &str) -> &'static str {
    match named(name).map(|column| column.kind) {
        Some(Kind::Words) => "words",
        Some(Kind::Day) => "day or time",
        Some(Kind::Whole) => "whole number",
        Some(Kind::Truth) => "true or false",
        Some(Kind::Text) | None => "text",
    }
}
