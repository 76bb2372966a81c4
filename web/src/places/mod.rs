//! The places of the page, in the order of the work.

pub mod checked;
pub mod cuts;
pub mod day;
pub mod flights;
pub mod goods;
pub mod history;
pub mod jobs;
pub mod measure;
mod on_hand;
pub mod rooms;
mod rules;
pub mod seams;
pub mod sharing;
mod shelf;
pub mod then;

mod bending;
mod cautions;
mod compare;
mod cut_reason;
mod fixtures;
mod goods_picker;
mod lengths;
mod marks;
mod openings;
mod panel;
mod people;
mod photos;
mod pins;
mod problems;
mod readings;
mod room_menu;
mod seam_card;
mod side_by_side;
mod standing;
mod turning;
mod undo_keys;
mod why;

#[cfg(test)]
pub mod fixture;
