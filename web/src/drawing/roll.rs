//! The rolls and remnants, drawn to scale along their length, with their pieces.

use leptos::ev::TouchEvent;
use leptos::html;
use leptos::prelude::*;
use shared_model::job::{Job, Source};
use shared_model::layout::{Layout, PileDirection, Strip};
use shared_model::length::Length;
use web_sys::Touch;

use super::marks::bar_length;
use super::pile::field;
use super::plan::Laid;
use super::space::{Patch, Spot, text_width};
use crate::state::OpenJob;
use crate::{cutting, shown};

/// Room for the ruler above the roll, in pixels.
const RULER: f64 = 30.0;
/// Free space at the roll's ends.
const MARGIN: f64 = 14.0;
/// Font size of a piece's size.
const SIZE: f64 = 14.0;

/// What a roll or remnant shows at one scale.
struct RollScene {
    /// What lies beside it, as far as the eye scrolls.
    before: f64,
    width: f64,
    height: f64,
    /// Where it ends, and how long it is.
    end: (f64, String),
    /// Ticks of the ruler.
    ticks: Vec<(f64, String)>,
    pieces: Vec<PieceMark>,
}

struct PieceMark {
    id: String,
    corner: Spot,
    width: f64,
    height: f64,
    number: String,
    /// Width × length, where there is room for it.
    size: Option<String>,
    writing: Writing,
    /// Where they leave room: the pile, from the outer end on.
    chevrons: String,
    cut: bool,
    label: String,
}

/// How a piece carries its number and size.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Writing {
    /// Number over size.
    Level,
    /// The same, read from the right.
    Upright,
    /// Only the number.
    Number,
    /// Too small for anything: the list says it.
    Nothing,
}

/// The fullest writing that fits a piece of this size on the screen, for a size text of this width.
pub fn writing(width: f64, height: f64, text: f64) -> Writing {
    const BOTH: f64 = 54.0;
    if width >= text + 8.0 && height >= BOTH {
        Writing::Level
    } else if height >= text + 8.0 && width >= BOTH {
        Writing::Upright
    } else if width >= 30.0 && height >= 30.0 {
        Writing::Number
    } else {
        Writing::Nothing
    }
}

/// Every roll that is ordered, and every remnant, one beside the other.
fn scenes(layout: &Layout, job: &Job, scale: f64) -> Vec<RollScene> {
    let rolls = layout.rolls();
    let first = rolls.iter().find(|it| it.0 == 0).map(|it| it.1).unwrap_or_default();
    let name = if rolls.len() > 1 { "roll 1," } else { "order" };
    let name = format!("{name} {}", shown::order(first, job.units));
    let first = (Source::Roll(0), layout.roll.width, first, name);
    let other = |it: &Strip| {
        let length = match it.source {
            Source::Roll(_) => shown::order(it.length, job.units),
            Source::Remnant(_) => shown::length(it.length, job.units),
        };
        (it.source, it.roll.width, it.length, format!("{}, {length}", it.name))
    };
    let mut before = 0.0;
    let all = std::iter::once(first).chain(layout.others.iter().map(other));
    let drawn = all.filter(|(.., length, _)| *length > Length::ZERO || layout.others.is_empty()).map(|carpet| {
        let scene = RollScene { before, ..scene(layout, job, scale, carpet) };
        before += scene.width;
        scene
    });
    drawn.collect()
}

fn scene(
    layout: &Layout,
    job: &Job,
    scale: f64,
    (source, width, length, name): (Source, Length, Length, String),
) -> RollScene {
    let along = |length: Length| MARGIN + length.as_mm() * scale;
    let pieces = cutting::in_order(layout).into_iter().filter(|it| it.place.source == source).map(|cut| {
        let piece = cut.piece;
        let (width, height) = (piece.length.as_mm() * scale, piece.width.as_mm() * scale);
        let size = shown::size(piece.width, piece.length, job);
        let writing = writing(width, height, text_width(&size, SIZE));
        let corner = Spot::new(along(cut.place.y), RULER + cut.place.x.as_mm() * scale);
        PieceMark {
            id: piece.id.clone(),
            corner,
            chevrons: chevrons(corner, (width, height), writing, text_width(&size, SIZE)),
            width,
            height,
            number: cut.number.to_string(),
            label: format!("{}: {}, {size}", cut.number, piece.label),
            size: matches!(writing, Writing::Level | Writing::Upright).then_some(size),
            writing,
            cut: cutting::checked_off(job, layout, &piece.id).next().is_some(),
        }
    });
    let pieces = pieces.collect();
    let step = bar_length(scale, 90.0, job.units);
    let count = if step.0 > 0 { length.0 / step.0 } else { 0 };
    let ticks = (0..=count).map(|n| (along(step * n), shown::length(step * n, job.units)));
    let end = along(length);
    RollScene {
        before: 0.0,
        // A short one is as wide as its name.
        width: (end + MARGIN).max(MARGIN + text_width(&name, SIZE) + MARGIN),
        height: RULER + width.as_mm() * scale + MARGIN,
        end: (end, name),
        // The last ticks would run into the order's length.
        ticks: ticks.filter(|(at, _)| at + 60.0 < end - 90.0 || *at < MARGIN + 1.0 && end > 220.0).collect(),
        pieces,
    }
}

fn chevrons(corner: Spot, (width, height): (f64, f64), writing: Writing, text: f64) -> String {
    let (far, middle) = (corner.shifted(Spot::new(width, height), 1.0), corner.shifted(Spot::new(width, height), 0.5));
    let ring = [corner, Spot::new(far.x, corner.y), far, Spot::new(corner.x, far.y)];
    let written = match writing {
        Writing::Level => Patch::level(middle, text + 16.0, 66.0),
        Writing::Upright => Patch::level(middle, 66.0, text + 16.0),
        Writing::Number | Writing::Nothing => Patch::level(middle, 40.0, 40.0),
    };
    field(&ring, PileDirection::East, 36.0, &[written])
}

/// The rolls of a layout from their outer end on the left, as long as they are ordered, and remnants beside them. A tap on a piece picks it.
#[component]
pub fn RollDrawing(
    #[prop(into)] laid: Signal<Option<Laid>>,
    /// The id of the piece that stands out.
    picked: RwSignal<Option<String>>,
) -> impl IntoView {
    const HEIGHT: f64 = 150.0;
    let here = OpenJob::here();
    let zoom = RwSignal::new(1.0_f64);
    let scroll = NodeRef::<html::Div>::new();
    let scenes = move || {
        let (job, takeoff) = (here.job.get(), here.takeoff.get());
        let layout = laid.get().and_then(|it| takeoff.goods.get(it.goods)?.layouts.get(it.layout))?;
        let scale = HEIGHT * zoom.get() / layout.roll.width.as_mm().max(1.0);
        Some(scenes(layout, &job, scale))
    };
    let drawing = move || scenes().map(|all| all.into_iter().map(|it| drawn(it, picked)).collect_view());
    // A piece that is picked in the list comes into view.
    Effect::new(move |_| {
        let id = picked.get()?;
        let (scroll, scenes) = (scroll.get()?, untrack(scenes)?);
        let mut all = scenes.iter().flat_map(|of| of.pieces.iter().map(move |it| (of.before, it)));
        let (before, piece) = all.find(|(_, it)| it.id == id)?;
        let middle = before + piece.corner.x + piece.width / 2.0 - f64::from(scroll.client_width()) / 2.0;
        scroll.set_scroll_left(middle.round() as i32);
        Some(())
    });
    let larger = move |factor: f64| zoom.update(|it| *it = (*it * factor).clamp(0.4, 6.0));
    // Two fingers zoom; what is between them stays there.
    let apart = StoredValue::new(None::<f64>);
    let pinch = move |event: TouchEvent| {
        let Some((distance, middle)) = two_fingers(&event) else { return apart.set_value(None) };
        event.prevent_default();
        let before = apart.try_update_value(|it| it.replace(distance)).flatten();
        let (Some(before), Some(scroll)) = (before, scroll.get_untracked()) else { return };
        let at = middle - scroll.get_bounding_client_rect().left();
        let was = zoom.get_untracked();
        larger(distance / before.max(1.0));
        let grown = zoom.get_untracked() / was;
        let left = f64::from(scroll.scroll_left());
        scroll.set_scroll_left(((left + at) * grown - at).round() as i32);
    };
    view! {
        <section class="roll" aria-label="The roll, to scale">
            <div
                class="roll-scroll" tabindex="0" node_ref=scroll
                on:touchstart=pinch on:touchmove=pinch on:touchend=pinch on:touchcancel=pinch
            >{drawing}</div>
            <div class="roll-tools no-print">
                <span class="quiet">"Outer end at the left, pile to the right."</span>
                <button type="button" class="button button-icon" aria-label="Draw the roll smaller" on:click=move |_| larger(1.0 / 1.4)>"−"</button>
                <button type="button" class="button button-icon" aria-label="Draw the roll larger" on:click=move |_| larger(1.4)>"+"</button>
            </div>
        </section>
    }
}

/// How far apart two fingers are, and where their middle is across the screen. `None` for any other number of fingers.
fn two_fingers(event: &TouchEvent) -> Option<(f64, f64)> {
    let touches = event.touches();
    let (one, other) = (touches.get(0)?, touches.get(1)?);
    let across = |it: &Touch| (f64::from(it.client_x()), f64::from(it.client_y()));
    let ((ax, ay), (bx, by)) = (across(&one), across(&other));
    (touches.length() == 2).then(|| ((ax - bx).hypot(ay - by), f64::midpoint(ax, bx)))
}

fn drawn(scene: RollScene, picked: RwSignal<Option<String>>) -> impl IntoView {
    let RollScene { width, height, end: (end, name), ticks, pieces, .. } = scene;
    let (anchor, text) = if end - MARGIN < width - 2.0 * MARGIN { ("start", MARGIN) } else { ("end", end - 6.0) };
    let bottom = height - MARGIN;
    let ticks = ticks.into_iter().map(|(x, text)| {
        view! {
            <path class="dim" d=format!("M{x:.1} {}V{RULER}", RULER - 7.0) />
            <text class="start" x=x y=RULER - 17.0>{text}</text>
        }
    });
    let label = name.clone();
    view! {
        <svg class="plan roll-svg" width=width height=height viewBox=format!("0 0 {width} {height}") role="group" aria-label=label>
            <rect class="roll-body" x=MARGIN y=RULER width=end - MARGIN height=bottom - RULER />
            {ticks.collect_view()}
            {pieces.into_iter().map(|it| piece(it, picked)).collect_view()}
            <path class="order-end" d=format!("M{end:.1} {}V{:.1}", RULER - 12.0, bottom + 6.0) />
            <text class=format!("{anchor} order-text") x=text y=RULER - 17.0>{name}</text>
        </svg>
    }
}

fn piece(mark: PieceMark, picked: RwSignal<Option<String>>) -> impl IntoView {
    let PieceMark { id, corner, width, height, number, size, writing, chevrons, cut, label } = mark;
    let middle = Spot::new(corner.x + width / 2.0, corner.y + height / 2.0);
    let turn = if writing == Writing::Upright {
        format!("rotate(-90 {:.1} {:.1})", middle.x, middle.y)
    } else {
        String::new()
    };
    let up = if size.is_some() { 13.0 } else { 0.0 };
    let writing = (writing != Writing::Nothing).then(|| view! {
        <g transform=turn>
            <circle class="breadth-ring" cx=middle.x cy=middle.y - up r=14 />
            <text class="breadth-number" x=middle.x y=middle.y - up>{if cut { "✓".to_owned() } else { number }}</text>
            {size.map(|size| view! { <text class="halo" x=middle.x y=middle.y + 16.0>{size}</text> })}
        </g>
    });
    let is_picked = {
        let id = id.clone();
        move || picked.with(|it| it.as_ref() == Some(&id))
    };
    view! {
        <g class="roll-touch" role="button" tabindex="0" aria-label=label on:click=move |_| picked.set(Some(id.clone()))>
            <rect class="roll-piece" class:done=cut class:picked=is_picked x=corner.x y=corner.y width=width height=height />
            <path class="pile" d=chevrons />
            {writing}
        </g>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piece_carries_what_fits_on_it() {
        assert_eq!(writing(200.0, 90.0, 120.0), Writing::Level);
        assert_eq!(writing(60.0, 170.0, 120.0), Writing::Upright);
        assert_eq!(writing(60.0, 90.0, 120.0), Writing::Number);
        assert_eq!(writing(200.0, 20.0, 120.0), Writing::Nothing);
    }
}
