//! The carpet as it is sold, and the shop's rules for cutting it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Angle;
use crate::ids::GoodsId;
use crate::length::{Length, Units};

/// A carpet as it is sold from the roll.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Goods {
    pub id: GoodsId,
    pub name: String,
    pub roll_width: Length,
    /// Pattern repeat along the roll; zero for plain goods.
    pub repeat_length: Length,
    /// Pattern repeat across the roll; zero for plain goods.
    pub repeat_width: Length,
    pub pattern: Match,
    /// Whether turning a piece round shows: the pile lies one way.
    pub pile: bool,
    /// The supplier sells whole multiples of this length.
    pub increment: Length,
    /// And not less than this.
    pub minimum: Length,
    /// No roll is longer: a longer order comes in several. Zero when nobody said so.
    #[serde(default)]
    pub longest: Length,
    pub order: crate::job::Order,
}

impl Goods {
    /// Plain goods with a pile, sold in any length: what a crew starts from.
    pub const fn plain(id: GoodsId, name: String, roll_width: Length, order: crate::job::Order) -> Self {
        Self {
            id,
            name,
            roll_width,
            repeat_length: Length::ZERO,
            repeat_width: Length::ZERO,
            pattern: Match::None,
            pile: true,
            increment: Length::ZERO,
            minimum: Length::ZERO,
            longest: Length::ZERO,
            order,
        }
    }

    /// What of a roll has to be ordered to cut up this length: nothing for none, and no more than a whole roll.
    pub fn order_for(&self, length: Length) -> Length {
        let sold = length.max(self.minimum).round_up_to(self.increment);
        match length {
            Length::ZERO => length,
            _ if self.longest > Length::ZERO => sold.min(length.max(self.longest)),
            _ => sold,
        }
    }
}

/// How the pattern continues across a seam.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, JsonSchema)]
pub enum Match {
    /// Plain goods, or a pattern that need not match.
    #[default]
    None,
    /// Straight across.
    Set,
    /// Each next breadth is shifted by `numerator / denominator` of the repeat.
    Drop { numerator: u32, denominator: u32 },
}

/// The shop's rules, each with its default and source; a job may set its own.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Rules {
    pub seam_trim: Length,
    pub wall_allowance: Length,
    pub cut_step: Length,
    pub least_piece: Length,
    pub most_cross_seams: i64,
    #[serde(default)]
    pub freehand: bool,
    pub closure_ratio: i64,
    pub closure_least: Length,
    pub tape_class: i64,
    pub wall_surface: Length,
    pub square: Angle,
    pub stair_pad: Length,
    pub stair_tuck: Length,
    pub stair_overall: Length,
}

/// Names one of [`Rules`]' fields.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub enum Rule {
    /// Trimmed off each edge that is to be seamed. 1 in: common practice.
    SeamTrim,
    /// Left over at each wall edge and each cut end. 3 in: CRI carpet installation standard §6.1 (3 to 4 in).
    WallAllowance,
    /// Cuts are rounded up to a multiple of this. 1/8 in, or 5 mm in a metric job.
    CutStep,
    /// No fill is split into pieces shorter than this. 3 ft: common practice.
    LeastPiece,
    /// Most cross seams in one fill. 3: common practice.
    MostCrossSeams,
    /// Whether pieces may be cut around corners, 1, or only edge to edge, 0. Edge to edge: common practice.
    Freehand,
    /// A ring closes when its misclosure is at most its perimeter divided by this… 400: shop's choice; in a room of 50 ft
    /// around it is 1 1/2 in, half of one wall allowance.
    ClosureRatio,
    /// …or at most this. 1/2 in: shop's choice.
    ClosureLeast,
    /// The tapes' accuracy class by EU directive 2014/32, annex MI-008: 1, 2 or 3. 2: common practice.
    TapeClass,
    /// Standard deviation of a length for plaster, skirting and the choice of the point. 3 mm: our judgement.
    WallSurface,
    /// Standard deviation of a corner that is said to be square or stated, in milliseconds of arc. 0.3°: our judgement.
    SquareCorner,
    /// Added to each step for the pad. 1 in: *Renovation*, 3rd ed., carpeting stairs.
    StairPad,
    /// Tucked under at each side of a flight. 1 1/4 in: same source.
    StairTuck,
    /// Added once to a flight's length. 6 in: same source.
    StairOverall,
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            seam_trim: Length::inches(1),
            wall_allowance: Length::inches(3),
            cut_step: Length::sixty_fourths(8),
            least_piece: Length::feet(3),
            most_cross_seams: 3,
            freehand: false,
            closure_ratio: 400,
            closure_least: Length::sixty_fourths(32),
            tape_class: 2,
            wall_surface: Length::mm(3),
            square: Angle::dms(0, 18, 0),
            stair_pad: Length::inches(1),
            stair_tuck: Length::sixty_fourths(80),
            stair_overall: Length::inches(6),
        }
    }
}

impl Rules {
    /// The defaults for a job in these units: a metric crew cuts to 5 mm.
    pub fn usual(units: Units) -> Self {
        match units {
            Units::Imperial => Self::default(),
            Units::Metric => Self { cut_step: Length::mm(5), ..Self::default() },
        }
    }

    /// One rule's value; lengths count in 1/8 µm, numbers as they are.
    pub const fn get(&self, rule: Rule) -> i64 {
        match rule {
            Rule::SeamTrim => self.seam_trim.0,
            Rule::WallAllowance => self.wall_allowance.0,
            Rule::CutStep => self.cut_step.0,
            Rule::LeastPiece => self.least_piece.0,
            Rule::MostCrossSeams => self.most_cross_seams,
            Rule::Freehand => self.freehand as i64,
            Rule::ClosureRatio => self.closure_ratio,
            Rule::ClosureLeast => self.closure_least.0,
            Rule::TapeClass => self.tape_class,
            Rule::WallSurface => self.wall_surface.0,
            Rule::SquareCorner => self.square.0,
            Rule::StairPad => self.stair_pad.0,
            Rule::StairTuck => self.stair_tuck.0,
            Rule::StairOverall => self.stair_overall.0,
        }
    }

    /// Sets one rule; lengths count in 1/8 µm, numbers as they are.
    pub fn set(&mut self, rule: Rule, value: i64) {
        match rule {
            Rule::SeamTrim => self.seam_trim = Length(value),
            Rule::WallAllowance => self.wall_allowance = Length(value),
            Rule::CutStep => self.cut_step = Length(value),
            Rule::LeastPiece => self.least_piece = Length(value),
            Rule::MostCrossSeams => self.most_cross_seams = value,
            Rule::Freehand => self.freehand = value != 0,
            Rule::ClosureRatio => self.closure_ratio = value,
            Rule::ClosureLeast => self.closure_least = Length(value),
            Rule::TapeClass => self.tape_class = value,
            Rule::WallSurface => self.wall_surface = Length(value),
            Rule::SquareCorner => self.square = Angle(value),
            Rule::StairPad => self.stair_pad = Length(value),
            Rule::StairTuck => self.stair_tuck = Length(value),
            Rule::StairOverall => self.stair_overall = Length(value),
        }
    }
}
