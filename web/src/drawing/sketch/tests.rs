//! What the sketch shows of rooms half and wholly measured.

use super::*;
use shared_model::ids::RoomId;
use shared_model::job::Order;
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
    let (picked, next, marking) = (None, None, false);
    Subject { room, sketch, units: Units::Imperial, picked, next, problems, people, probe, check, marking }
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
    assert!((to.x - from.x - NEXT_LENGTH).abs() < 1e-6 && (to.y - from.y).abs() < 1e-6, "east, to the right of north");
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
