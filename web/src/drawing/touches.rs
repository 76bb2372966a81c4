//! What a finger can touch on the sketch: its walls, and while a check is aimed its corners.

use leptos::ev::MouseEvent;
use leptos::prelude::*;
use shared_model::ids::WallId;
use wasm_bindgen::JsCast;
use web_sys::Element;

use super::checks::Line;
use super::plan::pressed;
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
