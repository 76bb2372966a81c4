//! From a room's readings to its outline: a ring of corners that closes, or the reason why not.

use serde::{Deserialize, Serialize};

use crate::ids::WallId;
use crate::job::{Room, Rules};
use crate::length::Length;
use crate::polygon::{Area, Point, Ring};
use crate::problem::Problem;

/// A closed, adjusted room in its own frame: the first corner at the origin, the first wall to the north.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Outline {
    /// One corner per wall, the wall's start, in the room's order of `walls`.
    pub ring: Ring,
    pub walls: Vec<WallId>,
    pub misclosure: Misclosure,
    pub perimeter: Length,
    pub area: Area,
    /// Walls whose length was not read but follows from the others.
    pub derived: Vec<WallId>,
}

/// By how much a ring of readings fails to return to its start.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Misclosure {
    pub east: Length,
    pub north: Length,
    /// Distance between start and end.
    pub gap: Length,
    /// Perimeter ÷ gap, rounded down: the n of 1:n. `None` when the gap is zero or nothing checks the ring.
    pub ratio: Option<i64>,
}

/// The room as far as it is known: for drawing while it is measured. Never fails.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Sketch {
    pub walls: Vec<SketchWall>,
    /// From the end of the last wall back to the start; `None` while a wall is unmeasured or there are fewer than two walls.
    pub gap: Option<Misclosure>,
    /// Whether the ring can be closed as it stands: at least three walls, and the gap is within what the tape can do.
    pub closes: bool,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SketchWall {
    pub wall: WallId,
    pub from: Point,
    pub to: Point,
    pub certainty: Certainty,
    /// The length used: the mean of the readings in force; a stand-in for an unmeasured wall.
    pub length: Length,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Certainty {
    Unmeasured,
    Once,
    /// Two or more readings that agree.
    Agreed,
    /// Readings that differ by more than the tape can.
    Disputed,
}

/// Draws what is known of a room.
pub fn sketch(room: &Room, rules: &Rules) -> Sketch {
    let _ = (room, rules);
    todo!()
}

/// Closes and adjusts a room's ring. `None` when it cannot be; then at least one problem says why and where.
pub fn close(room: &Room, rules: &Rules) -> (Option<Outline>, Vec<Problem>) {
    let _ = (room, rules);
    todo!()
}
