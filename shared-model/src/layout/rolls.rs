//! The rolls that are ordered, each with its plan.

use super::Strip;
use super::cut_already::{Carpet, CutAlready, Rolled, Wanted};
use super::division::{Rolls, in_rolls};
use super::interlock::{self, Outline};
use super::stock::Stock;
use crate::job::{MOST_ROLLS, Source};
use crate::length::Length;
use crate::nest::{Budget, NestError, NestPiece, cuts, nest_above, nest_cuttable};

/// How hard a plan of a roll is looked for.
#[derive(Clone, Copy)]
pub(super) struct Effort {
    pub budget: Budget,
    /// Also with angled pieces that fit into each other.
    pub interlocked: bool,
}

/// The rolls that are ordered, with their plans; whether pieces that meet are cut from two of them. What is wrong, if they cannot be cut
/// from rolls as long as they come.
pub(super) fn rolls(
    groups: &[Vec<Wanted>],
    stock: &Stock,
    cut: &CutAlready,
    effort: Effort,
) -> Result<(Vec<Strip>, bool), String> {
    let (longest, show) = (stock.goods.longest, |it: Length| it.show(stock.units.style()));
    let mut longest_piece = Length::ZERO;
    // The pieces are divided by first plans, and these may be a little shorter than what is then cut edge to edge.
    for spared in 0..4 {
        let Rolls { rolls, parted } = in_rolls(groups.to_vec(), stock, cut, longest - Length(longest.0 / 20 * spared));
        if rolls.len() > usize::from(MOST_ROLLS) {
            return Err(format!(
                "It takes {} rolls of {} at most. Enter how long the longest roll is.",
                rolls.len(),
                show(longest)
            ));
        }
        let planned = rolls.into_iter().zip(0..).map(|(wanted, number)| roll(wanted, number, stock, cut, effort));
        let planned = planned.collect::<Result<Vec<Strip>, NestError>>().map_err(|it| format!("{it}."))?;
        let too_long = planned.iter().find(|it| longest > Length::ZERO && it.roll.length > longest);
        let Some(too_long) = too_long else { return Ok((planned, parted)) };
        longest_piece = too_long.pieces.iter().map(|it| it.length).max().unwrap_or_default();
    }
    let what = match longest_piece > longest {
        true => format!("A piece is {} long", show(longest_piece)),
        false => "What is cut already leaves too little of a roll".to_owned(),
    };
    Err(format!(
        "{what}, and no roll is longer than {}. Order a longer one, or lay the room the other way.",
        show(longest)
    ))
}

/// The plan of one roll.
fn roll(wanted: Vec<Wanted>, number: u8, stock: &Stock, cut: &CutAlready, effort: Effort) -> Result<Strip, NestError> {
    let source = Source::Roll(number);
    let carpet = Carpet { source, width: stock.goods.roll_width, freehand: stock.rules.freehand };
    let (roll, cuts) = cut.planned_around(carpet, &wanted, |it| {
        let plain = rolled(it, stock, effort.budget)?;
        if effort.interlocked { interlocked(plain, it, &wanted, stock, effort.budget) } else { Ok(plain) }
    })?;
    let pieces = wanted.into_iter().map(|it| it.piece).collect();
    let name = format!("roll {}", u32::from(number) + 1);
    Ok(Strip { source, name, length: stock.goods.order_for(roll.length), pieces, roll, cuts })
}

/// A plan of the roll as the crew cuts it, with its cuts if they all run from edge to edge.
fn rolled(pieces: &[NestPiece], stock: &Stock, budget: Budget) -> Result<Rolled, NestError> {
    let width = stock.goods.roll_width;
    let (straight, list) = nest_cuttable(pieces, width, budget, |_| true)?;
    // What is proven shortest is no shorter around corners.
    if stock.rules.freehand && !straight.optimal() {
        let roll = nest_above(pieces, width, budget, straight.lower_bound)?;
        if roll.length < straight.length {
            let list = cuts(pieces, &roll);
            return Ok((roll, list));
        }
    }
    Ok((straight, Some(list)))
}

/// The plan, or a shorter one where some of the pieces fit into each other.
fn interlocked(
    plain: Rolled,
    pieces: &[NestPiece],
    wanted: &[Wanted],
    stock: &Stock,
    budget: Budget,
) -> Result<Rolled, NestError> {
    let of = |id: &str| wanted.iter().map(|it| &it.piece).find(|it| it.id == id);
    let outlines: Vec<Outline> =
        pieces.iter().filter_map(|it| Some(Outline::of(of(&it.id)?, stock.margin()))).collect();
    // Where the pattern repeats across, pieces lie side by side at few places only.
    if outlines.len() < pieces.len() || stock.repeat_across.is_some() {
        return Ok(plain);
    }
    let blocks = interlock::blocks(pieces, &outlines, stock.goods.roll_width);
    let mut best = plain;
    // All of them together, and the best alone.
    let mut tried = vec![&blocks[..], &blocks[..blocks.len().min(1)]];
    tried.dedup_by_key(|it| it.len());
    for blocks in tried.into_iter().filter(|it| !it.is_empty()) {
        let (joined, within) = interlock::joined(pieces, blocks);
        let (roll, list) = rolled(&joined, stock, budget)?;
        if roll.length < best.0.length {
            // Pieces need less than their rectangles, so only their outlines' area says how short no plan can be.
            let least = interlock::least_length(pieces, &outlines, stock.goods.roll_width);
            best = (interlock::parted(pieces, &within, &roll, least), list);
        }
    }
    Ok(best)
}
