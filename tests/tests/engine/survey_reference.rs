use serde::Deserialize;
use shared_model::length::{Length, Units};
use shared_model::survey::{Adjusted, Network, Settings, adjust};

/// What SciPy makes of the same readings; written by `reference.py` beside it, with its versions and date.
const REFERENCE: &str = include_str!("../../data/survey/reference.json");
const SETTINGS: Settings =
    Settings { allowance: Length::inches(3), thickness: Length::inches(5), units: Units::Imperial };

#[derive(Deserialize)]
struct Reference {
    rooms: Vec<Expected>,
}

#[derive(Deserialize)]
struct Expected {
    name: String,
    network: Network,
    corners_mm: Vec<[f64; 2]>,
    /// v'Pv at the minimum.
    fit: f64,
    degrees: usize,
    /// χ² at 2.5, 97.5 and 99.9 %.
    limits: [f64; 3],
    /// Half axes of 95 %, and the longer one's heading in degrees.
    ellipses_mm: Vec<[f64; 3]>,
    redundancy: Vec<f64>,
    standardised: Vec<f64>,
}

fn rooms() -> Vec<(Expected, Adjusted)> {
    let reference: Reference = serde_json::from_str(REFERENCE).unwrap();
    assert!(reference.rooms.len() >= 12);
    let adjusted = |it: Expected| {
        let ours = adjust(&it.network, &SETTINGS).unwrap_or_else(|error| panic!("{}: {error}", it.name));
        (it, ours)
    };
    reference.rooms.into_iter().map(adjusted).collect()
}

#[test]
fn corners_agree_to_a_hundredth_of_a_millimetre() {
    for (expected, ours) in rooms() {
        assert_eq!(ours.corners.len(), expected.corners_mm.len());
        for (i, (corner, [east, north])) in ours.corners.iter().zip(&expected.corners_mm).enumerate() {
            let off = (corner.x.as_mm() - east).hypot(corner.y.as_mm() - north);
            assert!(off < 0.01, "{}: corner {i} is {off} mm off", expected.name);
        }
    }
}

#[test]
fn the_sum_of_squared_residuals_and_its_limits_agree() {
    for (expected, ours) in rooms() {
        let Expected { name, fit, degrees, limits: [low, high, blunder], .. } = expected;
        assert!((ours.test.fit / fit - 1.0).abs() < 1e-6, "{name}: {} is {fit}", ours.test.fit);
        assert_eq!(ours.test.degrees, degrees, "{name}");
        for (limit, theirs) in [(ours.test.low, low), (ours.test.high, high), (ours.test.blunder, blunder)] {
            assert!((limit / theirs - 1.0).abs() < 1e-6, "{name}: {limit} is {theirs}");
        }
    }
}

/// The axes from the eigenvalues of SciPy's (J'J)⁻¹. Ours are rounded to 1/8 µm, which counts for thin ellipses.
#[test]
fn ellipses_agree_to_one_part_in_ten_thousand() {
    for (expected, ours) in rooms() {
        for (i, (ellipse, [longer, shorter, heading])) in ours.ellipses.iter().zip(&expected.ellipses_mm).enumerate() {
            let place = format!("{}: corner {i}: {ellipse:?}", expected.name);
            for (axis, theirs) in [(ellipse.longer, longer), (ellipse.shorter, shorter)] {
                assert!((axis.as_mm() - theirs).abs() < 1e-4 * theirs + 1.0 / 8_000.0, "{place} is {theirs}");
            }
            // A round one has no heading.
            if longer - shorter > 0.01 * longer {
                let turned = (ellipse.heading.0 as f64 / 3_600_000.0 - heading).rem_euclid(180.0);
                assert!(turned.min(180.0 - turned) < 0.01, "{place} heads {heading}");
            }
        }
    }
}

#[test]
fn what_the_others_say_of_each_reading_agrees() {
    for (expected, ours) in rooms() {
        for (i, judged) in ours.judged.iter().enumerate() {
            let name = &expected.name;
            assert!((judged.redundancy - expected.redundancy[i]).abs() < 1e-6, "{name}: reading {i}: {judged:?}");
            let theirs = expected.standardised[i];
            let near = 1e-5 * theirs.abs().max(1.0);
            assert!((judged.standardised - theirs).abs() < near, "{name}: reading {i}: {judged:?} is {theirs}");
        }
    }
}
