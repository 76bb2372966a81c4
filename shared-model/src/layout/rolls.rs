//! The rolls that are ordered, each with its plan.

use std::collections::BTreeMap;

use super::cut_already::{Carpet, CutAlready, Rolled, Wanted, to_nest};
use super::division::{ByRoll, Division};
use super::interlock::{self, Outline};
use super::stock::Stock;
use super::{Piece, Strip};
use crate::job::{MOST_ROLLS, Source};
use crate::length::Length;
use crate::nest::{Budget, NestError, NestPiece, Shape, cuts, estimate, nest_above, nest_cuttable};

/// How hard a plan of a roll is looked for.
#[derive(Clone, Copy)]
pub(super) struct Effort {
    pub budget: Budget,
    /// Also with angled pieces that fit into each other.
    pub interlocked: bool,
}

/// The rolls that are ordered, with their plans, the first first. What is wrong, if they cannot be cut from rolls as long as they come.
pub(super) fn rolls(
    groups: &[Vec<Wanted>],
    stock: &Stock,
    cut: &CutAlready,
    effort: Effort,
) -> Result<Vec<Strip>, String> {
    let (longest, show) = (stock.goods.longest, |it: Length| it.show(stock.units.style()));
    let told = |it: NestError| format!("{it}.");
    let plan = |number: u8, wanted: Vec<Wanted>, lead: Length| roll(wanted, (number, lead), stock, cut, effort);
    let too_long = |it: &&Strip| {
        let most = longest.max(cut.end(it.source) + it.lead);
        longest > Length::ZERO && it.roll.length + it.lead > most
    };
    if !cut.takes_several_rolls() {
        let all = plan(0, groups.concat(), Length::ZERO).map_err(told)?;
        if !too_long(&&all) {
            return Ok(vec![all]);
        }
    }
    let limit = if longest == Length::ZERO { Length::MOST } else { longest };
    let fits = |group: &[Wanted]| {
        let shapes: Vec<Shape> = group.iter().map(|it| it.shape).collect();
        let first = estimate(&shapes, stock.goods.roll_width);
        first.is_some_and(|it| it <= limit)
            || rolled(&to_nest(group), stock, effort.budget).is_ok_and(|(plan, _)| plan.length <= limit)
    };
    let mut longest_piece = Length::ZERO;
    // The pieces are divided by first plans, and these may be a little shorter than what is then cut edge to edge.
    for spared in 0..4 {
        let divided = Division::of(groups.to_vec(), (stock, cut, limit - Length(limit.0 / 20 * spared)), fits);
        let Some(divided) = divided else {
            return Err(format!(
                "It takes more than {MOST_ROLLS} rolls of {} at most. Enter how long the longest roll is.",
                show(longest)
            ));
        };
        let leads = leads(groups, &divided, stock);
        let lead = |number: u8| leads.get(&number).copied().unwrap_or_default();
        let planned = divided.into_iter().map(|(number, wanted)| plan(number, wanted, lead(number)));
        let planned = planned.collect::<Result<Vec<Strip>, NestError>>().map_err(told)?;
        let Some(too_long) = planned.iter().find(too_long) else { return Ok(planned) };
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

/// What must be cut off the rolls first on which the pattern of another roll goes on: up to one repeat.
fn leads(groups: &[Vec<Wanted>], divided: &ByRoll, stock: &Stock) -> BTreeMap<u8, Length> {
    let Some(repeat) = stock.repeat else { return BTreeMap::new() };
    let on =
        |roll: &[Wanted], it: &Wanted| it.shape.phase.is_some() && roll.iter().any(|one| one.piece.id == it.piece.id);
    let goes_on = groups.iter().flat_map(|group| {
        let rolls = divided.iter().filter(|(_, roll)| group.iter().any(|it| on(roll, it)));
        rolls.skip(1).map(|(number, _)| (*number, repeat)).collect::<Vec<_>>()
    });
    goes_on.collect()
}

/// The plan of one roll, of which `lead` is cut off first.
fn roll(
    wanted: Vec<Wanted>,
    (number, lead): (u8, Length),
    stock: &Stock,
    cut: &CutAlready,
    effort: Effort,
) -> Result<Strip, NestError> {
    let source = Source::Roll(number);
    let carpet = Carpet { source, width: stock.goods.roll_width, freehand: stock.rules.freehand };
    let (mut roll, cuts) = cut.planned_around(carpet, &wanted, |it| {
        let plain = rolled(it, stock, effort.budget)?;
        if effort.interlocked { interlocked(plain, it, &wanted, stock, effort.budget) } else { Ok(plain) }
    })?;
    let pieces: Vec<Piece> = wanted.into_iter().map(|it| it.piece).collect();
    if interlock::any_angled(&pieces, stock) {
        // Such pieces need less than their rectangles, so only their outlines' area says how short no plan can be.
        roll.lower_bound = roll.lower_bound.min(interlock::least_length(&pieces, stock).max(cut.end(source)));
    }
    let name = format!("roll {}", u32::from(number) + 1);
    let length = stock.goods.order_for(if roll.length > Length::ZERO { roll.length + lead } else { Length::ZERO });
    Ok(Strip { source, name, length, lead, pieces, roll, cuts })
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
            best = (interlock::parted(pieces, &within, &roll), list);
        }
    }
    if stock.rules.freehand
        // What is too long to count by columns keeps its plan by rectangles.
        && let Ok(Some(plan)) = interlock::stepped(pieces, &outlines, stock.goods.roll_width, budget)
        && plan.length < best.0.length
    {
        let list = cuts(pieces, &plan);
        best = (plan, list);
    }
    Ok(best)
}
