//! Differences in words.

use super::fields::{Say, differing};
use super::{Difference, Heading, Swap, What};
use crate::ids::DeviceId;
use crate::job::{
    Across, Angle, Check, Decision, Dispute, Job, MarkKind, PileDirection, Pin, Reading, Rise, Rule, TurnStatement,
};
use crate::length::{Length, Units};

impl Difference {
    /// One line: `Hall, wall 2: 12' 4" → 12' 6", read by Ada`. Names and units are those of `job`.
    pub fn words(&self, job: &Job) -> String {
        let what = self.what.words(job);
        if self.place.is_empty() { capital(&what) } else { format!("{}: {what}", self.place) }
    }
}

impl What {
    fn words(&self, job: &Job) -> String {
        let say = Say(job);
        match self {
            Self::Name(it) => became("the job's name", it, |it| quoted(it)),
            Self::Archived(it) => became("the job", it, |it| if *it { "put away" } else { "in work" }.to_owned()),
            Self::Units(it) => became("the job's units", it, |it| unit_words(*it).to_owned()),
            Self::Rule(rule, it) => became(rule.title(), it, |it| rule_words(*rule, *it, say)),
            Self::Person(_, it) => became("a person's name", it, |it| quoted(it)),
            Self::Goods(it) => set(it, |it| format!("the carpet {}", quoted(&it.name)), |it| say.goods_fields(it)),
            Self::Room(_, it) => room(it, say),
            Self::Wall(_, _, it) => match it {
                Swap::Came(_) => "new wall",
                Swap::Went(_) => "wall removed",
                Swap::Became { .. } => "moved in the ring",
            }
            .to_owned(),
            Self::Reading(_, _, it) => read(it, |it| it, |it| say.length(it.value), say),
            Self::Turn(_, _, it) => became("the turn at its end", it, turn_words),
            Self::Rise(_, _, it) => format!("bend {}", read(it, |it| &it.reading, |it| rise_words(it, say), say)),
            Self::Check(room, it) => {
                let of = |it: &Check| match job.room(*room) {
                    Some(room) => across(room, it.of),
                    None => "across the room".to_owned(),
                };
                read(it, |it| &it.reading, |it| format!("{} {}", of(it), say.length(it.reading.value)), say)
            }
            Self::Opening(room, it) => {
                let title = |it: &crate::job::Opening| format!("{}, {} wide", it.kind.title(), say.length(it.width));
                set(it, title, |it| say.opening(*room, it))
            }
            Self::Fixture(room, it) => {
                let size = |it: &crate::job::Fixture| format!("{} × {}", say.length(it.width), say.length(it.depth));
                set(it, |it| format!("{}, {}", it.kind.title(), size(it)), |it| say.fixture(*room, it))
            }
            Self::Mark(_, it) => {
                let title = |it: &crate::job::Mark| match it.kind {
                    MarkKind::Squeak => "squeak".to_owned(),
                    MarkKind::Note => format!("note {}", quoted(&it.text)),
                };
                set(it, title, |_| Vec::new())
            }
            Self::Flight(it) => set(it, |it| format!("the flight {}", quoted(&it.name)), |it| say.flight(it)),
            Self::Choice(it) => choice(it, say),
            Self::Print(_) => "the day's sheet was printed".to_owned(),
            Self::Photo(it) => set(it, |it| say.photo(it), |_| Vec::new()),
            Self::Dispute(it) => dispute(it),
        }
    }
}

/// Who a device's person is.
pub(super) fn who(job: &Job, by: DeviceId) -> &str {
    job.people.get(&by).filter(|it| !it.is_empty()).map_or("somebody", String::as_str)
}

fn became<T>(of: &str, swap: &Swap<T>, words: impl Fn(&T) -> String) -> String {
    match swap {
        Swap::Came(it) => format!("{of}: {}", words(it)),
        Swap::Went(it) => format!("{of}: no longer {}", words(it)),
        Swap::Became { before, after } => {
            let (before, after) = (words(before), words(after));
            if before == after { format!("{of}: {after}, said anew") } else { format!("{of}: {before} → {after}") }
        }
    }
}

/// Something that comes, goes, and is set as a whole.
fn set<T>(swap: &Swap<T>, title: impl Fn(&T) -> String, fields: impl Fn(&T) -> super::fields::Fields) -> String {
    match swap {
        Swap::Came(it) => format!("new: {}", title(it)),
        Swap::Went(it) => format!("removed: {}", title(it)),
        Swap::Became { before, after } => format!("{}: {}", title(before), differing(&fields(before), &fields(after))),
    }
}

fn room(swap: &Swap<Heading>, say: Say<'_>) -> String {
    let lengths = |it: &Heading| {
        let lengths: Vec<String> =
            it.lengths.iter().map(|it| it.map_or_else(|| "?".to_owned(), |it| say.length(it))).collect();
        match lengths.len() {
            0 => String::new(),
            1 => format!(" of one wall, {}", lengths.join(", ")),
            n => format!(" of {n} walls, {}", lengths.join(", ")),
        }
    };
    match swap {
        Swap::Came(it) => format!("new room{}", lengths(it)),
        Swap::Went(it) => format!("removed: a room{}", lengths(it)),
        Swap::Became { before, after } => differing(&say.heading(before), &say.heading(after)),
    }
}

fn read<T>(swap: &Swap<T>, reading: impl Fn(&T) -> &Reading, words: impl Fn(&T) -> String, say: Say<'_>) -> String {
    let by = |it: &T| who(say.0, reading(it).stamp.by);
    match swap {
        Swap::Came(it) => format!("{} read by {}", words(it), by(it)),
        Swap::Went(it) => format!("{} set aside", words(it)),
        Swap::Became { before, after } if words(before) == words(after) => {
            format!("{} read again by {}", words(after), by(after))
        }
        Swap::Became { before, after } => format!("{} → {}, read by {}", words(before), words(after), by(after)),
    }
}

fn choice(swap: &Swap<crate::job::Choice>, say: Say<'_>) -> String {
    let words = |it: &crate::job::Choice| decision(&it.decision, say);
    match swap {
        Swap::Came(it) => words(it),
        Swap::Went(it) => format!("taken back: {}", words(it)),
        Swap::Became { before, after } => match (&before.decision, &after.decision) {
            (Decision::Plan(before), Decision::Plan(plan)) if before.order != plan.order => {
                format!("{} (before: {})", words(after), say.length(before.order))
            }
            _ if words(before) == words(after) => format!("{}, decided anew", words(after)),
            _ => format!("{} (before: {})", words(after), words(before)),
        },
    }
}

fn decision(it: &Decision, say: Say<'_>) -> String {
    match it {
        Decision::Plan(plan) => {
            format!("plan chosen for {}: {} to order", say.goods(Some(plan.goods)), say.length(plan.order))
        }
        Decision::Cut(cut) => {
            let place = cut.place;
            format!("cut: a piece of {} × {}", say.length(place.width), say.length(place.length))
        }
        Decision::LeaveOut { .. } => "a piece is not cut from the roll".to_owned(),
        Decision::OnHand(it) => {
            let size = format!("{} × {}", say.length(it.width), say.length(it.length));
            format!("on hand: {size} of {}, lot {}", say.goods(Some(it.goods)), quoted(&it.lot))
        }
        Decision::Pin { room, pin } => {
            let words = match *pin {
                Pin::Pile(pile) => format!("the pile runs {} on the plan", pile_words(pile)),
                Pin::Seam { wall, distance } => {
                    format!("a seam {} from {}", say.length(distance), say.wall(*room, wall))
                }
                Pin::Along { wall } => format!("a full breadth starts along {}", say.wall(*room, wall)),
                Pin::NoSeam => "no seam".to_owned(),
            };
            format!("pin in {}: {words}", say.room(*room))
        }
    }
}

fn dispute(swap: &Swap<Dispute>) -> String {
    match swap {
        Swap::Went(it) => format!("settled: the {}", it.field),
        Swap::Came(it) | Swap::Became { after: it, .. } => {
            format!("two people differ on the {}: {}", it.field, it.values.join(" or "))
        }
    }
}

/// `from corner 1 to corner 3`, `from corner 2 square to wall 4`.
fn across(room: &crate::job::Room, of: Across) -> String {
    let corner = |id| room.wall_title(id).replacen("wall", "corner", 1);
    match of {
        Across::Corners { from, to } => format!("from {} to {}", corner(from), corner(to)),
        Across::Offset { corner: from, wall } => format!("from {} square to {}", corner(from), room.wall_title(wall)),
        Across::Walls { wall, opposite } => format!("from {} to {}", room.wall_title(wall), room.wall_title(opposite)),
    }
}

fn turn_words(it: &TurnStatement) -> String {
    if it.free { format!("about {}, not measured", it.turn.show()) } else { it.turn.show() }
}

fn rise_words(it: &Rise, say: Say<'_>) -> String {
    format!("{} {}", say.length(it.reading.value), if it.inward { "into the room" } else { "out of the room" })
}

fn rule_words(rule: Rule, value: i64, say: Say<'_>) -> String {
    match rule {
        Rule::MostCrossSeams | Rule::ClosureRatio | Rule::TapeClass => value.to_string(),
        Rule::Freehand => if value == 0 { "no" } else { "yes" }.to_owned(),
        Rule::SquareCorner => Angle(value).show(),
        _ => say.length(Length(value)),
    }
}

const fn unit_words(units: Units) -> &'static str {
    match units {
        Units::Imperial => "feet and inches",
        Units::Metric => "metric",
    }
}

const fn pile_words(pile: PileDirection) -> &'static str {
    match pile {
        PileDirection::North => "up",
        PileDirection::East => "right",
        PileDirection::South => "down",
        PileDirection::West => "left",
    }
}

fn quoted(text: &str) -> String {
    format!("“{}”", text.trim())
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}
