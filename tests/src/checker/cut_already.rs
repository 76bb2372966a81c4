//! What is cut already: it is carpet that is gone, and each piece of it serves its place while it is large enough.

use shared_model::ids::ChoiceId;
use shared_model::job::{CutPiece, CutPlace};
use shared_model::layout::Piece;
use shared_model::length::Length;
use shared_model::nest::{Placement, RollPlan};

use super::{Check, Faults};

/// Where a piece goes: its name without the size.
fn place_of(piece: &str) -> Option<&str> {
    piece.rsplit_once('-').map(|(place, _)| place)
}

fn meet(one: &CutPlace, other: &CutPlace) -> bool {
    let across = one.x.max(other.x) < (one.x + one.width).min(other.x + other.width);
    let along = one.y.max(other.y) < (one.y + one.length).min(other.y + other.length);
    one.remnant == other.remnant && across && along
}

impl<'a> Check<'a> {
    /// The cut pieces of a carpet that can have been cut from it: of two that lie in each other, the first along it.
    pub(super) fn gone(&self, carpet: Option<ChoiceId>) -> Vec<&'a CutPiece> {
        let mut all: Vec<&CutPiece> = self.job.cut(self.goods.id).map(|(_, it)| it).collect();
        all.retain(|it| it.place.remnant == carpet && it.place.width > Length::ZERO && it.place.length > Length::ZERO);
        all.retain(|it| carpet.is_some() || it.place.x + it.place.width <= self.goods.roll_width);
        all.sort_by_key(|it| (it.place, it.piece.clone()));
        let mut gone: Vec<&CutPiece> = Vec::new();
        for it in all {
            if gone.iter().all(|other| !meet(&other.place, &it.place)) {
                gone.push(it);
            }
        }
        gone
    }

    /// No piece lies on carpet that was cut for another; one that serves holds its piece, at the place that it was cut for.
    pub(super) fn cut_already(&self, carpet: Option<ChoiceId>, laid: &[(&Piece, &Placement)], faults: &mut Faults) {
        let gone = self.gone(carpet);
        for (piece, at) in laid {
            let own = CutPlace { remnant: carpet, y: at.y, x: at.x, width: piece.width, length: piece.length };
            let serves = self.layout.cut.get(&piece.id).filter(|it| it.remnant == carpet);
            for it in gone.iter().filter(|it| meet(&it.place, &own)) {
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
            let fits = gone.iter().any(|it| it.piece == piece.id);
            faults.expect(!fits || serves.is_some() || piece.phase.is_some(), || {
                format!("{} is cut, and planned once more", piece.id)
            });
        }
    }

    /// The sizes and places of all that comes off a carpet: what was cut, and what is to be cut.
    pub(super) fn to_cut(
        &self,
        carpet: Option<ChoiceId>,
        pieces: &[Piece],
        roll: &RollPlan,
    ) -> (Vec<(Length, Length)>, Vec<Placement>) {
        let mut sizes = Vec::new();
        let mut places = Vec::new();
        for it in self.gone(carpet) {
            sizes.push((it.place.width, it.place.length));
            places.push(Placement { piece: it.piece.clone(), x: it.place.x, y: it.place.y });
        }
        for (piece, at) in pieces.iter().zip(&roll.placements) {
            if self.layout.cut.get(&piece.id).is_none_or(|it| it.remnant != carpet) {
                sizes.push((piece.width, piece.length));
                places.push(at.clone());
            }
        }
        (sizes, places)
    }
}
