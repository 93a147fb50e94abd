#![cfg(test)]
//! PostgreSQL servers of the tests' own, and a way to them that can be cut and turned.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "which server to use is told by a variable, and a test that does not run says so"
)]

use sqlx::Connection as _;
use std::io;
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Arc, Mutex};
use uuid::Uuid;

/// The address of the server that the tests share, where one is named.
pub(crate) fn shared() -> Option<String> {
    if let Ok(address) = std::env::var("FASCICLE_POSTGRES") {
        return Some(address);
    }
    let required = std::env::var("FASCICLE_REQUIRE_REAL").is_ok_and(|value| value == "1");
    assert!(!required, "FASCICLE_POSTGRES is unset and required");
    println!("not run: FASCICLE_POSTGRES is unset");
    None
}

/// A new database on a server, by its address.
pub(crate) fn database(server: &str) -> String {
    let name = format!("test_{}", Uuid::new_v4().simple());
    say(server, &format!("CREATE DATABASE {name}"));
    let (before, _) = server.rsplit_once('/').expect("an address");
    format!("{before}/{name}")
}

/// Says something to a database, and gives the first column of the first row where there is one.
pub(crate) fn say(address: &str, statement: &str) -> Option<String> {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    runtime.block_on(async {
        let mut connection = sqlx::PgConnection::connect(address).await.expect("opens");
        let statement = sqlx::AssertSqlSafe(statement.to_owned());
        let said = sqlx::query(statement).fetch_optional(&mut connection).await;
        let row = said.expect("an answer")?;
        Some(sqlx::Row::get(&row, 0))
    })
}

/// A server of one test; it ends with the value.
pub(crate) struct Cluster {
    folder: tempfile::TempDir,
    pub(crate) address: String,
}

impl Cluster {
    pub(crate) fn new() -> Self {
        Self::with(&[])
    }

    /// A server that follows this one.
    pub(crate) fn standby(&self) -> Self {
        Self::standby_by(self.port())
    }

    /// A server that follows the one that this port leads to.
    pub(crate) fn standby_by(port: u16) -> Self {
        Self::with(&["--standby-of", &port.to_string()])
    }

    fn with(more: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let address = start(&folder.path().join("server"), more);
        Self { folder, address }
    }

    pub(crate) fn port(&self) -> u16 {
        let host = self.address.rsplit_once('/').expect("an address").0;
        let port = host.rsplit_once(':').expect("a port").1;
        port.parse().expect("a number")
    }

    /// Ends it as a power cut would.
    pub(crate) fn crash(&self) {
        stop(&self.server(), "crash");
    }

    pub(crate) fn start_again(&self) {
        assert_eq!(start(&self.server(), &[]), self.address);
    }

    fn server(&self) -> PathBuf {
        self.folder.path().join("server")
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        stop(&self.server(), "crash");
    }
}

/// A program of PostgreSQL.
pub(crate) fn program(name: &str) -> Command {
    let output = script("setup").output().expect("the script runs");
    let folder = String::from_utf8(output.stdout).expect("text");
    Command::new(Path::new(folder.trim()).join(name))
}

fn start(folder: &Path, more: &[&str]) -> String {
    let output = script("start")
        .arg("--folder")
        .arg(folder)
        .args(more)
        .output();
    let output = output.expect("the script runs");
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    let mut lines = told.lines();
    let address = lines.find_map(|line| line.strip_prefix("DATABASE="));
    let error = String::from_utf8_lossy(&output.stderr);
    address.unwrap_or_else(|| panic!("{error}")).to_owned()
}

fn stop(folder: &Path, how: &str) {
    let status = script("stop").arg(folder).arg(how).status();
    assert!(status.expect("the script runs").success());
}

fn script(name: &str) -> Command {
    Command::new(
        Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/postgres")
            .join(name),
    )
}

/// A port that leads to one server or another, and can be cut.
pub(crate) struct Way {
    pub(crate) port: u16,
    shared: Arc<Mutex<Ends>>,
}

struct Ends {
    /// Nothing while the way is closed.
    to: Option<u16>,
    open: Vec<TcpStream>,
}

impl Way {
    pub(crate) fn to(port: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let shared = Arc::new(Mutex::new(Ends {
            to: Some(port),
            open: Vec::new(),
        }));
        let way = Self {
            port: listener.local_addr().expect("an address").port(),
            shared: Arc::clone(&shared),
        };
        // It ends with the process of the test.
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                // A server that is down refuses; whoever asked sees a closed connection.
                drop(stream.and_then(|stream| lead(stream, &shared)));
            }
        });
        way
    }

    /// Cuts every connection, and leads those that come to another server.
    pub(crate) fn turn(&self, port: u16) {
        self.cut(Some(port));
    }

    /// Cuts every connection, and those that come as well.
    pub(crate) fn close(&self) {
        self.cut(None);
    }

    fn cut(&self, to: Option<u16>) {
        let mut ends = self.shared.lock().expect("no panic inside");
        ends.to = to;
        for stream in ends.open.drain(..) {
            // One that is closed already is as good.
            drop(stream.shutdown(Shutdown::Both));
        }
    }
}

fn lead(from: TcpStream, shared: &Mutex<Ends>) -> io::Result<()> {
    let mut ends = shared.lock().expect("no panic inside");
    let to = ends.to.ok_or(io::ErrorKind::ConnectionRefused)?;
    let to = TcpStream::connect(SocketAddr::from(([127, 0, 0, 1], to)))?;
    for (mut one, mut other) in [
        (from.try_clone()?, to.try_clone()?),
        (to.try_clone()?, from.try_clone()?),
    ] {
        std::thread::spawn(move || {
            // However it ended, both ends are to see it.
            drop(io::copy(&mut one, &mut other));
            drop(one.shutdown(Shutdown::Both));
            drop(other.shutdown(Shutdown::Both));
        });
    }
    ends.open.extend([from, to]);
    Ok(())
}
