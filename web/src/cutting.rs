//! The cut list: the pieces of a layout in the order in which they come off the roll.

use shared_model::ids::ChoiceId;
use shared_model::job::{Choice, Decision, Job};
use shared_model::layout::{Layout, Piece};
use shared_model::length::Length;

/// A piece at its place on the roll.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Cut<'a> {
    /// Its number on the plan, on the roll and in the list, from 1.
    pub number: usize,
    pub piece: &'a Piece,
    /// From the roll's left edge.
    pub x: Length,
    /// From the roll's outer end.
    pub y: Length,
}

/// From the outer end inward, and from left to right where pieces start side by side.
pub fn in_order(layout: &Layout) -> Vec<Cut<'_>> {
    let placed = layout.roll.placements.iter().filter_map(|place| {
        let piece = layout.pieces.iter().find(|it| it.id == place.piece)?;
        Some(Cut { number: 0, piece, x: place.x, y: place.y })
    });
    let mut cuts: Vec<Cut> = placed.collect();
    cuts.sort_by(|a, b| (a.y, a.x, &a.piece.id).cmp(&(b.y, b.x, &b.piece.id)));
    for (number, cut) in (1..).zip(&mut cuts) {
        cut.number = number;
    }
    cuts
}

/// The decisions in force that say this piece is cut; two people may have checked it off at once.
pub fn checked_off<'a>(job: &'a Job, piece: &'a str) -> impl Iterator<Item = &'a Choice> {
    job.choices.iter().filter(move |it| matches!(&it.decision, Decision::Cut { piece: cut } if cut == piece))
}

/// Pieces that were cut and are not in this layout: cut by another plan, or before a reading changed.
pub fn cut_but_not_planned<'a>(job: &'a Job, layouts: &[&Layout]) -> Vec<(ChoiceId, &'a str)> {
    let planned = |id: &str| layouts.iter().any(|layout| layout.pieces.iter().any(|it| it.id == id));
    let cut = job.choices.iter().filter_map(|choice| match &choice.decision {
        Decision::Cut { piece } if !planned(piece) => Some((choice.id, piece.as_str())),
        _ => None,
    });
    cut.collect()
}
