//! Exact lengths; reading and writing what crews write.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

mod entry;

pub use entry::LengthError;

/// A length, exact: an integer count of 1/8 µm.
///
/// 1/64 in is 3 175 counts and 1 mm is 8 000 counts, so every tape fraction and every metric reading is exact.
/// Sums that leave the range saturate instead of wrapping; anything near the range is refused as absurd long before.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Length(pub i64);

/// The job's own units: how bare numbers are read and how lengths are shown.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, JsonSchema)]
pub enum Units {
    /// Feet, inches and fractions.
    #[default]
    Imperial,
    /// Metres and millimetres.
    Metric,
}

/// How a length is written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Style {
    /// `12' 4 1/2"`, to the nearest 1/`finest` in; `finest` is a power of two from 1 to 64.
    FeetInches { finest: u8 },
    /// `3.760 m`, to the nearest millimetre.
    Metres,
    /// `376.0 cm`, to the nearest millimetre.
    Centimetres,
    /// `3760 mm`, to the nearest millimetre.
    Millimetres,
}

impl Units {
    /// How lengths are shown in these units when nothing else is asked for: to 1/16 in, or metres with millimetres.
    pub const fn style(self) -> Style {
        match self {
            Self::Imperial => Style::FeetInches { finest: 16 },
            Self::Metric => Style::Metres,
        }
    }
}

impl Style {
    /// What a shown length is a whole multiple of.
    pub const fn step(self) -> Length {
        match self {
            Self::FeetInches { finest } => Length::sixty_fourths(64 / denominator(finest)),
            Self::Metres | Self::Centimetres | Self::Millimetres => Length::MM,
        }
    }
}

/// The power of two from 1 to 64 that is nearest below.
const fn denominator(finest: u8) -> i64 {
    match finest {
        64.. => 64,
        0 => 1,
        _ => 1 << finest.ilog2(),
    }
}

impl Length {
    pub const ZERO: Self = Self(0);
    pub const MM: Self = Self(8_000);
    pub const INCH: Self = Self(203_200);
    pub const FOOT: Self = Self(12 * 203_200);
    pub const METRE: Self = Self(1_000 * 8_000);

    /// Nothing that a crew measures is longer: 10 km.
    pub const MOST: Self = Self(10_000 * 1_000 * 8_000);

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
        Self(self.0.saturating_abs())
    }

    /// Up to the next whole multiple of `step`: how cuts and orders are rounded. Unchanged if `step` is not positive.
    pub const fn round_up_to(self, step: Self) -> Self {
        if step.0 <= 0 {
            return self;
        }
        match self.0.rem_euclid(step.0) {
            0 => self,
            over => Self(self.0.saturating_add(step.0 - over)),
        }
    }

    /// Down to the last whole multiple of `step`. Unchanged if `step` is not positive.
    pub const fn round_down_to(self, step: Self) -> Self {
        if step.0 <= 0 { self } else { Self(self.0 - self.0.rem_euclid(step.0)) }
    }

    /// To the nearest whole multiple of `step`, halves away from zero. Unchanged if `step` is not positive.
    pub const fn round_to(self, step: Self) -> Self {
        if step.0 <= 0 {
            return self;
        }
        let size = self.0.saturating_abs();
        let over = size % step.0;
        let rounded = if over >= step.0 - over { size.saturating_add(step.0 - over) } else { size - over };
        Self(rounded * self.0.signum())
    }

    /// Reads what a crew writes; a bare number is in the job's `units`.
    ///
    /// Feet and inches: `12' 4 1/2"`, `12 ft 4 in`, `12-4-1/2`, `12 4 1/2`, `148.5"`, `12.375'`, `4½"`. Metric: `3.76 m`,
    /// `376 cm`, `3,76 m`, `3 m 76 cm`, and `3760` in a metric job. Both are read in every job; only bare numbers differ:
    /// in a metric job a whole bare number is millimetres; in a feet-and-inches job two bare numbers are feet and inches,
    /// a bare fraction is inches, and a single bare number is refused because it may be either. A decimal that is no whole
    /// count is rounded to the nearest one (1/8 µm). Longer than [`Length::MOST`] is refused.
    pub fn parse(text: &str, units: Units) -> Result<Self, LengthError> {
        entry::parse(text, units)
    }

    /// For people, rounded to the nearest [`Style::step`].
    pub fn show(self, style: Style) -> String {
        let shown = self.round_to(style.step());
        let sign = if shown.0 < 0 { "-" } else { "" };
        let size = shown.abs();
        let mm = size.0 / Self::MM.0;
        match style {
            Style::FeetInches { .. } => format!("{sign}{}", feet_inches(size.0 / Self::sixty_fourths(1).0)),
            Style::Metres => format!("{sign}{}.{:03} m", mm / 1_000, mm % 1_000),
            Style::Centimetres => format!("{sign}{}.{} cm", mm / 10, mm % 10),
            Style::Millimetres => format!("{sign}{mm} mm"),
        }
    }

    /// For people who cut or order by it: rounded up to the next [`Style::step`], never to nearest.
    pub fn show_up(self, style: Style) -> String {
        self.round_up_to(style.step()).show(style)
    }

    /// Nothing rounded: feet, inches and fractions for a whole number of 1/64 in, decimal millimetres otherwise.
    ///
    /// [`Length::parse`] gives back the identical length, in a job of either units.
    pub fn exact_text(self) -> String {
        if self.0 % Self::sixty_fourths(1).0 == 0 {
            return self.show(Style::FeetInches { finest: 64 });
        }
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.unsigned_abs();
        // One count is 0.000125 mm.
        let decimals = format!("{:06}", size % 8_000 * 125);
        match decimals.trim_end_matches('0') {
            "" => format!("{sign}{} mm", size / 8_000),
            some => format!("{sign}{}.{some} mm", size / 8_000),
        }
    }
}

/// A size in 1/64 in, not negative, as feet, inches and the reduced fraction.
fn feet_inches(sixty_fourths: i64) -> String {
    let (feet, inches, part) = (sixty_fourths / 768, sixty_fourths / 64 % 12, sixty_fourths % 64);
    let reduce = part.trailing_zeros().min(6);
    let (numerator, denominator) = (part >> reduce, 64 >> reduce);
    match (feet, inches, part) {
        (0, 0, 1..) => format!("{numerator}/{denominator}\""),
        (0, _, 0) => format!("{inches}\""),
        (0, _, _) => format!("{inches} {numerator}/{denominator}\""),
        (_, _, 0) => format!("{feet}' {inches}\""),
        _ => format!("{feet}' {inches} {numerator}/{denominator}\""),
    }
}

impl Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Neg for Length {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

impl AddAssign for Length {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for Length {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Mul<i64> for Length {
    type Output = Self;
    fn mul(self, n: i64) -> Self {
        Self(self.0.saturating_mul(n))
    }
}

/// Rounded toward zero.
impl Div<i64> for Length {
    type Output = Self;
    fn div(self, n: i64) -> Self {
        Self(self.0 / n)
    }
}

impl Sum for Length {
    fn sum<I: Iterator<Item = Self>>(lengths: I) -> Self {
        lengths.fold(Self::ZERO, Add::add)
    }
}
