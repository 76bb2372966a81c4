//! What differs between two states of a job, in the words of the trade, and how a single thing that is lost comes back.
//!
//! Pure like the rest: the states come from [`crate::job::JobDoc::at`] and [`crate::job::JobDoc::step`].

mod difference;
mod fields;
mod restore;
mod words;

pub use difference::{Difference, Heading, Swap, What, difference};
pub use restore::{NoReturn, restore};
