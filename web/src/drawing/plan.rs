//! The floor plan of one level.

use leptos::ev::KeyboardEvent;
use leptos::prelude::*;
use shared_model::ids::RoomId;
use shared_model::job::{FloorAtOpening, OpeningKind};
use shared_model::layout::SeamKind;
use shared_model::outline::Certainty;

use super::canvas::{Canvas, Extent};
use super::dims::{Dim, SIZE};
use super::inside;
use super::marks::{number_ring, problem_mark, scale_bar};
use super::scene::{BreadthMark, OpeningMark, RoomMark, Scene, SeamMark, Subject, WallMark, bounds, scene};
use super::seam_touch::{SeamTouch, touch_line};
use super::space::{Spot, points, text_width};
use crate::shown;
use crate::state::OpenJob;

/// Which of the takeoff's layouts lies on the floor.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Laid {
    /// Index into the takeoff's goods.
    pub goods: usize,
    /// Index into that goods' layouts.
    pub layout: usize,
}

/// The closed rooms beside each other: walls, openings, names, areas, and either dimensions or the breadths of a layout.
#[component]
pub fn FloorPlan(
    /// The layout to show; the bare rooms with their dimensions without one.
    #[prop(into, default = Signal::stored(None))]
    laid: Signal<Option<Laid>>,
    /// A tap on a room.
    #[prop(optional)]
    on_room: Option<Callback<RoomId>>,
    /// What touching a seam does.
    #[prop(optional)]
    on_seam: Option<SeamTouch>,
) -> impl IntoView {
    let here = OpenJob::here();
    let levels = Memo::new(move |_| {
        let mut levels: Vec<i64> = here.takeoff.get().floor.rooms.iter().map(|it| it.level).collect();
        levels.sort_unstable();
        levels.dedup();
        levels
    });
    let wanted = RwSignal::new(None);
    let level = Memo::new(move |_| {
        let levels = levels.get();
        let ground = levels.iter().copied().min_by_key(|it| it.abs()).unwrap_or(0);
        wanted.get().filter(|it| levels.contains(it)).unwrap_or(ground)
    });
    let extent = Memo::new(move |_| {
        let (low, high) = bounds(&here.job.get(), &here.takeoff.get(), level.get())?;
        let (width, height) = ((high.x - low.x).as_mm(), (high.y - low.y).as_mm());
        Some(Extent { left: low.x.as_mm(), top: -high.y.as_mm(), width, height })
    });
    let desc = move || {
        let takeoff = here.takeoff.get();
        let units = here.job.get().units;
        let rooms = takeoff.floor.rooms.iter().filter(|it| it.level == level.get());
        let names: Vec<String> =
            rooms.map(|it| format!("{}, {}", it.name, shown::area(it.outline.area, units))).collect();
        names.join("; ")
    };
    let draw = move |scale: f64| {
        let (job, takeoff) = (here.job.get(), here.takeoff.get());
        let layout = laid.get().and_then(|it| takeoff.goods.get(it.goods)?.layouts.get(it.layout));
        let scene = scene(Subject { job: &job, takeoff: &takeoff, level: level.get(), layout }, scale);
        let ghost = move || {
            let (from, to) = on_seam?.ghost.get()?;
            Some(seam_ghost(Spot::of(from, scale), Spot::of(to, scale)))
        };
        (drawn(scene, scale, on_room, on_seam), ghost)
    };
    let over = move |scale: f64, (_, height): (f64, f64)| scale_bar(scale, height, here.job.get().units);
    view! {
        <div class="drawing" class:drawing-plain=move || laid.get().is_none()>
            <Canvas extent title=move || format!("Floor plan, {}", level_name(level.get())) desc=Signal::derive(desc) draw over margin=58.0 />
            <LevelPicker levels level wanted />
        </div>
    }
}

/// Which floor of the house; not there when it has one.
#[component]
fn LevelPicker(levels: Memo<Vec<i64>>, level: Memo<i64>, wanted: RwSignal<Option<i64>>) -> impl IntoView {
    let button = move |it: i64| {
        view! {
            <button type="button" class="segment" aria-pressed=move || (level.get() == it).to_string() on:click=move |_| wanted.set(Some(it))>
                {level_name(it)}
            </button>
        }
    };
    move || {
        let levels = levels.get();
        (levels.len() > 1).then(|| view! { <div class="segments drawing-levels" role="group" aria-label="Level">{levels.into_iter().map(button).collect_view()}</div> })
    }
}

/// What a floor of the house is called; 0 is the ground floor.
pub fn level_name(level: i64) -> String {
    match level {
        0 => "Ground floor".to_owned(),
        1 => "Upstairs".to_owned(),
        -1 => "Basement".to_owned(),
        2.. => format!("Upstairs {level}"),
        _ => format!("Basement {}", -level),
    }
}

fn drawn(scene: Scene, scale: f64, on_room: Option<Callback<RoomId>>, on_seam: Option<SeamTouch>) -> impl IntoView {
    let Scene { rooms, breadths, trims, walls, openings, fixtures, marks, flights, seams, dims, problems } = scene;
    let floors = rooms.iter().map(|it| view! { <polygon class="floor" points=points(&it.ring) /> }).collect_view();
    let numbers: Vec<_> = breadths.iter().filter_map(number).collect();
    view! {
        {floors}
        {breadths.iter().map(breadth).collect_view()}
        {trims.into_iter().map(|(a, b)| view! { <line class="trim" x1=a.x y1=a.y x2=b.x y2=b.y /> }).collect_view()}
        {flights.iter().map(inside::flight).collect_view()}
        {walls.iter().map(wall).collect_view()}
        {fixtures.iter().map(inside::fixture).collect_view()}
        {marks.iter().map(inside::floor_mark).collect_view()}
        {openings.iter().map(opening).collect_view()}
        {seams.iter().map(|it| seam_line(it, on_seam)).collect_view()}
        {rooms.iter().map(room_name).collect_view()}
        {dims.iter().map(dimension).collect_view()}
        {numbers}
        {on_room.map(|tap| rooms.iter().map(|it| room_touch(it, tap)).collect_view())}
        {on_seam.map(|on| seams.iter().map(|it| touch_line(it, scale, on)).collect_view())}
        {problems.into_iter().map(|it| problem_mark(it.text, it.work, it.at)).collect_view()}
    }
}

fn breadth(mark: &BreadthMark) -> impl IntoView + use<> {
    let class = if mark.dense { "breadth" } else { "breadth breadth-even" };
    view! {
        {mark.rings.iter().map(|ring| view! { <polygon class=class points=points(ring) /> }).collect_view()}
        <path class="pile" d=mark.chevrons.clone() />
    }
}

fn number(mark: &BreadthMark) -> Option<impl IntoView + use<>> {
    let at = mark.number_at?;
    let leader = mark.leader.map(|to| view! { <line class="leader" x1=at.x y1=at.y x2=to.x y2=to.y /> });
    Some(view! { {leader}{number_ring(&mark.number, at)} })
}

pub(super) fn wall(mark: &WallMark) -> impl IntoView + use<> {
    let WallMark { from, to, certainty, derived, bend } = *mark;
    let class = match certainty {
        _ if derived => "wall wall-derived",
        Certainty::Unmeasured => "wall wall-unmeasured",
        Certainty::Once => "wall",
        Certainty::Agreed => "wall wall-agreed",
        Certainty::Disputed => "wall wall-disputed",
    };
    let line = |shift: f64| {
        let across = from.toward(to).right();
        let (a, b) = (from.shifted(across, shift), to.shifted(across, shift));
        view! { <line class=class x1=a.x y1=a.y x2=b.x y2=b.y /> }
    };
    if bend.abs() > 0.5 {
        return vec![view! { <path class=format!("{class} wall-arc") d=inside::arc(from, to, bend) /> }.into_any()];
    }
    // Two readings that disagree: a double line with a gap.
    let lines = if certainty == Certainty::Disputed { vec![-2.5, 2.5] } else { vec![0.0] };
    lines.into_iter().map(|it| line(it).into_any()).collect()
}

pub(super) fn opening(mark: &OpeningMark) -> impl IntoView + use<> {
    let OpeningMark { from, to, inward, kind, floor } = *mark;
    let jamb = |at: Spot| {
        let (a, b) = (at.shifted(inward, -5.0), at.shifted(inward, 5.0));
        view! { <line class="door" x1=a.x y1=a.y x2=b.x y2=b.y /> }
    };
    let across = |shift: f64| {
        let (a, b) = (from.shifted(inward, shift), to.shifted(inward, shift));
        view! { <line class="window" x1=a.x y1=a.y x2=b.x y2=b.y /> }
    };
    let lines = match kind {
        OpeningKind::Window => vec![across(-2.5), across(2.5)],
        OpeningKind::PassThrough => vec![across(0.0)],
        OpeningKind::Doorway | OpeningKind::CasedOpening if floor == FloorAtOpening::OtherFloor => {
            vec![across(-3.5), across(-0.5)]
        }
        OpeningKind::Doorway | OpeningKind::CasedOpening => Vec::new(),
    };
    view! {
        <line class="opening" x1=from.x y1=from.y x2=to.x y2=to.y />
        {lines}
        {jamb(from)}
        {jamb(to)}
    }
}

fn seam_line(mark: &SeamMark, on_seam: Option<SeamTouch>) -> impl IntoView + use<> {
    let SeamMark { index, from, to, kind, .. } = *mark;
    let end = |at: Spot| view! { <circle class="seam-end" cx=at.x cy=at.y r=5 /> };
    view! {
        <path
            class="seam" class:seam-opening=kind == SeamKind::Opening
            class:seam-picked=move || on_seam.is_some_and(|it| it.picked.get() == Some(index))
            d=mark.path.clone()
        />
        {(kind == SeamKind::Cross).then(|| (end(from), end(to)))}
    }
}

fn seam_ghost(from: Spot, to: Spot) -> impl IntoView + use<> {
    view! { <line class="seam-ghost" x1=from.x y1=from.y x2=to.x y2=to.y /> }
}

fn room_name(mark: &RoomMark) -> Option<impl IntoView + use<>> {
    let at = mark.name_at?;
    let area = mark.area.clone();
    let up = if area.is_some() { 10.0 } else { 0.0 };
    let turn = if mark.upright { format!("rotate(-90 {:.1} {:.1})", at.x, at.y) } else { String::new() };
    Some(view! {
        <text class="room-name" class:room-name-small=mark.small x=at.x y=at.y - up transform=turn>{mark.name.clone()}</text>
        {area.map(|area| view! { <text class="room-area" x=at.x y=at.y + 10.0>{area}</text> })}
    })
}

pub(super) fn dimension(dim: &Dim) -> impl IntoView + use<> {
    let Dim { middle, degrees, line, .. } = *dim;
    let line = line.map(|(a, b)| {
        let tick = |at: Spot| {
            let across = a.toward(b).right();
            let (a, b) = (at.shifted(across, -4.0), at.shifted(across, 4.0));
            view! { <line class="dim" x1=a.x y1=a.y x2=b.x y2=b.y /> }
        };
        // The line makes way for its text.
        let text = text_width(&dim.text, SIZE) / 2.0 + 4.0;
        let part = |end: Spot| {
            let from = middle.shifted(middle.toward(end), text);
            (middle.distance(end) > text).then(|| view! { <line class="dim" x1=from.x y1=from.y x2=end.x y2=end.y /> })
        };
        view! { {part(a)}{part(b)}{tick(a)}{tick(b)} }
    });
    let turned = format!("rotate({degrees:.1} {:.1} {:.1})", middle.x, middle.y);
    view! {
        {line}
        <text class="dim-text" x=middle.x y=middle.y transform=turned>{dim.text.clone()}</text>
    }
}

fn room_touch(mark: &RoomMark, tap: Callback<RoomId>) -> impl IntoView + use<> {
    let room = mark.room;
    let label = format!("Open {}", mark.name);
    view! {
        <polygon
            class="touch" points=points(&mark.ring) role="button" tabindex="0" aria-label=label
            on:click=move |_| tap.run(room) on:keydown=move |event| if pressed(&event) { tap.run(room) }
        />
    }
}

/// Whether a key presses a button.
pub(super) fn pressed(event: &KeyboardEvent) -> bool {
    let pressed = matches!(event.key().as_str(), "Enter" | " ");
    if pressed {
        event.prevent_default();
    }
    pressed
}
