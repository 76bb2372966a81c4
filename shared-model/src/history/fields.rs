//! The fields of things that are set as a whole, each with its value in words.

use super::Heading;
use crate::ids::{RoomId, WallId};
use crate::job::{Fixture, Flight, FloorAtOpening, Goods, Job, Match, Opening, Photo, Subject};
use crate::length::Length;

pub(super) type Fields = Vec<(&'static str, String)>;

/// The words for lengths and for what stands elsewhere, as this job has them.
#[derive(Clone, Copy)]
pub(super) struct Say<'a>(pub &'a Job);

impl Say<'_> {
    pub fn length(self, of: Length) -> String {
        of.show(self.0.units.style())
    }

    pub fn room(self, id: RoomId) -> String {
        self.0.room(id).map_or_else(|| "a removed room".to_owned(), |it| it.title().to_owned())
    }

    pub fn wall(self, room: RoomId, wall: WallId) -> String {
        self.0.room(room).map_or_else(|| "a removed wall".to_owned(), |it| it.wall_title(wall))
    }

    pub fn goods(self, id: Option<crate::ids::GoodsId>) -> String {
        match id {
            None => "the first of the job".to_owned(),
            Some(id) => self.0.goods.iter().find(|it| it.id == id).map_or("removed goods", |it| &it.name).to_owned(),
        }
    }

    pub fn heading(self, it: &Heading) -> Fields {
        vec![
            ("name", it.name.clone()),
            ("floor", it.level.to_string()),
            ("carpet", self.goods(it.goods)),
            ("ring", if it.closed { "closed" } else { "open" }.to_owned()),
            ("place in the list", it.order.0.clone()),
        ]
    }

    pub fn opening(self, room: RoomId, it: &Opening) -> Fields {
        let floor = match it.floor {
            FloorAtOpening::RunsThrough => "carpet runs through",
            FloorAtOpening::SeamUnderDoor => "seam under the door",
            FloorAtOpening::OtherFloor => "another floor",
        };
        vec![
            ("kind", it.kind.title().to_owned()),
            ("wall", self.wall(room, it.wall)),
            ("width", self.length(it.width)),
            ("from the wall's start", self.length(it.offset)),
            ("depth", self.length(it.depth)),
            ("floor", floor.to_owned()),
            ("leads to", it.leads_to.map_or_else(|| "nowhere yet".to_owned(), |it| self.room(it))),
        ]
    }

    pub fn fixture(self, room: RoomId, it: &Fixture) -> Fields {
        vec![
            ("kind", it.kind.title().to_owned()),
            ("wall", self.wall(room, it.wall)),
            ("width", self.length(it.width)),
            ("depth", self.length(it.depth)),
            ("from the wall's start", self.length(it.offset)),
            ("off the wall", self.length(it.clear)),
        ]
    }

    pub fn flight(self, it: &Flight) -> Fields {
        let foot = it.foot.map_or_else(
            || "not on the plan".to_owned(),
            |it| {
                let way = if it.up { "up" } else { "down" };
                format!(
                    "{way} from {}, {}, {}",
                    self.room(it.room),
                    self.wall(it.room, it.wall),
                    self.length(it.offset)
                )
            },
        );
        vec![
            ("name", it.name.clone()),
            ("steps", it.steps.to_string()),
            ("width", self.length(it.width)),
            ("riser", self.length(it.riser)),
            ("going", self.length(it.going)),
            ("nosing", self.length(it.nosing)),
            ("winders", it.winders.to_string()),
            ("winders' reach", self.length(it.winder_reach)),
            ("landing", self.length(it.landing)),
            ("foot", foot),
            ("carpet", self.goods(it.goods)),
            ("place in the list", it.order.0.clone()),
        ]
    }

    /// `a photo of the den “damp here”`.
    pub fn photo(self, it: &Photo) -> String {
        let of = match it.of {
            Subject::Job => "the house".to_owned(),
            Subject::Room(room) => self.room(room),
            Subject::Wall(room, wall) => format!("{}, {}", self.room(room), self.wall(room, wall)),
            Subject::Mark(room, _) => format!("a mark in {}", self.room(room)),
            Subject::Flight(flight) => {
                let name = self.0.flights.iter().find(|it| it.id == flight).map(|it| it.name.clone());
                name.unwrap_or_else(|| "removed stairs".to_owned())
            }
        };
        let caption = it.caption.trim();
        if caption.is_empty() { format!("a photo of {of}") } else { format!("a photo of {of} “{caption}”") }
    }

    pub fn goods_fields(self, it: &Goods) -> Fields {
        let pattern = match it.pattern {
            Match::None => "none".to_owned(),
            Match::Set => "set match".to_owned(),
            Match::Drop { numerator, denominator } => format!("drop match {numerator}/{denominator}"),
        };
        vec![
            ("name", it.name.clone()),
            ("roll width", self.length(it.roll_width)),
            ("repeat along the roll", self.length(it.repeat_length)),
            ("repeat across the roll", self.length(it.repeat_width)),
            ("pattern", pattern),
            ("pile", if it.pile { "one way" } else { "none" }.to_owned()),
            ("sold in steps of", self.length(it.increment)),
            ("least order", self.length(it.minimum)),
            ("longest roll", self.length(it.longest)),
            ("place in the list", it.order.0.clone()),
        ]
    }
}

/// `width 2' 6" → 2' 8"; floor carpet runs through → another floor`: the fields that differ.
pub(super) fn differing(before: &Fields, after: &Fields) -> String {
    let pairs = before.iter().zip(after).filter(|(before, after)| before.1 != after.1);
    let words: Vec<String> = pairs
        .map(|((name, before), (_, after))| match *name {
            // A place in a list says nothing to a person.
            "place in the list" => "moved in the list".to_owned(),
            _ => format!("{name} {before} → {after}"),
        })
        .collect();
    // They differ by less than is shown.
    if words.is_empty() { "set a little differently".to_owned() } else { words.join("; ") }
}
