//! Whether tiles cover a floor, each spot once.

use super::plane::{Met, Polygon, spans};
use super::{Faults, TOLERANCE};

/// The `tiles` cover the whole without overlapping: compared line by line, where each line lies between two neighbouring
/// corners, so that what holds at both ends and in the middle of a stretch holds on all of it.
///
/// Where the whole consists of several floors, these may be `apart` by so much.
pub fn tile(name: &str, whole: &[Polygon], tiles: &[Polygon], apart: f64, faults: &mut Faults) {
    let mut levels: Vec<f64> = whole.iter().chain(tiles).flatten().map(|it| it.1).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    for stretch in levels.windows(2) {
        let (low, high) = (stretch[0], stretch[1]);
        if high - low <= TOLERANCE.max(apart) {
            continue;
        }
        for share in [0.0, 0.5, 1.0] {
            let wanted: Vec<(Met, Met)> = whole.iter().flat_map(|it| spans(it, low, high, share)).collect();
            let mut found: Vec<(Met, Met)> = tiles.iter().flat_map(|it| spans(it, low, high, share)).collect();
            found.sort_by(|one, other| one.0.u.total_cmp(&other.0.u));
            let at = low + (high - low) * share;
            // One that tapers to nothing on this line overlaps nobody.
            let wide: Vec<&(Met, Met)> = found.iter().filter(|(from, to)| to.u - from.u > TOLERANCE).collect();
            for pair in wide.windows(2) {
                let (end, start) = (pair[0].1, pair[1].0);
                faults.expect(start.u >= end.u - start.play.max(end.play), || {
                    format!("{name}: two pieces overlap from {:.0} to {:.0} at {at:.0}", start.u, end.u)
                });
            }
            for (from, to) in &wanted {
                let mut reached = *from;
                for (start, end) in &found {
                    if start.u <= reached.u + reached.play.max(start.play) && end.u > reached.u {
                        reached = *end;
                    }
                }
                faults.expect(reached.u >= to.u - to.play.max(reached.play), || {
                    format!("{name}: bare floor from {:.0} to {:.0} at {at:.0}", reached.u, to.u)
                });
            }
            let sum = |spans: &[(Met, Met)]| spans.iter().map(|(from, to)| to.u - from.u).sum::<f64>();
            let play: f64 = wanted.iter().chain(&found).map(|(from, to)| from.play + to.play).sum();
            faults.expect(sum(&found) - sum(&wanted) <= play + apart * (whole.len() - 1) as f64, || {
                format!("{name}: pieces reach beyond the room at {at:.0}")
            });
        }
    }
}
