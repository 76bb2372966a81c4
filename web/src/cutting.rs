//! The cut list: the pieces of a layout in the order in which they come off the roll.

use shared_model::job::{Choice, CutPiece, CutPlace, Decision, Job};
use shared_model::layout::{Layout, Piece, Strip};

/// A piece at its place on a roll, or on a remnant.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Cut<'a> {
    /// Its number on the plan, on the roll and in the list, from 1.
    pub number: usize,
    pub piece: &'a Piece,
    pub place: CutPlace,
    /// What it is cut from, if not from the first roll.
    pub other: Option<&'a Strip>,
}

/// From each roll that is ordered, then from each remnant: from the outer end inward, and from left to right where pieces start side by
/// side.
pub fn in_order(layout: &Layout) -> Vec<Cut<'_>> {
    let strip = |place: CutPlace| layout.others.iter().position(|it| it.source == place.source);
    let mut placed: Vec<_> = layout.placed().map(|(piece, place)| (strip(place), place, piece)).collect();
    placed.sort_by_key(|(strip, at, piece)| (*strip, at.y, at.x, &piece.id));
    let other = |strip: Option<usize>| strip.and_then(|it| layout.others.get(it));
    let numbered = placed.into_iter().zip(1..);
    numbered.map(|((strip, place, piece), number)| Cut { number, piece, place, other: other(strip) }).collect()
}

/// The decisions in force that say this piece of the layout is cut; two people may have checked it off at once.
pub fn checked_off<'a>(job: &'a Job, layout: &'a Layout, piece: &'a str) -> impl Iterator<Item = &'a Choice> {
    job.choices.iter().filter(move |it| matches!(&it.decision, Decision::Cut(cut) if layout.is_cut_by(piece, cut)))
}

/// Pieces that were cut and serve none of these layouts: cut by another plan, or before a reading changed.
pub fn cut_but_not_planned<'a>(job: &'a Job, layouts: &[&Layout]) -> Vec<&'a CutPiece> {
    let planned = |cut: &CutPiece| {
        layouts.iter().any(|layout| layout.placed().any(|(piece, _)| layout.is_cut_by(&piece.id, cut)))
    };
    let cut = job.choices.iter().filter_map(|choice| match &choice.decision {
        Decision::Cut(cut) if !planned(cut) => Some(cut),
        _ => None,
    });
    cut.collect()
}
