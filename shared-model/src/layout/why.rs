//! Why a seam lies where it does, and why not beside it.

use serde::{Deserialize, Serialize};

use super::choose::{Group, alternatives, quick_length};
use super::laying::House;
use super::lines::from_west;
use super::through::{Through, pin_at};
use super::variant::Variant;
use super::{Layout, PileDirection, Seam, SeamKind, Ways};
use crate::ids::RoomId;
use crate::job::{Decision, Pin};
use crate::length::Length;
use crate::polygon::{Axis, Point};

/// Other places that are told at most.
const MOST_TOLD: usize = 6;

/// The reasons for one seam's place.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Why {
    /// One sentence.
    pub here: String,
    /// The places it could have instead, the nearest first.
    pub not_there: Vec<NotThere>,
}

/// A place where the seam could lie, and what that would change.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NotThere {
    /// "2' 3" farther east".
    pub place: String,
    /// What it would cost, and save.
    pub reason: String,
    /// On the plan.
    pub from: Point,
    pub to: Point,
}

/// A seam that a person moves: where it would be pinned, and what that would change.
#[derive(Clone, PartialEq, Debug)]
pub struct Moved {
    pub pin: Pin,
    /// What it would cost, and save, by a first quick plan of the whole house; `None` when no seam can lie there.
    pub difference: Option<String>,
}

/// Another way to lay the room, beside the one it is laid.
struct Other {
    variant: Variant,
    /// What it does to the roll, by a first quick plan of the whole house.
    roll: Length,
    points: i64,
    seams: Length,
}

impl Ways<'_> {
    /// The reasons for a seam of one of these ways' layouts. `None` when there is no such seam.
    pub fn why(&self, layout: &Layout, seam: usize) -> Option<Why> {
        let seam = layout.seams.get(seam)?;
        if seam.kind == SeamKind::Opening {
            return Some(Why { here: opening(seam).to_owned(), not_there: Vec::new() });
        }
        let (group, pile, own) = self.laid(layout, seam.room)?;
        let all = self.house().every_way(&own.of, pile, None);
        let mut others = self.compared(layout, group, own, all)?;
        if seam.kind == SeamKind::Cross {
            others.retain(|it| it.variant.lines == own.lines && it.variant.pieces.len() < own.pieces.len());
            return Some(Why { here: self.cross(&others), not_there: Vec::new() });
        }
        others.retain(|it| it.variant.lines != own.lines && !it.variant.lines.is_empty());
        let here = self.side(seam.room, &others);
        Some(Why { here, not_there: self.not_there(seam, pile, others) })
    }

    /// A side seam of one of these ways' layouts moved by so much to the right on the plan, or up. `None` for other seams, and where
    /// no straight wall runs beside the seam.
    pub fn moved(&self, layout: &Layout, seam: usize, by: Length) -> Option<Moved> {
        let seam = layout.seams.get(seam).filter(|it| it.kind == SeamKind::Side)?;
        let placed = self.floor.rooms.iter().find(|it| it.room == seam.room)?;
        let pin = pin_at(placed, seam, by)?;
        let Pin::Seam { wall, distance } = pin else { return None };
        let (group, pile, own) = self.laid(layout, seam.room)?;
        let through = Through::walls([(wall, distance)].into_iter())?;
        let all = self.house().every_way(&own.of, pile, Some(&through));
        let others = self.compared(layout, group, own, all)?;
        let best = others.iter().min_by_key(|it| (it.roll, it.points, it.seams));
        Some(Moved { pin, difference: best.map(|it| self.difference(seam.room, it)) })
    }

    fn house(&self) -> House<'_> {
        House::of(self.job, self.floor, &self.stock)
    }

    /// How a nap group's rooms and flights are carpeted in the layout. `None` when it takes other rooms as one.
    fn carpeted<'b>(group: &'b Group, layout: &Layout) -> Option<(PileDirection, Vec<&'b Variant>)> {
        let pile = layout.groups.iter().find(|it| it.group == group.index)?.pile;
        let units = group.units.iter().map(|unit| unit.laid(pile, layout.ways.get(unit.of.first()?)?));
        Some((pile, units.collect::<Option<_>>()?))
    }

    /// The group of a room, its pile in the layout, and how the room is laid.
    fn laid(&self, layout: &Layout, room: RoomId) -> Option<(&Group, PileDirection, &Variant)> {
        self.groups.iter().find_map(|group| {
            let (pile, variants) = Self::carpeted(group, layout)?;
            Some((group, pile, variants.into_iter().find(|it| it.of.contains(&room.0))?))
        })
    }

    /// Ways to lay a room with this pile, compared with its own over the whole house.
    fn compared(&self, layout: &Layout, of: &Group, own: &Variant, all: Vec<Variant>) -> Option<Vec<Other>> {
        let laid = |same: &[Group]| -> Option<Vec<Variant>> {
            let (_, variants) = same.iter().find_map(|group| Self::carpeted(group, layout))?;
            Some(variants.into_iter().cloned().collect())
        };
        let mut house: Vec<Vec<Variant>> = alternatives(&self.groups).map(laid).collect::<Option<_>>()?;
        let group = alternatives(&self.groups).position(|it| it[0].index == of.index)?;
        let unit = of.units.iter().position(|it| it.of == own.of)?;
        let roll = self.stock.goods.roll_width;
        let today = quick_length(&house, roll)?;
        let mut others: Vec<Other> = Vec::new();
        for variant in all {
            house[group][unit] = variant.clone();
            let Some(length) = quick_length(&house, roll) else { continue };
            let other = Other {
                roll: length - today,
                points: variant.seam_cost() - own.seam_cost(),
                seams: variant.seam_length() - own.seam_length(),
                variant,
            };
            // Of the ways to piece the same breadths, the one with the shortest roll speaks for the place.
            match others
                .iter_mut()
                .find(|it| it.variant.lines == other.variant.lines && other.variant.lines != own.lines)
            {
                Some(same) if (other.roll, other.points) < (same.roll, same.points) => *same = other,
                Some(_) => {}
                None => others.push(other),
            }
        }
        Some(others)
    }

    fn show(&self, length: Length) -> String {
        length.show(self.job.units.style())
    }

    fn cross(&self, fewer: &[Other]) -> String {
        match fewer.iter().map(|it| it.roll).min() {
            Some(more) if more > Length::ZERO => format!(
                "The parts of this breadth lie side by side on the roll: with fewer it would take about {} more.",
                self.show(more)
            ),
            _ => "The parts of this breadth use up what is left beside longer pieces.".to_owned(),
        }
    }

    fn side(&self, room: RoomId, others: &[Other]) -> String {
        let pinned = self
            .job
            .choices
            .iter()
            .any(|it| matches!(it.decision, Decision::Pin { room: of, pin: Pin::Seam { .. } } if of == room));
        if pinned {
            return "The crew pinned a seam of this room; the others lie a full breadth from it.".to_owned();
        }
        let least = |it: fn(&Other) -> i64| others.iter().map(it).min();
        let (Some(roll), Some(points)) = (least(|it| it.roll.0), least(|it| it.points)) else {
            return "The roll's width leaves the seam no other place.".to_owned();
        };
        let with = |fits: &dyn Fn(&Other) -> bool, by: fn(&Other) -> i64| {
            others.iter().filter(|it| fits(it)).map(by).min().unwrap_or_default()
        };
        match (roll >= 0, points >= 0) {
            (true, true) => "No other place needs less roll, and none has fewer seam points.".to_owned(),
            (true, false) => {
                let more = Length(with(&|it| it.points == points, |it| it.roll.0));
                format!(
                    "No other place needs less roll; the one with the fewest seam points takes about {} more.",
                    self.show(more)
                )
            }
            (false, true) => {
                let more = with(&|it| it.roll.0 == roll, |it| it.points);
                let saved = self.show(Length(-roll));
                format!(
                    "No other place has fewer seam points; the shortest saves about {saved} of roll and has {more} more."
                )
            }
            (false, false) => format!(
                "It lies between the place that saves the most roll (about {}) and the one with the fewest seam points.",
                self.show(Length(-roll))
            ),
        }
    }

    fn not_there(&self, seam: &Seam, pile: PileDirection, others: Vec<Other>) -> Vec<NotThere> {
        let nearest = |it: &Other| {
            let sides = it.variant.seams.iter().filter(|it| it.kind == SeamKind::Side);
            let away = |it: &&Seam| from_west(pile, it.from) - from_west(pile, seam.from);
            sides.map(|it| (away(&it), it.clone())).min_by_key(|(away, _)| away.0.abs())
        };
        let mut told: Vec<(Length, Seam, Other)> = others
            .into_iter()
            .filter_map(|it| {
                let (away, seam) = nearest(&it)?;
                Some((away, seam, it))
            })
            .collect();
        told.sort_by_key(|(away, _, other)| (away.0.abs(), other.roll, other.points));
        told.truncate(MOST_TOLD);
        let of = |(away, at, other): (Length, Seam, Other)| NotThere {
            place: self.place(seam, &at, away),
            reason: self.difference(seam.room, &other),
            from: at.from,
            to: at.to,
        };
        told.into_iter().map(of).collect()
    }

    fn place(&self, own: &Seam, other: &Seam, away: Length) -> String {
        let way = match (other.from - own.from, own.axis()) {
            (it, Axis::Y) if it.x > Length::ZERO => "to the right on the plan",
            (_, Axis::Y) => "to the left on the plan",
            (it, Axis::X) if it.y > Length::ZERO => "up on the plan",
            (_, Axis::X) => "down on the plan",
        };
        match away {
            Length::ZERO => "Here, with the other seams elsewhere".to_owned(),
            _ => format!("{} farther {way}", self.show(away.abs())),
        }
    }

    /// What laying the room the other way would cost and save.
    fn difference(&self, room: RoomId, other: &Other) -> String {
        let (mut costs, mut saves) = (Vec::new(), Vec::new());
        for (by, what) in [(other.roll, "roll"), (other.seams, "seam")] {
            let words = format!("about {} of {what}", self.show(by.abs()));
            match by.0 {
                1.. => costs.push(words),
                0 => {}
                _ => saves.push(words),
            }
        }
        match other.points {
            1.. => costs.push(format!("{} seam points", other.points)),
            0 => {}
            _ => saves.push(format!("{} seam points", -other.points)),
        }
        let mut sentences = Vec::new();
        if !costs.is_empty() {
            sentences.push(format!("Costs {}.", costs.join(" and ")));
        }
        if !saves.is_empty() {
            sentences.push(format!("Saves {}.", saves.join(" and ")));
        }
        let mut reasons: Vec<&str> = other
            .variant
            .seams
            .iter()
            .filter(|it| it.room == room)
            .flat_map(|it| &it.costs)
            .map(|it| it.reason.as_str())
            .collect();
        reasons.sort_unstable();
        reasons.dedup();
        if other.points > 0 {
            sentences.extend(reasons.into_iter().map(str::to_owned));
        }
        if sentences.is_empty() { "It would do as well.".to_owned() } else { sentences.join(" ") }
    }
}

fn opening(seam: &Seam) -> &'static str {
    if seam.costs.is_empty() {
        "The carpets of two rooms meet under the closed door, where nobody sees the seam."
    } else {
        "The carpets of two rooms meet in this opening."
    }
}
