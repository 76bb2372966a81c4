//! A ring with checks across it: adjusted by all readings, its square corners kept square where the readings allow it.

use super::free;
use super::traverse::Traverse;
use crate::job::{Angle, Room, Rules};
use crate::length::{Length, Units};
use crate::polygon::{Point, Ring};
use crate::survey::{Adjusted, Survey, survey};

/// As square as a ring can be said to be: a second of arc.
const SQUARE: Angle = Angle::dms(0, 0, 1);

/// The corners in the outline's frame; `None` without checks or free corners, or when the readings do not agree.
pub(super) fn corners(
    room: &Room,
    survey_of_room: &Survey,
    rules: &Rules,
    units: Units,
    traverse: &Traverse,
) -> Option<Vec<Point>> {
    if !free::has_any(room) {
        room.checks_in_force().next()?;
    }
    let as_read = sound(survey_of_room)?;
    let strict = survey(room, &Rules { square: SQUARE, ..rules.clone() }, units);
    let turned = |it: &Adjusted| Ring(it.corners.clone()).turned(traverse.heading(0)).0;
    Some(match sound(&strict) {
        Some(square) => straightened(turned(square), traverse),
        None => turned(as_read),
    })
}

fn sound(survey: &Survey) -> Option<&Adjusted> {
    survey.result.as_ref().ok().filter(|it| it.verdict.agrees())
}

/// What is square to within the adjustment's last digits is made so exactly: the ends of a wall along an axis share a coordinate.
fn straightened(mut corners: Vec<Point>, traverse: &Traverse) -> Vec<Point> {
    let count = corners.len();
    for north in [true, false] {
        let along = |wall: usize| {
            let heading = traverse.heading(wall).direction().0;
            heading.rem_euclid(Angle::QUARTER.0) == 0 && (heading.rem_euclid(2 * Angle::QUARTER.0) == 0) == north
        };
        let Some(start) = (0..count).find(|&it| !along((it + count - 1) % count)) else { continue };
        let mut at = 0;
        while at < count {
            let mut end = at;
            while end + 1 < count && along((start + end) % count) {
                end += 1;
            }
            let of = |i: usize| (start + i) % count;
            let read = |it: &Point| if north { it.x } else { it.y };
            let sum: i64 = (at..=end).map(|i| read(&corners[of(i)]).0).sum();
            let mean = Length(sum.div_euclid((end - at + 1) as i64));
            for i in at..=end {
                let corner = &mut corners[of(i)];
                if north { corner.x = mean } else { corner.y = mean }
            }
            at = end + 1;
        }
    }
    let first = corners[0];
    corners.into_iter().map(|it| it - first).collect()
}
