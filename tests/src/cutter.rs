//! Carries out a list of cuts on a roll, as a person with a knife would: shares nothing with the engine but the list.

use shared_model::length::Length;
use shared_model::nest::{Cut, CutWay, NestPiece, RollPlan};

/// A rectangle of carpet: left, right, start, end.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Carpet {
    x: [i64; 2],
    y: [i64; 2],
}

/// Makes every cut, each through exactly one carpet from edge to edge, the roll's own always from its outer end; then every piece must lie
/// there whole, and by itself. Says what went wrong.
pub fn cut_up(pieces: &[NestPiece], plan: &RollPlan, cuts: &[Cut]) -> Result<(), String> {
    let mut carpets = vec![Carpet { x: [0, plan.width.0], y: [0, i64::MAX] }];
    for cut in cuts {
        let (at, line) = (cut.at.0, [cut.from.0, cut.to.0]);
        let found = carpets.iter().position(|it| match cut.way {
            CutWay::Across => it.x == line && it.y[0] < at && at < it.y[1],
            CutWay::Along => it.y == line && it.x[0] < at && at < it.x[1],
        });
        let found = found.ok_or_else(|| format!("{cut:?} goes from edge to edge of nothing"))?;
        let mut second = carpets[found];
        match cut.way {
            CutWay::Across => (carpets[found].y[1], second.y[0]) = (at, at),
            CutWay::Along => (carpets[found].x[1], second.x[0]) = (at, at),
        }
        carpets.push(second);
    }
    for (piece, at) in pieces.iter().zip(&plan.placements) {
        let end = |from: Length, size: Length| [from.0, (from + size).0];
        let wanted = Carpet { x: end(at.x, piece.width), y: end(at.y, piece.length) };
        let place = carpets.iter().position(|it| *it == wanted);
        carpets.swap_remove(place.ok_or_else(|| format!("{} is not cut free: {wanted:?}", piece.id))?);
    }
    Ok(())
}
