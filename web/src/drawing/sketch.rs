//! The room while it is measured: always fitted, answering every key.

use leptos::prelude::*;
use leptos::svg;
use shared_model::ids::WallId;
use shared_model::job::{Across, Angle, Opening, Room, Turn};
use shared_model::length::Units;
use shared_model::outline::{Certainty, Sketch, SketchWall};
use shared_model::problem::{Place, Problem, ProblemKind};

use super::canvas::watch_size;
use super::checks::{self, CheckLine, Line};
use super::dims::{self, Dim, Measured};
use super::marks::problem_mark;
use super::plan::{dimension, opening, wall};
use super::scene::{OpeningMark, WallMark};
use super::space::{Patch, Spot, extent, points};
use super::touches::{WallTouch, corner_touches, wall_touches};
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
}

#[derive(Default)]
struct Scene {
    floor: Option<Vec<Spot>>,
    walls: Vec<WallLine>,
    openings: Vec<OpeningMark>,
    dims: Vec<Dim>,
    checks: Vec<CheckLine>,
    /// From the end of the last wall towards the next.
    next: Option<(Spot, Spot)>,
    /// From the end of the last wall back to the start, when that is not one point.
    gap: Option<(Spot, Spot)>,
    corners: Vec<Spot>,
    /// The walls' numbers, when there is a problem that may name one.
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
    let all: Vec<Spot> = walls.iter().flat_map(|it| [it.from, it.to]).map(|it| Spot::of(it, 1.0)).collect();
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
        scene.walls.push(wall_line(subject, number + 1, *line, sketched));
        let along = line.0.toward(line.1);
        let here = subject.room.openings.iter().filter(|it| it.wall == sketched.wall);
        scene.openings.extend(here.map(|it| opening_mark(it, line.0, along, scale)));
    }
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
    if !subject.problems.is_empty() {
        for (&(a, b), number) in lines.iter().zip(1..) {
            let outward = a.toward(b).right();
            let spots = [0.5, 0.25, 0.75].map(|part| a.between(b, part).shifted(outward, -13.0));
            let free = spots.into_iter().map(|it| Patch::level(it, 18.0, 16.0)).find(|it| it.is_free(&taken));
            if let Some(patch) = free {
                taken.push(patch);
                scene.numbers.push((patch.middle, number));
            }
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

fn wall_line(subject: &Subject, number: usize, (from, to): (Spot, Spot), sketched: &SketchWall) -> WallLine {
    let said = match sketched.certainty {
        Certainty::Unmeasured => "not read yet".to_owned(),
        Certainty::Disputed => format!("readings disagree: {}", lengths(subject, sketched)),
        Certainty::Agreed => format!("{}, read twice", lengths(subject, sketched)),
        Certainty::Once => lengths(subject, sketched),
    };
    WallLine {
        wall: sketched.wall,
        number,
        mark: WallMark { from, to, certainty: sketched.certainty, derived: false },
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

fn opening_mark(opening: &Opening, start: Spot, along: Spot, scale: f64) -> OpeningMark {
    let from = start.shifted(along, opening.offset.as_mm() * scale);
    let to = from.shifted(along, opening.width.as_mm() * scale);
    OpeningMark { from, to, inward: along.right(), kind: opening.kind, floor: opening.floor }
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
                let scene = subject.with(|it| it.as_ref().filter(|_| size.0 > 0.0).map(|it| (scene(it, size), it.probe)));
                scene.map(|(scene, probe)| drawn(scene, on_wall, probe, on_corner))
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
    let Scene { floor, walls, openings, dims, checks, next, gap, corners, numbers, problems, people } = scene;
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
mod tests {
    use super::*;
    use shared_model::ids::RoomId;
    use shared_model::job::Order;
    use shared_model::length::Length;
    use shared_model::polygon::Point;
    use uuid::Uuid;

    fn subject(corners: &[(i64, i64)], closed: bool) -> Subject {
        let point = |(x, y): (i64, i64)| Point { x: Length::feet(x), y: Length::feet(y) };
        let walls = corners.windows(2).zip(1..).map(|(ends, n)| SketchWall {
            wall: WallId(Uuid::from_u128(n)),
            from: point(ends[0]),
            to: point(ends[1]),
            certainty: Certainty::Once,
            length: Length::feet(10),
        });
        let room = Room {
            id: RoomId(Uuid::nil()),
            name: "Den".to_owned(),
            level: 0,
            goods: None,
            closed,
            walls: Vec::new(),
            openings: Vec::new(),
            fixtures: Vec::new(),
            marks: Vec::new(),
            checks: Vec::new(),
            order: Order::between(None, None),
        };
        let sketch = Sketch { walls: walls.collect(), gap: None, closes: false };
        let (problems, people) = (Vec::new(), Vec::new());
        let (probe, check) = (None, None);
        Subject { room, sketch, units: Units::Imperial, picked: None, next: None, problems, people, probe, check }
    }

    #[test]
    fn the_sketch_is_always_fitted() {
        for far in [1, 10, 1_000] {
            let scene = scene(&subject(&[(0, 0), (0, far), (far, far)], false), (390.0, 300.0));
            let (low, high) = extent(&scene.corners).unwrap();
            assert!(low.x >= MARGIN - 1e-6 && low.y >= MARGIN - 1e-6, "{far} ft");
            assert!(high.x <= 390.0 - MARGIN + 1e-6 && high.y <= 300.0 - MARGIN + 1e-6, "{far} ft");
            assert!((low.x + high.x - 390.0).abs() < 1e-6 && (low.y + high.y - 300.0).abs() < 1e-6, "in the middle");
        }
    }

    #[test]
    fn the_next_wall_points_where_it_will_go() {
        let mut north = subject(&[(0, 0), (0, 10)], false);
        north.next = Some(Turn::RIGHT);
        let (from, to) = scene(&north, (390.0, 300.0)).next.unwrap();
        assert!(
            (to.x - from.x - NEXT_LENGTH).abs() < 1e-6 && (to.y - from.y).abs() < 1e-6,
            "east, to the right of north"
        );
        north.next = Some(Turn::LEFT);
        let (from, to) = scene(&north, (390.0, 300.0)).next.unwrap();
        assert!((from.x - to.x - NEXT_LENGTH).abs() < 1e-6);
    }

    #[test]
    fn a_closed_ring_that_misses_its_start_shows_the_gap() {
        assert!(scene(&subject(&[(0, 0), (0, 10), (10, 10), (10, 1), (1, 1)], true), (390.0, 300.0)).gap.is_some());
        assert!(scene(&subject(&[(0, 0), (0, 10), (10, 10), (10, 0), (0, 0)], true), (390.0, 300.0)).gap.is_none());
        assert!(scene(&subject(&[(0, 0), (0, 10), (10, 10)], false), (390.0, 300.0)).gap.is_none(), "still under way");
    }

    #[test]
    fn nothing_is_written_beyond_the_window() {
        for (width, height) in [(312.0, 250.0), (250.0, 120.0)] {
            let hall = [(0, 0), (0, 3), (25, 3), (25, 0), (0, 0)];
            let scene = scene(&subject(&hall, true), (width, height));
            assert!(!scene.dims.is_empty());
            for dim in scene.dims {
                let wide = super::super::space::text_width(&dim.text, dims::SIZE);
                let patch = Patch { middle: dim.middle, width: wide, height: dims::SIZE, degrees: dim.degrees };
                let inside = |it: Spot| (0.0..=width).contains(&it.x) && (0.0..=height).contains(&it.y);
                assert!(patch.corners().into_iter().all(inside), "{} at {:?}", dim.text, dim.middle);
            }
        }
    }
}
