//! Random edits of every kind, made for the job as a device knows it.

use proptest::prelude::*;
use proptest::sample::Index;
use shared_model::ids::{
    ChoiceId, FixtureId, FlightId, GoodsId, MarkId, OpeningId, PhotoId, PrintId, ReadingId, RoomId, TurnId, WallId,
};
use shared_model::job::{
    Across, Angle, ChosenPlan, CutPiece, CutPlace, Decision, Edit, Fixture, FixtureKind, Flight, FloorAtOpening, Foot,
    Goods, Job, MOST_ROLLS, MarkKind, Match, NewChoice, NewMark, NewPhoto, NewReading, NewTurn, Opening, OpeningKind,
    Order, Picture, PictureHash, PileDirection, Pin, Remnant, Rule, Sheet, Source, Subject, Tool, Turn,
};
use shared_model::length::{Length, Units};
use uuid::Uuid;

use super::fields::RULES;
use super::ledger::Thing;

/// Where an edit's random parts come from.
#[derive(Clone, Debug)]
pub struct Seed {
    kind: u8,
    what: [Index; 3],
    n: u8,
    yes: bool,
}

/// As many as there are kinds of edits, some of them more often.
const KINDS: u8 = 44;

pub fn seed() -> impl Strategy<Value = Seed> {
    (0..KINDS, any::<[Index; 3]>(), 0..6_u8, any::<bool>()).prop_map(|(kind, what, n, yes)| Seed { kind, what, n, yes })
}

const NAMES: [&str; 6] = ["Hall", "Den", "Attic", "Größe 3", "Stairs & landing", "Bay"];

impl Seed {
    fn name(&self) -> String {
        NAMES[usize::from(self.n)].to_owned()
    }

    fn length(&self, more: i64) -> Length {
        Length::inches(30 + 10 * i64::from(self.n) + more)
    }

    fn pick<T: Copy>(&self, nth: usize, all: &[T]) -> Option<T> {
        if all.is_empty() { None } else { Some(all[self.what[nth].index(all.len())]) }
    }

    /// One of them, or none.
    fn maybe<T: Copy>(&self, nth: usize, all: &[T]) -> Option<T> {
        if self.yes { self.pick(nth, all) } else { None }
    }

    /// An edit for somebody who knows these things and sees this job; `id` is new. `None` when there is nothing to do it to.
    pub fn edit(&self, known: &[Thing], job: &Job, id: Uuid) -> Option<Edit> {
        let things = Things::of(known);
        match self.kind {
            0 => Some(Edit::NameJob { name: self.name() }),
            1 => Some(Edit::SetUnits { units: if self.yes { Units::Metric } else { Units::Imperial } }),
            2 => {
                let rule = self.pick(0, &RULES)?.0;
                let value = match rule {
                    Rule::TapeClass => 1 + i64::from(self.n % 3),
                    Rule::Freehand => i64::from(self.yes),
                    _ => 5 + i64::from(self.n),
                };
                Some(Edit::SetRule { rule, value })
            }
            3 => Some(Edit::NamePerson { name: self.name() }),
            4..=5 => Some(Edit::AddRoom {
                room: RoomId(id),
                name: self.name(),
                level: i64::from(self.n),
                goods: self.maybe(0, &things.goods),
                order: self.room_order(job),
            }),
            6 => Some(Edit::NameRoom { room: self.pick(0, &things.rooms)?, name: self.name() }),
            7 => Some(Edit::SetRoomGoods { room: self.pick(0, &things.rooms)?, goods: self.maybe(1, &things.goods) }),
            8 => Some(Edit::CloseRoom { room: self.pick(0, &things.rooms)?, closed: self.yes }),
            9 => Some(Edit::RemoveRoom { room: self.pick(0, &things.rooms)?, removed: self.yes }),
            10..=11 => {
                Some(Edit::AddWall { room: self.pick(0, &things.rooms)?, wall: WallId(id), order: Order::default() })
            }
            12..=25 => self.edit_of_wall(&things, id),
            26 => {
                let (room, opening) = self.pick(0, &seen_openings(job))?;
                let opening = self.opening(room, opening, &things)?;
                Some(Edit::SetOpening { room, opening })
            }
            27 => Some(Edit::AddFlight { flight: self.flight(FlightId(id), &things) }),
            28 => {
                let seen: Vec<FlightId> = job.flights.iter().map(|it| it.id).collect();
                Some(Edit::SetFlight { flight: self.flight(self.pick(0, &seen)?, &things) })
            }
            29 => Some(Edit::AddGoods { goods: self.goods(GoodsId(id)) }),
            30 => {
                let seen: Vec<GoodsId> = job.goods.iter().map(|it| it.id).collect();
                Some(Edit::SetGoods { goods: self.goods(self.pick(0, &seen)?) })
            }
            32..=34 => self.check(&things, ReadingId(id)),
            42 => Some(Edit::AddPhoto { photo: self.photo(PhotoId(id), &things) }),
            43 => Some(Edit::WithdrawPhoto { photo: self.pick(0, &things.photos)?, withdrawn: self.yes }),
            35..=41 => self.edit_inside(&things, job, id),
            _ => self.edit_of_rest(&things, id),
        }
    }

    fn edit_of_wall(&self, things: &Things, id: Uuid) -> Option<Edit> {
        let (room, wall) = self.pick(0, &things.walls)?;
        Some(match self.kind {
            12 => Edit::RemoveWall { room, wall, removed: self.yes },
            13..=17 => Edit::AddReading { room, wall, reading: self.reading(ReadingId(id), &things.readings_of(wall)) },
            18 => Edit::WithdrawReading {
                room,
                wall,
                reading: self.pick(1, &things.readings_of(wall))?,
                withdrawn: self.yes,
            },
            19..=20 => Edit::StateTurn {
                room,
                wall,
                turn: NewTurn {
                    id: TurnId(id),
                    turn: Turn(Angle::degrees(15 * i64::from(self.n) - 45)),
                    free: self.yes,
                    supersedes: self.maybe(1, &things.turns_of(wall)).into_iter().collect(),
                },
            },
            21 => Edit::WithdrawTurn { room, wall, turn: self.pick(1, &things.turns_of(wall))?, withdrawn: self.yes },
            22..=24 => Edit::AddOpening { room, opening: self.opening(room, OpeningId(id), things)? },
            _ => {
                let (room, opening) = self.pick(0, &things.openings)?;
                Edit::RemoveOpening { room, opening, removed: self.yes }
            }
        })
    }

    fn reading(&self, id: ReadingId, before: &[ReadingId]) -> NewReading {
        NewReading {
            id,
            value: self.length(i64::from(self.n)),
            typed: format!("{} \"", self.n),
            tool: if self.yes { Tool::Laser } else { Tool::Tape },
            supersedes: self.maybe(1, before).into_iter().collect(),
        }
    }

    fn check(&self, things: &Things, id: ReadingId) -> Option<Edit> {
        let (room, from) = self.pick(0, &things.walls)?;
        let walls: Vec<WallId> = things.walls.iter().filter(|it| it.0 == room).map(|it| it.1).collect();
        let to = self.pick(2, &walls).filter(|it| *it != from)?;
        let checks: Vec<ReadingId> = things.checks.iter().filter(|it| it.0 == room).map(|it| it.1).collect();
        if self.kind == 34 {
            let check = self.pick(1, &checks)?;
            return Some(Edit::WithdrawCheck { room, check, withdrawn: self.yes });
        }
        let of = match self.n {
            0..2 => Across::Corners { from, to },
            2..4 => Across::Offset { corner: from, wall: to },
            _ => Across::Walls { wall: from, opposite: to },
        };
        Some(Edit::AddCheck { room, of, reading: self.reading(id, &checks) })
    }

    /// Arcs, fixtures and marks.
    fn edit_inside(&self, things: &Things, job: &Job, id: Uuid) -> Option<Edit> {
        let (room, wall) = self.pick(0, &things.walls)?;
        let rises: Vec<ReadingId> = things.rises.iter().filter(|it| it.0 == wall).map(|it| it.1).collect();
        Some(match self.kind {
            35 => Edit::AddRise { room, wall, inward: self.yes, reading: self.reading(ReadingId(id), &rises) },
            36 => Edit::WithdrawRise { room, wall, rise: self.pick(1, &rises)?, withdrawn: self.yes },
            37 => Edit::AddFixture { room, fixture: self.fixture(FixtureId(id), wall) },
            38 => {
                let seen = job.rooms.iter().flat_map(|room| room.fixtures.iter().map(|it| (room.id, it.id)));
                let (room, fixture) = self.pick(1, &seen.collect::<Vec<_>>())?;
                let walls: Vec<WallId> =
                    things.walls.iter().filter(|(of, _)| *of == room).map(|(_, wall)| *wall).collect();
                Edit::SetFixture { room, fixture: self.fixture(fixture, self.pick(2, &walls)?) }
            }
            39 => {
                let (room, fixture) = self.pick(1, &things.fixtures)?;
                Edit::RemoveFixture { room, fixture, removed: self.yes }
            }
            40 => Edit::AddMark {
                room,
                mark: NewMark {
                    id: MarkId(id),
                    kind: if self.yes { MarkKind::Squeak } else { MarkKind::Note },
                    wall: self.yes.then_some(wall),
                    offset: self.length(0),
                    clear: self.length(1),
                    text: self.name(),
                },
            },
            _ => {
                let (room, mark) = self.pick(1, &things.marks)?;
                Edit::WithdrawMark { room, mark, withdrawn: self.yes }
            }
        })
    }

    fn photo(&self, id: PhotoId, things: &Things) -> NewPhoto {
        let picture = |bytes| Picture { hash: PictureHash([self.n; 32]), bytes, width: 256, height: 192 };
        let subjects = [
            self.pick(0, &things.rooms).map(Subject::Room),
            self.pick(0, &things.walls).map(|(room, wall)| Subject::Wall(room, wall)),
            self.pick(0, &things.marks).map(|(room, mark)| Subject::Mark(room, mark)),
            self.pick(0, &things.flights).map(Subject::Flight),
        ];
        let of = subjects.get(usize::from(self.n)).copied().flatten().unwrap_or(Subject::Job);
        NewPhoto { id, of, picture: picture(90_000), thumbnail: picture(9_000), caption: self.name() }
    }

    fn fixture(&self, id: FixtureId, wall: WallId) -> Fixture {
        Fixture {
            id,
            kind: if self.yes { FixtureKind::Hearth } else { FixtureKind::Column },
            wall,
            offset: self.length(0),
            clear: Length::inches(i64::from(self.n)),
            width: self.length(5),
            depth: Length::inches(18),
        }
    }

    fn edit_of_rest(&self, things: &Things, id: Uuid) -> Option<Edit> {
        let all = [
            self.pick(0, &things.flights).map(|flight| Edit::RemoveFlight { flight, removed: self.yes }),
            self.pick(0, &things.goods).map(|goods| Edit::RemoveGoods { goods, removed: self.yes }),
            self.choice(things, ChoiceId(id)),
            self.pick(0, &things.choices).map(|choice| Edit::WithdrawChoice { choice, withdrawn: self.yes }),
            (self.n == 0).then_some(Edit::NotePrint { print: PrintId(id), sheet: Sheet::Day }),
        ];
        let all: Vec<Edit> = all.into_iter().flatten().collect();
        all.get(self.what[2].index(all.len().max(1))).cloned()
    }

    fn choice(&self, things: &Things, id: ChoiceId) -> Option<Edit> {
        let decision = match (self.pick(1, &things.goods), self.pick(1, &things.rooms)) {
            (Some(goods), _) if self.yes => Decision::Plan(self.plan(goods, things)),
            (_, Some(room)) if self.n.is_multiple_of(2) => Decision::Pin { room, pin: self.pin(things) },
            (Some(goods), _) if self.n.is_multiple_of(3) => {
                let [width, length, worth] = [0, 1, 2].map(|it| self.length(it));
                Decision::OnHand(Remnant { goods, lot: format!("lot {}", self.name()), width, length, worth })
            }
            _ if self.yes => Decision::LeaveOut { piece: self.name() },
            (Some(goods), _) => Decision::Cut(CutPiece { goods, piece: self.name(), place: self.place(things) }),
            _ => return None,
        };
        let supersedes = self.maybe(0, &things.choices).into_iter().collect();
        Some(Edit::Choose { choice: NewChoice { id, decision, supersedes } })
    }

    fn plan(&self, goods: GoodsId, things: &Things) -> ChosenPlan {
        let place = self.place(things);
        let cuts = (0..self.n).map(|it| (format!("{}-{it}", self.name()), place));
        let ways = things.rooms.iter().map(|it| (it.0, format!("north/{}", self.name())));
        ChosenPlan { goods, order: self.length(0), ways: ways.collect(), cuts: cuts.collect() }
    }

    fn place(&self, things: &Things) -> CutPlace {
        let [width, length, x, y] = [0, 1, 2, 3].map(|it| self.length(it));
        let source = self.maybe(1, &things.choices).map_or(Source::Roll(self.n % MOST_ROLLS), Source::Remnant);
        CutPlace { source, y, x, width, length }
    }

    fn pin(&self, things: &Things) -> Pin {
        match (self.n, self.pick(2, &things.walls)) {
            (0..2, Some((_, wall))) => Pin::Seam { wall, distance: self.length(0) },
            (2..4, Some((_, wall))) => Pin::Along { wall },
            _ if self.yes => Pin::Pile(PileDirection::East),
            _ => Pin::NoSeam,
        }
    }

    /// In front of, between or behind the rooms that are there.
    fn room_order(&self, job: &Job) -> Order {
        let at = self.what[1].index(job.rooms.len() + 1);
        Order::between(at.checked_sub(1).map(|it| &job.rooms[it].order), job.rooms.get(at).map(|it| &it.order))
    }

    fn opening(&self, room: RoomId, id: OpeningId, things: &Things) -> Option<Opening> {
        let walls: Vec<WallId> = things.walls.iter().filter(|(of, _)| *of == room).map(|(_, wall)| *wall).collect();
        let beyond: Vec<RoomId> = things.rooms.iter().copied().filter(|it| *it != room).collect();
        Some(Opening {
            id,
            wall: self.pick(1, &walls)?,
            kind: if self.yes { OpeningKind::Doorway } else { OpeningKind::Window },
            offset: self.length(0),
            width: self.length(10 * self.what[2].index(4) as i64),
            depth: Length::inches(5),
            floor: if self.n < 3 { FloorAtOpening::RunsThrough } else { FloorAtOpening::OtherFloor },
            leads_to: self.maybe(2, &beyond),
        })
    }

    fn flight(&self, id: FlightId, things: &Things) -> Flight {
        Flight {
            id,
            name: self.name(),
            steps: 10 + u32::from(self.n),
            riser: Length::inches(7),
            going: self.length(-20),
            nosing: Length::inches(1),
            width: Length::inches(36),
            winders: u32::from(self.n),
            winder_reach: self.length(2),
            landing: self.length(6),
            foot: self.maybe(2, &things.walls).map(|(room, wall)| Foot {
                room,
                wall,
                offset: self.length(0),
                up: self.n < 3,
            }),
            goods: self.maybe(1, &things.goods),
            order: Order::default(),
        }
    }

    fn goods(&self, id: GoodsId) -> Goods {
        Goods {
            id,
            name: self.name(),
            roll_width: Length::feet(12 + i64::from(self.n % 2)),
            repeat_length: self.length(0),
            repeat_width: Length::ZERO,
            pattern: match self.n {
                0..2 => Match::None,
                2 => Match::Set,
                _ => Match::Drop { numerator: 1, denominator: u32::from(self.n) },
            },
            pile: self.yes,
            increment: Length::inches(6),
            minimum: Length::ZERO,
            longest: self.length(3),
            order: Order::default(),
        }
    }
}

fn seen_openings(job: &Job) -> Vec<(RoomId, OpeningId)> {
    job.rooms.iter().flat_map(|room| room.openings.iter().map(|it| (room.id, it.id))).collect()
}

/// What somebody knows, by kind.
#[derive(Default)]
struct Things {
    rooms: Vec<RoomId>,
    walls: Vec<(RoomId, WallId)>,
    openings: Vec<(RoomId, OpeningId)>,
    flights: Vec<FlightId>,
    goods: Vec<GoodsId>,
    choices: Vec<ChoiceId>,
    readings: Vec<(WallId, ReadingId)>,
    checks: Vec<(RoomId, ReadingId)>,
    turns: Vec<(WallId, TurnId)>,
    rises: Vec<(WallId, ReadingId)>,
    fixtures: Vec<(RoomId, FixtureId)>,
    marks: Vec<(RoomId, MarkId)>,
    photos: Vec<PhotoId>,
}

impl Things {
    fn of(known: &[Thing]) -> Self {
        let mut things = Self::default();
        for thing in known {
            match *thing {
                Thing::Room(room) => things.rooms.push(room),
                Thing::Wall(room, wall) => things.walls.push((room, wall)),
                Thing::Opening(room, opening) => things.openings.push((room, opening)),
                Thing::Flight(flight) => things.flights.push(flight),
                Thing::Goods(goods) => things.goods.push(goods),
                Thing::Choice(choice) => things.choices.push(choice),
                Thing::Reading(_, wall, reading) => things.readings.push((wall, reading)),
                Thing::Check(room, check) => things.checks.push((room, check)),
                Thing::Turn(_, wall, turn) => things.turns.push((wall, turn)),
                Thing::Rise(_, wall, rise) => things.rises.push((wall, rise)),
                Thing::Fixture(room, fixture) => things.fixtures.push((room, fixture)),
                Thing::Mark(room, mark) => things.marks.push((room, mark)),
                Thing::Photo(photo) => things.photos.push(photo),
                Thing::Print(_) => {}
            }
        }
        things
    }

    fn readings_of(&self, wall: WallId) -> Vec<ReadingId> {
        self.readings.iter().filter(|(of, _)| *of == wall).map(|(_, it)| *it).collect()
    }

    fn turns_of(&self, wall: WallId) -> Vec<TurnId> {
        self.turns.iter().filter(|(of, _)| *of == wall).map(|(_, it)| *it).collect()
    }
}
