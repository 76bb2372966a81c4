//! Where a room's openings lie on the plan.

use crate::floor::PlacedRoom;
use crate::job::{Opening, Room};
use crate::polygon::Point;

/// An opening of a room, seen from inside it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Mouth<'a> {
    pub opening: &'a Opening,
    /// The two sides on the wall's face, in clockwise order around the room.
    pub from: Point,
    pub to: Point,
}

pub(super) fn mouths<'a>(room: &'a Room, placed: &PlacedRoom) -> Vec<Mouth<'a>> {
    let found = room.openings.iter().filter_map(|opening| {
        let (from, to) = placed.opening(opening)?;
        Some(Mouth { opening, from, to })
    });
    found.collect()
}

impl Mouth<'_> {
    pub fn middle(&self) -> Point {
        self.from.middle(self.to)
    }

    /// Both sides half way through the wall, where the carpets of two rooms meet.
    pub fn half_way(&self) -> (Point, Point) {
        // The room lies to the right of its walls, so outward is to the left.
        let along = self.to - self.from;
        let outward = Point::new(-along.y, along.x).scaled(self.opening.depth / 2, self.from.distance(self.to));
        (self.from + outward, self.to + outward)
    }
}
