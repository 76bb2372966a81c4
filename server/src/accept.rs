//! Takes connections and answers their requests until the server is to stop.

use std::net::SocketAddr;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tower::ServiceExt;

/// Most connections that wait for or send requests; a phone's socket does not count any more once it is one.
const MOST_CONNECTIONS: u16 = 300;

/// A connection that sends no whole request head for so long is closed, also between requests.
const HEAD_WITHIN: Duration = Duration::from_secs(15);

/// Requests that are being answered when the server stops get this long.
const LAST_ANSWERS: Duration = Duration::from_secs(5);

pub async fn serve(listener: TcpListener, router: Router, stop: impl Future<Output = ()>) {
    let places = Arc::new(Semaphore::new(usize::from(MOST_CONNECTIONS)));
    let stopping = watch::Sender::new(());
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
        let router = router.clone();
        let answer = service_fn(move |mut request: Request<Incoming>| {
            request.extensions_mut().insert(ConnectInfo::<SocketAddr>(address));
            router.clone().oneshot(request.map(Body::new))
        });
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .serve_connection(TokioIo::new(stream), answer)
            .with_upgrades();
        let mut told = stopping.subscribe();
        tokio::spawn(async move {
            let mut connection = pin!(connection);
            let ended = tokio::select! {
                ended = connection.as_mut() => ended,
                _ = told.changed() => {
                    connection.as_mut().graceful_shutdown();
                    connection.await
                }
            };
            if let Err(error) = ended {
                tracing::trace!(%address, %error, "a connection broke");
            }
            drop(place);
        });
    }
    stopping.send_replace(());
    // All places are free when all connections have ended.
    let ended = places.acquire_many(u32::from(MOST_CONNECTIONS));
    if tokio::time::timeout(LAST_ANSWERS, ended).await.is_err() {
        tracing::warn!("some requests were cut off");
    }
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
