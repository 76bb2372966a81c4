//! Rooms turned so that the pile runs north: then breadths lie side by side from west to east.

use super::PileDirection;
use crate::job::Angle;
use crate::polygon::{Axis, Point, Ring};

impl PileDirection {
    /// The turn to the right that brings this pile to the north.
    const fn to_north(self) -> Angle {
        match self {
            Self::North => Angle::ZERO,
            Self::East => Angle(-Angle::QUARTER.0),
            Self::South => Angle(2 * Angle::QUARTER.0),
            Self::West => Angle::QUARTER,
        }
    }

    pub(super) fn northward(self, ring: &Ring) -> Ring {
        ring.turned(self.to_north())
    }

    pub(super) fn to_plan(self, ring: &Ring) -> Ring {
        ring.turned(Angle(-self.to_north().0))
    }

    pub(super) fn point_to_plan(self, point: Point) -> Point {
        point.turned(Angle(-self.to_north().0))
    }

    /// The plan's axis along which the pile runs.
    pub const fn axis(self) -> Axis {
        match self {
            Self::North | Self::South => Axis::Y,
            Self::East | Self::West => Axis::X,
        }
    }

    /// As one sees it on the plan, where nobody has a compass: "up", "right".
    pub const fn way(self) -> &'static str {
        match self {
            Self::North => "up",
            Self::East => "right",
            Self::South => "down",
            Self::West => "left",
        }
    }

    /// In the keys by which chosen ways are found again.
    pub const fn title(self) -> &'static str {
        match self {
            Self::North => "north",
            Self::East => "east",
            Self::South => "south",
            Self::West => "west",
        }
    }
}

/// One side of a ring, named as it lies when the pile runs north.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Side {
    West,
    East,
    South,
    North,
}

impl Side {
    /// The turn to the right that brings this side to the east.
    const fn to_east(self) -> Angle {
        match self {
            Self::East => Angle::ZERO,
            Self::North => Angle::QUARTER,
            Self::West => Angle(2 * Angle::QUARTER.0),
            Self::South => Angle(-Angle::QUARTER.0),
        }
    }

    pub fn turned_to_east(self, ring: &Ring) -> Ring {
        ring.turned(self.to_east())
    }

    pub fn point_back(self, point: Point) -> Point {
        point.turned(Angle(-self.to_east().0))
    }
}
