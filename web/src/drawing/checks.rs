//! Checks on the sketch: the line that the tape lay along, what it read, and the corners that it can be held at.

use leptos::prelude::*;
use shared_model::ids::WallId;
use shared_model::job::{Across, Room};

use super::dims::{SIZE, upright};
use super::space::{Patch, Spot, text_width};

/// A check as drawn.
#[derive(Clone, PartialEq, Debug)]
pub struct CheckLine {
    pub of: Across,
    pub from: Spot,
    pub to: Spot,
    /// What it read; nothing of one that is only proposed.
    pub text: Option<String>,
    /// Where the text stands.
    pub middle: Option<Spot>,
    pub picked: bool,
}

/// A wall of the sketch: its id and its ends.
pub type Line = (WallId, Spot, Spot);

/// Where the tape of a check lies; `None` when one of its walls is gone.
pub fn ends(of: Across, walls: &[Line]) -> Option<(Spot, Spot)> {
    let line = |wall: WallId| walls.iter().find(|it| it.0 == wall).map(|it| (it.1, it.2));
    Some(match of {
        Across::Corners { from, to } => (line(from)?.0, line(to)?.0),
        Across::Offset { corner, wall } => {
            let at = line(corner)?.0;
            (at, foot(at, line(wall)?))
        }
        Across::Walls { wall, opposite } => {
            let (a, b) = line(opposite)?;
            let at = a.between(b, 0.5);
            (at, foot(at, line(wall)?))
        }
    })
}

/// Square from a point onto the line through a wall.
fn foot(at: Spot, (a, b): (Spot, Spot)) -> Spot {
    let along = a.toward(b);
    let far = (at.x - a.x) * along.x + (at.y - a.y) * along.y;
    a.shifted(along, far)
}

/// The room's checks, each text where nothing else is; `taken` grows.
pub fn place(
    room: &Room,
    picked: Option<Across>,
    walls: &[Line],
    shown: impl Fn(shared_model::length::Length) -> String,
    taken: &mut Vec<Patch>,
) -> Vec<CheckLine> {
    let mut read: Vec<(Across, Vec<String>)> = Vec::new();
    for check in room.checks_in_force() {
        let text = shown(check.reading.value);
        match read.iter_mut().find(|it| it.0 == check.of) {
            Some((_, texts)) if !texts.contains(&text) => texts.push(text),
            Some(_) => {}
            None => read.push((check.of, vec![text])),
        }
    }
    if let Some(of) = picked.filter(|of| !read.iter().any(|it| it.0 == *of)) {
        read.push((of, Vec::new()));
    }
    let lines = read.into_iter().filter_map(|(of, texts)| {
        let (from, to) = ends(of, walls)?;
        let text = (!texts.is_empty()).then(|| texts.join(" | "));
        let middle = text.as_ref().map(|text| {
            // On the line, or beside it: a check over a wall in two parts lies on the wall.
            let across = from.toward(to).right();
            let beside = [0.0, -16.0, 16.0, -32.0, 32.0].into_iter();
            let spots = beside.flat_map(|step| {
                [0.5, 0.35, 0.65, 0.25, 0.75].map(|part| from.between(to, part).shifted(across, step))
            });
            let patch =
                |middle| Patch { middle, width: text_width(text, SIZE), height: SIZE, degrees: slope(from, to) };
            // What was read stays in sight, over something else if it must.
            let place = spots.map(patch).find(|it| it.is_free(taken)).unwrap_or_else(|| patch(from.between(to, 0.5)));
            taken.push(place);
            place.middle
        });
        Some(CheckLine { of, from, to, text, middle, picked: picked == Some(of) })
    });
    lines.collect()
}

fn slope(from: Spot, to: Spot) -> f64 {
    upright((to.y - from.y).atan2(to.x - from.x).to_degrees())
}

pub fn drawn(check: &CheckLine) -> impl IntoView + use<> {
    let CheckLine { from, to, picked, .. } = *check;
    let class = if picked { "check check-picked" } else { "check" };
    let text = check.middle.zip(check.text.clone()).map(|(at, text)| {
        let turn = format!("rotate({:.1} {:.1} {:.1})", slope(from, to), at.x, at.y);
        view! { <text class="halo check-text" x=at.x y=at.y transform=turn>{text}</text> }
    });
    view! { <line class=class x1=from.x y1=from.y x2=to.x y2=to.y />{text} }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    #[test]
    fn the_tape_lies_square_to_the_wall_that_it_runs_to() {
        let wall = |n| WallId(Uuid::from_u128(n));
        let walls = [
            (wall(1), Spot::new(0.0, 100.0), Spot::new(0.0, 0.0)),
            (wall(2), Spot::new(0.0, 0.0), Spot::new(200.0, 0.0)),
            (wall(3), Spot::new(200.0, 0.0), Spot::new(200.0, 100.0)),
            (wall(4), Spot::new(200.0, 100.0), Spot::new(0.0, 100.0)),
        ];
        let far = |of| ends(of, &walls).map(|(from, to)| from.distance(to));
        assert_eq!(far(Across::Offset { corner: wall(1), wall: wall(2) }), Some(100.0));
        assert_eq!(far(Across::Walls { wall: wall(1), opposite: wall(3) }), Some(200.0));
        assert_eq!(far(Across::Corners { from: wall(1), to: wall(3) }).map(f64::round), Some(224.0));
        assert_eq!(far(Across::Corners { from: wall(1), to: wall(9) }), None);
    }
}
