//! The frame of a chunk: four magic bytes, a checksum, a type, a length; and the bounded inflating of a deflated change.
//!
//! Layout: *Automerge binary format*, chunks. <https://automerge.org/automerge-binary-format-spec/>

use std::io::Read;

use flate2::bufread::DeflateDecoder;

use super::bytes::{Bytes, malformed};
use super::{MOST_BYTES, Refusal};

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    Document,
    Change,
    DeflatedChange,
}

pub(super) struct Chunk<'a> {
    pub kind: Kind,
    /// The first bytes of the hash of the contents (inflated).
    pub checksum: [u8; 4],
    pub contents: &'a [u8],
}

/// The chunk at the start of the bytes, which move on behind it.
pub(super) fn next<'a>(bytes: &mut Bytes<'a>) -> Result<Chunk<'a>, Refusal> {
    if bytes.take(4)? != MAGIC {
        return malformed("it does not start as a chunk does");
    }
    let mut checksum = [0; 4];
    checksum.copy_from_slice(bytes.take(4)?);
    let kind = match bytes.byte()? {
        0 => Kind::Document,
        1 => Kind::Change,
        2 => Kind::DeflatedChange,
        other => return malformed(&format!("a chunk of type {other}")),
    };
    let length = bytes.unsigned()?;
    Ok(Chunk { kind, checksum, contents: bytes.take(length)? })
}

/// The one chunk that the bytes are.
pub(super) fn only(bytes: &[u8]) -> Result<Chunk<'_>, Refusal> {
    let mut bytes = Bytes(bytes);
    let chunk = next(&mut bytes)?;
    if bytes.is_empty() { Ok(chunk) } else { malformed("there is more behind its end") }
}

/// Inflates a change's contents, up to [`MOST_BYTES`] and no further, so that a small chunk cannot fill the memory.
pub(super) fn inflate(deflated: &[u8]) -> Result<Vec<u8>, Refusal> {
    let mut decoder = DeflateDecoder::new(deflated);
    let mut inflated = Vec::new();
    let read = decoder.by_ref().take(MOST_BYTES as u64 + 1).read_to_end(&mut inflated);
    if read.is_err() {
        return malformed("it cannot be inflated");
    }
    if inflated.len() > MOST_BYTES {
        return Err(Refusal::TooLarge {
            what: "inflated change",
            found: inflated.len() as u64,
            most: MOST_BYTES as u64,
        });
    }
    if decoder.total_in() != deflated.len() as u64 {
        return malformed("there is more behind the deflated part");
    }
    Ok(inflated)
}
