//! What stands in a room and what is marked on its floor, drawn on the plan and on the sketch; and walls that bend.

use leptos::prelude::*;
use shared_model::floor::PlacedRoom;
use shared_model::ids::WallId;
use shared_model::job::{Fixture, FixtureKind, Flight, Job, Mark, MarkKind, Room};
use shared_model::length::Length;
use shared_model::polygon::Point;

use super::space::{Patch, Spot, points};

pub struct FixtureMark {
    /// Its corners, around.
    pub ring: Vec<Spot>,
    pub kind: FixtureKind,
}

impl FixtureMark {
    /// What it takes up.
    pub fn patch(&self) -> Option<Patch> {
        let &[a, b, c, d] = &self.ring[..] else { return None };
        Some(Patch::along(a.between(d, 0.5), b.between(c, 0.5), a.distance(d)))
    }
}

pub struct FloorMark {
    pub at: Spot,
    pub kind: MarkKind,
    pub text: String,
}

pub struct FlightMark {
    /// From the floor's edge, around.
    pub ring: Vec<Spot>,
    /// The nosings.
    pub steps: Vec<(Spot, Spot)>,
    /// `Stairs, up`.
    pub name: String,
}

/// A wall of a drawing, from its start, with the direction into the room.
#[derive(Clone, Copy)]
pub struct Face {
    pub from: Spot,
    pub to: Spot,
    pub inward: Spot,
    /// Pixels per millimetre.
    pub scale: f64,
}

impl Face {
    fn at(&self, along: f64, off: f64) -> Spot {
        self.from.shifted(self.from.toward(self.to), along * self.scale).shifted(self.inward, off * self.scale)
    }

    pub fn fixture(&self, fixture: &Fixture) -> FixtureMark {
        let (start, near) = (fixture.offset.as_mm(), fixture.clear.as_mm());
        let (end, far) = (start + fixture.width.as_mm(), near + fixture.depth.as_mm());
        let ring = [(start, near), (end, near), (end, far), (start, far)].map(|(along, off)| self.at(along, off));
        FixtureMark { ring: ring.to_vec(), kind: fixture.kind }
    }

    fn mark(&self, mark: &Mark) -> FloorMark {
        let at = self.at(mark.offset.as_mm(), mark.clear.as_mm());
        FloorMark { at, kind: mark.kind, text: mark_words(mark) }
    }
}

/// The marks of a room that have a place on its floor.
pub fn marks(room: &Room, face: impl Fn(WallId) -> Option<Face>) -> Vec<FloorMark> {
    room.marks_in_force().filter_map(|it| Some(face(it.wall?)?.mark(it))).collect()
}

pub fn fixtures(job: &Job, placed: &PlacedRoom, scale: f64) -> Vec<FixtureMark> {
    let fixtures = job.room(placed.room).into_iter().flat_map(|it| &it.fixtures);
    let marks = fixtures.filter_map(|it| {
        let ring = placed.outline.fixture(it)?;
        Some(FixtureMark {
            ring: ring.0.iter().map(|&it| Spot::of(placed.on_plan(it), scale)).collect(),
            kind: it.kind,
        })
    });
    marks.collect()
}

pub fn marks_on_plan(job: &Job, placed: &PlacedRoom, scale: f64) -> Vec<FloorMark> {
    let Some(room) = job.room(placed.room) else { return Vec::new() };
    marks(room, |wall| {
        let (from, to) = placed.outline.wall(wall)?;
        let (from, to) = (Spot::of(placed.on_plan(from), scale), Spot::of(placed.on_plan(to), scale));
        let right = from.toward(to).right();
        let inward = if placed.outline.reversed { Spot::new(-right.x, -right.y) } else { right };
        Some(Face { from, to, inward, scale })
    })
}

/// How far a flight runs on the plan.
fn run(flight: &Flight) -> Length {
    flight.going * i64::from(flight.steps) + flight.landing
}

/// Where a flight that starts in this room ends on the plan.
pub fn flight_end(flight: &Flight, placed: &PlacedRoom) -> Option<(Point, Point)> {
    let (from, to) = placed.foot(flight)?;
    let along = to - from;
    let out = Point::new(-along.y, along.x).scaled(run(flight), from.distance(to));
    Some((from + out, to + out))
}

pub fn flight_mark(flight: &Flight, placed: &PlacedRoom, scale: f64) -> Option<FlightMark> {
    let spot = |it| Spot::of(it, scale);
    let ((from, to), (end_from, end_to)) = (placed.foot(flight)?, flight_end(flight, placed)?);
    let (from, to, end_from, end_to) = (spot(from), spot(to), spot(end_from), spot(end_to));
    let whole = run(flight).as_mm().max(1.0);
    let steps = (0..=flight.steps).map(|it| {
        let part = flight.going.as_mm() * f64::from(it) / whole;
        (from.between(end_from, part), to.between(end_to, part))
    });
    let way = flight.foot.map_or("", |it| if it.up { "up" } else { "down" });
    Some(FlightMark {
        ring: vec![from, to, end_to, end_from],
        steps: steps.collect(),
        name: format!("{}, {way}", flight.name),
    })
}

/// `Squeak`, `Note: loose board`.
pub fn mark_words(mark: &Mark) -> String {
    match (mark.kind, mark.text.trim()) {
        (MarkKind::Squeak, "") => "Squeak".to_owned(),
        (MarkKind::Squeak, text) => format!("Squeak: {text}"),
        (MarkKind::Note, text) => format!("Note: {text}"),
    }
}

pub fn fixture(mark: &FixtureMark) -> impl IntoView + use<> {
    let cross = matches!(mark.kind, FixtureKind::StairWell | FixtureKind::Register);
    let lines = match (cross, &mark.ring[..]) {
        (true, &[a, b, c, d]) => vec![(a, c), (b, d)],
        _ => Vec::new(),
    };
    view! {
        <g role="img" aria-label=mark.kind.title()>
            <title>{mark.kind.title()}</title>
            <polygon class="fixture" class:fixture-open=cross points=points(&mark.ring) />
            {lines.into_iter().map(|(a, b)| view! { <line class="fixture" x1=a.x y1=a.y x2=b.x y2=b.y /> }).collect_view()}
        </g>
    }
}

pub fn floor_mark(mark: &FloorMark) -> impl IntoView + use<> {
    let Spot { x, y } = mark.at;
    let (label, text) = (mark.text.clone(), mark.text.clone());
    let shape = match mark.kind {
        MarkKind::Squeak => view! { <circle class="floor-mark" cx=x cy=y r=7 /> }.into_any(),
        MarkKind::Note => view! { <rect class="floor-mark" x=x - 6.0 y=y - 6.0 width=12 height=12 /> }.into_any(),
    };
    view! {
        <g role="img" aria-label=label>
            <title>{text}</title>
            {shape}
            <circle class="floor-mark-dot" cx=x cy=y r=1.8 />
        </g>
    }
}

pub fn flight(mark: &FlightMark) -> impl IntoView + use<> {
    let (label, name) = (mark.name.clone(), mark.name.clone());
    view! {
        <g role="img" aria-label=label>
            <title>{name}</title>
            <polygon class="flight" points=points(&mark.ring) />
            {mark.steps.iter().map(|(a, b)| view! { <line class="flight" x1=a.x y1=a.y x2=b.x y2=b.y /> }).collect_view()}
        </g>
    }
}

/// An SVG path along a wall that bends to the left of its way by `bend` pixels, to the right for a negative one.
pub fn arc(from: Spot, to: Spot, bend: f64) -> String {
    let (half, rise) = (from.distance(to) / 2.0, bend.abs());
    let radius = (half * half + rise * rise) / (2.0 * rise.max(0.01));
    let sweep = u8::from(bend > 0.0);
    format!("M{:.1} {:.1}A{radius:.1} {radius:.1} 0 0 {sweep} {:.1} {:.1}", from.x, from.y, to.x, to.y)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wall up the screen with the room to its right: out is to the left, where the arc's middle lies.
    #[test]
    fn an_arc_bends_out_of_the_room() {
        let (from, to) = (Spot::new(0.0, 100.0), Spot::new(0.0, 0.0));
        assert_eq!(arc(from, to, 50.0), "M0.0 100.0A50.0 50.0 0 0 1 0.0 0.0");
        assert_eq!(arc(from, to, -50.0), "M0.0 100.0A50.0 50.0 0 0 0 0.0 0.0");
    }

    #[test]
    fn a_fixture_stands_off_its_wall() {
        use shared_model::ids::FixtureId;
        use uuid::Uuid;
        let face =
            Face { from: Spot::new(0.0, 100.0), to: Spot::new(0.0, 0.0), inward: Spot::new(1.0, 0.0), scale: 0.1 };
        let column = Fixture {
            id: FixtureId(Uuid::nil()),
            kind: FixtureKind::Column,
            wall: WallId(Uuid::nil()),
            offset: Length::mm(300),
            clear: Length::mm(100),
            width: Length::mm(200),
            depth: Length::mm(150),
        };
        let ring = face.fixture(&column).ring;
        assert_eq!((ring[0], ring[2]), (Spot::new(10.0, 70.0), Spot::new(25.0, 50.0)));
    }
}
