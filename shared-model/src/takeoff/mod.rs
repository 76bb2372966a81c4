//! The stages in sequence: from a job's readings to its seams, cuts and order. Read this file first.

pub mod file;

use serde::{Deserialize, Serialize};

use crate::floor::{self, Floor};
use crate::ids::GoodsId;
use crate::job::{Decision, Goods, Job};
use crate::layout::{self, Layout, SeamKind};
use crate::length::Length;
use crate::materials::{self, Materials};
use crate::outline;
use crate::problem::{Place, Problem, ProblemKind};
use crate::stairs;

/// Everything that follows from a job. Derived, recomputed, never stored.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
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
    /// The layout the crew chose, or the first without a cross seam, or the first.
    pub chosen: usize,
}

impl GoodsTakeoff {
    pub fn layout(&self) -> Option<&Layout> {
        self.layouts.get(self.chosen)
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
        let (layouts, found) = layout::layouts(job, &floor, each.id);
        problems.extend(found);
        let (chosen, found) = chosen(job, each, &layouts);
        problems.extend(found);
        goods.push(GoodsTakeoff { goods: each.id, name: each.name.clone(), layouts, chosen });
    }
    let layouts: Vec<&Layout> = goods.iter().filter_map(GoodsTakeoff::layout).collect();
    let materials = materials::materials(job, &floor, &layouts);
    Takeoff { floor, goods, materials, problems }
}

/// The newest choice of a layout, if it still exists, or else the usual one; and what is wrong with that choice today.
fn chosen(job: &Job, goods: &Goods, layouts: &[Layout]) -> (usize, Option<Problem>) {
    let choices = job.choices.iter().filter_map(|choice| match &choice.decision {
        Decision::Layout { goods: of, key, order } if *of == goods.id => {
            Some((choice.stamp.at, choice.id, key, *order))
        }
        _ => None,
    });
    let usual = usual(layouts);
    let Some((_, _, key, order)) = choices.max() else { return (usual, None) };
    let stale = |text: String| Some(Problem::new(ProblemKind::StalePlan, Place::Goods(goods.id), text));
    let show = |it: Length| it.show(job.units.style());
    let Some(index) = layouts.iter().position(|it| it.key == *key) else {
        let text =
            format!("{}: the plan chosen before no longer fits today's readings and rules. Choose again.", goods.name);
        return (usual, stale(text));
    };
    let today = layouts[index].order;
    if today <= order {
        return (index, None);
    }
    let text = format!(
        "{}: the chosen plan needs {} by today's readings, but needed {} when it was chosen. Order {} more, or choose again.",
        goods.name,
        show(today),
        show(order),
        show(today - order)
    );
    (index, stale(text))
}

/// What is laid when nobody chose: the shortest order without a cross seam. One that saves carpet by cross seams in sight is for a
/// person to choose (common practice).
fn usual(layouts: &[Layout]) -> usize {
    let whole = |it: &Layout| it.seams.iter().all(|seam| seam.kind != SeamKind::Cross);
    layouts.iter().position(whole).unwrap_or(0)
}
