//! The rolls that are ordered.

use std::collections::BTreeSet;

use shared_model::job::{Match, Source};
use shared_model::layout::{Part, Piece, Strip};
use shared_model::length::Length;

use super::{Check, Faults};
use crate::cutter::cut_up;

impl Check<'_> {
    /// Placements on the rolls, and the order.
    pub(super) fn roll(&self, faults: &mut Faults) {
        let layout = self.layout;
        let first = Strip {
            source: Source::Roll(0),
            name: "roll 1".to_owned(),
            length: layout.rolls().iter().find(|it| it.0 == 0).map(|it| it.1).unwrap_or_default(),
            lead: Length::ZERO,
            pieces: layout.pieces.clone(),
            roll: layout.roll.clone(),
            cuts: layout.cuts.clone(),
        };
        let all = || std::iter::once(&first).chain(layout.more_rolls());
        faults.expect(all().map(|it| it.source).is_sorted_by(|a, b| a < b), || "two rolls are one".into());
        let mut order = Length::ZERO;
        for strip in all() {
            let own = self.ordered(strip, faults);
            faults.equal(|| format!("length of {}", strip.name), &strip.length, &own);
            order += own;
        }
        faults.equal(|| "order".into(), &layout.order, &order);
        faults.equal(|| "the rolls' lengths".into(), &layout.rolls().into_iter().map(|it| it.1).sum(), &order);
    }

    /// A roll that is ordered: its plan can be cut, it begins with the pattern that it goes on with, and it is no longer than any is. How
    /// much of it is sold.
    fn ordered(&self, strip: &Strip, faults: &mut Faults) -> Length {
        let goods = self.goods;
        let name = || strip.name.clone();
        faults.equal(|| format!("width of {}", name()), &strip.roll.width, &goods.roll_width);
        let end = self.strip(strip.source, &strip.pieces, &strip.roll, faults);
        faults.expect(strip.roll.lower_bound <= end, || "the lower bound is above the plan".into());
        let (sizes, places) = self.to_cut(strip.source, &strip.pieces, &strip.roll);
        let cut = match &strip.cuts {
            Some(list) => cut_up(goods.roll_width, sizes.into_iter(), &places, list),
            None if self.job.rules.freehand => Ok(()),
            None => Err("it must be cut around corners".to_owned()),
        };
        faults.expect(cut.is_ok(), || format!("{}: {cut:?}", name()));
        if self.goes_on(strip) {
            faults.expect(strip.lead >= goods.repeat_length, || format!("{} begins anywhere in the pattern", name()));
        }
        if end == Length::ZERO {
            return end;
        }
        let least = (end + strip.lead).0.max(goods.minimum.0);
        let step = goods.increment.0.max(1);
        let sold = Length((least + step - 1) / step * step);
        if goods.longest == Length::ZERO {
            return sold;
        }
        let begun = self.gone(strip.source).iter().map(|it| it.place.y + it.place.length).max().unwrap_or_default();
        let most = goods.longest.max(begun + strip.lead);
        faults.expect(end + strip.lead <= most, || format!("{} is longer than any roll", name()));
        sold.min(goods.longest.max(end + strip.lead))
    }

    /// Whether the pattern of pieces on it goes on from pieces on another roll.
    fn goes_on(&self, strip: &Strip) -> bool {
        let patterned = |it: &&Piece| it.phase.is_some() && self.goods.pattern != Match::None;
        let of = |roll: u8| self.layout.placed().filter(move |(_, at)| at.source.roll() == Some(roll)).map(|it| it.0);
        let group = |it: &Piece| {
            self.takeoff.floor.groups.iter().position(|group| match it.part {
                Part::Breadth { room, .. } => group.rooms.contains(&room),
                Part::Flight { flight, .. } => group.flights.contains(&flight),
            })
        };
        let before = (0..strip.source.roll().unwrap_or_default()).flat_map(of).filter(patterned);
        let groups: BTreeSet<Option<usize>> = before.map(group).collect();
        strip.pieces.iter().filter(patterned).any(|it| groups.contains(&group(it)))
    }
}
