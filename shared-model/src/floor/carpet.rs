//! What the carpet covers, and what must share one pile direction.

use super::{NapGroup, PlacedRoom, join::Join};
use crate::ids::GoodsId;
use crate::job::{FloorAtOpening, Job, Room};
use crate::outline::{Outline, face};
use crate::polygon::Ring;
use crate::problem::{Place, Problem, ProblemKind};

/// The floor's edge with half the depth of each opening that carpet runs into (wall to wall is taken into the doorway:
/// common practice), in the room's own frame.
pub(super) fn covered(room: &Room, outline: &Outline) -> (Ring, Option<Problem>) {
    let ring = face(room, outline, |it| it.is_carpeted().then_some(it.depth / 2));
    if ring.crossing().is_none() {
        return (ring, None);
    }
    let text = format!(
        "{}: two openings meet behind a corner; the carpet is counted to the walls only. Check their depths.",
        room.title()
    );
    (outline.face.clone(), Some(Problem::new(ProblemKind::BadOpening, Place::Room(room.id), text)))
}

/// Rooms of one goods that joins with carpet connect; each flight by itself. In the order of the job's goods and rooms.
///
/// An opening whose other side is unknown connects nothing: the rooms' directions on the plan then say nothing about
/// each other.
pub(super) fn groups(job: &Job, rooms: &[PlacedRoom], joins: &[Join]) -> (Vec<NapGroup>, Vec<Problem>) {
    let mut problems = Vec::new();
    let goods: Vec<Option<GoodsId>> = rooms
        .iter()
        .map(|placed| {
            let own = job.room(placed.room).and_then(|it| it.goods);
            let found = job.goods_of(own).map(|it| it.id);
            if own.is_some() && found.is_none() {
                let text = format!("{}: its carpet was removed from the job. Choose another.", placed.name);
                problems.push(Problem::new(ProblemKind::BadGoods, Place::Room(placed.room), text));
            }
            found
        })
        .collect();
    let mut leader: Vec<usize> = (0..rooms.len()).collect();
    for Join { one, two } in joins {
        let carpeted = [one, two].iter().all(|it| it.floor != FloorAtOpening::OtherFloor);
        if carpeted && goods[one.site].is_some() && goods[one.site] == goods[two.site] {
            let (keep, drop) = (leader[one.site].min(leader[two.site]), leader[one.site].max(leader[two.site]));
            leader.iter_mut().filter(|it| **it == drop).for_each(|it| *it = keep);
        }
    }
    let mut groups = Vec::new();
    for each in &job.goods {
        for first in (0..rooms.len()).filter(|&i| leader[i] == i && goods[i] == Some(each.id)) {
            let members = (0..rooms.len()).filter(|&i| leader[i] == first).map(|i| rooms[i].room).collect();
            groups.push(NapGroup { goods: each.id, rooms: members, flights: Vec::new() });
        }
        let flights = job.flights.iter().filter(|it| job.goods_of(it.goods).is_some_and(|it| it.id == each.id));
        groups.extend(flights.map(|it| NapGroup { goods: each.id, rooms: Vec::new(), flights: vec![it.id] }));
    }
    for flight in job.flights.iter().filter(|it| it.goods.is_some() && job.goods_of(it.goods).is_none()) {
        let text = format!("{}: its carpet was removed from the job. Choose another.", flight.name);
        problems.push(Problem::new(ProblemKind::BadGoods, Place::Flight(flight.id), text));
    }
    (groups, problems)
}
