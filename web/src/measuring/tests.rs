//! What keys and numbers do to a room.

use super::*;
use shared_model::outline::Misclosure;

fn wall(n: u128, feet: Option<i64>) -> Wall {
    let mut wall = Wall {
        id: WallId(Uuid::from_u128(n)),
        readings: Vec::new(),
        turns: Vec::new(),
        rises: Vec::new(),
        order: Order::between(None, None),
    };
    if let Some(feet) = feet {
        say_length(&mut wall, Length::feet(feet));
    }
    wall
}

fn room(closed: bool, walls: Vec<Wall>) -> Room {
    Room {
        id: RoomId(Uuid::from_u128(1)),
        name: "Den".to_owned(),
        level: 0,
        goods: None,
        closed,
        walls,
        openings: Vec::new(),
        fixtures: Vec::new(),
        marks: Vec::new(),
        checks: Vec::new(),
        order: Order::between(None, None),
    }
}

fn twelve() -> Taken {
    Taken { value: Length::feet(12), typed: "12'".to_owned(), tool: Tool::Tape }
}

#[test]
fn every_shape_turns_once_around() {
    for shape in Shape::ALL {
        let around: i64 = shape.turns().iter().map(|it| it.0.0).sum();
        assert_eq!(around, Angle::FULL.0, "{}", shape.name());
    }
}

#[test]
fn a_wall_after_a_left_turn_states_the_turn_first() {
    let den = room(false, vec![wall(7, Some(10))]);
    let edits = add_wall(&den, Turn::LEFT, Some(&twelve()));
    assert!(
        matches!(&edits[0], Edit::StateTurn { wall, turn, .. } if *wall == den.walls[0].id && turn.turn == Turn::LEFT)
    );
    assert!(matches!(&edits[1], Edit::AddWall { .. }));
    assert!(matches!(&edits[2], Edit::AddReading { reading, .. } if reading.typed == "12'"));
    assert_eq!(add_wall(&den, Turn::RIGHT, None).len(), 1, "right is the default, and unread walls have no reading");
}

#[test]
fn a_correction_sets_aside_what_stood_and_a_second_reading_does_not() {
    let wall = wall(7, Some(10));
    let supersedes = |correct| match read_wall(RoomId(Uuid::nil()), &wall, &twelve(), correct) {
        Edit::AddReading { reading, .. } => reading.supersedes,
        _ => unreachable!(),
    };
    assert_eq!(supersedes(true), vec![wall.readings[0].id]);
    assert_eq!(supersedes(false), vec![]);
}

#[test]
fn the_keypad_walks_through_the_unread_walls_of_a_shape() {
    let den = room(true, vec![wall(1, Some(10)), wall(2, None), wall(3, Some(10)), wall(4, None)]);
    assert_eq!(aim_after(&den, Some(den.walls[0].id)), Aim::Wall(den.walls[1].id));
    assert_eq!(aim_after(&den, Some(den.walls[1].id)), Aim::Wall(den.walls[3].id));
    assert_eq!(aim_after(&den, Some(den.walls[3].id)), Aim::Wall(den.walls[1].id));
    assert_eq!(aim_after(&room(false, den.walls), None), Aim::Next);
}

#[test]
fn typing_shows_as_a_wall_before_it_is_taken() {
    let den = room(false, vec![wall(7, Some(10))]);
    let shown = previewed(&den, Aim::Next, Turn::LEFT, Some(Length::feet(3)));
    assert_eq!(shown.walls.len(), 2);
    assert_eq!(shown.walls[0].turn(), Turn::LEFT);
    assert_eq!(previewed(&den, Aim::Next, Turn::LEFT, None), den);
}

#[test]
fn the_gap_is_said_in_the_jobs_units() {
    let gap = |east: Length, north: Length, gap: Length, ratio| Sketch {
        walls: vec![
            shared_model::outline::SketchWall {
                wall: WallId(Uuid::nil()),
                from: Default::default(),
                to: Default::default(),
                certainty: shared_model::outline::Certainty::Once,
                length: Length::FOOT,
            };
            4
        ],
        gap: Some(Misclosure { east, north, gap, ratio }),
        closes: true,
    };
    let eleven_eighths = Length::sixty_fourths(88);
    let words = gap_words(&gap(eleven_eighths, Length::ZERO, eleven_eighths, Some(410)), Units::Imperial);
    assert_eq!(words.as_deref(), Some("Ring is open by 1 3/8\" (1:410)."));
    let words = gap_words(&gap(Length::mm(30), Length::mm(-40), Length::mm(50), Some(300)), Units::Metric);
    assert_eq!(words.as_deref(), Some("Ring is open by 0.050 m (1:300)."));
    assert_eq!(
        gap_words(&gap(Length::ZERO, Length::ZERO, Length::ZERO, None), Units::Metric).as_deref(),
        Some("The ring meets its start.")
    );
}

#[test]
fn turns_are_said_in_words() {
    assert_eq!(turn_words(Turn::LEFT), "turns left");
    assert_eq!(turn_words(Turn(Angle::degrees(45))), "turns right 45°");
    assert_eq!(other_way(Turn::RIGHT), Turn::LEFT);
}

#[test]
fn who_walks_to_the_left_goes_on_to_the_left() {
    let mut den = room(false, vec![wall(1, Some(10)), wall(2, Some(12))]);
    assert_eq!((usual_turn(&den), start_side(&den)), (Turn::RIGHT, "left"));
    den.walls.iter_mut().for_each(|it| say_turn(it, Turn::LEFT));
    assert_eq!((usual_turn(&den), start_side(&den)), (Turn::LEFT, "right"));
    assert_eq!(turned_last(&den, Turn::RIGHT).walls[1].turn(), Turn::RIGHT);
}
