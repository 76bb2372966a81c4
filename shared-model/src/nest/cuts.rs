//! The cuts of a plan that can be cut edge to edge, in the order in which they are made from the roll's outer end.

use serde::{Deserialize, Serialize};

use super::{NestPiece, RollPlan};
use crate::length::Length;

/// One straight cut, from edge to edge of the carpet that it parts.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Cut {
    pub way: CutWay,
    /// Along the roll from its outer end for a cut across it; across the roll from its left edge for one along it.
    pub at: Length,
    /// Where it starts and ends, the other way.
    pub from: Length,
    pub to: Length,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CutWay {
    Across,
    Along,
}

/// How a plan is cut up.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct CutList {
    /// In the order in which they are made: what is cut off is cut up before the next is cut off.
    pub cuts: Vec<Cut>,
    /// What is left over between the pieces, as it falls off.
    pub offcuts: Vec<Offcut>,
}

/// A rectangle of carpet that is left over.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Offcut {
    /// Where it lay: from the roll's left edge, and from its outer end.
    pub x: Length,
    pub y: Length,
    /// Across the roll.
    pub width: Length,
    /// Along the roll.
    pub length: Length,
}

/// The cuts that free every piece, or `None` when some of them cannot be freed edge to edge.
pub fn cuts(pieces: &[NestPiece], plan: &RollPlan) -> Option<CutList> {
    let rects = pieces
        .iter()
        .zip(&plan.placements)
        .map(|(piece, at)| Rect { from: [at.x, at.y], to: [at.x + piece.width, at.y + piece.length] });
    // The roll goes on behind the plan.
    let roll = Rect { from: [Length::ZERO; 2], to: [plan.width, Length(i64::MAX)] };
    let mut list = CutList::default();
    part(&rects.collect::<Vec<_>>(), roll, &mut list).then_some(list)
}

/// Across the roll, and along it.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Rect {
    from: [Length; 2],
    to: [Length; 2],
}

impl Rect {
    fn offcut(self) -> Offcut {
        let ([x, y], [right, end]) = (self.from, self.to);
        Offcut { x, y, width: right - x, length: end - y }
    }
}

const ACROSS: usize = 0;
const ALONG: usize = 1;

/// Parts the pieces in `carpet` from each other and from what is left over, if that can be.
fn part(rects: &[Rect], carpet: Rect, list: &mut CutList) -> bool {
    if rects == [carpet] {
        return true;
    }
    if rects.is_empty() {
        // The rest of the roll stays on it.
        if carpet.to[ALONG] < Length(i64::MAX) {
            list.offcuts.push(carpet.offcut());
        }
        return true;
    }
    // A cut across the roll lies at a place along it.
    for (way, axis) in [(CutWay::Across, ALONG), (CutWay::Along, ACROSS)] {
        let places = free_places(rects, carpet, axis);
        if places.is_empty() {
            continue;
        }
        let (from, to) = (carpet.from[1 - axis], carpet.to[1 - axis]);
        let mut start = carpet.from[axis];
        for &at in &places {
            list.cuts.push(Cut { way, at, from, to });
            if !part_between(rects, carpet, axis, start, at, list) {
                return false;
            }
            start = at;
        }
        return part_between(rects, carpet, axis, start, carpet.to[axis], list);
    }
    false
}

fn part_between(rects: &[Rect], mut carpet: Rect, axis: usize, from: Length, to: Length, list: &mut CutList) -> bool {
    let inside: Vec<Rect> = rects.iter().copied().filter(|it| from <= it.from[axis] && it.to[axis] <= to).collect();
    (carpet.from[axis], carpet.to[axis]) = (from, to);
    part(&inside, carpet, list)
}

/// Where a cut runs beside a piece and through none, in order.
fn free_places(rects: &[Rect], carpet: Rect, axis: usize) -> Vec<Length> {
    let mut sides: Vec<(Length, Length)> = rects.iter().map(|it| (it.from[axis], it.to[axis])).collect();
    sides.sort_unstable();
    let mut places = Vec::new();
    let mut end = carpet.from[axis];
    for (from, to) in sides {
        if from >= end {
            // The last piece's end, and the next one's start where carpet is left between.
            places.extend([end, from]);
        }
        end = end.max(to);
    }
    places.push(end);
    places.retain(|it| carpet.from[axis] < *it && *it < carpet.to[axis]);
    places.dedup();
    places
}
