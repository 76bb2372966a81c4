//! What the open file says, in the order in which it says it.

use std::collections::BTreeMap;

use serde::Serialize;
use uuid::Uuid;

use super::{GoodsTakeoff, Standing};
use crate::ids::RoomId;
use crate::layout::{Extra, GroupPile, Layout, Part, Piece, PileDirection, Seam, SeamCost, SeamKind, Strip};
use crate::length::Length;
use crate::nest::{Cut, CutWay, Offcut};
use crate::polygon::{Area, AreaUnit, Point, Ring};
use crate::problem::Problem;

#[derive(Serialize)]
pub(super) struct Out<'a> {
    pub job: String,
    pub name: &'a str,
    pub rooms: Vec<RoomOut<'a>>,
    pub goods: Vec<GoodsOut<'a>>,
    pub materials: MaterialsOut<'a>,
    pub problems: &'a [Problem],
}

#[derive(Serialize)]
pub(super) struct RoomOut<'a> {
    pub room: String,
    pub name: &'a str,
    pub level: i64,
    /// Straight from corner to corner.
    pub outline: Vec<[f64; 2]>,
    /// With arcs, and without what stands against the walls.
    pub floor: Vec<[f64; 2]>,
    /// What stands free on the floor.
    pub holes: Vec<Vec<[f64; 2]>>,
    pub covered: Vec<[f64; 2]>,
    pub perimeter: LengthOut,
    pub area: AreaOut,
}

#[derive(Serialize)]
pub(super) struct MaterialsOut<'a> {
    pub pad: AreaOut,
    pub strip: LengthOut,
    pub well_edges: LengthOut,
    pub tape: LengthOut,
    pub transitions: Vec<LengthOut>,
    pub power_stretch: &'a [String],
}

#[derive(Serialize)]
pub(super) struct LengthOut {
    text: String,
    mm: f64,
}

impl From<Length> for LengthOut {
    fn from(it: Length) -> Self {
        Self { text: it.exact_text(), mm: it.as_mm() }
    }
}

#[derive(Serialize)]
pub(super) struct AreaOut {
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

pub(super) fn ring(it: &Ring) -> Vec<[f64; 2]> {
    it.0.iter().map(|it| point(*it)).collect()
}

#[derive(Serialize)]
pub(super) struct GoodsOut<'a> {
    goods: String,
    name: &'a str,
    chosen: usize,
    /// How the plan that the crew chose stands against today's readings.
    standing: Option<StandingOut<'a>>,
    layouts: Vec<LayoutOut<'a>>,
}

#[derive(Serialize)]
pub(super) struct StandingOut<'a> {
    fits: bool,
    order: LengthOut,
    more: LengthOut,
    short: Vec<ShortOut<'a>>,
    anew: &'a [String],
}

#[derive(Serialize)]
pub(super) struct ShortOut<'a> {
    piece: &'a str,
    label: &'a str,
    width: LengthOut,
    length: LengthOut,
}

impl<'a> StandingOut<'a> {
    fn of(standing: &'a Standing) -> Self {
        let short = standing.short.iter().map(|it| ShortOut {
            piece: &it.piece,
            label: &it.label,
            width: it.width.into(),
            length: it.length.into(),
        });
        Self {
            fits: standing.fits(),
            order: standing.order.into(),
            more: standing.more.into(),
            short: short.collect(),
            anew: &standing.anew,
        }
    }
}

impl<'a> GoodsOut<'a> {
    pub fn of(goods: &'a GoodsTakeoff) -> Self {
        let layouts = goods.layouts.iter().map(LayoutOut::of).collect();
        let standing = goods.standing.as_ref().map(StandingOut::of);
        Self { goods: goods.goods.to_string(), name: &goods.name, chosen: goods.chosen, standing, layouts }
    }
}

#[derive(Serialize)]
pub(super) struct LayoutOut<'a> {
    key: &'a str,
    name: &'a str,
    groups: &'a [GroupPile],
    /// Rooms that are carpeted as one; the pieces bear the first one's id.
    areas: &'a [Vec<RoomId>],
    ways: &'a BTreeMap<Uuid, String>,
    order: LengthOut,
    /// How long each roll is that is ordered.
    rolls: Vec<LengthOut>,
    /// Whether carpet that meets comes from two rolls.
    parted: bool,
    freehand_order: Option<LengthOut>,
    roll_width: LengthOut,
    /// Of the first roll's plan, and what no plan of its pieces undercuts.
    roll_length: LengthOut,
    lower_bound: LengthOut,
    optimal: bool,
    net: AreaOut,
    ordered: AreaOut,
    waste: AreaOut,
    seam_length: LengthOut,
    seam_cost: i64,
    pieces: Vec<PieceOut<'a>>,
    /// Names of pieces that are not cut from the roll.
    left_out: Vec<&'a str>,
    /// Pieces that are cut from more rolls, and from remnants; `x` and `y` on these.
    others: Vec<StripOut<'a>>,
    /// In the order in which they are made; none when pieces are cut around corners.
    cuts: Option<Vec<CutOut>>,
    /// What is left over between the pieces.
    offcuts: Vec<OffcutOut>,
    seams: Vec<SeamOut<'a>>,
}

impl<'a> LayoutOut<'a> {
    fn of(layout: &'a Layout) -> Self {
        let placed = layout.pieces.iter().zip(&layout.roll.placements);
        Self {
            key: &layout.key,
            name: &layout.name,
            groups: &layout.groups,
            areas: &layout.areas,
            ways: &layout.ways,
            order: layout.order.into(),
            rolls: layout.rolls().into_iter().map(|it| it.1.into()).collect(),
            parted: layout.parted,
            freehand_order: layout.freehand.map(Into::into),
            roll_width: layout.roll.width.into(),
            roll_length: layout.roll.length.into(),
            lower_bound: layout.roll.lower_bound.into(),
            optimal: layout.optimal(),
            net: layout.net.into(),
            ordered: layout.ordered.into(),
            waste: layout.waste().into(),
            seam_length: layout.seam_length.into(),
            seam_cost: layout.seam_cost,
            pieces: placed.map(|(piece, at)| PieceOut::of(piece, at.x, at.y)).collect(),
            left_out: layout.left_out.iter().map(|it| it.id.as_str()).collect(),
            others: layout.others.iter().map(StripOut::of).collect(),
            cuts: layout.cuts.as_ref().map(|it| it.cuts.iter().map(|it| (*it).into()).collect()),
            offcuts: layout.cuts.iter().flat_map(|it| &it.offcuts).map(|it| (*it).into()).collect(),
            seams: layout.seams.iter().map(SeamOut::of).collect(),
        }
    }
}

#[derive(Serialize)]
pub(super) struct StripOut<'a> {
    /// The remnant's dye lot, or the roll's number.
    name: &'a str,
    ordered: bool,
    lead: LengthOut,
    width: LengthOut,
    length: LengthOut,
    pieces: Vec<PieceOut<'a>>,
    cuts: Option<Vec<CutOut>>,
    offcuts: Vec<OffcutOut>,
}

impl<'a> StripOut<'a> {
    fn of(it: &'a Strip) -> Self {
        let placed = it.pieces.iter().zip(&it.roll.placements);
        Self {
            name: &it.name,
            ordered: it.source.roll().is_some(),
            lead: it.lead.into(),
            width: it.roll.width.into(),
            length: it.length.into(),
            pieces: placed.map(|(piece, at)| PieceOut::of(piece, at.x, at.y)).collect(),
            cuts: it.cuts.as_ref().map(|it| it.cuts.iter().map(|it| (*it).into()).collect()),
            offcuts: it.cuts.iter().flat_map(|it| &it.offcuts).map(|it| (*it).into()).collect(),
        }
    }
}

#[derive(Serialize)]
pub(super) struct CutOut {
    way: CutWay,
    at: LengthOut,
    from: LengthOut,
    to: LengthOut,
}

impl From<Cut> for CutOut {
    fn from(it: Cut) -> Self {
        Self { way: it.way, at: it.at.into(), from: it.from.into(), to: it.to.into() }
    }
}

#[derive(Serialize)]
pub(super) struct OffcutOut {
    x: LengthOut,
    y: LengthOut,
    width: LengthOut,
    length: LengthOut,
}

impl From<Offcut> for OffcutOut {
    fn from(it: Offcut) -> Self {
        Self { x: it.x.into(), y: it.y.into(), width: it.width.into(), length: it.length.into() }
    }
}

#[derive(Serialize)]
pub(super) struct PieceOut<'a> {
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
pub(super) struct ExtraOut {
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
pub(super) struct SeamOut<'a> {
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
