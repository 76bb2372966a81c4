//! The words of the document for our enums.

use super::{
    Across, FixtureKind, FloorAtOpening, Foot, MarkKind, Match, OpeningKind, PileDirection, Rule, Sheet, Tool,
};
use crate::ids::WallId;
use crate::length::{Length, Units};

pub(super) const UNITS: [(Units, &str); 2] = [(Units::Imperial, "imperial"), (Units::Metric, "metric")];

pub(super) const TOOLS: [(Tool, &str); 3] = [(Tool::Tape, "tape"), (Tool::Laser, "laser"), (Tool::Plan, "plan")];

pub(super) const OPENINGS: [(OpeningKind, &str); 4] = [
    (OpeningKind::Doorway, "doorway"),
    (OpeningKind::CasedOpening, "cased opening"),
    (OpeningKind::Window, "window"),
    (OpeningKind::PassThrough, "pass-through"),
];

pub(super) const FLOORS: [(FloorAtOpening, &str); 3] = [
    (FloorAtOpening::RunsThrough, "runs through"),
    (FloorAtOpening::SeamUnderDoor, "seam under door"),
    (FloorAtOpening::OtherFloor, "other floor"),
];

pub(super) const FIXTURES: [(FixtureKind, &str); 5] = [
    (FixtureKind::Hearth, "hearth"),
    (FixtureKind::Column, "column"),
    (FixtureKind::BuiltIn, "built-in"),
    (FixtureKind::Register, "register"),
    (FixtureKind::StairWell, "stair well"),
];

pub(super) const PILES: [(PileDirection, &str); 4] = [
    (PileDirection::North, "north"),
    (PileDirection::East, "east"),
    (PileDirection::South, "south"),
    (PileDirection::West, "west"),
];

pub(super) const MARKS: [(MarkKind, &str); 2] = [(MarkKind::Squeak, "squeak"), (MarkKind::Note, "note")];

pub(super) const SHEETS: [(Sheet, &str); 1] = [(Sheet::Day, "day")];

pub(super) const RULES: [(Rule, &str); 14] = [
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

/// Room, wall, distance from the wall's start in the length's own unit, and the way.
pub(super) fn of_foot(foot: Foot) -> String {
    format!("{} {} {} {}", foot.room, foot.wall, foot.offset.0, if foot.up { "up" } else { "down" })
}

pub(super) fn foot(text: &str) -> Option<Foot> {
    let mut parts = text.split(' ');
    let (room, wall) = (parts.next()?.parse().ok()?, parts.next()?.parse().ok()?);
    let offset = Length(parts.next()?.parse().ok()?);
    let up = match parts.next()? {
        "up" => true,
        "down" => false,
        _ => return None,
    };
    parts.next().is_none().then_some(Foot { room, wall, offset, up })
}

impl Rule {
    /// Every rule there is.
    pub fn all() -> impl Iterator<Item = Self> {
        RULES.into_iter().map(|(it, _)| it)
    }

    /// What it is called.
    pub fn title(self) -> &'static str {
        word(&RULES, self)
    }
}

/// The word for a value. Every value has one; the tests see to it.
pub(super) fn word<T: Copy + PartialEq>(table: &[(T, &'static str)], value: T) -> &'static str {
    table.iter().find(|(it, _)| *it == value).map_or("", |(_, word)| word)
}

pub(super) fn value<T: Copy>(table: &[(T, &str)], word: &str) -> Option<T> {
    table.iter().find(|(_, it)| *it == word).map(|(value, _)| *value)
}

impl Across {
    /// The walls that name both ends.
    pub const fn walls(self) -> (WallId, WallId) {
        let (_, from, to) = of_across(self);
        (from, to)
    }
}

/// The kind of a check, the wall it starts from (or whose start it starts from), and the wall that it runs to.
pub(super) const fn of_across(of: Across) -> (&'static str, WallId, WallId) {
    match of {
        Across::Corners { from, to } => ("corners", from, to),
        Across::Offset { corner, wall } => ("offset", corner, wall),
        Across::Walls { wall, opposite } => ("walls", wall, opposite),
    }
}

pub(super) fn read_across(kind: &str, from: WallId, to: WallId) -> Option<Across> {
    match kind {
        "corners" => Some(Across::Corners { from, to }),
        "offset" => Some(Across::Offset { corner: from, wall: to }),
        "walls" => Some(Across::Walls { wall: from, opposite: to }),
        _ => None,
    }
}

/// One word, so that two people's answers never mix into a third.
pub(super) fn of_match(pattern: Match) -> String {
    match pattern {
        Match::None => "none".to_owned(),
        Match::Set => "set".to_owned(),
        Match::Drop { numerator, denominator } => format!("drop {numerator}/{denominator}"),
    }
}

pub(super) fn read_match(word: &str) -> Option<Match> {
    match word {
        "none" => Some(Match::None),
        "set" => Some(Match::Set),
        _ => {
            let (numerator, denominator) = word.strip_prefix("drop ")?.split_once('/')?;
            let (numerator, denominator) = (numerator.parse().ok()?, denominator.parse().ok()?);
            is_drop(numerator, denominator).then_some(Match::Drop { numerator, denominator })
        }
    }
}

/// A drop is a proper fraction of the repeat, of few parts.
pub(super) const fn is_drop(numerator: u32, denominator: u32) -> bool {
    0 < numerator && numerator < denominator && denominator <= 100
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_read_back() {
        for pattern in [Match::None, Match::Set, Match::Drop { numerator: 1, denominator: 2 }] {
            assert_eq!(read_match(&of_match(pattern)), Some(pattern));
        }
        for bad in ["", "drop", "drop 1", "drop 2/2", "drop 0/3", "drop 1/0", "drop -1/2", "drop 1/1000000"] {
            assert_eq!(read_match(bad), None, "{bad}");
        }
        for (rule, word_of_it) in RULES {
            assert_eq!((word(&RULES, rule), value(&RULES, word_of_it)), (word_of_it, Some(rule)));
        }
        assert_eq!(value(&TOOLS, "string"), None);
    }
}
