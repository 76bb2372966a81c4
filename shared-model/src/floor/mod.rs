//! Rooms side by side on the plan of their level, joined through their openings; and which rooms share a pile direction.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::ids::{FlightId, GoodsId, OpeningId, RoomId};
use crate::job::{Angle, Flight, Job, Opening, Room};
use crate::length::Length;
use crate::outline::Outline;
use crate::polygon::{Area, Axis, Bounds, Point, Ring};
use crate::problem::{Place, Problem, ProblemKind};
use crate::survey::GlobalTest;

mod adjust;
mod blame;
mod carpet;
mod circuit;
mod join;
pub mod network;
mod reading;
mod words;

use join::Join;

/// Between rooms or groups of rooms that nothing joins, on the plan.
const APART: Length = Length::feet(4);

/// Rooms side by side may seem to reach into each other by this before it is called a mistake.
const OVERLAP: Length = Length::inches(1);

/// All closed rooms placed on one plan. Levels stand apart, each north of the one below it.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Floor {
    pub rooms: Vec<PlacedRoom>,
    pub groups: Vec<NapGroup>,
    /// How well the rooms fit together that doors join in loops.
    pub fits: Vec<Fit>,
}

/// Rooms that were adjusted together, because doors lead around in loops between them.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Fit {
    /// The first keeps its place.
    pub rooms: Vec<RoomId>,
    pub joins: Vec<JoinFit>,
    /// Of all loops, without the readings that a problem says do not fit.
    pub test: GlobalTest,
}

/// How well two sides of an opening fit.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct JoinFit {
    pub rooms: [RoomId; 2],
    /// In the order of the rooms.
    pub openings: [OpeningId; 2],
    /// How far the second room lies from where the first one's reading wants it, on the plan of the cluster: east, north.
    pub residual: Point,
    /// The larger of both in its own standard deviations; zero where no loop checks it.
    pub standardised: f64,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct PlacedRoom {
    pub room: RoomId,
    pub name: String,
    pub level: i64,
    /// Turned by this (to the right) and then shifted, the room's own frame lies on the plan.
    pub turned: Angle,
    pub shift: Point,
    /// The outline on the plan, straight from corner to corner.
    pub ring: Ring,
    /// The floor's edge on the plan: with arcs, and without what stands against the walls.
    pub face: Ring,
    /// What stands free on the floor.
    pub holes: Vec<Ring>,
    /// What the carpet covers on the plan: the outline with the half depth of each doorway that carpet runs into.
    pub covered: Ring,
    pub outline: Outline,
    /// Whether an opening joins it to the rooms around; otherwise it stands apart on the plan.
    pub joined: bool,
}

/// Rooms and flights of one goods that must share one pile direction.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NapGroup {
    pub goods: GoodsId,
    pub rooms: Vec<RoomId>,
    pub flights: Vec<FlightId>,
}

/// A closed room and where it lies on its cluster's plan, once that is known.
struct Site<'a> {
    room: &'a Room,
    outline: Outline,
    place: Option<Pose>,
}

/// How a room's frame lies on a plan: turned to the right, then shifted.
#[derive(Clone, Copy)]
struct Pose {
    turned: Angle,
    shift: Point,
}

impl Pose {
    const UNMOVED: Self = Self { turned: Angle::ZERO, shift: Point::ORIGIN };

    fn of(&self, point: Point) -> Point {
        point.turned(self.turned) + self.shift
    }

    fn ring(&self, ring: &Ring) -> Ring {
        ring.turned(self.turned).shifted(self.shift)
    }
}

/// Places the closed rooms; rooms that nothing joins stand side by side.
///
/// Two rooms are joined where an opening of one leads to the other: the centres of its two sides face each other with half
/// of each side's depth between them. Where doors lead around in a loop, all rooms of it are adjusted together.
pub fn place(job: &Job, outlines: Vec<(RoomId, Outline)>) -> (Floor, Vec<Problem>) {
    let found = outlines.into_iter().filter_map(|(id, outline)| Some((job.room(id)?, outline)));
    let mut sites: Vec<Site> = found.map(|(room, outline)| Site { room, outline, place: None }).collect();
    let (joins, mut problems) = join::joins(&sites, job);
    let clusters = clusters(&mut sites, &joins);
    let (fits, found) = adjust::adjust(&mut sites, &clusters, &joins, job);
    problems.extend(found);
    problems.extend(overlaps(&sites, &clusters, &fits, job));
    stand_apart(&mut sites, &clusters);

    let mut rooms = Vec::with_capacity(sites.len());
    for (i, Site { room, outline, place }) in sites.into_iter().enumerate() {
        let pose = place.unwrap_or(Pose::UNMOVED);
        let (covered, found) = carpet::covered(room, &outline);
        problems.extend(found);
        rooms.push(PlacedRoom {
            room: room.id,
            name: room.name.clone(),
            level: room.level,
            turned: pose.turned,
            shift: pose.shift,
            ring: pose.ring(&outline.ring),
            face: pose.ring(&outline.face),
            holes: outline.holes.iter().map(|it| pose.ring(it)).collect(),
            covered: pose.ring(&covered),
            outline,
            joined: joins.iter().any(|it| it.one.site == i || it.two.site == i),
        });
    }
    let (groups, found) = carpet::groups(job, &rooms, &joins);
    problems.extend(found);
    (Floor { rooms, groups, fits }, problems)
}

/// Places the rooms relative to each other, each along the first join that reaches it; gives the clusters of joined rooms.
fn clusters(sites: &mut [Site], joins: &[Join]) -> Vec<Vec<usize>> {
    let mut clusters = Vec::new();
    for root in 0..sites.len() {
        if sites[root].place.is_some() {
            continue;
        }
        sites[root].place = Some(Pose::UNMOVED);
        let mut cluster = vec![root];
        let mut reached = VecDeque::from([root]);
        while let Some(from) = reached.pop_front() {
            for join in joins {
                let Some((near, far)) = join.from(from) else { continue };
                let (Some(pose), None) = (sites[from].place, sites[far.site].place) else { continue };
                sites[far.site].place = Some(near.opposite(pose, far));
                cluster.push(far.site);
                reached.push_back(far.site);
            }
        }
        clusters.push(cluster);
    }
    clusters
}

/// Joined rooms that reach into each other, farther than the doors that do not fit explain: of those another problem tells.
fn overlaps(sites: &[Site], clusters: &[Vec<usize>], fits: &[Fit], job: &Job) -> Vec<Problem> {
    let ring = |i: usize| sites[i].place.map(|pose| pose.ring(&sites[i].outline.face));
    let mut problems = Vec::new();
    for cluster in clusters {
        let fit = fits.iter().find(|it| cluster.iter().any(|&site| it.rooms.contains(&sites[site].room.id)));
        let explained = fit.map_or(Length::ZERO, Fit::widest) + OVERLAP;
        let rings: Vec<(usize, Ring)> = cluster.iter().filter_map(|&i| Some((i, ring(i)?))).collect();
        for (n, (one, first)) in rings.iter().enumerate() {
            for (two, second) in &rings[n + 1..] {
                let depth = first.overlap(second).iter().map(depth).max().unwrap_or_default();
                if depth > explained {
                    let (one, two) = (sites[*one].room, sites[*two].room);
                    let text = format!(
                        "{} and {} reach {} into each other on the plan. Check the doors that join them and the walls between.",
                        one.title(),
                        two.title(),
                        depth.show(job.units.style())
                    );
                    problems.push(Problem::new(ProblemKind::BadFloor, Place::Room(two.id), text));
                }
            }
        }
    }
    problems
}

/// How thick a shape is on average, across its longer side.
fn depth(shape: &Ring) -> Length {
    let longer = shape.bounds().map_or(Length::ZERO, |it| it.size(Axis::X).max(it.size(Axis::Y)));
    let depth = shape.area().0.checked_div(i128::from(longer.0)).unwrap_or(0);
    Length(i64::try_from(depth).unwrap_or(i64::MAX))
}

/// Sets the clusters of each level in a row from west to east, the levels from south to north.
fn stand_apart(sites: &mut [Site], clusters: &[Vec<usize>]) {
    let mut levels: Vec<i64> = sites.iter().map(|it| it.room.level).collect();
    levels.sort_unstable();
    levels.dedup();
    let mut south = Length::ZERO;
    for level in levels {
        let (mut west, mut north) = (Length::ZERO, south);
        for cluster in clusters {
            if cluster.iter().any(|&i| sites[i].room.level != level) {
                continue;
            }
            let bounds = cluster.iter().filter_map(|&i| sites[i].place?.ring(&sites[i].outline.face).bounds());
            let Some(bounds) = bounds.reduce(Bounds::with) else { continue };
            let shift = Point::new(west, south) - bounds.min;
            for &i in cluster {
                if let Some(pose) = &mut sites[i].place {
                    pose.shift = pose.shift + shift;
                }
            }
            west += bounds.size(Axis::X) + APART;
            north = north.max(south + bounds.size(Axis::Y));
        }
        south = north + APART;
    }
}

impl Fit {
    /// The most that is left in a door.
    pub fn widest(&self) -> Length {
        self.joins.iter().map(|it| Point::ORIGIN.distance(it.residual)).max().unwrap_or_default()
    }
}

impl PlacedRoom {
    /// What the carpet covers, without what stands on the floor.
    pub fn net_area(&self) -> Area {
        let holes: i128 = self.holes.iter().map(|it| it.area().0).sum();
        Area(self.covered.area().0 - holes)
    }

    /// A point of the room's own frame on the plan.
    pub fn on_plan(&self, point: Point) -> Point {
        point.turned(self.turned) + self.shift
    }

    /// The floor's edge where a flight starts here, in clockwise order on the plan. `None` when it does not fit its wall, or starts
    /// elsewhere.
    pub fn foot(&self, flight: &Flight) -> Option<(Point, Point)> {
        let foot = flight.foot.filter(|it| it.room == self.room)?;
        let (from, to) = self.outline.span(foot.wall, foot.offset, flight.width)?;
        Some((self.on_plan(from), self.on_plan(to)))
    }

    /// The two sides of an opening on the plan, the first in clockwise order first. `None` when it does not fit its wall.
    pub fn opening(&self, opening: &Opening) -> Option<(Point, Point)> {
        self.outline.opening(opening).map(|(from, to)| (self.on_plan(from), self.on_plan(to)))
    }
}
