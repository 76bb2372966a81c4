//! What is known of each room of the job: closed and surveyed once for everything that shows it.

use std::sync::{Arc, OnceLock};

use leptos::prelude::*;
use shared_model::ids::{RoomId, WallId};
use shared_model::job::{Job, Room, Rules};
use shared_model::length::Units;
use shared_model::outline::{Outline, close_surveyed};
use shared_model::problem::{Place, Problem, ProblemKind};
use shared_model::survey::{Adjusted, Survey};

/// A room as it stands. A handle: copies share what was found out, and are equal only to each other.
#[derive(Clone)]
pub struct Known(Arc<Facts>);

struct Facts {
    room: Room,
    rules: Rules,
    units: Units,
    closed: OnceLock<Closed>,
}

type Closed = (Option<Outline>, Vec<Problem>, Option<Survey>);

impl PartialEq for Known {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl Known {
    pub fn new(room: Room, job: &Job) -> Self {
        Self(Arc::new(Facts { room, rules: job.rules.clone(), units: job.units, closed: OnceLock::new() }))
    }

    pub fn room(&self) -> &Room {
        &self.0.room
    }

    pub fn rules(&self) -> &Rules {
        &self.0.rules
    }

    /// The job's, in which everything is said.
    pub fn units(&self) -> Units {
        self.0.units
    }

    pub fn outline(&self) -> Option<&Outline> {
        self.closed().0.as_ref()
    }

    pub fn problems(&self) -> &[Problem] {
        &self.closed().1
    }

    /// What the readings say of each other, in a room that is said to be closed.
    pub fn survey(&self) -> Option<&Survey> {
        self.closed().2.as_ref()
    }

    /// The survey's result, when the room can be adjusted.
    pub fn adjusted(&self) -> Option<&Adjusted> {
        self.survey()?.result.as_ref().ok()
    }

    /// Only when asked: a room that nobody looks at costs nothing.
    fn closed(&self) -> &Closed {
        self.0.closed.get_or_init(|| close_surveyed(&self.0.room, &self.0.rules, self.0.units))
    }

    fn is_of(&self, room: &Room, job: &Job) -> bool {
        self.0.room == *room && self.0.rules == job.rules && self.0.units == job.units
    }
}

/// The rooms of a job in its order. What did not change is not found out again.
pub fn rooms(job: Memo<Arc<Job>>) -> Memo<Vec<Known>> {
    Memo::new(move |before: Option<&Vec<Known>>| job.with(|job| again(before.map_or(&[], Vec::as_slice), job)))
}

fn again(before: &[Known], job: &Job) -> Vec<Known> {
    let known = |room: &Room| {
        let same = before.iter().find(|it| it.is_of(room, job)).cloned();
        same.unwrap_or_else(|| Known::new(room.clone(), job))
    };
    job.rooms.iter().map(known).collect()
}

/// Whether a problem is a mistake; the rest is work still to do.
pub const fn is_wrong(problem: &Problem) -> bool {
    !matches!(problem.kind, ProblemKind::Unmeasured | ProblemKind::Unchecked)
}

/// The wall that a place of this room is on.
pub fn wall_at(room: &Room, place: Place) -> Option<WallId> {
    match place {
        Place::Wall(_, wall) | Place::Corner(_, wall) => Some(wall),
        Place::Opening(_, opening) => room.openings.iter().find(|it| it.id == opening).map(|it| it.wall),
        Place::Fixture(_, fixture) => room.fixtures.iter().find(|it| it.id == fixture).map(|it| it.wall),
        _ => None,
    }
}

/// Problems name their room first; where its name stands already that says nothing.
pub fn without_room(room: &Room, text: &str) -> String {
    let rest = text.strip_prefix(room.name.trim()).and_then(|it| it.strip_prefix(": ")).unwrap_or(text);
    sentence(rest)
}

/// With a capital letter.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// The room of this id among those known.
pub fn of(rooms: &[Known], id: RoomId) -> Option<&Known> {
    rooms.iter().find(|it| it.room().id == id)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measured::House;

    #[test]
    fn a_room_that_did_not_change_is_not_surveyed_again() {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        house.rectangle("Hall", [16, 4]);
        let before = again(&[], &house.job());
        house.read(den, 1, "12'");
        let now = again(&before, &house.job());
        assert!(now[0] != before[0] && now[1] == before[1], "only the den was read again");
        assert!(of(&now, den) == Some(&now[0]));
    }

    #[test]
    fn every_room_is_judged_anew_when_the_rules_or_units_change() {
        let mut house = House::default();
        house.rectangle("Den", [12, 9]);
        let before = again(&[], &house.job());
        let metric = Job { units: Units::Metric, ..house.job() };
        assert!(again(&before, &metric)[0] != before[0]);
        assert!(before[0].outline().is_some() && before[0].adjusted().is_some());
    }

    #[test]
    fn an_open_ring_has_no_survey() {
        let mut house = House::default();
        let den = house.walls("Den", &["12'", "9'"]);
        let known = again(&[], &house.job());
        let known = of(&known, den).unwrap();
        assert!(known.survey().is_none() && known.outline().is_none());
        assert_eq!(known.problems().len(), 1, "it is not closed yet");
    }
}
