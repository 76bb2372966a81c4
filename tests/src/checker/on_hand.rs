//! What is cut from remnants.

use std::collections::BTreeSet;

use shared_model::ids::{ChoiceId, RoomId};
use shared_model::job::{Decision, Match};
use shared_model::layout::{Part, Piece};
use shared_model::length::Length;

use super::{Check, Faults};
use crate::cutter::cut_up;

impl Check<'_> {
    /// Each remnant is there, is used once, and holds its pieces; no nap group is cut from two dye lots.
    pub(super) fn on_hand(&self, faults: &mut Faults) {
        let mut used: BTreeSet<ChoiceId> = BTreeSet::new();
        for it in &self.layout.on_hand {
            faults.expect(used.insert(it.remnant), || format!("the remnant {} is used twice", it.lot));
            let known = self.job.choices.iter().find(|choice| choice.id == it.remnant);
            let Some(Decision::OnHand(remnant)) = known.map(|it| &it.decision) else {
                faults.expect(false, || format!("there is no remnant {}", it.lot));
                continue;
            };
            let same = remnant.goods == self.goods.id && remnant.width == it.roll.width && remnant.length == it.length;
            faults.expect(same, || format!("the remnant {} is another", it.lot));
            let end = Self::strip(&it.pieces, &it.roll, faults);
            let matched = self.goods.pattern != Match::None;
            let lost = if matched { self.goods.repeat_length } else { Length::ZERO };
            faults.expect(end + lost <= remnant.length, || format!("the remnant {} is too short", it.lot));
            let sizes = it.pieces.iter().map(|it| (it.width, it.length));
            let cut = cut_up(it.roll.width, sizes, &it.roll.placements, &it.cuts);
            faults.expect(cut.is_ok(), || format!("the remnant {}: {cut:?}", it.lot));
        }
        for group in self.takeoff.floor.groups.iter().filter(|it| it.goods == self.goods.id) {
            let of_group = |piece: &Piece| match piece.part {
                Part::Breadth { room, .. } => group.rooms.contains(&room),
                Part::Flight { flight, .. } => group.flights.contains(&flight),
            };
            let strips = std::iter::once(&self.layout.pieces).chain(self.layout.on_hand.iter().map(|it| &it.pieces));
            let lots = strips.filter(|it| it.iter().any(of_group)).count();
            let names: Vec<RoomId> = group.rooms.clone();
            faults.expect(lots <= 1, || format!("rooms {names:?} are cut from {lots} dye lots"));
        }
    }
}
