//! Bringing back a single thing that was lost: new edits, as everything else.

use super::difference::{Swap, What, same_matter};
use crate::ids::{GoodsId, ReadingId, RoomId, WallId};
use crate::job::{Choice, Decided, Decision, Edit, Job, Pin, Reading, Room};

/// Why something cannot be brought back as it was.
#[derive(thiserror::Error, Clone, Copy, PartialEq, Eq, Debug)]
pub enum NoReturn {
    #[error("nothing was lost here")]
    NothingLost,
    #[error("it stands as it did: there is nothing to bring back")]
    Stands,
    #[error("its room is removed: bring the room back first")]
    Room,
    #[error("its wall is removed: bring the wall back first")]
    Wall,
    #[error("its carpet is removed: bring the carpet back first")]
    Goods,
    #[error("it was removed since: bring it back where it was removed")]
    Removed,
}

/// The edits that bring back what stood before this difference, to the job as it is `now`, in which everything that anybody
/// ever `decided` is known.
pub fn restore(lost: &What, now: &Job, decided: &[Decided]) -> Result<Vec<Edit>, NoReturn> {
    let edits = edits(lost, now, decided)?;
    if edits.is_empty() { Err(NoReturn::Stands) } else { Ok(edits) }
}

fn edits(lost: &What, now: &Job, decided: &[Decided]) -> Result<Vec<Edit>, NoReturn> {
    let one = |it: Edit| Ok(vec![it]);
    match lost {
        What::Name(it) => one(Edit::NameJob { name: before(it)?.clone() }.unless(now.name == *before(it)?)?),
        What::Archived(it) => one(Edit::SetArchived { archived: *before(it)? }.unless(now.archived == *before(it)?)?),
        What::Units(it) => one(Edit::SetUnits { units: *before(it)? }.unless(now.units == *before(it)?)?),
        What::Rule(rule, it) => {
            let value = *before(it)?;
            one(Edit::SetRule { rule: *rule, value }.unless(now.rules.get(*rule) == value)?)
        }
        What::Goods(it) => {
            let stands = now.goods.iter().find(|goods| goods.id == of(it).id);
            let lift = Edit::RemoveGoods { goods: of(it).id, removed: false };
            thing(it, stands, lift, |goods| Edit::SetGoods { goods })
        }
        What::Flight(it) => {
            let stands = now.flights.iter().find(|flight| flight.id == of(it).id);
            goods_stand(before(it)?.goods, now)?;
            let lift = Edit::RemoveFlight { flight: of(it).id, removed: false };
            thing(it, stands, lift, |flight| Edit::SetFlight { flight })
        }
        What::Choice(it) => choice(before(it)?, now, decided),
        What::Room(room, it) => heading(*room, it, now),
        What::Wall(room, wall, it) => {
            before(it)?;
            let stands = room_of(*room, now)?.wall(*wall).is_some();
            one(Edit::RemoveWall { room: *room, wall: *wall, removed: false }.unless(stands)?)
        }
        What::Reading(room, wall, it) => {
            let readings: Vec<&Reading> = wall_of(*room, *wall, now)?.readings.iter().collect();
            let withdraw = |reading, withdrawn| Edit::WithdrawReading { room: *room, wall: *wall, reading, withdrawn };
            Ok(reading(before(it)?.id, &readings, withdraw))
        }
        What::Rise(room, wall, it) => {
            let readings: Vec<&Reading> = wall_of(*room, *wall, now)?.rises.iter().map(|it| &it.reading).collect();
            let withdraw = |rise, withdrawn| Edit::WithdrawRise { room: *room, wall: *wall, rise, withdrawn };
            Ok(reading(before(it)?.reading.id, &readings, withdraw))
        }
        What::Check(..) | What::Turn(..) | What::Opening(..) | What::Fixture(..) | What::Mark(..) => inside(lost, now),
        What::Photo(it) => {
            let photo = before(it)?.id;
            let stands = now.photos_in_force().any(|it| it.id == photo);
            one(Edit::WithdrawPhoto { photo, withdrawn: false }.unless(stands)?)
        }
        What::Person(..) | What::Print(_) | What::Dispute(_) => Err(NoReturn::NothingLost),
    }
}

/// What stands in a room.
fn inside(lost: &What, now: &Job) -> Result<Vec<Edit>, NoReturn> {
    match lost {
        What::Check(room, it) => {
            let (now, of) = (room_of(*room, now)?, before(it)?);
            let (from, to) = of.of.walls();
            wall_in(now, from)?;
            wall_in(now, to)?;
            let readings: Vec<&Reading> = now.checks.iter().map(|it| &it.reading).collect();
            let withdraw = |check, withdrawn| Edit::WithdrawCheck { room: *room, check, withdrawn };
            Ok(reading(of.reading.id, &readings, withdraw))
        }
        What::Turn(room, wall, it) => {
            // The newest in force counts: those after it must make way.
            let (now, id) = (wall_of(*room, *wall, now)?, before(it)?.id);
            let newer = now.turns.iter().skip_while(|it| it.id != id).skip(1).filter(|it| !it.withdrawn);
            let withdraw = |turn, withdrawn| Edit::WithdrawTurn { room: *room, wall: *wall, turn, withdrawn };
            let aside = now.turns.iter().any(|it| it.id == id && it.withdrawn);
            Ok(newer.map(|it| withdraw(it.id, true)).chain(aside.then(|| withdraw(id, false))).collect())
        }
        What::Opening(room, it) => {
            let now = room_of(*room, now)?;
            wall_in(now, before(it)?.wall)?;
            let stands = now.openings.iter().find(|opening| opening.id == of(it).id);
            let lift = Edit::RemoveOpening { room: *room, opening: of(it).id, removed: false };
            thing(it, stands, lift, |opening| Edit::SetOpening { room: *room, opening })
        }
        What::Fixture(room, it) => {
            let now = room_of(*room, now)?;
            wall_in(now, before(it)?.wall)?;
            let stands = now.fixtures.iter().find(|fixture| fixture.id == of(it).id);
            let lift = Edit::RemoveFixture { room: *room, fixture: of(it).id, removed: false };
            thing(it, stands, lift, |fixture| Edit::SetFixture { room: *room, fixture })
        }
        What::Mark(room, it) => {
            let (now, mark) = (room_of(*room, now)?, before(it)?);
            mark.wall.map_or(Ok(()), |it| wall_in(now, it))?;
            let stands = now.marks_in_force().any(|it| it.id == mark.id);
            Ok(vec![Edit::WithdrawMark { room: *room, mark: mark.id, withdrawn: false }.unless(stands)?])
        }
        _ => Err(NoReturn::NothingLost),
    }
}

impl Edit {
    /// An edit that would change nothing is none.
    fn unless(self, stands: bool) -> Result<Self, NoReturn> {
        if stands { Err(NoReturn::Stands) } else { Ok(self) }
    }
}

const fn before<T>(swap: &Swap<T>) -> Result<&T, NoReturn> {
    match swap {
        Swap::Came(_) => Err(NoReturn::NothingLost),
        Swap::Went(it) | Swap::Became { before: it, .. } => Ok(it),
    }
}

/// Either side: the thing's id is the same.
const fn of<T>(swap: &Swap<T>) -> &T {
    match swap {
        Swap::Came(it) | Swap::Went(it) | Swap::Became { before: it, .. } => it,
    }
}

/// One that was removed comes back as it was removed; one that was set otherwise is set as before.
fn thing<T: Clone + PartialEq>(
    swap: &Swap<T>,
    stands: Option<&T>,
    lift: Edit,
    set: impl Fn(T) -> Edit,
) -> Result<Vec<Edit>, NoReturn> {
    match (swap, stands) {
        (Swap::Came(_), _) => Err(NoReturn::NothingLost),
        (Swap::Went(_), None) => Ok(vec![lift]),
        (Swap::Became { .. }, None) => Err(NoReturn::Removed),
        (Swap::Went(_), Some(_)) => Err(NoReturn::Stands),
        (Swap::Became { before, .. }, Some(now)) => Ok(vec![set(before.clone()).unless(now == before)?]),
    }
}

fn heading(room: RoomId, swap: &Swap<super::Heading>, now: &Job) -> Result<Vec<Edit>, NoReturn> {
    let before = before(swap)?;
    let Swap::Became { after, .. } = swap else {
        return Ok(vec![Edit::RemoveRoom { room, removed: false }.unless(now.room(room).is_some())?]);
    };
    let now_room = now.room(room).ok_or(NoReturn::Removed)?;
    let mut edits = Vec::new();
    if before.name != after.name && before.name != now_room.name {
        edits.push(Edit::NameRoom { room, name: before.name.clone() });
    }
    if before.goods != after.goods && before.goods != now_room.goods {
        goods_stand(before.goods, now)?;
        edits.push(Edit::SetRoomGoods { room, goods: before.goods });
    }
    if before.closed != after.closed && before.closed != now_room.closed {
        edits.push(Edit::CloseRoom { room, closed: before.closed });
    }
    Ok(edits)
}

/// Puts a reading in force again: those that supersede it, and those that supersede these, are set aside.
fn reading(id: ReadingId, all: &[&Reading], withdraw: impl Fn(ReadingId, bool) -> Edit) -> Vec<Edit> {
    let live: Vec<&Reading> = all.iter().filter(|it| !it.withdrawn).copied().collect();
    let newer = above(id, &live, |it| it.id, |it, older| it.supersedes.contains(&older));
    let aside = all.iter().any(|it| it.id == id && it.withdrawn);
    newer.into_iter().map(|it| withdraw(it, true)).chain(aside.then(|| withdraw(id, false))).collect()
}

/// Everything that supersedes `id`, directly or by others.
fn above<T, K: Copy + PartialEq>(id: K, all: &[&T], key: impl Fn(&T) -> K, over: impl Fn(&T, K) -> bool) -> Vec<K> {
    let mut found = vec![id];
    let mut at = 0;
    while let Some(&older) = found.get(at) {
        let newer: Vec<K> = all.iter().filter(|it| over(it, older)).map(|it| key(it)).collect();
        for it in newer {
            if !found.contains(&it) {
                found.push(it);
            }
        }
        at += 1;
    }
    found.split_off(1)
}

/// Puts a decision in force again; those that supersede it, and others on the same matter, are taken back.
fn choice(lost: &Choice, now: &Job, decided: &[Decided]) -> Result<Vec<Edit>, NoReturn> {
    match &lost.decision {
        Decision::Pin { room, pin } => {
            let room = room_of(*room, now)?;
            if let Pin::Seam { wall, .. } | Pin::Along { wall } = *pin {
                wall_in(room, wall)?;
            }
        }
        Decision::Plan(plan) => goods_stand(Some(plan.goods), now)?,
        Decision::Cut(cut) => goods_stand(Some(cut.goods), now)?,
        Decision::OnHand(remnant) => goods_stand(Some(remnant.goods), now)?,
        Decision::LeaveOut { .. } => {}
    }
    let withdraw = |choice, withdrawn| Edit::WithdrawChoice { choice, withdrawn };
    let live: Vec<&Choice> = decided.iter().filter(|it| !it.withdrawn).map(|it| &it.choice).collect();
    let mut newer = above(lost.id, &live, |it| it.id, |it, older| it.supersedes.contains(&older));
    let others = now.choices.iter().filter(|it| it.id != lost.id && same_matter(&it.decision, &lost.decision));
    for it in others {
        if !newer.contains(&it.id) {
            newer.push(it.id);
        }
    }
    let aside = decided.iter().any(|it| it.choice.id == lost.id && it.withdrawn);
    Ok(newer.into_iter().map(|it| withdraw(it, true)).chain(aside.then(|| withdraw(lost.id, false))).collect())
}

fn goods_stand(goods: Option<GoodsId>, now: &Job) -> Result<(), NoReturn> {
    let stand = goods.is_none_or(|id| now.goods.iter().any(|it| it.id == id));
    if stand { Ok(()) } else { Err(NoReturn::Goods) }
}

fn room_of(room: RoomId, now: &Job) -> Result<&Room, NoReturn> {
    now.room(room).ok_or(NoReturn::Room)
}

fn wall_of(room: RoomId, wall: WallId, now: &Job) -> Result<&crate::job::Wall, NoReturn> {
    room_of(room, now)?.wall(wall).ok_or(NoReturn::Wall)
}

fn wall_in(room: &Room, wall: WallId) -> Result<(), NoReturn> {
    room.wall(wall).map(|_| ()).ok_or(NoReturn::Wall)
}
