//! What was read of the rooms of a cluster and of the openings between them, and how it enters the joins.
//!
//! A join says where its second room lies as seen from its first: from the first room's frame to the middle of the opening,
//! through the wall, and from the middle of the opening to the second room's frame. What may be off in that:
//!
//! * *along the wall*: the offset of the opening, read in each of the two rooms, and half of its width, read likewise;
//! * *across it*: half of the depth, read in each of the two rooms; and the wall itself. Where it is not square to the
//!   rest of its rooms it takes both rooms with it, so what is left is the distance between the middles of the room's two
//!   walls, as seen along the wall, times the σ of a square corner;
//! * *the shape of each room*: the lengths of its walls, between one of its openings and the next. The room's ring closes both
//!   ways round, so each length counts with the part that its closed ring leaves of it, by least squares with the directions
//!   kept (as a levelling loop is closed: Ghilani, *Adjustment Computations*, ch. 12). Checks across a room would make
//!   it better still and are not counted here.
//!
//! Every length has the σ of its instrument and of the wall's surface, as in a room's survey; openings are read by tape.

use nalgebra::Matrix2;

use super::Site;
use super::join::{Join, Side};
use super::network::{FREE, Reading, Step};
use crate::ids::{OpeningId, WallId};
use crate::job::{Angle, Rules, Tool, Wall};
use crate::length::Length;
use crate::polygon::Point;
use crate::survey::sigma;

/// Where a reading comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Source {
    /// Where an opening lies on its wall.
    Offset { site: usize, opening: OpeningId },
    /// A wall that nothing else in its room checks. (A slip in one that is checked leaves its room open.)
    Wall { site: usize, wall: WallId },
    /// Where the two sides of a join lie across their wall, as far as that is no one's reading.
    Across { join: usize },
    /// What shows elsewhere when it is wrong: a width or depth that is read twice, a wall that is checked.
    Checked,
}

/// Of a slip in a wall's length this part at most shows in its room's own misclosure.
const UNCHECKED: f64 = 1e-3;

/// One side of a join as the join sees it: the first side's room comes before the step, the second side's after it.
struct Seat<'a> {
    join: usize,
    side: &'a Side,
    sign: f64,
    /// How the side's room is turned on the plan.
    turned: Angle,
}

/// All readings that enter the joins, with their sources in the same order. Joins are numbered by their position.
pub(super) fn readings(sites: &[Site], joins: &[&Join], rules: &Rules) -> (Vec<Source>, Vec<Reading>) {
    let turned = |side: &Side| sites[side.site].place.map_or(Angle::ZERO, |it| it.turned);
    let mut seats = Vec::with_capacity(2 * joins.len());
    for (join, Join { one, two }) in joins.iter().enumerate() {
        seats.push(Seat { join, side: one, sign: 1.0, turned: turned(one) });
        seats.push(Seat { join, side: two, sign: -1.0, turned: turned(two) });
    }
    let (mut sources, mut readings) = (Vec::new(), Vec::new());
    let mut add = |(source, reading): (Source, Reading)| {
        sources.push(source);
        readings.push(reading);
    };
    for seat in &seats {
        of_opening(seat, sites, rules).into_iter().flatten().for_each(&mut add);
    }
    for pair in seats.chunks_exact(2) {
        if let [one, two] = pair {
            add(of_wall_between(one, two, sites, rules));
        }
    }
    for (at, site) in sites.iter().enumerate() {
        let own: Vec<&Seat> = seats.iter().filter(|it| it.side.site == at).collect();
        // A room with one way in has no shape that matters.
        if own.len() > 1 {
            of_shape(at, site, &own, rules).into_iter().for_each(&mut add);
        }
    }
    (sources, readings)
}

/// Its offset and width along the wall, its depth across.
fn of_opening(seat: &Seat, sites: &[Site], rules: &Rules) -> Option<[(Source, Reading); 3]> {
    let Side { site, opening, .. } = *seat.side;
    let read = sites[site].room.openings.iter().find(|it| it.id == opening)?;
    let along = seat.along(sites)? * seat.sign;
    let (east, north) = seat.turned.then(seat.side.outward()).unit();
    let outward = Step::new(east, north) * seat.sign;
    let of = |value: Length, moves: Step| Reading { sigma: mm(value, rules), moves: vec![(seat.join, moves)] };
    Some([
        (Source::Offset { site, opening }, of(read.offset, along)),
        (Source::Checked, of(read.width, along * 0.5)),
        (Source::Checked, of(read.depth, outward * 0.5)),
    ])
}

/// The wall between two rooms: how far the middles of its two faces lie apart along it, times how far it may be out of square.
fn of_wall_between(one: &Seat, two: &Seat, sites: &[Site], rules: &Rules) -> (Source, Reading) {
    let [to_one, to_two] = [one, two].map(|seat| {
        let wall = sites[seat.side.site].outline.wall(seat.side.wall);
        let middle = wall.map(|(start, end)| start + (end - start).scaled(Length(1), Length(2)));
        seat.on_plan(step(middle.unwrap_or(seat.side.centre) - seat.side.centre))
    });
    let (east, north) = one.turned.then(one.side.outward()).unit();
    let across = Step::new(east, north);
    let radians = rules.square.0 as f64 / Angle::FULL.0 as f64 * core::f64::consts::TAU;
    let apart = (to_two - to_one).perp(&across).abs();
    let sigma = (apart * radians).max(Length(1).as_mm());
    (Source::Across { join: one.join }, Reading { sigma, moves: vec![(one.join, across)] })
}

/// The lengths of a room's walls.
fn of_shape(at: usize, site: &Site, seats: &[&Seat], rules: &Rules) -> Vec<(Source, Reading)> {
    let Some(legs) = site.legs(rules) else { return Vec::new() };
    let stretch = |leg: &Leg| leg.along * leg.along.transpose() * (leg.sigma * leg.sigma);
    // The room's misclosure varies by so much; before each wall, and all around.
    let mut before = vec![Matrix2::zeros()];
    for leg in &legs {
        before.push(before[before.len() - 1] + stretch(leg));
    }
    let Some(inverse) = before[legs.len()].try_inverse() else { return Vec::new() };
    let mut readings = Vec::with_capacity(legs.len());
    for (m, (leg, wall)) in legs.iter().zip(&site.room.walls).enumerate() {
        let share = inverse * leg.along;
        let moves = seats.iter().filter_map(|seat| {
            let start = site.room.walls.iter().position(|it| it.id == seat.side.wall)?;
            let walked = if m < start { leg.along } else { Step::zeros() };
            Some((seat.join, seat.on_plan(walked - before[start] * share) * seat.sign))
        });
        let reading = Reading { sigma: leg.sigma, moves: moves.collect() };
        let shown = leg.sigma * leg.sigma * leg.along.dot(&share);
        let blamed = leg.sigma < FREE && shown < UNCHECKED;
        let source = if blamed { Source::Wall { site: at, wall: wall.id } } else { Source::Checked };
        readings.push((source, reading));
    }
    readings
}

/// A wall as it is walked.
struct Leg {
    along: Step,
    /// In millimetres; [`FREE`] when it was not read.
    sigma: f64,
}

impl Site<'_> {
    /// `None` when a wall has no direction.
    fn legs(&self, rules: &Rules) -> Option<Vec<Leg>> {
        let legs = self.room.walls.iter().map(|wall| {
            let (start, end) = self.outline.wall(wall.id)?;
            let along = step(end - start).try_normalize(0.0)?;
            Some(Leg { along, sigma: of_mean(wall, rules) })
        });
        legs.collect()
    }
}

impl Seat<'_> {
    /// The direction on the plan in which the side's wall is walked.
    fn along(&self, sites: &[Site]) -> Option<Step> {
        let (start, end) = sites[self.side.site].outline.wall(self.side.wall)?;
        Some(self.on_plan(step(end - start).try_normalize(0.0)?))
    }

    fn on_plan(&self, step: Step) -> Step {
        let (sin, cos) = self.turned.unit();
        Step::new(step.x * cos + step.y * sin, step.y * cos - step.x * sin)
    }
}

/// The σ of the mean of a wall's readings in force, in millimetres.
fn of_mean(wall: &Wall, rules: &Rules) -> f64 {
    let sigmas: Vec<f64> = wall.in_force().map(|it| sigma(it.value, it.tool, rules).as_mm()).collect();
    let variance: f64 = sigmas.iter().map(|it| it * it).sum();
    if sigmas.is_empty() { FREE } else { libm::sqrt(variance) / sigmas.len() as f64 }
}

/// The σ of a length read by tape, in millimetres.
fn mm(value: Length, rules: &Rules) -> f64 {
    sigma(value, Tool::Tape, rules).as_mm()
}

fn step(point: Point) -> Step {
    Step::new(point.x.as_mm(), point.y.as_mm())
}
