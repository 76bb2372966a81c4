//! The invented house as its tapes read. North is up:
//!
//! ```text
//!  ┌────────┬──────┐┌───────────────┐
//!  │ Back   │Closet││ Front bedroom │
//!  │ bedroom└─    ─┘│               │
//!  └─    ───────────┴────   ────────┘
//!  ╞═ Hall ═════════════════════════╡
//!  ┌────        ─────┬─────    ─────┐
//!  │ Living room         Dining room│
//!  │                 ├──────────────┤
//!  └───\_______/─────┘ Study        │
//!                    └──────────────┘
//! ```

use crate::job::{Angle, FloorAtOpening, Match, OpeningKind, Turn};
use crate::length::Length;

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Person {
    Odile = 1,
    Teun = 2,
}

pub(super) struct Plan {
    pub name: &'static str,
    pub by: Person,
    pub goods: usize,
    /// Each wall's reading and the turn at its end.
    pub walls: &'static [(Length, Turn)],
    pub openings: &'static [Hole],
}

pub(super) struct Hole {
    pub wall: usize,
    pub kind: OpeningKind,
    pub offset: Length,
    pub width: Length,
    pub depth: Length,
    pub floor: FloorAtOpening,
    pub beyond: Option<usize>,
}

pub(super) struct Carpet {
    pub goods: usize,
    pub name: &'static str,
    pub roll_width: Length,
    /// Along and across the roll; zero for plain goods.
    pub repeat: Length,
    pub pattern: Match,
    pub increment: Length,
}

pub(super) struct Stair {
    pub steps: u32,
    pub riser: Length,
    pub going: Length,
    pub nosing: Length,
    pub width: Length,
}

/// Feet, inches and sixteenths.
const fn tape(feet: i64, inches: i64, sixteenths: i64) -> Length {
    Length(Length::feet(feet).0 + Length::inches(inches).0 + Length::sixty_fourths(4 * sixteenths).0)
}

const RIGHT: Turn = Turn::RIGHT;
const LEFT: Turn = Turn::LEFT;
const HALF_RIGHT: Turn = Turn(Angle::degrees(45));
const HALF_LEFT: Turn = Turn(Angle::degrees(-45));

/// The partitions: two boards and a 3 1/2 in stud between.
const PARTITION: Length = tape(0, 4, 8);

const HALL: usize = 0;
const LIVING: usize = 1;
const DINING: usize = 2;
const BACK: usize = 3;
const CLOSET: usize = 4;
const FRONT: usize = 5;
const STUDY: usize = 6;

pub(super) const PLAIN: usize = 0;
const TRELLIS: usize = 1;

/// Sold in steps of 6 in: common practice differs from mill to mill.
pub(super) const CARPETS: &[Carpet] = &[
    Carpet {
        goods: PLAIN,
        name: "Plain cut pile, oat",
        roll_width: tape(12, 0, 0),
        repeat: Length::ZERO,
        pattern: Match::None,
        increment: tape(0, 6, 0),
    },
    Carpet {
        goods: TRELLIS,
        name: "Trellis, slate",
        // Eight repeats, and 1 in of selvage to trim on each side.
        roll_width: tape(12, 2, 0),
        repeat: tape(0, 18, 0),
        pattern: Match::Set,
        increment: tape(0, 6, 0),
    },
];

const fn door(wall: usize, offset: Length, width: Length, beyond: usize) -> Hole {
    Hole {
        wall,
        kind: OpeningKind::Doorway,
        offset,
        width,
        depth: PARTITION,
        floor: FloorAtOpening::SeamUnderDoor,
        beyond: Some(beyond),
    }
}

const fn cased(wall: usize, offset: Length, width: Length, beyond: usize) -> Hole {
    Hole { kind: OpeningKind::CasedOpening, floor: FloorAtOpening::RunsThrough, ..door(wall, offset, width, beyond) }
}

const fn window(wall: usize, offset: Length, width: Length) -> Hole {
    Hole {
        wall,
        kind: OpeningKind::Window,
        offset,
        width,
        depth: tape(0, 6, 0),
        floor: FloorAtOpening::OtherFloor,
        beyond: None,
    }
}

pub(super) const HOUSE: &[Plan] = &[
    Plan {
        name: "Hall",
        by: Person::Odile,
        goods: PLAIN,
        walls: &[(tape(3, 6, 0), RIGHT), (tape(25, 0, 0), RIGHT), (tape(3, 6, 0), RIGHT), (tape(25, 0, 0), RIGHT)],
        openings: &[
            Hole {
                wall: 0,
                kind: OpeningKind::Doorway,
                offset: tape(0, 3, 0),
                width: tape(3, 0, 0),
                depth: tape(0, 6, 0),
                floor: FloorAtOpening::OtherFloor,
                beyond: None,
            },
            door(1, tape(1, 8, 0), tape(2, 8, 0), BACK),
            door(1, tape(14, 2, 0), tape(2, 6, 0), FRONT),
            cased(3, tape(15, 0, 0), tape(5, 0, 0), LIVING),
            door(3, tape(3, 2, 0), tape(2, 8, 0), DINING),
        ],
    },
    Plan {
        name: "Living room",
        by: Person::Odile,
        goods: PLAIN,
        walls: &[
            (tape(18, 0, 0), RIGHT),
            (tape(15, 10, 0), RIGHT),
            (tape(18, 0, 2), RIGHT),
            (tape(3, 11, 0), HALF_LEFT),
            (tape(2, 9, 15), HALF_RIGHT),
            (tape(4, 0, 0), HALF_RIGHT),
            (tape(2, 10, 0), HALF_LEFT),
            (tape(3, 11, 0), RIGHT),
        ],
        openings: &[
            cased(1, tape(5, 0, 0), tape(5, 0, 0), HALL),
            cased(2, tape(3, 11, 8), tape(4, 0, 0), DINING),
            door(2, tape(13, 9, 8), tape(2, 6, 0), STUDY),
            window(5, tape(0, 4, 0), tape(3, 4, 0)),
            window(0, tape(6, 0, 0), tape(5, 0, 0)),
        ],
    },
    Plan {
        name: "Dining room",
        by: Person::Odile,
        goods: PLAIN,
        walls: &[(tape(11, 0, 0), RIGHT), (tape(8, 9, 8), RIGHT), (tape(11, 0, 0), RIGHT), (tape(8, 9, 6), RIGHT)],
        openings: &[
            cased(0, tape(3, 0, 8), tape(4, 0, 0), LIVING),
            door(1, tape(2, 11, 8), tape(2, 8, 0), HALL),
            window(2, tape(3, 0, 0), tape(5, 0, 0)),
        ],
    },
    Plan {
        name: "Back bedroom",
        by: Person::Teun,
        goods: PLAIN,
        walls: &[
            (tape(13, 2, 0), RIGHT),
            (tape(7, 1, 8), RIGHT),
            (tape(2, 6, 8), LEFT),
            (tape(5, 4, 8), RIGHT),
            (tape(10, 7, 10), RIGHT),
            (tape(12, 6, 2), RIGHT),
        ],
        openings: &[
            door(5, tape(8, 2, 0), tape(2, 8, 0), HALL),
            cased(3, tape(0, 10, 8), tape(4, 0, 0), CLOSET),
            window(1, tape(1, 6, 0), tape(4, 0, 0)),
        ],
    },
    Plan {
        name: "Closet",
        by: Person::Teun,
        goods: PLAIN,
        walls: &[(tape(2, 2, 0), RIGHT), (tape(5, 0, 0), RIGHT), (tape(2, 2, 0), RIGHT), (tape(5, 0, 0), RIGHT)],
        openings: &[cased(3, tape(0, 6, 0), tape(4, 0, 0), BACK)],
    },
    Plan {
        name: "Front bedroom",
        by: Person::Teun,
        goods: PLAIN,
        walls: &[(tape(11, 8, 0), RIGHT), (tape(12, 1, 6), RIGHT), (tape(11, 8, 0), RIGHT), (tape(12, 1, 8), RIGHT)],
        openings: &[door(3, tape(8, 4, 0), tape(2, 6, 0), HALL), window(2, tape(3, 0, 0), tape(5, 0, 0))],
    },
    Plan {
        name: "Study",
        by: Person::Teun,
        goods: TRELLIS,
        walls: &[(tape(6, 7, 8), RIGHT), (tape(8, 9, 8), RIGHT), (tape(6, 7, 8), RIGHT), (tape(8, 9, 8), RIGHT)],
        openings: &[door(0, tape(1, 8, 8), tape(2, 6, 0), LIVING), window(2, tape(1, 6, 0), tape(3, 6, 0))],
    },
];

/// In the living room, between the window and the north wall.
pub(super) const HEARTH: (usize, usize, Length, Length, Length) =
    (LIVING, 0, tape(12, 3, 0), tape(4, 6, 0), tape(1, 4, 0));

/// In the hall in front of the back bedroom: along its north wall, and off it.
pub(super) const SQUEAK: (usize, usize, Length, Length) = (HALL, 1, tape(3, 2, 0), tape(1, 9, 0));

pub(super) const NOTE: (usize, &str) = (HALL, "The front door drags: its owner has it planed before we lay.");

/// The hall's north wall, as the other of both people reads it.
pub(super) const SECOND_READING: (usize, usize, Length) = (HALL, 1, tape(25, 0, 2));

pub(super) const STAIR: Stair =
    Stair { steps: 13, riser: tape(0, 7, 8), going: tape(0, 10, 0), nosing: tape(0, 1, 0), width: tape(3, 0, 0) };
