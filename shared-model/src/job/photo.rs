//! Photos: what the document says of them. The pictures themselves are kept beside it, named by their hashes.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{Job, Stamp};
use crate::ids::{FlightId, MarkId, PhotoId, RoomId, WallId};

/// A photo of something in the house. Never changed, like a reading.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Photo {
    pub id: PhotoId,
    pub of: Subject,
    pub picture: Picture,
    pub thumbnail: Picture,
    pub caption: String,
    /// Who took it, and when.
    pub stamp: Stamp,
    /// Taken off; its pictures are kept for as long as it may come back.
    pub withdrawn: bool,
}

/// What a photo shows.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, JsonSchema)]
pub enum Subject {
    Job,
    Room(RoomId),
    Wall(RoomId, WallId),
    /// A squeak or a note.
    Mark(RoomId, MarkId),
    Flight(FlightId),
}

/// A picture's file.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Picture {
    pub hash: PictureHash,
    /// Length of the file.
    pub bytes: u32,
    /// Pixels.
    pub width: u32,
    /// Pixels.
    pub height: u32,
}

/// A photo about to be added; who and when are the change's.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewPhoto {
    pub id: PhotoId,
    pub of: Subject,
    pub picture: Picture,
    pub thumbnail: Picture,
    pub caption: String,
}

/// SHA-256 of a picture's file: its name everywhere. In text 64 small hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct PictureHash(pub [u8; 32]);

/// Why a text names no picture.
#[derive(thiserror::Error, Debug, PartialEq, Eq)]
#[error("a picture is named by 64 hexadecimal digits, 0 to 9 and a to f")]
pub struct NoPictureHash;

impl PictureHash {
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
}

impl fmt::Display for PictureHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|it| write!(f, "{it:02x}"))
    }
}

impl FromStr for PictureHash {
    type Err = NoPictureHash;

    fn from_str(text: &str) -> Result<Self, NoPictureHash> {
        let digit = |it: u8| match it {
            b'0'..=b'9' => Ok(it - b'0'),
            b'a'..=b'f' => Ok(it - b'a' + 10),
            _ => Err(NoPictureHash),
        };
        let (pairs, rest) = text.as_bytes().as_chunks::<2>();
        let bytes = pairs.iter().map(|[high, low]| Ok(digit(*high)? << 4 | digit(*low)?));
        let bytes = bytes.collect::<Result<Vec<u8>, NoPictureHash>>()?;
        if rest.is_empty() { bytes.try_into().map(Self).map_err(|_| NoPictureHash) } else { Err(NoPictureHash) }
    }
}

impl From<PictureHash> for String {
    fn from(hash: PictureHash) -> Self {
        hash.to_string()
    }
}

impl TryFrom<String> for PictureHash {
    type Error = NoPictureHash;

    fn try_from(text: String) -> Result<Self, NoPictureHash> {
        text.parse()
    }
}

impl JsonSchema for PictureHash {
    fn schema_name() -> Cow<'static, str> {
        "PictureHash".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-9a-f]{64}$" })
    }
}

impl Job {
    /// The photos that nobody took off, oldest first.
    pub fn photos_in_force(&self) -> impl Iterator<Item = &Photo> {
        self.photos.iter().filter(|it| !it.withdrawn)
    }
}

impl Photo {
    /// The two files that it needs.
    pub const fn pictures(&self) -> [Picture; 2] {
        [self.thumbnail, self.picture]
    }
}
