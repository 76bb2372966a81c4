//! Connections to another server: encrypted or plain, for requests or for a socket.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::header::{CONTENT_TYPE, HOST, ORIGIN};
use axum::http::{HeaderMap, HeaderValue, Request, StatusCode, Uri};
use http_body_util::{BodyExt, Limited};
use hyper::client::conn::http1::{self, SendRequest};
use hyper_util::rt::TokioIo;
use tokio::net::TcpStream;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, RootCertStore};
use tokio_util::either::Either;

const CONNECT_WITHIN: Duration = Duration::from_secs(5);
const ANSWER_WITHIN: Duration = Duration::from_secs(15);
/// No answer of another server to a single request is longer.
const MOST_ANSWER: usize = 256 * 1024;

pub type Stream = Either<TcpStream, Box<TlsStream<TcpStream>>>;

/// Whom a server must prove to be over https: somebody whom `authority` vouches for, by its own name if that is known, and by
/// the one in the address otherwise.
#[derive(Clone, Copy)]
pub struct Proof<'a> {
    pub authority: &'a CertificateDer<'static>,
    pub name: Option<&'a str>,
}

/// Connects to an address as in `https://fairlea-floors.local:8420`.
pub async fn connect(address: &str, proof: Option<Proof<'_>>) -> io::Result<Stream> {
    let wrong = |what: &str| io::Error::new(io::ErrorKind::InvalidInput, format!("{address}: {what}"));
    let uri: Uri = address.parse().map_err(|_| wrong("not an address"))?;
    let host = uri.host().ok_or_else(|| wrong("no host"))?.trim_matches(['[', ']']).to_owned();
    let secure = match uri.scheme_str() {
        Some("https") => true,
        Some("http") => false,
        _ => return Err(wrong("neither http nor https")),
    };
    let port = uri.port_u16().unwrap_or(if secure { 443 } else { 80 });
    let stream = timeout(CONNECT_WITHIN, TcpStream::connect((host.as_str(), port))).await??;
    stream.set_nodelay(true)?;
    if !secure {
        return Ok(Either::Left(stream));
    }
    let mut roots = RootCertStore::empty();
    let proof = proof.ok_or_else(|| wrong("nobody to vouch for it"))?;
    roots.add(proof.authority.clone()).map_err(io::Error::other)?;
    let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(io::Error::other)?
        .with_root_certificates(roots)
        .with_no_client_auth();
    let name = ServerName::try_from(proof.name.map_or(host, str::to_owned))
        .map_err(|_| wrong("no name that a certificate can have"))?;
    let stream = timeout(CONNECT_WITHIN, TlsConnector::from(Arc::new(config)).connect(name, stream)).await??;
    Ok(Either::Right(Box::new(stream)))
}

/// One request, with a JSON body or none; the answer's status and body.
pub async fn ask(
    address: &str,
    path: &str,
    json: Option<Vec<u8>>,
    proof: Option<Proof<'_>>,
) -> io::Result<(u16, Bytes)> {
    let request = Request::builder().uri(path);
    let request = match json {
        Some(json) => request.method("POST").header(CONTENT_TYPE, "application/json").body(Body::from(json)),
        None => request.method("GET").body(Body::empty()),
    };
    let mut line = Line::open(address, proof).await?;
    let (status, _, body) = line.ask(request.map_err(io::Error::other)?).await?;
    Ok((status.as_u16(), body))
}

/// A connection for one request after the other.
pub struct Line {
    address: String,
    sender: SendRequest<Body>,
    connection: JoinHandle<Result<(), hyper::Error>>,
    answer_within: Duration,
}

impl Line {
    pub async fn open(address: &str, proof: Option<Proof<'_>>) -> io::Result<Self> {
        let stream = TokioIo::new(connect(address, proof).await?);
        let handshake = timeout(CONNECT_WITHIN, http1::handshake(stream)).await?;
        let (sender, connection) = handshake.map_err(io::Error::other)?;
        Ok(Self {
            address: address.to_owned(),
            sender,
            connection: tokio::spawn(connection),
            answer_within: ANSWER_WITHIN,
        })
    }

    /// Waits so long for each answer.
    pub fn with_patience(mut self, answer_within: Duration) -> Self {
        self.answer_within = answer_within;
        self
    }

    pub async fn ask(&mut self, mut request: Request<Body>) -> io::Result<(StatusCode, HeaderMap, Bytes)> {
        let host = self.address.split_once("://").map_or(self.address.as_str(), |(_, it)| it);
        for (name, value) in [(HOST, host), (ORIGIN, &self.address)] {
            request.headers_mut().insert(name, HeaderValue::from_str(value).map_err(io::Error::other)?);
        }
        let exchange = async {
            self.sender.ready().await.map_err(io::Error::other)?;
            let answer = self.sender.send_request(request).await.map_err(io::Error::other)?;
            let (parts, body) = answer.into_parts();
            let body = Limited::new(body, MOST_ANSWER).collect().await.map_err(io::Error::other)?;
            Ok((parts.status, parts.headers, body.to_bytes()))
        };
        timeout(self.answer_within, exchange).await?
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        self.connection.abort();
    }
}
