//! A layout for the tests of the places.

use shared_model::ids::{GoodsId, JobId, RoomId};
use shared_model::job::{CutPlace, Job, Rules, Source};
use shared_model::layout::{Extra, Layout, Part, Piece, PileDirection};
use shared_model::length::{Length, Units};
use shared_model::nest::{Placement, RollPlan};
use uuid::Uuid;

/// A layout without pieces that has this order length, seam length and seam cost.
pub fn layout(key: &str, order: Length, seam_length: Length, seam_cost: i64) -> Layout {
    Layout {
        goods: GoodsId(Uuid::nil()),
        key: key.to_owned(),
        name: "Pile up".to_owned(),
        groups: Vec::new(),
        areas: Vec::new(),
        ways: std::collections::BTreeMap::new(),
        pieces: Vec::new(),
        left_out: Vec::new(),
        others: Vec::new(),
        parted: false,
        cut: std::collections::BTreeMap::new(),
        seams: Vec::new(),
        roll: RollPlan { width: Length::feet(12), length: order, lower_bound: order, placements: Vec::new(), steps: 0 },
        cuts: None,
        order,
        freehand: None,
        net: Length::feet(12) * order,
        ordered: Length::feet(12) * order,
        carpet: Length::feet(12) * order,
        seam_length,
        seam_cost,
    }
}

/// Puts a piece of this cut size on the layout's roll.
pub fn with_piece(mut layout: Layout, id: &str, (x, y): (Length, Length), (width, length): (Length, Length)) -> Layout {
    layout.pieces.push(Piece {
        id: id.to_owned(),
        label: format!("Den, breadth {}", layout.pieces.len() + 1),
        part: Part::Breadth { room: RoomId(Uuid::nil()), breadth: 1, fill: None },
        covers: Vec::new(),
        pile: PileDirection::North,
        width,
        length,
        extra: Extra {
            left: Length::inches(3),
            right: Length::inches(1),
            start: Length::inches(3),
            end: Length::inches(3),
        },
        phase: None,
    });
    layout.roll.placements.push(Placement { piece: id.to_owned(), x, y });
    layout
}

/// The first square foot of the roll.
pub fn place() -> CutPlace {
    CutPlace {
        source: Source::Roll(0),
        y: Length::ZERO,
        x: Length::ZERO,
        width: Length::feet(1),
        length: Length::feet(1),
    }
}

/// A job in feet and inches with nothing in it.
pub fn job() -> Job {
    Job {
        id: JobId(Uuid::nil()),
        schema: 1,
        name: "Fennick house".to_owned(),
        archived: false,
        units: Units::Imperial,
        people: std::collections::BTreeMap::new(),
        rooms: Vec::new(),
        flights: Vec::new(),
        goods: Vec::new(),
        rules: Rules::default(),
        choices: Vec::new(),
        prints: Vec::new(),
        photos: Vec::new(),
        disputes: Vec::new(),
    }
}
