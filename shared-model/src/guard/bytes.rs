//! Reading numbers and runs from bytes that may be anything.

use super::Refusal;

/// What is left to read.
#[derive(Clone, Debug)]
pub(super) struct Bytes<'a>(pub &'a [u8]);

pub(super) fn malformed<T>(what: &str) -> Result<T, Refusal> {
    Err(Refusal::Malformed(what.to_owned()))
}

impl<'a> Bytes<'a> {
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn take(&mut self, count: u64) -> Result<&'a [u8], Refusal> {
        let count = usize::try_from(count).ok().filter(|it| *it <= self.0.len());
        let Some((taken, rest)) = count.and_then(|it| self.0.split_at_checked(it)) else {
            return malformed("it ends too early");
        };
        self.0 = rest;
        Ok(taken)
    }

    pub fn byte(&mut self) -> Result<u8, Refusal> {
        Ok(self.take(1)?[0])
    }

    /// An unsigned LEB128 number in its shortest form.
    pub fn unsigned(&mut self) -> Result<u64, Refusal> {
        let (mut number, mut shift) = (0_u64, 0_u32);
        loop {
            let byte = self.byte()?;
            let bits = u64::from(byte & 0x7f);
            if shift > 63 || (shift == 63 && bits > 1) {
                return malformed("a number is too large");
            }
            number |= bits << shift;
            if byte & 0x80 == 0 {
                return if byte == 0 && shift > 0 {
                    malformed("a number is longer than it must be")
                } else {
                    Ok(number)
                };
            }
            shift += 7;
        }
    }

    /// A signed LEB128 number of at most 64 bits.
    pub fn signed(&mut self) -> Result<i64, Refusal> {
        let (mut number, mut shift) = (0_i128, 0_u32);
        loop {
            let byte = self.byte()?;
            if shift > 63 {
                return malformed("a number is too large");
            }
            number |= i128::from(byte & 0x7f) << shift;
            shift += 7;
            if byte & 0x80 == 0 {
                let signed = if byte & 0x40 == 0 { number } else { number - (1 << shift) };
                return i64::try_from(signed).or_else(|_| malformed("a number is too large"));
            }
        }
    }

    /// A number of at most `most`.
    pub fn count(&mut self, what: &'static str, most: u64) -> Result<u64, Refusal> {
        let found = self.unsigned()?;
        if found > most { Err(Refusal::TooLarge { what, found, most }) } else { Ok(found) }
    }
}

/// A column of run-length encoded values, as automerge's binary format has them: a positive count and a value repeated, a
/// negative count and as many values, or zero and a count of nulls. Never more is held than the one value.
pub(super) struct Runs<'a, T> {
    bytes: Bytes<'a>,
    read: fn(&mut Bytes<'a>) -> Result<T, Refusal>,
    run: Run<T>,
}

enum Run<T> {
    Repeat(u64, T),
    Literal(u64),
    Null(u64),
}

impl<'a, T: Clone> Runs<'a, T> {
    pub fn new(bytes: &'a [u8], read: fn(&mut Bytes<'a>) -> Result<T, Refusal>) -> Self {
        Self { bytes: Bytes(bytes), read, run: Run::Null(0) }
    }

    pub fn is_done(&self) -> bool {
        let left = match &self.run {
            Run::Repeat(left, _) | Run::Literal(left) | Run::Null(left) => *left,
        };
        left == 0 && self.bytes.is_empty()
    }

    /// The next value; null beyond the end.
    pub fn next(&mut self) -> Result<Option<T>, Refusal> {
        loop {
            match &mut self.run {
                Run::Repeat(0, _) | Run::Literal(0) | Run::Null(0) => {
                    if self.bytes.is_empty() {
                        return Ok(None);
                    }
                    self.run = match self.bytes.signed()? {
                        0 => Run::Null(self.bytes.count("run", u64::MAX)?),
                        count @ 1.. => Run::Repeat(count.unsigned_abs(), (self.read)(&mut self.bytes)?),
                        count => Run::Literal(count.unsigned_abs()),
                    };
                }
                Run::Repeat(left, value) => {
                    *left -= 1;
                    return Ok(Some(value.clone()));
                }
                Run::Literal(left) => {
                    *left -= 1;
                    return (self.read)(&mut self.bytes).map(Some);
                }
                Run::Null(left) => {
                    *left -= 1;
                    return Ok(None);
                }
            }
        }
    }
}
