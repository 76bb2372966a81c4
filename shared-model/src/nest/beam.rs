//! Several plans grow side by side, one piece at a time; those from which the best fit leaves the least over grow on.

use super::skyline::{Begun, Lot, Skyline};

/// Ways in which a plan may go on: the best fits into its lowest gap, besides leaving that gap.
const WAYS: usize = 6;

/// A plan that may grow on. The best is the least.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Grown {
    /// Area of what finds no place when the best fit goes on from here.
    left_over: i64,
    /// Area not laid yet: among equals, a plan that has laid the large pieces is better off.
    waiting: i64,
    plan: Begun,
}

/// Looks for a plan within `limit` among `width` plans at a time. When it answers yes, the skyline holds that plan. `go_on` hears
/// the skyline's steps, and may stop it.
pub(super) fn beam(
    skyline: &mut Skyline,
    lots: &[Lot],
    width: usize,
    limit: i64,
    mut go_on: impl FnMut(u64) -> bool,
) -> bool {
    skyline.begin(lots);
    let mut plans = vec![skyline.plan.clone()];
    let mut grown = Vec::new();
    while !plans.is_empty() {
        for plan in &plans {
            if !go_on(skyline.steps) {
                return false;
            }
            if grow(skyline, lots, plan, limit, &mut grown) {
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
fn grow(skyline: &mut Skyline, lots: &[Lot], plan: &Begun, limit: i64, grown: &mut Vec<Grown>) -> bool {
    skyline.plan.clone_from(plan);
    let Some((gap, ways)) = skyline.ways_on(lots, limit) else { return false };
    let before = skyline.plan.clone();
    for way in ways.into_iter().take(WAYS).map(Some).chain([None]) {
        skyline.plan.clone_from(&before);
        match way {
            Some(at) => skyline.lay(lots, gap, at),
            None if !skyline.raise(gap) => continue,
            None => {}
        }
        let plan = skyline.plan.clone();
        let waiting = plan.waiting_area();
        let left_over = skyline.fill(lots, limit);
        if left_over == 0 {
            return true;
        }
        grown.push(Grown { left_over, waiting, plan });
    }
    false
}
