//! What a person's entry may be: refused with a reason before it gets into the document.

use super::{
    Angle, CutPlace, Decision, EditError, Fixture, Flight, Goods, MOST_ROLLS, MarkKind, Match, NewMark, NewPhoto,
    Opening, Order, Picture, Pin, Rule, Source, Turn, words,
};
use crate::length::Length;
use crate::photo;

/// Longest name of a thing or person, in bytes.
pub(super) const MOST_NAME: usize = 200;

/// Longest text of an entry as it was typed, or of a layout's or piece's key, in bytes.
pub(super) const MOST_TEXT: usize = 400;

/// Longest name of a piece, in bytes.
pub(super) const MOST_PIECE: usize = 64;

/// Most pieces, rooms and flights of a plan.
pub(super) const MOST_PLANNED: usize = 4_000;

/// Most photos of a job.
pub(super) const MOST_PHOTOS: usize = 1_000;

/// Most things superseded by one.
pub(super) const MOST_SUPERSEDED: usize = 64;

/// Most steps of one flight.
pub(super) const MOST_STEPS: u32 = 200;

type Check = Result<(), EditError>;

fn check(sound: bool, reason: impl FnOnce() -> String) -> Check {
    if sound { Ok(()) } else { Err(EditError::Invalid(reason())) }
}

/// A name that must say something.
pub(super) fn name(of: &str, name: &str) -> Check {
    check(!name.trim().is_empty(), || format!("the name of the {of} is empty"))?;
    text(&format!("name of the {of}"), name, MOST_NAME)
}

pub(super) fn text(what: &str, text: &str, most: usize) -> Check {
    check(text.len() <= most, || format!("the {what} is too long: {} bytes, the most is {most}", text.len()))?;
    check(!text.chars().any(char::is_control), || format!("the {what} has control characters in it"))
}

/// A length that may be zero.
pub(super) fn length(what: &str, length: Length) -> Check {
    check((Length::ZERO..=Length::MOST).contains(&length), || {
        format!("the {what} cannot be {}: from zero to {}", length.exact_text(), Length::MOST.exact_text())
    })
}

/// A length that must be more than zero.
pub(super) fn some_length(what: &str, of: Length) -> Check {
    check(of > Length::ZERO, || format!("the {what} cannot be {}: it must be more than zero", of.exact_text()))?;
    length(what, of)
}

pub(super) fn level(level: i64) -> Check {
    check((-100..=200).contains(&level), || format!("there is no floor {level}: from -100 to 200"))
}

pub(super) fn order(order: &Order) -> Check {
    check(Order::read(&order.0).as_ref() == Some(order), || "the place in the list is not one".to_owned())
}

pub(super) fn turn(turn: Turn) -> Check {
    check(turn.is_possible(), || "a turn is between -180° and +180°, both excluded".to_owned())
}

pub(super) fn rule(rule: Rule, value: i64) -> Check {
    let what = words::word(&words::RULES, rule);
    let range = match rule {
        Rule::MostCrossSeams => 0..=100,
        Rule::Freehand => 0..=1,
        Rule::ClosureRatio => 1..=1_000_000,
        Rule::TapeClass => 1..=3,
        Rule::SquareCorner => 1..=Angle::degrees(10).0,
        Rule::CutStep => 1..=Length::METRE.0,
        _ => return length(what, Length(value)),
    };
    check(range.contains(&value), || format!("the {what} cannot be {value}: from {} to {}", range.start(), range.end()))
}

pub(super) fn opening(opening: &Opening) -> Check {
    length("opening's offset", opening.offset)?;
    some_length("opening's width", opening.width)?;
    length("opening's depth", opening.depth)
}

pub(super) fn fixture(fixture: &Fixture) -> Check {
    length("fixture's offset", fixture.offset)?;
    length("fixture's distance from the wall", fixture.clear)?;
    some_length("fixture's width", fixture.width)?;
    some_length("fixture's depth", fixture.depth)
}

pub(super) fn mark(mark: &NewMark) -> Check {
    length("mark's offset", mark.offset)?;
    length("mark's distance from the wall", mark.clear)?;
    check(mark.kind != MarkKind::Note || !mark.text.trim().is_empty(), || "the note is empty".to_owned())?;
    text("note", &mark.text, MOST_TEXT)
}

pub(super) fn photo(photo: &NewPhoto) -> Check {
    picture("photo", &photo.picture, photo::MOST_BYTES, photo::LONGEST_EDGE)?;
    picture("thumbnail", &photo.thumbnail, photo::MOST_THUMBNAIL_BYTES, photo::THUMBNAIL_EDGE)?;
    text("caption", &photo.caption, MOST_TEXT)
}

pub(super) fn picture(what: &str, it: &Picture, bytes: u32, edge: u32) -> Check {
    check((1..=bytes).contains(&it.bytes), || format!("the {what} has {} bytes: from 1 to {bytes}", it.bytes))?;
    check((1..=edge).contains(&it.width) && (1..=edge).contains(&it.height), || {
        format!("the {what} is {} × {} pixels: each from 1 to {edge}", it.width, it.height)
    })
}

pub(super) fn photos(before: usize) -> Check {
    check(before < MOST_PHOTOS, || format!("a job has at most {MOST_PHOTOS} photos"))
}

pub(super) fn flight(flight: &Flight) -> Check {
    name("flight", &flight.name)?;
    check((1..=MOST_STEPS).contains(&flight.steps), || format!("a flight has from 1 to {MOST_STEPS} steps"))?;
    length("riser", flight.riser)?;
    length("going", flight.going)?;
    length("nosing", flight.nosing)?;
    length("flight's width", flight.width)?;
    check(flight.winders <= flight.steps, || "a flight has no more winders than steps".to_owned())?;
    length("winders' reach", flight.winder_reach)?;
    length("landing", flight.landing)?;
    length("flight's place", flight.foot.map_or(Length::ZERO, |it| it.offset))?;
    order(&flight.order)
}

pub(super) fn goods(goods: &Goods) -> Check {
    name("goods", &goods.name)?;
    some_length("roll's width", goods.roll_width)?;
    length("repeat along the roll", goods.repeat_length)?;
    length("repeat across the roll", goods.repeat_width)?;
    length("order increment", goods.increment)?;
    length("minimum order", goods.minimum)?;
    length("longest roll", goods.longest)?;
    if let Match::Drop { numerator, denominator } = goods.pattern {
        check(words::is_drop(numerator, denominator), || {
            format!("a drop of {numerator}/{denominator} is none: a proper fraction with at most 100 parts")
        })?;
    }
    order(&goods.order)
}

pub(super) fn decision(decision: &Decision) -> Check {
    match decision {
        Decision::Plan(plan) => {
            length("order length", plan.order)?;
            check(plan.ways.len() <= MOST_PLANNED && plan.cuts.len() <= MOST_PLANNED, || {
                format!("a plan has at most {MOST_PLANNED} pieces")
            })?;
            plan.ways.values().try_for_each(|it| text("way a room is carpeted", it, MOST_TEXT))?;
            plan.cuts.keys().try_for_each(|it| piece(it))?;
            plan.cuts.values().try_for_each(cut_place)
        }
        Decision::Cut(cut) => piece(&cut.piece).and_then(|()| cut_place(&cut.place)),
        Decision::LeaveOut { piece: id } => piece(id),
        Decision::Pin { pin: Pin::Seam { distance, .. }, .. } => length("seam's distance", *distance),
        Decision::Pin { .. } => Ok(()),
        Decision::OnHand(remnant) => {
            check(!remnant.lot.trim().is_empty(), || "the remnant has no dye lot".to_owned())?;
            text("dye lot", &remnant.lot, MOST_TEXT)?;
            some_length("remnant's width", remnant.width)?;
            some_length("remnant's length", remnant.length)?;
            length("remnant's worth", remnant.worth)
        }
    }
}

fn cut_place(it: &CutPlace) -> Check {
    check(!matches!(it.source, Source::Roll(MOST_ROLLS..)), || {
        format!("an order comes in at most {MOST_ROLLS} rolls")
    })?;
    [it.width, it.length, it.x, it.y].into_iter().try_for_each(|it| length("size of a piece", it))
}

fn piece(id: &str) -> Check {
    check(!id.is_empty(), || "the piece has no name".to_owned())?;
    text("piece's name", id, MOST_PIECE)
}

pub(super) fn superseded(count: usize) -> Check {
    check(count <= MOST_SUPERSEDED, || format!("one entry cannot supersede {count}: at most {MOST_SUPERSEDED}"))
}
