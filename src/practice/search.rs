//! Searches: from the text of a query to the resources it finds.
//!
//! Owns: reading search parameters as R4 defines them. In: the part after the `?`.
//! Out: a [`Search`], and the numbers of what it finds. Never: ignores a parameter it cannot obey.

use crate::practice::kind::{Comparing, Kind};
use crate::practice::outcome::Fault;
use crate::practice::question::{Comparator, Link, Match, Token};
use crate::practice::reference::{Aim, aim};
use crate::practice::span::Span;
use crate::practice::store;
use reqwest::Url;
use sqlx::SqliteConnection;
use std::collections::BTreeSet;

/// How many resources a page holds where the client does not say.
const PAGE: usize = 100;
/// How many it holds at most.
const LARGEST_PAGE: usize = 1_000;

/// A query that was understood.
#[derive(Debug)]
pub(super) struct Search {
    kind: Kind,
    /// All of these, each by one of its conditions.
    criteria: Vec<Vec<Match>>,
    /// How many resources a page holds.
    pub(super) count: usize,
    /// The number of the last resource of the page before.
    pub(super) after: i64,
    /// The parameters as sent, without those of paging.
    pub(super) sent: Vec<(String, String)>,
}

impl Search {
    /// Reads a query; `base` is the address of this server.
    pub(super) fn parse(kind: Kind, query: &str, base: &str) -> Result<Self, Fault> {
        let mut url = Url::parse("http://localhost/").map_err(|cause| unread(&cause))?;
        url.set_query(Some(query));
        let mut search = Self {
            kind,
            criteria: Vec::new(),
            count: PAGE,
            after: 0,
            sent: Vec::new(),
        };
        for (name, value) in url.query_pairs() {
            search.take(&name, &value, base)?;
        }
        Ok(search)
    }

    /// Reads the condition of a conditional create.
    pub(super) fn condition(kind: Kind, query: &str, base: &str) -> Result<Self, Fault> {
        let search = Self::parse(kind, query.trim_start_matches('?'), base)?;
        if search.criteria.is_empty() {
            return Err(Fault::malformed("the condition names no search parameter"));
        }
        Ok(search)
    }

    /// What makes two conditions the same: type and parameters, in any order.
    pub(super) fn identity(&self) -> (Kind, BTreeSet<(String, String)>) {
        (self.kind, self.sent.iter().cloned().collect())
    }

    /// The numbers of everything found, in the order it was made.
    pub(super) async fn run(&self, connection: &mut SqliteConnection) -> Result<Vec<i64>, Fault> {
        // What can find the fewest is asked first, and the others only about what it found.
        let mut criteria: Vec<&Vec<Match>> = self.criteria.iter().collect();
        criteria.sort_by_key(|any_of| any_of.iter().map(Match::breadth).max());
        let Some((first, others)) = criteria.split_first() else {
            return Ok(store::every(connection, self.kind).await?);
        };
        let mut found = BTreeSet::new();
        for wanted in *first {
            found.extend(store::matching(connection, self.kind, wanted).await?);
        }
        for any_of in others {
            let mut still = BTreeSet::new();
            for wanted in *any_of {
                still.extend(store::among(connection, &found, wanted).await?);
            }
            found = still;
        }
        Ok(found.into_iter().collect())
    }

    fn take(&mut self, name: &str, value: &str, base: &str) -> Result<(), Fault> {
        match name {
            "_count" => {
                let count: usize = number(name, value)?;
                self.count = count.min(LARGEST_PAGE);
                return Ok(());
            }
            "_after" => {
                self.after = number(name, value)?;
                return Ok(());
            }
            "_format" if matches!(value, "json" | "application/json" | "application/fhir+json") => {
                return Ok(());
            }
            _ => {}
        }
        let alternatives = split(value, ',');
        let any_of = if name == "_id" {
            let ids = alternatives.iter().map(|id| Ok(Match::Id(unescape(id))));
            ids.collect::<Result<Vec<_>, Fault>>()?
        } else {
            let searches = self.kind.searches();
            let &(parameter, comparing) = searches
                .iter()
                .find(|(known, _)| *known == name)
                .ok_or_else(|| unknown(self.kind, name))?;
            let matches = alternatives
                .iter()
                .map(|text| read(parameter, comparing, text, base));
            matches.collect::<Result<Vec<_>, Fault>>()?
        };
        self.criteria.push(any_of);
        self.sent.push((name.to_owned(), value.to_owned()));
        Ok(())
    }
}

fn read(
    parameter: &'static str,
    comparing: Comparing,
    text: &str,
    base: &str,
) -> Result<Match, Fault> {
    let wrong = |form: &str| Fault::malformed(format!("{parameter}: expected {form}"));
    match comparing {
        Comparing::Token => {
            let parts: Vec<String> = split(text, '|').iter().map(|part| unescape(part)).collect();
            let (system, code) = match parts.as_slice() {
                [code] => (None, Some(code)),
                [system, code] => (Some(system), Some(code).filter(|code| !code.is_empty())),
                _ => return Err(wrong("[system]|[value]")),
            };
            if system.is_none_or(String::is_empty) && code.is_none_or(String::is_empty) {
                return Err(wrong("[system]|[value], not both empty"));
            }
            let (system, code) = (system.cloned(), code.cloned());
            Ok(Match::Token(Token {
                parameter,
                system,
                code,
            }))
        }
        Comparing::Reference => {
            let text = unescape(text);
            let (kind, id) = match aim(&text, base) {
                Aim::Here(kind, id) => (Some(kind), id),
                _ if !text.is_empty() && !text.contains(['/', ':', '?', '#']) => (None, text),
                Aim::Nowhere | Aim::Placeholder | Aim::Conditional | Aim::Elsewhere => {
                    return Err(wrong("[type]/[id] or [id]"));
                }
            };
            Ok(Match::Link(Link {
                parameter,
                kind,
                id,
            }))
        }
        Comparing::Date => {
            let (how, rest) = prefix(text);
            let span = Span::searched(rest);
            let span = span.ok_or_else(|| wrong("a date, with eq, ge, gt, le, lt, sa, eb or none"));
            Ok(Match::Date(parameter, how, span?))
        }
    }
}

fn prefix(text: &str) -> (Comparator, &str) {
    let known = [
        ("eq", Comparator::Equal),
        ("ge", Comparator::GreaterOrEqual),
        ("gt", Comparator::Greater),
        ("le", Comparator::LessOrEqual),
        ("lt", Comparator::Less),
        ("sa", Comparator::StartsAfter),
        ("eb", Comparator::EndsBefore),
    ];
    let mut prefixes = known.into_iter();
    prefixes
        .find_map(|(prefix, how)| text.strip_prefix(prefix).map(|rest| (how, rest)))
        .unwrap_or((Comparator::Equal, text))
}

/// Splits at a separator that no backslash stands before.
///
/// FHIR R4 (4.0.1), search.html#escaping: `$`, `,` and `|` that are part of a value stand behind a
/// backslash.
fn split(text: &str, separator: char) -> Vec<String> {
    let (mut parts, mut part, mut escaped) = (Vec::new(), String::new(), false);
    for letter in text.chars() {
        if letter == separator && !escaped {
            parts.push(std::mem::take(&mut part));
            continue;
        }
        escaped = letter == '\\' && !escaped;
        part.push(letter);
    }
    parts.push(part);
    parts
}

fn unescape(text: &str) -> String {
    let mut escaped = false;
    text.chars()
        .filter(|&letter| {
            escaped = letter == '\\' && !escaped;
            !escaped
        })
        .collect()
}

fn number<N: std::str::FromStr>(name: &str, value: &str) -> Result<N, Fault> {
    let number = value.parse().ok();
    number.ok_or_else(|| Fault::malformed(format!("{name}: expected a whole number")))
}

fn unread(cause: &impl std::fmt::Display) -> Fault {
    Fault::malformed(format!("not a query: {cause}"))
}

/// A parameter may hold anything, so only one that looks like a name is repeated.
fn unknown(kind: Kind, name: &str) -> Fault {
    let plain = |letter: char| letter.is_ascii_alphabetic() || "_-:.".contains(letter);
    let name = if name.len() <= 40 && name.chars().all(plain) {
        name
    } else {
        "a parameter"
    };
    let known: Vec<_> = kind.searches().iter().map(|(name, _)| *name).collect();
    let (kind, known) = (kind.name(), known.join(", "));
    let rule = format!("{kind} is not searched by {name}; by _id, {known}, _count");
    Fault::new(axum::http::StatusCode::BAD_REQUEST, "not-supported", rule)
}

#[cfg(test)]
mod tests {
    use super::{Kind, Match, Search, split, unescape};

    fn parse(query: &str) -> Result<Vec<Vec<Match>>, u16> {
        let search = Search::parse(Kind::Observation, query, "http://localhost/fhir");
        search
            .map(|search| search.criteria)
            .map_err(|fault| fault.status.as_u16())
    }

    #[test]
    fn a_comma_is_or_and_a_repeated_parameter_is_and() {
        let criteria = parse("code=a%7Cb,c&code=d&identifier=%7Ce").expect("a query");

        let counts: Vec<usize> = criteria.iter().map(Vec::len).collect();
        assert_eq!(counts, [2, 1, 1]);
    }

    #[test]
    fn what_cannot_be_obeyed_is_refused() {
        for query in [
            "_sort=date",
            "status=final",
            "patient:missing=true",
            "date=soon",
            "date=ap2026",
            "date=2026-02-01T10:00:00+01:00",
            "code=",
            "code=%7C",
            "subject=Location/1",
            "_count=many",
        ] {
            assert_eq!(parse(query), Err(400), "{query}");
        }
    }

    #[test]
    fn a_backslash_keeps_a_separator() {
        assert_eq!(split(r"a\,b,c\\,d", ','), [r"a\,b", r"c\\", "d"]);
        assert_eq!(unescape(r"a\,b\\c\|"), r"a,b\c|");
    }
}
