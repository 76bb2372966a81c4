//! Which opening of one room is the other side of which opening of another.

use super::{AGREEMENT, Pose, Site};
use crate::ids::{OpeningId, RoomId};
use crate::job::{Angle, FloorAtOpening, Opening};
use crate::length::{Length, Units};
use crate::polygon::Point;
use crate::problem::{Place, Problem, ProblemKind};

/// Two sides of one opening may differ in width by this when nothing else says that they belong together.
const SAME_WIDTH: Length = Length::inches(1);

/// One side of a join: an opening as seen from its room, in the room's own frame.
#[derive(Clone, Copy)]
pub(super) struct Side {
    pub site: usize,
    room: RoomId,
    opening: OpeningId,
    /// The middle of the opening on its wall.
    centre: Point,
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
            centre: from + (to - from).scaled(Length(1), Length(2)),
            heading: *outline.headings.get(wall)?,
            half_depth: opening.depth / 2,
            floor: opening.floor,
        })
    }

    /// Where the room beyond lies when this room lies at `pose`.
    pub fn opposite(&self, pose: Pose, beyond: &Self) -> Pose {
        let heading = pose.turned.then(self.heading);
        let turned = heading.then(Angle::degrees(180)).then(Angle(-beyond.heading.0));
        let outward = heading.then(Angle(-Angle::QUARTER.0));
        let centre = pose.of(self.centre) + Point::toward(outward, self.half_depth + beyond.half_depth);
        Pose { turned, shift: centre - beyond.centre.turned(turned) }
    }
}

/// Pairs the openings that lead from closed rooms to closed rooms, each with its counterpart: one that leads back, or
/// else the only one there that says nothing and is as wide.
pub(super) fn joins(sites: &[Site]) -> (Vec<Join>, Vec<Problem>) {
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

/// Joins that the placed rooms do not meet: doors that lead around in a loop and disagree.
pub(super) fn loops(sites: &[Site], joins: &[Join], units: Units) -> Vec<Problem> {
    let mut problems = Vec::new();
    for Join { one, two } in joins {
        let (near, far) = (&sites[one.site], &sites[two.site]);
        let (Some(pose), Some(found)) = (near.place, far.place) else { continue };
        let expected = one.opposite(pose, two);
        let (name, other) = (near.room.title(), far.room.title());
        let why = if expected.turned != found.turned {
            let turned = Angle(found.turned.0 - expected.turned.0).direction().show();
            format!("turned by {turned} against each other")
        } else {
            let off = expected.of(two.centre).distance(found.of(two.centre));
            if off <= AGREEMENT {
                continue;
            }
            format!("{} apart", off.show(units.style()))
        };
        let text = format!(
            "{name} and {other}: by the other doors, the two sides of the opening between them lie {why}. Check the doors' places and the walls on the way round."
        );
        problems.push(bad(one, text));
    }
    problems
}
