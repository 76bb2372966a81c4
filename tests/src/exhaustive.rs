//! The shortest strip for a few small pieces, by trying everything.

use shared_model::nest::NestPiece;

/// The shortest strip, if it is shorter than `than`. Every plan is reached by dropping its pieces one after another, in the order of their
/// places, each as far down as the others and its phase let it, so all orders are tried with all places across.
pub fn shorter(pieces: &[NestPiece], width: usize, than: i64) -> i64 {
    let mut best = than;
    drop_all(pieces, &mut vec![false; pieces.len()], &vec![0; width], 0, &mut best);
    best
}

pub fn shortest(pieces: &[NestPiece], width: usize) -> i64 {
    shorter(pieces, width, i64::MAX)
}

fn drop_all(pieces: &[NestPiece], dropped: &mut Vec<bool>, heights: &[i64], length: i64, best: &mut i64) {
    if length >= *best {
        return;
    }
    if dropped.iter().all(|it| *it) {
        *best = length;
        return;
    }
    for i in 0..pieces.len() {
        let (wide, long) = (pieces[i].width.0 as usize, pieces[i].length.0);
        if dropped[i] || wide > heights.len() {
            continue;
        }
        for x in 0..=heights.len() - wide {
            let floor = heights[x..x + wide].iter().copied().max().unwrap_or(0);
            let y = pieces[i].phase.map_or(floor, |it| floor + (it.offset.0 - floor).rem_euclid(it.step.0));
            let mut after = heights.to_vec();
            after[x..x + wide].fill(y + long);
            dropped[i] = true;
            drop_all(pieces, dropped, &after, length.max(y + long), best);
            dropped[i] = false;
        }
    }
}
