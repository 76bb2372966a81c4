//! A drawing surface that is fitted, moved and zoomed by finger, wheel, button and key.

use leptos::ev::{KeyboardEvent, PointerEvent, WheelEvent};
use leptos::prelude::*;
use leptos::svg;
use wasm_bindgen::JsCast;
use wasm_bindgen::prelude::Closure;

/// What a drawing takes up, in millimetres; `y` runs down the screen.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Extent {
    pub left: f64,
    pub top: f64,
    pub width: f64,
    pub height: f64,
}

/// Which part of the drawing is on the screen.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Window {
    /// Pixels per millimetre.
    pub scale: f64,
    /// Where the drawing's origin is, in pixels from the top left corner.
    pub x: f64,
    pub y: f64,
}

impl Window {
    /// Closest that one can zoom: an inch is then 25 px wide.
    const MOST: f64 = 1.0;
    /// Farthest: a hundred metres are then 500 px wide.
    const LEAST: f64 = 0.005;

    /// Shows all of `extent` in the middle, `margin` pixels free around it.
    pub fn fitted(extent: Extent, (width, height): (f64, f64), margin: f64) -> Self {
        let room = |pixels: f64| (pixels - 2.0 * margin).max(40.0);
        let fit = (room(width) / extent.width.max(1.0)).min(room(height) / extent.height.max(1.0));
        let scale = fit.clamp(Self::LEAST, Self::MOST);
        let x = width / 2.0 - (extent.left + extent.width / 2.0) * scale;
        let y = height / 2.0 - (extent.top + extent.height / 2.0) * scale;
        Self { scale, x, y }
    }

    /// Zooms so that the point at (`x`, `y`) stays where it is.
    pub fn zoomed(self, factor: f64, (x, y): (f64, f64)) -> Self {
        let scale = (self.scale * factor).clamp(Self::LEAST, Self::MOST);
        let grown = scale / self.scale;
        Self { scale, x: x - (x - self.x) * grown, y: y - (y - self.y) * grown }
    }

    pub fn moved(self, (dx, dy): (f64, f64)) -> Self {
        Self { x: self.x + dx, y: self.y + dy, ..self }
    }
}

/// Fingers on the drawing, or the mouse: the id and the last place of each.
type Fingers = Vec<(i32, f64, f64)>;

/// Where `finger` has gone: the window that follows it. Two fingers also zoom by how far apart they are.
pub fn follow(window: Window, fingers: &mut Fingers, finger: (i32, f64, f64)) -> Window {
    let (id, x, y) = finger;
    let other = fingers.iter().find(|it| it.0 != id).copied();
    let Some(mine) = fingers.iter_mut().find(|it| it.0 == id) else { return window };
    let (old_x, old_y) = (mine.1, mine.2);
    *mine = finger;
    let Some((_, ox, oy)) = other else { return window.moved((x - old_x, y - old_y)) };
    let (before, after) = ((old_x - ox).hypot(old_y - oy), (x - ox).hypot(y - oy));
    let moved = window.moved(((x - old_x) / 2.0, (y - old_y) / 2.0));
    if before < 1.0 { moved } else { moved.zoomed(after / before, (f64::midpoint(x, ox), f64::midpoint(y, oy))) }
}

/// An SVG drawing. `draw` gets the scale in pixels per millimetre and draws in pixels from the drawing's origin;
/// `over` is drawn at fixed places of the window.
#[component]
pub fn Canvas<F, V, O, W>(
    /// What to fit into the window; nothing is drawn without it.
    #[prop(into)]
    extent: Signal<Option<Extent>>,
    /// What it is, for a screen reader.
    #[prop(into)]
    title: Signal<String>,
    /// What is on it, in words.
    #[prop(into)]
    desc: Signal<String>,
    draw: F,
    over: O,
    /// Pixels left free around the fitted drawing.
    #[prop(default = 28.0)]
    margin: f64,
) -> impl IntoView
where
    F: Fn(f64) -> V + Send + 'static,
    V: IntoView + 'static,
    O: Fn(f64, (f64, f64)) -> W + Send + 'static,
    W: IntoView + 'static,
{
    let surface = NodeRef::<svg::Svg>::new();
    let size = RwSignal::new((0.0, 0.0));
    let window = RwSignal::new(Window { scale: 0.05, x: 0.0, y: 0.0 });
    let untouched = RwSignal::new(true);
    let scale = Memo::new(move |_| window.get().scale);
    let shown = Memo::new(move |_| extent.get().is_some() && size.get().0 > 0.0);
    watch_size(surface, size);
    let fit = move || {
        let (extent, size) = (extent.get(), size.get());
        if let (Some(extent), true) = (extent, size.0 > 0.0) {
            window.set(Window::fitted(extent, size, margin));
        }
    };
    Effect::new(move |_| {
        if untouched.get() {
            fit();
        }
    });

    let middle = move || {
        let (width, height) = size.get_untracked();
        (width / 2.0, height / 2.0)
    };
    let zoom = move |factor: f64| {
        untouched.set(false);
        window.update(|it| *it = it.zoomed(factor, middle()));
    };
    let shift = move |dx: f64, dy: f64| {
        untouched.set(false);
        window.update(|it| *it = it.moved((dx, dy)));
    };
    let show_all = move || {
        untouched.set(true);
        fit();
    };
    let keys = move |event: KeyboardEvent| {
        match event.key().as_str() {
            "+" | "=" => zoom(1.25),
            "-" => zoom(0.8),
            "0" => show_all(),
            "ArrowLeft" => shift(40.0, 0.0),
            "ArrowRight" => shift(-40.0, 0.0),
            "ArrowUp" => shift(0.0, 40.0),
            "ArrowDown" => shift(0.0, -40.0),
            _ => return,
        }
        event.prevent_default();
    };
    let wheel = move |event: WheelEvent| {
        event.prevent_default();
        untouched.set(false);
        let at = place(surface, f64::from(event.client_x()), f64::from(event.client_y()));
        window.update(|it| *it = it.zoomed((-event.delta_y() * 0.0015).exp(), at));
    };
    let drag = Drag { surface, window, untouched, fingers: StoredValue::new(Vec::new()) };

    view! {
        <svg
            class="plan" tabindex="0" role="group" node_ref=surface
            aria-label=move || title.get()
            viewBox=move || { let (width, height) = size.get(); format!("0 0 {width} {height}") }
            on:pointerdown=move |event| drag.down(&event)
            on:pointermove=move |event| drag.moved(&event)
            on:pointerup=move |event| drag.up(&event)
            on:pointercancel=move |event| drag.up(&event)
            on:wheel=wheel
            on:keydown=keys
        >
            <desc>{desc}</desc>
            <g transform=move || { let at = window.get(); format!("translate({:.2} {:.2})", at.x, at.y) }>
                {move || shown.get().then(|| draw(scale.get()))}
            </g>
            {move || shown.get().then(|| over(scale.get(), size.get()))}
        </svg>
        <div class="drawing-tools">
            <button type="button" class="button button-icon" aria-label="Zoom in" on:click=move |_| zoom(1.4)>"+"</button>
            <button type="button" class="button button-icon" aria-label="Zoom out" on:click=move |_| zoom(1.0 / 1.4)>"−"</button>
            <button type="button" class="button button-icon" aria-label="Show all of it" hidden=move || untouched.get() on:click=move |_| show_all()>"⤢"</button>
        </div>
    }
}

/// Follows the size that the page gives the drawing.
pub(super) fn watch_size(surface: NodeRef<svg::Svg>, size: RwSignal<(f64, f64)>) {
    Effect::new(move |_| {
        let Some(svg) = surface.get() else { return };
        let measured = svg.clone();
        let changed = Closure::<dyn FnMut()>::new(move || {
            let rect = measured.get_bounding_client_rect();
            if rect.width() > 0.0 {
                size.set((rect.width(), rect.height()));
            }
        });
        let Ok(observer) = web_sys::ResizeObserver::new(changed.as_ref().unchecked_ref()) else { return };
        observer.observe(&svg);
        let kept = StoredValue::new_local((observer, changed));
        on_cleanup(move || kept.with_value(|(observer, _)| observer.disconnect()));
    });
}

/// A place of the page as a place of the drawing's window.
fn place(surface: NodeRef<svg::Svg>, x: f64, y: f64) -> (f64, f64) {
    let rect = surface.get_untracked().map(|it| it.get_bounding_client_rect());
    rect.map_or((x, y), |it| (x - it.left(), y - it.top()))
}

/// Moving with one finger, zooming with two.
#[derive(Clone, Copy)]
struct Drag {
    surface: NodeRef<svg::Svg>,
    window: RwSignal<Window>,
    untouched: RwSignal<bool>,
    fingers: StoredValue<Fingers>,
}

impl Drag {
    /// A finger that moves less than this taps.
    const TAP: f64 = 6.0;

    fn at(self, event: &PointerEvent) -> (i32, f64, f64) {
        let (x, y) = place(self.surface, f64::from(event.client_x()), f64::from(event.client_y()));
        (event.pointer_id(), x, y)
    }

    fn down(self, event: &PointerEvent) {
        let finger = self.at(event);
        self.fingers.update_value(|it| it.push(finger));
    }

    fn moved(self, event: &PointerEvent) {
        let finger = self.at(event);
        let Some(from) = self.fingers.with_value(|it| it.iter().find(|it| it.0 == finger.0).copied()) else { return };
        let Some(svg) = self.surface.get_untracked() else { return };
        let captured = svg.has_pointer_capture(finger.0);
        if !captured && (finger.1 - from.1).hypot(finger.2 - from.2) < Self::TAP {
            return;
        }
        if !captured && svg.set_pointer_capture(finger.0).is_err() {
            return;
        }
        self.untouched.set(false);
        let window = self.window.get_untracked();
        let followed = self.fingers.try_update_value(|it| follow(window, it, finger));
        self.window.set(followed.unwrap_or(window));
    }

    fn up(self, event: &PointerEvent) {
        self.fingers.update_value(|it| it.retain(|it| it.0 != event.pointer_id()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUSE: Extent = Extent { left: -1_000.0, top: -8_000.0, width: 10_000.0, height: 8_000.0 };

    #[test]
    fn a_drawing_is_fitted_into_the_middle() {
        let window = Window::fitted(HOUSE, (400.0, 500.0), 50.0);
        assert_eq!(window.scale, 0.03);
        assert_eq!((-1_000.0 * window.scale + window.x, 9_000.0 * window.scale + window.x), (50.0, 350.0));
        assert_eq!((-8_000.0 * window.scale + window.y, window.y), (130.0, 370.0));
    }

    #[test]
    fn zooming_keeps_the_point_under_the_finger() {
        let window = Window { scale: 0.05, x: 10.0, y: 20.0 };
        let zoomed = window.zoomed(2.0, (110.0, 220.0));
        assert_eq!(zoomed, Window { scale: 0.1, x: -90.0, y: -180.0 });
        assert_eq!(window.zoomed(1e9, (0.0, 0.0)).scale, Window::MOST);
    }

    #[test]
    fn one_finger_moves_and_two_zoom() {
        let window = Window { scale: 0.05, x: 0.0, y: 0.0 };
        let mut fingers = vec![(1, 100.0, 100.0)];
        assert_eq!(follow(window, &mut fingers, (1, 110.0, 90.0)), Window { x: 10.0, y: -10.0, ..window });
        assert_eq!(fingers, vec![(1, 110.0, 90.0)]);

        let mut fingers = vec![(1, 100.0, 100.0), (2, 200.0, 100.0)];
        let spread = follow(window, &mut fingers, (2, 300.0, 100.0));
        assert_eq!(spread.scale, 0.1, "twice as far apart, twice as large");
        assert_eq!(follow(window, &mut fingers, (7, 0.0, 0.0)), window, "a finger that never came down");
    }
}
