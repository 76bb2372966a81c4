//! Which opening of one room is the other side of which opening of another.

use super::{Pose, Site};
use crate::ids::{OpeningId, RoomId, WallId};
use crate::job::{Angle, FloorAtOpening, Job, Opening, Rules, Tool};
use crate::length::Length;
use crate::polygon::Point;
use crate::problem::{Place, Problem, ProblemKind};
use crate::survey::sigma;

/// Two readings of one thing differ by more standard deviations than this once in 16 000 times.
const DIFFERENT: f64 = 4.0;

/// Two sides of one opening may differ in width by this when nothing else says that they belong together.
const SAME_WIDTH: Length = Length::inches(1);

/// One side of a join: an opening as seen from its room, in the room's own frame.
#[derive(Clone, Copy)]
pub(super) struct Side {
    pub site: usize,
    pub room: RoomId,
    pub opening: OpeningId,
    pub wall: WallId,
    /// The middle of the opening on its wall.
    pub centre: Point,
    /// The direction of the wall, with the room to its right.
    heading: Angle,
    half_depth: Length,
    pub floor: FloorAtOpening,
}

/// Two sides that are one opening.
pub(super) struct Join {
    pub one: Side,
    pub two: Side,
}

impl Join {
    /// The side in the given room, and the other.
    pub fn from(&self, site: usize) -> Option<(&Side, &Side)> {
        match site {
            _ if site == self.one.site => Some((&self.one, &self.two)),
            _ if site == self.two.site => Some((&self.two, &self.one)),
            _ => None,
        }
    }
}

impl Side {
    fn new(sites: &[Site], site: usize, opening: &Opening) -> Option<Self> {
        let outline = &sites[site].outline;
        let wall = outline.walls.iter().position(|&it| it == opening.wall)?;
        let (from, to) = outline.opening(opening)?;
        Some(Self {
            site,
            room: sites[site].room.id,
            opening: opening.id,
            wall: opening.wall,
            centre: from + (to - from).scaled(Length(1), Length(2)),
            heading: *outline.headings.get(wall)?,
            half_depth: opening.depth / 2,
            floor: opening.floor,
        })
    }

    /// The direction through the wall, out of the room.
    pub fn outward(&self) -> Angle {
        self.heading.then(Angle(-Angle::QUARTER.0))
    }

    /// Where the room beyond lies when this room lies at `pose`.
    pub fn opposite(&self, pose: Pose, beyond: &Self) -> Pose {
        let heading = pose.turned.then(self.heading);
        let turned = heading.then(Angle::degrees(180)).then(Angle(-beyond.heading.0));
        Pose { turned, shift: self.facing(pose, beyond) - beyond.centre.turned(turned) }
    }

    /// Where the middle of the other side lies when this room lies at `pose`.
    pub fn facing(&self, pose: Pose, beyond: &Self) -> Point {
        let outward = pose.turned.then(self.outward());
        pose.of(self.centre) + Point::toward(outward, self.half_depth + beyond.half_depth)
    }
}

/// Pairs the openings that lead from closed rooms to closed rooms, each with its counterpart: one that leads back, or
/// else the only one there that says nothing and is as wide.
pub(super) fn joins(sites: &[Site], job: &Job) -> (Vec<Join>, Vec<Problem>) {
    let mut joins: Vec<Join> = Vec::new();
    let mut problems = Vec::new();
    let mut used: Vec<(usize, OpeningId)> = Vec::new();
    for (site, near) in sites.iter().enumerate() {
        for opening in walked(near) {
            let beyond = opening.leads_to.and_then(|id| sites.iter().position(|it| it.room.id == id));
            let Some(beyond) = beyond.filter(|&it| it != site && !used.contains(&(site, opening.id))) else { continue };
            let Some(one) = Side::new(sites, site, opening) else { continue };
            let far = &sites[beyond];
            if far.room.level != near.room.level {
                let text = format!(
                    "{}: the {} leads to {}, which is on another level. Say where it leads.",
                    near.room.title(),
                    opening.kind.title(),
                    far.room.title()
                );
                problems.push(bad(&one, text));
                continue;
            }
            match counterpart(sites, &one, opening, beyond, &used) {
                Some(two) => {
                    used.extend([(site, opening.id), (beyond, two.opening)]);
                    problems.extend(floors(near, far, &one, &two));
                    problems.extend(sizes(near, far, &one, &two, job));
                    joins.push(Join { one, two });
                }
                None => {
                    let (name, other, what) = (near.room.title(), far.room.title(), opening.kind.title());
                    let text = format!(
                        "{name}: the {what} leads to {other}, but {other} has none that leads back. Add it there, so that both rooms can stand side by side."
                    );
                    problems.push(bad(&one, text));
                }
            }
        }
    }
    (joins, problems)
}

fn bad(side: &Side, text: String) -> Problem {
    Problem::new(ProblemKind::BadFloor, Place::Opening(side.room, side.opening), text)
}

/// The openings of a room that one walks through.
fn walked<'a>(site: &Site<'a>) -> impl Iterator<Item = &'a Opening> + use<'a> {
    site.room.openings.iter().filter(|it| it.kind.reaches_floor())
}

/// The other side of an opening. When several lead back, the one that also brings the others together.
fn counterpart(
    sites: &[Site],
    one: &Side,
    opening: &Opening,
    beyond: usize,
    used: &[(usize, OpeningId)],
) -> Option<Side> {
    let far = &sites[beyond];
    let differs = |it: &Opening| (it.width - opening.width).abs();
    let free: Vec<&Opening> = walked(far).filter(|it| !used.contains(&(beyond, it.id))).collect();
    let back = free.iter().filter(|it| it.leads_to == Some(one.room));
    let back = back.filter_map(|it| Some((misfit(sites, one, Side::new(sites, beyond, it)?), differs(it), it)));
    if let Some((_, _, found)) = back.min_by_key(|&(misfit, differs, _)| (misfit, differs)) {
        return Side::new(sites, beyond, found);
    }
    let mut silent = free.into_iter().filter(|it| it.leads_to.is_none() && differs(it) <= SAME_WIDTH);
    let only = silent.next()?;
    if silent.next().is_some() { None } else { Side::new(sites, beyond, only) }
}

/// How far apart the other openings between both rooms lie when `one` and `two` are the same.
fn misfit(sites: &[Site], one: &Side, two: Side) -> Length {
    let between = |from: &Side, to: &Side| {
        let (from, to) = (*from, to.room);
        let others = walked(&sites[from.site]).filter(move |it| it.leads_to == Some(to) && it.id != from.opening);
        others.filter_map(move |it| Side::new(sites, from.site, it)).map(|it| it.centre)
    };
    let pose = one.opposite(Pose::UNMOVED, &two);
    let nearest = |centre: Point| between(&two, one).map(|it| pose.of(it).distance(centre)).min();
    between(one, &two).filter_map(nearest).sum()
}

/// Both sides of an opening must agree whether another floor begins there.
fn floors(near: &Site, far: &Site, one: &Side, two: &Side) -> Option<Problem> {
    let other = |it: &Side| it.floor == FloorAtOpening::OtherFloor;
    if other(one) == other(two) {
        return None;
    }
    let (ends, goes_on) = if other(one) { (near, far) } else { (far, near) };
    let text = format!(
        "The opening between {} and {}: seen from {} another floor begins there, seen from {} the carpet goes on. Settle which.",
        near.room.title(),
        far.room.title(),
        ends.room.title(),
        goes_on.room.title()
    );
    Some(Problem::new(ProblemKind::Disputed, Place::Opening(one.room, one.opening), text))
}

/// A width or depth that was read in both rooms must be the same but for what the tape leaves of two readings.
fn sizes(near: &Site, far: &Site, one: &Side, two: &Side, job: &Job) -> Option<Problem> {
    let [here, there] = [(near, one), (far, two)].map(|(site, side)| walked(site).find(|it| it.id == side.opening));
    let (here, there) = (here?, there?);
    let said = [("wide", here.width, there.width), ("deep", here.depth, there.depth)];
    let (what, first, second) = said.into_iter().find(|&(_, a, b)| differ(a, b, &job.rules))?;
    let show = |it: Length| it.show(job.units.style());
    let text = format!(
        "The opening between {} and {}: {what} {} seen from {}, {} seen from {}. Measure it again; until then both count.",
        near.room.title(),
        far.room.title(),
        show(first),
        near.room.title(),
        show(second),
        far.room.title()
    );
    Some(Problem::new(ProblemKind::Disputed, Place::Opening(one.room, one.opening), text))
}

fn differ(one: Length, other: Length, rules: &Rules) -> bool {
    let [a, b] = [one, other].map(|it| sigma(it, Tool::Tape, rules).as_mm());
    (one - other).abs().as_mm() > DIFFERENT * libm::hypot(a, b)
}

/// Whether the placed rooms have the turns that a join asks for, as far as corners are known; a problem says by how much not.
pub(super) fn turn(sites: &[Site], join: &Join, rules: &Rules) -> Result<(), Problem> {
    let Join { one, two } = join;
    let (near, far) = (&sites[one.site], &sites[two.site]);
    let (Some(pose), Some(found)) = (near.place, far.place) else { return Ok(()) };
    let expected = one.opposite(pose, two);
    let off = Angle(found.turned.0 - expected.turned.0).direction();
    let off_either_way = off.0.min(Angle::FULL.0 - off.0);
    if off_either_way as f64 <= DIFFERENT * rules.square.0 as f64 {
        return Ok(());
    }
    let text = format!(
        "{} and {}: by the other doors, the two sides of the opening between them lie turned by {} against each other. \
         Check the doors' places and the walls on the way round.",
        near.room.title(),
        far.room.title(),
        off.show()
    );
    Err(bad(one, text))
}
