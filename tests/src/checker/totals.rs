//! What a layout adds up to.

use shared_model::floor::PlacedRoom;
use shared_model::job::{Fixture, FixtureKind};
use shared_model::layout::Part;

use shared_model::length::Length;

use super::plane::doubled_area;
use super::{Check, Faults, TOLERANCE};

impl<'a> Check<'a> {
    pub(super) fn totals(&self, faults: &mut Faults) {
        let layout = self.layout;
        let rooms = self.takeoff.floor.rooms.iter().filter(|it| {
            let room = self.as_one(it.room)[0].room;
            self.pieces_of(room).next().is_some() || self.is_left_out(room)
        });
        let rooms: Vec<&PlacedRoom> = rooms.collect();
        let standing: Vec<&Fixture> = rooms.iter().flat_map(|it| self.free(it)).collect();
        let holes: i128 = standing.iter().map(|it| i128::from(it.width.0) * i128::from(it.depth.0)).sum();
        let floor = rooms.iter().map(|it| doubled_area(&it.covered).abs() / 2).sum::<i128>() - holes;
        // Their corners are rounded to counts where a wall does not run along an axis.
        let play: f64 = standing.iter().map(|it| 2.0 * TOLERANCE * (it.width.0 + it.depth.0) as f64).sum();
        let close = |one: i128, other: i128| ((one - other) as f64).abs() <= play;
        let laid = |id| {
            let all = layout.placed().map(|(it, _)| it).chain(&layout.left_out);
            all.map(|it| it.part).any(|it| matches!(it, Part::Flight { flight, .. } if flight == id))
        };
        let stairs = self.job.flights.iter().filter(|it| laid(it.id));
        let stairs: i128 = stairs
            .map(|it| {
                let over = |going: Length| i128::from(going.0 + it.nosing.0 + it.riser.0);
                let straight = over(it.going) * i128::from(it.steps - it.winders);
                let winders = over(it.winder_reach) * i128::from(it.winders);
                let landing = if it.landing.0 > 0 { over(it.landing) } else { 0 };
                let wide = i128::from(it.width.0.max(it.winder_reach.0));
                (straight + landing) * i128::from(it.width.0) + winders * wide
            })
            .sum();
        let ordered = i128::from(layout.order.0) * i128::from(self.goods.roll_width.0);
        let net = layout.net.0;
        faults.expect(close(net, floor + stairs), || format!("net area: {net}, but should be {}", floor + stairs));
        faults.equal(|| "ordered area".into(), &layout.ordered.0, &ordered);
        let used = layout.others.iter().filter(|it| it.source.remnant().is_some());
        let used = used.map(|it| i128::from(it.roll.length.0) * i128::from(it.roll.width.0));
        let left_out = layout.left_out.iter().map(|it| i128::from(it.width.0) * i128::from(it.length.0));
        let carpet = ordered + used.sum::<i128>() + left_out.sum::<i128>();
        faults.equal(|| "waste".into(), &layout.waste().0, &(carpet - net));
        let seams: i64 = layout.seams.iter().map(|it| it.length.0).sum();
        faults.equal(|| "seam length".into(), &layout.seam_length.0, &seams);
        let points: i64 = layout.seams.iter().flat_map(|it| &it.costs).map(|it| it.points).sum();
        faults.equal(|| "seam cost".into(), &layout.seam_cost, &points);
        let reasons = layout.seams.iter().flat_map(|it| &it.costs).all(|it| it.points > 0 && it.reason.ends_with("."));
        faults.expect(reasons, || "a seam costs points without a reason".into());
    }

    /// What stands free on a room's floor and is not laid over.
    fn free(&self, placed: &'a PlacedRoom) -> impl Iterator<Item = &'a Fixture> + use<'a> {
        let fixtures = self.job.room(placed.room).into_iter().flat_map(|it| &it.fixtures);
        let free = |it: &Fixture| it.clear.0 > 0 && it.kind != FixtureKind::Register;
        fixtures.filter(move |it| free(it) && placed.outline.standing.contains(&it.id))
    }
}
