//! What is cut already: each cut piece serves the place that it was cut for as long as it is large enough, and lies where it was cut
//! from. The rest of the carpet is planned around all of them.

use super::Piece;
use super::plan::place_of;
use super::stock::Stock;
use crate::ids::ChoiceId;
use crate::job::{ChosenPlan, CutPiece, CutPlace, Job};
use crate::length::Length;
use crate::nest::{
    self, Budget, Cut, CutList, CutWay, NestError, NestPiece, Offcut, Phase, Placement, RollPlan, Shape,
};

/// Where a piece lies: across and along the carpet it is cut from.
type Spot = (Length, Length);

/// A plan of one carpet, with its cuts if they all run from edge to edge.
pub(super) type Rolled = (RollPlan, Option<CutList>);

/// What pieces are cut from.
#[derive(Clone, Copy)]
pub(super) struct Carpet {
    /// The decision that says it is on hand; `None` for the roll that is ordered.
    pub remnant: Option<ChoiceId>,
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
pub(super) struct CutAlready<'a> {
    /// None lies in another. In the order of their places.
    pub pieces: Vec<&'a CutPiece>,
    plan: Option<&'a ChosenPlan>,
}

impl<'a> CutAlready<'a> {
    pub fn of(job: &'a Job, stock: &Stock, plan: Option<&'a ChosenPlan>) -> Self {
        let roll = stock.goods.roll_width;
        let possible = |it: &&CutPiece| {
            let at = it.place;
            at.width > Length::ZERO && at.length > Length::ZERO && (at.remnant.is_some() || at.x + at.width <= roll)
        };
        let mut all: Vec<&CutPiece> = job.cut(stock.goods.id).map(|(_, it)| it).filter(possible).collect();
        all.sort_by_key(|it| (it.place, &it.piece));
        let mut pieces: Vec<&CutPiece> = Vec::new();
        for it in all {
            // No carpet is cut twice; what says so is a mistake, or a plan from somewhere else.
            if !pieces.iter().any(|other| overlap(&other.place, &it.place)) {
                pieces.push(it);
            }
        }
        Self { pieces, plan }
    }

    /// How far the roll that is ordered is cut up.
    pub fn end(&self) -> Length {
        let from_roll = self.pieces.iter().map(|it| it.place).filter(|it| it.remnant.is_none());
        end(&from_roll.collect::<Vec<_>>())
    }

    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// Lets the cut pieces serve a nap group where they can, and brings its pattern in step with the first that does.
    pub fn serve(&self, group: &mut [Wanted]) {
        for it in &mut *group {
            it.cut = self.serving(&it.piece).map(|cut| (cut.place, (cut.place.x, cut.place.y)));
        }
        let first = group.iter().find_map(|it| {
            let (cut, (_, y)) = it.cut?;
            Some((cut.remnant, y - it.shape.phase?.offset))
        });
        let Some((carpet, by)) = first else { return };
        for it in group {
            it.shape.phase = it.shape.phase.map(|it| moved(it, by));
            it.piece.phase = it.shape.phase.map(|it| it.offset);
            // On another carpet nobody knows where the pattern begins; the crew matched it by eye.
            it.cut = it.cut.and_then(|(cut, at)| match cut.remnant == carpet {
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
            self.pieces.iter().map(|it| it.place).filter(|it| it.remnant == carpet.remnant).collect();
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
        let ways = [around(&|_| true)?, around(&|y| y < end)?, around(&|_| false)?].into_iter();
        let best = ways.min_by_key(|(plan, list)| (!carpet.freehand && list.is_none(), plan.length));
        best.map_or_else(|| planned(&[]), Ok)
    }
    /// The places of all that stay where they are: what is cut, and what else of the plan `stays` there. First what they and the other cut
    /// pieces take of the carpet, then each piece's own.
    fn kept(
        &self,
        carpet: Carpet,
        wanted: &[Wanted],
        gone: &[CutPlace],
        stays: impl Fn(Length) -> bool,
    ) -> (Vec<CutPlace>, Vec<Option<CutPlace>>) {
        let mut taken = gone.to_vec();
        let keep = |it: &Wanted| {
            let of_piece = |(x, y): Spot| CutPlace {
                remnant: carpet.remnant,
                x,
                y,
                width: it.shape.width,
                length: it.shape.length,
            };
            if let Some((_, spot)) = it.cut.filter(|(cut, _)| cut.remnant == carpet.remnant) {
                return Some(of_piece(spot));
            }
            let planned = self.plan?.cuts.get(&it.piece.id).filter(|it| it.remnant == carpet.remnant && stays(it.y))?;
            let place = of_piece((planned.x, planned.y));
            let in_step = fits(it.shape.phase, place.y) && fits(it.shape.across, place.x);
            let free = in_step && place.x + place.width <= carpet.width && !taken.iter().any(|it| overlap(it, &place));
            free.then(|| taken.push(place));
            free.then_some(place)
        };
        let kept = wanted.iter().map(keep).collect();
        (taken, kept)
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

fn to_nest(wanted: &[Wanted]) -> Vec<NestPiece> {
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

/// The cuts of all that lies before `end`, and of the rest of the plan behind it.
fn all_cuts(before: &[CutPlace], open: &[NestPiece], rest: &RollPlan, end: Length) -> Option<CutList> {
    let piece =
        |it: &CutPlace| NestPiece { id: String::new(), width: it.width, length: it.length, phase: None, across: None };
    let place = |it: &CutPlace| Placement { piece: String::new(), x: it.x, y: it.y };
    let pieces: Vec<NestPiece> = before.iter().map(piece).chain(open.iter().cloned()).collect();
    let moved = rest.placements.iter().map(|it| Placement { y: it.y + end, ..it.clone() });
    let plan = RollPlan { placements: before.iter().map(place).chain(moved).collect(), ..rest.clone() };
    nest::cuts(&pieces, &plan)
}

fn end(of: &[CutPlace]) -> Length {
    of.iter().map(|it| it.y + it.length).max().unwrap_or_default()
}

fn overlap(one: &CutPlace, other: &CutPlace) -> bool {
    one.remnant == other.remnant
        && one.x < other.x + other.width
        && other.x < one.x + one.width
        && one.y < other.y + other.length
        && other.y < one.y + one.length
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
