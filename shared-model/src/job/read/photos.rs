//! What the document says of photos.

use automerge::Automerge;

use super::{Entry, Fields, Reader, View, short, uuid};
use crate::ids::{FlightId, MarkId, PhotoId, RoomId, WallId};
use crate::job::look::Look;
use crate::job::node::Node;
use crate::job::schema::key;
use crate::job::{Photo, Picture, PictureHash, Subject, limits};
use crate::photo;

/// The photos alone: what a server that keeps their pictures asks for.
pub(in crate::job) fn all(doc: &Automerge) -> Vec<Photo> {
    let view = View::now(doc);
    let reader = Reader { doc: &view, disputes: Vec::new() };
    reader.photos(&Node::root(&view, key::JOB).child(&view, key::PHOTOS))
}

impl Reader<'_> {
    pub(super) fn photos(&self, photos: &Node) -> Vec<Photo> {
        let entries = self.entries(photos).into_iter();
        let photos = entries.filter_map(|Entry { id, fields, stamp, withdrawn, .. }| {
            let picture = |key: &str| picture(self.doc, &fields.map(key));
            let (large, small) = (picture(key::PICTURE)?, picture(key::THUMBNAIL)?);
            limits::picture("", &large, photo::MOST_BYTES, photo::LONGEST_EDGE).ok()?;
            limits::picture("", &small, photo::MOST_THUMBNAIL_BYTES, photo::THUMBNAIL_EDGE).ok()?;
            Some(Photo {
                id: PhotoId(id),
                of: subject(&fields)?,
                picture: large,
                thumbnail: small,
                caption: fields.text(key::TEXT).map(short).unwrap_or_default(),
                stamp,
                withdrawn,
            })
        });
        photos.collect()
    }
}

fn subject(fields: &Fields<'_>) -> Option<Subject> {
    let room = || uuid(fields, key::ROOM).map(RoomId);
    match fields.text(key::KIND)? {
        key::JOB => Some(Subject::Job),
        key::ROOM => Some(Subject::Room(room()?)),
        key::WALL => Some(Subject::Wall(room()?, WallId(uuid(fields, key::WALL)?))),
        key::MARK => Some(Subject::Mark(room()?, MarkId(uuid(fields, key::MARK)?))),
        key::FLIGHT => Some(Subject::Flight(FlightId(uuid(fields, key::FLIGHT)?))),
        _ => None,
    }
}

fn picture(doc: &impl Look, of: &Node) -> Option<Picture> {
    let fields = of.read(doc);
    let number = |key: &str| u32::try_from(fields.int(key)?).ok();
    Some(Picture {
        hash: PictureHash(fields.bytes(key::HASH).try_into().ok()?),
        bytes: number(key::BYTES)?,
        width: number(key::WIDTH)?,
        height: number(key::HEIGHT)?,
    })
}
