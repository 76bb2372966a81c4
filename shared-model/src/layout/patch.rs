//! Connected pieces of floor between seam lines, and how far the carpet must reach beyond each of their sides.

use super::frame::Side;
use super::stock::Stock;
use crate::length::Length;
use crate::polygon::{Axis, Bounds, Point, Ring};

/// A part of a breadth that one cut covers: everything connected between two seam lines.
#[derive(Clone, Debug)]
pub(super) struct Patch {
    pub ring: Ring,
    /// From 0, west to east.
    pub breadth: usize,
    pub bounds: Bounds,
    pub west: Length,
    pub east: Length,
    pub south: Length,
    pub north: Length,
    /// Where it is seamed to the next breadth.
    pub seams_east: Vec<(Point, Point)>,
}

impl Patch {
    /// Across the roll, before rounding.
    pub fn width(&self) -> Length {
        self.west + self.bounds.size(Axis::X) + self.east
    }
}

/// A room's floor in the frame of its pile, to be divided by seam lines that run north.
pub(super) struct Ground<'a> {
    pub ring: Ring,
    pub bounds: Bounds,
    pub stock: &'a Stock<'a>,
    /// Beyond walls; where the room is seamed to others, not less than the trim.
    pub wall: Length,
}

impl<'a> Ground<'a> {
    pub fn of(ring: Ring, stock: &'a Stock<'a>, seamed: bool) -> Option<Self> {
        let bounds = ring.bounds()?;
        let allowance = stock.rules.wall_allowance;
        let wall = if seamed { allowance.max(stock.rules.seam_trim) } else { allowance };
        Some(Self { ring, bounds, stock, wall })
    }

    /// The same floor seen in a mirror: west and east change places.
    pub fn mirrored(&self) -> Self {
        let flip = |it: Point| Point::new(-it.x, it.y);
        let ring = Ring(self.ring.0.iter().rev().map(|it| flip(*it)).collect());
        let (min, max) = (self.bounds.min, self.bounds.max);
        let bounds = Bounds { min: Point::new(-max.x, min.y), max: Point::new(-min.x, max.y) };
        Self { ring, bounds, stock: self.stock, wall: self.wall }
    }

    /// All patches that these seam lines make, breadth by breadth. `None` when one is wider than the roll.
    pub fn patches(&self, lines: &[Length]) -> Option<Vec<Patch>> {
        let ends = [&[self.bounds.min.x][..], lines, &[self.bounds.max.x][..]].concat();
        let strips: Vec<Vec<Ring>> = ends.windows(2).map(|it| self.ring.clipped(Axis::X, it[0], it[1])).collect();
        let mut patches = Vec::new();
        for (breadth, strip) in strips.iter().enumerate() {
            let before = breadth.checked_sub(1).and_then(|it| strips.get(it));
            let west = before.map(|it| (ends[breadth], it.as_slice()));
            let east = strips.get(breadth + 1).map(|it| (ends[breadth + 1], it.as_slice()));
            for ring in strip {
                let patch = self.patch(ring, breadth, west, east)?;
                if patch.width() > self.stock.goods.roll_width {
                    return None;
                }
                patches.push(patch);
            }
        }
        Some(patches)
    }

    /// Whether everything between two seam lines can be cut from the roll's width less `lost`.
    pub fn fits(&self, from: Length, to: Length, lost: Length) -> bool {
        let most = self.stock.goods.roll_width - lost;
        let strip = self.ring.clipped(Axis::X, from, to);
        let may_fit = strip.iter().all(|it| it.bounds().is_none_or(|it| it.size(Axis::X) <= most));
        may_fit && self.patches_of(&strip, from, to).iter().all(|it| it.width() <= most)
    }

    pub fn between(&self, from: Length, to: Length) -> Vec<Patch> {
        self.patches_of(&self.ring.clipped(Axis::X, from, to), from, to)
    }

    /// The patches of a strip between two seam lines.
    fn patches_of(&self, strip: &[Ring], from: Length, to: Length) -> Vec<Patch> {
        let before = self.ring.clipped(Axis::X, self.bounds.min.x, from);
        let beyond = self.ring.clipped(Axis::X, to, self.bounds.max.x);
        let west = Some((from, before.as_slice())).filter(|_| from > self.bounds.min.x);
        let east = Some((to, beyond.as_slice())).filter(|_| to < self.bounds.max.x);
        strip.iter().filter_map(|ring| self.patch(ring, 0, west, east)).collect()
    }

    fn patch(&self, ring: &Ring, breadth: usize, west: Neighbour, east: Neighbour) -> Option<Patch> {
        let own = std::slice::from_ref(ring);
        let east = self.reach(own, Side::East, east);
        let over = |side, neighbour| self.reach(own, side, neighbour).over;
        Some(Patch {
            ring: ring.clone(),
            breadth,
            bounds: ring.bounds()?,
            west: over(Side::West, west),
            east: east.over,
            south: over(Side::South, None),
            north: over(Side::North, None),
            seams_east: east.seams,
        })
    }

    /// How far a cut for `own` reaches beyond it on one side: the trim at a seam, the wall allowance at each wall that
    /// faces this side, also at one that ends a little before the seam line.
    pub fn reach(&self, own: &[Ring], side: Side, neighbour: Neighbour) -> Reach {
        let own: Vec<Ring> = own.iter().map(|it| side.turned_to_east(it)).collect();
        let line = neighbour.map(|(at, _)| match side {
            Side::East | Side::North => at,
            Side::West | Side::South => -at,
        });
        let others: Vec<Ring> =
            neighbour.iter().flat_map(|(_, rings)| rings.iter()).map(|it| side.turned_to_east(it)).collect();
        let end = own.iter().flat_map(|it| &it.0).map(|it| it.x).max().unwrap_or_default();
        let mut need = end;
        let mut seams = Vec::new();
        // Edges that run south have the floor to their west: they face east.
        for (from, to) in own.iter().flat_map(Ring::edges).filter(|(from, to)| to.y < from.y) {
            if Some(from.x) == line && from.x == to.x {
                let seamed = seamed_stretches(from.x, (to.y, from.y), &others);
                let seamed: Vec<_> = seamed.into_iter().filter(|(low, high)| low < high).collect();
                let length: Length = seamed.iter().map(|(low, high)| *high - *low).sum();
                if length > Length::ZERO {
                    need = need.max(from.x + self.stock.rules.seam_trim);
                }
                if length < from.y - to.y {
                    need = need.max(from.x + self.wall);
                }
                let point = |y| side.point_back(Point::new(from.x, y));
                seams.extend(seamed.into_iter().map(|(low, high)| (point(low), point(high))));
            } else {
                // A slanted wall that meets a seam on the line goes on beyond it.
                let goes_on =
                    |it: Point| Some(it.x) == line && !seamed_stretches(it.x, (it.y, it.y), &others).is_empty();
                let ends = [from, to].into_iter().filter(|it| !goes_on(*it));
                need = ends.map(|it| it.x + self.wall).fold(need, Length::max);
                // The cut beyond the seam reaches past the seam's end by an allowance. Farther along the pile this one is alone.
                let (across, along) = ((to.x - from.x).0.abs(), (from.y - to.y).0);
                if (goes_on(from) || goes_on(to)) && along > self.wall.0 {
                    let back = i128::from(self.wall.0) * i128::from(across) / i128::from(along);
                    let back = Length(i64::try_from(back).unwrap_or(i64::MAX)).min(self.wall);
                    need = need.max(from.x.max(to.x) + self.wall - back);
                }
            }
        }
        if need == end {
            need = end + self.wall;
        }
        Reach { over: need - end, seams }
    }
}

/// A seam line and what lies beyond it.
pub(super) type Neighbour<'a> = Option<(Length, &'a [Ring])>;

pub(super) struct Reach {
    pub over: Length,
    pub seams: Vec<(Point, Point)>,
}

/// Where rings beyond the line `x = at` touch the stretch `own` of it; where they only touch its end, a stretch of no length.
fn seamed_stretches(at: Length, own: (Length, Length), beyond: &[Ring]) -> Vec<(Length, Length)> {
    let facing = beyond.iter().flat_map(Ring::edges).filter(|(from, to)| from.x == at && to.x == at && to.y > from.y);
    let common = facing.map(|(from, to)| (from.y.max(own.0), to.y.min(own.1)));
    common.filter(|(low, high)| low <= high).collect()
}
