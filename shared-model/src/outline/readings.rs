//! What the readings of a wall say of its length.

use super::Certainty;
use crate::job::{Room, Wall};
use crate::length::{Length, Units};
use crate::problem::{Place, Problem, ProblemKind};

/// What the readings in force say of one wall.
#[derive(Clone, Copy)]
pub(super) struct Measured {
    /// Their mean, to the nearest count.
    pub length: Length,
    count: usize,
    shortest: Length,
    longest: Length,
}

/// The one place where readings become a length: all in force count alike. `None` without a possible reading.
pub(super) fn measured(wall: &Wall) -> Option<Measured> {
    let values: Vec<Length> = wall.in_force().map(|it| it.value).filter(|&it| is_possible(it)).collect();
    let (shortest, longest) = (*values.iter().min()?, *values.iter().max()?);
    let count = i64::try_from(values.len()).ok()?;
    let mean = Length((values.iter().copied().sum::<Length>().0 + count / 2) / count);
    Some(Measured { length: mean, count: values.len(), shortest, longest })
}

/// How far the wall's middle stands off the line between its ends, out of the room: the mean of what was read to the side that
/// the newest reading says. Zero for a straight wall, and for what cannot be.
pub fn bend(wall: &Wall) -> Length {
    let Some(newest) = wall.rises_in_force().last() else { return Length::ZERO };
    let alike = wall.rises_in_force().filter(|it| it.inward == newest.inward && is_possible(it.reading.value));
    let values: Vec<Length> = alike.map(|it| it.reading.value).collect();
    let Some(count) = i64::try_from(values.len()).ok().filter(|it| *it > 0) else { return Length::ZERO };
    let mean = values.into_iter().sum::<Length>() / count;
    if newest.inward { -mean } else { mean }
}

fn is_possible(value: Length) -> bool {
    value > Length::ZERO && value <= Length::MOST
}

/// Whether no reading in force is zero, negative or absurd.
pub(super) fn are_possible(wall: &Wall) -> bool {
    wall.in_force().all(|it| is_possible(it.value))
}

impl Measured {
    pub fn certainty(&self) -> Certainty {
        match self.count {
            1 => Certainty::Once,
            _ if self.longest - self.shortest > agreement(self.longest) => Certainty::Disputed,
            _ => Certainty::Agreed,
        }
    }
}

/// How far two readings of one wall may lie apart: 1/4 in, or 1/1000 of a wall longer than 20 ft 10 in. A judgement:
/// twice what a class II tape may err over 10 m (EU MID annex MI-008: 2.3 mm) and some for the choice of the target.
fn agreement(length: Length) -> Length {
    Length::sixty_fourths(16).max(length / 1_000)
}

/// Impossible and disputed readings.
pub(super) fn inspect(room: &Room, units: Units) -> Vec<Problem> {
    let mut problems = Vec::new();
    let name = room.title();
    for wall in &room.walls {
        let title = room.wall_title(wall.id);
        let place = Place::Wall(room.id, wall.id);
        if let Some(bad) = wall.in_force().find(|it| !is_possible(it.value)) {
            let why = if bad.value > Length::ZERO { "is longer than 10 km" } else { "is not more than zero" };
            let text = format!("{name}: a reading of {title} {why}. Take it back and measure again.");
            problems.push(Problem::new(ProblemKind::BadLength, place, text));
        }
        if let Some(both) = measured(wall).filter(|it| it.certainty() == Certainty::Disputed) {
            let show = |it: Length| it.show(units.style());
            let text = format!(
                "{name}: {title} reads {} and {}, {} apart. Measure it again, then take back the wrong one.",
                show(both.shortest),
                show(both.longest),
                show(both.longest - both.shortest)
            );
            problems.push(Problem::new(ProblemKind::Disputed, place, text));
        }
    }
    problems
}
