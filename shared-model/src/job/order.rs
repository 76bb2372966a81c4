//! Order of things in a list that several people extend at once: fractional indices.

use fractional_index::FractionalIndex;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A place in a list. Between any two places there is another; ties are broken by the thing's id.
///
/// The text is hexadecimal in lower case and ends with the byte 80, so that texts compare as places do.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Order(pub(crate) String);

/// What every place ends with, as a byte.
const END: u8 = 0x80;

/// No place is longer. The worst that people can do is to insert in turn before and after the same thing: after 380 times the
/// place is this long.
const MOST_BYTES: usize = 256;

impl Default for Order {
    /// The place of the first thing in a list.
    fn default() -> Self {
        Self::between(None, None)
    }
}

impl Order {
    /// A place after `before` and before `after`; `None` is the list's end on that side.
    ///
    /// Two neighbours with the same place (made apart at the same time), or in the wrong order, give a place right after the
    /// first. A place that cannot be read counts as the list's end.
    pub fn between(before: Option<&Self>, after: Option<&Self>) -> Self {
        let before = before.and_then(Self::bytes);
        let after = after.and_then(Self::bytes);
        let place = match (before, after) {
            (Some(before), Some(after)) if before < after => within(&before, &after),
            (Some(mut before), Some(_)) => {
                before.extend([0, END]);
                before
            }
            (before, after) => {
                let (before, after) = (before.and_then(index), after.and_then(index));
                FractionalIndex::new(before.as_ref(), after.as_ref()).unwrap_or_default().as_bytes().to_vec()
            }
        };
        Self(place.iter().map(|byte| format!("{byte:02x}")).collect())
    }

    /// Reads a place; `None` if it is none.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let order = Self(text.to_owned());
        order.bytes().is_some().then_some(order)
    }

    fn bytes(&self) -> Option<Vec<u8>> {
        let digits: Option<Vec<u8>> = self.0.bytes().take(2 * MOST_BYTES + 1).map(digit).collect();
        let digits = digits.filter(|it| it.len() % 2 == 0 && it.len() <= 2 * MOST_BYTES)?;
        let bytes: Vec<u8> =
            digits.chunks_exact(2).map(|pair| pair.iter().fold(0, |byte, it| byte << 4 | it)).collect();
        (bytes.last() == Some(&END)).then_some(bytes)
    }
}

/// A place between two that differ. The crate miscounts behind a common byte of zero, so it is only shown what differs.
fn within(before: &[u8], after: &[u8]) -> Vec<u8> {
    let common = before.iter().zip(after).take_while(|(a, b)| a == b).count();
    let (mut place, rest) = (before[..common].to_vec(), after[common..].to_vec());
    let between = match before.get(common..) {
        Some(lower) if !lower.is_empty() => FractionalIndex::new(index(lower.to_vec()).as_ref(), index(rest).as_ref()),
        _ => FractionalIndex::new(None, index(rest).as_ref()),
    };
    place.extend_from_slice(between.unwrap_or_default().as_bytes());
    place
}

fn index(bytes: Vec<u8>) -> Option<FractionalIndex> {
    FractionalIndex::from_bytes(bytes).ok()
}

const fn digit(byte: u8) -> Option<u8> {
    match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'a'..=b'f' => Some(byte - b'a' + 10),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_list_grows_at_both_ends_and_in_between() {
        let first = Order::between(None, None);
        let second = Order::between(Some(&first), None);
        let zeroth = Order::between(None, Some(&first));
        let between = Order::between(Some(&first), Some(&second));
        assert!(zeroth < first && first < between && between < second);
    }

    #[test]
    fn equal_neighbours_give_a_place_right_after_both() {
        let same = Order::default();
        let next = Order::between(Some(&same), None);
        let place = Order::between(Some(&same), Some(&same));
        assert!(same < place && place < next);
    }

    #[test]
    fn what_is_no_place_counts_as_the_lists_end() {
        for bad in ["", "8", "0x80", "80F0", "zz80", "ff", "é0", &"00".repeat(700)] {
            assert_eq!(Order::read(bad), None, "{bad}");
            let bad = Order(bad.to_owned());
            assert_eq!(Order::between(Some(&bad), Some(&bad)), Order::default());
        }
    }

    proptest! {
        /// Any sequence of insertions keeps the list in order, also hundreds at one end or between the same two.
        #[test]
        fn a_place_stays_between_its_neighbours(places in prop::collection::vec(any::<prop::sample::Index>(), 1..300), stay in any::<bool>()) {
            let mut list: Vec<Order> = Vec::new();
            for place in places {
                let at = if stay { list.len() / 3 } else { place.index(list.len() + 1) };
                let order = Order::between(at.checked_sub(1).map(|it| &list[it]), list.get(at));
                list.insert(at, order);
                prop_assert!(list.is_sorted_by(|a, b| a < b));
            }
        }
    }
}
