//! How short no plan of the pieces can be. Every bound here is a proof, not an estimate.

use std::cmp::Ordering;

use super::{Block, Lattice, Strip};

/// Widest strips and most work for which all sums of widths are listed.
const SUMS_WORK: i64 = 1 << 30;
/// Most distinct widths that are tried as the parameter of a bound.
const PARAMETERS: usize = 400;

/// The best of the bounds, in the strip's units.
pub(super) fn lower_bound(strip: &Strip) -> i64 {
    let usable = widest_sum(strip);
    let tallest = strip.blocks.iter().map(|it| it.along.offset + it.length).max().unwrap_or(0);
    tallest.max(stacked(&strip.blocks, usable)).max(areas(&strip.blocks, usable))
}

/// The widest sum of the pieces' widths that the strip holds: no line across the roll carries more carpet than this.
fn widest_sum(strip: &Strip) -> i64 {
    // Without pieces the unit is the smallest count, and the strip millions of them wide.
    if strip.blocks.is_empty() {
        return 0;
    }
    if strip.width.saturating_mul(strip.blocks.len() as i64) > SUMS_WORK {
        return strip.width;
    }
    reachable(strip.blocks.iter().map(|it| it.width), strip.width)
}

/// Pieces of which no two fit side by side lie one behind another, each starting on its own lattice.
fn stacked(blocks: &[Block], usable: i64) -> i64 {
    let mut wide: Vec<&Block> = blocks.iter().collect();
    wide.sort_by_key(|it| -it.width);
    let fits_beside = wide.windows(2).position(|pair| pair[0].width + pair[1].width <= usable);
    wide.truncate(fits_beside.map_or(wide.len(), |it| it + 1));

    let pitches: Vec<Pitch> = wide.iter().map(|it| Pitch::of(it, &wide)).collect();
    let least: i64 = pitches.iter().map(|it| it.least).sum();
    let last = wide.iter().zip(&pitches).map(|(block, pitch)| pitch.least - block.length).max().unwrap_or(0);

    // All lattices are visited, so the way along the roll changes lattice at least once less than there are lattices.
    let mut lattices: Vec<Lattice> = wide.iter().map(|it| it.along).collect();
    lattices.sort_unstable();
    lattices.dedup();
    let mut changes: Vec<i64> = pitches.iter().map(|it| it.change - it.least).collect();
    changes.sort_unstable();
    let changes: i64 = changes.iter().take(lattices.len().saturating_sub(1)).sum();

    let start = wide.iter().map(|it| it.along.offset).min().unwrap_or(0);
    start + least - last + changes
}

/// From a piece's start to the next piece's start, when they lie one behind another.
struct Pitch {
    /// Whatever comes next.
    least: i64,
    /// When the next piece has another lattice.
    change: i64,
}

impl Pitch {
    fn of(block: &Block, all: &[&Block]) -> Self {
        let step = block.along.step;
        if step == 1 || all.iter().any(|it| it.along.step != step) {
            return Self { least: block.length, change: block.length };
        }
        let to = |offset: i64| block.length + (offset - block.along.offset - block.length).rem_euclid(step);
        let change = all.iter().filter(|it| it.along != block.along).map(|it| to(it.along.offset)).min();
        let same = to(block.along.offset);
        let alone = all.iter().filter(|it| it.along == block.along).count() == 1;
        match change {
            Some(change) if alone => Self { least: change, change },
            Some(change) => Self { least: change.min(same), change },
            None => Self { least: same, change: same },
        }
    }
}

/// Sizes reshaped so that what fits side by side still does: the area of the pieces by such a measure is a bound.
#[derive(Clone, Debug)]
pub(super) struct Measure {
    pub shares: Vec<i64>,
    /// Of the whole width, by this measure.
    pub whole: i64,
}

/// Sizes as they are first, then reshaped ("dual feasible functions": Fekete and Schepers 2004; Carlier, Clautiaux and
/// Moukrim 2007). `whole` is what they share.
pub(super) fn measures(sizes: &[i64], whole: i64) -> Vec<Measure> {
    let reshaped =
        |whole: i64, by: &dyn Fn(i64) -> i64| Measure { shares: sizes.iter().map(|it| by(*it)).collect(), whole };
    let mut measures = vec![reshaped(whole, &|size| size)];
    let mut parameters: Vec<i64> = sizes.iter().map(|it| (*it).min(whole - it)).filter(|it| *it > 0).collect();
    parameters.extend(sizes.iter().copied().filter(|it| *it > 0 && 2 * it <= whole));
    parameters.sort_unstable();
    parameters.dedup();
    for &least in parameters.iter().take(PARAMETERS) {
        // What leaves less than `least` beside it counts as the whole; what is smaller counts as nothing.
        measures.push(reshaped(whole, &|size| match size {
            _ if size > whole - least => whole,
            _ if size < least => 0,
            _ => size,
        }));
        // Counted in whole multiples of `least`, large ones by what they leave.
        let times = whole / least;
        measures.push(reshaped(2 * times, &|size| match (2 * size).cmp(&whole) {
            Ordering::Greater => 2 * (times - (whole - size) / least),
            Ordering::Equal => times,
            Ordering::Less => 2 * (size / least),
        }));
    }
    for parts in 1..=20 {
        // Rounded down to one of `parts` equal shares of the whole, exact multiples of 1/(parts + 1) kept.
        measures.push(reshaped(whole.saturating_mul(parts), &|size| {
            let scaled = size.saturating_mul(parts + 1);
            if scaled % whole == 0 { size.saturating_mul(parts) } else { scaled / whole * whole }
        }));
    }
    measures
}

/// The largest area by any measure over the strip's width by it, rounded up.
fn areas(blocks: &[Block], usable: i64) -> i64 {
    if usable <= 0 {
        return 0;
    }
    let widths: Vec<i64> = blocks.iter().map(|it| it.width).collect();
    let length = |it: &Measure| {
        let area: u128 = it.shares.iter().zip(blocks).map(|(share, block)| *share as u128 * block.length as u128).sum();
        i64::try_from(area.div_ceil(it.whole as u128)).unwrap_or(0)
    };
    measures(&widths, usable).iter().map(length).max().unwrap_or(0)
}

/// The largest sum of some of the sizes that is not more than `most`.
pub(super) fn reachable(sizes: impl Iterator<Item = i64>, most: i64) -> i64 {
    let Ok(end) = usize::try_from(most) else { return most };
    // One bit for each sum.
    let mut sums = vec![0_u64; end / 64 + 1];
    sums[0] = 1;
    for size in sizes.filter(|it| *it <= most) {
        let (words, bits) = (size as usize / 64, size as usize % 64);
        for at in (words..sums.len()).rev() {
            let low = if bits > 0 && at > words { sums[at - words - 1] >> (64 - bits) } else { 0 };
            sums[at] |= (sums[at - words] << bits) | low;
        }
    }
    (0..=end).rev().find(|it| sums[it / 64] >> (it % 64) & 1 == 1).map_or(0, |it| it as i64)
}
