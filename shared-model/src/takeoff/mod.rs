//! The stages in sequence: from a job's readings to its seams, cuts and order. Read this file first.

pub mod file;
mod out;
mod standing;

pub use standing::{Short, Standing};

use serde::{Deserialize, Serialize};

use crate::floor::{self, Floor};
use crate::ids::GoodsId;
use crate::job::{Goods, Job, Room};
use crate::layout::{Layout, Moved, SeamKind, Ways, Why};
use crate::length::Length;
use crate::materials::{self, Materials};
use crate::outline;
use crate::problem::{Place, Problem, ProblemKind};
use crate::stairs;

/// Everything that follows from a job. Derived, recomputed, never stored.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Takeoff {
    pub floor: Floor,
    pub goods: Vec<GoodsTakeoff>,
    pub materials: Materials,
    pub problems: Vec<Problem>,
}

/// The layouts to choose from for one goods.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct GoodsTakeoff {
    pub goods: GoodsId,
    pub name: String,
    /// Best first; empty while no room of this goods is closed.
    pub layouts: Vec<Layout>,
    /// The layout the crew chose (it is in the list even if another beats it), or the first without a cross seam or two rolls side by side,
    /// or the first.
    pub chosen: usize,
    /// How the plan that the crew chose stands today; `None` when nobody chose.
    #[serde(default)]
    pub standing: Option<Standing>,
}

impl GoodsTakeoff {
    pub fn layout(&self) -> Option<&Layout> {
        self.layouts.get(self.chosen)
    }
}

impl Takeoff {
    /// Rooms of these goods, or of all, that no number counts: not measured to the end yet, or in dispute since.
    pub fn left_out<'j>(&self, job: &'j Job, goods: Option<GoodsId>) -> impl Iterator<Item = &'j Room> {
        let counted = |room: &Room| self.floor.rooms.iter().any(|it| it.room == room.id);
        let of_these = move |room: &Room| goods.is_none() || job.goods_of(room.goods).map(|it| it.id) == goods;
        job.rooms.iter().filter(move |it| !counted(it) && of_these(it))
    }
}

/// Runs every stage. Bad readings are data: they become problems, and whatever is sound is still computed.
pub fn takeoff(job: &Job) -> Takeoff {
    let mut problems = Vec::new();
    let mut outlines = Vec::new();
    for room in &job.rooms {
        let (closed, found) = outline::close(room, &job.rules, job.units);
        problems.extend(found);
        outlines.extend(closed.map(|it| (room.id, it)));
    }
    let (floor, found) = floor::place(job, outlines);
    problems.extend(found);
    problems.extend(stairs::inspect(job, &floor));

    let mut goods = Vec::new();
    for each in &job.goods {
        let (taken, found) = of_goods(job, &floor, each);
        problems.extend(found);
        goods.push(taken);
    }
    let layouts: Vec<&Layout> = goods.iter().filter_map(GoodsTakeoff::layout).collect();
    let materials = materials::materials(job, &floor, &layouts);
    Takeoff { floor, goods, materials, problems }
}

fn of_goods(job: &Job, floor: &Floor, goods: &Goods) -> (GoodsTakeoff, Vec<Problem>) {
    let plan = standing::chosen(job, goods.id);
    let (ways, mut problems) = Ways::of(job, floor, goods.id, plan);
    let mut taken =
        GoodsTakeoff { goods: goods.id, name: goods.name.clone(), layouts: Vec::new(), chosen: 0, standing: None };
    let Some(ways) = ways else { return (taken, problems) };
    let (layouts, found) = ways.layouts();
    problems.extend(found);
    taken.chosen = usual(&layouts);
    taken.layouts = layouts;
    let judged = plan.and_then(|plan| standing::judged(job, &ways, plan, &mut taken.layouts));
    if let Some((chosen, standing)) = judged {
        if !standing.fits() {
            let text =
                format!("{}: the chosen plan. {} Check it before anyone cuts.", goods.name, standing.words(job.units));
            problems.push(Problem::new(ProblemKind::StalePlan, Place::Goods(goods.id), text));
        }
        (taken.chosen, taken.standing) = (chosen, Some(standing));
    } else if plan.is_some() {
        let why = ways.as_chosen().2.map(|it| format!(" {}", it.text)).unwrap_or_default();
        let text =
            format!("{}: the chosen plan cannot be cut any more.{why} Choose another, or measure again.", goods.name);
        problems.push(Problem::new(ProblemKind::StalePlan, Place::Goods(goods.id), text));
    }
    (taken, problems)
}

/// Why a seam of one of the takeoff's layouts lies where it does. `None` when there is no such seam in `of`, a takeoff of this job.
pub fn why(job: &Job, of: &Takeoff, goods: GoodsId, layout: &Layout, seam: usize) -> Option<Why> {
    Ways::of(job, &of.floor, goods, standing::chosen(job, goods)).0?.why(layout, seam)
}

/// What moving a seam of one of the takeoff's layouts would change; `by` counts to the right on the plan, or up. `None` for seams that cannot be
/// moved.
pub fn moved(job: &Job, of: &Takeoff, goods: GoodsId, layout: &Layout, seam: usize, by: Length) -> Option<Moved> {
    Ways::of(job, &of.floor, goods, standing::chosen(job, goods)).0?.moved(layout, seam, by)
}

/// What is laid when nobody chose: the shortest order without a cross seam, and without two rolls side by side. One that saves carpet by
/// these is for a person to choose (common practice).
fn usual(layouts: &[Layout]) -> usize {
    let cross_seamed = |it: &Layout| it.seams.iter().any(|seam| seam.kind == SeamKind::Cross);
    let usual = layouts.iter().enumerate().min_by_key(|(_, it)| (it.parted, cross_seamed(it)));
    usual.map_or(0, |(index, _)| index)
}
