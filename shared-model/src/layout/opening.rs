//! Seams in the openings between two rooms of the same goods.

use super::mouth::mouths;
use super::{Seam, SeamKind, cost};
use crate::floor::{Floor, PlacedRoom};
use crate::ids::{GoodsId, OpeningId, RoomId};
use crate::job::{FloorAtOpening, Job, Opening, OpeningKind};

/// The room beyond an opening, if the same carpet lies on both sides of it.
fn beyond<'a>(job: &Job, floor: &'a Floor, room: RoomId, opening: &Opening, goods: GoodsId) -> Option<&'a PlacedRoom> {
    let other = opening.leads_to.filter(|it| opening.is_carpeted() && *it != room)?;
    let same = job.goods_of(job.room(other)?.goods)?.id == goods;
    floor.rooms.iter().find(|it| same && it.room == other)
}

/// Whether the room's carpet is seamed to another room's.
pub(super) fn is_seamed(job: &Job, floor: &Floor, room: RoomId, goods: GoodsId) -> bool {
    let from = |it: RoomId, to: Option<RoomId>| {
        let openings = job.room(it).into_iter().flat_map(|it| &it.openings);
        openings
            .filter_map(|opening| beyond(job, floor, it, opening, goods))
            .any(|it| to.is_none_or(|to| it.room == to))
    };
    from(room, None) || job.rooms.iter().any(|it| it.id != room && from(it.id, Some(room)))
}

/// One seam in each opening between two of these rooms, half way through the wall, but for those that carpet runs `through`.
pub(super) fn seams(job: &Job, floor: &Floor, rooms: &[RoomId], goods: GoodsId, through: &[OpeningId]) -> Vec<Seam> {
    let mut seams = Vec::new();
    let mut joined: Vec<(RoomId, RoomId)> = Vec::new();
    for placed in rooms.iter().filter_map(|id| floor.rooms.iter().find(|it| it.room == *id)) {
        let Some(room) = job.room(placed.room) else { continue };
        let before = joined.len();
        for mouth in mouths(room, placed) {
            let Some(other) = beyond(job, floor, room.id, mouth.opening, goods) else { continue };
            // Most openings are entered in both rooms; the first room's count.
            if !rooms.contains(&other.room) || joined[..before].contains(&(other.room, room.id)) {
                continue;
            }
            joined.push((room.id, other.room));
            if through.contains(&mouth.opening.id) {
                continue;
            }
            let leaf =
                mouth.opening.kind == OpeningKind::Doorway && mouth.opening.floor == FloorAtOpening::SeamUnderDoor;
            let (from, to) = mouth.half_way();
            let costs = cost::opening_costs(leaf);
            seams.push(Seam { room: room.id, kind: SeamKind::Opening, from, to, length: from.distance(to), costs });
        }
    }
    seams
}
