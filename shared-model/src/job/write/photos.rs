//! What the document says of photos.

use automerge::transaction::Transaction;

use super::{add, existing, place, put, room_of, stamp, wall_of};
use crate::job::node::Node;
use crate::job::schema::key;
use crate::job::{EditError, NewPhoto, Picture, Subject, Timestamp, limits};

pub(super) fn add_photo(tx: &mut Transaction<'_>, photo: &NewPhoto, at: Timestamp) -> Result<(), EditError> {
    limits::photo(photo)?;
    let photos = place(tx, &Node::root(tx, key::JOB), key::PHOTOS)?;
    limits::photos(photos.children(tx).len())?;
    let node = add(tx, &photos, photo.id.0, "photo")?;
    write_subject(tx, &node, photo.of)?;
    write_picture(tx, &node, key::PICTURE, &photo.picture)?;
    write_picture(tx, &node, key::THUMBNAIL, &photo.thumbnail)?;
    put(tx, &node, key::TEXT, photo.caption.as_str())?;
    stamp(tx, &node, &photos, &[], "photo", at)
}

fn write_subject(tx: &mut Transaction<'_>, node: &Node, of: Subject) -> Result<(), EditError> {
    match of {
        Subject::Job => put(tx, node, key::KIND, key::JOB),
        Subject::Room(room) => {
            room_of(tx, room)?;
            put(tx, node, key::KIND, key::ROOM)?;
            put(tx, node, key::ROOM, room.to_string())
        }
        Subject::Wall(room, wall) => {
            wall_of(tx, room, wall)?;
            put(tx, node, key::KIND, key::WALL)?;
            put(tx, node, key::ROOM, room.to_string())?;
            put(tx, node, key::WALL, wall.to_string())
        }
        Subject::Mark(room, mark) => {
            existing(tx, &room_of(tx, room)?.child(tx, key::MARKS), mark.0, "mark")?;
            put(tx, node, key::KIND, key::MARK)?;
            put(tx, node, key::ROOM, room.to_string())?;
            put(tx, node, key::MARK, mark.to_string())
        }
        Subject::Flight(flight) => {
            existing(tx, &Node::root(tx, key::FLIGHTS), flight.0, "flight")?;
            put(tx, node, key::KIND, key::FLIGHT)?;
            put(tx, node, key::FLIGHT, flight.to_string())
        }
    }
}

fn write_picture(tx: &mut Transaction<'_>, of: &Node, key: &str, picture: &Picture) -> Result<(), EditError> {
    let node = of.make(tx, key)?;
    put(tx, &node, key::HASH, picture.hash.0.to_vec())?;
    put(tx, &node, key::BYTES, i64::from(picture.bytes))?;
    put(tx, &node, key::WIDTH, i64::from(picture.width))?;
    put(tx, &node, key::HEIGHT, i64::from(picture.height))
}
