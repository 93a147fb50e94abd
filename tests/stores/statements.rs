#![cfg(test)]
//! Every SQL statement of the sources, read from their tokens, so that none can be forgotten.
//!
//! A statement is a literal that begins with the comment that names it, whole or joined by `concat!`
//! and macros of texts. A literal that is SQL and has no name, and a call that is given anything but
//! a literal, are told to whoever asks.
#![expect(clippy::disallowed_methods, reason = "the sources are files")]

use proc_macro2::{Delimiter, Group, TokenStream, TokenTree};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// To which engine a statement is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum To {
    Both,
    Sqlite,
    Postgres,
}

/// One statement.
#[derive(Debug, Clone)]
pub(crate) struct Statement {
    pub(crate) to: To,
    pub(crate) sql: String,
}

/// What a room says to its database.
#[derive(Debug, Default)]
pub(crate) struct Statements {
    pub(crate) all: Vec<Statement>,
    /// Calls whose statement is no literal, as `file: call(argument`.
    pub(crate) made: Vec<String>,
    /// Literals that are SQL and have no name.
    pub(crate) nameless: Vec<String>,
}

const CALLS: [&str; 6] = [
    "query",
    "query_as",
    "query_each",
    "query_rows",
    "query_scalar",
    "raw_sql",
];

/// What a statement with a plan begins with.
pub(crate) const VERBS: [&str; 6] = [
    "SELECT ", "INSERT ", "UPDATE ", "DELETE ", "WITH ", "REPLACE ",
];

impl Statement {
    /// The name it begins with.
    pub(crate) fn name(&self) -> &str {
        let first = self.sql.lines().next().unwrap_or_default();
        first.trim_start_matches("-- ").trim()
    }
}

/// The statements of a folder of `src`.
pub(crate) fn of(folder: &str) -> Statements {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("src")
        .join(folder);
    let mut files = Vec::new();
    gather(&root, &mut files);
    files.sort();
    let read = |path: &PathBuf| -> TokenStream {
        let text = fs::read_to_string(path).expect("text");
        text.parse().expect("tokens")
    };
    let parsed: Vec<(String, TokenStream)> = files
        .iter()
        .map(|path| {
            let name = path.strip_prefix(&root).expect("below").display();
            (name.to_string(), read(path))
        })
        .collect();
    let mut reader = Reader {
        macros: BTreeMap::new(),
        file: String::new(),
        found: Statements::default(),
    };
    for (_, tokens) in &parsed {
        reader.learn(tokens.clone());
    }
    for (file, tokens) in parsed {
        let to = match file.as_str() {
            "sqlite.rs" => To::Sqlite,
            "postgres.rs" => To::Postgres,
            _ => To::Both,
        };
        reader.file = file;
        reader.walk(&trees(tokens), to);
    }
    reader.found
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            gather(&path, files);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
}

/// A macro of one arm: the names of its parameters, and its body.
#[derive(Clone)]
struct Macro {
    parameters: Vec<String>,
    body: Vec<TokenTree>,
}

struct Reader {
    macros: BTreeMap<String, Macro>,
    file: String,
    found: Statements,
}

fn trees(stream: TokenStream) -> Vec<TokenTree> {
    stream.into_iter().collect()
}

fn is_ident(tree: Option<&TokenTree>, name: &str) -> bool {
    matches!(tree, Some(TokenTree::Ident(ident)) if ident == name)
}

fn is_punct(tree: Option<&TokenTree>, mark: char) -> bool {
    matches!(tree, Some(TokenTree::Punct(punct)) if punct.as_char() == mark)
}

fn group(tree: Option<&TokenTree>) -> Option<&Group> {
    match tree {
        Some(TokenTree::Group(group)) => Some(group),
        _ => None,
    }
}

/// The parts between commas.
fn parts(trees: &[TokenTree]) -> Vec<&[TokenTree]> {
    let parts = trees.split(|tree| is_punct(Some(tree), ','));
    parts.filter(|part| !part.is_empty()).collect()
}

impl Reader {
    /// Keeps the macros of one arm whose parameters are none or literals.
    fn learn(&mut self, stream: TokenStream) {
        let all = trees(stream);
        for (index, tree) in all.iter().enumerate() {
            if is_ident(Some(tree), "macro_rules")
                && let (Some(TokenTree::Ident(name)), Some(rules)) =
                    (all.get(index + 2), group(all.get(index + 3)))
            {
                let rules = trees(rules.stream());
                let arms = rules
                    .iter()
                    .filter(|tree| is_punct(Some(tree), '>'))
                    .count();
                let (Some(pattern), Some(body)) = (group(rules.first()), group(rules.get(3)))
                else {
                    continue;
                };
                let pattern = trees(pattern.stream());
                let parameters: Vec<String> = parts(&pattern)
                    .iter()
                    .filter(|part| is_ident(part.get(3), "literal"))
                    .map(|part| part[1].to_string())
                    .collect();
                if arms == 1 && parameters.len() == parts(&pattern).len() {
                    let body = trees(body.stream());
                    let known = Macro { parameters, body };
                    let before = self.macros.insert(name.to_string(), known);
                    assert!(before.is_none(), "two macros are named {name}");
                }
            }
        }
    }

    /// What stands where a macro is named, if it is one of ours.
    fn expanded(&self, all: &[TokenTree], index: usize) -> Option<Vec<TokenTree>> {
        let TokenTree::Ident(name) = all.get(index)? else {
            return None;
        };
        let known = self.macros.get(&name.to_string())?;
        if !is_punct(all.get(index + 1), '!') {
            return None;
        }
        let given = trees(group(all.get(index + 2))?.stream());
        let given = parts(&given);
        assert_eq!(given.len(), known.parameters.len(), "{name}");
        let named: BTreeMap<&str, &[TokenTree]> = known
            .parameters
            .iter()
            .map(String::as_str)
            .zip(given)
            .collect();
        Some(filled(&known.body, &named))
    }

    /// The text of an expression that is one literal, `concat!`, or a macro of ours.
    fn text(&self, all: &[TokenTree]) -> Option<String> {
        match all {
            [TokenTree::Literal(literal)] => {
                let literal = syn::parse_str::<syn::LitStr>(&literal.to_string());
                literal.ok().map(|literal| literal.value())
            }
            [TokenTree::Group(inner)] if inner.delimiter() == Delimiter::None => {
                self.text(&trees(inner.stream()))
            }
            [TokenTree::Ident(name), _, TokenTree::Group(inner)] if name == "concat" => {
                let inner = trees(inner.stream());
                parts(&inner)
                    .into_iter()
                    .map(|part| self.text(part))
                    .collect()
            }
            [TokenTree::Ident(_), _, TokenTree::Group(_)] => self.text(&self.expanded(all, 0)?),
            _ => None,
        }
    }

    fn walk(&mut self, all: &[TokenTree], to: To) {
        let mut index = 0;
        while index < all.len() {
            index += self.step(all, index, to);
        }
    }

    /// Reads what begins here and gives how many tokens it was.
    fn step(&mut self, all: &[TokenTree], index: usize, to: To) -> usize {
        let at = |ahead: usize| all.get(index + ahead);
        // Tests of a file say what they like; a macro speaks where it is used.
        if is_punct(at(0), '#') && group(at(1)).is_some_and(|g| g.to_string() == "[cfg (test)]") {
            return all.len();
        }
        if is_ident(at(0), "macro_rules") {
            return 4;
        }
        if index > 0 && is_ident(all.get(index - 1), "fn") {
            return 1;
        }
        if let Some(TokenTree::Ident(name)) = at(0)
            && CALLS.contains(&name.to_string().as_str())
            && let Some(given) = group(at(1))
        {
            self.call(&name.to_string(), &trees(given.stream()), to);
            return 2;
        }
        for length in [3, 1] {
            if let Some(text) = all
                .get(index..index + length)
                .and_then(|all| self.text(all))
            {
                self.take(text, to);
                return length;
            }
        }
        if let Some(inner) = self.expanded(all, index) {
            self.walk(&inner, to);
            return 3;
        }
        if let Some(inner) = group(at(0)) {
            self.walk(&trees(inner.stream()), to);
        }
        1
    }

    fn call(&mut self, name: &str, given: &[TokenTree], to: To) {
        let given = parts(given);
        let engines = match name {
            "query_each" => vec![To::Sqlite, To::Postgres],
            _ => vec![to],
        };
        for (index, part) in given.iter().enumerate() {
            let to = engines.get(index).copied().unwrap_or(to);
            match self.text(part) {
                Some(head) if name == "query_rows" && index == 0 => {
                    self.take(rows(&head), to);
                }
                Some(text) => self.take(text, to),
                None => {
                    if index < engines.len() {
                        let argument: TokenStream = part.iter().cloned().collect();
                        let argument = argument.to_string().replace(' ', "");
                        self.found
                            .made
                            .push(format!("{}: {name}({argument})", self.file));
                    }
                    self.walk(part, to);
                }
            }
        }
    }

    fn take(&mut self, sql: String, to: To) {
        // A template of a call that is listed as put together.
        if sql.contains('{') {
            return;
        }
        if sql.starts_with("-- ") {
            self.found.all.push(Statement { to, sql });
        } else if VERBS.iter().any(|verb| sql.trim_start().starts_with(verb)) {
            self.found.nameless.push(format!("{}: {sql}", self.file));
        }
    }
}

/// A body with what was given in the place of `$name`.
fn filled(body: &[TokenTree], named: &BTreeMap<&str, &[TokenTree]>) -> Vec<TokenTree> {
    let mut out = Vec::new();
    let mut index = 0;
    while let Some(tree) = body.get(index) {
        index += 1;
        let next = body.get(index).map(ToString::to_string);
        match (tree, next.and_then(|name| named.get(name.as_str()))) {
            (TokenTree::Punct(punct), Some(given)) if punct.as_char() == '$' => {
                out.extend(given.iter().cloned());
                index += 1;
            }
            (TokenTree::Group(inner), _) => {
                let inside = filled(&trees(inner.stream()), named);
                let inside = Group::new(inner.delimiter(), inside.into_iter().collect());
                out.push(TokenTree::Group(inside));
            }
            (other, _) => out.push(other.clone()),
        }
    }
    out
}

/// The statement that a head becomes, with one row of values.
fn rows(head: &str) -> String {
    let columns = head.matches(',').count() + 1;
    let values: Vec<String> = (1..=columns).map(|number| format!("${number}")).collect();
    format!("{head} VALUES ({})", values.join(", "))
}
