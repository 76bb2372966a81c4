//! What is cut already: each cut piece serves the place that it was cut for as long as it is large enough, and lies where it was cut
//! from. The rest of the carpet is planned around all of them.

use std::collections::BTreeMap;

use super::Piece;
use super::interlock::Outline;
use super::plan::place_of;
use super::stock::Stock;
use crate::ids::ChoiceId;
use crate::job::{ChosenPlan, CutPiece, CutPlace, Job, Remnant, Source};
use crate::length::Length;
use crate::nest::{
    self, Budget, Cut, CutList, CutWay, NestError, NestPiece, Offcut, Phase, Placement, RollPlan, Shape,
};
use crate::polygon::Point;

/// The cuts around more pieces are not listed.
const MOST_LISTED: usize = 1_000;

/// Where a piece lies: across and along the carpet it is cut from.
type Spot = (Length, Length);

/// A plan of one carpet, with its cuts if they all run from edge to edge.
pub(super) type Rolled = (RollPlan, Option<CutList>);

/// What pieces are cut from.
#[derive(Clone, Copy)]
pub(super) struct Carpet {
    pub source: Source,
    pub width: Length,
    /// Whether it may be cut around corners.
    pub freehand: bool,
}

/// A piece of a layout before it has its place.
#[derive(Clone)]
pub(super) struct Wanted {
    pub piece: Piece,
    pub shape: Shape,
    /// The cut piece that serves, and where in it this one lies.
    pub cut: Option<(CutPlace, Spot)>,
}

/// What of one goods is cut, with the crew's plan.
#[derive(Clone)]
pub(super) struct CutAlready<'a> {
    /// In the order of their places.
    pub pieces: Vec<&'a CutPiece>,
    /// How far each carpet is cut up.
    ends: BTreeMap<Source, Length>,
    plan: Option<&'a ChosenPlan>,
    /// The plan itself is looked at, and not another layout: its pieces stay on the carpet that they were to be cut from.
    holds: bool,
    /// What a piece needs around its floor.
    margin: Length,
}

/// Carpet that is taken, and the piece that needs no more of it than its outline.
#[derive(Clone, Copy)]
struct Taken<'a> {
    place: CutPlace,
    by: Option<&'a Piece>,
}

impl<'a> CutAlready<'a> {
    pub fn of(job: &'a Job, stock: &Stock, plan: Option<&'a ChosenPlan>) -> Self {
        let roll = stock.goods.roll_width;
        let remnants: BTreeMap<ChoiceId, &Remnant> = job.remnants(stock.goods.id).collect();
        let possible = |it: &&CutPiece| {
            let at = it.place;
            let on_it = match at.source.remnant().map(|it| remnants.get(&it)) {
                None => at.x + at.width <= roll,
                Some(Some(it)) => at.x + at.width <= it.width && at.y + at.length <= it.length,
                // Of one that is used up nobody knows the size any more.
                Some(None) => true,
            };
            at.width > Length::ZERO && at.length > Length::ZERO && on_it
        };
        let mut pieces: Vec<&CutPiece> = job.cut(stock.goods.id).map(|(_, it)| it).filter(possible).collect();
        pieces.sort_by_key(|it| (it.place, &it.piece));
        pieces.dedup();
        let mut ends = BTreeMap::new();
        for CutPlace { source, y, length, .. } in pieces.iter().map(|it| it.place) {
            let end = ends.entry(source).or_insert(Length::ZERO);
            *end = (*end).max(y + length);
        }
        Self { pieces, ends, plan, holds: false, margin: stock.margin() }
    }

    /// How far a carpet is cut up.
    pub fn end(&self, source: Source) -> Length {
        self.ends.get(&source).copied().unwrap_or_default()
    }

    /// The same for the crew's plan.
    pub fn holding(&self) -> Self {
        Self { holds: true, ..self.clone() }
    }

    /// The crew's plan, where it is to be held.
    fn held(&self) -> Option<&'a ChosenPlan> {
        self.plan.filter(|_| self.holds)
    }

    pub const fn holds(&self) -> bool {
        self.holds
    }

    /// Whether more than the first roll is cut from, or planned by the crew's choice.
    pub fn takes_several_rolls(&self) -> bool {
        let planned = self.held().into_iter().flat_map(|it| it.cuts.values());
        let mut all = self.pieces.iter().map(|it| &it.place).chain(planned);
        all.any(|it| it.source.roll().is_some_and(|it| it > 0))
    }

    /// What a piece is cut from, or the crew's plan has it or its like of another size on.
    pub fn home(&self, wanted: &Wanted) -> Option<Source> {
        let like = |(id, at): (&String, &CutPlace)| (place_of(id) == place_of(&wanted.piece.id)).then_some(at.source);
        let planned = || self.held()?.cuts.iter().find_map(like);
        wanted.cut.map(|(at, _)| at.source).or_else(planned)
    }

    /// Where on a carpet the crew's plan has a piece of just this size.
    pub fn planned(&self, wanted: &Wanted, source: Source) -> Option<&CutPlace> {
        self.plan?.cuts.get(&wanted.piece.id).filter(|it| it.source == source)
    }

    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// Lets the cut pieces serve the nap groups where they can, and brings each pattern in step with the first that does. No carpet is cut
    /// twice: of two cut pieces that lie in each other, the first serves; the other is a mistake, or of a plan from somewhere else.
    pub fn serve(&self, groups: &mut [Vec<Wanted>]) {
        groups.iter_mut().for_each(|it| self.serve_group(it));
        let mut serving: Vec<(CutPlace, Spot, Piece)> = Vec::new();
        let mut served: Vec<&mut Wanted> = groups.iter_mut().flatten().filter(|it| it.cut.is_some()).collect();
        served.sort_by_key(|it| it.cut.map(|(cut, _)| cut));
        for it in served {
            let Some((cut, spot)) = it.cut else { continue };
            let own = Taken { place: cut, by: Some(&it.piece) };
            // Two that were cut to fit into each other still do when one of them is needed a little smaller.
            let still_fit = |other: &Piece, at: Spot| {
                let at = Point::new(at.0 - spot.0, at.1 - spot.1);
                Outline::of(&it.piece, self.margin).clear_of(&Outline::of(other, self.margin), at)
            };
            let clear = |(place, at, piece): &(CutPlace, Spot, Piece)| {
                self.clear(&own, &Taken { place: *place, by: Some(piece) }) || still_fit(piece, *at)
            };
            if serving.iter().all(clear) {
                serving.push((cut, spot, it.piece.clone()));
            } else {
                it.cut = None;
            }
        }
    }

    fn serve_group(&self, group: &mut [Wanted]) {
        for it in &mut *group {
            it.cut = self.serving(&it.piece).map(|cut| (cut.place, (cut.place.x, cut.place.y)));
        }
        let first = group.iter().find_map(|it| {
            let (cut, (_, y)) = it.cut?;
            Some((cut.source, y - it.shape.phase?.offset))
        });
        let Some((carpet, by)) = first else { return };
        for it in group {
            it.shape.phase = it.shape.phase.map(|it| moved(it, by));
            it.piece.phase = it.shape.phase.map(|it| it.offset);
            // On another carpet nobody knows where the pattern begins; the crew matched it by eye.
            it.cut = it.cut.and_then(|(cut, at)| match cut.source == carpet {
                true => Some((cut, within(&cut, &it.shape)?)),
                false => Some((cut, at)),
            });
        }
    }

    /// The piece that was cut for this place and is large enough, the smallest of several.
    fn serving(&self, piece: &Piece) -> Option<&'a CutPiece> {
        let large = |it: &&&CutPiece| it.place.width >= piece.width && it.place.length >= piece.length;
        let same = self.pieces.iter().filter(|it| place_of(&it.piece) == place_of(&piece.id)).filter(large);
        same.min_by_key(|it| (it.place.width * it.place.length, it.place)).copied()
    }

    /// A plan of a carpet with what was cut from it at its place, and the rest behind it as `planned` finds places for it. With the cuts
    /// that are to be made; `None` when some go around corners.
    pub fn planned_around(
        &self,
        carpet: Carpet,
        wanted: &[Wanted],
        planned: impl Fn(&[NestPiece]) -> Result<Rolled, NestError>,
    ) -> Result<Rolled, NestError> {
        let gone: Vec<CutPlace> =
            self.pieces.iter().map(|it| it.place).filter(|it| it.source == carpet.source).collect();
        if gone.is_empty() {
            return planned(&to_nest(wanted));
        }
        let around = |stays: &dyn Fn(Length) -> bool| {
            let (taken, kept) = self.kept(carpet, wanted, &gone, stays);
            around(carpet.width, wanted, (&gone, &taken), &kept, &planned)
        };
        // As it was chosen, unless it is shorter to move what lies behind the last cut; or all that is not cut, where it could not be
        // cut otherwise.
        let end = end(&gone);
        let rank = |(plan, list): &Rolled| (!carpet.freehand && list.is_none(), plan.length);
        let mut best = around(&|_| true)?;
        // A plan that the crew holds to is not moved about for a shorter one.
        let stands =
            self.holds && wanted.iter().all(|it| it.cut.is_some() || self.planned(it, carpet.source).is_some());
        if stands && !rank(&best).0 && self.is_as_planned(carpet.source, wanted, &best.0) {
            return Ok(best);
        }
        for other in [around(&|y| y < end)?, around(&|_| false)?] {
            if rank(&other) < rank(&best) {
                best = other;
            }
        }
        Ok(best)
    }

    /// Whether every piece that is not cut lies where the crew's plan has it.
    fn is_as_planned(&self, source: Source, wanted: &[Wanted], plan: &RollPlan) -> bool {
        let uncut = wanted.iter().zip(&plan.placements).filter(|(it, _)| it.cut.is_none());
        uncut
            .into_iter()
            .all(|(it, at)| self.planned(it, source).is_some_and(|place| (place.x, place.y) == (at.x, at.y)))
    }

    /// The places of all that stay where they are: what is cut, and what else of the plan `stays` there. First what they and the other cut
    /// pieces take of the carpet, then each piece's own.
    fn kept<'w>(
        &self,
        carpet: Carpet,
        wanted: &'w [Wanted],
        gone: &[CutPlace],
        stays: impl Fn(Length) -> bool,
    ) -> (Vec<CutPlace>, Vec<Option<CutPlace>>) {
        let serves = |place: &CutPlace| wanted.iter().find(|it| it.cut.is_some_and(|(cut, _)| cut == *place));
        let mut taken: Vec<Taken> =
            gone.iter().map(|it| Taken { place: *it, by: serves(it).map(|it| &it.piece) }).collect();
        let keep = |it: &'w Wanted| {
            let of_piece =
                |(x, y): Spot| CutPlace { source: carpet.source, x, y, width: it.shape.width, length: it.shape.length };
            if let Some((_, spot)) = it.cut.filter(|(cut, _)| cut.source == carpet.source) {
                return Some(of_piece(spot));
            }
            let planned = self.planned(it, carpet.source).filter(|it| stays(it.y))?;
            let place = of_piece((planned.x, planned.y));
            let in_step = fits(it.shape.phase, place.y) && fits(it.shape.across, place.x);
            let own = Taken { place, by: Some(&it.piece) };
            let free = in_step && place.x + place.width <= carpet.width && taken.iter().all(|it| self.clear(&own, it));
            free.then(|| taken.push(own));
            free.then_some(place)
        };
        let kept = wanted.iter().map(keep).collect();
        (taken.iter().map(|it| it.place).collect(), kept)
    }

    /// Whether the one leaves the other its carpet. Pieces that fit into each other do though their rectangles overlap.
    fn clear(&self, one: &Taken, other: &Taken) -> bool {
        let whole = |it: &Taken| {
            let piece = it.by.filter(|by| by.width == it.place.width && by.length == it.place.length)?;
            Some(Outline::of(piece, self.margin))
        };
        if !one.place.overlaps(&other.place) {
            return true;
        }
        let at = Point::new(other.place.x - one.place.x, other.place.y - one.place.y);
        whole(one).zip(whole(other)).is_some_and(|(one, other)| one.clear_of(&other, at))
    }
}

/// A plan of a carpet with all that is `kept` at its place, and the rest behind what is gone from the carpet and what else comes before.
fn around(
    width: Length,
    wanted: &[Wanted],
    (gone, before): (&[CutPlace], &[CutPlace]),
    kept: &[Option<CutPlace>],
    planned: impl Fn(&[NestPiece]) -> Result<Rolled, NestError>,
) -> Result<Rolled, NestError> {
    let pieces = to_nest(wanted);
    let start = end(before);
    let open = pieces.iter().zip(kept).filter(|(_, kept)| kept.is_none());
    let open: Vec<NestPiece> =
        open.map(|(it, _)| NestPiece { phase: it.phase.map(|it| moved(it, -start)), ..it.clone() }).collect();
    let (rest, list) = planned(&open)?;
    let mut found = rest.placements.iter();
    let place = |(piece, kept): (&NestPiece, &Option<CutPlace>)| {
        let at = kept.map(|it| (it.x, it.y)).or_else(|| found.next().map(|it| (it.x, start + it.y)));
        let (x, y) = at.unwrap_or_default();
        Placement { piece: piece.id.clone(), x, y }
    };
    let placements = pieces.iter().zip(kept).map(place).collect();
    let length = start + rest.length;
    // What no plan of all pieces undercuts, no plan with some of them at their places does.
    let lower_bound = nest::nest(&pieces, width, Budget::QUICK)?.lower_bound.max(end(gone)).min(length);
    let only_cut = before.len() == gone.len();
    let list = all_cuts(before, &open, &rest, start).or(list.filter(|_| only_cut).map(|it| behind(it, start, width)));
    Ok((RollPlan { length, lower_bound, placements, ..rest }, list))
}

pub(super) fn to_nest(wanted: &[Wanted]) -> Vec<NestPiece> {
    wanted.iter().map(|it| it.shape.named(&it.piece.id)).collect()
}

/// The cuts of a plan that begins here, behind what was cut around corners.
fn behind(list: CutList, start: Length, width: Length) -> CutList {
    let off = Cut { way: CutWay::Across, at: start, from: Length::ZERO, to: width };
    let cut = |it: Cut| match it.way {
        CutWay::Across => Cut { at: it.at + start, ..it },
        CutWay::Along => Cut { from: it.from + start, to: it.to + start, ..it },
    };
    let cuts = std::iter::once(off).chain(list.cuts.into_iter().map(cut)).collect();
    let offcuts = list.offcuts.into_iter().map(|it| Offcut { y: it.y + start, ..it }).collect();
    CutList { cuts, offcuts }
}

/// The cuts of all that lies before `start`, and of the rest of the plan behind it. What lies in each other is cut off in one.
fn all_cuts(before: &[CutPlace], open: &[NestPiece], rest: &RollPlan, start: Length) -> Option<CutList> {
    if before.len() + open.len() > MOST_LISTED {
        return None;
    }
    let place = |(it, at): (&NestPiece, &Placement)| {
        let (width, length) = (it.width, it.length);
        CutPlace { source: Source::Roll(0), y: start + at.y, x: at.x, width, length }
    };
    let behind = open.iter().zip(&rest.placements).map(place);
    let mut blocks: Vec<CutPlace> = Vec::new();
    for mut it in before.iter().map(|it| CutPlace { source: Source::Roll(0), ..*it }).chain(behind) {
        while let Some(other) = blocks.iter().position(|other| other.overlaps(&it)) {
            it = around_both(&blocks.swap_remove(other), &it);
        }
        blocks.push(it);
    }
    let piece = |it: &CutPlace| Shape { width: it.width, length: it.length, phase: None, across: None }.named("");
    let at = |it: &CutPlace| Placement { piece: String::new(), x: it.x, y: it.y };
    let plan = RollPlan { placements: blocks.iter().map(at).collect(), ..rest.clone() };
    nest::cuts(&blocks.iter().map(piece).collect::<Vec<_>>(), &plan)
}

fn around_both(one: &CutPlace, other: &CutPlace) -> CutPlace {
    let (x, y) = (one.x.min(other.x), one.y.min(other.y));
    let right = (one.x + one.width).max(other.x + other.width);
    let far = (one.y + one.length).max(other.y + other.length);
    CutPlace { x, y, width: right - x, length: far - y, ..*one }
}

fn end(of: &[CutPlace]) -> Length {
    of.iter().map(|it| it.y + it.length).max().unwrap_or_default()
}

/// Where in a cut piece a smaller one lies in step with the pattern, nearest to its left edge and start.
fn within(cut: &CutPlace, shape: &Shape) -> Option<Spot> {
    let first = |from: Length, phase: Option<Phase>| match phase {
        Some(Phase { step, offset }) if step > Length::ZERO => from + Length((offset - from).0.rem_euclid(step.0)),
        _ => from,
    };
    let (x, y) = (first(cut.x, shape.across), first(cut.y, shape.phase));
    (x + shape.width <= cut.x + cut.width && y + shape.length <= cut.y + cut.length).then_some((x, y))
}

/// The positions seen from a place that lies so much nearer to the outer end.
fn moved(phase: Phase, by: Length) -> Phase {
    let step = phase.step.0.max(1);
    Phase { offset: Length((phase.offset + by).0.rem_euclid(step)), ..phase }
}

fn fits(phase: Option<Phase>, at: Length) -> bool {
    phase.is_none_or(|it| it.step <= Length::ZERO || (at - it.offset).0.rem_euclid(it.step.0) == 0)
}
