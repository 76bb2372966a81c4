//! Published strip packing instances (`data/packing/SOURCE.md`).

use serde::Deserialize;
use shared_model::length::Length;
use shared_model::nest::{Column, NestPiece, SteppedPiece};

/// One published instance, in its own whole units.
#[derive(Deserialize, Debug)]
pub struct Instance {
    pub name: String,
    pub strip_width: i64,
    /// Width across, height along, count.
    items: Vec<(i64, i64, usize)>,
    pub lower_bound: i64,
    /// The shortest plan that was found for the collection; no record of the literature.
    pub best_known: Option<i64>,
    pub optimum: Option<i64>,
    /// Length of the published plan that can be cut edge to edge.
    pub guillotine_reference: Option<i64>,
}

/// The sets of the repository, with their names.
pub fn sets() -> [(&'static str, Vec<Instance>); 6] {
    [
        ("C", instances(include_str!("../data/packing/C.jsonl"))),
        ("N", instances(include_str!("../data/packing/N.jsonl"))),
        ("NT", instances(include_str!("../data/packing/NT.jsonl"))),
        ("2SP", instances(include_str!("../data/packing/2SP.jsonl"))),
        ("BWMV", instances(include_str!("../data/packing/BWMV.jsonl"))),
        ("KR", instances(include_str!("../data/packing/KR.jsonl"))),
    ]
}

/// Strips of hundreds to tens of thousands of pieces.
pub fn large() -> Vec<Instance> {
    instances(include_str!("../data/packing/ZDF.jsonl"))
}

/// Strips with the length of a plan that can be cut edge to edge.
pub fn cuttable() -> Vec<Instance> {
    instances(include_str!("../data/packing/SCP_guillotine.jsonl"))
}

fn instances(lines: &str) -> Vec<Instance> {
    let rows = lines.lines().map(serde_json::from_str);
    rows.collect::<Result<_, _>>().unwrap_or_else(|error| unreachable!("the repository's own data: {error}"))
}

impl Instance {
    pub fn pieces(&self) -> Vec<NestPiece> {
        let each = self.items.iter().enumerate().flat_map(|(i, &(width, length, count))| {
            (0..count).map(move |copy| NestPiece {
                id: format!("{i}.{copy}"),
                width: Length(width),
                length: Length(length),
                phase: None,
                across: None,
            })
        });
        each.collect()
    }

    /// The optimum where it is known, or the best lower bound that was published with the collection.
    pub fn reference(&self) -> i64 {
        self.optimum.unwrap_or(self.lower_bound)
    }
}

/// A house of rooms that are no rectangles, and stairs that may be cut into parts; nothing is turned.
#[derive(Deserialize, Debug)]
pub struct CarpetInstance {
    pub name: String,
    pub roll_width: i64,
    /// Of each room the rectangles it consists of: along and across to its corner, length along, width across.
    rooms: Vec<Vec<(i64, i64, i64, i64)>>,
    /// Length, width, steps, fewest steps in a part, most cuts.
    stairs: Vec<(i64, i64, usize, usize, usize)>,
    pub lower_bound: i64,
    pub best_known: i64,
}

/// Houses of the MiniZinc benchmarks whose rooms fit on the roll as they lie.
pub fn carpets() -> Vec<CarpetInstance> {
    let rows = include_str!("../data/packing/carpet.jsonl").lines().map(serde_json::from_str);
    rows.collect::<Result<_, _>>().unwrap_or_else(|error| unreachable!("the repository's own data: {error}"))
}

impl CarpetInstance {
    fn rooms(&self) -> impl Iterator<Item = SteppedPiece> {
        self.rooms.iter().enumerate().map(|(n, parts)| {
            let mut edges: Vec<i64> = parts.iter().flat_map(|&(_, y, _, width)| [y, y + width]).collect();
            edges.sort_unstable();
            edges.dedup();
            let columns = edges.windows(2).map(|slab| {
                let within = parts.iter().filter(|&&(_, y, _, width)| y <= slab[0] && slab[1] <= y + width);
                let ends: Vec<(i64, i64)> = within.map(|&(x, _, length, _)| (x, x + length)).collect();
                let from = ends.iter().map(|it| it.0).min().unwrap_or_default();
                let to = ends.iter().map(|it| it.1).max().unwrap_or_default();
                Column { width: Length(slab[1] - slab[0]), from: Length(from), to: Length(to) }
            });
            SteppedPiece { id: format!("room {n}"), columns: columns.collect(), phase: None }
        })
    }

    /// All pieces with the stairs cut in each way that is allowed; last the steps one by one, which no plan undercuts.
    pub fn ways(&self) -> (Vec<Vec<SteppedPiece>>, Vec<SteppedPiece>) {
        let mut ways: Vec<Vec<SteppedPiece>> = vec![self.rooms().collect()];
        let mut single = ways[0].clone();
        for (n, &(length, width, steps, least, most_cuts)) in self.stairs.iter().enumerate() {
            let flight = |parts: &[usize]| {
                let part = |(i, count): (usize, &usize)| {
                    let to = Length(length / steps as i64 * *count as i64);
                    let column = Column { width: Length(width), from: Length::ZERO, to };
                    SteppedPiece { id: format!("stair {n}.{i}"), columns: vec![column], phase: None }
                };
                parts.iter().enumerate().map(part).collect::<Vec<_>>()
            };
            single.extend(flight(&vec![1; steps]));
            let cut: Vec<Vec<SteppedPiece>> =
                partitions(steps, least, steps, most_cuts + 1).iter().map(|it| flight(it)).collect();
            ways = ways.iter().flat_map(|way| cut.iter().map(move |it| [&way[..], it].concat())).collect();
        }
        (ways, single)
    }
}

/// The ways to part so many steps into parts from `least` to `most`, the longest first, in at most `parts`.
fn partitions(steps: usize, least: usize, most: usize, parts: usize) -> Vec<Vec<usize>> {
    if steps == 0 {
        return vec![Vec::new()];
    }
    if parts == 0 {
        return Vec::new();
    }
    let rest = |first: usize| {
        partitions(steps - first, least, first, parts - 1).into_iter().map(move |it| [vec![first], it].concat())
    };
    (least..=most.min(steps)).rev().flat_map(rest).collect()
}
