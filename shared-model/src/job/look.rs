//! Reading the maps of a document: as it is, or as it was.

use std::collections::{BTreeMap, BTreeSet};

use automerge::iter::MapRange;
use automerge::{ActorId, Author, Automerge, ChangeHash, ObjId, ReadDoc, Value};

use crate::ids::{RoomId, WallId};

/// What is read of a document's maps: now, inside an open transaction, or at an earlier moment.
pub(super) trait Look {
    /// The values under a key with the operations that wrote them, the one in use last.
    fn all(&self, map: &ObjId, key: &str) -> Vec<(Value<'_>, ObjId)>;

    /// Everything in a map.
    fn items(&self, map: &ObjId) -> MapRange<'_>;
}

impl<T: ReadDoc> Look for T {
    fn all(&self, map: &ObjId, key: &str) -> Vec<(Value<'_>, ObjId)> {
        self.get_all(map, key).unwrap_or_default()
    }

    fn items(&self, map: &ObjId) -> MapRange<'_> {
        self.map_range(map, ..)
    }
}

/// A document as it is, or as it was after some of its changes.
#[derive(Clone, Copy)]
pub(super) struct View<'d> {
    pub doc: &'d Automerge,
    /// The last of those changes, all of which the document has; `None` is now.
    pub heads: Option<&'d [ChangeHash]>,
}

impl<'d> View<'d> {
    pub const fn now(doc: &'d Automerge) -> Self {
        Self { doc, heads: None }
    }

    /// Everybody who made one of the changes.
    pub fn authors(&self) -> Vec<Author<'d>> {
        let Some(heads) = self.heads else { return self.doc.get_authors().to_vec() };
        // An actor's first change says its author.
        let later = self.doc.get_changes_meta(heads).into_iter().filter(|it| it.seq == 1);
        let later: BTreeSet<ActorId> = later.map(|it| it.actor.into_owned()).collect();
        let worked = |it: &Author<'_>| self.doc.get_actors_for_author(it).iter().any(|it| !later.contains(it));
        self.doc.get_authors().iter().filter(|it| worked(it)).cloned().collect()
    }
}

impl Look for View<'_> {
    fn all(&self, map: &ObjId, key: &str) -> Vec<(Value<'_>, ObjId)> {
        match self.heads {
            Some(heads) => self.doc.get_all_at(map, key, heads).unwrap_or_default(),
            None => self.doc.all(map, key),
        }
    }

    fn items(&self, map: &ObjId) -> MapRange<'_> {
        match self.heads {
            Some(heads) => self.doc.map_range_at(map, .., heads),
            None => self.doc.items(map),
        }
    }
}

/// What of a job is read.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Parts {
    /// `None` is every room.
    pub rooms: Option<BTreeMap<RoomId, Walls>>,
    pub flights: bool,
    pub goods: bool,
    pub choices: bool,
    /// Devices whose persons gave no name yet: to find them, all changes since are looked through.
    pub nameless: bool,
}

/// The walls of a room of which more is read than that they are there; `None` is every wall.
pub(super) type Walls = Option<BTreeSet<WallId>>;

impl Parts {
    pub const ALL: Self = Self { rooms: None, flights: true, goods: true, choices: true, nameless: true };
}
