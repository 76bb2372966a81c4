//! What a finger can touch on the sketch: its walls, and while a check is aimed its corners.

use leptos::ev::MouseEvent;
use leptos::prelude::*;
use shared_model::ids::WallId;
use shared_model::length::Length;
use wasm_bindgen::JsCast;
use web_sys::Element;

use super::checks::Line;
use super::inside::Face;
use super::plan::pressed;
use super::sketch::FloorSpot;
use super::space::{Spot, to_side};

/// A wall to be touched.
pub struct WallTouch {
    pub line: Line,
    pub number: usize,
    pub picked: bool,
    pub label: String,
}

/// Fingers are wider than a closet is deep: of the walls that a tap touches, the nearest is meant.
pub fn wall_touches(walls: Vec<WallTouch>, on_wall: Callback<WallId>) -> impl IntoView {
    let lines: Vec<Line> = walls.iter().map(|it| it.line).collect();
    let tapped = move |event: MouseEvent| {
        let surface = event.current_target().and_then(|it| it.unchecked_into::<Element>().closest("svg").ok()?);
        let Some(corner) = surface.map(|it| it.get_bounding_client_rect()) else { return };
        let at = Spot::new(f64::from(event.client_x()) - corner.left(), f64::from(event.client_y()) - corner.top());
        if let Some(wall) = nearest(at, &lines) {
            on_wall.run(wall);
        }
    };
    let touch = move |it: WallTouch| {
        let WallTouch { line: (wall, a, b), number, picked, label } = it;
        view! {
            <line
                class="touch" data-wall=number x1=a.x y1=a.y x2=b.x y2=b.y role="button" tabindex="0"
                aria-label=label aria-pressed=picked.to_string()
                on:click=tapped.clone() on:keydown=move |event| if pressed(&event) { on_wall.run(wall) }
            />
        }
    };
    walls.into_iter().map(touch).collect_view()
}

/// The whole sketch, to be tapped for a place on the floor: it is told from the nearest wall, to the inch or the centimetre that
/// a finger can mean.
pub fn floor_touch(
    (width, height): (f64, f64),
    faces: Vec<(WallId, Face)>,
    on_floor: Callback<FloorSpot>,
) -> impl IntoView {
    let tapped = move |event: MouseEvent| {
        let surface = event.current_target().and_then(|it| it.unchecked_into::<Element>().closest("svg").ok()?);
        let Some(corner) = surface.map(|it| it.get_bounding_client_rect()) else { return };
        let at = Spot::new(f64::from(event.client_x()) - corner.left(), f64::from(event.client_y()) - corner.top());
        if let Some(spot) = floor_spot(at, &faces) {
            on_floor.run(spot);
        }
    };
    view! { <rect class="touch-floor" id="touch-floor" x=0 y=0 width=width height=height on:click=tapped /> }
}

fn floor_spot(at: Spot, faces: &[(WallId, Face)]) -> Option<FloorSpot> {
    let far = |it: &Face| to_side(at, it.from, it.to);
    let (wall, face) = faces.iter().min_by(|a, b| far(&a.1).total_cmp(&far(&b.1)))?;
    let (along, step) = (face.from.toward(face.to), Spot::new(at.x - face.from.x, at.y - face.from.y));
    let length = |toward: Spot| {
        let mm = (step.x * toward.x + step.y * toward.y) / face.scale;
        Length::mm((mm.max(0.0) / 10.0).round() as i64 * 10)
    };
    Some((*wall, length(along), length(face.inward)))
}

fn nearest(at: Spot, lines: &[Line]) -> Option<WallId> {
    let far = |it: &Line| to_side(at, it.1, it.2);
    lines.iter().min_by(|a, b| far(a).total_cmp(&far(b))).map(|it| it.0)
}

/// The corners, to be tapped for a check.
pub fn corner_touches(walls: &[Line], picked: Option<WallId>, on_corner: Callback<WallId>) -> impl IntoView + use<> {
    let corners = walls.iter().zip(1..).map(|(&(wall, at, _), number)| {
        view! {
            <circle class="probe" class:probe-picked=picked == Some(wall) cx=at.x cy=at.y r=9 />
            <text class="probe-number" x=at.x y=at.y>{number}</text>
            <circle
                class="touch probe-touch" data-corner=number cx=at.x cy=at.y r=20 role="button" tabindex="0" aria-label=format!("Corner {number}")
                on:click=move |_| on_corner.run(wall) on:keydown=move |event| if pressed(&event) { on_corner.run(wall) }
            />
        }
    });
    corners.collect_view()
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    #[test]
    fn a_tap_means_the_nearest_wall() {
        let corners = [(0.0, 40.0), (0.0, 0.0), (300.0, 0.0), (300.0, 40.0)].map(|(x, y)| Spot::new(x, y));
        let next = corners.iter().cycle().skip(1);
        let walls = corners.iter().zip(next).zip(1..).map(|((a, b), n)| (WallId(Uuid::from_u128(n)), *a, *b));
        let lines: Vec<Line> = walls.collect();
        for (wall, from, to) in &lines {
            assert_eq!(nearest(from.between(*to, 0.5), &lines), Some(*wall));
        }
    }
}
