//! Rooms that are laid as one, through the openings between them.

use shared_model::floor::PlacedRoom;
use shared_model::ids::RoomId;
use shared_model::job::FloorAtOpening;
use shared_model::layout::SeamKind;

use super::plane::{Polygon, edges};
use super::{Check, Faults};

/// In counts: 1/4 in. Rooms that were measured apart do not meet more exactly in an opening.
pub const PLAY: f64 = 50_800.0;

impl<'a> Check<'a> {
    /// The rooms that are laid as one with this one, the one that names the pieces first.
    pub(super) fn as_one(&self, room: RoomId) -> Vec<&'a PlacedRoom> {
        let all = &self.takeoff.floor.rooms;
        let rooms = self.layout.areas.iter().find(|it| it.contains(&room)).cloned().unwrap_or_else(|| vec![room]);
        rooms.iter().filter_map(|id| all.iter().find(|it| it.room == *id)).collect()
    }

    /// The crew said that carpet runs through, and each room is in one area.
    pub(super) fn areas(&self, faults: &mut Faults) {
        let mut seen: Vec<RoomId> = Vec::new();
        for area in &self.layout.areas {
            faults.expect(area.len() > 1, || "an area of one room".into());
            for (i, room) in area.iter().enumerate() {
                faults.expect(!seen.contains(room), || format!("{room} is laid twice"));
                seen.push(*room);
                let reached = i == 0 || area.iter().any(|other| other != room && self.runs_through(*other, *room));
                faults.expect(reached, || format!("{room}: the carpet runs into it through no opening"));
            }
        }
    }

    fn runs_through(&self, one: RoomId, other: RoomId) -> bool {
        let says = |from: RoomId, to: RoomId| {
            let openings = self.job.rooms.iter().filter(move |it| it.id == from).flat_map(|it| &it.openings);
            openings.clone().any(|it| it.leads_to == Some(to))
                && openings
                    .clone()
                    .any(|it| it.leads_to.is_none_or(|it| it == to) && it.floor == FloorAtOpening::RunsThrough)
        };
        says(one, other) || says(other, one)
    }

    /// Along how much of their edges the floors of these rooms go on into each other without a seam.
    pub(super) fn run_through(&self, floors: &[Polygon], seen: impl Fn((i64, i64)) -> (f64, f64)) -> f64 {
        let seamed: Vec<(f64, f64)> = self
            .layout
            .seams
            .iter()
            .filter(|it| it.kind == SeamKind::Opening)
            .map(|it| {
                let (from, to) = (seen((it.from.x.0, it.from.y.0)), seen((it.to.x.0, it.to.y.0)));
                (f64::midpoint(from.0, to.0), f64::midpoint(from.1, to.1))
            })
            .collect();
        let mut length = 0.0;
        for (i, one) in floors.iter().enumerate() {
            for a in edges(one) {
                let middle = (f64::midpoint(a.0.0, a.1.0), f64::midpoint(a.0.1, a.1.1));
                if seamed.iter().all(|it| (it.0 - middle.0).hypot(it.1 - middle.1) > 4.0 * PLAY) {
                    length += floors[i + 1..].iter().flat_map(edges).map(|b| facing(a, b, PLAY)).sum::<f64>();
                }
            }
        }
        length
    }
}

/// Along how much of its edge a polygon meets itself: its floor closes around a wall between two openings.
pub(super) fn closed(polygon: &Polygon) -> f64 {
    let all: Vec<_> = edges(polygon).collect();
    all.iter().enumerate().flat_map(|(i, a)| all[i + 1..].iter().map(|b| facing(*a, *b, 0.5))).sum()
}

/// Along how much two edges face each other, with no more than `play` between them.
fn facing(a: ((f64, f64), (f64, f64)), b: ((f64, f64), (f64, f64)), play: f64) -> f64 {
    let along = (a.1.0 - a.0.0, a.1.1 - a.0.1);
    let size = along.0.hypot(along.1);
    let place = |p: (f64, f64)| {
        let (x, y) = (p.0 - a.0.0, p.1 - a.0.1);
        ((x * along.0 + y * along.1) / size, (x * along.1 - y * along.0) / size)
    };
    let (start, end) = (place(b.1), place(b.0));
    let faces = start.1.abs() <= play && end.1.abs() <= play && end.0 > start.0;
    let overlap = end.0.min(size) - start.0.max(0.0);
    if faces && overlap > PLAY { overlap } else { 0.0 }
}
