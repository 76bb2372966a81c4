//! The room while it is measured: always fitted, answering every key.

use leptos::prelude::*;
use leptos::svg;
use shared_model::ids::WallId;
use shared_model::job::{Across, Angle, Opening, Room, Turn};
use shared_model::length::{Length, Units};
use shared_model::outline::{Certainty, Sketch, SketchWall, wall_bend};
use shared_model::problem::{Place, Problem, ProblemKind};

use super::canvas::watch_size;
use super::checks::{self, CheckLine, Line};
use super::dims::{self, Dim, Measured};
use super::inside::{self, Face, FixtureMark, FloorMark};
use super::marks::problem_mark;
use super::plan::{dimension, opening, wall};
use super::scene::{OpeningMark, WallMark};
use super::space::{Patch, Spot, extent, points};
use super::touches::{WallTouch, corner_touches, floor_touch, wall_touches};
use crate::checking::End;
use crate::shown;

/// What the sketch shows.
#[derive(Clone, PartialEq)]
pub struct Subject {
    /// With what is being typed.
    pub room: Room,
    pub sketch: Sketch,
    pub units: Units,
    pub picked: Option<WallId>,
    /// The turn into the wall to come; `None` when none is to come.
    pub next: Option<Turn>,
    pub problems: Vec<Problem>,
    /// Who is at which wall: name, and number of the person's colour.
    pub people: Vec<(WallId, String, usize)>,
    /// A check is being aimed, from here.
    pub probe: Option<Option<End>>,
    /// The check that is being entered.
    pub check: Option<Across>,
    /// A place on the floor is being looked for.
    pub marking: bool,
}

/// A place on the floor: along a wall from its start, and off it.
pub type FloorSpot = (WallId, Length, Length);

#[derive(Default)]
struct Scene {
    floor: Option<Vec<Spot>>,
    walls: Vec<WallLine>,
    openings: Vec<OpeningMark>,
    fixtures: Vec<FixtureMark>,
    marks: Vec<FloorMark>,
    faces: Vec<(WallId, Face)>,
    dims: Vec<Dim>,
    checks: Vec<CheckLine>,
    /// From the end of the last wall towards the next.
    next: Option<(Spot, Spot)>,
    /// From the end of the last wall back to the start, when that is not one point.
    gap: Option<(Spot, Spot)>,
    corners: Vec<Spot>,
    /// The walls' numbers, where there is room for them.
    numbers: Vec<(Spot, usize)>,
    problems: Vec<(Spot, bool, String)>,
    people: Vec<(Spot, String, usize)>,
}

struct WallLine {
    wall: WallId,
    number: usize,
    mark: WallMark,
    picked: bool,
    label: String,
}

/// Free around the sketch, for dimensions and for fingers; less in a small window.
const MARGIN: f64 = 46.0;
/// No room is drawn larger than this many pixels per millimetre: a foot is then 60 px long.
const MOST_SCALE: f64 = 0.2;
const NEXT_LENGTH: f64 = 34.0;

/// Places everything in a window of this size.
fn scene(subject: &Subject, (width, height): (f64, f64)) -> Scene {
    let walls = &subject.sketch.walls;
    let left = subject.room.is_walked_to_the_left();
    let out = if left { -1.0 } else { 1.0 };
    let mut all: Vec<Spot> = walls.iter().flat_map(|it| [it.from, it.to]).map(|it| Spot::of(it, 1.0)).collect();
    all.extend(walls.iter().map(|it| {
        let (from, to) = (Spot::of(it.from, 1.0), Spot::of(it.to, 1.0));
        from.between(to, 0.5).shifted(from.toward(to).right(), -out * bend(&subject.room, it.wall).as_mm())
    }));
    let (low, high) = extent(&all).unwrap_or((Spot::new(0.0, 0.0), Spot::new(0.0, 0.0)));
    let room = |pixels: f64| (pixels - 2.0 * MARGIN.min(pixels * 0.17)).max(40.0);
    let scale = (room(width) / (high.x - low.x).max(1.0)).min(room(height) / (high.y - low.y).max(1.0)).min(MOST_SCALE);
    let middle = low.between(high, 0.5);
    let place = |at| {
        let spot = Spot::of(at, scale);
        Spot::new(spot.x - middle.x * scale + width / 2.0, spot.y - middle.y * scale + height / 2.0)
    };

    let mut scene = Scene::default();
    let lines: Vec<(Spot, Spot)> = walls.iter().map(|it| (place(it.from), place(it.to))).collect();
    scene.floor = subject.room.closed.then(|| lines.iter().map(|it| it.0).collect());
    for (number, (line, sketched)) in lines.iter().zip(walls).enumerate() {
        let bend = bend(&subject.room, sketched.wall).as_mm() * scale * out;
        scene.walls.push(wall_line(subject, number + 1, *line, bend, sketched));
        let along = line.0.toward(line.1);
        let inward = if left { along.right().back() } else { along.right() };
        let here = subject.room.openings.iter().filter(|it| it.wall == sketched.wall);
        scene.openings.extend(here.map(|it| opening_mark(it, line.0, along, inward, scale)));
        scene.faces.push((sketched.wall, Face { from: line.0, to: line.1, inward, scale }));
    }
    let face = |wall: WallId| scene.faces.iter().find(|it| it.0 == wall).map(|it| it.1);
    scene.fixtures = subject.room.fixtures.iter().filter_map(|it| Some(face(it.wall)?.fixture(it))).collect();
    scene.marks = inside::marks(&subject.room, face);
    scene.corners = lines.iter().flat_map(|it| [it.0, it.1]).collect();
    if let (Some((from, to)), Some(turn)) = (lines.last(), subject.next) {
        scene.next = Some((*to, to.shifted(turned(from.toward(*to), turn), NEXT_LENGTH)));
    }
    if let (Some((start, _)), Some((_, end))) = (lines.first(), lines.last()) {
        scene.gap = (lines.len() > 1 && start.distance(*end) > 1.0 && (subject.room.closed || subject.sketch.closes))
            .then_some((*end, *start));
    }
    place_marks(&mut scene, subject, &lines, edges(width, height));
    scene
}

/// What lies just outside a window of this size: nothing is written there.
fn edges(width: f64, height: f64) -> Vec<Patch> {
    const THICK: f64 = 400.0;
    let (across, down) = (width / 2.0, height / 2.0);
    vec![
        Patch::level(Spot::new(across, -THICK / 2.0), width, THICK),
        Patch::level(Spot::new(across, height + THICK / 2.0), width, THICK),
        Patch::level(Spot::new(-THICK / 2.0, down), THICK, height),
        Patch::level(Spot::new(width + THICK / 2.0, down), THICK, height),
    ]
}

/// What is written stands clear of walls, of what is `taken` and of each other: problems, people, dimensions.
fn place_marks(scene: &mut Scene, subject: &Subject, lines: &[(Spot, Spot)], mut taken: Vec<Patch>) {
    let at =
        |wall: WallId| subject.sketch.walls.iter().position(|it| it.wall == wall).and_then(|it| lines.get(it)).copied();
    taken.extend(lines.iter().map(|(a, b)| Patch::along(*a, *b, 4.0)));
    taken.extend(scene.fixtures.iter().filter_map(FixtureMark::patch));
    taken.extend(scene.marks.iter().map(|it| Patch::level(it.at, 16.0, 16.0)));
    for problem in &subject.problems {
        let spot = match problem.place {
            Place::Wall(room, wall) if room == subject.room.id => {
                at(wall).map(|(a, b)| a.between(b, 0.5).shifted(a.toward(b).right(), 14.0))
            }
            Place::Corner(room, wall) if room == subject.room.id => at(wall).map(|it| it.1),
            _ => None,
        };
        if let Some(spot) = spot.filter(|_| problem.kind != ProblemKind::Unmeasured) {
            taken.push(Patch::level(spot, 24.0, 24.0));
            scene.problems.push((spot, problem.kind == ProblemKind::Unchecked, problem.text.clone()));
        }
    }
    for (wall, name, colour) in &subject.people {
        if let Some((a, b)) = at(*wall) {
            let spot = a.between(b, 0.5).shifted(a.toward(b).right(), 28.0);
            taken.push(Patch::level(spot, 60.0, 18.0));
            scene.people.push((spot, name.clone(), *colour));
        }
    }
    for (&(a, b), number) in lines.iter().zip(1..) {
        let outward = a.toward(b).right();
        // Outside against the wall if it can be; a wall without its number cannot be talked about.
        let spots = [-13.0, 13.0, -26.0].map(|off| [0.5, 0.25, 0.75].map(|part| (off, part)));
        let spots = spots.into_iter().flatten().map(|(off, part)| a.between(b, part).shifted(outward, off));
        let free = spots.map(|it| Patch::level(it, 18.0, 16.0)).find(|it| it.is_free(&taken));
        if let Some(patch) = free {
            taken.push(patch);
            scene.numbers.push((patch.middle, number));
        }
    }
    if let Some((a, b)) = scene.next {
        taken.push(Patch::along(a, b, 16.0));
    }
    let measured = lines.iter().zip(&subject.sketch.walls).filter(|(_, it)| it.certainty != Certainty::Unmeasured);
    let measured = measured.map(|((from, to), it)| Measured { from: *from, to: *to, text: lengths(subject, it) });
    scene.dims = dims::place(measured.collect(), &[], &mut taken);
    let walls: Vec<Line> = scene.walls.iter().map(|it| (it.wall, it.mark.from, it.mark.to)).collect();
    let shown = |it| shown::length(it, subject.units);
    scene.checks = checks::place(&subject.room, subject.check, &walls, shown, &mut taken);
}

/// How far the wall's middle stands off the line between its ends, out of the room.
fn bend(room: &Room, wall: WallId) -> Length {
    room.wall(wall).map_or(Length::ZERO, wall_bend)
}

fn wall_line(subject: &Subject, number: usize, (from, to): (Spot, Spot), bend: f64, sketched: &SketchWall) -> WallLine {
    let said = match sketched.certainty {
        Certainty::Unmeasured => "not read yet".to_owned(),
        Certainty::Disputed => format!("readings disagree: {}", lengths(subject, sketched)),
        Certainty::Agreed => format!("{}, read twice", lengths(subject, sketched)),
        Certainty::Once => lengths(subject, sketched),
    };
    WallLine {
        wall: sketched.wall,
        number,
        mark: WallMark { from, to, certainty: sketched.certainty, derived: false, bend },
        picked: subject.picked == Some(sketched.wall),
        label: format!("Wall {number}: {said}"),
    }
}

/// Every reading in force, as shown: two that differ are both shown.
fn lengths(subject: &Subject, sketched: &SketchWall) -> String {
    let readings = subject.room.wall(sketched.wall).map(|it| it.in_force().map(|it| it.value).collect::<Vec<_>>());
    let mut readings = readings.unwrap_or_default();
    readings.dedup();
    if readings.is_empty() {
        readings.push(sketched.length);
    }
    let shown: Vec<String> = readings.into_iter().map(|it| shown::length(it, subject.units)).collect();
    shown.join(" | ")
}

fn opening_mark(opening: &Opening, start: Spot, along: Spot, inward: Spot, scale: f64) -> OpeningMark {
    let from = start.shifted(along, opening.offset.as_mm() * scale);
    let to = from.shifted(along, opening.width.as_mm() * scale);
    OpeningMark { from, to, inward, kind: opening.kind, floor: opening.floor }
}

/// A direction on the screen, turned to the right by `turn`.
fn turned(along: Spot, turn: Turn) -> Spot {
    let (sin, cos) = (turn.0.0 as f64 / Angle::FULL.0 as f64 * std::f64::consts::TAU).sin_cos();
    Spot::new(along.x * cos - along.y * sin, along.x * sin + along.y * cos)
}

/// The sketch; a tap on a wall picks it.
#[component]
pub fn RoomSketch(
    #[prop(into)] subject: Signal<Option<Subject>>,
    on_wall: Callback<WallId>,
    /// Only while a check is being aimed.
    on_corner: Callback<WallId>,
    /// Only while a place on the floor is being looked for.
    on_floor: Callback<FloorSpot>,
) -> impl IntoView {
    let surface = NodeRef::<svg::Svg>::new();
    let size = RwSignal::new((0.0, 0.0));
    watch_size(surface, size);
    let label = move || {
        let words = |it: &Subject| {
            format!("Sketch of {}, {}", it.room.name, shown::count(it.room.walls.len(), "wall", "walls"))
        };
        subject.with(|it| it.as_ref().map(words))
    };
    view! {
        <svg
            class="plan sketch" id="sketch" role="group" node_ref=surface aria-label=label
            viewBox=move || { let (width, height) = size.get(); format!("0 0 {width} {height}") }
        >
            {move || {
                let size = size.get();
                let scene = subject.with(|it| it.as_ref().filter(|_| size.0 > 0.0).map(|it| (scene(it, size), it.probe, it.marking)));
                scene.map(|(scene, probe, marking)| {
                    let floor = marking.then(|| floor_touch(size, scene.faces.clone(), on_floor));
                    view! { {drawn(scene, on_wall, probe, on_corner)}{floor} }
                })
            }}
        </svg>
    }
}

fn drawn(
    scene: Scene,
    on_wall: Callback<WallId>,
    probe: Option<Option<End>>,
    on_corner: Callback<WallId>,
) -> impl IntoView {
    let Scene {
        floor,
        walls,
        openings,
        fixtures,
        marks,
        faces: _,
        dims,
        checks,
        next,
        gap,
        corners,
        numbers,
        problems,
        people,
    } = scene;
    let corner_touches = probe.map(|from| {
        let lines: Vec<Line> = walls.iter().map(|it| (it.wall, it.mark.from, it.mark.to)).collect();
        let picked = from.and_then(|it| if let End::Corner(corner) = it { Some(corner) } else { None });
        corner_touches(&lines, picked, on_corner)
    });
    let touches: Vec<WallTouch> = walls
        .iter()
        .map(|it| WallTouch {
            line: (it.wall, it.mark.from, it.mark.to),
            number: it.number,
            picked: it.picked,
            label: it.label.clone(),
        })
        .collect();
    let picked = walls.iter().filter(|it| it.picked).map(|it| {
        let (a, b) = (it.mark.from, it.mark.to);
        view! { <line class="wall wall-picked" x1=a.x y1=a.y x2=b.x y2=b.y /> }
    });
    let picked = picked.collect_view();
    view! {
        {floor.map(|it| view! { <polygon class="floor" points=points(&it) /> })}
        {gap.map(|(a, b)| view! { <line class="wall wall-unmeasured" id="gap" x1=a.x y1=a.y x2=b.x y2=b.y /> })}
        {picked}
        {walls.iter().map(|it| wall(&it.mark)).collect_view()}
        {corners.into_iter().map(|it| view! { <circle class="corner" cx=it.x cy=it.y r=3 /> }).collect_view()}
        {fixtures.iter().map(inside::fixture).collect_view()}
        {marks.iter().map(inside::floor_mark).collect_view()}
        {openings.iter().map(opening).collect_view()}
        {next.map(|(a, b)| next_arrow(a, b))}
        {checks.iter().map(checks::drawn).collect_view()}
        {dims.iter().map(dimension).collect_view()}
        {numbers.into_iter().map(|(at, number)| view! { <text class="halo wall-number" x=at.x y=at.y>{number}</text> }).collect_view()}
        {problems.into_iter().map(|(at, work, text)| problem_mark(text, work, at)).collect_view()}
        {people.into_iter().map(|(at, name, colour)| view! { <text class=format!("halo who p{colour}") x=at.x y=at.y>{name}</text> }).collect_view()}
        {wall_touches(touches, on_wall)}
        {corner_touches}
    }
}

/// Where the next wall will go.
fn next_arrow(from: Spot, to: Spot) -> impl IntoView {
    let along = from.toward(to);
    let (left, right) =
        (to.shifted(along, -9.0).shifted(along.right(), -6.0), to.shifted(along, -9.0).shifted(along.right(), 6.0));
    let d = format!(
        "M{:.1} {:.1}L{:.1} {:.1}M{:.1} {:.1}L{:.1} {:.1}L{:.1} {:.1}",
        from.x, from.y, to.x, to.y, left.x, left.y, to.x, to.y, right.x, right.y
    );
    view! { <path class="next" id="next-wall" d=d /> }
}

#[cfg(test)]
mod tests;
