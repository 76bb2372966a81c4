//! Takes connections, encrypted and plain on one port, and answers their requests until the server is to stop.

use std::collections::HashMap;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;
use tower::ServiceExt;

/// Most connections that wait for or send requests; a phone's socket does not count any more once it is one.
const MOST_CONNECTIONS: u16 = 300;

/// Of these, most from one address: a phone opens six. A proxy on this computer brings many phones.
const MOST_FROM_ONE: usize = 100;

/// A connection that sends no whole request head for so long is closed, also between requests.
const HEAD_WITHIN: Duration = Duration::from_secs(15);

/// Requests that are being answered when the server stops get this long.
const LAST_ANSWERS: Duration = Duration::from_secs(5);

/// The first byte of a TLS connection: the content type *handshake* (RFC 8446, 5.1). No HTTP request begins with it.
const HANDSHAKE: u8 = 22;

/// How a request came in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Scheme {
    Http,
    Https,
}

impl Scheme {
    pub fn name(self) -> &'static str {
        match self {
            Self::Http => "http",
            Self::Https => "https",
        }
    }
}

pub async fn serve(listener: TcpListener, tls: Option<TlsAcceptor>, router: Router, stop: impl Future<Output = ()>) {
    let places = Arc::new(Semaphore::new(usize::from(MOST_CONNECTIONS)));
    let stopping = watch::Sender::new(());
    let crowd = Crowd::default();
    let mut stop = pin!(stop);
    loop {
        let next = async {
            let place = Arc::clone(&places).acquire_owned().await;
            (place, accept(&listener).await)
        };
        let (place, (stream, address)) = tokio::select! {
            next = next => next,
            () = &mut stop => break,
        };
        // The place is free again at once, and nobody else waits for it.
        let Some(guest) = crowd.let_in(address.ip()) else { continue };
        let (tls, router, told) = (tls.clone(), router.clone(), stopping.subscribe());
        tokio::spawn(async move {
            if let Err(error) = converse(stream, address, tls, router, told).await {
                tracing::trace!(%address, %error, "a connection broke");
            }
            drop((place, guest));
        });
    }
    stopping.send_replace(());
    // All places are free when all connections have ended.
    let ended = places.acquire_many(u32::from(MOST_CONNECTIONS));
    if timeout(LAST_ANSWERS, ended).await.is_err() {
        tracing::warn!("some requests were cut off");
    }
}

/// How many connections there are from each address.
#[derive(Clone, Default)]
struct Crowd(Arc<Mutex<HashMap<IpAddr, usize>>>);

/// One of them, for as long as it lasts.
struct Guest {
    address: IpAddr,
    crowd: Crowd,
}

impl Crowd {
    fn let_in(&self, address: IpAddr) -> Option<Guest> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let count = all.entry(address).or_default();
        if *count >= MOST_FROM_ONE && !address.is_loopback() {
            tracing::debug!(%address, "too many connections from one address");
            return None;
        }
        *count += 1;
        Some(Guest { address, crowd: self.clone() })
    }
}

impl Drop for Guest {
    fn drop(&mut self) {
        let mut all = self.crowd.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = all.get_mut(&self.address) {
            *count -= 1;
            if *count == 0 {
                all.remove(&self.address);
            }
        }
    }
}

#[derive(thiserror::Error, Debug)]
enum Broken {
    #[error(transparent)]
    Io(#[from] io::Error),
    #[error(transparent)]
    Http(#[from] hyper::Error),
    #[error("too slow")]
    Slow(#[from] tokio::time::error::Elapsed),
}

async fn converse(
    stream: TcpStream,
    address: SocketAddr,
    tls: Option<TlsAcceptor>,
    router: Router,
    mut told: watch::Receiver<()>,
) -> Result<(), Broken> {
    let Some(tls) = tls else { return answer(stream, Scheme::Http, address, router, told).await };
    let mut first = [0];
    let hear = async {
        stream.peek(&mut first).await?;
        Ok::<u8, io::Error>(first[0])
    };
    let first = tokio::select! {
        first = timeout(HEAD_WITHIN, hear) => first??,
        _ = told.changed() => return Ok(()),
    };
    if first != HANDSHAKE {
        return answer(stream, Scheme::Http, address, router, told).await;
    }
    let stream = timeout(HEAD_WITHIN, tls.accept(stream)).await??;
    answer(stream, Scheme::Https, address, router, told).await
}

async fn answer(
    stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static,
    scheme: Scheme,
    address: SocketAddr,
    router: Router,
    mut told: watch::Receiver<()>,
) -> Result<(), Broken> {
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ConnectInfo::<SocketAddr>(address));
        request.extensions_mut().insert(scheme);
        router.clone().oneshot(request.map(Body::new))
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .serve_connection(TokioIo::new(stream), service)
        .with_upgrades();
    let mut connection = pin!(connection);
    tokio::select! {
        ended = connection.as_mut() => ended?,
        _ = told.changed() => {
            connection.as_mut().graceful_shutdown();
            connection.await?;
        }
    }
    Ok(())
}

async fn accept(listener: &TcpListener) -> (TcpStream, SocketAddr) {
    loop {
        match listener.accept().await {
            Ok((stream, address)) => {
                // Small frames must leave at once, not wait for the receipt of the one before.
                if let Err(error) = stream.set_nodelay(true) {
                    tracing::debug!(%error, "no TCP_NODELAY");
                }
                return (stream, address);
            }
            Err(error) => {
                // Out of file descriptors, most likely: it passes when connections end.
                tracing::warn!(%error, "a connection was not taken");
                tokio::time::sleep(Duration::from_millis(200)).await;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_does_not_take_every_place() {
        let crowd = Crowd::default();
        let (loud, other) = (IpAddr::from([192, 168, 1, 7]), IpAddr::from([192, 168, 1, 8]));
        let mut guests: Vec<Guest> = (0..MOST_FROM_ONE).filter_map(|_| crowd.let_in(loud)).collect();
        assert_eq!(guests.len(), MOST_FROM_ONE);
        assert!(crowd.let_in(loud).is_none());
        assert!(crowd.let_in(other).is_some());
        guests.pop();
        assert!(crowd.let_in(loud).is_some());
        drop(guests);
        assert!(crowd.0.lock().unwrap().is_empty());
    }
}
