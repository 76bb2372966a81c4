//! The cut list: the pieces of a layout in the order in which they come off the roll.

use shared_model::ids::ChoiceId;
use shared_model::job::{Choice, Decision, Job};
use shared_model::layout::{Layout, OnHand, Piece};
use shared_model::length::Length;
use shared_model::nest::RollPlan;

/// A piece at its place on the roll, or on a remnant.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Cut<'a> {
    /// Its number on the plan, on the roll and in the list, from 1.
    pub number: usize,
    pub piece: &'a Piece,
    /// From the roll's left edge.
    pub x: Length,
    /// From its outer end.
    pub y: Length,
    /// What it is cut from, if not from the roll that is ordered.
    pub remnant: Option<&'a OnHand>,
}

/// From the roll that is ordered, then from each remnant: from the outer end inward, and from left to right where pieces start side by
/// side.
pub fn in_order(layout: &Layout) -> Vec<Cut<'_>> {
    let mut cuts = cuts_of(&layout.pieces, &layout.roll, None);
    cuts.extend(layout.on_hand.iter().flat_map(|it| cuts_of(&it.pieces, &it.roll, Some(it))));
    for (number, cut) in (1..).zip(&mut cuts) {
        cut.number = number;
    }
    cuts
}

fn cuts_of<'a>(pieces: &'a [Piece], roll: &'a RollPlan, remnant: Option<&'a OnHand>) -> Vec<Cut<'a>> {
    let placed = roll.placements.iter().filter_map(|place| {
        let piece = pieces.iter().find(|it| it.id == place.piece)?;
        Some(Cut { number: 0, piece, x: place.x, y: place.y, remnant })
    });
    let mut cuts: Vec<Cut> = placed.collect();
    cuts.sort_by(|a, b| (a.y, a.x, &a.piece.id).cmp(&(b.y, b.x, &b.piece.id)));
    cuts
}

/// The decisions in force that say this piece is cut; two people may have checked it off at once.
pub fn checked_off<'a>(job: &'a Job, piece: &'a str) -> impl Iterator<Item = &'a Choice> {
    job.choices.iter().filter(move |it| matches!(&it.decision, Decision::Cut { piece: cut } if cut == piece))
}

/// Pieces that were cut and are not in this layout: cut by another plan, or before a reading changed.
pub fn cut_but_not_planned<'a>(job: &'a Job, layouts: &[&Layout]) -> Vec<(ChoiceId, &'a str)> {
    let planned = |id: &str| layouts.iter().any(|layout| layout.placed().any(|(it, _)| it.id == id));
    let cut = job.choices.iter().filter_map(|choice| match &choice.decision {
        Decision::Cut { piece } if !planned(piece) => Some((choice.id, piece.as_str())),
        _ => None,
    });
    cut.collect()
}
