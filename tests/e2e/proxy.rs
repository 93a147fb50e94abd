#![cfg(test)]
//! A proxy between the binary and a record server that does what a script says with each request.
//!
//! Nothing here sleeps: a held request waits until the test lets it go, and the test waits until
//! the request has arrived.
#![expect(
    clippy::disallowed_methods,
    reason = "how long the binary waits is what a test measures"
)]

use crate::http::{self, Request, Response};
use std::io::{BufReader, Read, Result, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Condvar, Mutex};
use std::time::{Duration, Instant};

/// What happens to a request.
#[derive(Debug, Clone)]
pub(crate) enum Act {
    /// Forward it and pass the answer on.
    Pass,
    /// Hold it before anything reaches the server; it never does.
    HoldRequest,
    /// Hold it, and forward it once the test lets it go: a request that took its time.
    HoldThenForward,
    /// Forward its head and half of its body, then hold it.
    HoldHalf,
    /// Forward it, read the answer, and hold that.
    HoldAnswer,
    /// Forward it, read the answer, and close the connection.
    LoseAnswer,
    /// Close the connection; the server never sees it.
    Swallow,
    /// Never answer, and wait until the other side gives up; the server sees it, or not.
    Silence { forwarded: bool },
    /// Forward it, and answer otherwise than the server did.
    AnswerOtherwise(Response),
    /// Forward it, and pass on half of the body of the answer.
    Truncate,
    /// Answer in the place of the server.
    Answer(Response),
    /// Forward it, and write one text for another in the answer.
    Rewrite(&'static str, &'static str),
}

/// A request as it came.
#[derive(Debug, Clone)]
pub(crate) struct Logged {
    pub(crate) at: Instant,
    pub(crate) request: Request,
}

/// Where a connection is cut, told when the head of a request was read; what is left unread makes it a
/// reset.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Cut {
    /// Before any of the body was read.
    BeforeBody,
    /// Once half of the body was read.
    InBody,
}

type Cutter = dyn Fn(&Request) -> Option<Cut> + Send + Sync;

/// What a script is told: the request, and how many transactions there were, this one included.
pub(crate) type Script = dyn Fn(&Request, usize) -> Act + Send + Sync;

/// The proxy; it ends with the value.
pub(crate) struct Proxy {
    shared: Arc<Shared>,
    address: SocketAddr,
    held: Mutex<Receiver<()>>,
}

struct Shared {
    upstream: String,
    script: Box<Script>,
    cutter: Box<Cutter>,
    log: Mutex<Vec<Logged>>,
    holding: Sender<()>,
    let_go: (Mutex<bool>, Condvar),
    done: AtomicBool,
}

impl Proxy {
    pub(crate) fn new(
        upstream: &str,
        script: impl Fn(&Request, usize) -> Act + Send + Sync + 'static,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        Self::on(&listener, upstream, script)
    }

    /// One that may cut a connection before a request is there.
    pub(crate) fn cutting(
        listener: &TcpListener,
        upstream: &str,
        cutter: impl Fn(&Request) -> Option<Cut> + Send + Sync + 'static,
        script: impl Fn(&Request, usize) -> Act + Send + Sync + 'static,
    ) -> Self {
        Self::made(listener, upstream, Box::new(cutter), Box::new(script))
    }

    /// On a port that a test chose.
    pub(crate) fn on(
        listener: &TcpListener,
        upstream: &str,
        script: impl Fn(&Request, usize) -> Act + Send + Sync + 'static,
    ) -> Self {
        Self::made(listener, upstream, Box::new(|_| None), Box::new(script))
    }

    fn made(
        listener: &TcpListener,
        upstream: &str,
        cutter: Box<Cutter>,
        script: Box<Script>,
    ) -> Self {
        let (holding, held) = channel();
        let shared = Arc::new(Shared {
            upstream: upstream.to_owned(),
            script,
            cutter,
            log: Mutex::default(),
            holding,
            let_go: (Mutex::new(false), Condvar::new()),
            done: AtomicBool::new(false),
        });
        let address = listener.local_addr().expect("an address");
        let listener = listener.try_clone().expect("a second handle");
        let serving = Arc::clone(&shared);
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                if serving.done.load(Ordering::SeqCst) {
                    return;
                }
                let one = Arc::clone(&serving);
                // A connection that breaks is what these tests are about.
                std::thread::spawn(move || stream.and_then(|stream| one.serve(stream)));
            }
        });
        Self {
            shared,
            address,
            held: Mutex::new(held),
        }
    }

    /// Base address of the FHIR service behind it.
    pub(crate) fn base(&self) -> String {
        format!("http://{}/fhir", self.address)
    }

    /// Waits until a request is held.
    pub(crate) fn holds(&self) -> bool {
        let held = self.held.lock().expect("no panic inside");
        held.recv_timeout(Duration::from_secs(30)).is_ok()
    }

    /// Closes what is held.
    pub(crate) fn let_go(&self) {
        *self.shared.let_go.0.lock().expect("no panic inside") = true;
        self.shared.let_go.1.notify_all();
    }

    pub(crate) fn log(&self) -> Vec<Logged> {
        self.shared.log.lock().expect("no panic inside").clone()
    }

    pub(crate) fn transactions(&self) -> Vec<Logged> {
        let mut log = self.log();
        log.retain(|logged| logged.request.transaction());
        log
    }

    /// What came that was more than looking.
    pub(crate) fn writes(&self) -> usize {
        let log = self.log();
        let writes = log.iter().filter(|logged| !logged.request.looks());
        writes.count()
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.shared.done.store(true, Ordering::SeqCst);
        self.let_go();
        // Wakes the listening thread, which then ends.
        drop(TcpStream::connect(self.address));
    }
}

impl Shared {
    fn serve(&self, mut stream: TcpStream) -> Result<()> {
        http::patient(&stream)?;
        let mut reader = BufReader::new(stream.try_clone()?);
        while let Some(mut request) = http::head(&mut reader)? {
            match (self.cutter)(&request) {
                Some(Cut::BeforeBody) => return Ok(()),
                Some(Cut::InBody) => {
                    let length = request.header("content-length").unwrap_or("0");
                    let length: usize = length.parse().unwrap_or_default();
                    return reader.read_exact(&mut vec![0; length / 2]);
                }
                None => http::rest(&mut reader, &mut request)?,
            }
            let act = self.act(&request);
            if let Act::Silence { forwarded } = act {
                if forwarded {
                    http::ask(&self.upstream, &request)?;
                }
                // Reads until the other side closes.
                reader.read_to_end(&mut Vec::new())?;
                return Ok(());
            }
            if matches!(act, Act::Truncate) {
                let written = http::ask(&self.upstream, &request)?.written();
                return stream.write_all(&written[..written.len() - written.len() / 3]);
            }
            let Some(response) = self.follow(&act, &request)? else {
                return Ok(());
            };
            stream.write_all(&response.written())?;
        }
        Ok(())
    }

    fn act(&self, request: &Request) -> Act {
        let mut log = self.log.lock().expect("no panic inside");
        log.push(Logged {
            at: Instant::now(),
            request: request.clone(),
        });
        let transactions = log.iter().filter(|logged| logged.request.transaction());
        let transactions = transactions.count();
        drop(log);
        (self.script)(request, transactions)
    }

    /// The answer to pass on; nothing where the connection is to be closed.
    fn follow(&self, act: &Act, request: &Request) -> Result<Option<Response>> {
        let ask = || http::ask(&self.upstream, request);
        Ok(match act {
            Act::Pass => Some(ask()?),
            Act::HoldRequest => {
                self.hold();
                None
            }
            Act::HoldThenForward => {
                self.hold();
                let answer = ask()?;
                // Tells that the server is done with it.
                self.holding.send(()).map_err(std::io::Error::other)?;
                Some(answer)
            }
            Act::HoldHalf => {
                let written = request.written(&self.upstream);
                let half = written.len() - request.body.len() / 2;
                let mut server = http::connect(&self.upstream)?;
                server.write_all(&written[..half])?;
                server.flush()?;
                self.hold();
                None
            }
            Act::HoldAnswer => {
                ask()?;
                self.hold();
                None
            }
            Act::LoseAnswer => {
                ask()?;
                None
            }
            Act::Answer(response) => Some(response.clone()),
            Act::AnswerOtherwise(response) => {
                ask()?;
                Some(response.clone())
            }
            // Done by whoever holds the connection.
            Act::Swallow | Act::Silence { .. } | Act::Truncate => None,
            Act::Rewrite(from, to) => {
                let mut response = ask()?;
                response.body = response.body.replace(from, to);
                Some(response)
            }
        })
    }

    fn hold(&self) {
        if self.holding.send(()).is_err() {
            // The test is over.
            return;
        }
        let gone = self.let_go.0.lock().expect("no panic inside");
        drop(self.let_go.1.wait_while(gone, |gone| !*gone));
    }
}
