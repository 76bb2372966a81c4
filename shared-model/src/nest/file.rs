//! The open file of `napline nest`: pieces in, a plan out, in exact decimals of any one unit.

use std::fmt::Write;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;

use super::{Budget, Cut, CutWay, NestPiece, Progress, RollPlan, nest_cuttable, nest_while};
use crate::length::Length;
use crate::open_file::{self, FileError, Positive};

/// Most pieces in one file, copies counted.
const MOST_PIECES: usize = 200_000;
/// Most decimals of a number.
const MOST_DECIMALS: usize = 12;

const EXAMPLE: &str = r#"{"strip_width": 40, "pieces": [{"id": "a", "width": 10, "length": 5.25, "count": 2}]}"#;

/// Pieces to place on a strip. All numbers are plain decimals in one unit, which the answer comes in too.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Request {
    #[schemars(with = "Positive")]
    strip_width: Box<RawValue>,
    pieces: Vec<RequestPiece>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RequestPiece {
    id: String,
    /// Across the strip.
    #[schemars(with = "Positive")]
    width: Box<RawValue>,
    /// Along the strip.
    #[schemars(with = "Positive")]
    length: Box<RawValue>,
    #[serde(default = "one")]
    #[schemars(range(max = MOST_PIECES))]
    count: u32,
}

fn one() -> u32 {
    1
}

#[derive(Serialize)]
struct Answer {
    length: Box<RawValue>,
    lower_bound: Box<RawValue>,
    optimal: bool,
    steps: u64,
    placements: Vec<AnswerPlacement>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cuts: Option<Vec<AnswerCut>>,
}

#[derive(Serialize)]
struct AnswerCut {
    way: CutWay,
    at: Box<RawValue>,
    from: Box<RawValue>,
    to: Box<RawValue>,
}

#[derive(Serialize)]
struct AnswerPlacement {
    id: String,
    copy: u32,
    x: Box<RawValue>,
    y: Box<RawValue>,
}

/// A plan found for a file, ready to be written.
#[derive(Clone, PartialEq, Debug)]
pub struct FilePlan {
    plan: RollPlan,
    /// In the order in which they are made, when the plan was to be cut edge to edge.
    cuts: Option<Vec<Cut>>,
    /// Which copy of its id each placement is, from 0.
    copies: Vec<u32>,
    decimals: usize,
}

/// How the plan may be cut.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Cutting {
    /// Around each piece.
    Freehand,
    /// Each cut from edge to edge of what it parts.
    EdgeToEdge,
}

/// Reads a file and plans it. `go_on` may end the search early, as in [`nest_while`].
pub fn run(
    json: &str,
    cutting: Cutting,
    budget: Budget,
    go_on: impl FnMut(Progress) -> bool,
) -> Result<FilePlan, FileError> {
    let request: Request = open_file::read(json)?;
    let strip_width = Decimal::read("strip_width", &request.strip_width)?;
    let mut sizes = Vec::with_capacity(request.pieces.len());
    let mut count: usize = 0;
    for (i, piece) in request.pieces.iter().enumerate() {
        let width = Decimal::read(&format!("pieces[{i}].width"), &piece.width)?;
        sizes.push((width, Decimal::read(&format!("pieces[{i}].length"), &piece.length)?));
        count = count.saturating_add(piece.count as usize);
        if count > MOST_PIECES {
            return Err(FileError::new(format!("pieces[{i}].count"), format!("more than {MOST_PIECES} pieces in all")));
        }
    }
    let decimals = sizes.iter().flat_map(|(width, length)| [width.decimals, length.decimals]);
    let decimals = decimals.chain([strip_width.decimals]).max().unwrap_or(0);

    let mut pieces = Vec::with_capacity(count);
    let mut copies = Vec::with_capacity(count);
    for (i, (piece, (width, length))) in request.pieces.iter().zip(&sizes).enumerate() {
        let width = width.count(decimals, || format!("pieces[{i}].width"))?;
        let length = length.count(decimals, || format!("pieces[{i}].length"))?;
        for copy in 0..piece.count {
            pieces.push(NestPiece { id: piece.id.clone(), width, length, phase: None, across: None });
            copies.push(copy);
        }
    }
    let width = strip_width.count(decimals, || "strip_width".to_owned())?;
    let planned = match cutting {
        Cutting::Freehand => nest_while(&pieces, width, budget, go_on).map(|plan| (plan, None)),
        Cutting::EdgeToEdge => nest_cuttable(&pieces, width, budget, go_on).map(|(plan, list)| (plan, Some(list.cuts))),
    };
    let (plan, cuts) = planned.map_err(|it| FileError::new("pieces", it.to_string()))?;
    Ok(FilePlan { plan, cuts, copies, decimals })
}

/// The JSON Schema of a file.
pub fn schema() -> Value {
    open_file::schema::<Request>("Pieces, as `napline nest` reads them", &[EXAMPLE])
}

impl FilePlan {
    pub fn plan(&self) -> &RollPlan {
        &self.plan
    }

    pub fn cuts(&self) -> Option<&[Cut]> {
        self.cuts.as_deref()
    }

    /// The plan as one line of JSON, ended by a line feed.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        let number = |it: Length| RawValue::from_string(self.text_of(it));
        let mut placements = Vec::with_capacity(self.plan.placements.len());
        for (it, &copy) in self.plan.placements.iter().zip(&self.copies) {
            placements.push(AnswerPlacement { id: it.piece.clone(), copy, x: number(it.x)?, y: number(it.y)? });
        }
        let cut =
            |it: &Cut| Ok(AnswerCut { way: it.way, at: number(it.at)?, from: number(it.from)?, to: number(it.to)? });
        let cuts = self.cuts.as_ref().map(|cuts| cuts.iter().map(cut).collect::<Result<_, serde_json::Error>>());
        let answer = Answer {
            length: number(self.plan.length)?,
            lower_bound: number(self.plan.lower_bound)?,
            optimal: self.plan.optimal(),
            steps: self.plan.steps,
            placements,
            cuts: cuts.transpose()?,
        };
        Ok(serde_json::to_string(&answer)? + "\n")
    }

    /// The plan for people.
    pub fn text(&self) -> String {
        let mut text = String::new();
        let proof = if self.plan.optimal() { "; proven shortest" } else { "" };
        let (length, bound) = (self.text_of(self.plan.length), self.text_of(self.plan.lower_bound));
        let _ = writeln!(text, "Length {length}, none is shorter than {bound}{proof}.");
        let mut order: Vec<usize> = (0..self.plan.placements.len()).collect();
        order.sort_by_key(|&i| (self.plan.placements[i].y, self.plan.placements[i].x));
        for i in order {
            let it = &self.plan.placements[i];
            let (across, along) = (self.text_of(it.x), self.text_of(it.y));
            let _ = writeln!(text, "at {along} along, {across} across: {} copy {}", it.piece, self.copies[i] + 1);
        }
        for cut in self.cuts.iter().flatten() {
            let way = match cut.way {
                CutWay::Across => "across the roll",
                CutWay::Along => "along the roll",
            };
            let (at, from, to) = (self.text_of(cut.at), self.text_of(cut.from), self.text_of(cut.to));
            let _ = writeln!(text, "cut {way} at {at}, from {from} to {to}");
        }
        text
    }

    /// A count as the decimal it stands for.
    fn text_of(&self, count: Length) -> String {
        let digits = format!("{:0>width$}", count.0, width = self.decimals + 1);
        let (whole, part) = digits.split_at(digits.len() - self.decimals);
        let part = part.trim_end_matches('0');
        if part.is_empty() { whole.to_owned() } else { format!("{whole}.{part}") }
    }
}

/// A number as it is written: `digits / 10^decimals`, not negative.
struct Decimal {
    digits: String,
    decimals: usize,
}

impl Decimal {
    fn read(place: &str, raw: &RawValue) -> Result<Self, FileError> {
        let text = raw.get();
        let (whole, part) = text.split_once('.').unwrap_or((text, ""));
        let plain = |it: &str| it.bytes().all(|byte| byte.is_ascii_digit());
        if whole.is_empty() || !plain(whole) || !plain(part) {
            return Err(FileError::new(place, format!("{text} is not a plain positive number such as 12 or 12.375")));
        }
        let part = part.trim_end_matches('0');
        if part.len() > MOST_DECIMALS {
            return Err(FileError::new(place, format!("{text} has more than {MOST_DECIMALS} decimals")));
        }
        Ok(Self { digits: format!("{whole}{part}"), decimals: part.len() })
    }

    fn count(&self, decimals: usize, place: impl Fn() -> String) -> Result<Length, FileError> {
        let zeros = "0".repeat(decimals - self.decimals);
        let count = format!("{}{zeros}", self.digits).parse();
        count.map(Length).map_err(|_| FileError::new(place(), "the number has too many digits"))
    }
}
