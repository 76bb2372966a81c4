//! The open file of `napline takeoff`: a job in, its whole takeoff out.
//!
//! Lengths are written twice, as exact text and in millimetres; points of the plan in millimetres only. A count of 1/8 µm
//! has at most six decimals in millimetres, so these too are exact.

use std::fmt::Write;

use serde::Serialize;

use super::{GoodsTakeoff, Takeoff, takeoff};
use crate::job::Job;
use crate::layout::{Extra, GroupPile, Layout, Part, Piece, PileDirection, Seam, SeamCost, SeamKind};
use crate::length::{Length, Units};
use crate::open_file::{self, FileError};
use crate::polygon::{Area, AreaUnit, Point, Ring};
use crate::problem::Problem;

/// A job file and what follows from it, ready to be written.
#[derive(Clone, PartialEq, Debug)]
pub struct FileTakeoff {
    job: Job,
    takeoff: Takeoff,
}

/// Reads a job file and runs every stage.
pub fn run(json: &str) -> Result<FileTakeoff, FileError> {
    let job: Job = open_file::read(json)?;
    let takeoff = takeoff(&job);
    Ok(FileTakeoff { job, takeoff })
}

impl FileTakeoff {
    pub fn takeoff(&self) -> &Takeoff {
        &self.takeoff
    }

    pub fn has_problems(&self) -> bool {
        !self.takeoff.problems.is_empty()
    }

    /// The takeoff as one line of JSON, ended by a line feed.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        let rooms = self.takeoff.floor.rooms.iter().map(|it| RoomOut {
            room: it.room.to_string(),
            name: &it.name,
            level: it.level,
            outline: ring(&it.ring),
            floor: ring(&it.face),
            holes: it.holes.iter().map(ring).collect(),
            covered: ring(&it.covered),
            perimeter: it.outline.perimeter.into(),
            area: it.outline.area.into(),
        });
        let materials = &self.takeoff.materials;
        let out = Out {
            job: self.job.id.to_string(),
            name: &self.job.name,
            rooms: rooms.collect(),
            goods: self.takeoff.goods.iter().map(GoodsOut::of).collect(),
            materials: MaterialsOut {
                pad: materials.pad.into(),
                strip: materials.strip.into(),
                well_edges: materials.well_edges.into(),
                tape: materials.tape.into(),
                transitions: materials.transitions.iter().map(|it| (*it).into()).collect(),
                power_stretch: &materials.power_stretch,
            },
            problems: &self.takeoff.problems,
        };
        Ok(serde_json::to_string(&out)? + "\n")
    }

    /// The takeoff for people.
    pub fn text(&self) -> String {
        let mut text = format!("{}\n", self.job.name);
        for goods in &self.takeoff.goods {
            match goods.layout() {
                Some(layout) => goods_text(&mut text, &self.job, goods, layout),
                None => {
                    let _ = writeln!(text, "\n{}: nothing to lay yet.", goods.name);
                }
            }
        }
        let materials = &self.takeoff.materials;
        let up = |it: Length| it.show_up(self.job.units.style());
        let _ = writeln!(
            text,
            "\nPad {}, tack strip {}, seam tape {}, transitions {}.",
            area_text(materials.pad, self.job.units),
            up(materials.strip),
            up(materials.tape),
            materials.transitions.len()
        );
        if !self.takeoff.problems.is_empty() {
            text += "\nTo settle before cutting:\n";
            for problem in &self.takeoff.problems {
                let _ = writeln!(text, "- {}", problem.text);
            }
        }
        text
    }
}

fn goods_text(text: &mut String, job: &Job, goods: &GoodsTakeoff, layout: &Layout) {
    let show = |it: Length| it.show(job.units.style());
    let up = |it: Length| it.show_up(job.units.style());
    let area = |it: Area| area_text(it, job.units);
    let proof =
        if layout.roll.optimal() { "no plan of these cuts is shorter" } else { "a shorter plan is not ruled out" };
    let _ = writeln!(text, "\n{}: order {} ({}).", goods.name, up(layout.order), layout.name);
    let _ = writeln!(text, "  Roll used {}; {proof}.", up(layout.roll.length));
    let _ = writeln!(
        text,
        "  Net {}, ordered {}, waste {}. Seams {}.",
        area(layout.net),
        area(layout.ordered),
        area(layout.waste),
        show(layout.seam_length)
    );
    let mut order: Vec<usize> = (0..layout.pieces.len()).collect();
    order.sort_by_key(|&i| layout.roll.placements.get(i).map(|it| (it.y, it.x)));
    for i in order {
        let piece = &layout.pieces[i];
        let at = layout.roll.placements.get(i).map(|it| format!("{} along, {} across", show(it.y), show(it.x)));
        let _ = writeln!(
            text,
            "  {:<12} {} × {}  {}  at {}",
            piece.id,
            up(piece.width),
            up(piece.length),
            piece.label,
            at.unwrap_or_default()
        );
    }
}

fn area_text(area: Area, units: Units) -> String {
    area.show(match units {
        Units::Imperial => AreaUnit::SquareYards,
        Units::Metric => AreaUnit::SquareMetres,
    })
}

#[derive(Serialize)]
struct Out<'a> {
    job: String,
    name: &'a str,
    rooms: Vec<RoomOut<'a>>,
    goods: Vec<GoodsOut<'a>>,
    materials: MaterialsOut<'a>,
    problems: &'a [Problem],
}

#[derive(Serialize)]
struct RoomOut<'a> {
    room: String,
    name: &'a str,
    level: i64,
    /// Straight from corner to corner.
    outline: Vec<[f64; 2]>,
    /// With arcs, and without what stands against the walls.
    floor: Vec<[f64; 2]>,
    /// What stands free on the floor.
    holes: Vec<Vec<[f64; 2]>>,
    covered: Vec<[f64; 2]>,
    perimeter: LengthOut,
    area: AreaOut,
}

#[derive(Serialize)]
struct MaterialsOut<'a> {
    pad: AreaOut,
    strip: LengthOut,
    well_edges: LengthOut,
    tape: LengthOut,
    transitions: Vec<LengthOut>,
    power_stretch: &'a [String],
}

#[derive(Serialize)]
struct LengthOut {
    text: String,
    mm: f64,
}

impl From<Length> for LengthOut {
    fn from(it: Length) -> Self {
        Self { text: it.exact_text(), mm: it.as_mm() }
    }
}

#[derive(Serialize)]
struct AreaOut {
    text: String,
    square_metres: f64,
}

impl From<Area> for AreaOut {
    fn from(it: Area) -> Self {
        Self { text: it.show(AreaUnit::SquareYards), square_metres: it.0 as f64 / Area::SQUARE_METRE.0 as f64 }
    }
}

fn point(it: Point) -> [f64; 2] {
    [it.x.as_mm(), it.y.as_mm()]
}

fn ring(it: &Ring) -> Vec<[f64; 2]> {
    it.0.iter().map(|it| point(*it)).collect()
}

#[derive(Serialize)]
struct GoodsOut<'a> {
    goods: String,
    name: &'a str,
    chosen: usize,
    layouts: Vec<LayoutOut<'a>>,
}

impl<'a> GoodsOut<'a> {
    fn of(goods: &'a GoodsTakeoff) -> Self {
        let layouts = goods.layouts.iter().map(LayoutOut::of).collect();
        Self { goods: goods.goods.to_string(), name: &goods.name, chosen: goods.chosen, layouts }
    }
}

#[derive(Serialize)]
struct LayoutOut<'a> {
    key: &'a str,
    name: &'a str,
    groups: &'a [GroupPile],
    order: LengthOut,
    roll_width: LengthOut,
    roll_length: LengthOut,
    lower_bound: LengthOut,
    optimal: bool,
    net: AreaOut,
    ordered: AreaOut,
    waste: AreaOut,
    seam_length: LengthOut,
    seam_cost: i64,
    pieces: Vec<PieceOut<'a>>,
    seams: Vec<SeamOut<'a>>,
}

impl<'a> LayoutOut<'a> {
    fn of(layout: &'a Layout) -> Self {
        let placed = layout.pieces.iter().zip(&layout.roll.placements);
        Self {
            key: &layout.key,
            name: &layout.name,
            groups: &layout.groups,
            order: layout.order.into(),
            roll_width: layout.roll.width.into(),
            roll_length: layout.roll.length.into(),
            lower_bound: layout.roll.lower_bound.into(),
            optimal: layout.roll.optimal(),
            net: layout.net.into(),
            ordered: layout.ordered.into(),
            waste: layout.waste.into(),
            seam_length: layout.seam_length.into(),
            seam_cost: layout.seam_cost,
            pieces: placed.map(|(piece, at)| PieceOut::of(piece, at.x, at.y)).collect(),
            seams: layout.seams.iter().map(SeamOut::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct PieceOut<'a> {
    id: &'a str,
    label: &'a str,
    part: &'a Part,
    covers: Vec<Vec<[f64; 2]>>,
    pile: PileDirection,
    width: LengthOut,
    length: LengthOut,
    extra: ExtraOut,
    phase: Option<LengthOut>,
    /// On the roll: across from its left edge, along from its outer end.
    x: LengthOut,
    y: LengthOut,
}

#[derive(Serialize)]
struct ExtraOut {
    left: LengthOut,
    right: LengthOut,
    start: LengthOut,
    end: LengthOut,
}

impl From<Extra> for ExtraOut {
    fn from(it: Extra) -> Self {
        Self { left: it.left.into(), right: it.right.into(), start: it.start.into(), end: it.end.into() }
    }
}

impl<'a> PieceOut<'a> {
    fn of(piece: &'a Piece, x: Length, y: Length) -> Self {
        Self {
            id: &piece.id,
            label: &piece.label,
            part: &piece.part,
            covers: piece.covers.iter().map(ring).collect(),
            pile: piece.pile,
            width: piece.width.into(),
            length: piece.length.into(),
            extra: piece.extra.into(),
            phase: piece.phase.map(Into::into),
            x: x.into(),
            y: y.into(),
        }
    }
}

#[derive(Serialize)]
struct SeamOut<'a> {
    room: String,
    kind: SeamKind,
    from: [f64; 2],
    to: [f64; 2],
    length: LengthOut,
    costs: &'a [SeamCost],
}

impl<'a> SeamOut<'a> {
    fn of(seam: &'a Seam) -> Self {
        Self {
            room: seam.room.to_string(),
            kind: seam.kind,
            from: point(seam.from),
            to: point(seam.to),
            length: seam.length.into(),
            costs: &seam.costs,
        }
    }
}
