use std::collections::{BTreeMap, BTreeSet};

use jsonschema::Validator;
use napline_tests::{demo, rooms};
use proptest::prelude::*;
use serde_json::{Value, json};
use shared_model::ids::{ChoiceId, DeviceId};
use shared_model::job::{ChosenPlan, CutPiece, CutPlace, Decision, Job, Match, PileDirection, Pin, Remnant, Source};
use shared_model::length::Length;
use shared_model::nest::file::Cutting;
use shared_model::nest::{self, Budget};
use shared_model::{survey, takeoff};
use uuid::Uuid;

use super::interleavings::{Crew, Step, step};

/// A file's schema as an independent validator understands it. It checks no `format`: nothing may rest on one.
fn validator(schema: &Value) -> Validator {
    jsonschema::draft202012::meta::validate(schema).unwrap_or_else(|error| panic!("no schema: {error}"));
    jsonschema::draft202012::new(schema).unwrap()
}

#[track_caller]
fn fits(validator: &Validator, file: &Value) {
    let wrong: Vec<String> = validator.iter_errors(file).map(|it| format!("{}: {it}", it.instance_path())).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn read_job(file: &Value) -> Result<(), String> {
    takeoff::file::run(&file.to_string()).map(drop).map_err(|it| it.to_string())
}

fn read_room(file: &Value) -> Result<(), String> {
    survey::file::run(&file.to_string()).map(drop).map_err(|it| it.to_string())
}

fn read_pieces(file: &Value) -> Result<(), String> {
    let read = nest::file::run(&file.to_string(), Cutting::Freehand, Budget::QUICK, |_| true);
    read.map(drop).map_err(|it| it.to_string())
}

type Reader = fn(&Value) -> Result<(), String>;

#[test]
fn the_examples_of_each_schema_fit_it_and_are_read() {
    for (schema, read) in [(survey::file::schema(), read_room as Reader), (nest::file::schema(), read_pieces)] {
        let examples = schema["examples"].as_array().unwrap();
        assert!(!examples.is_empty());
        for example in examples {
            fits(&validator(&schema), example);
            read(example).unwrap();
        }
    }
}

#[test]
fn the_demo_house_fits() {
    fits(&validator(&takeoff::file::schema()), &serde_json::to_value(demo::house()).unwrap());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Whatever a crew does, its job as written fits the schema.
    #[test]
    fn any_job_fits(steps in prop::collection::vec(step(), 1..150)) {
        let mut crew = Crew::new();
        steps.iter().for_each(|it: &Step| crew.take(it));
        let validator = validator(&takeoff::file::schema());
        for job in crew.docs.iter().map(|it| it.job()) {
            fits(&validator, &serde_json::to_value(job).unwrap());
        }
    }
}

/// A file that an earlier version wrote lacks what jobs had not then.
#[test]
fn a_job_of_an_earlier_version_is_read() {
    let mut job = serde_json::to_value(demo::house()).unwrap();
    let fields = job.as_object_mut().unwrap();
    fields.retain(|key, _| !["archived", "prints", "photos"].contains(&key.as_str()));
    fits(&validator(&takeoff::file::schema()), &job);
    read_job(&job).unwrap();
}

/// A job with one of everything.
fn everything() -> Job {
    let house = demo::house();
    let mut job = rooms::job(house.rooms.into_iter().filter(|it| !it.fixtures.is_empty()).collect(), house.goods);
    job.people = house.people;
    job.flights = house.flights;
    job.goods[0].pattern = Match::Drop { numerator: 1, denominator: 2 };
    let (goods, room) = (job.goods[0].id, job.rooms[0].id);
    let wall = job.rooms[0].walls[0].id;
    let place = CutPlace {
        source: Source::Roll(0),
        y: Length::ZERO,
        x: Length::ZERO,
        width: Length::feet(12),
        length: Length::feet(9),
    };
    let cuts = BTreeMap::from([("A1".to_owned(), place)]);
    let ways = BTreeMap::from([(room.0, "no way".to_owned())]);
    let on_hand = CutPlace { source: Source::Remnant(ChoiceId(Uuid::nil())), ..place };
    for decision in [
        Decision::Plan(ChosenPlan { goods, order: Length::feet(9), ways, cuts }),
        Decision::Cut(CutPiece { goods, piece: "A1".to_owned(), place: on_hand }),
        Decision::Pin { room, pin: Pin::Pile(PileDirection::East) },
        Decision::Pin { room, pin: Pin::Seam { wall, distance: Length::feet(2) } },
        Decision::Pin { room, pin: Pin::Along { wall } },
        Decision::Pin { room, pin: Pin::NoSeam },
        Decision::LeaveOut { piece: "B2".to_owned() },
        Decision::OnHand(Remnant {
            goods,
            lot: "7 B".to_owned(),
            width: Length::feet(6),
            length: Length::feet(9),
            worth: Length::ZERO,
        }),
    ] {
        rooms::decide(&mut job, decision);
    }
    job.people.insert(DeviceId(Uuid::nil()), "Ines".to_owned());
    job
}

#[test]
fn what_the_reader_of_jobs_refuses_the_schema_refuses() {
    let job = serde_json::to_value(everything()).unwrap();
    let (refused, accepted) = spoil(&job, &takeoff::file::schema(), |file| {
        // What is well formed is as good as read; computing each would take minutes.
        serde_json::from_value::<Job>(file.clone()).map(drop).map_err(|it| it.to_string())
    });
    assert!(refused > 1_000 && accepted > 100, "{refused} refused, {accepted} accepted");
    for (file, says) in [
        (json!({}), "missing field `id`"),
        (json!([1, 2]), "invalid"),
        (without(&job, "/rooms/0/walls"), "missing field `walls`"),
        (with(&job, "/units", json!("Furlongs")), "unknown variant `Furlongs`"),
        (with(&job, "/rooms/0/walls/0/readings/0/value", json!("12 ft")), "rooms[0].walls[0].readings[0].value"),
        (with(&job, "/goods/0/pattern", json!({ "Drop": { "numerator": 1 } })), "missing field `denominator`"),
    ] {
        assert!(!validator(&takeoff::file::schema()).is_valid(&file), "{says}");
        let error = read_job(&file).unwrap_err();
        assert!(error.contains(says), "{error}");
    }
}

#[test]
fn what_the_reader_of_rooms_refuses_the_schema_refuses() {
    let schema = survey::file::schema();
    let (refused, accepted) = spoil(&schema["examples"][0], &schema, |file| {
        // Whether a check's corners are there, no schema can say.
        read_room(file).or_else(|it| if it.contains("runs between two corners") { Ok(()) } else { Err(it) })
    });
    assert!(refused > 100 && accepted > 10, "{refused} refused, {accepted} accepted");
    let wall = |wall: Value| json!({ "unit": "in", "walls": [wall] });
    for file in [
        wall(json!({ "length": 0, "turn_deg": 90 })),
        wall(json!({ "length": -3, "turn_deg": 90 })),
        wall(json!({ "lengths": [3, -3] })),
        wall(json!({ "length": 3, "turn_deg": 361 })),
        wall(json!({ "length": "3", "turn_deg": 90 })),
        wall(json!({ "long": 3 })),
        json!({ "unit": "yd", "walls": [] }),
        json!({ "unit": "mm", "walls": vec![json!({}); 1_001] }),
    ] {
        assert!(read_room(&file).is_err(), "{file}");
        assert!(!validator(&schema).is_valid(&file), "{file}");
    }
}

#[test]
fn what_the_reader_of_pieces_refuses_the_schema_refuses() {
    let schema = nest::file::schema();
    let narrow = json!({ "strip_width": 40, "pieces": [{ "id": "a", "width": 5, "length": 5.25, "count": 2 }] });
    let (refused, accepted) = spoil(&narrow, &schema, read_pieces);
    assert!(refused > 30 && accepted > 5, "{refused} refused, {accepted} accepted");
    let pieces = |pieces: Value| json!({ "strip_width": 12, "pieces": pieces });
    for file in [
        pieces(json!([{ "id": "a", "width": 0, "length": 1 }])),
        pieces(json!([{ "id": "a", "width": 1, "length": -1 }])),
        pieces(json!([{ "id": "a", "width": 1 }])),
        pieces(json!([{ "id": 7, "width": 1, "length": 1 }])),
        pieces(json!([{ "id": "a", "width": 1, "length": 1, "count": 200_001 }])),
        pieces(json!([{ "id": "a", "width": 1, "length": 1, "turned": true }])),
        json!({ "pieces": [] }),
    ] {
        assert!(read_pieces(&file).is_err(), "{file}");
        assert!(!validator(&schema).is_valid(&file), "{file}");
    }
}

/// Puts wrong values in place of every part of a sound file, leaves every field out once, and holds the schema to the reader.
/// Answers how many of the files the reader refused, and how many it took.
fn spoil(sound: &Value, schema: &Value, read: impl Fn(&Value) -> Result<(), String>) -> (usize, usize) {
    let validator = validator(schema);
    fits(&validator, sound);
    read(sound).unwrap();
    let (mut refused, mut accepted) = (0, 0);
    let mut hold = |file: &Value, place: &str| match read(file) {
        Ok(()) => accepted += 1,
        Err(error) => {
            refused += 1;
            assert!(
                !validator.is_valid(file),
                "at {place} the reader says: {error}; {}",
                file.pointer(place).unwrap_or(&Value::Null)
            );
        }
    };
    let wrong = [
        json!(null),
        json!(true),
        json!(-1),
        json!(7.5),
        json!(1_u64 << 63),
        json!(""),
        json!("x"),
        json!([]),
        json!(["x"]),
        json!({}),
        json!({ "x": "x" }),
    ];
    for place in places(sound) {
        wrong.iter().for_each(|it| hold(&with(sound, &place, it.clone()), &place));
        hold(&without(sound, &place), &place);
    }
    (refused, accepted)
}

/// Where the parts of a file are, as JSON pointers (RFC 6901); of parts that have the same fields only the first.
fn places(file: &Value) -> Vec<String> {
    fn walk(part: &Value, at: &str, shape: &str, seen: &mut BTreeSet<String>, found: &mut Vec<String>) {
        if !seen.insert(format!("{shape} {}", kind(part))) {
            return;
        }
        found.push(at.to_owned());
        match part {
            Value::Array(parts) => {
                (0..)
                    .zip(parts)
                    .for_each(|(n, it): (usize, _)| walk(it, &format!("{at}/{n}"), &format!("{shape}/*"), seen, found));
            }
            Value::Object(fields) => {
                fields
                    .iter()
                    .for_each(|(key, it)| walk(it, &format!("{at}/{key}"), &format!("{shape}/{key}"), seen, found));
            }
            _ => {}
        }
    }
    let mut found = Vec::new();
    walk(file, "", "", &mut BTreeSet::new(), &mut found);
    found
}

/// What a part looks like: its fields' names, or its kind.
fn kind(part: &Value) -> String {
    match part {
        Value::Object(fields) => fields.keys().cloned().collect::<Vec<_>>().join(","),
        Value::Array(parts) => format!("{:?}", parts.iter().map(kind).collect::<BTreeSet<_>>()),
        Value::String(_) => "text".to_owned(),
        Value::Number(_) => "number".to_owned(),
        other => other.to_string(),
    }
}

fn with(file: &Value, place: &str, value: Value) -> Value {
    let mut file = file.clone();
    *file.pointer_mut(place).unwrap() = value;
    file
}

fn without(file: &Value, place: &str) -> Value {
    let mut file = file.clone();
    let Some((of, field)) = place.rsplit_once('/') else { return Value::Null };
    match file.pointer_mut(of).unwrap() {
        Value::Array(parts) => drop(parts.remove(field.parse().unwrap())),
        Value::Object(fields) => drop(fields.remove(field)),
        _ => unreachable!(),
    }
    file
}
