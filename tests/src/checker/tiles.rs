//! Whether tiles cover a floor, each spot once.

use super::plane::{Polygon, spans};
use super::{Faults, TOLERANCE};

/// The `tiles` cover the whole without overlapping: compared line by line, where each line lies between two neighbouring
/// corners, so that what holds at both ends and in the middle of a stretch holds on all of it.
pub fn tile(name: &str, whole: &[Polygon], tiles: &[Polygon], faults: &mut Faults) {
    let mut levels: Vec<f64> = whole.iter().chain(tiles).flatten().map(|it| it.1).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    for stretch in levels.windows(2) {
        let (low, high) = (stretch[0], stretch[1]);
        if high - low <= TOLERANCE {
            continue;
        }
        for share in [0.0, 0.5, 1.0] {
            let wanted: Vec<(f64, f64)> = whole.iter().flat_map(|it| spans(it, low, high, share)).collect();
            let mut found: Vec<(f64, f64)> = tiles.iter().flat_map(|it| spans(it, low, high, share)).collect();
            found.sort_by(|one, other| one.0.total_cmp(&other.0));
            let at = low + (high - low) * share;
            for pair in found.windows(2) {
                faults.expect(pair[1].0 >= pair[0].1 - TOLERANCE, || format!("{name}: two pieces overlap at {at:.0}"));
            }
            for (from, to) in wanted {
                let mut reached = from;
                for tile in &found {
                    if tile.0 <= reached + TOLERANCE {
                        reached = reached.max(tile.1);
                    }
                }
                faults.expect(reached >= to - TOLERANCE, || {
                    format!("{name}: bare floor from {reached:.0} to {to:.0} at {at:.0}")
                });
            }
            let sum = |spans: &[(f64, f64)]| spans.iter().map(|it| it.1 - it.0).sum::<f64>();
            let over = sum(&found)
                - whole.iter().flat_map(|it| spans(it, low, high, share)).map(|it| it.1 - it.0).sum::<f64>();
            faults.expect(over <= TOLERANCE * (found.len() + 1) as f64, || {
                format!("{name}: pieces reach beyond the room at {at:.0}")
            });
        }
    }
}
