//! The frames between phone and server: one WebSocket, many jobs, one postcard-encoded [`Frame`] per binary message.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::ids::{DeviceId, JobId, RoomId, WallId};
use crate::job::{ChangeHash, Timestamp};
use crate::seal::{Proof, Seal};

/// Both sides say this first; a peer with another number is told to reload or update.
pub const PROTOCOL: u32 = 4;

/// No frame from a phone may be longer; both sockets are set up so. A server's frame may be longer (a whole document).
pub const MOST_FRAME_BYTES: usize = 1 << 20;

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Frame {
    /// Phone → server, first frame.
    Hello(Hello),
    /// Server → phone, the answer. The device is known from its token, which came with the HTTP upgrade.
    Welcome(Welcome),
    /// Server → phone: every job it has, after `Welcome`; then those that are new, renamed or worked on.
    Jobs(Vec<JobEntry>),
    /// Phone → server: start sharing this job. A job that the server does not know is made there.
    Open { job: JobId },
    /// Phone → server: stop sharing it.
    Close { job: JobId },
    /// Catch-up, both ways: automerge's sync protocol. To a phone with the server's seal over all that it has.
    Sync { job: JobId, message: Vec<u8>, seal: Option<Seal> },
    /// A live change, both ways. To a phone with the server's proof that it has sealed it.
    Change { job: JobId, change: Vec<u8>, proof: Option<Proof> },
    /// Server → phone: these changes are on disk. Also sent for changes taken in by `Sync`. With the proof that it has sealed
    /// them.
    Ack { job: JobId, hashes: Vec<[u8; 32]>, proof: Option<Proof> },
    /// Server → phone: this change was refused and is not kept; the phone sets it apart and shows it. `hash` is absent when the
    /// bytes were no change at all.
    Nack { job: JobId, hash: Option<[u8; 32]>, reason: String },
    /// Who is where, both ways; never stored. The server fills in `who` from the token, and passes it on.
    Presence { job: JobId, who: Option<Person>, at: Whereabouts },
    /// Server → phone: said before the server closes the socket.
    Goodbye { reason: String },
    /// Server → phone, after `Welcome`: what this phone may do. The server holds to it, whatever the phone knows.
    Role(Role),
    /// Between servers of a shop, both ways: every device that either lets in, as the servers write it down.
    Roster(Vec<u8>),
    /// From another server to the one with the shop's authority: vouch for this one. A certificate request (PKCS#10, DER),
    /// and the names and addresses to vouch for.
    Vouch { request: Vec<u8>, subjects: Vec<String> },
    /// The answer: a certificate (DER).
    Vouched { certificate: Vec<u8> },
    /// Server → phone: what of this job is damaged on the server's disk, and how many changes wait because they build on it. A
    /// phone that has it brings it back; when nothing is left of it, this comes once more, empty.
    Damaged { job: JobId, lost: Vec<Lost>, waiting: u32 },
    /// Phone → server: a seal of this or another server of the shop, before changes of others that it stands for.
    Sealed { job: JobId, seal: Seal },
    /// Between servers of a shop, both ways: what they seal with.
    SealKeys(Vec<[u8; 32]>),
}

/// A change that does not read any more.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Lost {
    /// Who brought it.
    pub who: String,
    pub received: Timestamp,
}

/// What a device may do in a shop.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Looks.
    Viewer,
    /// Looks and measures, and lets others in who may not do more.
    Crew,
    /// May do everything: says who may do what, and whose device is not let in any more.
    Owner,
    /// Another server of the shop: carries what others wrote.
    Server,
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
    /// Put away: phones keep it only if they are asked to.
    pub archived: bool,
    /// What the server has of it: a phone that has just this need not open the job. `None` while something of it is damaged,
    /// which every phone that has the job may mend, and while the server has not looked.
    pub mark: Option<Mark>,
}

/// Stands for a job's whole history: who has the same mark has the same changes.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Mark(pub [u8; 16]);

impl Mark {
    /// Of the changes that no other builds on: the SHA-256 over their hashes in order, cut to 16 bytes.
    pub fn of(mut heads: Vec<ChangeHash>) -> Self {
        heads.sort_unstable();
        let digest = heads.iter().fold(Sha256::new(), |it, head| it.chain_update(head.0)).finalize();
        let mut mark = [0; 16];
        mark.copy_from_slice(&digest[..16]);
        Self(mark)
    }
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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use uuid::Uuid;

    use super::*;

    fn bytes() -> impl Strategy<Value = Vec<u8>> {
        prop::collection::vec(any::<u8>(), 0..200)
    }

    fn id() -> impl Strategy<Value = Uuid> {
        any::<u128>().prop_map(Uuid::from_u128)
    }

    fn job() -> impl Strategy<Value = JobId> {
        id().prop_map(JobId)
    }

    fn seal() -> impl Strategy<Value = Seal> {
        (prop::collection::vec(any::<[u8; 32]>(), 0..4), any::<Proof>())
            .prop_map(|(heads, proof)| Seal { heads, proof })
    }

    fn person() -> impl Strategy<Value = Person> {
        (id(), ".{0,20}").prop_map(|(device, name)| Person { device: DeviceId(device), name })
    }

    fn entry() -> impl Strategy<Value = JobEntry> {
        (job(), ".{0,20}", any::<i64>(), any::<bool>(), any::<Option<[u8; 16]>>()).prop_map(
            |(job, name, at, archived, mark)| JobEntry {
                job,
                name,
                changed: Timestamp(at),
                archived,
                mark: mark.map(Mark),
            },
        )
    }

    fn welcome() -> impl Strategy<Value = Frame> {
        (any::<[u32; 2]>(), ".{0,9}", any::<[u8; 16]>(), person(), ".{0,20}", any::<i64>()).prop_map(
            |([protocol, schema], build, replica, you, shop, now)| {
                Frame::Welcome(Welcome { protocol, schema, build, replica, you, shop, now: Timestamp(now) })
            },
        )
    }

    fn whereabouts() -> impl Strategy<Value = Whereabouts> {
        prop_oneof![
            Just(Whereabouts::Job),
            id().prop_map(|room| Whereabouts::Room(RoomId(room))),
            (id(), id()).prop_map(|(room, wall)| Whereabouts::Wall(RoomId(room), WallId(wall))),
            Just(Whereabouts::Gone),
        ]
    }

    /// Every kind of frame.
    fn frame() -> impl Strategy<Value = Frame> {
        prop_oneof![
            (any::<[u32; 2]>(), ".{0,9}").prop_map(|([protocol, schema], build)| Frame::Hello(Hello {
                protocol,
                schema,
                build
            })),
            welcome(),
            prop::collection::vec(entry(), 0..5).prop_map(Frame::Jobs),
            job().prop_map(|job| Frame::Open { job }),
            job().prop_map(|job| Frame::Close { job }),
            (job(), bytes(), prop::option::of(seal())).prop_map(|(job, message, seal)| Frame::Sync {
                job,
                message,
                seal
            }),
            (job(), bytes(), any::<Option<Proof>>()).prop_map(|(job, change, proof)| Frame::Change {
                job,
                change,
                proof
            }),
            (job(), prop::collection::vec(any::<[u8; 32]>(), 0..5), any::<Option<Proof>>())
                .prop_map(|(job, hashes, proof)| Frame::Ack { job, hashes, proof }),
            (job(), any::<Option<[u8; 32]>>(), ".{0,20}").prop_map(|(job, hash, reason)| Frame::Nack {
                job,
                hash,
                reason
            }),
            (job(), prop::option::of(person()), whereabouts()).prop_map(|(job, who, at)| Frame::Presence {
                job,
                who,
                at
            }),
            ".{0,20}".prop_map(|reason| Frame::Goodbye { reason }),
            prop_oneof![Just(Role::Viewer), Just(Role::Crew), Just(Role::Owner)].prop_map(Frame::Role),
            bytes().prop_map(Frame::Roster),
            (bytes(), prop::collection::vec(".{0,20}", 0..4))
                .prop_map(|(request, subjects)| Frame::Vouch { request, subjects }),
            bytes().prop_map(|certificate| Frame::Vouched { certificate }),
            (job(), prop::collection::vec((".{0,20}", any::<i64>()), 0..3), any::<u32>()).prop_map(
                |(job, lost, waiting)| {
                    let lost = lost.into_iter().map(|(who, at)| Lost { who, received: Timestamp(at) }).collect();
                    Frame::Damaged { job, lost, waiting }
                }
            ),
            (job(), seal()).prop_map(|(job, seal)| Frame::Sealed { job, seal }),
            prop::collection::vec(any::<[u8; 32]>(), 0..3).prop_map(Frame::SealKeys),
        ]
    }

    #[test]
    fn a_mark_is_of_what_is_newest_in_whatever_order() {
        let [one, other] = [ChangeHash([1; 32]), ChangeHash([2; 32])];
        assert_eq!(Mark::of(vec![one, other]), Mark::of(vec![other, one]));
        assert_ne!(Mark::of(vec![one]), Mark::of(vec![one, other]));
        // FIPS 180-4's function of no bytes at all, from the examples of NIST.
        assert_eq!(Mark::of(Vec::new()).0[..4], [0xe3, 0xb0, 0xc4, 0x42]);
    }

    proptest! {
        #[test]
        fn every_frame_reads_back_and_nothing_may_follow_it(frame in frame()) {
            let bytes = frame.encode();
            prop_assert!(!bytes.is_empty());
            prop_assert_eq!(Frame::decode(&bytes), Ok(frame));
            let longer = [bytes.as_slice(), &[0, 0]].concat();
            prop_assert_eq!(Frame::decode(&longer), Err(FrameError::Trailing { found: 2 }));
            prop_assert!(Frame::decode(&bytes[..bytes.len() - 1]).is_err());
        }

        #[test]
        fn noise_is_no_frame_or_reads_back(noise in bytes()) {
            if let Ok(frame) = Frame::decode(&noise) {
                prop_assert_eq!(Frame::decode(&frame.encode()), Ok(frame));
            }
        }
    }

    #[test]
    fn the_first_bytes_of_the_protocol_stay_as_they_are() {
        let hello = Frame::Hello(Hello { protocol: 1, schema: 1, build: "b".into() });
        assert_eq!(hello.encode(), [0, 1, 1, 1, b'b']);
        let goodbye = Frame::Goodbye { reason: String::new() };
        assert_eq!(goodbye.encode(), [10, 0]);
        assert_eq!(Frame::Role(Role::Crew).encode(), [11, 1]);
        assert!(matches!(Frame::decode(&[18, 0]), Err(FrameError::Malformed(_))));
        assert!(matches!(Frame::decode(&[]), Err(FrameError::Malformed(_))));
        // A list that claims to be endless.
        assert!(Frame::decode(&[2, 0xff, 0xff, 0xff, 0xff, 0x0f]).is_err());
    }
}
