//! From patches of floor to cuts: whole, or pieced from shorter lengths where that saves carpet.

use super::Extra;
use super::frame::Side;
use super::patch::{Ground, Patch};
use crate::length::Length;
use crate::polygon::{Axis, Bounds, Point, Ring};

/// A piece to cut, in the frame of its pile.
#[derive(Clone, Debug)]
pub(super) struct Cut {
    pub covers: Vec<Ring>,
    pub width: Length,
    pub length: Length,
    pub extra: Extra,
    /// Where the cut's left edge and its start lie on the floor.
    pub left: Length,
    pub start: Length,
}

/// The cuts of one patch, and the cross seams between them.
#[derive(Clone, Debug)]
pub(super) struct Fill {
    pub cuts: Vec<Cut>,
    pub seams: Vec<(Point, Point)>,
}

/// One fill per number of parts that the rules allow, the whole one first.
pub(super) fn fills(ground: &Ground, patch: &Patch) -> Vec<Fill> {
    let whole =
        Fill { cuts: vec![cut(ground, patch, vec![patch.ring.clone()], patch.south, patch.north)], seams: vec![] };
    let mut fills = vec![whole];
    // Wider parts never lie side by side, so nothing is saved by cross seams. Where the repeat across is not known, the
    // pattern could not be matched over them.
    let stock = ground.stock;
    let matches_across = stock.repeat.is_none() || stock.repeat_across.is_some();
    if matches_across && patch.width() * 2 <= stock.goods.roll_width {
        let most = stock.rules.most_cross_seams.clamp(0, 11);
        fills.extend((2..=most + 1).filter_map(|parts| split(ground, patch, parts)));
    }
    fills
}

fn cut(ground: &Ground, patch: &Patch, covers: Vec<Ring>, south: Length, north: Length) -> Cut {
    let own = covers.iter().filter_map(Ring::bounds).reduce(Bounds::with).unwrap_or(patch.bounds);
    // A part that ends short of the patch's side has nothing but walls there.
    let over = |side, same: bool, over| if same { over } else { ground.reach(&covers, side, None).over };
    let west = over(Side::West, own.min.x == patch.bounds.min.x, patch.west);
    let east = over(Side::East, own.max.x == patch.bounds.max.x, patch.east);
    let width = ground.stock.cut_width(west + own.size(Axis::X) + east);
    let length = ground.stock.cut_length(south + own.size(Axis::Y) + north);
    let extra = Extra {
        left: west,
        right: width - west - own.size(Axis::X),
        start: south,
        end: length - south - own.size(Axis::Y),
    };
    Cut { covers, width, length, extra, left: own.min.x - west, start: own.min.y - south }
}

/// Equally long cuts, one behind another, seamed crosswise.
fn split(ground: &Ground, patch: &Patch, parts: i64) -> Option<Fill> {
    let trim = ground.stock.rules.seam_trim;
    let (south, north) = (patch.bounds.min.y, patch.bounds.max.y);
    let whole = patch.south + (north - south) + patch.north + trim * (2 * (parts - 1));
    let each = ground.stock.cut_length(Length(whole.0.checked_add(parts - 1)? / parts));
    let first = south - patch.south;
    let lines: Vec<Length> = (1..parts).map(|it| first + each * it - trim * (2 * it - 1)).collect();

    let ends = [&[south][..], &lines, &[north][..]].concat();
    if ends.windows(2).any(|it| it[1] - it[0] < ground.stock.rules.least_piece.max(Length(1))) {
        return None;
    }
    let slices: Vec<Vec<Ring>> = ends.windows(2).map(|it| patch.ring.clipped(Axis::Y, it[0], it[1])).collect();
    let mut fill = Fill { cuts: Vec::new(), seams: Vec::new() };
    for (i, slice) in slices.iter().enumerate() {
        let before = i.checked_sub(1).map(|it| (ends[i], slices[it].as_slice()));
        let after = slices.get(i + 1).map(|it| (ends[i + 1], it.as_slice()));
        let below = ground.reach(slice, Side::South, before);
        let above = ground.reach(slice, Side::North, after);
        // A wall close to the cross seam would need more than the trim.
        if (before.is_some() && below.over != trim) || (after.is_some() && above.over != trim) {
            return None;
        }
        fill.cuts.push(cut(ground, patch, slice.clone(), below.over, above.over));
        fill.seams.extend(above.seams);
    }
    Some(fill)
}
