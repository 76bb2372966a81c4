//! Drawings of the floor and of the roll.
//!
//! Where things stand is decided by plain functions ([`scene`], [`dims`], [`pile`], [`space`]); the components only show it.

pub use inside::mark_words;

pub mod canvas;
pub mod checks;
mod dims;
mod inside;
mod marks;
mod pile;
pub mod plan;
pub mod roll;
mod scene;
pub mod seam_touch;
pub mod sketch;
mod space;
mod touches;
