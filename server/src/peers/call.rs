//! Calling another server for as long as this one runs.

use std::collections::{BTreeSet, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::http::HeaderValue;
use axum::http::header::{COOKIE, ORIGIN};
use futures_util::{SinkExt, StreamExt};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::SCHEMA;
use shared_model::wire::{Frame, Hello, JobEntry, PROTOCOL, Role};
use tokio::time::{Instant, interval_at, timeout};
use tokio_tungstenite::WebSocketStream;
use tokio_tungstenite::tungstenite::client::IntoClientRequest;
use tokio_tungstenite::tungstenite::protocol::WebSocketConfig;
use tokio_tungstenite::tungstenite::{self, Message};
use uuid::Uuid;

use super::lists::{Lists, Side};
use super::record::Record;
use super::wire::{self, Proof, Stream};
use super::{photos, take, tell_roster, tell_seal_keys};
use crate::hosts::replica_name;
use crate::router::Shop;
use crate::store::Device;
use crate::sync::{self, Outbox, Parting, Phone, Queue};
use crate::{assets, discovery, tls};

const FIRST_WAIT: Duration = Duration::from_secs(1);
const LONGEST_WAIT: Duration = Duration::from_secs(30);
const SEARCH_FOR: Duration = Duration::from_secs(3);
const WELCOME_WITHIN: Duration = Duration::from_secs(10);
const SEND_WITHIN: Duration = Duration::from_secs(15);
const PING_EVERY: Duration = Duration::from_secs(20);
/// A job that could not be opened is tried again so often.
const TRY_AGAIN_EVERY: Duration = Duration::from_secs(300);
const SILENT_AFTER: Duration = Duration::from_secs(65);
/// A server answers catch-up in frames like a phone's.
const MOST_FRAME: usize = 4 << 20;

type Socket = WebSocketStream<Stream>;

#[derive(thiserror::Error, Debug)]
enum CallError {
    #[error("it is in none of its places")]
    Nowhere,
    #[error("another server answers at its address")]
    Another,
    #[error("it said: {0}")]
    Goodbye(String),
    #[error("it says nothing")]
    Silent,
    #[error("it hung up")]
    HungUp,
    #[error(transparent)]
    Parting(#[from] Parting),
    #[error(transparent)]
    Socket(#[from] Box<tungstenite::Error>),
}

impl From<tungstenite::Error> for CallError {
    fn from(error: tungstenite::Error) -> Self {
        Self::Socket(Box::new(error))
    }
}

/// Calls, talks until the line is cut, waits, and calls again.
pub async fn keep_calling(shop: Arc<Shop>, replica: Uuid) {
    let (mut wait, mut pictures) = (FIRST_WAIT, photos::Level::default());
    while let Some(record) = shop.peers.record(replica) {
        match dial(&record).await {
            Ok((mut socket, address)) => {
                shop.step_back(&record.shop);
                let ended = tokio::select! {
                    ended = talk(&shop, &record, &mut socket) => ended,
                    () = photos::keep_level(&shop, &record, &address, &mut pictures) => Ok(()),
                };
                let reason = ended.err().map(|it| it.to_string());
                tracing::info!(server = record.shop, reason, "the call to another server ended");
                if shop.peers.is_connected(replica) {
                    wait = FIRST_WAIT;
                    shop.peers.note_connected(replica, false);
                }
            }
            Err(error) => {
                tracing::debug!(server = record.shop, %error, "another server does not answer");
                shop.stand_in_for(&record.shop);
            }
        }
        tokio::time::sleep(wait).await;
        wait = (wait * 2).min(LONGEST_WAIT);
    }
}

/// Tries every known address, and then those at which the network finds the server.
async fn dial(record: &Record) -> Result<(Socket, String), CallError> {
    for address in &record.addresses {
        if let Ok(socket) = open(record, address).await {
            return Ok((socket, address.clone()));
        }
    }
    let secure = record.addresses.first().is_some_and(|it| it.starts_with("https"));
    for found in discovery::find(record.replica, SEARCH_FOR).await {
        let address = format!("{}://{found}", if secure { "https" } else { "http" });
        if let Ok(socket) = open(record, &address).await {
            return Ok((socket, address));
        }
    }
    Err(CallError::Nowhere)
}

async fn open(record: &Record, address: &str) -> Result<Socket, CallError> {
    let (authority, name) = (record.authority(), replica_name(record.replica));
    let proof = authority.as_ref().map(|authority| Proof { authority, name: Some(&name) });
    let stream = wire::connect(address, proof).await.map_err(tungstenite::Error::Io)?;
    let host = address.split_once("://").map_or(address, |(_, it)| it);
    let mut request = format!("ws://{host}/sync").into_client_request()?;
    let headers = request.headers_mut();
    let cookie = record.cookie();
    let sound = |text: &str| HeaderValue::from_str(text).map_err(|error| tungstenite::Error::HttpFormat(error.into()));
    headers.insert(ORIGIN, sound(address)?);
    headers.insert(COOKIE, sound(&cookie)?);
    let config = WebSocketConfig::default().max_message_size(Some(MOST_FRAME)).max_frame_size(Some(MOST_FRAME));
    let handshake = tokio_tungstenite::client_async_with_config(request, stream, Some(config));
    let (socket, _) = timeout(WELCOME_WITHIN, handshake).await.map_err(|_| CallError::Silent)??;
    Ok(socket)
}

async fn talk(shop: &Shop, record: &Record, socket: &mut Socket) -> Result<(), CallError> {
    let hello = Hello { protocol: PROTOCOL, schema: SCHEMA, build: assets::build() };
    send(socket, Message::Binary(Frame::Hello(hello).encode().into())).await?;
    let welcome = timeout(WELCOME_WITHIN, next(socket)).await.map_err(|_| CallError::Silent)??;
    match welcome {
        Some(Frame::Welcome(it)) if Uuid::from_bytes(it.replica) == record.replica => {}
        Some(Frame::Welcome(_)) => return Err(CallError::Another),
        Some(Frame::Goodbye { reason }) => return Err(CallError::Goodbye(reason)),
        _ => return Err(Parting::NotUnderstood("no welcome".into()).into()),
    }
    tracing::info!(server = record.shop, "connected to another server");
    shop.peers.note_connected(record.replica, true);
    let (outbox, mut queue) = sync::outbox();
    let device = there(record);
    let id = shop.hub.enter(device.id, outbox.clone())?;
    // An owner may have ended it while it was dialled.
    if shop.peers.record(record.replica).is_none() {
        shop.hub.leave(id);
        return Ok(());
    }
    let mut peer = Phone::new(id, device, outbox.clone());
    let ended = exchange(shop, record, socket, &mut queue, &mut peer, &outbox).await;
    peer.leave().await;
    shop.hub.leave(id);
    ended
}

/// The other server, as one who takes part here.
fn there(record: &Record) -> Device {
    let (id, person, name) = (DeviceId(record.replica), record.shop.clone(), "server".to_owned());
    let paired = record.met.unwrap_or_default();
    Device { id, person, name, token: [0; 32], paired, role: Role::Server, revoked: None, edition: 0 }
}

async fn exchange(
    shop: &Shop,
    record: &Record,
    socket: &mut Socket,
    queue: &mut Queue,
    peer: &mut Phone,
    outbox: &Outbox,
) -> Result<(), CallError> {
    let mut devices = shop.devices.changes();
    tell_seal_keys(shop, outbox);
    tell_roster(shop, outbox);
    if let Ok(request) = tls::request(&record.key) {
        let subjects = shop.hosts.subjects().iter().map(ToString::to_string).collect();
        outbox.send(&Frame::Vouch { request, subjects });
    }
    // This server's list comes out of the queue.
    shop.hub.greet(peer.id);
    let (mut lists, mut to_share) = (Lists::default(), VecDeque::new());
    // What one of both could not open.
    let mut again = BTreeSet::new();
    let mut heard = Instant::now();
    let mut ping = interval_at(heard + PING_EVERY, PING_EVERY);
    let mut retry = interval_at(heard + TRY_AGAIN_EVERY, TRY_AGAIN_EVERY);
    loop {
        let message = tokio::select! {
            biased;
            parting = outbox.parting() => return Err(parting.into()),
            Ok(()) = devices.changed() => {
                tell_roster(shop, outbox);
                continue;
            }
            frame = queue.next() => {
                let Some(frame) = frame else { return Ok(()) };
                if let Some(entries) = forward(socket, frame).await? {
                    to_share.extend(lists.hear(Side::Here, entries));
                }
                continue;
            }
            now = ping.tick() => {
                if now.saturating_duration_since(heard) > SILENT_AFTER {
                    return Err(CallError::Silent);
                }
                send(socket, Message::Ping(Bytes::new())).await?;
                continue;
            }
            _ = retry.tick() => {
                to_share.extend(std::mem::take(&mut again));
                continue;
            }
            message = next(socket) => message?,
            // One after the other, when nothing else is to be done: what waits to be sent stays little.
            () = std::future::ready(()), if !to_share.is_empty() => {
                if let Some(job) = to_share.pop_front()
                    && !share(shop, peer, job, lists.has_rotted(job)).await?
                {
                    again.insert(job);
                }
                continue;
            }
        };
        heard = Instant::now();
        let Some(message) = message else { continue };
        match message {
            Frame::Jobs(entries) => to_share.extend(lists.hear(Side::There, entries)),
            Frame::Vouched { certificate } => vouched(shop, record, certificate),
            Frame::Goodbye { reason } => return Err(CallError::Goodbye(reason)),
            Frame::Presence { .. } | Frame::Welcome(_) => {}
            Frame::Close { job } => {
                again.insert(job);
                peer.close(job).await;
            }
            other => take(shop, peer, other).await?,
        }
    }
}

/// Sends on what the jobs' own way brings up. The list of jobs is this server's, and not sent: the answer is what is new in it.
async fn forward(socket: &mut Socket, frame: Bytes) -> Result<Option<Vec<JobEntry>>, CallError> {
    match Frame::decode(&frame) {
        Ok(Frame::Jobs(entries)) => return Ok(Some(entries)),
        Ok(Frame::Presence { .. }) => {}
        _ => send(socket, Message::Binary(frame)).await?,
    }
    Ok(None)
}

async fn send(socket: &mut Socket, message: Message) -> Result<(), CallError> {
    timeout(SEND_WITHIN, socket.send(message)).await.map_err(|_| CallError::Silent)??;
    Ok(())
}

/// Shares a job on both sides, unless it is shared, or anew; answers whether that went well.
async fn share(shop: &Shop, peer: &mut Phone, job: JobId, anew: bool) -> Result<bool, CallError> {
    if anew {
        peer.close(job).await;
    }
    if !peer.shares(job) {
        peer.outbox.send(&Frame::Open { job });
        peer.open(&shop.hub, job).await?;
    }
    Ok(peer.shares(job))
}

/// Keeps the new certificate that the shop's authority gave.
fn vouched(shop: &Shop, record: &Record, certificate: Vec<u8>) {
    let Some(known) = shop.peers.record(record.replica) else { return };
    if known.certificate.is_none() {
        return;
    }
    let record = Record { certificate: Some(certificate), ..known };
    let used = match (&shop.tls, record.vouched()) {
        (Some(tls), Some(vouched)) => tls.be_vouched_for(&vouched),
        _ => Ok(()),
    };
    if let Err(error) = used.and_then(|()| shop.peers.keep(record)) {
        tracing::error!(%error, "the shop's new certificate for this server cannot be used");
    }
}

/// The next message; `None` for one that only shows that the other server lives.
async fn next(socket: &mut Socket) -> Result<Option<Frame>, CallError> {
    match socket.next().await {
        Some(Ok(Message::Binary(bytes))) => {
            let frame = Frame::decode(&bytes).map_err(|error| Parting::NotUnderstood(error.to_string()))?;
            Ok(Some(frame))
        }
        Some(Ok(Message::Ping(_) | Message::Pong(_))) => Ok(None),
        Some(Ok(_)) | None => Err(CallError::HungUp),
        Some(Err(error)) => Err(error.into()),
    }
}
