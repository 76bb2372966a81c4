//! What a person can do to a job.

use serde::{Deserialize, Serialize};

use super::{
    Across, Decision, Fixture, Flight, Goods, Job, NewMark, NewPhoto, Opening, Order, Rule, Sheet, Tool, Turn, Wall,
};
use crate::ids::{
    ChoiceId, FixtureId, FlightId, GoodsId, MarkId, OpeningId, PhotoId, PrintId, ReadingId, RoomId, TurnId, WallId,
};
use crate::length::{Length, Units};

/// One step of a person's action. New things carry an id that the caller made; nothing is ever deleted.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Edit {
    NameJob {
        name: String,
    },
    SetUnits {
        units: Units,
    },
    /// Puts the job away, or brings it back.
    SetArchived {
        archived: bool,
    },
    /// A length counts in 1/8 µm, a number as it is.
    SetRule {
        rule: Rule,
        value: i64,
    },
    /// The name that the author's person goes by in this job.
    NamePerson {
        name: String,
    },

    AddRoom {
        room: RoomId,
        name: String,
        level: i64,
        goods: Option<GoodsId>,
        order: Order,
    },
    NameRoom {
        room: RoomId,
        name: String,
    },
    SetRoomGoods {
        room: RoomId,
        goods: Option<GoodsId>,
    },
    CloseRoom {
        room: RoomId,
        closed: bool,
    },
    RemoveRoom {
        room: RoomId,
        removed: bool,
    },

    AddWall {
        room: RoomId,
        wall: WallId,
        order: Order,
    },
    RemoveWall {
        room: RoomId,
        wall: WallId,
        removed: bool,
    },
    AddReading {
        room: RoomId,
        wall: WallId,
        reading: NewReading,
    },
    WithdrawReading {
        room: RoomId,
        wall: WallId,
        reading: ReadingId,
        withdrawn: bool,
    },
    /// A length read across the room.
    AddCheck {
        room: RoomId,
        of: Across,
        reading: NewReading,
    },
    WithdrawCheck {
        room: RoomId,
        check: ReadingId,
        withdrawn: bool,
    },
    StateTurn {
        room: RoomId,
        wall: WallId,
        turn: NewTurn,
    },
    WithdrawTurn {
        room: RoomId,
        wall: WallId,
        turn: TurnId,
        withdrawn: bool,
    },

    AddOpening {
        room: RoomId,
        opening: Opening,
    },
    /// Writes only the fields that differ from what the document says.
    SetOpening {
        room: RoomId,
        opening: Opening,
    },
    RemoveOpening {
        room: RoomId,
        opening: OpeningId,
        removed: bool,
    },

    /// How far a wall stands off the line between its ends.
    AddRise {
        room: RoomId,
        wall: WallId,
        inward: bool,
        reading: NewReading,
    },
    WithdrawRise {
        room: RoomId,
        wall: WallId,
        rise: ReadingId,
        withdrawn: bool,
    },

    AddFixture {
        room: RoomId,
        fixture: Fixture,
    },
    /// Writes only the fields that differ from what the document says.
    SetFixture {
        room: RoomId,
        fixture: Fixture,
    },
    RemoveFixture {
        room: RoomId,
        fixture: FixtureId,
        removed: bool,
    },

    AddMark {
        room: RoomId,
        mark: NewMark,
    },
    WithdrawMark {
        room: RoomId,
        mark: MarkId,
        withdrawn: bool,
    },

    AddFlight {
        flight: Flight,
    },
    SetFlight {
        flight: Flight,
    },
    RemoveFlight {
        flight: FlightId,
        removed: bool,
    },

    AddGoods {
        goods: Goods,
    },
    SetGoods {
        goods: Goods,
    },
    RemoveGoods {
        goods: GoodsId,
        removed: bool,
    },

    Choose {
        choice: NewChoice,
    },
    WithdrawChoice {
        choice: ChoiceId,
        withdrawn: bool,
    },

    /// A sheet is printed: paper cannot be taken back.
    NotePrint {
        print: PrintId,
        sheet: Sheet,
    },

    AddPhoto {
        photo: NewPhoto,
    },
    WithdrawPhoto {
        photo: PhotoId,
        withdrawn: bool,
    },
}

/// A reading about to be added; who and when are the change's.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewReading {
    pub id: ReadingId,
    pub value: Length,
    pub typed: String,
    pub tool: Tool,
    pub supersedes: Vec<ReadingId>,
}

/// A statement of a turn about to be added.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewTurn {
    pub id: TurnId,
    pub turn: Turn,
    /// The turn is only what it looks like: the other readings decide.
    #[serde(default)]
    pub free: bool,
    pub supersedes: Vec<TurnId>,
}

/// A decision about to be made.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewChoice {
    pub id: ChoiceId,
    pub decision: Decision,
    pub supersedes: Vec<ChoiceId>,
}

impl Edit {
    /// The edit that takes this one back, given the job as it was `before`. `None` when there is nothing to take back
    /// (the thing does not exist, or the value is the same). A person's name is not taken back, only given anew, and what is printed
    /// stays printed.
    pub fn inverse(&self, before: &Job) -> Option<Self> {
        match self {
            Self::NameJob { name } => (before.name != *name).then(|| Self::NameJob { name: before.name.clone() }),
            Self::SetArchived { archived } => {
                (before.archived != *archived).then_some(Self::SetArchived { archived: before.archived })
            }
            Self::SetUnits { units } => (before.units != *units).then_some(Self::SetUnits { units: before.units }),
            Self::SetRule { rule, value } => {
                let value_before = before.rules.get(*rule);
                (value_before != *value).then_some(Self::SetRule { rule: *rule, value: value_before })
            }
            Self::NamePerson { .. } => None,
            Self::AddRoom { room, .. }
            | Self::NameRoom { room, .. }
            | Self::SetRoomGoods { room, .. }
            | Self::CloseRoom { room, .. }
            | Self::AddCheck { room, .. }
            | Self::WithdrawCheck { room, .. }
            | Self::AddMark { room, .. }
            | Self::WithdrawMark { room, .. }
            | Self::RemoveRoom { room, .. } => self.inverse_of_room(*room, before),
            Self::AddWall { room, wall, .. }
            | Self::RemoveWall { room, wall, .. }
            | Self::AddReading { room, wall, .. }
            | Self::WithdrawReading { room, wall, .. }
            | Self::AddRise { room, wall, .. }
            | Self::WithdrawRise { room, wall, .. }
            | Self::StateTurn { room, wall, .. }
            | Self::WithdrawTurn { room, wall, .. } => {
                let stands = before.room(*room).and_then(|it| it.wall(*wall));
                self.inverse_of_wall(*room, *wall, stands)
            }
            Self::AddOpening { room, opening: Opening { id, .. } }
            | Self::SetOpening { room, opening: Opening { id, .. } }
            | Self::RemoveOpening { room, opening: id, .. } => {
                let stands = before.room(*room)?.openings.iter().find(|it| it.id == *id);
                let remove = |removed| Self::RemoveOpening { room: *room, opening: *id, removed };
                let set = |opening| Self::SetOpening { room: *room, opening };
                self.inverse_of_thing(stands, remove, set)
            }
            Self::AddFixture { room, fixture: Fixture { id, .. } }
            | Self::SetFixture { room, fixture: Fixture { id, .. } }
            | Self::RemoveFixture { room, fixture: id, .. } => {
                let stands = before.room(*room)?.fixtures.iter().find(|it| it.id == *id);
                let remove = |removed| Self::RemoveFixture { room: *room, fixture: *id, removed };
                let set = |fixture| Self::SetFixture { room: *room, fixture };
                self.inverse_of_thing(stands, remove, set)
            }
            Self::AddFlight { flight: Flight { id, .. } }
            | Self::SetFlight { flight: Flight { id, .. } }
            | Self::RemoveFlight { flight: id, .. } => {
                let stands = before.flights.iter().find(|it| it.id == *id);
                let remove = |removed| Self::RemoveFlight { flight: *id, removed };
                self.inverse_of_thing(stands, remove, |flight| Self::SetFlight { flight })
            }
            Self::AddGoods { goods: Goods { id, .. } }
            | Self::SetGoods { goods: Goods { id, .. } }
            | Self::RemoveGoods { goods: id, .. } => {
                let stands = before.goods.iter().find(|it| it.id == *id);
                let remove = |removed| Self::RemoveGoods { goods: *id, removed };
                self.inverse_of_thing(stands, remove, |goods| Self::SetGoods { goods })
            }
            Self::Choose { choice } => Some(Self::WithdrawChoice { choice: choice.id, withdrawn: true }),
            Self::WithdrawChoice { choice, withdrawn } => {
                let in_force = before.choices.iter().any(|it| it.id == *choice);
                (in_force == *withdrawn).then_some(Self::WithdrawChoice { choice: *choice, withdrawn: !withdrawn })
            }
            Self::NotePrint { .. } => None,
            Self::AddPhoto { photo } => Some(Self::WithdrawPhoto { photo: photo.id, withdrawn: true }),
            Self::WithdrawPhoto { photo, withdrawn } => {
                let changes = before.photos.iter().any(|it| it.id == *photo && it.withdrawn != *withdrawn);
                changes.then_some(Self::WithdrawPhoto { photo: *photo, withdrawn: !withdrawn })
            }
        }
    }

    fn inverse_of_room(&self, room: RoomId, before: &Job) -> Option<Self> {
        let stands = before.room(room);
        match self {
            Self::NameRoom { name, .. } => {
                let name_before = &stands?.name;
                (name_before != name).then(|| Self::NameRoom { room, name: name_before.clone() })
            }
            Self::SetRoomGoods { goods, .. } => {
                let goods_before = stands?.goods;
                (goods_before != *goods).then_some(Self::SetRoomGoods { room, goods: goods_before })
            }
            Self::CloseRoom { closed, .. } => {
                (stands?.closed != *closed).then_some(Self::CloseRoom { room, closed: !closed })
            }
            Self::RemoveRoom { removed, .. } => {
                (stands.is_some() == *removed).then_some(Self::RemoveRoom { room, removed: !removed })
            }
            Self::AddCheck { reading, .. } => Some(Self::WithdrawCheck { room, check: reading.id, withdrawn: true }),
            Self::WithdrawCheck { check, withdrawn, .. } => {
                let read = stands?.checks.iter().find(|it| it.reading.id == *check)?;
                (read.reading.withdrawn != *withdrawn).then_some(Self::WithdrawCheck {
                    room,
                    check: *check,
                    withdrawn: !withdrawn,
                })
            }
            Self::AddMark { mark, .. } => Some(Self::WithdrawMark { room, mark: mark.id, withdrawn: true }),
            Self::WithdrawMark { mark, withdrawn, .. } => {
                let changes = stands?.marks.iter().any(|it| it.id == *mark && it.withdrawn != *withdrawn);
                changes.then_some(Self::WithdrawMark { room, mark: *mark, withdrawn: !withdrawn })
            }
            Self::AddRoom { .. } => stands.is_none().then_some(Self::RemoveRoom { room, removed: true }),
            _ => None,
        }
    }

    fn inverse_of_wall(&self, room: RoomId, wall: WallId, stands: Option<&Wall>) -> Option<Self> {
        match self {
            Self::AddWall { .. } => stands.is_none().then_some(Self::RemoveWall { room, wall, removed: true }),
            Self::RemoveWall { removed, .. } => {
                (stands.is_some() == *removed).then_some(Self::RemoveWall { room, wall, removed: !removed })
            }
            Self::AddReading { reading, .. } => {
                Some(Self::WithdrawReading { room, wall, reading: reading.id, withdrawn: true })
            }
            Self::WithdrawReading { reading, withdrawn, .. } => {
                let changes = stands?.readings.iter().any(|it| it.id == *reading && it.withdrawn != *withdrawn);
                changes.then_some(Self::WithdrawReading { room, wall, reading: *reading, withdrawn: !withdrawn })
            }
            Self::AddRise { reading, .. } => Some(Self::WithdrawRise { room, wall, rise: reading.id, withdrawn: true }),
            Self::WithdrawRise { rise, withdrawn, .. } => {
                let mut rises = stands?.rises.iter().map(|it| &it.reading);
                let changes = rises.any(|it| it.id == *rise && it.withdrawn != *withdrawn);
                changes.then_some(Self::WithdrawRise { room, wall, rise: *rise, withdrawn: !withdrawn })
            }
            Self::StateTurn { turn, .. } => Some(Self::WithdrawTurn { room, wall, turn: turn.id, withdrawn: true }),
            Self::WithdrawTurn { turn, withdrawn, .. } => {
                let changes = stands?.turns.iter().any(|it| it.id == *turn && it.withdrawn != *withdrawn);
                changes.then_some(Self::WithdrawTurn { room, wall, turn: *turn, withdrawn: !withdrawn })
            }
            _ => None,
        }
    }

    /// The inverse for what is added, set as a whole, and removed; `stands` is it as it was before.
    fn inverse_of_thing<T: Clone + PartialEq>(
        &self,
        stands: Option<&T>,
        remove: impl Fn(bool) -> Self,
        set: impl Fn(T) -> Self,
    ) -> Option<Self> {
        match self {
            Self::AddOpening { .. } | Self::AddFixture { .. } | Self::AddFlight { .. } | Self::AddGoods { .. } => {
                stands.is_none().then(|| remove(true))
            }
            Self::RemoveOpening { removed, .. }
            | Self::RemoveFixture { removed, .. }
            | Self::RemoveFlight { removed, .. }
            | Self::RemoveGoods { removed, .. } => (stands.is_some() == *removed).then(|| remove(!removed)),
            _ => {
                let back = set(stands?.clone());
                (back != *self).then_some(back)
            }
        }
    }
}
