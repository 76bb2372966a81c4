//! The frames between phone and server: one WebSocket, many jobs, one postcard-encoded [`Frame`] per binary message.

use serde::{Deserialize, Serialize};

use crate::ids::{DeviceId, JobId, RoomId, WallId};
use crate::job::Timestamp;

/// Both sides say this first; a peer with another number is told to reload or update.
pub const PROTOCOL: u32 = 1;

/// No frame from a phone may be longer; both sockets are set up so. A server's frame may be longer (a whole document).
pub const MOST_FRAME_BYTES: usize = 1 << 20;

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Frame {
    /// Phone → server, first frame.
    Hello(Hello),
    /// Server → phone, the answer. The device is known from its token, which came with the HTTP upgrade.
    Welcome(Welcome),
    /// Server → phone: every job it has, after `Welcome` and whenever the list changes.
    Jobs(Vec<JobEntry>),
    /// Phone → server: start sharing this job. A job that the server does not know is made there.
    Open { job: JobId },
    /// Phone → server: stop sharing it.
    Close { job: JobId },
    /// Catch-up, both ways: automerge's sync protocol.
    Sync { job: JobId, message: Vec<u8> },
    /// A live change, both ways.
    Change { job: JobId, change: Vec<u8> },
    /// Server → phone: these changes are on disk. Also sent for changes taken in by `Sync`.
    Ack { job: JobId, hashes: Vec<[u8; 32]> },
    /// Server → phone: this change was refused and is not kept; the phone sets it apart and shows it. `hash` is absent when the
    /// bytes were no change at all.
    Nack { job: JobId, hash: Option<[u8; 32]>, reason: String },
    /// Who is where, both ways; never stored. The server fills in `who` from the token, and passes it on.
    Presence { job: JobId, who: Option<Person>, at: Whereabouts },
    /// Server → phone: said before the server closes the socket.
    Goodbye { reason: String },
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Hello {
    pub protocol: u32,
    /// Newest schema of the job document that the phone knows.
    pub schema: u32,
    /// The phone's build, to offer a reload when the server's differs.
    pub build: String,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Welcome {
    pub protocol: u32,
    pub schema: u32,
    pub build: String,
    /// Changes when the store is restored from a backup: catch-up starts afresh.
    pub replica: [u8; 16],
    pub you: Person,
    pub shop: String,
    pub now: Timestamp,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct JobEntry {
    pub job: JobId,
    pub name: String,
    /// When the server last took a change for it.
    pub changed: Timestamp,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Person {
    pub device: DeviceId,
    pub name: String,
}

/// Where a person is working.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Whereabouts {
    Job,
    Room(RoomId),
    Wall(RoomId, WallId),
    /// Left the job or the network.
    Gone,
}

impl Frame {
    pub fn encode(&self) -> Vec<u8> {
        // Encoding to memory fails only for types that postcard cannot write; a test covers every frame.
        postcard::to_stdvec(self).unwrap_or_default()
    }

    /// Decodes one frame; trailing bytes are an error.
    pub fn decode(bytes: &[u8]) -> Result<Self, FrameError> {
        match postcard::take_from_bytes(bytes) {
            Ok((frame, [])) => Ok(frame),
            Ok((_, rest)) => Err(FrameError::Trailing { found: rest.len() }),
            Err(error) => Err(FrameError::Malformed(error.to_string())),
        }
    }
}

#[derive(thiserror::Error, Debug, Clone, PartialEq)]
pub enum FrameError {
    #[error("{found} bytes after the frame's end")]
    Trailing { found: usize },
    #[error("not a frame: {0}")]
    Malformed(String),
}
