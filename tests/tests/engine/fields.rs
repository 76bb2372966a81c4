//! The fields of a job that the last one to write decides, each with its value as text: for the ledger.

use std::collections::BTreeMap;

use shared_model::ids::{DeviceId, FixtureId, FlightId, GoodsId, OpeningId, RoomId};
use shared_model::job::{
    Edit, Fixture, FixtureKind, Flight, FloorAtOpening, Foot, Goods, Job, Match, Opening, OpeningKind, Rule,
};
use shared_model::length::{Length, Units};
use shared_model::problem::Place;

/// A field: of what, and the word for it that disputes use.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Field {
    pub of: String,
    pub word: &'static str,
    place: Option<PlaceKey>,
}

/// [`Place`] that can be ordered.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum PlaceKey {
    Job,
    Room(RoomId),
    Opening(RoomId, OpeningId),
    Fixture(RoomId, FixtureId),
    Flight(FlightId),
    Goods(GoodsId),
}

impl Field {
    /// Where a dispute about it is listed; `None` for what is only yes or no.
    pub fn place(&self) -> Option<Place> {
        Some(match self.place? {
            PlaceKey::Job => Place::Job,
            PlaceKey::Room(room) => Place::Room(room),
            PlaceKey::Opening(room, opening) => Place::Opening(room, opening),
            PlaceKey::Fixture(room, fixture) => Place::Fixture(room, fixture),
            PlaceKey::Flight(flight) => Place::Flight(flight),
            PlaceKey::Goods(goods) => Place::Goods(goods),
        })
    }
}

type Said = (Field, String);

fn said(of: &impl ToString, word: &'static str, place: PlaceKey, value: &impl ToString) -> Said {
    (Field { of: of.to_string(), word, place: Some(place) }, value.to_string())
}

fn flag(of: &impl ToString, word: &'static str, value: bool) -> Said {
    (Field { of: of.to_string(), word, place: None }, value.to_string())
}

fn or_none<T: ToString>(id: Option<T>) -> String {
    id.map_or("none".to_owned(), |it| it.to_string())
}

/// What an edit says about such fields.
pub fn of_edit(edit: &Edit, by: DeviceId) -> Vec<Said> {
    match edit {
        Edit::NameJob { name } => vec![said(&"job", "name", PlaceKey::Job, &name)],
        Edit::SetUnits { units } => vec![said(&"job", "units", PlaceKey::Job, &unit_word(*units))],
        Edit::SetArchived { archived } => vec![flag(&"job", "archived", *archived)],
        Edit::SetRule { rule, value } => vec![of_rule(*rule, *value)],
        Edit::NamePerson { name } => vec![said(&format!("person {by}"), "name", PlaceKey::Job, &name)],
        Edit::AddRoom { room, name, goods, .. } => {
            let place = PlaceKey::Room(*room);
            vec![said(&room, "name", place, &name), said(&room, "goods", place, &or_none(*goods))]
        }
        Edit::NameRoom { room, name } => vec![said(&room, "name", PlaceKey::Room(*room), &name)],
        Edit::SetRoomGoods { room, goods } => vec![said(&room, "goods", PlaceKey::Room(*room), &or_none(*goods))],
        Edit::CloseRoom { room, closed } => vec![flag(&room, "closed", *closed)],
        Edit::WithdrawReading { reading, withdrawn, .. } => vec![flag(&reading, "withdrawn", *withdrawn)],
        Edit::WithdrawCheck { check, withdrawn, .. } => vec![flag(&check, "withdrawn", *withdrawn)],
        Edit::WithdrawTurn { turn, withdrawn, .. } => vec![flag(&turn, "withdrawn", *withdrawn)],
        Edit::WithdrawRise { rise, withdrawn, .. } => vec![flag(&rise, "withdrawn", *withdrawn)],
        Edit::WithdrawMark { mark, withdrawn, .. } => vec![flag(&mark, "withdrawn", *withdrawn)],
        Edit::WithdrawPhoto { photo, withdrawn } => vec![flag(&photo, "withdrawn", *withdrawn)],
        Edit::AddFixture { room, fixture } | Edit::SetFixture { room, fixture } => {
            of_fixture(fixture, PlaceKey::Fixture(*room, fixture.id))
        }
        Edit::AddOpening { room, opening } | Edit::SetOpening { room, opening } => {
            of_opening(opening, PlaceKey::Opening(*room, opening.id))
        }
        Edit::AddFlight { flight } | Edit::SetFlight { flight } => of_flight(flight),
        Edit::AddGoods { goods } | Edit::SetGoods { goods } => of_goods(goods),
        // Removal is judged by what is there and what comes back.
        _ => Vec::new(),
    }
}

/// What a job says about them.
pub fn in_job(job: &Job) -> BTreeMap<Field, String> {
    let mut all = vec![
        said(&"job", "name", PlaceKey::Job, &&job.name),
        said(&"job", "units", PlaceKey::Job, &unit_word(job.units)),
    ];
    all.extend(RULES.map(|(rule, _)| of_rule(rule, job.rules.get(rule))));
    all.extend(job.people.iter().map(|(it, name)| said(&format!("person {it}"), "name", PlaceKey::Job, &name)));
    for room in &job.rooms {
        let place = PlaceKey::Room(room.id);
        all.extend([
            said(&room.id, "name", place, &&room.name),
            said(&room.id, "goods", place, &or_none(room.goods)),
            flag(&room.id, "closed", room.closed),
        ]);
        all.extend(room.openings.iter().flat_map(|it| of_opening(it, PlaceKey::Opening(room.id, it.id))));
        all.extend(room.checks.iter().map(|it| flag(&it.reading.id, "withdrawn", it.reading.withdrawn)));
        all.extend(room.fixtures.iter().flat_map(|it| of_fixture(it, PlaceKey::Fixture(room.id, it.id))));
        all.extend(room.marks.iter().map(|it| flag(&it.id, "withdrawn", it.withdrawn)));
        for wall in &room.walls {
            all.extend(wall.rises.iter().map(|it| flag(&it.reading.id, "withdrawn", it.reading.withdrawn)));
            all.extend(wall.readings.iter().map(|it| flag(&it.id, "withdrawn", it.withdrawn)));
            all.extend(wall.turns.iter().map(|it| flag(&it.id, "withdrawn", it.withdrawn)));
        }
    }
    all.extend(job.photos.iter().map(|it| flag(&it.id, "withdrawn", it.withdrawn)));
    all.extend(job.flights.iter().flat_map(of_flight));
    all.extend(job.goods.iter().flat_map(of_goods));
    all.into_iter().collect()
}

fn of_opening(opening: &Opening, place: PlaceKey) -> Vec<Said> {
    let kind = match opening.kind {
        OpeningKind::Doorway => "doorway",
        OpeningKind::CasedOpening => "cased opening",
        OpeningKind::Window => "window",
        OpeningKind::PassThrough => "pass-through",
    };
    let floor = match opening.floor {
        FloorAtOpening::RunsThrough => "runs through",
        FloorAtOpening::SeamUnderDoor => "seam under door",
        FloorAtOpening::OtherFloor => "other floor",
    };
    vec![
        said(&opening.id, "wall", place, &opening.wall),
        said(&opening.id, "kind", place, &kind),
        said(&opening.id, "offset", place, &opening.offset.exact_text()),
        said(&opening.id, "width", place, &opening.width.exact_text()),
        said(&opening.id, "depth", place, &opening.depth.exact_text()),
        said(&opening.id, "floor", place, &floor),
        said(&opening.id, "room beyond", place, &or_none(opening.leads_to)),
    ]
}

fn of_fixture(fixture: &Fixture, place: PlaceKey) -> Vec<Said> {
    let kind = match fixture.kind {
        FixtureKind::Hearth => "hearth",
        FixtureKind::Column => "column",
        FixtureKind::BuiltIn => "built-in",
        FixtureKind::Register => "register",
        FixtureKind::StairWell => "stair well",
    };
    vec![
        said(&fixture.id, "wall", place, &fixture.wall),
        said(&fixture.id, "kind", place, &kind),
        said(&fixture.id, "offset", place, &fixture.offset.exact_text()),
        said(&fixture.id, "distance from the wall", place, &fixture.clear.exact_text()),
        said(&fixture.id, "width", place, &fixture.width.exact_text()),
        said(&fixture.id, "depth", place, &fixture.depth.exact_text()),
    ]
}

fn of_flight(flight: &Flight) -> Vec<Said> {
    let place = PlaceKey::Flight(flight.id);
    vec![
        said(&flight.id, "name", place, &&flight.name),
        said(&flight.id, "number of steps", place, &flight.steps),
        said(&flight.id, "riser", place, &flight.riser.exact_text()),
        said(&flight.id, "going", place, &flight.going.exact_text()),
        said(&flight.id, "nosing", place, &flight.nosing.exact_text()),
        said(&flight.id, "width", place, &flight.width.exact_text()),
        said(&flight.id, "number of winders", place, &flight.winders),
        said(&flight.id, "winders' reach", place, &flight.winder_reach.exact_text()),
        said(&flight.id, "landing", place, &flight.landing.exact_text()),
        said(&flight.id, "foot", place, &flight.foot.map_or("none".to_owned(), of_foot)),
        said(&flight.id, "goods", place, &or_none(flight.goods)),
    ]
}

fn of_foot(foot: Foot) -> String {
    format!(
        "{}, {} from its start, leading {}",
        foot.wall,
        foot.offset.exact_text(),
        if foot.up { "up" } else { "down" }
    )
}

fn of_goods(goods: &Goods) -> Vec<Said> {
    let place = PlaceKey::Goods(goods.id);
    let pattern = match goods.pattern {
        Match::None => "none".to_owned(),
        Match::Set => "set".to_owned(),
        Match::Drop { numerator, denominator } => format!("drop {numerator}/{denominator}"),
    };
    vec![
        said(&goods.id, "name", place, &&goods.name),
        said(&goods.id, "roll width", place, &goods.roll_width.exact_text()),
        said(&goods.id, "repeat along the roll", place, &goods.repeat_length.exact_text()),
        said(&goods.id, "repeat across the roll", place, &goods.repeat_width.exact_text()),
        said(&goods.id, "pattern", place, &pattern),
        said(&goods.id, "pile", place, &if goods.pile { "yes" } else { "no" }),
        said(&goods.id, "order increment", place, &goods.increment.exact_text()),
        said(&goods.id, "minimum order", place, &goods.minimum.exact_text()),
        said(&goods.id, "longest roll", place, &goods.longest.exact_text()),
    ]
}

pub const RULES: [(Rule, &str); 14] = [
    (Rule::SeamTrim, "seam trim"),
    (Rule::WallAllowance, "wall allowance"),
    (Rule::CutStep, "cut step"),
    (Rule::LeastPiece, "least piece"),
    (Rule::MostCrossSeams, "most cross seams"),
    (Rule::Freehand, "freehand cuts"),
    (Rule::ClosureRatio, "closure ratio"),
    (Rule::ClosureLeast, "closure least"),
    (Rule::TapeClass, "tape class"),
    (Rule::WallSurface, "wall surface"),
    (Rule::SquareCorner, "square corner"),
    (Rule::StairPad, "stair pad"),
    (Rule::StairTuck, "stair tuck"),
    (Rule::StairOverall, "stair overall"),
];

fn of_rule(rule: Rule, value: i64) -> Said {
    let word = RULES.iter().find(|(it, _)| *it == rule).unwrap().1;
    let value = match rule {
        Rule::MostCrossSeams | Rule::ClosureRatio => value.to_string(),
        _ => Length(value).exact_text(),
    };
    said(&"rules", word, PlaceKey::Job, &value)
}

fn unit_word(units: Units) -> &'static str {
    match units {
        Units::Imperial => "imperial",
        Units::Metric => "metric",
    }
}
