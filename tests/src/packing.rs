//! Published strip packing instances (`data/packing/SOURCE.md`).

use serde::Deserialize;
use shared_model::length::Length;
use shared_model::nest::NestPiece;

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
