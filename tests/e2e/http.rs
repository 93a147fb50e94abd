#![cfg(test)]
//! As much HTTP/1.1 (RFC 9112) as the tests speak: one exchange a connection towards a server,
//! several towards the binary. Blocking, so that a held request is a thread that waits.

use std::io::{BufRead, BufReader, Error, ErrorKind, Result, Write};
use std::net::TcpStream;
use std::time::Duration;

/// The longest any read or write may block: a test that hangs tells nothing.
const PATIENCE: Duration = Duration::from_mins(1);

/// A request.
#[derive(Debug, Clone)]
pub(crate) struct Request {
    pub(crate) method: String,
    /// Path and query.
    pub(crate) path: String,
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) body: String,
}

/// A response.
#[derive(Debug, Clone)]
pub(crate) struct Response {
    pub(crate) status: u16,
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) body: String,
}

impl Request {
    pub(crate) fn new(method: &str, path: &str, body: &str) -> Self {
        let fhir = "application/fhir+json".to_owned();
        let mut headers = vec![
            ("accept".to_owned(), fhir.clone()),
            ("cache-control".to_owned(), "no-cache".to_owned()),
        ];
        if !body.is_empty() {
            headers.push(("content-type".to_owned(), fhir));
        }
        Self {
            method: method.to_owned(),
            path: path.to_owned(),
            headers,
            body: body.to_owned(),
        }
    }

    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        header(&self.headers, name)
    }

    /// Whether this is a transaction: a POST to the base itself.
    pub(crate) fn transaction(&self) -> bool {
        self.method == "POST" && self.path.trim_end_matches('/').ends_with("/fhir")
    }

    /// Whether this only looks.
    pub(crate) fn looks(&self) -> bool {
        let asks = ["/_search", "/$validate"];
        self.method == "GET" || asks.iter().any(|end| self.path.ends_with(end))
    }

    /// As written to a server: it closes the connection after its answer.
    pub(crate) fn written(&self, host: &str) -> Vec<u8> {
        let first = format!("{} {} HTTP/1.1", self.method, self.path);
        written(&first, Some(host), &self.headers, &self.body)
    }
}

impl Response {
    pub(crate) fn new(status: u16, headers: &[(&str, &str)], body: &str) -> Self {
        let mut all = vec![(
            "content-type".to_owned(),
            "application/fhir+json".to_owned(),
        )];
        let headers = headers.iter();
        all.extend(headers.map(|(name, value)| ((*name).to_owned(), (*value).to_owned())));
        Self {
            status,
            headers: all,
            body: body.to_owned(),
        }
    }

    pub(crate) fn written(&self) -> Vec<u8> {
        let first = format!("HTTP/1.1 {} As said", self.status);
        written(&first, None, &self.headers, &self.body)
    }
}

/// Asks a server and reads its whole answer.
pub(crate) fn ask(host: &str, request: &Request) -> Result<Response> {
    let mut stream = connect(host)?;
    stream.write_all(&request.written(host))?;
    answer(&mut stream)
}

pub(crate) fn connect(host: &str) -> Result<TcpStream> {
    let stream = TcpStream::connect(host)?;
    patient(&stream)?;
    Ok(stream)
}

pub(crate) fn patient(stream: &TcpStream) -> Result<()> {
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    stream.set_nodelay(true)
}

/// Reads the answer of a server.
pub(crate) fn answer(stream: &mut TcpStream) -> Result<Response> {
    let mut reader = BufReader::new(stream);
    let first = line(&mut reader)?.ok_or(ErrorKind::UnexpectedEof)?;
    let status = first.split(' ').nth(1).and_then(|text| text.parse().ok());
    let status = status.ok_or_else(|| Error::other(format!("no status line: {first}")))?;
    let headers = headers(&mut reader)?;
    let body = body(&mut reader, &headers, true)?;
    Ok(Response {
        status,
        headers,
        body,
    })
}

/// Reads the body of a request whose head was read.
pub(crate) fn rest(reader: &mut BufReader<TcpStream>, request: &mut Request) -> Result<()> {
    request.body = body(reader, &request.headers, false)?;
    Ok(())
}

/// Reads the head of the next request of a connection; nothing when the other side is done.
pub(crate) fn head(reader: &mut BufReader<TcpStream>) -> Result<Option<Request>> {
    let Some(first) = line(reader)? else {
        return Ok(None);
    };
    let mut parts = first.split(' ').map(str::to_owned);
    let (Some(method), Some(path)) = (parts.next(), parts.next()) else {
        return Err(Error::other("no request line"));
    };
    let headers = headers(reader)?;
    Ok(Some(Request {
        method,
        path,
        headers,
        body: String::new(),
    }))
}

pub(crate) fn header<'a>(headers: &'a [(String, String)], name: &str) -> Option<&'a str> {
    let found = headers.iter().find(|(key, _)| key == name);
    found.map(|(_, value)| value.as_str())
}

/// The headers that belong to one connection are written anew, the others are passed on.
fn written(first: &str, host: Option<&str>, headers: &[(String, String)], body: &str) -> Vec<u8> {
    let of_connection = ["host", "connection", "content-length", "transfer-encoding"];
    let mut text = format!("{first}\r\n");
    if let Some(host) = host {
        text.extend(["host: ", host, "\r\nconnection: close\r\n"]);
    }
    for (name, value) in headers {
        if !of_connection.contains(&name.as_str()) {
            text.extend([name, ": ", value, "\r\n"]);
        }
    }
    text.extend([
        "content-length: ",
        &body.len().to_string(),
        "\r\n\r\n",
        body,
    ]);
    text.into_bytes()
}

fn line(reader: &mut impl BufRead) -> Result<Option<String>> {
    let mut line = String::new();
    let read = reader.read_line(&mut line)?;
    Ok((read > 0).then(|| line.trim_end().to_owned()))
}

fn headers(reader: &mut impl BufRead) -> Result<Vec<(String, String)>> {
    let mut headers = Vec::new();
    loop {
        let line = line(reader)?.ok_or(ErrorKind::UnexpectedEof)?;
        if line.is_empty() {
            return Ok(headers);
        }
        let (name, value) = line.split_once(':').ok_or(ErrorKind::InvalidData)?;
        headers.push((name.to_ascii_lowercase(), value.trim().to_owned()));
    }
}

fn body(
    reader: &mut impl BufRead,
    headers: &[(String, String)],
    until_closed: bool,
) -> Result<String> {
    let mut bytes = Vec::new();
    if header(headers, "transfer-encoding") == Some("chunked") {
        loop {
            let size = line(reader)?.ok_or(ErrorKind::UnexpectedEof)?;
            let size = usize::from_str_radix(&size, 16).map_err(Error::other)?;
            let mut chunk = vec![0; size];
            reader.read_exact(&mut chunk)?;
            bytes.extend(chunk);
            line(reader)?;
            if size == 0 {
                break;
            }
        }
    } else if let Some(length) = header(headers, "content-length") {
        bytes.resize(length.parse().map_err(Error::other)?, 0);
        reader.read_exact(&mut bytes)?;
    } else if until_closed {
        reader.read_to_end(&mut bytes)?;
    }
    String::from_utf8(bytes).map_err(Error::other)
}
