//! Touching a seam on the plan: a tap picks it, and the picked one follows the finger.

use leptos::ev::PointerEvent;
use leptos::prelude::*;
use leptos::svg;
use shared_model::layout::SeamKind;
use shared_model::length::Length;
use shared_model::polygon::Point;

use super::plan::pressed;
use super::scene::SeamMark;
use super::space::Spot;

/// What the plan does with its seams.
#[derive(Clone, Copy)]
pub struct SeamTouch {
    /// The seam that is shown thick: its index in the layout.
    pub picked: Signal<Option<usize>>,
    /// Where the picked seam would lie while it is being moved.
    pub ghost: Signal<Option<(Point, Point)>>,
    /// A tap on a seam.
    pub tap: Callback<usize>,
    /// How far east or north of its place the picked seam is dragged.
    pub drag: Callback<Length>,
}

/// A finger that moves less than so many pixels taps.
const TAP: f64 = 6.0;

/// What a finger touches of one seam.
pub fn touch_line(mark: &SeamMark, scale: f64, on: SeamTouch) -> impl IntoView + use<> {
    let SeamMark { index, from, to, kind, .. } = *mark;
    let upright = (from.x - to.x).abs() < (from.y - to.y).abs();
    let line = NodeRef::<svg::Line>::new();
    let started = StoredValue::new(None::<Spot>);
    let dragged = StoredValue::new(false);
    let movable = move || kind == SeamKind::Side && on.picked.get() == Some(index);
    let place = |event: &PointerEvent| Spot::new(f64::from(event.client_x()), f64::from(event.client_y()));
    let down = move |event: PointerEvent| {
        dragged.set_value(false);
        let held = || line.get_untracked().is_some_and(|it| it.set_pointer_capture(event.pointer_id()).is_ok());
        if untrack(movable) && held() {
            event.stop_propagation();
            started.set_value(Some(place(&event)));
        }
    };
    let moved = move |event: PointerEvent| {
        let Some(start) = started.get_value() else { return };
        event.stop_propagation();
        let at = place(&event);
        let pixels = if upright { at.x - start.x } else { start.y - at.y };
        if dragged.get_value() || pixels.abs() >= TAP {
            dragged.set_value(true);
            on.drag.run(Length::mm((pixels / scale).round() as i64));
        }
    };
    let up = move |_| started.set_value(None);
    // Letting go after a drag is no tap.
    let click = move |_| {
        if !dragged.get_value() {
            on.tap.run(index);
        }
    };
    view! {
        <line
            class="touch" class:touch-movable=movable x1=from.x y1=from.y x2=to.x y2=to.y node_ref=line
            role="button" tabindex="0" aria-label=mark.label.clone()
            on:pointerdown=down on:pointermove=moved on:pointerup=up on:pointercancel=up
            on:click=click on:keydown=move |event| if pressed(&event) { on.tap.run(index) }
        />
    }
}
