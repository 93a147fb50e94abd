//! The HTTP client of a target: its proxy, its authorities, its fixed headers.

use crate::base::private::Private;
use crate::base::private::secret::{self, NoSecret};
use crate::base::problem::file_words;
use crate::delivery::deliver::cause::{Cause, cause_of};
use crate::delivery::deliver::unanswered::{Silence, Unanswered};
use crate::delivery::deliver::wire::{Exchange, Request, Response, Wire};
use crate::delivery::deliver::{HeaderFrom, Proxy, Target};
use reqwest::header::{HeaderMap, HeaderName, HeaderValue};
use reqwest::redirect::Policy;
use reqwest::{Certificate, Client, ClientBuilder, Identity};
use std::fs;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, SystemTime};

const PROXY_SECRET: &str = "proxy_secret_file";
const CA: &str = "ca_file";
const CERTIFICATE: &str = "client_certificate_file";
const KEY: &str = "client_key_file";

/// Why the HTTP client of a target, or of the webhook, cannot be built; each begins with whose it is.
#[derive(Debug, thiserror::Error)]
pub enum NoClient {
    /// TLS cannot be set up.
    #[error("{0}: the HTTP client cannot be built")]
    Client(String, #[source] reqwest::Error),
    /// The proxy is no address.
    #[error("{0}: proxy is not an address a client can use")]
    Proxy(String),
    /// A file cannot be read; the key that names it.
    #[error("{0}: the file of {1} cannot be read: {words}", words = file_words(*.2))]
    File(String, &'static str, std::io::ErrorKind),
    /// A file gives no secret; the key that names it.
    #[error("{0}: the file of {1}: {2}")]
    Secret(String, &'static str, NoSecret),
    /// A file holds something else; the key that names it and what it should hold.
    #[error("{0}: the file of {1} does not hold {2}")]
    Content(String, &'static str, &'static str),
}

/// The client of a target, made anew when one of its files changed: the wire that is HTTP.
#[derive(Debug)]
pub(super) struct Clients {
    target: Target,
    made: Mutex<(Vec<Stamp>, Client)>,
}

/// By what a changed file is known: when it was written, and its length.
type Stamp = Option<(SystemTime, u64)>;

impl Clients {
    pub(super) fn of(target: &Target) -> Result<Self, NoClient> {
        let stamps = stamps(target);
        let made = Mutex::new((stamps, client(target)?));
        let target = target.clone();
        Ok(Self { target, made })
    }

    /// The client as the files stand now. While they hold something that cannot be used, such as half
    /// of a certificate that is being replaced, the one before goes on.
    fn current(&self) -> Client {
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        let now = stamps(&self.target);
        if made.0 != now
            && let Ok(client) = client(&self.target)
        {
            *made = (now, client);
        }
        made.1.clone()
    }
}

impl Wire for Clients {
    fn exchange(&self, request: Request, most_bytes: usize) -> Exchange<'_> {
        Box::pin(exchange(self.current(), request, most_bytes))
    }
}

/// Errors of the client are turned into codes at once: they carry addresses.
async fn exchange(
    client: Client,
    request: Request,
    most_bytes: usize,
) -> Result<Response, Unanswered> {
    let unanswered = |cause: &reqwest::Error| Unanswered {
        silence: if cause.is_connect() || cause.is_builder() {
            Silence::Unreachable
        } else {
            Silence::NoAnswer
        },
        cause: cause_of(cause),
    };
    let asked = client
        .request(request.method, request.address.open())
        .headers(request.headers);
    let asked = match &request.body {
        Some(body) => asked.body(body.open().clone()),
        None => asked,
    };
    let mut response = asked.send().await.map_err(|cause| unanswered(&cause))?;
    let (status, headers) = (response.status().as_u16(), response.headers().clone());
    let (mut bytes, mut whole) = (Vec::new(), true);
    while let Some(chunk) = response
        .chunk()
        .await
        .map_err(|cut| cut_off(cause_of(&cut)))?
    {
        if bytes.len().saturating_add(chunk.len()) > most_bytes {
            whole = false;
            break;
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(Response {
        status,
        headers,
        body: Private::new(bytes),
        whole,
    })
}

/// The answer began and did not come to its end.
const fn cut_off(cause: Cause) -> Unanswered {
    Unanswered {
        silence: Silence::NoAnswer,
        cause,
    }
}

/// The files that are part of a client.
fn stamps(target: &Target) -> Vec<Stamp> {
    let proxy = match &target.proxy {
        Proxy::Through(_, secret) => secret.as_ref(),
        Proxy::Environment | Proxy::Direct => None,
    };
    let certificate = target.client_certificate.as_ref();
    let ours = certificate.map(|(certificate, key)| [certificate, key]);
    let files = target.ca_file.iter().chain(proxy);
    files
        .chain(ours.into_iter().flatten())
        .map(|path| {
            let file = fs::metadata(path).ok()?;
            Some((file.modified().ok()?, file.len()))
        })
        .collect()
}

fn client(target: &Target) -> Result<Client, NoClient> {
    let whose = format!("target {}", target.name);
    let ca_file = target.ca_file.as_ref();
    let builder = begun(&whose, target.timeout, &target.proxy, ca_file)?;
    let builder = known_by(builder, &whose, target)?;
    builder
        .build()
        .map_err(|cause| NoClient::Client(whose, cause))
}

/// A client without a certificate of its own.
///
/// # Errors
/// [`NoClient`], which says whose it is.
pub fn plain(
    whose: &str,
    timeout: Duration,
    proxy: &Proxy,
    ca_file: Option<&PathBuf>,
) -> Result<Client, NoClient> {
    begun(whose, timeout, proxy, ca_file)?
        .build()
        .map_err(|cause| NoClient::Client(whose.to_owned(), cause))
}

/// Follows no redirect: what was meant for one server must not travel to another with the credentials of
/// the first.
fn begun(
    whose: &str,
    timeout: Duration,
    proxy: &Proxy,
    ca_file: Option<&PathBuf>,
) -> Result<ClientBuilder, NoClient> {
    crate::delivery::deliver::install_tls();
    let builder = Client::builder()
        .timeout(timeout)
        .redirect(Policy::none())
        .user_agent(concat!("Fascicle/", env!("CARGO_PKG_VERSION")));
    trusting(through(builder, whose, proxy)?, whose, ca_file)
}

fn through(builder: ClientBuilder, whose: &str, proxy: &Proxy) -> Result<ClientBuilder, NoClient> {
    let (address, secret_file) = match proxy {
        Proxy::Environment => return Ok(builder),
        Proxy::Direct => return Ok(builder.no_proxy()),
        Proxy::Through(address, secret_file) => (address, secret_file),
    };
    let proxy = reqwest::Proxy::all(address)
        .map_err(|_carries_the_address| NoClient::Proxy(whose.to_owned()))?;
    let Some(path) = secret_file else {
        return Ok(builder.proxy(proxy));
    };
    let secret = secret::text(path)
        .map_err(|cause| NoClient::Secret(whose.to_owned(), PROXY_SECRET, cause))?;
    // RFC 7617: the name ends at the first colon.
    let (name, password) = secret
        .open()
        .trim_end_matches(['\n', '\r'])
        .split_once(':')
        .ok_or_else(|| NoClient::Content(whose.to_owned(), PROXY_SECRET, "name:password"))?;
    Ok(builder.proxy(proxy.basic_auth(name, password)))
}

/// A private authority takes the place of the known ones: a server that is signed by the hospital
/// is not to be impersonated with a certificate of somebody else.
fn trusting(
    builder: ClientBuilder,
    whose: &str,
    ca_file: Option<&PathBuf>,
) -> Result<ClientBuilder, NoClient> {
    let Some(path) = ca_file else {
        return Ok(builder);
    };
    let name = || whose.to_owned();
    let pem = fs::read(path).map_err(|cause| NoClient::File(name(), CA, cause.kind()))?;
    let none = || NoClient::Content(name(), CA, "a certificate in PEM form");
    let certificates = Certificate::from_pem_bundle(&pem).map_err(|_no_pem| none())?;
    if certificates.is_empty() {
        return Err(none());
    }
    Ok(builder.tls_certs_only(certificates))
}

/// Mutual TLS: the certificate by which the server knows us (RFC 8446, section 4.4.2).
fn known_by(
    builder: ClientBuilder,
    whose: &str,
    target: &Target,
) -> Result<ClientBuilder, NoClient> {
    let Some((certificate, key)) = &target.client_certificate else {
        return Ok(builder);
    };
    let name = || whose.to_owned();
    let key = secret::bytes(key).map_err(|cause| NoClient::Secret(name(), KEY, cause))?;
    let mut pem =
        fs::read(certificate).map_err(|cause| NoClient::File(name(), CERTIFICATE, cause.kind()))?;
    pem.push(b'\n');
    pem.extend(key.open());
    let identity = Identity::from_pem(&pem).map_err(|_no_pem| {
        let what = "a certificate that belongs to client_key_file, both in PEM form";
        NoClient::Content(name(), CERTIFICATE, what)
    })?;
    Ok(builder.identity(identity))
}

/// Fixed headers, those from files read anew; nothing where one cannot be read or holds what no header
/// may hold.
pub fn fixed(named: &[(String, HeaderFrom)]) -> Option<HeaderMap> {
    let mut headers = HeaderMap::new();
    for (name, from) in named {
        let name = HeaderName::try_from(name).ok()?;
        let mut value = match from {
            HeaderFrom::Text(text) => HeaderValue::try_from(text).ok()?,
            HeaderFrom::File(path) => {
                let text = secret::text(path).ok()?;
                HeaderValue::try_from(text.open().trim_end_matches(['\n', '\r'])).ok()?
            }
        };
        value.set_sensitive(true);
        headers.insert(name, value);
    }
    Some(headers)
}
