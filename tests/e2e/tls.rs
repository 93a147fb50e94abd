#![cfg(test)]
//! TLS with a certificate of a private authority in front of a record server, and a proxy that
//! tunnels to it.

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use rcgen::{
    BasicConstraints, CertificateParams, ExtendedKeyUsagePurpose, IsCa, Issuer, KeyPair,
    date_time_ymd,
};
use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio_rustls::rustls::server::WebPkiClientVerifier;
use tokio_rustls::rustls::{RootCertStore, ServerConfig};

/// TLS in front of a server, for `localhost`.
pub(crate) struct Tls {
    pub(crate) address: SocketAddr,
    /// The private authority, PEM.
    pub(crate) authority: String,
}

impl Tls {
    pub(crate) fn before(host: &str) -> Self {
        Self::which_asks(host, false, false).0
    }

    /// A server whose certificate ran out long ago.
    pub(crate) fn expired(host: &str) -> Self {
        Self::which_asks(host, false, true).0
    }

    /// A server that lets in only who brings a certificate of its authority (RFC 8446, section
    /// 4.3.2), and one such certificate with its key, PEM.
    pub(crate) fn mutual(host: &str) -> (Self, String, String) {
        let (tls, issuer) = Self::which_asks(host, true, false);
        let key = KeyPair::generate().expect("a key");
        let mut client = CertificateParams::new(Vec::new()).expect("parameters");
        client.extended_key_usages = vec![ExtendedKeyUsagePurpose::ClientAuth];
        let client = client.signed_by(&key, &issuer).expect("a certificate");
        (tls, client.pem(), key.serialize_pem())
    }

    fn which_asks(host: &str, asks: bool, expired: bool) -> (Self, Issuer<'static, KeyPair>) {
        let mut authority = CertificateParams::new(Vec::new()).expect("parameters");
        authority.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let key = KeyPair::generate().expect("a key");
        let own = authority.self_signed(&key).expect("a certificate");
        let pem = own.pem();
        let provider = Arc::new(ring::default_provider());
        let mut roots = RootCertStore::empty();
        roots.add(own.der().clone()).expect("an authority");
        let known =
            WebPkiClientVerifier::builder_with_provider(roots.into(), Arc::clone(&provider));
        let known = if asks {
            known.build().expect("a rule")
        } else {
            WebPkiClientVerifier::no_client_auth()
        };
        let issuer = Issuer::new(authority, key);
        let key = KeyPair::generate().expect("a key");
        let mut leaf = CertificateParams::new(vec!["localhost".to_owned()]).expect("parameters");
        if expired {
            leaf.not_before = date_time_ymd(2019, 1, 1);
            leaf.not_after = date_time_ymd(2020, 1, 1);
        }
        let leaf = leaf.signed_by(&key, &issuer).expect("a certificate");
        let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
        let config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .expect("versions")
            .with_client_cert_verifier(known)
            .with_single_cert(vec![leaf.der().clone()], key)
            .expect("a certificate and its key");
        let tls = Self {
            address: serve(TlsAcceptor::from(Arc::new(config)), host.to_owned()),
            authority: pem,
        };
        (tls, issuer)
    }
}

fn serve(acceptor: TlsAcceptor, host: String) -> SocketAddr {
    let (tell, told) = channel();
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Runtime::new().expect("a runtime");
        runtime.block_on(async move {
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await;
            let listener = listener.expect("a port");
            let address = listener.local_addr().expect("an address");
            tell.send(address).expect("told");
            loop {
                let (stream, _) = listener.accept().await.expect("a connection");
                let (acceptor, host) = (acceptor.clone(), host.clone());
                tokio::spawn(async move {
                    // A client that does not trust us ends here.
                    let mut inside = acceptor.accept(stream).await?;
                    let mut server = tokio::net::TcpStream::connect(host).await?;
                    tokio::io::copy_bidirectional(&mut inside, &mut server).await
                });
            }
        });
    });
    told.recv().expect("an address")
}

/// A proxy that lets in who brings `name:password`, and tunnels (RFC 9110, section 9.3.6).
pub(crate) struct Tunnel {
    pub(crate) address: SocketAddr,
    asked: Mutex<Receiver<String>>,
}

impl Tunnel {
    pub(crate) fn for_whom(secret: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = listener.local_addr().expect("an address");
        let wanted = format!("Basic {}", BASE64_STANDARD.encode(secret));
        let (tell, asked) = channel();
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let (wanted, tell) = (wanted.clone(), tell.clone());
                std::thread::spawn(move || tunnel(stream, &wanted, &tell));
            }
        });
        Self {
            address,
            asked: Mutex::new(asked),
        }
    }

    /// Where tunnels were asked for, and whether the secret was right.
    pub(crate) fn asked(&self) -> Vec<String> {
        self.asked
            .lock()
            .expect("no panic inside")
            .try_iter()
            .collect()
    }
}

fn tunnel(stream: TcpStream, wanted: &str, tell: &Sender<String>) -> std::io::Result<()> {
    let mut reader = BufReader::new(stream.try_clone()?);
    let mut first = String::new();
    reader.read_line(&mut first)?;
    let mut let_in = false;
    loop {
        let mut line = String::new();
        reader.read_line(&mut line)?;
        if line.trim().is_empty() {
            break;
        }
        let (name, value) = line.split_once(':').unwrap_or_default();
        let_in |= name.eq_ignore_ascii_case("proxy-authorization") && value.trim() == wanted;
    }
    let mut stream = stream;
    let host = first.split(' ').nth(1).unwrap_or_default().to_owned();
    let told = tell.send(format!(
        "{} {host} {let_in}",
        first.split(' ').next().unwrap_or_default()
    ));
    told.map_err(std::io::Error::other)?;
    if !let_in {
        return stream.write_all(b"HTTP/1.1 407 Who asks\r\ncontent-length: 0\r\n\r\n");
    }
    let mut server = TcpStream::connect(host.replace("localhost", "127.0.0.1"))?;
    stream.write_all(b"HTTP/1.1 200 Tunnel\r\n\r\n")?;
    let (mut back, mut forth) = (server.try_clone()?, stream.try_clone()?);
    std::thread::spawn(move || std::io::copy(&mut back, &mut forth));
    std::io::copy(&mut reader, &mut server)?;
    server.shutdown(std::net::Shutdown::Write)
}
