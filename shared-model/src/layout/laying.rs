//! The ways to lay one area that are worth trying: where its seams go for its own sake, and for the sake of a piece of another room.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::PileDirection;
use super::area::{self, Area};
use super::choose;
use super::cost;
use super::held::{self, Held};
use super::lines;
use super::opening;
use super::patch::Ground;
use super::stock::Stock;
use super::through::Through;
use super::variant::{self, Variant};
use crate::floor::{Floor, PlacedRoom};
use crate::ids::RoomId;
use crate::job::{Job, Pin};
use crate::length::Length;
use crate::polygon::Axis;

/// In houses of more rooms no breadth is made to measure for a piece of another room.
const MOST_PAIRED: usize = 40;
/// So many widths are tried that leave room for another piece.
const MOST_PARTNERS: usize = 5;
/// So many places are tried where less speaks against a seam.
const MOST_BETTER: usize = 16;

/// What the ways to lay any of its rooms depend on.
pub(super) struct House<'a> {
    pub job: &'a Job,
    pub floor: &'a Floor,
    pub stock: &'a Stock<'a>,
    /// Widths of breadths that leave room on the roll beside them for a piece of another room.
    partners: Vec<Length>,
}

/// One area, and what its variants depend on.
pub(super) struct Laying<'a> {
    area: &'a Area<'a>,
    stock: &'a Stock<'a>,
    partners: &'a [Length],
    seamed: bool,
    held: &'a Held<'a>,
}

impl<'a> House<'a> {
    pub fn of(job: &'a Job, floor: &'a Floor, stock: &'a Stock<'a>) -> Self {
        Self { job, floor, stock, partners: partners(floor, stock) }
    }

    /// Every way to carpet these rooms as one with this pile, also those that pins rule out; with `through`, every way with
    /// seams at these places. None where carpet does not run through between all of them.
    pub fn every_way(&self, rooms: &[Uuid], pile: PileDirection, through: Option<&Through>) -> Vec<Variant> {
        let placed: Vec<&PlacedRoom> = self.floor.rooms.iter().filter(|it| rooms.contains(&it.room.0)).collect();
        let Some(area) = area::as_one(self.job, &placed) else { return Vec::new() };
        let held = Held::of(self.job, None);
        let laying = Laying::of(self, &area, &held);
        match through {
            Some(_) => laying.all(pile, through),
            None => laying.tried(pile),
        }
    }
}

/// What is left of the roll beside the longest of the pieces that leave something, with full breadths in every room. A large house has
/// pieces enough to lie side by side; where the pattern repeats across, seams have no choice.
fn partners(floor: &Floor, stock: &Stock) -> Vec<Length> {
    let groups = || floor.groups.iter().filter(|it| it.goods == stock.goods.id);
    let rooms: BTreeSet<RoomId> = groups().flat_map(|it| it.rooms.iter().copied()).collect();
    if rooms.len() > MOST_PAIRED || stock.repeat_across.is_some() {
        return Vec::new();
    }
    let mut longest: BTreeMap<Length, Length> = BTreeMap::new();
    for placed in floor.rooms.iter().filter(|it| rooms.contains(&it.room)) {
        for pile in [PileDirection::North, PileDirection::East] {
            let ground = Ground::of(pile.northward(&placed.covered), stock, false);
            for patch in ground.and_then(|it| lines::from_the_west(&it)).unwrap_or_default() {
                let left = stock.goods.roll_width - stock.cut_width(patch.width());
                let left = left.round_down_to(stock.rules.cut_step);
                let length = patch.bounds.size(Axis::Y);
                longest.entry(left).and_modify(|it| *it = length.max(*it)).or_insert(length);
            }
        }
    }
    longest.retain(|left, _| *left >= cost::NARROW);
    let mut widths: Vec<(Length, Length)> = longest.into_iter().map(|(left, length)| (length, left)).collect();
    widths.sort_unstable_by(|one, other| other.cmp(one));
    widths.into_iter().take(MOST_PARTNERS).map(|(_, left)| left).collect()
}

impl<'a> Laying<'a> {
    pub fn of(house: &'a House<'a>, area: &'a Area<'a>, held: &'a Held<'a>) -> Self {
        let is_seamed = |it: &PlacedRoom| opening::is_seamed(house.job, house.floor, it.room, house.stock.goods.id);
        let seamed = area.rooms.iter().any(|it| is_seamed(it));
        Self { area, stock: house.stock, partners: &house.partners, seamed, held }
    }

    /// The variants that may be of use in a house, for each pile, and that keep these pins.
    pub fn useful(&self, piles: &[PileDirection], pins: &[(RoomId, Pin)]) -> Vec<(PileDirection, Vec<Variant>)> {
        let through = held::pinned_seams(pins.iter().map(|it| it.1));
        let of_pile = |&pile: &PileDirection| {
            let mut all = match &through {
                Some(_) => self.all(pile, through.as_ref()),
                None => self.tried(pile),
            };
            all.retain(|variant| pins.iter().all(|it| held::keeps(*it, self.area, pile, variant)));
            (pile, choose::useful(all, self.stock))
        };
        piles.iter().map(of_pile).collect()
    }

    /// The variant of a chosen way, if it is possible today.
    pub fn chosen(&self, way: &str) -> Option<(PileDirection, Variant)> {
        let (pile, key) = variant::read_way(way)?;
        let all = self.all(pile, Through::read(key).as_ref());
        Some((pile, all.into_iter().find(|it| it.key == key)?))
    }

    fn all(&self, pile: PileDirection, through: Option<&Through>) -> Vec<Variant> {
        let all = variant::of_area(self.area, pile, self.stock, self.seamed, through);
        all.into_iter().map(|it| it.without(|piece| self.held.leaves_out(piece))).collect()
    }

    /// Breadths from each side and each corner on; then a seam where less speaks against it than at any of these, and an outer
    /// breadth just so wide that a piece of another room can lie beside it.
    fn tried(&self, pile: PileDirection) -> Vec<Variant> {
        let mut tried = self.all(pile, None);
        let seamed = tried.iter().any(|it| !it.lines.is_empty());
        let ground = Ground::of(pile.northward(&self.area.covered), self.stock, self.seamed);
        let Some(ground) = ground.filter(|_| seamed) else { return tried };
        let laid_at = |it: Length| self.all(pile, Some(&Through::from_west(it)));
        let fewest = tried.iter().map(Variant::seam_cost).min().unwrap_or_default();
        if fewest > 0 {
            let better: BTreeSet<Length> = cost::better_places(self.area, pile, &ground).collect();
            tried.extend(better.into_iter().take(MOST_BETTER).flat_map(laid_at).filter(|it| it.seam_cost() < fewest));
        }
        for it in self.beside_partners(&ground).into_iter().flat_map(laid_at) {
            if tried.iter().all(|other| other.lines != it.lines || other.pieces.len() != it.pieces.len()) {
                tried.push(it);
            }
        }
        tried
    }

    /// The seams of outer breadths that leave a partner's width of the roll, from the west side.
    fn beside_partners(&self, ground: &Ground) -> BTreeSet<Length> {
        let span = ground.bounds.size(Axis::X);
        let widths = self.partners.iter().map(|it| *it - ground.wall - self.stock.rules.seam_trim);
        let inside = |it: &Length| *it >= cost::NARROW && *it <= span - cost::NARROW;
        widths.flat_map(|it| [it, span - it]).filter(inside).collect()
    }
}
