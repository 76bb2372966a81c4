use std::io::Write;
use std::process::{Command, Output, Stdio};

use napline_tests::peer::new_job;
use napline_tests::server::binary;
use shared_model::job::{JobDoc, Timestamp};

pub fn napline(arguments: &[&str], input: &str) -> Output {
    let mut process = Command::new(binary())
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A command that refuses its arguments does not read.
    let _ = process.stdin.take().unwrap().write_all(input.as_bytes());
    process.wait_with_output().unwrap()
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

const PIECES: &str = r#"{"strip_width": 12, "pieces": [{"id": "a", "width": 12, "length": 2.5}, {"id": "b", "width": 6, "length": 4, "count": 2}]}"#;

#[test]
fn nest_places_pieces_as_short_as_can_be() {
    let output = napline(&["nest", "-", "--json"], PIECES);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let plan: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    // Two pieces of 6 side by side on 12, and one of the full width: 4 + 2.5.
    assert_eq!(plan["length"].to_string(), "6.5");
    assert_eq!(plan["optimal"], true);
    assert_eq!(plan["placements"].as_array().unwrap().len(), 3);
    let people = napline(&["nest", "-"], PIECES);
    assert!(text(&people.stdout).starts_with("Length 6.5"), "{}", text(&people.stdout));
}

/// A 3-4-5 room in metres, and the same with one wall read a metre too long.
#[test]
fn adjust_names_the_reading_that_does_not_fit() {
    let room = |wall: f64| {
        format!(
            r#"{{"unit": "m", "walls": [{{"length": 3, "turn_deg": 90}}, {{"length": {wall}, "turn_deg": 90}}, {{"length": 3, "turn_deg": 90}},
            {{"length": 4, "turn_deg": 90}}], "checks": [{{"from": 0, "to": 2, "length": 5}}, {{"from": 1, "to": 3, "length": 5}}]}}"#
        )
    };
    let output = napline(&["adjust", "-", "--json"], &room(4.0));
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(answer["corners"][2], serde_json::json!([4.0, 3.0]));
    assert_eq!((&answer["trusted"], &answer["dof"]), (&true.into(), &5.into()));
    assert_eq!(answer["suspects"].as_array().unwrap().len(), 0);

    let output = napline(&["adjust", "-", "--json"], &room(5.0));
    assert_eq!(output.status.code(), Some(1), "1 when the room has problems");
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(
        (answer["suspects"][0]["of"].as_str(), answer["suspects"][0]["proposed"].as_f64()),
        (Some("wall 1"), Some(4.0))
    );
    let people = napline(&["adjust", "-"], &room(5.0));
    assert!(text(&people.stdout).contains("! wall 1 reads 5.000; 4.000 would fit"), "{}", text(&people.stdout));

    let output = napline(&["adjust", "-"], r#"{"unit": "m", "walls": [{"length": -3, "turn_deg": 90}]}"#);
    assert_eq!(output.status.code(), Some(3));
    assert!(text(&output.stderr).contains("walls[0]"), "{}", text(&output.stderr));
}

#[test]
fn takeoff_reads_the_job_file_that_the_model_writes() {
    let device = shared_model::ids::DeviceId(uuid::Uuid::from_u128(1));
    let mut doc = JobDoc::new(new_job(), [1; 16], device);
    for action in shared_model::demo::actions() {
        doc.edit(&action.edits, action.said, Timestamp(0)).unwrap();
    }
    let job = doc.job();
    let output = napline(&["takeoff", "-", "--json"], &serde_json::to_string(&job).unwrap());
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let expected = shared_model::takeoff::takeoff(&job);
    assert_eq!(answer["rooms"].as_array().unwrap().len(), expected.floor.rooms.len());
    assert_eq!(answer["goods"].as_array().unwrap().len(), expected.goods.len());
    assert_eq!(answer["problems"].as_array().unwrap().len(), expected.problems.len());
    let code = i32::from(!expected.problems.is_empty());
    assert_eq!(output.status.code(), Some(code), "1 when the job has problems");
    let people = napline(&["takeoff", "-"], &serde_json::to_string(&job).unwrap());
    assert!(text(&people.stdout).starts_with(&job.name), "{}", text(&people.stdout));
}

#[test]
fn a_cuttable_plan_comes_with_its_cuts() {
    let answer = |arguments: &[&str]| -> serde_json::Value {
        serde_json::from_slice(&napline(arguments, PIECES).stdout).unwrap()
    };
    let freehand = answer(&["nest", "-", "--json"]);
    assert!(freehand.get("cuts").is_none());
    let cuttable = answer(&["nest", "-", "--json", "--cuttable"]);
    let cuts = cuttable["cuts"].as_array().unwrap();
    assert_eq!((&cuts[0]["way"], &cuts[0]["from"]), (&"across".into(), &0.into()), "the roll is cut across first");
}

#[test]
fn schema_describes_what_each_command_reads() {
    for (arguments, field) in [
        (&["schema"][..], "rooms"),
        (&["schema", "takeoff"], "rooms"),
        (&["schema", "adjust"], "walls"),
        (&["schema", "nest"], "pieces"),
    ] {
        let output = napline(arguments, "");
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        let schema: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        assert!(schema["properties"][field].is_object(), "{arguments:?}");
    }
}

#[test]
fn wrong_use_is_told_apart_from_unreadable_files() {
    let cases: [(&[&str], &str, i32, &str); 7] = [
        (&[], "", 2, "Usage"),
        (&["measure"], "", 2, "unrecognized"),
        (&["nest"], "", 2, "PIECES"),
        (&["nest", "-", "--seconds", "soon"], PIECES, 2, "seconds"),
        (&["nest", "/nonexistent/pieces.json"], "", 3, "/nonexistent/pieces.json"),
        (&["nest", "-"], "{\"strip_width\": ", 3, "line 1"),
        (&["takeoff", "-"], "not json", 3, "line 1"),
    ];
    for (arguments, input, code, says) in cases {
        let output = napline(arguments, input);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", text(&output.stderr));
        assert!(text(&output.stderr).contains(says), "{arguments:?}: {}", text(&output.stderr));
        assert_eq!(text(&output.stdout), "", "{arguments:?}");
    }
}

#[test]
fn help_is_for_people() {
    let output = napline(&["--help"], "");
    assert_eq!(output.status.code(), Some(0));
    let help = text(&output.stdout);
    for word in ["serve", "takeoff", "nest", "Exit codes"] {
        assert!(help.contains(word), "{help}");
    }
}

#[test]
fn an_address_in_use_is_said_so() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let (address, data) = (taken.local_addr().unwrap().to_string(), folder.path().to_str().unwrap().to_owned());
    let output = napline(&["serve", "--listen", &address, "--data", &data], "");
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("--listen"), "{}", text(&output.stderr));
}
