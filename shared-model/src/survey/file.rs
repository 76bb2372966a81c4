//! The open file of `napline adjust`: one room's readings in, its adjustment out, in decimals of one unit.
//!
//! Wall `i` runs from corner `i` to the next; `turn_deg` is the turn at its end, positive to the right, `null` when unknown.

use std::fmt::Write;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{
    Adjusted, Amount, Network, Observation, Settings, Slip, Span, Suspect, Unsolved, Verdict, adjust, turned_wrong,
};
use crate::job::{Angle, Rules, Turn};
use crate::length::{Length, Units};
use crate::open_file::{self, FileError, Positive};

/// Most walls of one file.
const MOST_WALLS: usize = 1_000;

const EXAMPLE: &str = r#"{"unit": "mm", "sigma": {"wall": 3, "wall_per_m": 0.5, "square_deg": 0.3},
  "walls": [{"length": 4000, "turn_deg": 90}, {"lengths": [3000, 3001], "turn_deg": 90}, {"length": null, "turn_deg": null}],
  "checks": [{"from": 0, "to": 2, "length": 5000}]}"#;

/// One room's readings.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Request {
    unit: Unit,
    #[serde(default)]
    sigma: Sigma,
    #[schemars(length(max = MOST_WALLS))]
    walls: Vec<RequestWall>,
    #[serde(default)]
    checks: Vec<RequestCheck>,
}

#[derive(Clone, Copy, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Unit {
    Mm,
    Cm,
    M,
    In,
    Ft,
}

/// Standard deviations; those left out are the tool's own.
#[derive(Deserialize, Serialize, Default, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct Sigma {
    /// In the file's unit.
    #[schemars(with = "Option<Positive>")]
    wall: Option<f64>,
    /// In the file's unit, for each metre.
    #[schemars(with = "Option<Positive>")]
    wall_per_m: Option<f64>,
    #[schemars(range(min = -360, max = 360))]
    square_deg: Option<f64>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RequestWall {
    #[serde(default)]
    #[schemars(with = "Option<Positive>")]
    length: Option<f64>,
    #[serde(default)]
    #[schemars(with = "Vec<Positive>")]
    lengths: Vec<f64>,
    #[schemars(range(min = -360, max = 360))]
    turn_deg: Option<f64>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RequestCheck {
    #[schemars(range(max = MOST_WALLS - 1))]
    from: usize,
    #[schemars(range(max = MOST_WALLS - 1))]
    to: usize,
    #[schemars(with = "Positive")]
    length: f64,
}

#[derive(Serialize)]
struct Answer {
    corners: Vec<[f64; 2]>,
    misclosure: Option<f64>,
    dof: Option<usize>,
    chi2: Option<f64>,
    chi2_limit: Option<f64>,
    trusted: bool,
    residuals: Vec<AnswerResidual>,
    suspects: Vec<AnswerSuspect>,
    next_check: Option<AnswerCheck>,
    problems: Vec<String>,
}

#[derive(Serialize)]
struct AnswerResidual {
    of: String,
    /// In the file's unit; of a turn in degrees.
    value: f64,
    standardised: f64,
    /// The least blunder that would be found; `null`: nobody has checked it.
    mdb: Option<f64>,
}

#[derive(Serialize)]
struct AnswerSuspect {
    of: String,
    slip: Option<Slip>,
    reads: f64,
    proposed: Option<f64>,
}

#[derive(Serialize)]
struct AnswerCheck {
    #[serde(flatten)]
    of: AnswerSpan,
    expected: f64,
}

#[derive(Serialize)]
#[serde(untagged)]
enum AnswerSpan {
    Corners { from: usize, to: usize },
    Wall { wall: usize },
    Walls { wall: usize, opposite: usize },
    Offset { corner: usize, wall: usize },
}

/// A file's room, adjusted, ready to be written.
pub struct FileAdjustment {
    unit: Unit,
    network: Network,
    result: Result<Adjusted, Unsolved>,
}

/// Reads a file and adjusts its room.
///
/// # Errors
/// Says which field is wrong. A room that cannot be adjusted is an answer, not an error.
pub fn run(json: &str) -> Result<FileAdjustment, FileError> {
    let request: Request = open_file::read(json)?;
    if request.walls.len() > MOST_WALLS {
        return Err(FileError::new("walls", format!("more than {MOST_WALLS} walls")));
    }
    let unit = request.unit;
    let network = network(&request)?;
    let settings = Settings {
        allowance: Rules::default().wall_allowance,
        thickness: Length::sixty_fourths(288),
        units: unit.units(),
    };
    let result = adjust(&network, &settings);
    Ok(FileAdjustment { unit, network, result })
}

/// The JSON Schema of a file.
pub fn schema() -> Value {
    open_file::schema::<Request>("One room, as `napline adjust` reads it", &[EXAMPLE])
}

fn network(request: &Request) -> Result<Network, FileError> {
    let unit = request.unit;
    let square = angle("sigma.square_deg", request.sigma.square_deg.unwrap_or(0.3))?;
    let wall = request.sigma.wall.map_or(Ok(Length::mm(3)), |it| unit.length("sigma.wall", it))?;
    let per_metre = request.sigma.wall_per_m.map_or(Ok(Length::MM / 2), |it| unit.length("sigma.wall_per_m", it))?;
    let sigma = |of: Length| wall + Length((per_metre.0 as f64 * of.as_mm() / 1_000.0) as i64);
    let count = request.walls.len();
    let mut observations = Vec::new();
    let mut read = |of, place: String, number: f64| {
        let value = unit.length(&place, number)?;
        observations.push(Observation::Length { of, value, sigma: sigma(value), typed: unit.typed(number) });
        Ok(())
    };
    for (i, wall) in request.walls.iter().enumerate() {
        for (n, &it) in wall.length.iter().chain(&wall.lengths).enumerate() {
            read(Span::Wall(i), format!("walls[{i}], reading {n}"), it)?;
        }
    }
    for (i, check) in request.checks.iter().enumerate() {
        if check.from >= count || check.to >= count || check.from == check.to {
            return Err(FileError::new(
                format!("checks[{i}]"),
                format!("runs between two corners from 0 to {}", count.saturating_sub(1)),
            ));
        }
        read(Span::Across { from: check.from, to: check.to }, format!("checks[{i}].length"), check.length)?;
    }
    for (i, wall) in request.walls.iter().enumerate() {
        if let Some(degrees) = wall.turn_deg {
            let value = Turn(angle(&format!("walls[{i}].turn_deg"), degrees)?);
            observations.push(Observation::Turn { corner: (i + 1) % count, value, sigma: square });
        }
    }
    Ok(Network { corners: count, looks: Vec::new(), observations })
}

fn angle(place: &str, degrees: f64) -> Result<Angle, FileError> {
    if degrees.is_finite() && degrees.abs() <= 360.0 {
        return Ok(Angle(libm::round(degrees * Angle::DEGREE.0 as f64) as i64));
    }
    Err(FileError::new(place, "not an angle in degrees"))
}

fn degrees(angle: Angle) -> f64 {
    angle.0 as f64 / Angle::DEGREE.0 as f64
}

impl Unit {
    const fn size(self) -> Length {
        match self {
            Self::Mm => Length::MM,
            Self::Cm => Length::mm(10),
            Self::M => Length::METRE,
            Self::In => Length::INCH,
            Self::Ft => Length::FOOT,
        }
    }

    const fn units(self) -> Units {
        match self {
            Self::Mm | Self::Cm | Self::M => Units::Metric,
            Self::In | Self::Ft => Units::Imperial,
        }
    }

    fn length(self, place: &str, number: f64) -> Result<Length, FileError> {
        let counts = number * self.size().0 as f64;
        if number > 0.0 && counts <= Length::MOST.0 as f64 {
            return Ok(Length(libm::round(counts) as i64));
        }
        Err(FileError::new(place, format!("not a length: more than zero, at most {}", Length::MOST.exact_text())))
    }

    /// As a crew would have typed it, so that slips of the digits can be tried.
    fn typed(self, number: f64) -> String {
        let word = match self {
            Self::Mm => "mm",
            Self::Cm => "cm",
            Self::M => "m",
            Self::In => "in",
            Self::Ft => "ft",
        };
        format!("{number} {word}")
    }

    fn number(self, length: Length) -> f64 {
        length.0 as f64 / self.size().0 as f64
    }

    fn amount(self, amount: Amount) -> f64 {
        match amount {
            Amount::Length(it) => self.number(it),
            Amount::Angle(it) => degrees(it),
        }
    }
}

impl FileAdjustment {
    pub fn has_problems(&self) -> bool {
        !self.problems().is_empty()
    }

    /// The adjustment as one line of JSON, ended by a line feed.
    pub fn json(&self) -> Result<String, serde_json::Error> {
        let unit = self.unit;
        let adjusted = self.result.as_ref().ok();
        let answer = Answer {
            corners: adjusted
                .map(|it| it.corners.iter().map(|it| [unit.number(it.x), unit.number(it.y)]).collect())
                .unwrap_or_default(),
            misclosure: adjusted.and_then(|it| it.misclosure).map(|it| unit.number(it.gap)),
            dof: adjusted.map(|it| it.test.degrees),
            chi2: adjusted.map(|it| it.test.fit),
            chi2_limit: adjusted.map(|it| it.test.high),
            trusted: adjusted.is_some_and(|it| it.trusted),
            residuals: adjusted.map(|it| self.residuals(it)).unwrap_or_default(),
            suspects: self.suspects().iter().map(|it| self.suspect(it)).collect(),
            next_check: adjusted
                .and_then(|it| it.next)
                .map(|it| AnswerCheck { of: span(it.of), expected: unit.number(it.expected) }),
            problems: self.problems(),
        };
        Ok(serde_json::to_string(&answer)? + "\n")
    }

    /// The adjustment for people.
    pub fn text(&self) -> String {
        let mut text = String::new();
        if let Ok(it) = &self.result {
            let unit = |it: Length| self.unit.number(it);
            let gap = it.misclosure.map_or_else(
                || "not all walls are read".to_owned(),
                |it| format!("open by {:.2} before the adjustment", unit(it.gap)),
            );
            let trusted = if it.trusted { "trusted" } else { "not trusted" };
            let _ = writeln!(text, "The ring is {gap}; {} readings more than needed; {trusted}.", it.test.degrees);
            for (i, corner) in it.corners.iter().enumerate() {
                let _ = writeln!(text, "corner {i:>3}  {:>12.3}  {:>12.3}", unit(corner.x), unit(corner.y));
            }
            for it in self.residuals(it) {
                let least = it
                    .mdb
                    .map_or_else(|| "nobody has checked it".to_owned(), |it| format!("a slip of {it:.3} would show"));
                let _ = writeln!(text, "{:<14} off by {:>9.3} ({:>6.2} σ); {least}", it.of, it.value, it.standardised);
            }
        }
        for problem in self.problems() {
            let _ = writeln!(text, "! {problem}");
        }
        text
    }

    fn suspects(&self) -> &[Suspect] {
        match self.result.as_ref().map(|it| &it.verdict) {
            Ok(Verdict::Suspects(suspects) | Verdict::Inseparable(suspects)) => suspects,
            _ => &[],
        }
    }

    fn suspect(&self, suspect: &Suspect) -> AnswerSuspect {
        AnswerSuspect {
            of: self.name(suspect.observation),
            slip: suspect.proposed.map(|it| it.0),
            reads: self.network.observations.get(suspect.observation).map_or(0.0, |it| self.unit.amount(it.amount())),
            proposed: suspect.proposed.map(|it| self.unit.amount(it.1)),
        }
    }

    fn residuals(&self, adjusted: &Adjusted) -> Vec<AnswerResidual> {
        let all = adjusted.judged.iter().enumerate().map(|(i, it)| AnswerResidual {
            of: self.name(i),
            value: self.unit.amount(it.residual),
            standardised: it.standardised,
            mdb: it.least_blunder.map(|it| self.unit.amount(it)),
        });
        all.collect()
    }

    /// "wall 2", "check 0-2", "corner 1".
    fn name(&self, observation: usize) -> String {
        match self.network.observations.get(observation) {
            Some(Observation::Length { of: Span::Across { from, to }, .. }) => format!("check {from}-{to}"),
            Some(Observation::Length {
                of: Span::Wall(wall) | Span::Offset { wall, .. } | Span::Width { wall, .. },
                ..
            }) => format!("wall {wall}"),
            Some(Observation::Turn { corner, .. }) => format!("corner {corner}"),
            None => "nothing".to_owned(),
        }
    }

    fn problems(&self) -> Vec<String> {
        match &self.result {
            Err(Unsolved::NotOnceAround { missing }) => {
                let wrong: Vec<String> = turned_wrong(&self.network).iter().map(usize::to_string).collect();
                let maybe = if wrong.is_empty() {
                    String::new()
                } else {
                    format!("; corner {} may turn the other way", wrong.join(" or "))
                };
                vec![format!("the turns do not go once around: {} is missing{maybe}", missing.show())]
            }
            Err(error) => vec![error.to_string()],
            Ok(adjusted) => match &adjusted.verdict {
                Verdict::Sound | Verdict::Unchecked => Vec::new(),
                Verdict::Inseparable(_) => {
                    vec!["the readings do not agree, and no single one can be blamed: read one more".to_owned()]
                }
                Verdict::Suspects(_) => self.suspects().first().map(|it| self.blame(it)).into_iter().collect(),
            },
        }
    }

    fn blame(&self, suspect: &Suspect) -> String {
        let AnswerSuspect { of, slip, reads, proposed } = self.suspect(suspect);
        match slip.zip(proposed) {
            Some((slip, meant)) => format!("{of} reads {reads:.3}; {meant:.3} would fit: {}", slip.words()),
            None => format!("{of} reads {reads:.3} and does not fit the others"),
        }
    }
}

const fn span(of: Span) -> AnswerSpan {
    match of {
        Span::Wall(wall) => AnswerSpan::Wall { wall },
        Span::Across { from, to } => AnswerSpan::Corners { from, to },
        Span::Offset { corner, wall } => AnswerSpan::Offset { corner, wall },
        Span::Width { wall, opposite } => AnswerSpan::Walls { wall, opposite },
    }
}
