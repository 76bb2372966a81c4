//! What is cut from remnants.

use std::collections::BTreeSet;

use shared_model::ids::{ChoiceId, FlightId, RoomId};
use shared_model::job::{Decision, Match};
use shared_model::layout::{Part, Piece};
use shared_model::length::Length;

use super::{Check, Faults};
use crate::cutter::cut_up;

impl Check<'_> {
    /// Each remnant is there, is used once, and holds its pieces; no nap group is cut from two dye lots.
    pub(super) fn on_hand(&self, faults: &mut Faults) {
        let mut used: BTreeSet<ChoiceId> = BTreeSet::new();
        for it in &self.layout.others {
            let Some(id) = it.source.remnant() else { continue };
            faults.expect(used.insert(id), || format!("the remnant {} is used twice", it.name));
            let known = self.job.choices.iter().find(|choice| choice.id == id);
            let Some(Decision::OnHand(remnant)) = known.map(|it| &it.decision) else {
                faults.expect(false, || format!("there is no remnant {}", it.name));
                continue;
            };
            let same = remnant.goods == self.goods.id && remnant.width == it.roll.width && remnant.length == it.length;
            faults.expect(same, || format!("the remnant {} is another", it.name));
            let end = self.strip(it.source, &it.pieces, &it.roll, faults);
            // Where the pattern begins on it, nobody knows.
            let matched = self.goods.pattern != Match::None && it.pieces.iter().any(|it| it.phase.is_some());
            let lost = if matched { self.goods.repeat_length } else { Length::ZERO };
            faults.expect(end + lost <= remnant.length, || format!("the remnant {} is too short", it.name));
            let (sizes, places) = self.to_cut(it.source, &it.pieces, &it.roll);
            let cut = it.cuts.as_ref().map(|list| cut_up(it.roll.width, sizes.into_iter(), &places, list));
            faults.expect(cut == Some(Ok(())), || format!("the remnant {}: {cut:?}", it.name));
        }
        let mut apart = false;
        for group in self.takeoff.floor.groups.iter().filter(|it| it.goods == self.goods.id) {
            // A flight meets the room that it starts in.
            let foot = |id: FlightId| self.job.flights.iter().find(|it| it.id == id)?.foot.map(|it| it.room);
            let of_group = |piece: &Piece| match piece.part {
                Part::Breadth { room, .. } => group.rooms.contains(&room),
                Part::Flight { flight, .. } => foot(flight).is_some_and(|it| group.rooms.contains(&it)),
            };
            let others = self.layout.others.iter().map(|it| (it.name.trim(), it.source.roll(), &it.pieces));
            let strips = std::iter::once(("roll 1", Some(0), &self.layout.pieces)).chain(others);
            let from: Vec<_> = strips.filter(|(.., it)| it.iter().any(of_group)).collect();
            let lots: BTreeSet<&str> = from.iter().map(|(lot, ..)| *lot).collect();
            // A label may read like a roll's number.
            let both = from.iter().any(|(_, roll, _)| roll.is_some()) && from.iter().any(|(_, roll, _)| roll.is_none());
            let meet = lots.len() > 1 || both;
            apart |= meet;
            let names: Vec<RoomId> = group.rooms.clone();
            faults.expect(!meet || self.layout.parted, || {
                format!("rooms {names:?} are cut from {} dye lots", lots.len())
            });
            // Without need nothing is parted: something of the rooms is cut, or they are more than a roll.
            let begun = self
                .layout
                .cut
                .keys()
                .any(|id| from.iter().any(|(.., it)| it.iter().any(|it| it.id == *id && of_group(it))));
            let all = from.iter().flat_map(|(.., it)| it.iter()).filter(|it| of_group(it));
            let step = if self.goods.pattern == Match::None { 0 } else { self.goods.repeat_length.0 };
            let longest = Length(all.map(|it| it.length.0 + step).sum());
            let need = begun || self.goods.longest > Length::ZERO && longest > self.goods.longest;
            faults.expect(!meet || need, || format!("rooms {names:?} are parted without need"));
        }
        faults.equal(|| "parted".into(), &self.layout.parted, &apart);
    }
}
