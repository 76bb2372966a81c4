//! What is cut already: it is carpet that is gone, and each piece of it serves its place while it is large enough.

use shared_model::job::{CutPiece, CutPlace, Source};
use shared_model::layout::Piece;
use shared_model::length::Length;
use shared_model::nest::{Placement, RollPlan};

use super::plane::{Polygon, distance, inside};
use super::{Check, Faults, Laid, TOLERANCE};

/// Where a piece goes: its name without the size.
fn place_of(piece: &str) -> Option<&str> {
    piece.rsplit_once('-').map(|(place, _)| place)
}

fn meet(one: &CutPlace, other: &CutPlace) -> bool {
    let across = one.x.max(other.x) < (one.x + one.width).min(other.x + other.width);
    let along = one.y.max(other.y) < (one.y + one.length).min(other.y + other.length);
    one.source == other.source && across && along
}

impl<'a> Check<'a> {
    /// The cut pieces that can have been cut from a carpet.
    pub(super) fn gone(&self, source: Source) -> Vec<&'a CutPiece> {
        let mut all: Vec<&CutPiece> = self.job.cut(self.goods.id).map(|(_, it)| it).collect();
        all.retain(|it| it.place.source == source && it.place.width > Length::ZERO && it.place.length > Length::ZERO);
        all.retain(|it| source.remnant().is_some() || it.place.x + it.place.width <= self.goods.roll_width);
        all.sort_by_key(|it| (it.place, it.piece.clone()));
        all.dedup();
        all
    }

    /// No piece lies on carpet that was cut for another; one that serves holds its piece, at the place that it was cut for.
    pub(super) fn cut_already(&self, source: Source, laid: &[(&Piece, &Placement)], faults: &mut Faults) {
        let gone = self.gone(source);
        for (piece, at) in laid {
            let own = CutPlace { source, y: at.y, x: at.x, width: piece.width, length: piece.length };
            let serves = self.layout.cut.get(&piece.id).filter(|it| it.source == source);
            // The piece for which this was cut, if it needs no more than its outline.
            let whole = |cut: &CutPiece| {
                let mut others = laid.iter().filter(|(it, _)| self.layout.cut.get(&it.id) == Some(&cut.place));
                others.find(|(it, _)| (it.width, it.length) == (cut.place.width, cut.place.length))
            };
            let leaves = |cut: &CutPiece| {
                whole(cut).is_some_and(|it| it.0.id != piece.id && self.fit_into_each_other((piece, at), *it))
            };
            // What says that the same carpet was cut twice is a mistake, and not the plan's.
            let twice = |it: &CutPiece| serves.is_some_and(|own| *own != it.place && meet(own, &it.place));
            for it in gone.iter().filter(|it| meet(&it.place, &own) && !leaves(it) && !twice(it)) {
                let inside = it.place.x <= own.x
                    && own.x + own.width <= it.place.x + it.place.width
                    && it.place.y <= own.y
                    && own.y + own.length <= it.place.y + it.place.length;
                let same = place_of(&it.piece) == place_of(&piece.id);
                faults.expect(serves == Some(&it.place) && inside && same, || {
                    format!("{} is planned on carpet that was cut for {}", piece.id, it.piece)
                });
            }
            let known = serves.is_none_or(|place| gone.iter().any(|it| it.place == *place));
            faults.expect(known, || format!("{} is cut from nothing", piece.id));
            let alone = |it: &CutPiece| gone.iter().filter(|other| meet(&it.place, &other.place)).count() == 1;
            let fits = gone.iter().any(|it| it.piece == piece.id && alone(it));
            faults.expect(!fits || serves.is_some() || piece.phase.is_some(), || {
                format!("{} is cut, and planned once more", piece.id)
            });
        }
    }

    /// Whether two pieces whose rectangles overlap leave each other what they need: all floor of the one lies twice the larger allowance
    /// from all floor of the other, across or along the roll.
    pub(super) fn fit_into_each_other(&self, one: (&Piece, &Placement), other: (&Piece, &Placement)) -> bool {
        let margin = self.job.rules.wall_allowance.max(self.job.rules.seam_trim).0 as f64;
        let on_roll = |(piece, at): (&Piece, &Placement)| -> Vec<Polygon> {
            let laid = Laid::of(piece, piece.pile);
            let (left, start) = (laid.left - piece.extra.left.0 as f64, laid.start - piece.extra.start.0 as f64);
            if laid.covers.is_empty() {
                // On stairs a piece needs all of its rectangle.
                let (x, y) = (at.x.0 as f64, at.y.0 as f64);
                let (right, far) = (x + piece.width.0 as f64 - margin, y + piece.length.0 as f64 - margin);
                let (left, start) = (x + margin, y + margin);
                return vec![vec![(left, start), (left, far), (right, far), (right, start)]];
            }
            let place = |(u, v): &(f64, f64)| (u - left + at.x.0 as f64, v - start + at.y.0 as f64);
            laid.covers.iter().map(|it| it.iter().map(place).collect()).collect()
        };
        let (one, other) = (on_roll(one), on_roll(other));
        let nearest =
            one.iter().flat_map(|it| other.iter().map(|there| distance(it, there))).fold(f64::INFINITY, f64::min);
        let apart = |one: &Polygon, other: &Polygon| !inside(one, other[0]) && !inside(other, one[0]);
        nearest >= 2.0 * margin - TOLERANCE && one.iter().all(|it| other.iter().all(|there| apart(it, there)))
    }

    /// The sizes and places of all that comes off a carpet: what was cut, and what is to be cut. What lies in each other comes off in one.
    pub(super) fn to_cut(
        &self,
        source: Source,
        pieces: &[Piece],
        roll: &RollPlan,
    ) -> (Vec<(Length, Length)>, Vec<Placement>) {
        let mut rects: Vec<[Length; 4]> = Vec::new();
        let mut add = |mut it: [Length; 4]| {
            let meets = |a: &[Length; 4], b: &[Length; 4]| a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
            while let Some(i) = rects.iter().position(|other| meets(other, &it)) {
                let other = rects.swap_remove(i);
                it = [it[0].min(other[0]), it[1].min(other[1]), it[2].max(other[2]), it[3].max(other[3])];
            }
            rects.push(it);
        };
        for CutPlace { x, y, width, length, .. } in self.gone(source).iter().map(|it| it.place) {
            add([x, y, x + width, y + length]);
        }
        for (piece, at) in pieces.iter().zip(&roll.placements) {
            if self.layout.cut.get(&piece.id).is_none_or(|it| it.source != source) {
                add([at.x, at.y, at.x + piece.width, at.y + piece.length]);
            }
        }
        let place = |it: &[Length; 4]| Placement { piece: String::from("a piece"), x: it[0], y: it[1] };
        (rects.iter().map(|it| (it[2] - it[0], it[3] - it[1])).collect(), rects.iter().map(place).collect())
    }
}
