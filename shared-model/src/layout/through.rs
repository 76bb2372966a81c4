//! Seam lines that are given: pinned by a person, or those of a plan chosen before.

use super::area::Area;
use super::lines::{Start, grow_east, grow_west, laid};
use super::patch::{Ground, Patch};
use super::{PileDirection, Seam};
use crate::floor::PlacedRoom;
use crate::ids::WallId;
use crate::job::Pin;
use crate::length::Length;
use crate::polygon::Axis;
use uuid::Uuid;

/// Places that seam lines go through.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Through(Vec<Spot>);

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Spot {
    /// Beside a wall, so far into the room from the wall's start.
    Wall(WallId, Length),
    /// So far from the room's west side, with the pile to the north.
    West(Length),
}

/// The pin that holds a seam where it lies, or so much farther to the right on the plan, or up: beside the longest wall that runs
/// straight along it. `None` when there is no such wall, or the place lies behind it.
pub(super) fn pin_at(placed: &PlacedRoom, seam: &Seam, by: Length) -> Option<Pin> {
    let axis = seam.axis();
    let place = seam.from.along(axis.other()) + by;
    let walls = placed.outline.walls.iter().zip(placed.ring.edges()).filter_map(|(wall, (from, to))| {
        let (along, across) = ((to - from).along(axis), (to - from).along(axis.other()));
        // The room lies to the right of its walls: to the east of one that runs north, to the south of one that runs east.
        let inward = if axis == Axis::Y { along.0.signum() } else { -along.0.signum() };
        let distance = (place - from.along(axis.other())) * inward;
        (across == Length::ZERO && distance > Length::ZERO).then_some((along.abs(), *wall, distance))
    });
    walls.max_by_key(|(length, ..)| *length).map(|(_, wall, distance)| Pin::Seam { wall, distance })
}

impl Through {
    /// At these distances from walls. `None` for no place at all.
    pub fn walls(places: impl Iterator<Item = (WallId, Length)>) -> Option<Self> {
        let mut spots: Vec<Spot> = places.map(|(wall, distance)| Spot::Wall(wall, distance)).collect();
        spots.sort_unstable();
        spots.dedup();
        (!spots.is_empty()).then_some(Self(spots))
    }

    /// So far from the west side, with the pile to the north.
    pub fn from_west(distance: Length) -> Self {
        Self(vec![Spot::West(distance)])
    }

    /// The name of these places in a variant's key.
    pub fn key(&self) -> String {
        let name = |it: &Spot| match it {
            Spot::Wall(wall, distance) => format!("p{wall}+{}", distance.0),
            Spot::West(distance) => format!("s{}", distance.0),
        };
        self.0.iter().map(name).collect::<Vec<_>>().join(",")
    }

    /// Reads what [`Through::key`] wrote at the beginning of a variant's key, up to the first `.`. `None` for the keys of
    /// other lines.
    pub fn read(key: &str) -> Option<Self> {
        let spots = key.split('.').next()?.split(',').map(|spot| {
            if let Some(distance) = spot.strip_prefix('s') {
                return Some(Spot::West(Length(distance.parse().ok()?)));
            }
            let (wall, distance) = spot.strip_prefix('p')?.split_once('+')?;
            Some(Spot::Wall(WallId(Uuid::try_parse(wall).ok()?), Length(distance.parse().ok()?)))
        });
        Some(Self(spots.collect::<Option<_>>()?))
    }

    /// The lines in the frame of the pile, from west to east. `None` when a wall is gone, or does not run with the pile.
    pub fn lines(&self, area: &Area, pile: PileDirection) -> Option<Vec<Length>> {
        let west = pile.northward(&area.covered).bounds()?.min.x;
        let line = |spot: &Spot| {
            let (wall, distance) = match *spot {
                Spot::West(distance) => return Some(west + distance),
                Spot::Wall(wall, distance) => (wall, distance),
            };
            let (from, to) = area.wall(pile, wall)?;
            let (across, along) = ((to.x - from.x).0, (to.y - from.y).0);
            // The room lies to the right of its walls.
            (along.abs() >= across.abs()).then_some(from.x + distance * along.signum())
        };
        let mut lines: Vec<Length> = self.0.iter().map(line).collect::<Option<_>>()?;
        lines.sort_unstable();
        lines.dedup();
        Some(lines)
    }

    /// The seam lines through these places with full breadths beside them, and the patches they leave. `None` when a
    /// place lies outside the floor or too near a wall, or leaves a breadth wider than the roll.
    pub fn laid(&self, ground: &Ground, area: &Area, pile: PileDirection) -> Option<(Start, Vec<Length>, Vec<Patch>)> {
        let given = self.lines(area, pile)?;
        let (first, last) = (*given.first()?, *given.last()?);
        if first <= ground.bounds.min.x || last >= ground.bounds.max.x {
            return None;
        }
        let mut lines = grow_west(ground, first)?;
        for pair in given.windows(2) {
            lines.push(pair[0]);
            // Between two given lines full breadths lie from the west on.
            let between = grow_east(ground, pair[0])?;
            lines.extend(between.into_iter().take_while(|it| *it < pair[1]));
        }
        lines.push(last);
        lines.extend(grow_east(ground, last)?);
        let patches = laid(ground, &lines)?;
        Some((Start::Given, lines, patches))
    }
}
