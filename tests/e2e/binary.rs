#![cfg(test)]
//! The built binary with a state folder of its own.

use crate::document::Document;
use fascicle::base::json::Node;
use std::fs::{self, Permissions};
use std::io::Write as _;
use std::os::unix::fs::PermissionsExt as _;
use std::path::PathBuf;
use std::process::{Child, Command, Output, Stdio};
use tempfile::TempDir;
use uuid::Uuid;

/// A state folder and the record server it delivers to.
pub(crate) struct Site {
    folder: TempDir,
    base: String,
    /// More of the command line: how to sign in.
    pub(crate) sign_in: Vec<String>,
    config: bool,
    /// Another binary than the one of today.
    pub(crate) binary: Option<PathBuf>,
}

/// How a run of the binary ended.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) code: Option<i32>,
    pub(crate) text: String,
}

impl Site {
    /// A new state folder, with the settings of the command line.
    pub(crate) fn new(base: &str) -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder"),
            base: base.to_owned(),
            sign_in: Vec::new(),
            config: false,
            binary: None,
        }
    }

    /// A new state folder, with a configuration whose leases and waits are short.
    pub(crate) fn hasty(base: &str) -> Self {
        let site = Self::new(base);
        let state = site.path("state").display().to_string();
        site.on(&state)
    }

    /// The same over a database.
    pub(crate) fn hasty_on(base: &str, database: &str) -> Self {
        Self::new(base).on(database)
    }

    fn on(mut self, state: &str) -> Self {
        let base = &self.base;
        let text = format!(
            "state = '{state}'\nlease_seconds = 2\n\n[[target]]\nname = 'record'\n\
             base = '{base}'\nvisibility_seconds = 1\n"
        );
        fs::write(self.path("fascicle.toml"), text).expect("a file");
        self.config = true;
        self
    }

    /// A new state folder, with more settings of its target, whose leases and waits are short.
    pub(crate) fn hasty_with(base: &str, settings: &str) -> Self {
        let mut site = Self::new(base);
        let state = site.path("state").display().to_string();
        let text = format!(
            "state = '{state}'\nlease_seconds = 6\n\n[[target]]\nname = 'record'\n\
             base = '{base}'\nvisibility_seconds = 1\n{settings}\n"
        );
        fs::write(site.path("fascicle.toml"), text).expect("a file");
        site.config = true;
        site
    }

    /// More of the configuration, behind the last target.
    pub(crate) fn add_settings(&self, text: &str) {
        let file = fs::OpenOptions::new()
            .append(true)
            .open(self.path("fascicle.toml"));
        let mut file = file.expect("a configuration");
        file.write_all(format!("\n{text}\n").as_bytes())
            .expect("written");
    }

    /// A new state folder, with a configuration whose leases and waits are long.
    pub(crate) fn unhurried(base: &str) -> Self {
        Self::unhurried_with(base, "")
    }

    /// The same with more settings of its target.
    pub(crate) fn unhurried_with(base: &str, settings: &str) -> Self {
        let mut site = Self::new(base);
        let state = site.path("state").display().to_string();
        let text = format!(
            "state = '{state}'\nlease_seconds = 300\n\n[[target]]\nname = 'record'\n\
             base = '{base}'\ntimeout_seconds = 240\n{settings}\n"
        );
        fs::write(site.path("fascicle.toml"), text).expect("a file");
        site.config = true;
        site
    }

    /// A new state folder, with more settings of its target, and the address of the service free.
    pub(crate) fn with_target(base: &str, settings: &str) -> Self {
        let site = Self::new(base);
        let state = site.path("state").display().to_string();
        site.serving(&state, "", settings)
    }

    /// A service over a database, with short leases and waits.
    pub(crate) fn serving_on(base: &str, database: &str) -> Self {
        Self::new(base).serving(database, "lease_seconds = 2\n", "")
    }

    fn serving(mut self, state: &str, more: &str, settings: &str) -> Self {
        let base = &self.base;
        let tokens = self.path("tokens").display().to_string();
        let text = format!(
            "state = '{state}'\n{more}\n[serve]\naddress = '127.0.0.1:0'\ntoken_file = '{tokens}'\n\n\
             [[target]]\nname = 'record'\nbase = '{base}'\nvisibility_seconds = 1\n{settings}\n"
        );
        fs::write(self.path("fascicle.toml"), text).expect("a file");
        self.config = true;
        self
    }

    /// From here on its leases are long, so that a busy machine does not cut attempts off.
    pub(crate) fn take_time(&self) {
        let path = self.path("fascicle.toml");
        let text = fs::read(&path).expect("a configuration");
        let text = String::from_utf8(text).expect("text");
        let longer = text.replace("lease_seconds = 2\n", "lease_seconds = 90\n");
        assert_ne!(longer, text);
        fs::write(path, longer).expect("a file");
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file and gives its path.
    pub(crate) fn file(&self, name: &str, text: &str) -> String {
        fs::write(self.path(name), text).expect("a file");
        // What is a secret has to be its owner's.
        fs::set_permissions(self.path(name), Permissions::from_mode(0o600)).expect("its mode");
        self.path(name).display().to_string()
    }

    /// Writes a document and gives its path.
    pub(crate) fn document(&self, document: &Document) -> String {
        let text = document.json.to_string();
        self.file(&format!("{}.json", Uuid::new_v4()), &text)
    }

    /// A command over this state; only what delivers needs to know where to.
    pub(crate) fn command(&self, command: &str, delivers: bool) -> Command {
        let today = PathBuf::from(env!("CARGO_BIN_EXE_fascicle"));
        let mut built = Command::new(self.binary.as_ref().unwrap_or(&today));
        built.arg(command);
        if self.config {
            built.arg("--config").arg(self.path("fascicle.toml"));
        } else {
            built.arg("--state").arg(self.path("state"));
            if delivers {
                built.args(["--to", &self.base]).args(&self.sign_in);
            }
        }
        built
            .env("NO_PROXY", "127.0.0.1")
            .env("no_proxy", "127.0.0.1");
        built.env_remove("COLUMNS").stdin(Stdio::null());
        built
    }

    pub(crate) fn send_command(&self, files: &[&str], wait: u32) -> Command {
        let mut command = self.command("send", true);
        command
            .args(["--json", "--wait", &wait.to_string()])
            .args(files);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    pub(crate) fn start(&self, files: &[&str], wait: u32) -> Child {
        let started = self.send_command(files, wait).spawn();
        started.expect("the binary starts")
    }

    pub(crate) fn send(&self, files: &[&str], wait: u32) -> Run {
        Run::of(self.send_command(files, wait).output())
    }

    /// Runs another command to its end.
    pub(crate) fn run(&self, command: &str, arguments: &[&str]) -> Run {
        Run::of(self.command(command, false).args(arguments).output())
    }

    /// Everything in the queue, what was delivered as well.
    pub(crate) fn queue(&self) -> Vec<Node> {
        let run = self.run("queue", &["--all", "--json"]);
        run.json().items().to_vec()
    }

    /// The trail, row by row.
    pub(crate) fn trail(&self) -> Vec<Node> {
        let run = self.run("trail", &["--json"]);
        run.json().items().to_vec()
    }

    /// The events of the trail of one session.
    pub(crate) fn events(&self, session: &str) -> Vec<String> {
        let trail = self.trail();
        let rows = trail
            .iter()
            .filter(|row| row.text_of("session") == Some(session));
        let events = rows.filter_map(|row| row.text_of("event").map(str::to_owned));
        events.collect()
    }

    /// Deliveries that were begun before the one before them in their lane had arrived.
    pub(crate) fn out_of_order(&self) -> usize {
        Self::out_of_order_in(&self.trail())
    }

    /// The same among the sessions of one person.
    pub(crate) fn out_of_order_of(&self, sessions: &[String]) -> usize {
        let mut trail = self.trail();
        let is = |row: &Node| {
            let session = row.text_of("session").unwrap_or_default();
            sessions.iter().any(|one| one == session)
        };
        trail.retain(is);
        Self::out_of_order_in(&trail)
    }

    fn out_of_order_in(trail: &[Node]) -> usize {
        let mut open: Option<&str> = None;
        let mut wrong = 0;
        let mut order: Vec<&str> = Vec::new();
        for row in trail {
            // A row about the target as such has none.
            let Some(session) = row.text_of("session") else {
                continue;
            };
            match row.text_of("event") {
                Some("queued") if !order.contains(&session) && row_number(row) => {
                    order.push(session);
                }
                Some("sending") => {
                    let next = order.first() == Some(&session);
                    if !next || open.is_some_and(|open| open != session) {
                        wrong += 1;
                    }
                    open = Some(session);
                }
                Some("delivered") => {
                    open = None;
                    order.retain(|other| *other != session);
                }
                _ => {}
            }
        }
        wrong
    }
}

/// Whether a row tells of a place in a lane: `queued` is also the event of an attempt that sent
/// nothing.
fn row_number(row: &Node) -> bool {
    row.at(&["detail", "number"]).is_some()
}

impl Run {
    pub(crate) fn of(output: std::io::Result<Output>) -> Self {
        let output = output.expect("the binary runs");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        Self {
            code: output.status.code(),
            text: if text.is_empty() { told } else { text },
        }
    }

    pub(crate) fn json(&self) -> Node {
        let node = Node::parse(&self.text);
        node.unwrap_or_else(|_| panic!("{:?}: {}", self.code, self.text))
    }

    /// Asserts the exit code.
    pub(crate) fn ended(self, code: i32) -> Self {
        assert_eq!(self.code, Some(code), "{}", self.text);
        self
    }

    /// The deliveries a `send --json` tells of.
    pub(crate) fn items(&self) -> Vec<Node> {
        self.json().items_of("items").to_vec()
    }

    /// The only delivery a `send --json` tells of.
    pub(crate) fn item(&self) -> Node {
        let items = self.items();
        assert_eq!(items.len(), 1, "{}", self.text);
        items[0].clone()
    }
}

/// The Bundle of a document, without a server.
pub(crate) fn encode(file: &str) -> Run {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    Run::of(command.args(["encode", file]).output()).ended(0)
}
