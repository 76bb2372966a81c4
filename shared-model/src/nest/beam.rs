//! Several plans grow side by side, one piece at a time; those from which the best fit leaves the least over grow on.

use super::filling::{Begun, Filling, Lot};

/// Ways in which a plan may go on: the best fits into its lowest gap, besides leaving that gap.
const WAYS: usize = 6;

/// A plan that may grow on. The best is the least.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Grown<S> {
    /// Area of what finds no place when the best fit goes on from here.
    left_over: i64,
    /// Area not laid yet: among equals, a plan that has laid the large pieces is better off.
    waiting: i64,
    plan: Begun<S>,
}

/// Looks for a plan within `limit` among `width` plans at a time. When it answers yes, `filling` holds that plan. `go_on` hears
/// its steps, and may stop it.
pub(super) fn beam<T: Filling>(
    filling: &mut T,
    lots: &[Lot],
    width: usize,
    limit: i64,
    mut go_on: impl FnMut(u64) -> bool,
) -> bool {
    filling.begin(lots, limit);
    let mut plans = vec![filling.plan().clone()];
    let mut grown = Vec::new();
    while !plans.is_empty() {
        for plan in &plans {
            if !go_on(filling.steps()) {
                return false;
            }
            if grow(filling, lots, plan, limit, &mut grown) {
                return true;
            }
        }
        grown.sort_unstable();
        grown.dedup_by(|a, b| a.left_over == b.left_over && a.plan.goes_on_like(&b.plan));
        grown.truncate(width);
        plans = grown.drain(..).map(|it| it.plan).collect();
    }
    false
}

/// Lets a plan grow by one piece, in each of several ways. Stops at a way from which everything finds its place, and says so.
fn grow<T: Filling>(
    filling: &mut T,
    lots: &[Lot],
    plan: &Begun<T::Stretch>,
    limit: i64,
    grown: &mut Vec<Grown<T::Stretch>>,
) -> bool {
    filling.plan().clone_from(plan);
    let ways = filling.ways(lots, limit, WAYS);
    let before = filling.plan().clone();
    for way in &ways {
        filling.plan().clone_from(&before);
        filling.go(lots, way);
        let plan = filling.plan().clone();
        let waiting = plan.waiting_area();
        let left_over = filling.fill(lots, limit);
        if left_over == 0 {
            return true;
        }
        grown.push(Grown { left_over, waiting, plan });
    }
    false
}
