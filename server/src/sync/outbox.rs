//! What waits to be sent to one phone.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

use axum::body::Bytes;
use shared_model::wire::Frame;
use tokio::sync::{Notify, mpsc};

use crate::store::StoreError;

/// A phone that lets more than this pile up is disconnected; it catches up when it comes back.
const MOST_QUEUED_BYTES: usize = 4 << 20;

/// Counted for each frame besides its bytes.
const FRAME_OVERHEAD: usize = 64;

/// Why the server ends a connection; said to the phone.
#[derive(thiserror::Error, Debug, Clone, PartialEq)]
pub enum Parting {
    #[error("the server is stopping")]
    Stopping,
    #[error("the server cannot store changes: {0}. This phone keeps its changes and sends them again")]
    NotStored(String),
    #[error("the server cannot read what it has stored: {0}")]
    Unreadable(String),
    #[error("this phone reads too slowly; it catches up when it connects again")]
    TooSlow,
    #[error("this phone is not let in any more; an owner of the shop can invite it again")]
    Revoked,
    #[error("what this phone may do has changed; it connects again")]
    OtherRole,
    #[error("nothing was heard from this phone for too long")]
    Silent,
    #[error("too many changes of this device were refused; it may connect again in a few minutes")]
    Charged,
    #[error("too many connections; close other windows of this app")]
    Crowded,
    #[error("this app speaks version {found}, the server speaks {known}: reload the app, or update the server")]
    OtherProtocol { found: u32, known: u32 },
    #[error("not understood: {0}")]
    NotUnderstood(String),
}

impl From<StoreError> for Parting {
    fn from(error: StoreError) -> Self {
        Self::Unreadable(error.to_string())
    }
}

/// The sending end; every frame for the phone goes through it, in order.
#[derive(Clone)]
pub struct Outbox {
    frames: mpsc::UnboundedSender<Bytes>,
    state: Arc<State>,
}

#[derive(Default)]
struct State {
    queued: AtomicUsize,
    parting: OnceLock<Parting>,
    parted: Notify,
}

/// The end that the phone's connection drains.
pub struct Queue {
    frames: mpsc::UnboundedReceiver<Bytes>,
    state: Arc<State>,
}

pub fn new() -> (Outbox, Queue) {
    let (sender, receiver) = mpsc::unbounded_channel();
    let state = Arc::new(State::default());
    (Outbox { frames: sender, state: Arc::clone(&state) }, Queue { frames: receiver, state })
}

impl Outbox {
    pub fn send(&self, frame: &Frame) {
        self.send_bytes(Bytes::from(frame.encode()));
    }

    /// Queues an encoded frame. One frame of any size is let into an empty queue.
    pub fn send_bytes(&self, bytes: Bytes) {
        let size = bytes.len() + FRAME_OVERHEAD;
        let before = self.state.queued.fetch_add(size, Ordering::AcqRel);
        if before > 0 && before + size > MOST_QUEUED_BYTES {
            self.part(Parting::TooSlow);
        } else {
            // A closed queue belongs to a phone that has just left.
            let _ = self.frames.send(bytes);
        }
    }

    /// Ends the connection; the first reason counts.
    pub fn part(&self, why: Parting) {
        let _ = self.state.parting.set(why);
        self.state.parted.notify_one();
    }

    /// Resolves when the connection is to end. Frames may be missing from then on.
    pub async fn parting(&self) -> Parting {
        loop {
            if let Some(why) = self.state.parting.get() {
                return why.clone();
            }
            self.state.parted.notified().await;
        }
    }
}

/// Queues encoded frames for several phones.
pub fn send_all(outboxes: &[Outbox], frames: &[Bytes]) {
    outboxes.iter().for_each(|outbox| frames.iter().for_each(|it| outbox.send_bytes(it.clone())));
}

impl Queue {
    /// The next frame to send; `None` when every sender is gone.
    pub async fn next(&mut self) -> Option<Bytes> {
        let bytes = self.frames.recv().await?;
        self.state.queued.fetch_sub(bytes.len() + FRAME_OVERHEAD, Ordering::AcqRel);
        Some(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_phone_that_does_not_read_is_told_to_go() {
        let (outbox, _queue) = new();
        let mebibyte = Bytes::from(vec![0; 1 << 20]);
        for _ in 0..3 {
            outbox.send_bytes(mebibyte.clone());
        }
        let waiting = tokio::time::timeout(std::time::Duration::from_millis(10), outbox.parting()).await;
        assert!(waiting.is_err(), "three of four mebibytes are within the limit");
        outbox.send_bytes(mebibyte);
        assert_eq!(outbox.parting().await, Parting::TooSlow);
    }

    #[tokio::test]
    async fn one_large_document_passes_when_nothing_else_waits() {
        let (outbox, mut queue) = new();
        outbox.send_bytes(Bytes::from(vec![7; 5 << 20]));
        assert_eq!(queue.next().await.map(|it| it.len()), Some(5 << 20));
    }
}
