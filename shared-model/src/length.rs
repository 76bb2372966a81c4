//! Exact lengths and areas; reading and writing what crews write.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

use serde::{Deserialize, Serialize};

/// A length, exact: an integer count of 1/8 µm.
///
/// 1/64 in is 3 175 counts and 1 mm is 8 000 counts, so every tape fraction and every metric reading is exact.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Length(pub i64);

/// The job's own units: how bare numbers are read and how lengths are shown.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub enum Units {
    /// Feet, inches and fractions.
    #[default]
    Imperial,
    /// Metres and millimetres.
    Metric,
}

impl Length {
    pub const ZERO: Self = Self(0);
    pub const MM: Self = Self(8_000);
    pub const INCH: Self = Self(203_200);
    pub const FOOT: Self = Self(12 * 203_200);

    /// Whole inches.
    pub const fn inches(n: i64) -> Self {
        Self(n * Self::INCH.0)
    }

    /// Whole feet.
    pub const fn feet(n: i64) -> Self {
        Self(n * Self::FOOT.0)
    }

    /// Sixty-fourths of an inch.
    pub const fn sixty_fourths(n: i64) -> Self {
        Self(n * 3_175)
    }

    /// Whole millimetres.
    pub const fn mm(n: i64) -> Self {
        Self(n * Self::MM.0)
    }

    /// For drawing only: millimetres as a float.
    pub fn as_mm(self) -> f64 {
        self.0 as f64 / 8_000.0
    }

    pub const fn abs(self) -> Self {
        Self(self.0.abs())
    }
}

impl Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Neg for Length {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl AddAssign for Length {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl SubAssign for Length {
    fn sub_assign(&mut self, other: Self) {
        self.0 -= other.0;
    }
}

impl Mul<i64> for Length {
    type Output = Self;
    fn mul(self, n: i64) -> Self {
        Self(self.0 * n)
    }
}

impl Div<i64> for Length {
    type Output = Self;
    fn div(self, n: i64) -> Self {
        Self(self.0 / n)
    }
}

impl Sum for Length {
    fn sum<I: Iterator<Item = Self>>(lengths: I) -> Self {
        Self(lengths.map(|it| it.0).sum())
    }
}
