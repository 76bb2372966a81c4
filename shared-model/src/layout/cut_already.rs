//! Pieces that are cut already lie where they were cut from; the others find their places behind them.

use std::collections::{BTreeMap, BTreeSet};

use super::on_hand::Cuts;
use crate::job::{ChosenCut, ChosenPlan, Decision, Job};
use crate::length::Length;
use crate::nest::{NestPiece, Phase};

/// The chosen plan's places on the roll, and which of its pieces are cut. Empty while nothing is.
#[derive(Default)]
pub(super) struct CutAlready<'a> {
    planned: BTreeMap<&'a str, ChosenCut>,
    cut: BTreeSet<&'a str>,
}

/// Where a piece lies: across and along the roll.
pub(super) type Spot = (Length, Length);

impl<'a> CutAlready<'a> {
    pub fn of(job: &'a Job, plan: &'a ChosenPlan) -> Self {
        let cut = job.choices.iter().filter_map(|it| match &it.decision {
            Decision::Cut { piece } if plan.cuts.contains_key(piece) => Some(piece.as_str()),
            _ => None,
        });
        let cut: BTreeSet<&str> = cut.collect();
        if cut.is_empty() {
            return Self::default();
        }
        Self { planned: plan.cuts.iter().map(|(id, it)| (id.as_str(), *it)).collect(), cut }
    }

    pub fn is_empty(&self) -> bool {
        self.cut.is_empty()
    }

    /// Whether pieces of a nap group are cut from the roll: then all of it is.
    pub fn binds(&self, group: &Cuts) -> bool {
        group.iter().any(|(it, _)| self.cut.contains(it.id.as_str()))
    }

    /// Brings the group's pattern in step with its first piece that is cut.
    pub fn bring_in_step(&self, group: &mut Cuts) {
        let first = group.iter().find_map(|(piece, shape)| {
            let place = self.planned.get(piece.id.as_str()).filter(|_| self.cut.contains(piece.id.as_str()))?;
            Some(place.y - shape.phase?.offset)
        });
        let Some(by) = first else { return };
        for (piece, shape) in group {
            shape.phase = shape.phase.map(|it| moved(it, by));
            piece.phase = shape.phase.map(|it| it.offset);
        }
    }

    /// The places of all that stay where they were planned: what is cut, and what lies before the end of that. None lies in another:
    /// a plan may come from anywhere.
    pub fn kept(&self, pieces: &[NestPiece], width: Length) -> Vec<Option<Spot>> {
        let planned = |it: &NestPiece| {
            let spot = self.planned.get(it.id.as_str())?;
            let in_step = fits(it.phase, spot.y) && fits(it.across, spot.x) && spot.x + it.width <= width;
            in_step.then_some((spot.x, spot.y))
        };
        let planned: Vec<Option<Spot>> = pieces.iter().map(planned).collect();
        let mut order: Vec<usize> = (0..pieces.len()).filter(|&i| planned[i].is_some()).collect();
        let is_cut = |i: usize| self.cut.contains(pieces[i].id.as_str());
        order.sort_by_key(|&i| (!is_cut(i), planned[i].map(|(x, y)| (y, x))));
        let mut kept: Vec<Option<Spot>> = vec![None; pieces.len()];
        for i in order {
            let stays = is_cut(i) || planned[i].is_some_and(|(_, y)| y < end(pieces, &kept));
            if stays && !overlaps(pieces, &kept, i, planned[i]) {
                kept[i] = planned[i];
            }
        }
        kept
    }
}

/// Where the last of the pieces that stay ends.
pub(super) fn end(pieces: &[NestPiece], kept: &[Option<Spot>]) -> Length {
    let ends = pieces.iter().zip(kept).filter_map(|(it, spot)| Some(spot.as_ref()?.1 + it.length));
    ends.max().unwrap_or_default()
}

/// Whether a piece at this place lies in one that stays.
fn overlaps(pieces: &[NestPiece], kept: &[Option<Spot>], i: usize, at: Option<Spot>) -> bool {
    let Some((x, y)) = at else { return false };
    let own = &pieces[i];
    pieces.iter().zip(kept).any(|(it, spot)| {
        spot.is_some_and(|(left, start)| {
            x < left + it.width && left < x + own.width && y < start + it.length && start < y + own.length
        })
    })
}

/// The positions seen from a place that lies so much nearer to the outer end.
pub(super) fn moved(phase: Phase, by: Length) -> Phase {
    let step = phase.step.0.max(1);
    Phase { offset: Length((phase.offset + by).0.rem_euclid(step)), ..phase }
}

fn fits(phase: Option<Phase>, at: Length) -> bool {
    phase.is_none_or(|it| it.step <= Length::ZERO || (at - it.offset).0.rem_euclid(it.step.0) == 0)
}
