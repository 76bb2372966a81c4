//! The rolls that are ordered.

use shared_model::job::Source;
use shared_model::layout::Piece;
use shared_model::length::Length;
use shared_model::nest::{CutList, RollPlan};

use super::{Check, Faults};
use crate::cutter::cut_up;

impl Check<'_> {
    /// Placements on the rolls, and the order.
    pub(super) fn roll(&self, faults: &mut Faults) {
        let (layout, goods) = (self.layout, self.goods);
        faults.equal(|| "roll width".into(), &layout.roll.width, &goods.roll_width);
        let mut order = self.ordered(Source::Roll(0), &layout.pieces, &layout.roll, layout.cuts.as_ref(), faults);
        for (strip, number) in layout.others.iter().filter(|it| it.source.remnant().is_none()).zip(1..) {
            faults.equal(|| "roll".into(), &strip.source, &Source::Roll(number));
            faults.equal(|| format!("width of {}", strip.name), &strip.roll.width, &goods.roll_width);
            let own = self.ordered(strip.source, &strip.pieces, &strip.roll, strip.cuts.as_ref(), faults);
            faults.equal(|| format!("length of {}", strip.name), &strip.length, &own);
            order += own;
        }
        faults.equal(|| "order".into(), &layout.order, &order);
        faults.equal(|| "the rolls' lengths".into(), &layout.roll_lengths().into_iter().sum(), &order);
    }

    /// A roll that is ordered: its plan can be cut, and it is no longer than any is. How much of it is sold.
    fn ordered(
        &self,
        source: Source,
        pieces: &[Piece],
        roll: &RollPlan,
        list: Option<&CutList>,
        faults: &mut Faults,
    ) -> Length {
        let goods = self.goods;
        let end = self.strip(source, pieces, roll, faults);
        faults.expect(roll.lower_bound <= end, || "the lower bound is above the plan".into());
        let (sizes, places) = self.to_cut(source, pieces, roll);
        let cut = match list {
            Some(list) => cut_up(goods.roll_width, sizes.into_iter(), &places, list),
            None if self.job.rules.freehand => Ok(()),
            None => Err("it must be cut around corners".to_owned()),
        };
        faults.expect(cut.is_ok(), || format!("{source:?}: {cut:?}"));
        let least = if end == Length::ZERO { 0 } else { end.0.max(goods.minimum.0) };
        let step = goods.increment.0.max(1);
        let sold = Length((least + step - 1) / step * step);
        if goods.longest == Length::ZERO {
            return sold;
        }
        faults.expect(end <= goods.longest, || format!("{source:?} is longer than any roll"));
        sold.min(goods.longest)
    }
}
