//! How short no plan of the pieces can be. Every bound here is a proof, not an estimate.

use super::{Block, Lattice, Strip};

/// Widest strips and most work for which all sums of widths are listed.
const SUMS_WORK: usize = 1 << 26;
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
    let Ok(width) = usize::try_from(strip.width) else { return strip.width };
    if width.saturating_mul(strip.blocks.len()) > SUMS_WORK {
        return strip.width;
    }
    let mut reached = vec![false; width + 1];
    reached[0] = true;
    for block in &strip.blocks {
        let own = block.width as usize;
        for sum in (own..=width).rev() {
            reached[sum] |= reached[sum - own];
        }
    }
    reached.iter().rposition(|it| *it).map_or(strip.width, |it| it as i64)
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

/// Area bounds: with widths as they are, and with widths reshaped by functions that keep side by side what fits side
/// by side ("dual feasible functions": Fekete and Schepers 2004; Carlier, Clautiaux and Moukrim 2007).
fn areas(blocks: &[Block], usable: i64) -> i64 {
    let mut best = area(blocks, usable, |width| width);
    let mut widths: Vec<i64> = blocks.iter().map(|it| it.width.min(usable - it.width)).filter(|it| *it > 0).collect();
    widths.extend(blocks.iter().map(|it| it.width).filter(|it| 2 * it <= usable));
    widths.sort_unstable();
    widths.dedup();
    for &least in widths.iter().take(PARAMETERS) {
        // What leaves less than `least` beside it counts as the whole width; what is narrower counts as nothing.
        best = best.max(area(blocks, usable, |width| match width {
            _ if width > usable - least => usable,
            _ if width < least => 0,
            _ => width,
        }));
        // Counted in whole multiples of `least`, wide pieces by what they leave.
        let whole = usable / least;
        best = best.max(area(blocks, 2 * whole, |width| match (2 * width).cmp(&usable) {
            std::cmp::Ordering::Greater => 2 * (whole - (usable - width) / least),
            std::cmp::Ordering::Equal => whole,
            std::cmp::Ordering::Less => 2 * (width / least),
        }));
    }
    for parts in 1..=20 {
        // Rounded down to one of `parts` equal shares of the width, exact multiples of 1/(parts + 1) kept.
        best = best.max(area(blocks, usable.saturating_mul(parts), |width| {
            let scaled = width.saturating_mul(parts + 1);
            if scaled % usable == 0 { width.saturating_mul(parts) } else { scaled / usable * usable }
        }));
    }
    best
}

/// Sum of reshaped width × length over the reshaped strip width, rounded up.
fn area(blocks: &[Block], whole: i64, reshaped: impl Fn(i64) -> i64) -> i64 {
    let Some(whole) = u128::try_from(whole).ok().filter(|it| *it > 0) else { return 0 };
    let sum: u128 = blocks.iter().map(|it| reshaped(it.width) as u128 * it.length as u128).sum();
    i64::try_from(sum.div_ceil(whole)).unwrap_or(0)
}
