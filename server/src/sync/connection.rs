//! One phone's socket.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::extract::ws::{CloseFrame, Message, WebSocket, WebSocketUpgrade, close_code};
use axum::extract::{Extension, State};
use axum::http::HeaderValue;
use axum::http::header::SET_COOKIE;
use axum::response::Response;
use shared_model::wire::{Frame, Hello, MOST_FRAME_BYTES, PROTOCOL, Person, Role, Welcome};
use tokio::time::{Instant, timeout};

use super::exchange::Phone;
use super::outbox::{self, Parting, Queue};
use crate::gate::Visitor;
use crate::limits::Bucket;
use crate::router::Shop;
use crate::store::Device;
use crate::{assets, clock, peers};

const HELLO_WITHIN: Duration = Duration::from_secs(10);
const SEND_WITHIN: Duration = Duration::from_secs(15);
const GOODBYE_WITHIN: Duration = Duration::from_secs(1);
const PING_EVERY: Duration = Duration::from_secs(20);
const SILENT_AFTER: Duration = Duration::from_secs(65);

/// Frames and bytes that a phone may send at once, and per second in the long run. A phone that sends more is read more
/// slowly; nothing is lost.
const FRAMES: (f64, f64) = (600.0, 30.0);
const BYTES: (f64, f64) = ((8 << 20) as f64, (256 << 10) as f64);
/// So many times as much from another server, which brings what many phones wrote.
const SERVER_FACTOR: f64 = 50.0;

/// Starts the phone's socket. Its cookie is renewed, so that a phone in use stays paired.
pub async fn upgrade(
    State(shop): State<Arc<Shop>>,
    Extension(visitor): Extension<Visitor>,
    upgrade: WebSocketUpgrade,
) -> Response {
    let cookie = HeaderValue::from_str(&visitor.cookie);
    // Small buffers: an idle phone costs 6.5 kB instead of 134 kB.
    let mut response = upgrade
        .read_buffer_size(4096)
        .write_buffer_size(0)
        .max_frame_size(MOST_FRAME_BYTES)
        .max_message_size(MOST_FRAME_BYTES)
        .on_upgrade(move |socket| serve(shop, socket, visitor.device));
    if let Ok(cookie) = cookie {
        response.headers_mut().insert(SET_COOKIE, cookie);
    }
    response
}

async fn serve(shop: Arc<Shop>, mut socket: WebSocket, device: Device) {
    let (outbox, queue) = outbox::new();
    let hub = &shop.hub;
    let parting = match hub.enter(device.id, outbox.clone()) {
        Ok(id) => {
            tracing::debug!(device = %device.id, "connected");
            // What an owner decided while the socket was opened did not reach this connection.
            let parting = match shop.devices.get(device.id) {
                Some(device) => {
                    let mut phone = Phone::new(id, device, outbox);
                    let parting = converse(&shop, &mut socket, queue, &mut phone).await;
                    phone.leave().await;
                    parting
                }
                None => Some(Parting::Revoked),
            };
            hub.leave(id);
            parting
        }
        Err(parting) => Some(parting),
    };
    if let Some(parting) = parting {
        tracing::debug!(%parting, "a connection ends");
        let _ = timeout(GOODBYE_WITHIN, part(&mut socket, &parting)).await;
    }
}

async fn part(socket: &mut WebSocket, parting: &Parting) -> Result<(), axum::Error> {
    let goodbye = Frame::Goodbye { reason: parting.to_string() };
    socket.send(Message::Binary(Bytes::from(goodbye.encode()))).await?;
    let code = if *parting == Parting::Stopping { close_code::AWAY } else { close_code::POLICY };
    socket.send(Message::Close(Some(CloseFrame { code, reason: "".into() }))).await?;
    // The phone's answer: without it, closing could cut off the goodbye.
    while let Some(Ok(_)) = socket.recv().await {}
    Ok(())
}

/// Talks until one side ends it; `None` when the phone did.
async fn converse(shop: &Shop, socket: &mut WebSocket, mut queue: Queue, phone: &mut Phone) -> Option<Parting> {
    let hello = match timeout(HELLO_WITHIN, socket.recv()).await {
        Err(_) => return Some(Parting::Silent),
        Ok(Some(Ok(Message::Binary(bytes)))) => match Frame::decode(&bytes) {
            Ok(Frame::Hello(hello)) => hello,
            Ok(_) => return Some(Parting::NotUnderstood("the first frame must be a hello".into())),
            Err(error) => return Some(Parting::NotUnderstood(error.to_string())),
        },
        Ok(Some(Ok(_))) => return Some(Parting::NotUnderstood("the first frame must be a hello".into())),
        Ok(Some(Err(_)) | None) => return None,
    };
    if let Err(parting) = welcome(shop, phone, &hello) {
        // What is queued tells the phone which build to load.
        while let Ok(Some(bytes)) = timeout(Duration::ZERO, queue.next()).await {
            socket.send(Message::Binary(bytes)).await.ok()?;
        }
        return Some(parting);
    }
    exchange(shop, socket, queue, phone).await
}

fn welcome(shop: &Shop, phone: &Phone, hello: &Hello) -> Result<(), Parting> {
    let (device, outbox) = (&phone.device, &phone.outbox);
    outbox.send(&Frame::Welcome(Welcome {
        protocol: PROTOCOL,
        schema: shared_model::job::SCHEMA,
        build: assets::build(),
        replica: shop.hub.store.replica(),
        you: Person { device: device.id, name: device.person.clone() },
        shop: shop.name.clone(),
        now: clock::now(),
    }));
    if hello.protocol != PROTOCOL {
        return Err(Parting::OtherProtocol { found: hello.protocol, known: PROTOCOL });
    }
    outbox.send(&Frame::Role(device.role));
    if device.role == Role::Server {
        peers::tell_seal_keys(shop, outbox);
        peers::tell_roster(shop, outbox);
    }
    shop.hub.greet(phone.id);
    Ok(())
}

async fn exchange(shop: &Shop, socket: &mut WebSocket, mut queue: Queue, phone: &mut Phone) -> Option<Parting> {
    let mut heard = Instant::now();
    let mut ping = tokio::time::interval_at(heard + PING_EVERY, PING_EVERY);
    let factor = if phone.is_server() { SERVER_FACTOR } else { 1.0 };
    let mut frames = Bucket::new(factor * FRAMES.0, factor * FRAMES.1, heard);
    let mut bytes = Bucket::new(factor * BYTES.0, factor * BYTES.1, heard);
    let mut roster = shop.devices.changes();
    loop {
        let resume = frames.ready().max(bytes.ready());
        let message = tokio::select! {
            // Who is not let in any more is not heard any more either.
            biased;
            parting = phone.outbox.parting() => return Some(parting),
            Ok(()) = roster.changed(), if phone.is_server() => {
                peers::tell_roster(shop, &phone.outbox);
                continue;
            }
            frame = queue.next() => {
                match timeout(SEND_WITHIN, socket.send(Message::Binary(frame?))).await {
                    Ok(Ok(())) => continue,
                    Ok(Err(_)) => return None,
                    Err(_) => return Some(Parting::TooSlow),
                }
            }
            now = ping.tick() => {
                if now.saturating_duration_since(heard) > SILENT_AFTER && resume <= now {
                    return Some(Parting::Silent);
                }
                match timeout(SEND_WITHIN, socket.send(Message::Ping(Bytes::new()))).await {
                    Ok(Ok(())) => continue,
                    Ok(Err(_)) => return None,
                    Err(_) => return Some(Parting::TooSlow),
                }
            }
            // A phone over its rate is not read until it is within it again.
            message = async { tokio::time::sleep_until(resume).await; socket.recv().await } => message,
        };
        heard = Instant::now();
        match message {
            Some(Ok(Message::Binary(frame))) => {
                frames.take(1.0, heard);
                bytes.take(frame.len() as f64, heard);
                let answered = match Frame::decode(&frame) {
                    Ok(frame) if phone.is_server() => peers::take(shop, phone, frame).await,
                    Ok(frame) => phone.take(&shop.hub, frame).await,
                    Err(error) => Err(Parting::NotUnderstood(error.to_string())),
                };
                if let Err(parting) = answered {
                    return Some(flush(socket, &mut queue, parting).await);
                }
            }
            Some(Ok(Message::Text(_))) => return Some(Parting::NotUnderstood("text".into())),
            // Pongs show that the phone lives; too many of them are held back like frames.
            Some(Ok(Message::Ping(_) | Message::Pong(_))) => frames.take(1.0, heard),
            Some(Err(error)) => {
                tracing::debug!(device = %phone.device.id, %error, "a connection broke");
                return None;
            }
            Some(Ok(Message::Close(_))) | None => return None,
        }
    }
}

/// Sends what is queued already, so that a refusal arrives before the goodbye.
async fn flush(socket: &mut WebSocket, queue: &mut Queue, parting: Parting) -> Parting {
    while let Ok(Some(bytes)) = timeout(Duration::ZERO, queue.next()).await {
        if timeout(GOODBYE_WITHIN, socket.send(Message::Binary(bytes))).await.is_err() {
            break;
        }
    }
    parting
}
