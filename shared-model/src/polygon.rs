//! The few plane-geometry operations; the only file that names the geometry crate.

use serde::{Deserialize, Serialize};

use crate::length::Length;

/// A point of a plan: `x` to the east, `y` to the north. Exact counts, so that rectilinear rooms stay exact.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, Serialize, Deserialize)]
pub struct Point {
    pub x: Length,
    pub y: Length,
}

/// A simple ring of corners without the repeated first one, clockwise (the room lies to the right of each wall).
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Ring(pub Vec<Point>);

/// An area, exact: square counts of 1/8 µm, doubled values avoided by i128.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Area(pub i128);
