//! Combines the variants of all rooms and flights into the layouts worth choosing from.

use std::borrow::Cow;

use uuid::Uuid;

use super::stock::Stock;
use super::variant::Variant;
use super::{GroupPile, PileDirection};
use crate::length::Length;
use crate::nest::{self, Phase, Shape};

/// Variants of one room that are combined with others.
const VARIANTS: usize = 8;
/// Work for one more room, in combinations: the fewer rooms, the more are kept side by side.
const WIDEST: usize = 48;
const NARROWEST: usize = 5;
const WORK: usize = 168;

/// The quick plan of a combination is made of its last pieces, so many at most. Beyond, half of them are counted as laid: the rooms of
/// a large house do not all lie side by side on the roll.
const WINDOW: usize = 48;

/// A room or a flight with its variants for each pile direction that is tried.
#[derive(Clone)]
pub(super) struct Unit {
    /// The room or flight, or all rooms that are carpeted as one.
    pub of: Vec<Uuid>,
    pub variants: Vec<(PileDirection, Vec<Variant>)>,
    /// As in the chosen plan, if it can be laid so today.
    pub chosen: Option<(PileDirection, Variant)>,
}

impl Unit {
    /// How it is carpeted in a layout that says so, with this pile.
    pub fn laid(&self, pile: PileDirection, way: &str) -> Option<&Variant> {
        let tried = self.variants.iter().filter(|(of, _)| *of == pile).flat_map(|(_, it)| it);
        let chosen = self.chosen.iter().filter(|(of, _)| *of == pile).map(|(_, it)| it);
        tried.chain(chosen).find(|it| it.way(pile) == way)
    }

    pub fn can_run(&self, pile: PileDirection) -> bool {
        self.variants.iter().any(|(of, variants)| *of == pile && !variants.is_empty())
    }
}

/// A nap group's rooms and flights. Where carpet may run through openings, several in a row with the same index stand for the same
/// rooms, each with other rooms as one.
pub(super) struct Group {
    /// Index into the floor's groups.
    pub index: usize,
    pub units: Vec<Unit>,
    pub piles: Vec<PileDirection>,
}

/// One variant for each unit of all groups, in their order; each group in one pile direction.
#[derive(Clone)]
pub(super) struct Choice<'a> {
    pub piles: Vec<GroupPile>,
    pub variants: Vec<Vec<&'a Variant>>,
    /// Of all pieces, group by group, in the order of the variants' pieces. The last group's are in phase with each other
    /// only, not yet with the roll's end.
    pub shapes: Vec<Shape>,
    group_start: usize,
    /// The pieces before are counted as laid.
    window_start: usize,
    /// What they take of the roll.
    laid: Length,
    pub length: Length,
    pub seam_length: Length,
    pub seam_cost: i64,
}

impl Choice<'_> {
    /// What a combination is kept for: less is better.
    pub fn measures(&self) -> [i128; 5] {
        [
            i128::from(self.length.0),
            i128::from(self.seam_length.0),
            i128::from(self.seam_cost),
            self.shapes.len() as i128,
            -unevenness(&self.shapes),
        ]
    }
}

/// The ways to take each nap group's rooms as one or apart.
pub(super) fn alternatives(groups: &[Group]) -> impl Iterator<Item = &[Group]> {
    groups.chunk_by(|one, other| one.index == other.index)
}

/// The most promising combinations, shortest roll first. The roll length is that of a first, quick plan.
pub(super) fn choices<'a>(groups: &'a [Group], stock: &Stock) -> Vec<Choice<'a>> {
    let units: usize = alternatives(groups).map(|it| it[0].units.len()).sum();
    let width = (WORK / units.max(1)).clamp(NARROWEST, WIDEST);
    let mut choices = vec![Choice {
        piles: Vec::new(),
        variants: Vec::new(),
        shapes: Vec::new(),
        group_start: 0,
        window_start: 0,
        laid: Length::ZERO,
        length: Length::ZERO,
        seam_length: Length::ZERO,
        seam_cost: 0,
    }];
    for same in alternatives(groups) {
        let mut next = Vec::new();
        for (group, pile) in same.iter().flat_map(|group| group.piles.iter().map(move |pile| (group, *pile))) {
            let mut partial: Vec<Choice> = choices.iter().map(|it| it.with_group(group.index, pile)).collect();
            for unit in &group.units {
                let variants = unit.variants.iter().filter(|(it, _)| *it == pile).flat_map(|(_, it)| it);
                let variants: Vec<&Variant> = variants.collect();
                let extended = partial.iter().flat_map(|it| variants.iter().map(|variant| it.with(variant, stock)));
                partial = shortlist(extended.collect(), width, Choice::measures);
            }
            next.extend(partial);
        }
        choices = shortlist(next, width, Choice::measures);
        choices.iter_mut().for_each(Choice::end_group);
    }
    choices
}

/// The length of a quick plan of these variants, group by group. `None` when a piece cannot be placed.
pub(super) fn quick_length(groups: &[Vec<Variant>], roll: Length) -> Option<Length> {
    let mut shapes = Vec::new();
    for group in groups {
        let start = shapes.len();
        shapes.extend(group.iter().flat_map(|it| &it.pieces).map(|it| it.shape));
        shapes = in_phase(shapes, start);
    }
    nest::estimate(&shapes, roll)
}

/// The variants of one unit that may be of use in a combination.
pub(super) fn useful(variants: Vec<Variant>, stock: &Stock) -> Vec<Variant> {
    let roll = stock.goods.roll_width;
    let measured: Vec<(Length, i128, Variant)> = variants
        .into_iter()
        .map(|it| {
            let shapes: Vec<Shape> = it.pieces.iter().map(|it| it.shape).collect();
            let uneven = unevenness(&shapes);
            (nest::estimate(&in_phase(shapes, 0), roll).unwrap_or(Length(i64::MAX)), uneven, it)
        })
        .collect();
    let measures = |(length, uneven, it): &(Length, i128, Variant)| {
        [
            i128::from(length.0),
            i128::from(it.seam_length().0),
            i128::from(it.seam_cost()),
            it.carpet(),
            i128::from(it.longest_narrow(roll).0),
            -uneven,
        ]
    };
    shortlist(measured, VARIANTS, measures).into_iter().map(|(.., it)| it).collect()
}

/// Full breadths and narrow ones take more than equal ones, in counts by square millimetres: they leave the most room beside them, in one place.
fn unevenness(shapes: &[Shape]) -> i128 {
    let one = |it: &Shape| i128::from(it.width.0 / Length::MM.0).pow(2) * i128::from(it.length.0);
    shapes.iter().map(one).sum()
}

impl<'a> Choice<'a> {
    fn with_group(&self, group: usize, pile: PileDirection) -> Self {
        let mut next = self.clone();
        next.piles.push(GroupPile { group, pile });
        next.variants.push(Vec::new());
        next
    }

    fn end_group(&mut self) {
        self.shapes = in_phase(std::mem::take(&mut self.shapes), self.group_start);
        self.group_start = self.shapes.len();
    }

    fn with(&self, variant: &'a Variant, stock: &Stock) -> Self {
        let mut next = self.clone();
        if let Some(group) = next.variants.last_mut() {
            group.push(variant);
        }
        next.shapes.extend(variant.pieces.iter().map(|it| it.shape));
        let in_phase = match stock.repeat {
            Some(_) => Cow::Owned(in_phase(next.shapes.clone(), next.group_start)),
            None => Cow::Borrowed(&next.shapes),
        };
        let length = |from: usize| nest::estimate(&in_phase[from..], stock.goods.roll_width).unwrap_or(Length::MOST);
        next.length = next.laid + length(next.window_start);
        if next.shapes.len() - next.window_start > WINDOW {
            next.window_start = next.shapes.len() - WINDOW / 2;
            next.laid = next.length - length(next.window_start);
        }
        next.seam_length += variant.seam_length();
        next.seam_cost += variant.seam_cost();
        next
    }
}

/// Shifts the pattern of the shapes from `start` on so that the largest of them can begin at the roll's end. One alone may begin
/// anywhere.
fn in_phase(mut shapes: Vec<Shape>, start: usize) -> Vec<Shape> {
    if let [alone] = &mut shapes[start..] {
        alone.phase = None;
    }
    let patterned = shapes.iter().skip(start).filter_map(|it| Some(((it.width * it.length).0, it.phase?)));
    if let Some((_, Phase { offset: origin, .. })) = patterned.max_by_key(|(area, _)| *area) {
        for phase in shapes.iter_mut().skip(start).filter_map(|it| it.phase.as_mut()) {
            phase.offset = Length((phase.offset - origin).0.rem_euclid(phase.step.0));
        }
    }
    shapes
}

/// At most `keep` items: the best in each measure, then all that no other beats in everything, then the rest; each
/// kind from the best in the first measure on.
pub(super) fn shortlist<T, const N: usize>(items: Vec<T>, keep: usize, measures: impl Fn(&T) -> [i128; N]) -> Vec<T> {
    let mut items: Vec<([i128; N], T)> = items.into_iter().map(|it| (measures(&it), it)).collect();
    items.sort_by_key(|it| it.0);
    items.dedup_by_key(|it| it.0);
    let mut rank = vec![2; items.len()];
    let mut front: Vec<[i128; N]> = Vec::new();
    for (i, (own, _)) in items.iter().enumerate() {
        if !front.iter().any(|it| beats(it, own)) {
            front.push(*own);
            rank[i] = 1;
        }
    }
    for measure in 0..N {
        if let Some(best) = (0..items.len()).min_by_key(|&i| (items[i].0[measure], i)) {
            rank[best] = 0;
        }
    }
    let mut order: Vec<usize> = (0..items.len()).collect();
    order.sort_by_key(|&i| (rank[i], i));
    order.truncate(keep);
    let mut kept = vec![false; items.len()];
    order.into_iter().for_each(|i| kept[i] = true);
    items.into_iter().zip(kept).filter(|(_, kept)| *kept).map(|((_, it), _)| it).collect()
}

/// Whether one is not worse in anything. (Equal ones are beaten by the first of them.)
pub(super) fn beats<const N: usize>(one: &[i128; N], other: &[i128; N]) -> bool {
    one.iter().zip(other).all(|(one, other)| one <= other)
}
