//! Order of things in a list that several people extend at once: fractional indices.

use serde::{Deserialize, Serialize};

/// A place in a list. Between any two places there is another; ties are broken by the thing's id.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Order(pub(crate) String);

impl Order {
    /// A place after `before` and before `after`; `None` is the list's end on that side.
    ///
    /// Two neighbours with the same place (made apart at the same time) give a place right after both.
    pub fn between(before: Option<&Self>, after: Option<&Self>) -> Self {
        let _ = (before, after);
        todo!()
    }
}
