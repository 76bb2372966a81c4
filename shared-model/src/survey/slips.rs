//! How people misread, miscall and mistype a length, and what it would have been.

use serde::{Deserialize, Serialize};

use crate::length::{Length, Units};

/// A likely slip.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Slip {
    /// A whole foot; in a metric job a decimetre or a metre.
    Foot,
    /// A whole inch, or a centimetre.
    Inch,
    /// Two digits the wrong way round.
    Transposed,
    /// A 6 for a 9, or a 9 for a 6.
    SixForNine,
    /// The fraction was left out.
    Fraction,
    /// Inches taken for feet, or feet for inches.
    InchesForFeet,
    /// Inside measured for outside, or outside for inside.
    WallThickness,
    /// A left turn taken for a right one, or a right for a left.
    OtherWay,
}

impl Slip {
    /// How much rarer than a whole foot this is, as -2 ln of the ratio; our judgement. The fractions are many, so each is rare.
    pub(crate) const fn rarity(self) -> f64 {
        match self {
            Self::Foot | Self::OtherWay => 0.0,
            Self::Inch | Self::Transposed | Self::SixForNine => 2.0,
            Self::InchesForFeet => 3.0,
            Self::WallThickness => 4.0,
            Self::Fraction => 5.0,
        }
    }

    /// In a sentence: "… reads 12' 4"; 13' 4" would fit: *a foot off*".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Foot => "a foot off",
            Self::Inch => "an inch off",
            Self::Transposed => "two digits the wrong way round",
            Self::SixForNine => "a 6 for a 9",
            Self::Fraction => "a fraction left out",
            Self::InchesForFeet => "inches for feet",
            Self::WallThickness => "inside for outside",
            Self::OtherWay => "turned the other way",
        }
    }
}

/// Everything that a reading may have been instead, the likelier slips first.
pub(crate) fn readings(value: Length, typed: &str, thickness: Length, units: Units) -> Vec<(Slip, Length)> {
    let mut all: Vec<(Slip, Length)> = Vec::new();
    let whole: &[(Slip, Length)] = match units {
        Units::Imperial => &[(Slip::Foot, Length::FOOT), (Slip::Inch, Length::INCH)],
        Units::Metric => &[(Slip::Foot, Length::mm(100)), (Slip::Foot, Length::METRE), (Slip::Inch, Length::mm(10))],
    };
    all.extend(whole.iter().flat_map(|&(slip, by)| [(slip, value + by), (slip, value - by)]));
    all.extend(retyped(typed, units, transposed).into_iter().map(|it| (Slip::Transposed, it)));
    all.extend(retyped(typed, units, six_for_nine).into_iter().map(|it| (Slip::SixForNine, it)));
    if !typed.contains(['/', '.', '½', '¼', '¾', '⅛', '⅜', '⅝', '⅞']) && units == Units::Imperial {
        all.extend((1..8).map(|eighths| (Slip::Fraction, value + Length::sixty_fourths(8 * eighths))));
    }
    if units == Units::Imperial {
        all.push((Slip::InchesForFeet, value * 12));
        all.push((Slip::InchesForFeet, Length(value.0 / 12)));
    }
    for by in [thickness, thickness * 2] {
        all.extend([(Slip::WallThickness, value + by), (Slip::WallThickness, value - by)]);
    }
    all.retain(|&(_, it)| it > Length::ZERO && it <= Length::MOST && it != value);
    all
}

/// Readings of the text with something changed at each of its places.
fn retyped(typed: &str, units: Units, change: fn(&[char], usize) -> Option<String>) -> Vec<Length> {
    let text: Vec<char> = typed.chars().collect();
    let changed = (0..text.len()).filter_map(|i| change(&text, i));
    changed.filter_map(|it| Length::parse(it.trim(), units).ok()).collect()
}

fn transposed(text: &[char], i: usize) -> Option<String> {
    let (a, b) = (*text.get(i)?, *text.get(i + 1)?);
    let mut other = text.to_vec();
    other.swap(i, i + 1);
    (a.is_ascii_digit() && b.is_ascii_digit() && a != b).then(|| other.into_iter().collect())
}

fn six_for_nine(text: &[char], i: usize) -> Option<String> {
    let mut other = text.to_vec();
    other[i] = match text.get(i)? {
        '6' => '9',
        '9' => '6',
        _ => return None,
    };
    Some(other.into_iter().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn has(typed: &str, slip: Slip, meant: &str) -> bool {
        let value = |text: &str| Length::parse(text, Units::Imperial).unwrap();
        let all = readings(value(typed), typed, Length::inches(4), Units::Imperial);
        all.contains(&(slip, value(meant)))
    }

    #[test]
    fn each_slip_gives_what_was_meant() {
        assert!(has("12' 4\"", Slip::Foot, "13' 4\""));
        assert!(has("12' 4\"", Slip::Inch, "12' 3\""));
        assert!(has("12' 4\"", Slip::Transposed, "21' 4\""));
        assert!(has("16' 4\"", Slip::SixForNine, "19' 4\""));
        assert!(has("12' 4\"", Slip::Fraction, "12' 4 5/8\""));
        assert!(has("12\"", Slip::InchesForFeet, "12'"));
        assert!(has("12' 4\"", Slip::WallThickness, "12' 8\""));
        assert!(has("12' 4\"", Slip::WallThickness, "11' 8\""), "both walls");
        assert!(!has("12' 4 1/2\"", Slip::Fraction, "12' 4 5/8\""), "it has one");
    }
}
