//! Carries out a list of cuts on a roll, as a person with a knife would: shares nothing with the engine but the list.

use shared_model::length::Length;
use shared_model::nest::{Cut, CutList, CutWay, Offcut, Placement};

/// A rectangle of carpet: left, right, start, end.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Carpet {
    x: [i64; 2],
    y: [i64; 2],
}

/// Makes every cut, each through exactly one carpet from edge to edge; then every piece must lie there whole and by itself, and the list's
/// offcuts and the rest of the roll must be all that is left. Sizes are across and along the roll. Says what went wrong.
pub fn cut_up(
    width: Length,
    sizes: impl Iterator<Item = (Length, Length)>,
    places: &[Placement],
    list: &CutList,
) -> Result<(), String> {
    let mut carpets = vec![Carpet { x: [0, width.0], y: [0, i64::MAX] }];
    for cut in &list.cuts {
        make(cut, &mut carpets)?;
    }
    let whole = |x: Length, y: Length, (width, length): (Length, Length)| Carpet {
        x: [x.0, (x + width).0],
        y: [y.0, (y + length).0],
    };
    let pieces = sizes.zip(places).map(|(size, at)| (at.piece.as_str(), whole(at.x, at.y, size)));
    let offcuts = list.offcuts.iter().map(|it: &Offcut| ("offcut", whole(it.x, it.y, (it.width, it.length))));
    for (name, wanted) in pieces.chain(offcuts) {
        let place = carpets.iter().position(|it| *it == wanted);
        carpets.swap_remove(place.ok_or_else(|| format!("{name} is not cut free: {wanted:?}"))?);
    }
    match carpets.as_slice() {
        [rest] if rest.y[1] == i64::MAX => Ok(()),
        more => Err(format!("left over besides the roll: {more:?}")),
    }
}

fn make(cut: &Cut, carpets: &mut Vec<Carpet>) -> Result<(), String> {
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
    Ok(())
}
