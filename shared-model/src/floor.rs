//! Rooms side by side on the plan of their level, joined through their openings; and which rooms share a pile direction.

use serde::{Deserialize, Serialize};

use crate::ids::{FlightId, GoodsId, RoomId};
use crate::job::{Angle, Job};
use crate::outline::Outline;
use crate::polygon::{Point, Ring};
use crate::problem::Problem;

/// All closed rooms placed on one plan.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Floor {
    pub rooms: Vec<PlacedRoom>,
    pub groups: Vec<NapGroup>,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct PlacedRoom {
    pub room: RoomId,
    pub name: String,
    pub level: i64,
    /// Turned by this (to the right) and then shifted, the room's own frame lies on the plan.
    pub turned: Angle,
    pub shift: Point,
    /// The outline on the plan.
    pub ring: Ring,
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

/// Places the closed rooms; rooms that nothing joins stand side by side.
pub fn place(job: &Job, outlines: Vec<(RoomId, Outline)>) -> (Floor, Vec<Problem>) {
    let _ = (job, outlines);
    todo!()
}
