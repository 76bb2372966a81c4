//! The language of automerge-repo: CBOR around automerge's sync protocol. The phones type the same changes as Napline's.
//!
//! What a phone answers is worked out from the heads alone, which costs it next to nothing. It is what a whole document
//! would answer: the phones of a job edit side by side, so the heads are the newest change of each.

use std::collections::HashSet;

use automerge::ChangeHash;
use automerge::sync::{BloomFilter, ChunkList, Have, Message, MessageFlags, MessageVersion};
use minicbor::data::Type;
use minicbor::{Decoder, Encoder};
use napline_tests::peer::Socket;
use shared_model::ids::DeviceId;
use shared_model::job::NewChange;
use uuid::Uuid;

use crate::napline::{Job, Meeting, mark, mark_of_change};
use crate::node;
use crate::talk::{Mark, Talk};

pub struct Line {
    name: String,
    document: String,
    meeting: Option<Meeting>,
    edits: Vec<NewChange>,
    typed: usize,
    heads: Heads,
}

#[derive(Default)]
struct Heads {
    /// Before any edit.
    base: Vec<ChangeHash>,
    /// What the server said last, as far as the phone has it.
    server: Vec<ChangeHash>,
    /// The changes that came.
    seen: HashSet<Mark>,
    /// How many of the phone's own edits the server has.
    known: usize,
    said: Vec<ChangeHash>,
}

impl Line {
    pub async fn connect(port: u16, number: usize, job: &Job, edits: usize) -> (Socket, Self) {
        let author = DeviceId(Uuid::new_v4());
        let meeting = job.meeting(author);
        let base = meeting.doc.heads();
        let line = Self {
            name: format!("phone-{number}"),
            document: bs58::encode(job.id.0.as_bytes()).with_check().into_string(),
            meeting: Some(meeting),
            edits: job.edits(author, edits),
            typed: 0,
            heads: Heads { server: base.clone(), base, ..Heads::default() },
        };
        let mut socket = node::socket(&format!("ws://127.0.0.1:{port}/")).await;
        node::send(&mut socket, join(&line.name)).await;
        (socket, line)
    }

    fn message(&self, data: &[u8]) -> Vec<u8> {
        let mut encoder = Encoder::new(Vec::new());
        let texts =
            [("type", "sync"), ("senderId", &self.name), ("targetId", "server"), ("documentId", &self.document)];
        encoder.map(5).expect("memory");
        for (key, value) in texts {
            encoder.str(key).expect("memory").str(value).expect("memory");
        }
        encoder.str("data").expect("memory").bytes(data).expect("memory");
        encoder.into_writer()
    }

    /// The heads of this phone's document.
    fn own_heads(&self) -> Vec<ChangeHash> {
        let Some(newest) = self.typed.checked_sub(1) else { return self.heads.server.clone() };
        let is_own = |it: &ChangeHash| self.edits[..self.typed].iter().any(|own| own.hash == *it);
        let server = self.heads.server.iter().filter(|it| !is_own(it) && !self.heads.base.contains(it));
        let mut heads: Vec<ChangeHash> = server.copied().chain([self.edits[newest].hash]).collect();
        heads.sort_unstable();
        heads
    }

    /// Says what this phone has and needs, with the changes that the server lacks.
    fn say(&mut self, need: Vec<ChangeHash>, changes: Vec<Vec<u8>>) -> Vec<u8> {
        let heads = self.own_heads();
        self.heads.said.clone_from(&heads);
        let unknown = self.edits[self.heads.known..self.typed].iter().map(|it| it.hash);
        let have = Have { last_sync: self.heads.server.clone(), bloom: BloomFilter::from_hashes(unknown) };
        let mut flags = MessageFlags::new();
        flags.set(MessageFlags::SUPPORTS_SYNC_RESET);
        let message = Message {
            heads,
            need,
            have: vec![have],
            changes: ChunkList::from(changes),
            flags: Some(flags),
            version: MessageVersion::V1,
        };
        self.message(&message.encode())
    }

    fn take_sync(&mut self, data: &[u8]) -> (Vec<Mark>, Vec<Vec<u8>>) {
        if let Some(meeting) = &mut self.meeting {
            let answer = meeting.take(data);
            self.meeting.take_if(|it| it.is_level());
            return (Vec::new(), answer.map(|it| self.message(&it)).into_iter().collect());
        }
        let message = Message::decode(data).expect("a sync message");
        assert!(message.need.is_empty(), "the server asks for changes that it was sent");
        let marks: Vec<Mark> = match message.version {
            MessageVersion::V1 => message.changes.iter().map(mark_of_change).collect(),
            // A whole document: everything up to its heads.
            MessageVersion::V2 => message.heads.iter().map(|it| mark(&it.0)).collect(),
        };
        self.heads.seen.extend(&marks);
        let typed = &self.edits[..self.typed];
        let own = |it: &ChangeHash| typed.iter().any(|own| own.hash == *it);
        let heads = &self.heads;
        let has = |it: &ChangeHash| heads.base.contains(it) || heads.seen.contains(&mark(&it.0)) || own(it);
        // A Bloom filter can make the server believe that the phone has a change.
        let need: Vec<ChangeHash> = message.heads.iter().filter(|it| !has(it)).copied().collect();
        if !need.is_empty() {
            return (marks, vec![self.say(need, Vec::new())]);
        }
        let newest = typed.iter().rposition(|it| message.heads.contains(&it.hash));
        self.heads.known = newest.map_or(self.heads.known, |it| it + 1);
        self.heads.server = message.heads;
        let answer = (self.own_heads() != self.heads.said).then(|| self.say(Vec::new(), Vec::new()));
        (marks, answer.into_iter().collect())
    }
}

impl Talk for Line {
    fn marks(&self) -> Vec<Mark> {
        self.edits.iter().map(|it| mark(&it.hash.0)).collect()
    }

    fn open(&mut self, _: bool) -> Vec<Vec<u8>> {
        let said = self.meeting.as_mut().and_then(Meeting::say);
        said.map(|it| self.message(&it)).into_iter().collect()
    }

    fn is_level(&self) -> bool {
        self.meeting.is_none()
    }

    fn take(&mut self, frame: &[u8]) -> (Vec<Mark>, Vec<Vec<u8>>) {
        let (kind, data) = read(frame).expect("a message of automerge-repo");
        match kind {
            "sync" => self.take_sync(data),
            "peer" | "remote-subscription-change" | "remote-heads-changed" => (Vec::new(), Vec::new()),
            other => panic!("the server sent {other}"),
        }
    }

    fn edit(&mut self, n: usize) -> Vec<u8> {
        self.typed = n + 1;
        self.say(Vec::new(), vec![self.edits[n].bytes.clone()])
    }
}

fn join(name: &str) -> Vec<u8> {
    let mut encoder = Encoder::new(Vec::new());
    let said = encoder.map(4).and_then(|it| it.str("type")?.str("join")?.str("senderId")?.str(name));
    let said = said.and_then(|it| it.str("peerMetadata")?.map(1)?.str("isEphemeral")?.bool(true));
    said.and_then(|it| it.str("supportedProtocolVersions")?.array(1)?.str("1")).expect("memory");
    encoder.into_writer()
}

/// The type of a message, and its data.
fn read(frame: &[u8]) -> Result<(&str, &[u8]), minicbor::decode::Error> {
    let mut decoder = Decoder::new(frame);
    let (mut kind, mut data): (&str, &[u8]) = ("", &[]);
    for _ in 0..decoder.map()?.unwrap_or_default() {
        match decoder.str()? {
            "type" => kind = decoder.str()?,
            "data" if decoder.datatype()? == Type::Bytes => data = decoder.bytes()?,
            _ => decoder.skip()?,
        }
    }
    Ok((kind, data))
}
