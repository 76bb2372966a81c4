//! Exact angles and the turn at a corner.

use serde::{Deserialize, Serialize};

/// An angle, exact: an integer count of 1/1000 arcsecond. Positive to the right (clockwise).
///
/// Degrees with three decimals, and degrees, minutes and seconds, are all exact.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Angle(pub i64);

impl Angle {
    pub const DEGREE: Self = Self(3_600_000);
    pub const QUARTER: Self = Self(90 * 3_600_000);
    pub const FULL: Self = Self(360 * 3_600_000);

    pub const fn degrees(n: i64) -> Self {
        Self(n * Self::DEGREE.0)
    }

    pub const fn dms(degrees: i64, minutes: i64, seconds: i64) -> Self {
        Self(degrees * Self::DEGREE.0 + minutes * 60_000 + seconds * 1_000)
    }
}

/// The turn at the end of a wall: how far the next wall turns off from going straight on. Positive to the right,
/// between −180° and +180°, both excluded.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Turn(pub Angle);

impl Turn {
    pub const RIGHT: Self = Self(Angle::QUARTER);
    pub const LEFT: Self = Self(Angle(-Angle::QUARTER.0));

    /// Whether both walls meet square.
    pub const fn is_square(self) -> bool {
        self.0.0.abs() == Angle::QUARTER.0
    }
}
