//! Catch-up messages, vetted.

use std::panic::catch_unwind;

use automerge::ChangeHash;
use automerge::sync::{Have, Message, MessageVersion};

use super::bytes::{Bytes, malformed};
use super::chunk::{self, Kind};
use super::{Refusal, VettedSync, change, changes};
use crate::ids::DeviceId;
use crate::wire::MOST_FRAME_BYTES;

/// Most hashes in one list of a message.
const MOST_HASHES: usize = 1_000;

/// What automerge puts into its Bloom filters: bits for each entry, and probes. Other numbers are legal to its reader, where
/// they panic (0 bits) or burn minutes (a million probes).
const BLOOM_BITS: u64 = 10;
const BLOOM_PROBES: u64 = 7;

/// A phone may have made a whole job that its server has never seen.
const MOST_BLOOM_ENTRIES: u64 = 200_000;

pub(super) fn sync(bytes: &[u8], known: usize, from: Option<DeviceId>, whole: bool) -> Result<VettedSync, Refusal> {
    if !whole && bytes.len() > MOST_FRAME_BYTES {
        let (found, most) = (bytes.len() as u64, MOST_FRAME_BYTES as u64);
        return Err(Refusal::TooLarge { what: "catch-up message", found, most });
    }
    let message = catch_unwind(|| Message::decode(bytes));
    let Ok(Ok(message)) = message else { return malformed("it is no catch-up message") };
    hashes(&message.heads)?;
    hashes(&message.need)?;
    if message.have.len() > 1 {
        let (found, most) = (message.have.len() as u64, 1);
        return Err(Refusal::TooLarge { what: "number of summaries", found, most });
    }
    for have in &message.have {
        hashes(&have.last_sync)?;
        bloom(have, known)?;
    }
    // What was not understood is not written again: bytes behind the end, numbers in odd forms.
    if message.clone().encode() != bytes {
        return malformed("it is not written as automerge writes it");
    }
    let (mut changes, mut document) = (Vec::new(), false);
    for piece in message.changes.iter() {
        match message.version {
            MessageVersion::V1 => changes.push(change(piece, from)?),
            MessageVersion::V2 if whole => {
                let behind = behind_document(piece);
                document |= behind.is_some();
                changes.extend(self::changes(behind.unwrap_or(piece))?);
            }
            MessageVersion::V2 => return malformed("its changes are not single"),
        }
    }
    Ok(VettedSync { message, changes, document })
}

/// A server sends at once a whole document, single changes, or a document and then changes that wait for others: what stands
/// behind the document, if there is one. A document's changes are not vetted one by one: only the phone's own server, which
/// vetted them, may send it.
fn behind_document(bytes: &[u8]) -> Option<&[u8]> {
    let mut rest = Bytes(bytes);
    chunk::next(&mut rest).is_ok_and(|it| it.kind == Kind::Document).then_some(rest.0)
}

fn hashes(list: &[ChangeHash]) -> Result<(), Refusal> {
    if list.len() > MOST_HASHES {
        let (found, most) = (list.len() as u64, MOST_HASHES as u64);
        return Err(Refusal::TooLarge { what: "list of hashes", found, most });
    }
    if list.is_sorted_by(|a, b| a < b) { Ok(()) } else { malformed("a list of hashes is not in order") }
}

fn bloom(have: &Have, known: usize) -> Result<(), Refusal> {
    let bytes = have.bloom.to_bytes();
    if bytes.is_empty() {
        return Ok(());
    }
    let mut bytes = Bytes(&bytes);
    let most = MOST_BLOOM_ENTRIES + 10 * known as u64;
    let entries = bytes.count("summary", most)?;
    if bytes.unsigned()? != BLOOM_BITS || bytes.unsigned()? != BLOOM_PROBES {
        return malformed("a summary of a form that automerge does not make");
    }
    let bits = (entries * BLOOM_BITS).div_ceil(8);
    if entries > 0 && bytes.0.len() as u64 == bits { Ok(()) } else { malformed("a summary of the wrong size") }
}
