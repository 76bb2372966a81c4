//! What the crew decided that every layout has to keep.

use std::collections::BTreeSet;

use super::PileDirection;
use super::area::Area;
use super::plan;
use super::stock::Stock;
use super::through::Through;
use super::variant::{Planned, Variant};
use crate::floor::PlacedRoom;
use crate::ids::{RoomId, WallId};
use crate::job::{Choice, ChosenPlan, Decision, Job, Pin};
use crate::length::Length;
use crate::polygon::{Axis, Bounds};

/// The pins in force, the pieces left out, and the plan chosen for the goods.
pub(super) struct Held<'a> {
    pins: Vec<(RoomId, Pin)>,
    left_out: BTreeSet<&'a str>,
    pub plan: Option<&'a ChosenPlan>,
}

impl<'a> Held<'a> {
    pub fn of(job: &'a Job, plan: Option<&'a ChosenPlan>) -> Self {
        let pins = job.choices.iter().filter_map(|it| match it.decision {
            Decision::Pin { room, pin } => Some((room, pin)),
            _ => None,
        });
        let left_out = job.choices.iter().filter_map(|it: &Choice| match &it.decision {
            Decision::LeaveOut { piece } => Some(piece.as_str()),
            _ => None,
        });
        Self { pins: pins.collect(), left_out: left_out.collect(), plan }
    }

    /// Whether the chosen plan carpets two rooms as one.
    pub fn as_one(&self, one: RoomId, other: RoomId) -> bool {
        let way = |room: RoomId| self.plan.and_then(|it| it.ways.get(&room.0));
        way(one).is_some_and(|it| it.contains('&')) && way(one) == way(other)
    }

    /// The same without any pin in these rooms.
    pub fn without_pins(&self, rooms: &[RoomId]) -> Self {
        let pins = self.pins.iter().filter(|(room, _)| !rooms.contains(room)).copied();
        Self { pins: pins.collect(), left_out: self.left_out.clone(), plan: self.plan }
    }

    pub fn pins(&self, room: RoomId) -> impl Iterator<Item = Pin> + Clone {
        self.pins.iter().filter(move |(of, _)| *of == room).map(|(_, pin)| *pin)
    }

    pub fn leaves_out(&self, piece: &Planned) -> bool {
        !self.left_out.is_empty() && self.left_out.contains(plan::piece_id(piece).as_str())
    }
}

/// Whether an area laid like this, with this pile, keeps a pin of one of its rooms.
pub(super) fn keeps((room, pin): (RoomId, Pin), area: &Area, pile: PileDirection, variant: &Variant) -> bool {
    match pin {
        Pin::Pile(pinned) => pinned == pile,
        // Only lines through the pinned places are tried at all.
        Pin::Seam { .. } => true,
        Pin::NoSeam => variant.seams.iter().all(|it| it.room != room),
        Pin::Along { wall } => side(area, pile, wall).is_some_and(|west| variant.starts_at(west)),
    }
}

/// Whether an area laid like this, with this pile, keeps all of these pins, its seams at the pinned places too.
pub(super) fn keeps_all(pins: &[(RoomId, Pin)], area: &Area, pile: PileDirection, variant: &Variant) -> bool {
    let given = pinned_seams(pins.iter().map(|it| it.1));
    let seamed =
        |it: &Through| it.lines(area, pile).is_some_and(|lines| lines.iter().all(|line| variant.lines.contains(line)));
    pins.iter().all(|it| keeps(*it, area, pile, variant)) && given.as_ref().is_none_or(seamed)
}

/// Whether a wall is the area's west side, or its east side, in the frame of the pile.
fn side(area: &Area, pile: PileDirection, wall: WallId) -> Option<bool> {
    let (from, to) = area.wall(pile, wall)?;
    let rings = area.rooms.iter().map(|it| pile.northward(&it.ring));
    let bounds = rings.filter_map(|it| it.bounds()).reduce(Bounds::with)?;
    let is_at = |x: Length| from.x == x && to.x == x;
    [(true, bounds.min.x), (false, bounds.max.x)].into_iter().find(|(_, x)| is_at(*x)).map(|(west, _)| west)
}

/// Why nothing keeps a pin, and what to do.
pub(super) fn impossible(pin: Pin, placed: &PlacedRoom, stock: &Stock, show: impl Fn(Length) -> String) -> String {
    let name = &placed.name;
    let covers = show(stock.goods.roll_width - stock.rules.wall_allowance * 2);
    let size = |axis| placed.covered.bounds().map(|it| it.size(axis)).unwrap_or_default();
    match pin {
        Pin::Pile(pile) => format!(
            "{name}: with the pile {} on the plan no breadths cover it together with its other pins and the rooms that share its pile. \
             Take a pin back.",
            pile.way()
        ),
        Pin::Seam { distance, .. } => format!(
            "{name}: no seam can lie {} from that wall: it would fall outside the floor or within 6 in of a wall, or leave a breadth \
             wider than the roll. Move the pin.",
            show(distance)
        ),
        Pin::NoSeam => format!(
            "{name}: it cannot be laid without a seam: the floor is {} by {}, but one breadth covers {covers} at most. Take the pin \
             back, or choose wider goods.",
            show(size(Axis::X)),
            show(size(Axis::Y))
        ),
        Pin::Along { .. } => format!(
            "{name}: no full breadth can start along that wall: it is not an outer wall that runs with the pile. Pin another wall."
        ),
    }
}

/// The pinned seams of a room, where they lie in the frame of a pile. `None` without any.
pub(super) fn pinned_seams(pins: impl Iterator<Item = Pin>) -> Option<Through> {
    let seams = pins.filter_map(|it| match it {
        Pin::Seam { wall, distance } => Some((wall, distance)),
        _ => None,
    });
    Through::walls(seams)
}
