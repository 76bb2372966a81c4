//! What the survey would put in place of a reading or a turn that looks like a slip. It is taken by one tap, as a correction that
//! can be undone, and stays marked as something that nobody has read.

use shared_model::ids::{ReadingId, WallId};
use shared_model::job::{Edit, NewReading, Reading, Room, Tool, Turn};
use shared_model::length::{Length, Units};
use shared_model::survey::words::title;
use shared_model::survey::{Amount, Source, Survey, Unsolved, Verdict, survey, turned_wrong};

use crate::keypad::Taken;
use crate::known::Known;
use crate::measuring::{new_reading, other_way, say_turn, state_turn};
use crate::shown;

/// Ends the text of a reading that was not typed but taken as proposed.
const PROPOSED: &str = "(proposed)";

/// Most walls of a room in which every corner is tried the other way: more would keep the screen waiting.
const MOST_TURNED: usize = 40;

/// One reading or turn, and what it may have been.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Proposal {
    of: Source,
    instead: Amount,
}

impl Proposal {
    /// For the reading that a survey suspects before all others of a slip; `None` when it blames nobody, or knows no slip.
    pub fn for_suspect(survey: &Survey) -> Option<Self> {
        let Verdict::Suspects(suspects) = &survey.result.as_ref().ok()?.verdict else { return None };
        let suspect = suspects.first()?;
        let (_, instead) = suspect.proposed?;
        Some(Self { of: *survey.sources.get(suspect.observation)?, instead })
    }

    /// For turns that do not go once around: the one corner that makes all readings agree when it is turned the other way.
    /// `None` when there is none, or when two would.
    pub fn for_turns(known: &Known) -> Option<Self> {
        let judged = known.survey()?;
        let Err(Unsolved::NotOnceAround { .. }) = judged.result else { return None };
        let room = known.room();
        if room.walls.len() > MOST_TURNED {
            return None;
        }
        let agreeing = turned_wrong(&judged.network).into_iter().take(2).filter_map(|corner| {
            // The turn at a corner is said of the wall that ends there.
            let at = (corner + room.walls.len() - 1) % room.walls.len();
            let mut other = room.clone();
            let wall = other.walls.get_mut(at)?;
            let (of, instead) = (Source::Turn(wall.id), other_way(wall.turn()));
            say_turn(wall, instead);
            let agrees = survey(&other, known.rules(), known.units()).result.is_ok_and(|it| it.verdict.agrees());
            agrees.then_some(Self { of, instead: Amount::Angle(instead.0) })
        });
        match agreeing.collect::<Vec<_>>()[..] {
            [one] => Some(one),
            _ => None,
        }
    }

    /// The wall whose end is to be turned, of a turn.
    pub const fn corner(self) -> Option<WallId> {
        match self.of {
            Source::Turn(wall) => Some(wall),
            _ => None,
        }
    }

    /// `Take 13' 4"`, `Turn it left`.
    pub fn key(self, units: Units) -> String {
        match self.instead {
            Amount::Length(length) => format!("Take {}", shown::length(length, units)),
            Amount::Angle(angle) => format!("Turn it {}", if angle.0 < 0 { "left" } else { "right" }),
        }
    }

    /// The same for whoever does not see beside what it stands: `Take 13' 4" for wall 3`.
    pub fn label(self, room: &Room, units: Units) -> String {
        let (key, title) = (self.key(units), title(room, self.of));
        match self.instead {
            Amount::Length(_) => format!("{key} for {title}"),
            Amount::Angle(_) => format!("{key}: {title}"),
        }
    }

    /// What the room's problem does not say by itself: which corner, when turns do not go once around.
    pub fn words(self, room: &Room) -> Option<String> {
        let Amount::Angle(angle) = self.instead else { return None };
        let side = if angle.0 < 0 { "left" } else { "right" };
        let title = title(room, self.of);
        Some(format!("With {title} turned {side} all readings agree. Look at it again first."))
    }

    /// The edit that takes it. `None` when somebody already corrected what it was about.
    pub fn edit(self, room: &Room, units: Units) -> Option<Edit> {
        match (self.of, self.instead) {
            (Source::Wall(wall, reading), Amount::Length(value)) => {
                room.wall(wall)?.in_force().find(|it| it.id == reading)?;
                Some(Edit::AddReading { room: room.id, wall, reading: instead_of(reading, value, units) })
            }
            (Source::Check(of, reading), Amount::Length(value)) => {
                room.checks_in_force().find(|it| it.reading.id == reading)?;
                Some(Edit::AddCheck { room: room.id, of, reading: instead_of(reading, value, units) })
            }
            (Source::Turn(wall), Amount::Angle(angle)) => Some(state_turn(room.id, room.wall(wall)?, Turn(angle))),
            _ => None,
        }
    }
}

/// A correction that nobody read: it counts like a length from a drawing, so that it checks nothing and is read again.
fn instead_of(reading: ReadingId, value: Length, units: Units) -> NewReading {
    let typed = format!("{} {PROPOSED}", shown::length(value, units));
    new_reading(&Taken { value, typed, tool: Tool::Plan }, vec![reading])
}

/// Where a length comes from when it was not read in the room: `proposed`, `from a drawing`.
pub fn unread_words(reading: &Reading) -> Option<&'static str> {
    match reading.tool {
        Tool::Plan if reading.typed.ends_with(PROPOSED) => Some("proposed"),
        Tool::Plan => Some("from a drawing"),
        Tool::Tape | Tool::Laser => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measured::House;
    use crate::measuring::Shape;
    use shared_model::ids::RoomId;

    fn known(house: &House, room: RoomId) -> Known {
        Known::new(house.room(room), &house.job())
    }

    /// 9-12-15, checked across both ways; then wall 3 is corrected to a foot too much.
    fn a_foot_off() -> (House, RoomId) {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        house.check(den, 1, 3, "15'");
        house.check(den, 2, 4, "15'");
        house.correct(den, 3, "13'");
        (house, den)
    }

    #[test]
    fn a_reading_a_foot_off_is_replaced_by_one_tap_and_kept() {
        let (mut house, den) = a_foot_off();
        let proposal = Proposal::for_suspect(known(&house, den).survey().unwrap()).unwrap();
        assert_eq!(proposal.key(Units::Imperial), "Take 12' 0\"");
        assert_eq!(proposal.label(&house.room(den), Units::Imperial), "Take 12' 0\" for wall 3");
        let before = house.room(den);
        house.act(&[proposal.edit(&before, Units::Imperial).unwrap()]);

        let room = house.room(den);
        let in_force: Vec<_> = room.walls[2].in_force().collect();
        assert_eq!(in_force.len(), 1);
        assert_eq!((in_force[0].value, in_force[0].typed.as_str()), (Length::feet(12), "12' 0\" (proposed)"));
        assert_eq!(unread_words(in_force[0]), Some("proposed"));
        assert_eq!(room.walls[2].readings.len(), before.walls[2].readings.len() + 1, "nothing is forgotten");
        let now = known(&house, den);
        assert!(now.problems().is_empty(), "{:?}", now.problems());
        assert_eq!(proposal.edit(&room, Units::Imperial), None, "it is corrected already");
    }

    #[test]
    fn what_is_proposed_checks_nothing() {
        let (mut house, den) = a_foot_off();
        let proposal = Proposal::for_suspect(known(&house, den).survey().unwrap()).unwrap();
        let edit = proposal.edit(&house.room(den), Units::Imperial).unwrap();
        house.act(&[edit]);
        let worst = |house: &House| known(house, den).adjusted().unwrap().cuts.iter().map(|it| it.uncertainty).max();
        let taken = worst(&house);
        house.read(den, 3, "12'");
        let room = house.room(den);
        let in_force: Vec<_> = room.walls[2].in_force().map(|it| it.typed.as_str()).collect();
        assert_eq!(in_force, ["12'"], "a reading in the room replaces what was only proposed");
        assert!(worst(&house) < taken, "a tape says more");
    }

    #[test]
    fn nothing_is_proposed_where_nobody_can_be_blamed() {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        house.check(den, 1, 3, "15'");
        assert_eq!(Proposal::for_suspect(known(&house, den).survey().unwrap()), None, "all agree");
        house.read(den, 1, "13'");
        assert_eq!(Proposal::for_turns(&known(&house, den)), None, "the turns go once around");
    }

    #[test]
    fn a_check_with_a_slip_is_corrected_as_a_check() {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        house.check(den, 1, 3, "15'");
        house.check(den, 2, 4, "16'");
        let proposal = Proposal::for_suspect(known(&house, den).survey().unwrap()).unwrap();
        assert_eq!(
            proposal.label(&house.room(den), Units::Imperial),
            "Take 15' 0\" for the check from corner 2 to corner 4"
        );
        let edit = proposal.edit(&house.room(den), Units::Imperial).unwrap();
        house.act(&[edit]);
        let room = house.room(den);
        let in_force: Vec<_> = room.checks_in_force().map(|it| it.reading.typed.as_str()).collect();
        assert_eq!(in_force, ["15'", "15' 0\" (proposed)"]);
    }

    /// An L whose inner corner was walked as a right turn: six right turns make one and a half times around.
    #[test]
    fn a_turn_taken_the_other_way_is_found_by_the_lengths() {
        let mut house = House::default();
        let l = house.shape("Hall", Shape::L);
        for (number, feet) in [(1, "12'"), (2, "10'"), (3, "5'"), (4, "4'"), (5, "7'"), (6, "14'")] {
            house.read(l, number, feet);
        }
        assert!(known(&house, l).outline().is_some());
        house.turn(l, 3, Turn::RIGHT);
        assert!(known(&house, l).outline().is_none());
        let proposal = Proposal::for_turns(&known(&house, l)).unwrap();
        assert_eq!(proposal.key(Units::Imperial), "Turn it left");
        let room = house.room(l);
        assert_eq!(
            proposal.words(&room).as_deref(),
            Some("With the corner after wall 3 turned left all readings agree. Look at it again first.")
        );
        house.act(&[proposal.edit(&room, Units::Imperial).unwrap()]);
        assert_eq!(house.room(l).walls[2].turn(), Turn::LEFT);
        assert!(known(&house, l).outline().is_some());
    }
}
