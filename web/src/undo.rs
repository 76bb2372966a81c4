//! Undo and redo of this phone's own actions, kept over a reload. The document forgets nothing: taking back is a new edit.

use serde::{Deserialize, Serialize};
use shared_model::ids::{DeviceId, WallId};
use shared_model::job::{Edit, Job, Room, Stamp};

/// Older actions than this many are not taken back.
const MOST_STEPS: usize = 100;

const NEWER_STAYS: &str = "This was changed again by somebody else: the newer one stays.";

/// One action: what was done, and what takes it back.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Step {
    pub said: String,
    forth: Vec<Edit>,
    back: Vec<Edit>,
}

/// The actions of one person in one job, newest last.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Undo {
    done: Vec<Step>,
    undone: Vec<Step>,
}

/// What to do now: the edits, and what they are called.
#[derive(Clone, PartialEq, Debug)]
pub struct Move {
    pub said: String,
    pub edits: Vec<Edit>,
    /// Somebody else built on this since, so that part of it stays.
    pub kept: Option<String>,
}

impl Undo {
    /// Remembers an action about to be made on the job as it is `before`.
    pub fn remember(&mut self, said: &str, edits: &[Edit], before: &Job) {
        let back: Vec<Edit> = edits.iter().rev().filter_map(|it| it.inverse(before)).collect();
        if back.is_empty() {
            return;
        }
        self.undone.clear();
        self.done.push(Step { said: said.to_owned(), forth: edits.to_vec(), back });
        if self.done.len() > MOST_STEPS {
            self.done.remove(0);
        }
    }

    /// The name of the action that undo would take back.
    pub fn last(&self) -> Option<&str> {
        self.done.last().map(|it| it.said.as_str())
    }

    /// The name of the action that redo would do again.
    pub fn next(&self) -> Option<&str> {
        self.undone.last().map(|it| it.said.as_str())
    }

    /// Takes back the newest action of `me`, except what others built on.
    pub fn undo(&mut self, now: &Job, me: DeviceId) -> Option<Move> {
        let step = self.done.pop()?;
        let mut kept = None;
        let mut edits = Vec::new();
        for edit in &step.back {
            match standing(edit, &step.forth, now, me) {
                Some(reason) => kept = Some(reason),
                None => edits.push(edit.clone()),
            }
        }
        let said = step.said.clone();
        self.undone.push(step);
        Some(Move { said, edits, kept })
    }

    /// Does the action taken back last once more, except what others wrote anew since.
    pub fn redo(&mut self, now: &Job) -> Option<Move> {
        let step = self.undone.pop()?;
        let newer = |it: &&Edit| writes_over(it) && it.inverse(now).is_some_and(|since| !step.back.contains(&since));
        let kept = step.forth.iter().find(newer).map(|_| NEWER_STAYS.to_owned());
        let edits = step.forth.iter().filter(|it| !newer(it)).map(again).collect();
        let said = step.said.clone();
        self.done.push(step);
        Some(Move { said, edits, kept })
    }
}

/// Things are made once: doing it again takes the mark of removal off.
fn again(edit: &Edit) -> Edit {
    match edit {
        Edit::AddRoom { room, .. } => Edit::RemoveRoom { room: *room, removed: false },
        Edit::AddWall { room, wall, .. } => Edit::RemoveWall { room: *room, wall: *wall, removed: false },
        Edit::AddReading { room, wall, reading } => {
            Edit::WithdrawReading { room: *room, wall: *wall, reading: reading.id, withdrawn: false }
        }
        Edit::AddCheck { room, reading, .. } => {
            Edit::WithdrawCheck { room: *room, check: reading.id, withdrawn: false }
        }
        Edit::StateTurn { room, wall, turn } => {
            Edit::WithdrawTurn { room: *room, wall: *wall, turn: turn.id, withdrawn: false }
        }
        Edit::AddRise { room, wall, reading, .. } => {
            Edit::WithdrawRise { room: *room, wall: *wall, rise: reading.id, withdrawn: false }
        }
        Edit::AddFixture { room, fixture } => Edit::RemoveFixture { room: *room, fixture: fixture.id, removed: false },
        Edit::AddMark { room, mark } => Edit::WithdrawMark { room: *room, mark: mark.id, withdrawn: false },
        Edit::AddOpening { room, opening } => Edit::RemoveOpening { room: *room, opening: opening.id, removed: false },
        Edit::AddFlight { flight } => Edit::RemoveFlight { flight: flight.id, removed: false },
        Edit::AddGoods { goods } => Edit::RemoveGoods { goods: goods.id, removed: false },
        Edit::AddPhoto { photo } => Edit::WithdrawPhoto { photo: photo.id, withdrawn: false },
        Edit::Choose { choice } => Edit::WithdrawChoice { choice: choice.id, withdrawn: false },
        other => other.clone(),
    }
}

/// Why this part of an undo would take away somebody else's work; `None` when it does not.
fn standing(back: &Edit, forth: &[Edit], now: &Job, me: DeviceId) -> Option<String> {
    let name = |by: DeviceId| now.people.get(&by).cloned().unwrap_or_else(|| "Somebody else".to_owned());
    match back {
        Edit::RemoveRoom { room, removed: true } => {
            let room = now.room(*room)?;
            others_work(room, None, me).map(|by| format!("{} measured in {} since: it stays.", name(by), room.name))
        }
        Edit::RemoveWall { room, wall, removed: true } => {
            let room = now.room(*room)?;
            others_work(room, Some(*wall), me).map(|by| format!("{} measured this wall too: it stays.", name(by)))
        }
        _ if writes_over(back) => {
            let since = back.inverse(now)?;
            (!forth.contains(&since)).then(|| NEWER_STAYS.to_owned())
        }
        _ => None,
    }
}

/// Whether the edit replaces a value, instead of adding or marking one.
const fn writes_over(edit: &Edit) -> bool {
    matches!(
        edit,
        Edit::NameJob { .. }
            | Edit::SetUnits { .. }
            | Edit::SetRule { .. }
            | Edit::NameRoom { .. }
            | Edit::SetRoomGoods { .. }
            | Edit::SetOpening { .. }
            | Edit::SetFixture { .. }
            | Edit::SetFlight { .. }
            | Edit::SetGoods { .. }
    )
}

fn others_work(room: &Room, wall: Option<WallId>, me: DeviceId) -> Option<DeviceId> {
    let walls = room.walls.iter().filter(|it| wall.is_none_or(|one| one == it.id));
    let mut stamps = walls.flat_map(|it| {
        let readings = it.readings.iter().filter(|it| !it.withdrawn).map(|it| it.stamp);
        readings.chain(it.turns.iter().filter(|it| !it.withdrawn).map(|it| it.stamp))
    });
    stamps.find(|it: &Stamp| it.by != me).map(|it| it.by)
}

#[cfg(test)]
mod tests;
