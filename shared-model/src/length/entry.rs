//! The grammar of lengths as crews type and dictate them.

use super::{Length, Units};

/// The longest entry that is looked at, in characters.
const LONGEST_ENTRY: usize = 64;

/// Why an entry is no length, and what would be one.
#[derive(thiserror::Error, Debug, Clone, PartialEq, Eq)]
pub enum LengthError {
    #[error("no length entered")]
    Empty,
    /// Each reading is written so that it can be entered instead.
    #[error("{text} could mean {}: enter it with its unit", readings.join(" or "))]
    Ambiguous { text: String, readings: Vec<String> },
    #[error("{0} is not understood: enter feet and inches like 12' 4 1/2\", or metric like 3.76 m")]
    Unreadable(String),
    #[error("1/{0} is on no tape: halves, quarters, 8ths, 16ths, 32nds and 64ths are")]
    Fraction(u64),
    #[error("the fraction {0}/{1} is not less than one")]
    Improper(u64, u64),
    #[error("{part} does not fit after {before}: it must be less than one {unit}")]
    Carry { before: String, part: String, unit: &'static str },
    #[error("{0} has decimals or a fraction, so nothing smaller can follow it")]
    Broken(String),
    #[error("a length is not negative")]
    Negative,
    #[error("that is longer than 10 km")]
    Absurd,
    #[error("an entry has at most 64 characters and 18 digits in a row")]
    TooLong,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Unit {
    Feet,
    Inches,
    Metres,
    Centimetres,
    Millimetres,
}

impl Unit {
    fn from_word(word: &str) -> Option<Self> {
        Some(match word {
            "ft" | "foot" | "feet" => Self::Feet,
            "in" | "inch" | "inches" => Self::Inches,
            "m" | "metre" | "metres" | "meter" | "meters" => Self::Metres,
            "cm" => Self::Centimetres,
            "mm" => Self::Millimetres,
            _ => return None,
        })
    }

    const fn length(self) -> Length {
        match self {
            Self::Feet => Length::FOOT,
            Self::Inches => Length::INCH,
            Self::Metres => Length::METRE,
            Self::Centimetres => Length::mm(10),
            Self::Millimetres => Length::MM,
        }
    }

    const fn is_metric(self) -> bool {
        !matches!(self, Self::Feet | Self::Inches)
    }

    const fn name(self) -> &'static str {
        match self {
            Self::Feet => "foot",
            Self::Inches => "inch",
            Self::Metres => "metre",
            Self::Centimetres => "centimetre",
            Self::Millimetres => "millimetre",
        }
    }

    const fn mark(self) -> &'static str {
        match self {
            Self::Feet => "'",
            Self::Inches => "\"",
            Self::Metres => " m",
            Self::Centimetres => " cm",
            Self::Millimetres => " mm",
        }
    }
}

enum Token {
    Number(Number),
    Fraction(u64, u64),
    Unit(Unit),
    Dash,
}

/// `whole.decimals`, as typed: `digits / 10^places`.
#[derive(Clone, Copy)]
struct Number {
    digits: u64,
    places: u32,
    /// Written with a comma and three digits after it, which may also be thousands.
    maybe_thousands: bool,
}

/// A number, a fraction, or both, and the unit after it if there is one.
#[derive(Clone, Copy)]
struct Term {
    number: Option<Number>,
    fraction: Option<(u64, u64)>,
    unit: Option<Unit>,
}

pub(super) fn parse(text: &str, units: Units) -> Result<Length, LengthError> {
    if text.chars().count() > LONGEST_ENTRY {
        return Err(LengthError::TooLong);
    }
    let text = text.trim();
    if text.is_empty() {
        return Err(LengthError::Empty);
    }
    let terms = terms(&tokens(text)?, text)?;
    let length = total(&assign_units(&terms, text, units)?, text)?;
    if length > Length::MOST { Err(LengthError::Absurd) } else { Ok(length) }
}

/// Typographic marks as their typewriter ones, so that text pasted from anywhere is read alike.
fn plain(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '’' | '‘' | '‛' | '′' | 'ʹ' | 'ʼ' | '´' | '`' => plain.push('\''),
            '”' | '“' | '‟' | '″' | 'ʺ' => plain.push('"'),
            '‐' | '‑' | '‒' | '–' | '—' | '−' => plain.push('-'),
            '⁄' | '∕' => plain.push('/'),
            '½' => plain.push_str(" 1/2"),
            '¼' => plain.push_str(" 1/4"),
            '¾' => plain.push_str(" 3/4"),
            '⅛' => plain.push_str(" 1/8"),
            '⅜' => plain.push_str(" 3/8"),
            '⅝' => plain.push_str(" 5/8"),
            '⅞' => plain.push_str(" 7/8"),
            _ if c.is_whitespace() => plain.push(' '),
            _ => plain.extend(c.to_lowercase()),
        }
    }
    plain.replace("''", "\"")
}

fn tokens(text: &str) -> Result<Vec<Token>, LengthError> {
    let plain = plain(text);
    let mut rest = plain.as_str();
    let mut tokens = Vec::new();
    while let Some(c) = rest.chars().next() {
        if c.is_ascii_digit() || c == '.' || c == ',' {
            let run = take(&mut rest, |c| c.is_ascii_digit() || matches!(c, '.' | ',' | '/'));
            tokens.push(number_or_fraction(run, text)?);
        } else if c.is_alphabetic() {
            let word = take(&mut rest, char::is_alphabetic);
            tokens.push(Token::Unit(Unit::from_word(word).ok_or_else(|| unreadable(text))?));
            rest = rest.strip_prefix('.').unwrap_or(rest);
        } else {
            match take(&mut rest, |it| it == c) {
                "'" => tokens.push(Token::Unit(Unit::Feet)),
                "\"" => tokens.push(Token::Unit(Unit::Inches)),
                "-" => tokens.push(Token::Dash),
                spaces if spaces.starts_with(' ') => {}
                _ => return Err(unreadable(text)),
            }
        }
    }
    Ok(tokens)
}

/// Splits off the longest start of `rest` whose characters all satisfy `wanted`.
fn take<'a>(rest: &mut &'a str, wanted: impl Fn(char) -> bool) -> &'a str {
    let end = rest.find(|c| !wanted(c)).unwrap_or(rest.len());
    let (taken, after) = rest.split_at(end);
    *rest = after;
    taken
}

fn unreadable(text: &str) -> LengthError {
    LengthError::Unreadable(text.to_owned())
}

fn number_or_fraction(run: &str, text: &str) -> Result<Token, LengthError> {
    if let Some((numerator, denominator)) = run.split_once('/') {
        let (numerator, denominator) = (whole(numerator, text)?, whole(denominator, text)?);
        if !(denominator.is_power_of_two() && (2..=64).contains(&denominator)) {
            return Err(LengthError::Fraction(denominator));
        }
        if numerator >= denominator {
            return Err(LengthError::Improper(numerator, denominator));
        }
        return Ok(Token::Fraction(numerator, denominator));
    }
    let Some(mark) = run.find(['.', ',']) else {
        return Ok(Token::Number(Number { digits: whole(run, text)?, places: 0, maybe_thousands: false }));
    };
    let (before, after) = (&run[..mark], &run[mark + 1..]);
    let digits = whole(&format!("{before}{after}"), text)?;
    let places = u32::try_from(after.len()).map_err(|_| LengthError::TooLong)?;
    let maybe_thousands = run[mark..].starts_with(',') && places == 3 && (1..=3).contains(&before.len());
    Ok(Token::Number(Number { digits, places, maybe_thousands }))
}

fn whole(digits: &str, text: &str) -> Result<u64, LengthError> {
    if digits.len() > 18 {
        return Err(LengthError::TooLong);
    }
    // Anything but digits (a second mark, a sign, nothing at all) is refused; `parse` alone would take a plus sign.
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(unreadable(text));
    }
    digits.parse().map_err(|_| unreadable(text))
}

/// Groups the tokens: `number [-] [fraction] [unit]`, with a dash or nothing between the groups.
fn terms(tokens: &[Token], text: &str) -> Result<Vec<Term>, LengthError> {
    if matches!(tokens, [Token::Dash, ..]) {
        return Err(LengthError::Negative);
    }
    let mut terms = Vec::new();
    let mut rest = tokens;
    while !rest.is_empty() {
        let (number, fraction);
        (number, fraction, rest) = match rest {
            [Token::Number(n), Token::Fraction(a, b), after @ ..] => (Some(*n), Some((*a, *b)), after),
            [Token::Number(n), Token::Dash, Token::Fraction(a, b), after @ ..] => (Some(*n), Some((*a, *b)), after),
            [Token::Number(n), after @ ..] => (Some(*n), None, after),
            [Token::Fraction(a, b), after @ ..] => (None, Some((*a, *b)), after),
            _ => return Err(unreadable(text)),
        };
        let mut unit = None;
        if let [Token::Unit(found), after @ ..] = rest {
            (unit, rest) = (Some(*found), after);
        }
        if let [Token::Dash, after @ ..] = rest {
            if after.is_empty() {
                return Err(unreadable(text));
            }
            rest = after;
        }
        terms.push(Term { number, fraction, unit });
    }
    Ok(terms)
}

/// Gives every term its unit, or says what the entry could mean.
fn assign_units(terms: &[Term], text: &str, units: Units) -> Result<Vec<(Term, Unit)>, LengthError> {
    let assigned = match terms {
        [one @ Term { unit: None, .. }] => vec![(*one, bare(one, text, units)?)],
        [feet @ Term { unit: None, .. }, inches @ Term { unit: None, .. }] if units == Units::Imperial => {
            vec![(*feet, Unit::Feet), (*inches, Unit::Inches)]
        }
        [feet @ Term { unit: None, .. }, inches @ Term { unit: Some(Unit::Inches), .. }]
        | [feet @ Term { unit: Some(Unit::Feet), .. }, inches @ Term { unit: None, .. }] => {
            vec![(*feet, Unit::Feet), (*inches, Unit::Inches)]
        }
        _ => terms
            .iter()
            .map(|term| term.unit.map(|unit| (*term, unit)))
            .collect::<Option<_>>()
            .ok_or_else(|| unreadable(text))?,
    };
    for (term, unit) in &assigned {
        refuse_thousands(term, *unit, text)?;
        if term.fraction.is_some() && (unit.is_metric() || term.number.is_some_and(|it| it.places > 0)) {
            return Err(unreadable(text));
        }
    }
    Ok(assigned)
}

/// The unit of an entry that is a single bare number or fraction.
fn bare(term: &Term, text: &str, units: Units) -> Result<Unit, LengthError> {
    let readings = match (units, term.number, term.fraction) {
        (Units::Imperial, None, _) => return Ok(Unit::Inches),
        (_, Some(Number { digits: 0, .. }), None) => return Ok(Unit::Millimetres),
        (Units::Metric, Some(Number { places: 0, .. }), None) => return Ok(Unit::Millimetres),
        (Units::Metric, None, _) => return Err(unreadable(text)),
        (Units::Metric, Some(number), None) => {
            refuse_thousands(term, Unit::Millimetres, text)?;
            vec![number.with(Unit::Metres), number.with(Unit::Millimetres)]
        }
        (Units::Imperial, Some(number), None) => {
            refuse_thousands(term, Unit::Inches, text)?;
            vec![number.with(Unit::Feet), number.with(Unit::Inches)]
        }
        (_, Some(number), Some((a, b))) => {
            if number.places > 0 {
                return Err(unreadable(text));
            }
            vec![format!("{} {a}/{b}\"", number.text()), format!("{} 0 {a}/{b}\"", number.with(Unit::Feet))]
        }
    };
    Err(LengthError::Ambiguous { text: text.to_owned(), readings })
}

/// `3,760 mm` may be 3.760 mm or 3760 mm.
fn refuse_thousands(term: &Term, unit: Unit, text: &str) -> Result<(), LengthError> {
    match term.number {
        Some(number) if number.maybe_thousands => {
            let thousands = Number { places: 0, ..number };
            let readings = vec![number.with(unit), thousands.with(unit)];
            Err(LengthError::Ambiguous { text: text.to_owned(), readings })
        }
        _ => Ok(()),
    }
}

/// Adds the terms, each of which must be less than one unit of the term before it.
fn total(terms: &[(Term, Unit)], text: &str) -> Result<Length, LengthError> {
    let mut sum = Length::ZERO;
    let mut before: Option<(Term, Unit)> = None;
    for (term, unit) in terms {
        let value = term.value(*unit)?;
        if let Some((larger, larger_unit)) = before {
            if larger.fraction.is_some() || larger.number.is_some_and(|it| it.places > 0) {
                return Err(LengthError::Broken(larger.text(larger_unit)));
            }
            if unit.is_metric() != larger_unit.is_metric() || unit.length() >= larger_unit.length() {
                return Err(unreadable(text));
            }
            if value >= larger_unit.length() {
                let (before, part) = (larger.text(larger_unit), term.text(*unit));
                return Err(LengthError::Carry { before, part, unit: larger_unit.name() });
            }
        }
        sum += value;
        before = Some((*term, *unit));
    }
    Ok(sum)
}

impl Number {
    fn text(self) -> String {
        match self.places as usize {
            0 => self.digits.to_string(),
            places => {
                let padded = format!("{:0>width$}", self.digits, width = places + 1);
                let (whole, decimals) = padded.split_at(padded.len() - places);
                format!("{whole}.{decimals}")
            }
        }
    }

    fn with(self, unit: Unit) -> String {
        self.text() + unit.mark()
    }
}

impl Term {
    fn text(&self, unit: Unit) -> String {
        let number = self.number.map(Number::text);
        let fraction = self.fraction.map(|(a, b)| format!("{a}/{b}"));
        [number, fraction].into_iter().flatten().collect::<Vec<_>>().join(" ") + unit.mark()
    }

    /// Exact, but for decimals that are no whole count: those are rounded to the nearest one.
    fn value(&self, unit: Unit) -> Result<Length, LengthError> {
        // At most 18 digits times 8 million counts: far inside 128 bits.
        let unit = i128::from(unit.length().0);
        let number = self.number.map_or(0, |it| {
            let scale = 10_i128.pow(it.places);
            (i128::from(it.digits) * unit + scale / 2) / scale
        });
        // Whole for every denominator up to 64, in inches and feet alike.
        let fraction = self.fraction.map_or(0, |(a, b)| i128::from(a) * unit / i128::from(b));
        i64::try_from(number + fraction).map(Length).map_err(|_| LengthError::Absurd)
    }
}
