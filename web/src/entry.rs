//! The keypad's field: what was pressed or typed, and the length it means.

use shared_model::job::Tool;
use shared_model::length::{Length, LengthError, Units};

/// A device that types faster than this between two characters is no person: milliseconds.
const INSTRUMENT_PACE: f64 = 40.0;
/// A line this short may be a person's.
const INSTRUMENT_LEAST: usize = 4;
const LONGEST: usize = 24;

/// One key of the pad.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Key {
    Digit(u8),
    Point,
    Feet,
    Inches,
    /// So many sixteenths of an inch, 1 to 15.
    Sixteenths(u8),
    Metres,
    Centimetres,
    Millimetres,
    Back,
}

/// What stands in the field.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Entry {
    text: String,
    /// Length of the text before the fraction key, so that another one replaces it.
    fraction_at: Option<usize>,
    last_typed: Option<f64>,
    slow: bool,
}

impl Entry {
    pub fn text(&self) -> &str {
        &self.text
    }

    pub fn is_empty(&self) -> bool {
        self.text.trim().is_empty()
    }

    /// A key of the pad.
    pub fn press(&mut self, key: Key) {
        self.slow = true;
        match key {
            Key::Digit(digit) => self.push_digit(char::from(b'0' + digit.min(9))),
            Key::Point => self.push_point(),
            Key::Feet if self.ends_in_digit() && !self.text.contains(['\'', '"', '/']) => self.text.push_str("' "),
            Key::Inches if self.ends_in_digit() && !self.text.contains('"') => self.text.push('"'),
            Key::Sixteenths(n) => self.set_fraction(n),
            Key::Metres => self.push_unit(" m"),
            Key::Centimetres => self.push_unit(" cm"),
            Key::Millimetres => self.push_unit(" mm"),
            Key::Back => self.back(),
            Key::Feet | Key::Inches => {}
        }
    }

    /// A character from a keyboard, or from a laser that types like one; `at` in milliseconds.
    pub fn type_char(&mut self, typed: char, at: f64) {
        if self.last_typed.is_some_and(|before| at - before > INSTRUMENT_PACE) {
            self.slow = true;
        }
        self.last_typed = Some(at);
        if self.text.len() < LONGEST && self.fraction_at.is_none() && Self::accepts(typed) {
            self.text.push(typed);
        }
    }

    /// Whether the character can be part of a length.
    pub fn accepts(typed: char) -> bool {
        typed.is_ascii_digit() || "'\"/.,- ftinchmet′″½¼¾⅛⅜⅝⅞".contains(typed.to_ascii_lowercase())
    }

    pub fn value(&self, units: Units) -> Result<Length, LengthError> {
        Length::parse(self.text.trim(), units)
    }

    /// What the sketch shows while the number is typed: a number that could be of several units counts as feet, or as
    /// metres in a metric job.
    pub fn preview(&self, units: Units) -> Option<Length> {
        let text = self.text.trim();
        let length = match Length::parse(text, units) {
            Err(LengthError::Ambiguous { .. }) => {
                let unit = match units {
                    Units::Imperial => "'",
                    Units::Metric => " m",
                };
                Length::parse(&format!("{text}{unit}"), units).ok()?
            }
            read => read.ok()?,
        };
        (length > Length::ZERO).then_some(length)
    }

    /// What the number was read with: nobody types a whole length in a few milliseconds.
    pub fn tool(&self) -> Tool {
        if self.slow || self.text.len() < INSTRUMENT_LEAST { Tool::Tape } else { Tool::Laser }
    }

    fn ends_in_digit(&self) -> bool {
        self.text.ends_with(|it: char| it.is_ascii_digit())
    }

    fn push_digit(&mut self, digit: char) {
        let closed = self.fraction_at.is_some() || self.text.ends_with(['"', 'm']);
        if !closed && self.text.len() < LONGEST {
            self.text.push(digit);
        }
    }

    fn push_point(&mut self) {
        let number = self.text.rsplit(|it: char| !it.is_ascii_digit() && it != '.').next().unwrap_or_default();
        if self.fraction_at.is_none() && !number.contains('.') && !self.text.ends_with(['"', 'm']) {
            if number.is_empty() {
                self.text.push('0');
            }
            self.text.push('.');
        }
    }

    fn push_unit(&mut self, unit: &str) {
        if self.ends_in_digit() {
            self.text.push_str(unit);
        }
    }

    /// Before or after the key for inches: people say four and a half inches as well as four inches and a half.
    fn set_fraction(&mut self, sixteenths: u8) {
        let inches = self.text.ends_with('"');
        let whole = match self.fraction_at {
            Some(at) => &self.text[..at],
            None => self.text.trim_end_matches('"'),
        };
        if whole.contains(['"', '/', '.', 'm']) || !(1..16).contains(&sixteenths) {
            return;
        }
        self.text.truncate(whole.len());
        self.fraction_at = Some(self.text.len());
        if self.ends_in_digit() {
            self.text.push(' ');
        }
        self.text.push_str(&fraction_label(sixteenths));
        if inches {
            self.text.push('"');
        }
    }

    fn back(&mut self) {
        match self.fraction_at.take() {
            Some(at) => self.text.truncate(at),
            None => {
                let mark = self.text.trim_end_matches([' ']).len();
                self.text.truncate(mark);
                self.text.pop();
                while self.text.ends_with([' ', 'm', 'c']) {
                    self.text.pop();
                }
            }
        }
    }
}

/// `3/8` for 6 sixteenths.
pub fn fraction_label(sixteenths: u8) -> String {
    let shift = sixteenths.trailing_zeros().min(4);
    format!("{}/{}", sixteenths >> shift, 16 >> shift)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pressed(keys: &[Key]) -> Entry {
        let mut entry = Entry::default();
        keys.iter().for_each(|key| entry.press(*key));
        entry
    }

    const TWELVE_FEET: [Key; 3] = [Key::Digit(1), Key::Digit(2), Key::Feet];

    #[test]
    fn feet_inches_and_a_fraction_take_one_tap_each() {
        let mut entry = pressed(&TWELVE_FEET);
        entry.press(Key::Digit(4));
        entry.press(Key::Sixteenths(8));
        assert_eq!(entry.text(), "12' 4 1/2");
        assert_eq!(entry.value(Units::Imperial), Ok(Length::feet(12) + Length::inches(4) + Length::sixty_fourths(32)));
    }

    #[test]
    fn another_fraction_replaces_the_first() {
        let mut entry = pressed(&TWELVE_FEET);
        entry.press(Key::Sixteenths(8));
        entry.press(Key::Sixteenths(3));
        assert_eq!(entry.text(), "12' 3/16");
        entry.press(Key::Back);
        assert_eq!(entry.text(), "12' ");
    }

    #[test]
    fn a_fraction_may_follow_the_key_for_inches() {
        let mut entry = pressed(&TWELVE_FEET);
        [Key::Digit(4), Key::Inches, Key::Sixteenths(8)].into_iter().for_each(|it| entry.press(it));
        assert_eq!(entry.text(), "12' 4 1/2\"");
        entry.press(Key::Sixteenths(2));
        assert_eq!(entry.text(), "12' 4 1/8\"");
        let half = Length::feet(12) + Length::inches(4) + Length::sixty_fourths(8);
        assert_eq!(entry.value(Units::Imperial), Ok(half));
        let alone = pressed(&[Key::Digit(5), Key::Inches, Key::Sixteenths(12)]);
        assert_eq!(alone.value(Units::Imperial), Ok(Length::inches(5) + Length::sixty_fourths(48)));
    }

    #[test]
    fn keys_that_make_no_sense_change_nothing() {
        assert_eq!(pressed(&[Key::Feet]).text(), "");
        assert_eq!(pressed(&[Key::Inches]).text(), "");
        let mut entry = pressed(&TWELVE_FEET);
        entry.press(Key::Feet);
        assert_eq!(entry.text(), "12' ");
        entry.press(Key::Sixteenths(8));
        entry.press(Key::Digit(4));
        assert_eq!(entry.text(), "12' 1/2");
    }

    #[test]
    fn back_takes_a_unit_with_its_space() {
        let mut entry = pressed(&TWELVE_FEET);
        entry.press(Key::Back);
        assert_eq!(entry.text(), "12");
        entry.press(Key::Back);
        entry.press(Key::Back);
        entry.press(Key::Back);
        assert!(entry.is_empty());
        let mut metric = pressed(&[Key::Digit(3), Key::Point, Key::Digit(7), Key::Metres]);
        assert_eq!(metric.value(Units::Metric), Ok(Length::mm(3_700)));
        metric.press(Key::Back);
        assert_eq!(metric.text(), "3.7");
    }

    #[test]
    fn a_lone_number_previews_as_feet_but_is_not_taken() {
        let entry = pressed(&[Key::Digit(1), Key::Digit(2)]);
        assert!(matches!(entry.value(Units::Imperial), Err(LengthError::Ambiguous { .. })));
        assert_eq!(entry.preview(Units::Imperial), Some(Length::feet(12)));
        assert_eq!(
            pressed(&[Key::Digit(3), Key::Digit(7), Key::Digit(6), Key::Digit(0)]).value(Units::Metric),
            Ok(Length::mm(3_760))
        );
    }

    #[test]
    fn a_lone_decimal_previews_as_metres_in_a_metric_job() {
        let entry = pressed(&[Key::Digit(7), Key::Point, Key::Digit(2)]);
        assert!(matches!(entry.value(Units::Metric), Err(LengthError::Ambiguous { .. })));
        assert_eq!(entry.preview(Units::Metric), Some(Length::mm(7_200)));
    }

    #[test]
    fn what_types_faster_than_a_hand_is_an_instrument() {
        let typed = |pace: f64| {
            let mut entry = Entry::default();
            "3.762 m".chars().zip(0..).for_each(|(it, n)| entry.type_char(it, f64::from(n) * pace));
            entry
        };
        assert_eq!(typed(8.0).tool(), Tool::Laser);
        assert_eq!(typed(8.0).value(Units::Metric), Ok(Length::mm(3_762)));
        assert_eq!(typed(120.0).tool(), Tool::Tape);
    }

    #[test]
    fn sixteenths_are_named_in_lowest_terms() {
        let all: Vec<_> = (1..16).map(fraction_label).collect();
        assert_eq!(all.join(" "), "1/16 1/8 3/16 1/4 5/16 3/8 7/16 1/2 9/16 5/8 11/16 3/4 13/16 7/8 15/16");
    }
}
