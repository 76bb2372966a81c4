//! Angled pieces that fit into each other: two of them come out of one rectangle that is smaller than their own two together.
//!
//! A piece needs its floor and an allowance around it, not all of the rectangle that it is cut as. Seen along the roll, or across it, the
//! far side of one piece and the near side of another say how close the second may come.

use std::cmp::Reverse;

use super::Piece;
use super::stock::Stock;
use crate::length::Length;
use crate::nest::{Budget, Column, NestError, NestPiece, Phase, Placement, RollPlan, SteppedPiece, nest_stepped};
use crate::polygon::{Axis, Point, Ring};

/// So many pieces are looked at: those with the most carpet that they do not need, and the largest others.
const MOST_ANGLED: usize = 6;
const MOST_OTHERS: usize = 4;
/// Outlines of more corners lie by their rectangles.
const MOST_CORNERS: usize = 64;
/// A slanted side is taken for so many steps where pieces are nested by columns.
const STEPS: i64 = 6;
/// A piece has no more columns, or so many of one width: an arc has a hundred sides.
const MOST_COLUMNS: i64 = 16;
/// What a piece must leave of its rectangle to be looked at: a square foot.
const WORTH: i128 = (Length::FOOT.0 as i128) * (Length::FOOT.0 as i128);

/// What a piece needs of the rectangle that it is cut as.
pub(super) struct Outline {
    /// Its floor, from the rectangle's left edge and start. Without any for a piece that needs all of it.
    floor: Vec<Ring>,
    /// Needed around the floor, but not beyond the rectangle.
    margin: Length,
    width: Length,
    length: Length,
}

/// A straight part of an outline's side: from and to, across and along as one looks at it.
type Part = (Point, Point);

/// Two pieces in one rectangle.
pub(super) struct Block {
    pub width: Length,
    pub length: Length,
    pub phase: Option<Phase>,
    /// Indices of the pieces, and where their own rectangles lie in this one.
    pub parts: [(usize, Point); 2],
}

impl Outline {
    pub fn of(piece: &Piece, margin: Length) -> Self {
        let turned: Vec<Ring> = piece.covers.iter().map(|it| piece.pile.northward(it)).collect();
        let corner = |it: &Ring| it.bounds().map(|it| it.min);
        let least = |axis| turned.iter().filter_map(corner).map(|it: Point| it.along(axis)).min().unwrap_or_default();
        let origin = Point::new(least(Axis::X) - piece.extra.left, least(Axis::Y) - piece.extra.start);
        let floor = turned.into_iter().map(|it| Ring(it.0.into_iter().map(|it| it - origin).collect())).collect();
        Self { floor, margin, width: piece.width, length: piece.length }
    }

    /// What of the rectangle around its floor it does not need.
    fn slack(&self) -> i128 {
        let floor: i128 = self.floor.iter().map(|it| it.area().0).sum();
        let all = Ring(self.floor.iter().flat_map(|it| it.0.iter().copied()).collect());
        all.bounds().map_or(0, |it| (it.size(Axis::X) * it.size(Axis::Y)).0 - floor)
    }

    /// Whether another, whose rectangle lies so far to the right and along, is clear of it.
    pub fn clear_of(&self, other: &Self, at: Point) -> bool {
        let apart = |one: &Self, other: &Self, across: Length| one.behind(other, across);
        at.y >= apart(self, other, at.x)
            || -at.y >= apart(other, self, -at.x)
            || at.x >= apart(&self.across(), &other.across(), at.y)
            || -at.x >= apart(&other.across(), &self.across(), -at.y)
    }

    /// The same with across and along the roll exchanged.
    fn across(&self) -> Self {
        let swapped = |it: &Ring| Ring(it.0.iter().map(|it| Point::new(it.y, it.x)).collect());
        Self {
            floor: self.floor.iter().map(swapped).collect(),
            margin: self.margin,
            width: self.length,
            length: self.width,
        }
    }

    /// How far along another must lie to be clear behind this one, when it lies so far to the right.
    fn behind(&self, other: &Self, across: Length) -> Length {
        self.behind_by(other)(across)
    }

    /// The same for any number of places across.
    fn behind_by(&self, other: &Self) -> impl Fn(Length) -> Length + use<> {
        let (far, near) = (self.sides(1), other.sides(-1));
        let (least, most) = (-other.length, self.length);
        move |across| {
            let shifted = |&(a, b): &Part| (moved(a, across), moved(b, across));
            let closest =
                near.iter().map(shifted).flat_map(|near| far.iter().filter_map(move |far| between(*far, near)));
            closest.max().unwrap_or(least).min(most)
        }
    }

    /// What it needs of its rectangle, from its left edge on; a slanted side in steps.
    pub fn columns(&self) -> Vec<Column> {
        let (near, far) = (self.sides(-1), self.sides(1));
        let steps = |&(a, b): &Part| {
            let count = if a.y == b.y { 1 } else { STEPS };
            (0..=count).map(move |n| a.x + Length((b.x - a.x).0 / count * n))
        };
        let mut ends: Vec<Length> = near.iter().chain(&far).flat_map(steps).collect();
        ends.extend([Length::ZERO, self.width]);
        ends.retain(|it| (Length::ZERO..=self.width).contains(it));
        ends.sort_unstable();
        ends.dedup();
        if ends.len() as i64 > MOST_COLUMNS + 1 {
            ends = (0..=MOST_COLUMNS).map(|n| Length(self.width.0 * n / MOST_COLUMNS)).collect();
        }
        let column = |ends: &[Length]| {
            let (left, right) = (ends[0], ends[1]);
            let over = |it: &&Part| it.0.x < right && left < it.1.x;
            let at = |it: &Part, up: bool| [it.0.x.max(left), it.1.x.min(right)].map(|x| reach(*it, x, up));
            let from = near.iter().filter(over).flat_map(|it| at(it, false)).min();
            let to = far.iter().filter(over).flat_map(|it| at(it, true)).max();
            let from = from.unwrap_or_default().max(Length::ZERO);
            Column { width: right - left, from, to: to.unwrap_or(self.length).min(self.length).max(from + Length(1)) }
        };
        ends.windows(2).map(column).collect()
    }

    /// The parts of the side that faces along the roll, or back: the floor's edges, each moved out by the margin.
    fn sides(&self, way: i64) -> Vec<Part> {
        let margin = self.margin;
        let mut parts = Vec::new();
        let all = Ring(vec![
            Point::new(margin, margin),
            Point::new(margin, self.length - margin),
            Point::new(self.width - margin, self.length - margin),
            Point::new(self.width - margin, margin),
        ]);
        let rings = if self.floor.is_empty() { std::slice::from_ref(&all) } else { &self.floor };
        for (from, to) in rings.iter().flat_map(Ring::edges) {
            let out = |it: Point| Point::new(it.x, it.y + margin * way);
            let (left, right) = if from.x <= to.x { (out(from), out(to)) } else { (out(to), out(from)) };
            // The end that reaches farther reaches so far for the margin to both sides.
            let (farther, by) = if (left.y - right.y) * way > Length::ZERO { (left, margin) } else { (right, -margin) };
            parts.push((moved(farther, -margin), moved(farther, margin)));
            if left.x < right.x {
                parts.push((moved(left, by), moved(right, by)));
            }
        }
        parts
    }
}

fn moved(it: Point, across: Length) -> Point {
    Point::new(it.x + across, it.y)
}

/// How far the second part must be moved along to be clear of the first; `None` where they do not lie behind each other.
fn between(far: Part, near: Part) -> Option<Length> {
    let (from, to) = (far.0.x.max(near.0.x), far.1.x.min(near.1.x));
    let apart = |x| reach(far, x, true) - reach(near, x, false);
    (from < to).then(|| apart(from).max(apart(to)))
}

/// How far along a part lies at a place across, rounded to the next count farther along, or to the one before.
fn reach((a, b): Part, x: Length, up: bool) -> Length {
    if a.y == b.y {
        return a.y;
    }
    let (run, rise) = (i128::from((b.x - a.x).0), i128::from((b.y - a.y).0) * i128::from((x - a.x).0));
    let whole = if up { -((-rise).div_euclid(run)) } else { rise.div_euclid(run) };
    a.y + Length(i64::try_from(whole).unwrap_or_default())
}

/// Whether one of these pieces leaves enough of its rectangle for another.
pub(super) fn any_angled(pieces: &[Piece], stock: &Stock) -> bool {
    pieces.iter().any(|it| Outline::of(it, stock.margin()).slack() >= WORTH)
}

/// No plan is shorter: as long as the longest piece, and as all that they need side by side.
pub(super) fn least_length(pieces: &[Piece], stock: &Stock) -> Length {
    let longest = pieces.iter().map(|it| it.length).max().unwrap_or_default();
    let needed = pieces.iter().map(|it| (it.width * it.length).0 - Outline::of(it, stock.margin()).slack());
    let even = needed.sum::<i128>() / i128::from(stock.goods.roll_width.0.max(1));
    longest.max(Length(i64::try_from(even).unwrap_or_default()))
}

/// Which piece of a plan a piece is cut from, and where in it.
type Within = (usize, Point);

/// The pieces with each of these pairs as one.
pub(super) fn joined(pieces: &[NestPiece], blocks: &[Block]) -> (Vec<NestPiece>, Vec<Within>) {
    let mut within = vec![(usize::MAX, Point::default()); pieces.len()];
    let mut joined = Vec::new();
    for block in blocks {
        block.parts.iter().for_each(|&(it, at)| within[it] = (joined.len(), at));
        let [(first, _), (second, _)] = block.parts;
        let id = format!("{} and {}", pieces[first].id, pieces[second].id);
        joined.push(NestPiece { id, width: block.width, length: block.length, phase: block.phase, across: None });
    }
    for (piece, within) in pieces.iter().zip(&mut within).filter(|(_, it)| it.0 == usize::MAX) {
        within.0 = joined.len();
        joined.push(piece.clone());
    }
    (joined, within)
}

/// The plan of the joined pieces with each piece at its own place.
pub(super) fn parted(pieces: &[NestPiece], within: &[Within], joined: &RollPlan) -> RollPlan {
    let place = |(it, &(of, at)): (&NestPiece, &Within)| {
        let corner = joined.placements.get(of).map(|it| Point::new(it.x, it.y)).unwrap_or_default() + at;
        Placement { piece: it.id.clone(), x: corner.x, y: corner.y }
    };
    let placements = pieces.iter().zip(within).map(place).collect();
    RollPlan { placements, ..*joined }
}

/// A plan in which pieces lie in what others do not need, cut around corners; `None` where nothing is left, or some do not leave each other
/// their allowance.
pub(super) fn stepped(
    pieces: &[NestPiece],
    outlines: &[Outline],
    roll: Length,
    budget: Budget,
) -> Result<Option<RollPlan>, NestError> {
    if outlines.iter().all(|it| it.slack() < WORTH) {
        return Ok(None);
    }
    let columns = |(it, outline): (&NestPiece, &Outline)| SteppedPiece {
        id: it.id.clone(),
        columns: if outline.slack() >= WORTH { outline.columns() } else { vec![whole(it)] },
        phase: it.phase,
    };
    let all: Vec<SteppedPiece> = pieces.iter().zip(outlines).map(columns).collect();
    // A step takes longer here: it looks at several columns.
    let budget = Budget { steps: budget.steps / 8, ..budget };
    let mut plan = nest_stepped(&all, roll, budget, |_| true)?;
    // Their rectangles lie on the roll too.
    plan.length = pieces.iter().zip(&plan.placements).map(|(it, at)| at.y + it.length).max().unwrap_or_default();
    let at = |n: usize| Point::new(plan.placements[n].x, plan.placements[n].y);
    let overlap = |a: usize, b: usize| {
        let by = at(b) - at(a);
        let (across, along) =
            (-pieces[b].width < by.x && by.x < pieces[a].width, -pieces[b].length < by.y && by.y < pieces[a].length);
        across && along
    };
    let clear = |a: usize, b: usize| !overlap(a, b) || outlines[a].clear_of(&outlines[b], at(b) - at(a));
    let sound = (0..pieces.len()).all(|b| (0..b).all(|a| clear(a, b)));
    Ok(sound.then_some(plan))
}

const fn whole(piece: &NestPiece) -> Column {
    Column { width: piece.width, from: Length::ZERO, to: piece.length }
}

/// The pairs of pieces that fit into each other, each piece in one at most; first those that save the most carpet.
pub(super) fn blocks(pieces: &[NestPiece], outlines: &[Outline], roll: Length) -> Vec<Block> {
    let corners = |it: &usize| outlines[*it].floor.iter().map(|it| it.0.len()).sum::<usize>();
    let mut by_slack: Vec<usize> = (0..pieces.len()).filter(|it| corners(it) <= MOST_CORNERS).collect();
    by_slack.sort_by_key(|&it| (Reverse(outlines[it].slack()), it));
    let angled = by_slack.iter().take_while(|it| outlines[**it].slack() >= WORTH).count().min(MOST_ANGLED);
    let (angled, others) = by_slack.split_at(angled);
    let mut others = others.to_vec();
    others.sort_by_key(|&it| (Reverse(pieces[it].width * pieces[it].length), it));
    others.truncate(MOST_OTHERS);
    let mut found: Vec<(Reverse<i128>, Block)> = Vec::new();
    for (n, &one) in angled.iter().enumerate() {
        for &other in angled[n + 1..].iter().chain(&others) {
            let best = [(one, other), (other, one)].into_iter().filter_map(|it| closest(pieces, outlines, it, roll));
            found.extend(best.max_by_key(|it| it.0).map(|(saved, block)| (Reverse(saved), block)));
        }
    }
    found.sort_by_key(|(saved, block)| (*saved, block.parts.map(|it| it.0)));
    let mut taken = vec![false; pieces.len()];
    let mut blocks = Vec::new();
    for (_, block) in found {
        let parts = block.parts.map(|it| it.0);
        if parts.iter().all(|it| !taken[*it]) {
            parts.iter().for_each(|it| taken[*it] = true);
            blocks.push(block);
        }
    }
    blocks
}

/// The smallest rectangle with the second piece behind the first, or to its right; with the carpet that it saves.
fn closest(
    pieces: &[NestPiece],
    outlines: &[Outline],
    (one, other): (usize, usize),
    roll: Length,
) -> Option<(i128, Block)> {
    let area = |it: usize| (pieces[it].width * pieces[it].length).0;
    let step = pieces[one].phase.zip(pieces[other].phase);
    // The next place along the roll in step with the first's pattern.
    let in_step = |y: Length| match step {
        Some((one, other)) if one.step > Length::ZERO => {
            y + Length((other.offset - one.offset - y).0.rem_euclid(one.step.0))
        }
        _ => y,
    };
    let (here, there) = (&outlines[one], &outlines[other]);
    let apart = here.behind_by(there);
    let behind = shifts(here, there).into_iter().map(|x| Point::new(x, in_step(apart(x).max(Length::ZERO))));
    let (turned_here, turned_there) = (here.across(), there.across());
    let apart = turned_here.behind_by(&turned_there);
    let beside = shifts(&turned_here, &turned_there).into_iter().map(in_step);
    let beside = beside.map(|y| Point::new(apart(y).max(Length::ZERO), y));
    let block = |at: Point| {
        let first = Point::new((-at.x).max(Length::ZERO), (-at.y).max(Length::ZERO));
        let second = first + at;
        let width = (first.x + pieces[one].width).max(second.x + pieces[other].width);
        let length = (first.y + pieces[one].length).max(second.y + pieces[other].length);
        let back = |phase: Option<Phase>, y: Length| phase.map(|it| Phase { offset: it.offset - y, ..it });
        let phase = back(pieces[one].phase, first.y).or(back(pieces[other].phase, second.y));
        let saved = area(one) + area(other) - (width * length).0;
        (saved, Block { width, length, phase, parts: [(one, first), (other, second)] })
    };
    let fitting = behind.chain(beside).map(block).filter(|(saved, it)| *saved >= WORTH && it.width <= roll);
    fitting.max_by_key(|(saved, _)| *saved)
}

/// Where across one outline another may lie: flush with either side, or with a corner.
fn shifts(here: &Outline, there: &Outline) -> Vec<Length> {
    let margin = here.margin;
    let corners = here.floor.iter().flat_map(|it| &it.0).flat_map(|it| [it.x - margin, it.x + margin]);
    let mut all: Vec<Length> =
        corners.chain([Length::ZERO, here.width]).flat_map(|it| [it, it - there.width]).collect();
    all.sort_unstable();
    all.dedup();
    all.retain(|it| *it > -there.width && *it < here.width);
    all
}
