//! Exact angles and the turn at a corner.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// An angle, exact: an integer count of 1/1000 arcsecond. Positive to the right (clockwise).
///
/// Degrees with three decimals, and degrees, minutes and seconds, are all exact.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Angle(pub i64);

/// The turn at the end of a wall: how far the next wall turns off from going straight on. Positive to the right,
/// between −180° and +180°, both excluded.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Turn(pub Angle);

/// Why an entry is no angle or no turn.
#[derive(thiserror::Error, Debug, Clone, PartialEq, Eq)]
pub enum AngleError {
    #[error(
        "{0} is not understood: enter degrees like 45 or 22.5, or degrees and minutes like 26-10; r or l for the side"
    )]
    Unreadable(String),
    #[error("minutes and seconds are less than 60")]
    Carry,
    #[error("a corner turns by less than 180°")]
    TooFar,
}

impl Angle {
    pub const ZERO: Self = Self(0);
    pub const DEGREE: Self = Self(3_600_000);
    pub const QUARTER: Self = Self(90 * 3_600_000);
    pub const FULL: Self = Self(360 * 3_600_000);

    pub const fn degrees(n: i64) -> Self {
        Self(n * Self::DEGREE.0)
    }

    pub const fn dms(degrees: i64, minutes: i64, seconds: i64) -> Self {
        Self(degrees * Self::DEGREE.0 + minutes * 60_000 + seconds * 1_000)
    }

    /// The same direction, from 0° to below 360°.
    pub const fn direction(self) -> Self {
        Self(self.0.rem_euclid(Self::FULL.0))
    }

    /// This angle and then another, as a direction.
    pub const fn then(self, turn: Self) -> Self {
        Self(self.direction().0 + turn.direction().0).direction()
    }

    /// How many quarter turns to the right, 0 to 3, if it is a whole number of them.
    pub const fn quarters(self) -> Option<i64> {
        let direction = self.direction().0;
        if direction % Self::QUARTER.0 == 0 { Some(direction / Self::QUARTER.0) } else { None }
    }

    /// The unit vector (east, north) of this direction, counted from north to the right. Exact for quarter turns.
    pub fn unit(self) -> (f64, f64) {
        match self.quarters() {
            Some(0) => (0.0, 1.0),
            Some(1) => (1.0, 0.0),
            Some(2) => (0.0, -1.0),
            Some(_) => (-1.0, 0.0),
            None => {
                let radians = self.direction().0 as f64 / Self::FULL.0 as f64 * core::f64::consts::TAU;
                (libm::sin(radians), libm::cos(radians))
            }
        }
    }

    /// Reads `45`, `22.5°`, `22,5`, `26°10'`, `26°10'30"`, `26-10-30`, `26 10 30`; a sign goes first. What is finer than
    /// 1/1000 arcsecond is rounded to the nearest.
    pub fn parse(text: &str) -> Result<Self, AngleError> {
        let unreadable = || AngleError::Unreadable(text.to_owned());
        if text.chars().count() > 32 {
            return Err(unreadable());
        }
        let plain = text.trim().replace(['−', '–'], "-").replace(',', ".");
        let (sign, size) = match plain.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, plain.as_str()),
        };
        let marks = ['°', '\'', '’', '′', '"', '”', '″', '-'];
        if size.starts_with(marks) {
            return Err(unreadable());
        }
        let size = size.replace(marks, " ");
        let parts: Vec<&str> = size.split_whitespace().collect();
        let (last, before) = parts.split_last().ok_or_else(unreadable)?;
        if before.len() > 2 {
            return Err(unreadable());
        }
        let mut sum = 0;
        for (place, part) in parts.iter().enumerate() {
            let unit = [Self::DEGREE.0, 60_000, 1_000][place];
            let decimals_allowed = part == last && place == before.len();
            let value = decimal(part, unit, decimals_allowed).ok_or_else(unreadable)?;
            if place > 0 && value >= 60 * unit {
                return Err(AngleError::Carry);
            }
            sum += value;
        }
        Ok(Self(sign * sum))
    }

    /// `22.5°` when three decimals say it exactly, `26°10'` or `26°10'30.5"` otherwise. Parses back to the same angle.
    pub fn show(self) -> String {
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.unsigned_abs();
        let fraction = |value: u64| match format!("{value:03}").trim_end_matches('0') {
            "" => String::new(),
            digits => format!(".{digits}"),
        };
        if size.is_multiple_of(3_600) {
            return format!("{sign}{}{}°", size / 3_600_000, fraction(size / 3_600 % 1_000));
        }
        let (degrees, minutes, rest) = (size / 3_600_000, size / 60_000 % 60, size % 60_000);
        if rest == 0 {
            return format!("{sign}{degrees}°{minutes}'");
        }
        format!("{sign}{degrees}°{minutes}'{}{}\"", rest / 1_000, fraction(rest % 1_000))
    }
}

/// `text` times `unit`, to the nearest count; at most 6 digits before the point and 9 after it.
fn decimal(text: &str, unit: i64, decimals_allowed: bool) -> Option<i64> {
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    let digits = |part: &str, most: usize| part.len() <= most && part.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !digits(whole, 6) || !digits(decimals, 9) || (!decimals_allowed && text.contains('.')) {
        return None;
    }
    let scale = 10_i128.pow(u32::try_from(decimals.len()).ok()?);
    let number: i128 = format!("{whole}{decimals}").parse().ok()?;
    i64::try_from((number * i128::from(unit) + scale / 2) / scale).ok()
}

impl Turn {
    pub const RIGHT: Self = Self(Angle::QUARTER);
    pub const STRAIGHT: Self = Self(Angle::ZERO);
    pub const LEFT: Self = Self(Angle(-Angle::QUARTER.0));

    /// Whether both walls meet square.
    pub const fn is_square(self) -> bool {
        self.0.0 == Angle::QUARTER.0 || self.0.0 == -Angle::QUARTER.0
    }

    /// Whether a corner can turn so.
    pub const fn is_possible(self) -> bool {
        -2 * Angle::QUARTER.0 < self.0.0 && self.0.0 < 2 * Angle::QUARTER.0
    }

    /// Reads an angle with its side: `r45`, `45 l`, `left 22.5°`; without a side it is to the right, `-45` is to the left.
    /// A side alone is a square corner.
    pub fn parse(text: &str) -> Result<Self, AngleError> {
        let lower = text.trim().to_lowercase();
        let mut sided = None;
        for (word, sign) in [("right", 1), ("left", -1), ("r", 1), ("l", -1)] {
            let rest = lower.strip_prefix(word).or_else(|| lower.strip_suffix(word));
            if let Some(rest) = rest {
                sided = Some((rest, sign));
                break;
            }
        }
        let (size, sign) = match sided {
            None => (lower.as_str(), 1),
            Some((rest, sign)) if rest.trim().is_empty() => ("90", sign),
            Some(sized) => sized,
        };
        let angle = Angle::parse(size).map_err(|error| match error {
            AngleError::Unreadable(_) => AngleError::Unreadable(text.to_owned()),
            other => other,
        })?;
        if sided.is_some() && angle.0 < 0 {
            return Err(AngleError::Unreadable(text.to_owned()));
        }
        let turn = Self(Angle(angle.0 * sign));
        if turn.is_possible() { Ok(turn) } else { Err(AngleError::TooFar) }
    }

    /// `90° right`, `45° left`, `straight on`.
    pub fn show(self) -> String {
        let size = Angle(self.0.0.saturating_abs()).show();
        match self.0.0.signum() {
            0 => "straight on".to_owned(),
            1 => size + " right",
            _ => size + " left",
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn angles_are_read_as_written() {
        for (text, angle) in [
            ("45", Angle::degrees(45)),
            ("22.5°", Angle(22_500 * 3_600)),
            ("22,5", Angle(22_500 * 3_600)),
            ("26°10'", Angle::dms(26, 10, 0)),
            ("26-10-30", Angle::dms(26, 10, 30)),
            ("26 10 30", Angle::dms(26, 10, 30)),
            ("26° 10′ 30.5″", Angle(Angle::dms(26, 10, 30).0 + 500)),
            ("-45", Angle::degrees(-45)),
            ("0.0001", Angle(360)),
        ] {
            assert_eq!(Angle::parse(text), Ok(angle), "{text}");
        }
        assert_eq!(Angle::parse("26°60'"), Err(AngleError::Carry));
        for text in ["", "x", "1.5-10", "1-2-3-4", "--4", "1.2.3", "9999999", "°"] {
            assert_eq!(Angle::parse(text), Err(AngleError::Unreadable(text.to_owned())), "{text}");
        }
    }

    #[test]
    fn turns_have_a_side() {
        for (text, degrees) in [
            ("45", 45),
            ("r45", 45),
            ("l45", -45),
            ("45 L", -45),
            ("left 45°", -45),
            ("45° right", 45),
            ("-45", -45),
            ("l", -90),
            ("Right", 90),
        ] {
            assert_eq!(Turn::parse(text), Ok(Turn(Angle::degrees(degrees))), "{text}");
        }
        assert_eq!(Turn::parse("180"), Err(AngleError::TooFar));
        assert_eq!(Turn::parse("l-45"), Err(AngleError::Unreadable("l-45".to_owned())));
        assert_eq!(Turn::RIGHT.show(), "90° right");
        assert_eq!(Turn(Angle::dms(-26, -10, 0)).show(), "26°10' left");
        assert_eq!(Turn(Angle::ZERO).show(), "straight on");
    }

    #[test]
    fn quarter_turns_are_exact() {
        assert_eq!(Angle::degrees(-90).unit(), (-1.0, 0.0));
        assert_eq!(Angle::degrees(540).unit(), (0.0, -1.0));
        let (east, north) = Angle::degrees(30).unit();
        assert!((east - 0.5).abs() < 1e-15 && (north - 0.75_f64.sqrt()).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn what_is_shown_parses_back(counts in -Angle::FULL.0..Angle::FULL.0) {
            prop_assert_eq!(Angle::parse(&Angle(counts).show()), Ok(Angle(counts)));
        }

        #[test]
        fn any_text_is_a_possible_turn_or_an_error(text in "\\PC{0,40}|[rl]?-?[0-9.,°' -]{0,12}[rl]?") {
            if let Ok(turn) = Turn::parse(&text) {
                prop_assert!(turn.is_possible());
            }
        }
    }
}
